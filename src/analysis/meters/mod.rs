//! How far each meter reads from each other and from check loads, since when, why, and what to do.

pub mod across;
pub mod alone;
pub mod checks;
pub mod correction;
pub mod lines;
pub mod loads;
pub mod log;
pub mod offset;
pub mod pair;
pub mod pairing;
pub mod result;
pub mod time;
pub mod why;

use polars::prelude::PolarsResult;
use rayon::prelude::*;

use crate::analysis::antennas::Choice;
use crate::analysis::antennas::sets::{Set, sets_of};
use crate::analysis::audit;
use crate::analysis::next::Questions;
use crate::analysis::next::session::Habit;
use crate::season::Season;
use crate::season::finding::Finding;
use loads::OwnError;
use log::{Log, MeterSet};
use result::{Meters, PairOfMeters, ReferenceHistory};
use time::Course;

/// How the analysis is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Confidence of every interval.
    pub confidence: f64,
    /// Seed of the shuffles.
    pub seed: u64,
    /// Shuffles behind each p-value.
    pub shuffles: usize,
}

/// Shuffles where none are asked for: a p-value of 0.05 then has a standard error of 0.003.
pub const SHUFFLES: usize = 4999;

/// Fewer shuffles than these can't show a shift at that confidence: the least p-value they give is a twentieth of what
/// counts.
fn fewest(confidence: f64) -> usize {
    ((20.0 / (1.0 - confidence)).ceil() as usize - 1).min(SHUFFLES)
}

/// Streams of shuffles are numbered apart from those of replays.
pub(crate) const SHUFFLE_TASKS: u64 = 1 << 21;

/// Analyses a season's meters: every two that read one quantity, each alone, and each against check loads.
///
/// The choice keeps the quantity and band it names, and pairs that hold the meter it names.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn analyse(season: &Season, choice: &Choice, options: &Options) -> PolarsResult<Meters> {
    analyse_beside(season, choice, options, audit::beside_verdicts(season)?)
}

/// The same with what the audit's rules found, where that is known already.
///
/// # Errors
/// As [`analyse`].
pub fn analyse_beside(
    season: &Season,
    choice: &Choice,
    options: &Options,
    beside: Vec<Finding>,
) -> PolarsResult<Meters> {
    let options = &Options { shuffles: options.shuffles.max(fewest(options.confidence)), ..*options };
    let log = Log::new(season, &season.readings.frame)?;
    let chosen = |set: &&MeterSet| {
        let fits = |wanted: &Option<String>, name: &str| wanted.as_ref().is_none_or(|w| w == name);
        fits(&choice.quantity, &set.quantity.name) && fits(&choice.band, &set.band)
    };
    let named = |meter: &str| choice.meter.as_ref().is_none_or(|w| w == meter);
    let sets: Vec<&MeterSet> = log.sets.iter().filter(chosen).collect();
    let mut findings = season.readings.findings.clone();
    let quantities = meters_by_quantity(&sets);
    let mut compared: Vec<Compared> = vec![];
    for (quantity, meters) in &quantities {
        for (i, first) in meters.iter().enumerate() {
            for second in &meters[i + 1..] {
                let bands = pair::common_bands(&sets, quantity, first, second);
                if !bands.is_empty() && (named(first) || named(second)) {
                    compared.push(Compared { quantity, first, second, bands });
                }
            }
        }
    }
    let (pairs, courses): (Vec<PairOfMeters>, Vec<Option<Course>>) = compared
        .par_iter()
        .map(|c| pair::analyse(&c.bands, &log, season, options, SHUFFLE_TASKS + number(&log, &c.bands)))
        .unzip();
    let alone: Vec<(&String, &String)> = quantities
        .iter()
        .flat_map(|(quantity, meters)| meters.iter().filter(|m| named(m)).map(move |meter| (quantity, meter)))
        .collect();
    let by_itself: Vec<(Vec<OwnError>, Option<ReferenceHistory>)> = alone
        .into_par_iter()
        .map(|(quantity, meter)| {
            let own: Vec<&MeterSet> =
                sets.iter().copied().filter(|s| s.quantity.name == *quantity && s.meter == *meter).collect();
            // a meter's own error is told apart by the shifts of the pair it is in
            let with = |c: &Compared| c.quantity == quantity && (c.first == meter || c.second == meter);
            let course = compared.iter().position(with).and_then(|at| courses[at].as_ref());
            let stretch = |session: usize| course.map_or(0, |c| c.stretch(session));
            let error = |s: &&MeterSet| loads::own_error(s, &log, &season.config, stretch, options.confidence);
            let task = SHUFFLE_TASKS + (1 << 16) + number(&log, &own.iter().map(|s| (*s, *s)).collect::<Vec<_>>());
            let reference = season.config.reference.as_ref();
            let history = reference.and_then(|r| alone::history(&own, &log, r, options, task));
            (own.iter().filter_map(error).collect(), history)
        })
        .collect();
    let (own_errors, histories): (Vec<Vec<OwnError>>, Vec<Option<ReferenceHistory>>) = by_itself.into_iter().unzip();
    let read = sets_of(&season.readings.frame, &season.config)?.0;
    let asked = |s: &Set| sets.iter().any(|m| m.quantity == s.quantity && m.band == s.band && m.meter == s.meter);
    let read: Vec<Set> = read.into_iter().filter(asked).collect();
    findings.extend(audit::beside_sets(beside, &read));
    let corrected = correction::corrected(season)?;
    let mut questions = Questions::new(&season.config, Habit::of(&read));
    questions.meters(&pairs);
    findings.extend(corrected.findings.iter().cloned());
    findings.extend(checks::stuck(&sets, &log));
    Ok(Meters {
        season: season.title.clone(),
        confidence: options.confidence,
        seed: options.seed,
        shuffles: options.shuffles,
        dated: log.dated,
        pairs,
        next: questions.steps(),
        own_errors: own_errors.into_iter().flatten().collect(),
        histories: histories.into_iter().flatten().collect(),
        corrections: corrected.corrections,
        findings,
        assumptions: season.assumptions.clone(),
    })
}

/// Two meters that read one quantity, and their sets of the bands both have.
struct Compared<'a> {
    quantity: &'a String,
    first: &'a String,
    second: &'a String,
    bands: Vec<(&'a MeterSet, &'a MeterSet)>,
}

/// A number for a pair's random stream that does not depend on what else was chosen.
fn number(log: &Log, bands: &[(&MeterSet, &MeterSet)]) -> u64 {
    let place = |set: &MeterSet| log.sets.iter().position(|s| std::ptr::eq(s, set)).unwrap_or(0) as u64;
    bands.first().map_or(0, |(a, b)| (place(a) * log.sets.len() as u64 + place(b)) % (1 << 16))
}

/// Quantities with the meters that read them, in the order of the sets.
fn meters_by_quantity(sets: &[&MeterSet]) -> Vec<(String, Vec<String>)> {
    let mut out: Vec<(String, Vec<String>)> = vec![];
    for set in sets {
        let at = out.iter().position(|q| q.0 == set.quantity.name).unwrap_or_else(|| {
            out.push((set.quantity.name.clone(), vec![]));
            out.len() - 1
        });
        if !out[at].1.contains(&set.meter) {
            out[at].1.push(set.meter.clone());
        }
    }
    out
}
