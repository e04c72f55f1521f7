//! Two meters on one quantity, band by band and through time.

use super::Options;
use super::across::across;
use super::alone;
use super::checks;
use super::lines::{lines, shown_unit};
use super::log::{Log, MeterSet};
use super::offset::{Differences, ErrorPart, Estimate};
use super::pairing::{Pairing, Unit, pair};
use super::result::*;
use super::time::{Course, Track};
use super::why::why;
use crate::analysis::antennas::{result::Range, shown};
use crate::montecarlo::stream::stream;
use crate::radio::quantity::Scale;
use crate::season::Season;
use crate::stats::change_point::{Candidate, Search};
use crate::stats::method_comparison::limits::from_parts;
use crate::stats::method_comparison::{Interval, mean, sample_variance};
use crate::stats::student_t::t_quantile;

/// One band of a pair, fitted.
pub struct Band<'a> {
    /// First meter's readings.
    pub first: &'a MeterSet,
    /// Second's.
    pub second: &'a MeterSet,
    /// What was paired.
    pub pairing: Pairing,
    /// The units.
    pub units: Vec<Unit>,
    /// Differences as read; `None` where there is nothing to fit.
    pub read: Option<Differences>,
    /// The same with line loss undone at both.
    pub at_antenna: Option<Differences>,
}

/// The bands on which two meters both read the quantity.
pub fn common_bands<'a>(
    sets: &[&'a MeterSet],
    quantity: &str,
    first: &str,
    second: &str,
) -> Vec<(&'a MeterSet, &'a MeterSet)> {
    let of = |meter: &str| {
        sets.iter().copied().filter(|s| s.quantity.name == quantity && s.meter == meter).collect::<Vec<_>>()
    };
    let (a, b) = (of(first), of(second));
    let has = |s: &&MeterSet| !s.mountings.is_empty();
    a.iter()
        .filter(|s| has(s))
        .filter_map(|s| b.iter().find(|t| t.band == s.band && has(t)).map(|t| (*s, *t)))
        .collect()
}

impl<'a> Band<'a> {
    /// Pairs and fits one band. Nothing is fitted with a meter that shows one value on everything.
    pub fn new(first: &'a MeterSet, second: &'a MeterSet) -> Band<'a> {
        let (pairing, units) = pair(first, second);
        let stuck = first.stuck_at().is_some() || second.stuck_at().is_some();
        let fit = |f1: f64, f2: f64| {
            let moved: Vec<Unit> = units.iter().map(|u| u.moved(|y| (y * f1, f1), |y| (y * f2, f2))).collect();
            let step = |s: &MeterSet, f: f64| s.step_at(mean_level(&units)) * f;
            let floor = (step(first, f1).powi(2) + step(second, f2).powi(2)) / 12.0;
            if stuck { None } else { Differences::fit(&moved, floor) }
        };
        let (read, at_antenna) = (fit(1.0, 1.0), fit(first.line_factor, second.line_factor));
        Band { first, second, pairing, units, read, at_antenna }
    }
}

/// Mean of both meters over all units.
fn mean_level(units: &[Unit]) -> f64 {
    let all: Vec<f64> = units.iter().map(|u| (u.first.mean + u.second.mean) / 2.0).collect();
    if all.is_empty() { 0.0 } else { mean(&all) }
}

/// The pair's answer, and its course through time where sessions hold both.
pub fn analyse(
    sets: &[(&MeterSet, &MeterSet)],
    log: &Log,
    season: &Season,
    options: &Options,
    task: u64,
) -> (PairOfMeters, Option<Course>) {
    let bands: Vec<Band> = sets.iter().map(|(a, b)| Band::new(a, b)).collect();
    let fitted: Vec<&Differences> = bands.iter().filter_map(|b| b.read.as_ref()).collect();
    let tracks: Vec<Track> = fitted.iter().map(|d| Track::of(d)).collect();
    let how = Search { confidence: options.confidence, shuffles: options.shuffles };
    let course =
        (!tracks.is_empty()).then(|| Course::of(&tracks, &log.sessions, &how, &mut stream(options.seed, task, 0)));
    let mut track = 0;
    let mut results = vec![];
    for band in &bands {
        results.push(band_result(band, track, course.as_ref(), log, options));
        track += usize::from(band.read.is_some());
    }
    let (first, second) = (sets[0].0, sets[0].1);
    let mut result = PairOfMeters {
        dated: log.dated,
        quantity: first.quantity.name.clone(),
        scale: first.quantity.scale.name(&first.quantity.unit),
        unit: shown_unit(first),
        first: first.meter.clone(),
        second: second.meter.clone(),
        across: across(&fitted, options.confidence),
        search: course.as_ref().and_then(|c| c.found.first.as_ref().map(|f| search_result(f, c, log))),
        shifts: course.as_ref().map_or(vec![], |c| shifts(c, &bands, log, season, options)),
        bands: results,
        checks: vec![],
    };
    result.checks = checks::worth_checking(&result, &season.config);
    (result, course)
}

/// The figures of a search, sessions by name.
pub fn search_result(found: &Candidate, course: &Course, log: &Log) -> SearchResult {
    let dates = course.dates(found);
    SearchResult {
        last_before: log.sessions[dates.last_before].name.clone(),
        first_after: log.sessions[dates.first_after].name.clone(),
        p: found.p,
        p_exchangeable: found.p_exchangeable,
        memory: found.memory,
        rotated: found.rotated,
    }
}

fn shifts(course: &Course, bands: &[Band], log: &Log, season: &Season, options: &Options) -> Vec<ShiftResult> {
    let fitted: Vec<&Band> = bands.iter().filter(|b| b.read.is_some()).collect();
    let one = |(number, found): (usize, &Candidate)| {
        let dates = course.dates(found);
        let sizes = fitted
            .iter()
            .zip(&found.sizes)
            .filter_map(|(band, size)| {
                let size = size.as_ref()?;
                Some(ShiftSize {
                    band: band.first.band.clone(),
                    rise: size.estimate,
                    interval: size.interval,
                    shown: shown::difference(band.first.quantity.scale, mean_level(&band.units), size.estimate),
                })
            })
            .collect();
        // only the stretches on either side of this shift count
        let near = |session: usize| [number, number + 1].contains(&course.stretch(session));
        let after = |session: usize| course.stretch(session) > number;
        let moved: Vec<Moved> = [|b: &&Band| b.first.clone(), |b: &&Band| b.second.clone()]
            .iter()
            .filter_map(|side| {
                let sets: Vec<MeterSet> = fitted.iter().map(side).collect();
                let reference = season.config.reference.as_ref()?;
                let rise = alone::step(&sets, log, reference, near, after, options.confidence)?;
                Some(Moved { meter: sets[0].meter.clone(), rise })
            })
            .collect();
        let movers: Vec<&Moved> = moved.iter().filter(|m| !m.rise.interval.holds(0.0)).collect();
        let mover = (moved.len() == 2 && movers.len() == 1).then(|| movers[0].meter.clone());
        ShiftResult {
            found: search_result(found, course, log),
            after: log.sessions[dates.earliest].name.clone(),
            by: log.sessions[dates.latest].name.clone(),
            sizes,
            moved,
            mover,
        }
    };
    course.found.shifts.iter().enumerate().map(one).collect()
}

fn band_result(band: &Band, track: usize, course: Option<&Course>, log: &Log, options: &Options) -> BandResult {
    let scale = band.first.quantity.scale;
    let confidence = options.confidence;
    let level = mean_level(&band.units);
    let stuck = [band.first, band.second]
        .iter()
        .filter_map(|s| s.stuck_at().map(|value| Stuck { meter: s.meter.clone(), value }))
        .collect();
    let mut visits: Vec<(usize, usize)> = band.units.iter().map(|u| (u.session, u.item)).collect();
    visits.sort_unstable();
    visits.dedup();
    let name = |i: usize| log.antennas.get(i).cloned().unwrap_or_default();
    let session = |i: usize| log.sessions[i].name.clone();
    let mut out = BandResult {
        band: band.first.band.clone(),
        pairing: band.pairing,
        stuck,
        units: band.units.len(),
        antennas: 0,
        not_joined: vec![],
        visits: visits.len(),
        sessions: 0,
        level,
        level_shown: scale.to_shown(level),
        offset: None,
        stretches: vec![],
        limits: None,
        limits_shown: None,
        lines: None,
        lines_shown: None,
        by_session: vec![],
        slope: None,
        why: None,
        points: band
            .units
            .iter()
            .map(|u| PointOut {
                session: session(u.session),
                antenna: name(u.item),
                first: u.first.mean,
                second: u.second.mean,
            })
            .collect(),
    };
    let Some(d) = &band.read else {
        if band.pairing == Pairing::Unpaired && out.stuck.is_empty() {
            out.offset = unpaired(band.first, band.second, confidence);
        }
        return out;
    };
    let stretch = |s: usize| course.map_or(0, |c| c.stretch(s));
    let stretches = course.map_or(1, Course::stretches);
    out.antennas = d.joined_antennas();
    out.not_joined = d.antennas.iter().filter(|a| !a.joined).map(|a| name(a.item)).collect();
    out.sessions = d.sessions.len();
    let scope = match (out.antennas > 1, d.sessions.len() > 1) {
        (true, true) => Scope::AntennasAndDays,
        (true, false) => Scope::OneDay,
        (false, true) => Scope::OneAntenna,
        (false, false) => Scope::OneVisit,
    };
    let whole = d.estimate(0, |_| 0, confidence);
    out.offset = Some(offset(whole, scale, level, scope));
    if stretches > 1 {
        for k in 0..stretches {
            let own: Vec<usize> = d.sessions.iter().map(|s| s.session).filter(|s| stretch(*s) == k).collect();
            let (Some(&from), Some(&to)) = (own.first(), own.last()) else { continue };
            let estimate = d.estimate(k, stretch, confidence);
            let at_antenna = band.at_antenna.as_ref().map_or(estimate, |a| a.estimate(k, stretch, confidence));
            let offset = offset(estimate, scale, level, scope);
            out.stretches.push(Stretch {
                from: session(from),
                to: session(to),
                sessions: own.len(),
                offset,
                at_antenna,
            });
        }
    }
    out.limits = limits(d, confidence);
    if shown::is_transformed(scale) {
        let moved = |y: f64| (scale.to_shown(y), 1.0 / scale.slope_at(y));
        let units: Vec<Unit> = band.units.iter().map(|u| u.moved(moved, moved)).collect();
        let floor = (band.first.resolution.powi(2) + band.second.resolution.powi(2)) / 12.0;
        out.limits_shown = Differences::fit(&units, floor).as_ref().and_then(|d| limits(d, confidence));
        out.lines_shown = lines(d, band.first, band.second, true, confidence);
    }
    out.lines = lines(d, band.first, band.second, false, confidence);
    let last = d.estimate(stretches - 1, stretch, confidence);
    out.why = why(d, if stretches > 1 { &last } else { &whole }, band.first, band.second, &log.antennas, confidence);
    if let Some(course) = course {
        out.slope = course.slopes[track];
        let chart = &course.charts[track];
        let t = t_quantile(0.5 + confidence / 2.0, d.visit_df.max(1.0));
        out.by_session = d
            .sessions
            .iter()
            .enumerate()
            .map(|(i, s)| SessionResult {
                session: session(s.session),
                time: log.sessions[s.session].time,
                offset: d.offset + s.effect,
                half: t * s.variance.sqrt(),
                antennas: s.antennas,
                control: Interval { low: chart.single[i].low, high: chart.single[i].high },
                out: chart.single[i].out(),
                average_out: chart.average[i].out(),
            })
            .collect();
    }
    out
}

/// An estimate with its values in the unit shown, about `level`.
fn offset(estimate: Estimate, scale: Scale, level: f64, scope: Scope) -> Offset {
    let range = Range { low: estimate.interval.low, high: estimate.interval.high };
    let ends = shown::range_of_difference(scale, level, range);
    Offset {
        estimate,
        shown: shown::difference(scale, level, estimate.value),
        shown_interval: Interval { low: ends.low, high: ends.high },
        scope,
    }
}

/// Limits of agreement; none from one antenna, whose differences do not say what another's would be.
fn limits(d: &Differences, confidence: f64) -> Option<LimitsOut> {
    let parts = if d.joined_antennas() > 1 { d.parts_of_one() } else { vec![] };
    let whole = d.estimate(0, |_| 0, confidence);
    (!parts.is_empty()).then(|| from_parts(whole.value, whole.interval.half(), &parts, confidence).into())
}

/// Two meters that never met: antennas both read are compared by their visits' means, on different days. Each antenna's
/// difference then holds two visits and two days in full; antennas are the units, and each meter's days count once
/// more, since they are common to its antennas.
fn unpaired(first: &MeterSet, second: &MeterSet, confidence: f64) -> Option<Offset> {
    let one = |set: &MeterSet| Differences::fit(&alone::as_units(set), set.step_at(0.2).powi(2) / 12.0);
    let (a, b) = (one(first)?, one(second)?);
    let mut differences = vec![];
    let mut levels = vec![];
    for x in &a.antennas {
        if let Some(y) = b.antennas.iter().find(|y| y.item == x.item) {
            differences.push(y.beta - x.beta);
            levels.push((y.beta + x.beta) / 2.0);
        }
    }
    let n = differences.len() as f64;
    let mut parts: Vec<ErrorPart> = [&a, &b].iter().filter_map(|d| d.session_part(0, |_| 0)).collect();
    if differences.len() > 1 {
        parts.push(ErrorPart { variance: sample_variance(&differences) / n, df: n - 1.0 });
    }
    // one antenna on one day each: nothing shows how such a difference scatters
    if differences.is_empty() || parts.is_empty() || (differences.len() == 1 && parts.len() < 2) {
        return None;
    }
    let estimate = Estimate::from_parts(mean(&differences), &parts, confidence);
    Some(offset(estimate, first.quantity.scale, mean(&levels), Scope::Unpaired))
}
