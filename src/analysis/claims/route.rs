//! The ways to an absolute value: an antenna's own level in a set; its gain, by its field strength against
//! that of an antenna whose gain is known; or a declared gain by itself.

use rand_distr::StandardNormal;

use super::absolute::{Absolute, Basis};
use super::shift::{self, Shift};
use crate::analysis::antennas::fitted::{FittedSet, ScatterPart, Shrinks, own_scatter};
use crate::analysis::antennas::sources::{OwnError, Treatment};
use crate::montecarlo::stream::stream;
use crate::season::config::{Known, Scope};

/// Streams of claims, apart from those of the replays.
const TASKS: u64 = 3 << 20;
/// Streams of the search for a shift.
const SHIFT_TASKS: u64 = TASKS + (1 << 19);
/// Chunk of the declared errors, behind those of the scatter's parts.
const DECLARED_CHUNK: u64 = 16;
/// Chunk of a known gain's error.
const KNOWN_CHUNK: u64 = 17;

/// How many draws are made, and from which seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draws {
    /// Seed.
    pub seed: u64,
    /// Trials a result.
    pub trials: usize,
}

/// The random stream of an antenna in a set, by the set's number.
pub fn task(set: usize, antenna: usize) -> u64 {
    TASKS + ((set as u64) << 7 | (antenna as u64 & 0x7f)) % (1 << 19)
}

/// An antenna's own level in its set, season-wide sources and all. `None` where a spread it rests on is
/// neither seen in the log nor declared.
pub fn level(fitted: &FittedSet, antenna: usize, draws: Draws, set: usize) -> Option<Absolute> {
    if !fitted.links.absolute_known() {
        return None;
    }
    let scatter = fitted.fit.as_ref().map(|fit| own_scatter(fit, antenna));
    let declared = fitted.sources.standard_of_result(antenna);
    let sessions = fitted.fit.as_ref().map_or(&[][..], |fit| fit.inference.session_levels(antenna));
    let visits = fitted.layout.visits_of(antenna) as f64;
    Some(Absolute {
        estimate: fitted.estimates[antenna],
        standard_uncertainty: scatter.as_ref().map_or(0.0, |s| s.error).hypot(declared),
        scatter: scatter.map_or(vec![], |s| s.parts),
        basis: Basis { sessions: sessions.len().max(1) as f64, visits, other_visits: None },
        declared: declared_errors(fitted, draws, task(set, antenna), &[antenna], |errors| errors[antenna]),
        has_wave: fitted.sources.has_wave(),
        shift: shift_of(fitted, antenna, draws, set),
        lasting: lasting(fitted, antenna, true),
        calibrated: fitted.sources.calibrated,
    })
}

/// A step of the meter: as the antenna's own sessions show it, else the likeliest that other sessions of the set do, as it
/// bears on these. One search a group of linked antennas: the same answer for all of them.
fn shift_of(fitted: &FittedSet, antenna: usize, draws: Draws, set: usize) -> Option<Shift> {
    let inference = &fitted.fit.as_ref()?.inference;
    let first_of = |antenna: usize| (0..=antenna).find(|&a| fitted.layout.linked(a, antenna)).unwrap_or(antenna);
    let find = |first: usize| {
        let task = SHIFT_TASKS + ((set as u64) << 7 | first as u64) % (1 << 19);
        shift::find(inference.session_levels(first), draws.seed, task)
    };
    let own = first_of(antenna);
    let others = || (0..fitted.layout.antennas()).filter(|&a| a != own && first_of(a) == a);
    find(own).or_else(|| {
        let likeliest = others().filter_map(find).min_by(|a, b| a.p_value.total_cmp(&b.p_value))?;
        Some(likeliest.seen_from(inference.session_levels(antenna)))
    })
}

/// An antenna's gain in dBi from its field strength less that of an antenna of known gain, in one set.
/// `None` where the log cannot compare the two.
pub fn gain(
    fitted: &FittedSet,
    antenna: usize,
    reference: usize,
    known: Known,
    draws: Draws,
    set: usize,
) -> Option<Absolute> {
    if !fitted.links.comparable(antenna, reference) {
        return None;
    }
    let error = fitted.fit.as_ref().map(|fit| fit.inference.difference(antenna, reference));
    let declared = fitted.sources.standard_of_difference(antenna, reference);
    let scatter = error.map(|e| ScatterPart { error: e.adjusted, df: e.df, shrinks_with: Shrinks::OwnVisits });
    let visits = |a: usize| fitted.layout.visits_of(a) as f64;
    let task = task(set, antenna);
    let mut errors = declared_errors(fitted, draws, task, &[antenna, reference], |e| OwnError {
        fixed: e[antenna].fixed - e[reference].fixed,
        unseen: e[antenna].unseen - e[reference].unseen,
        ..OwnError::default()
    });
    add_known(&mut errors, known, draws, task);
    let mut lasting = lasting(fitted, antenna, false);
    lasting.push((KNOWN_GAIN.into(), known.standard));
    Some(Absolute {
        estimate: known.value + fitted.estimates[antenna] - fitted.estimates[reference],
        standard_uncertainty: scatter.map_or(0.0, |s| s.error).hypot(declared).hypot(known.standard),
        scatter: scatter.into_iter().collect(),
        basis: Basis { sessions: 1.0, visits: visits(antenna), other_visits: Some(visits(reference)) },
        declared: errors,
        has_wave: false,
        shift: None,
        lasting,
        // what the meter is off by as a whole is gone from a difference
        calibrated: true,
    })
}

/// What a known gain's uncertainty is called among the sources.
pub const KNOWN_GAIN: &str = "the known gain itself";

/// A declared gain by itself: nothing was measured.
pub fn declared_gain(known: Known, draws: Draws, task: u64) -> Absolute {
    let mut errors = vec![OwnError::default(); draws.trials];
    add_known(&mut errors, known, draws, task);
    Absolute {
        estimate: known.value,
        standard_uncertainty: known.standard,
        scatter: vec![],
        basis: Basis { sessions: 1.0, visits: 1.0, other_visits: None },
        declared: errors,
        has_wave: false,
        shift: None,
        lasting: vec![(KNOWN_GAIN.into(), known.standard)],
        calibrated: true,
    }
}

fn declared_errors(
    fitted: &FittedSet,
    draws: Draws,
    task: u64,
    wanted: &[usize],
    own: impl Fn(&[OwnError]) -> OwnError,
) -> Vec<OwnError> {
    let mut rng = stream(draws.seed, task, DECLARED_CHUNK);
    let mut all = vec![OwnError::default(); fitted.estimates.len()];
    (0..draws.trials)
        .map(|_| {
            fitted.sources.draw_parts(&mut rng, wanted, &mut all);
            own(&all)
        })
        .collect()
}

fn add_known(errors: &mut [OwnError], known: Known, draws: Draws, task: u64) {
    let mut rng = stream(draws.seed, task, KNOWN_CHUNK);
    errors
        .iter_mut()
        .for_each(|e| e.fixed += known.standard * rand::RngExt::sample::<f64, _>(&mut rng, StandardNormal));
}

/// Sources that stay however often is measured: those added to every antenna, and, for an `absolute` value,
/// those shared by the season.
fn lasting(fitted: &FittedSet, antenna: usize, absolute: bool) -> Vec<(String, f64)> {
    let stays = |t: Treatment| t == Treatment::Added || absolute && t == Treatment::Cancels;
    let sources = fitted.sources.applied.iter().filter(|a| stays(a.treatment));
    sources
        .filter(|a| a.scope == Scope::Season || a.scope == Scope::Antenna)
        .map(|a| (a.name.clone(), a.standard[antenna]))
        .collect()
}
