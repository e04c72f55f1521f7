//! One meter alone: what it reads of the reference antenna, session after session. The antenna's own state is in that
//! too, so a meter's shift shows less sharply here than against another meter; but it says whose it was.

use std::collections::BTreeMap;

use super::Options;
use super::log::{Log, MeterSet};
use super::offset::{ErrorPart, Estimate};
use super::pair::search_result;
use super::pairing::{Side, Unit};
use super::result::{ReferenceBand, ReferenceHistory};
use super::time::{Course, Track};
use crate::montecarlo::stream::stream;
use crate::stats::change_point::Search;
use crate::stats::check_standard::{Occasion, history as check_standard};
use crate::stats::method_comparison::{mean, sample_variance};

/// A set's mountings as differences from nothing, for the model of differences.
pub fn as_units(set: &MeterSet) -> Vec<Unit> {
    set.mountings
        .iter()
        .map(|m| Unit {
            session: m.session,
            item: m.item,
            first: Side { readings: m.readings, df: m.df, mean: 0.0, sum_of_squares: 0.0 },
            second: Side { readings: m.readings, df: m.df, mean: m.mean, sum_of_squares: m.sum_of_squares },
        })
        .collect()
}

/// Means of the reference antenna's mountings, by session.
fn reference_mountings(set: &MeterSet, log: &Log, reference: &str) -> BTreeMap<usize, Vec<f64>> {
    let mut by: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for m in set.mountings.iter().filter(|m| log.antennas.get(m.item).is_some_and(|a| a == reference)) {
        by.entry(m.session).or_default().push(m.mean);
    }
    by
}

fn occasions(by: &BTreeMap<usize, Vec<f64>>) -> Vec<Occasion> {
    by.values()
        .map(|values| {
            let n = values.len() as f64;
            let sd = if values.len() > 1 { sample_variance(values).sqrt() } else { 0.0 };
            Occasion { mean: mean(values), sd, df: n - 1.0, readings: n }
        })
        .collect()
}

/// The history of one meter on the bands of `own`. `None` where fewer than two sessions hold the reference.
pub fn history(
    own: &[&MeterSet],
    log: &Log,
    reference: &str,
    options: &Options,
    task: u64,
) -> Option<ReferenceHistory> {
    let (mut tracks, mut bands) = (vec![], vec![]);
    for set in own.iter().filter(|s| s.stuck_at().is_none()) {
        let by = reference_mountings(set, log, reference);
        let Some(h) = check_standard(&occasions(&by)) else { continue };
        // where every session has one mounting, what rounding leaves
        let inside = h.short_term.0.powi(2).max(set.step_at(h.mean).powi(2) / 12.0);
        tracks.push(Track {
            sessions: by.keys().copied().collect(),
            values: by.values().map(|v| mean(v)).collect(),
            variances: by.values().map(|v| inside / v.len() as f64).collect(),
        });
        bands.push((set.band.clone(), h));
    }
    let set = own.first().filter(|_| !tracks.is_empty())?;
    let how = Search { confidence: options.confidence, shuffles: options.shuffles };
    let course = Course::of(&tracks, &log.sessions, &how, &mut stream(options.seed, task, 0));
    let bands = bands
        .into_iter()
        .enumerate()
        .map(|(i, (band, h))| {
            let chart = &course.charts[i];
            let out = (0..chart.sessions.len()).filter(|&s| chart.single[s].out() || chart.average[s].out());
            ReferenceBand {
                band,
                sessions: chart.sessions.len(),
                inside: h.short_term.0,
                between: h.between.sqrt(),
                out: out.map(|s| log.sessions[chart.sessions[s]].name.clone()).collect(),
                slope: course.slopes[i],
            }
        })
        .collect();
    Some(ReferenceHistory {
        quantity: set.quantity.name.clone(),
        meter: set.meter.clone(),
        antenna: reference.to_string(),
        bands,
        search: course.found.first.as_ref().map(|f| search_result(f, &course, log)),
        shifted: !course.found.shifts.is_empty(),
    })
}

/// How much a meter's readings of the reference antenna rose between the sessions before and `after` a shift, among
/// those `near` it: sessions are averaged over bands first, and are the unit. `None` where a side has no session, or
/// both have one.
pub fn step(
    sets: &[MeterSet],
    log: &Log,
    reference: &str,
    near: impl Fn(usize) -> bool,
    after: impl Fn(usize) -> bool,
    confidence: f64,
) -> Option<Estimate> {
    let mut by: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for set in sets {
        let sessions = reference_mountings(set, log, reference);
        let own: Vec<(usize, f64)> =
            sessions.iter().filter(|(s, _)| near(**s)).map(|(s, values)| (*s, mean(values))).collect();
        let centre = mean(&own.iter().map(|s| s.1).collect::<Vec<_>>());
        for (session, value) in own {
            by.entry(session).or_default().push(value - centre);
        }
    }
    let side = |late: bool| by.iter().filter(|(s, _)| after(**s) == late).map(|(_, v)| mean(v)).collect::<Vec<_>>();
    let (before, later) = (side(false), side(true));
    let (n, m) = (before.len() as f64, later.len() as f64);
    if before.is_empty() || later.is_empty() || n + m < 3.0 {
        return None;
    }
    let squares = |v: &[f64]| if v.len() > 1 { sample_variance(v) * (v.len() as f64 - 1.0) } else { 0.0 };
    let df = n + m - 2.0;
    let unit = (squares(&before) + squares(&later)) / df;
    let part = ErrorPart { variance: unit * (1.0 / n + 1.0 / m), df };
    Some(Estimate::from_parts(mean(&later) - mean(&before), &[part], confidence))
}
