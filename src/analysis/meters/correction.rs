//! `correct = true`: a meter's estimated offset taken out of its readings, and what stays uncertain about it.
//!
//! The offset of a meter marked for correction, on one quantity and band, is
//!
//! * its own error against the season's check loads, where it read one whose true value is known and not zero;
//! * else what it reads over the other meters of that quantity and band that are not marked, line loss undone at
//!   both ends, where two antennas in two sessions show it: then it is made to agree with them, and what is wrong with those stays.
//!
//! Where the pair with another meter shows a shift, each stretch of time has its own offset. A stretch without a load
//! reading takes that of the nearest stretch with one, and adds the shift's size.

use std::collections::BTreeMap;

use polars::prelude::*;
use serde::Serialize;

use super::loads::{LoadError, own_error};
use super::log::{Log, MeterSet};
use super::offset::{Differences, Estimate};
use super::pair::{Band, common_bands};
use super::time::{Course, Track};
use super::{SHUFFLE_TASKS, SHUFFLES};
use crate::analysis::antennas::sets::Set;
use crate::montecarlo::stream::stream;
use crate::season::Season;
use crate::season::finding::{Finding, Group, Place, Severity, Stake};
use crate::stats::change_point::Search;

/// What an offset is relative to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Against {
    /// Check loads, by name.
    Loads(Vec<String>),
    /// Other meters, by name.
    Meters(Vec<String>),
}

/// The correction of one meter on one quantity and band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Correction {
    /// Meter.
    pub meter: String,
    /// Quantity.
    pub quantity: String,
    /// Band.
    pub band: String,
    /// What it is relative to.
    pub against: Against,
    /// The stretches of time, in order.
    pub steps: Vec<Step>,
}

/// The correction of one stretch of time. Numbers are on the analysis scale, at the antenna's end of the line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// First session it holds for.
    pub from: String,
    /// Last.
    pub to: String,
    /// What was taken out of every reading.
    pub offset: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// The part of it that is this stretch's own; the rest is common to all stretches.
    pub own_uncertainty: f64,
    /// Sessions it holds for.
    #[serde(skip)]
    pub sessions: Vec<String>,
}

/// A season's readings with the corrections made.
#[derive(Debug, Clone)]
pub struct Corrected {
    /// The frame: `y` and `value` of corrected readings changed; all else as read.
    pub frame: DataFrame,
    /// What was done.
    pub corrections: Vec<Correction>,
    /// Meters or parts of them that could not be corrected.
    pub findings: Vec<Finding>,
}

/// A correction as it acts on one set of an analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct SetCorrection {
    /// The correction.
    pub correction: Correction,
    /// Per antenna of the set: the share of its mountings that falls in each step.
    pub shares: Vec<Vec<f64>>,
}

/// Makes the corrections the season asks for. Every analysis of sets starts from this frame and then hands
/// its sets to [`Corrected::attach`]; without `correct = true` the frame is the season's own.
///
/// Whether a meter shifted does not depend on the seed of the question asked: these shuffles have their own.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn corrected(season: &Season) -> PolarsResult<Corrected> {
    let frame = season.readings.frame.clone();
    let config = &season.config;
    if !config.meters.iter().any(|m| m.correct) {
        return Ok(Corrected { frame, corrections: vec![], findings: vec![] });
    }
    let log = Log::new(season, &frame)?;
    let (mut corrections, mut findings) = (vec![], vec![]);
    for meter in config.meters.iter().filter(|m| m.correct) {
        let own: Vec<&MeterSet> = log.sets.iter().filter(|s| s.meter == meter.name).collect();
        let mut quantities: Vec<&str> = own.iter().map(|s| s.quantity.name.as_str()).collect();
        quantities.dedup();
        let (mut done, mut left) = (0, vec![]);
        for quantity in quantities {
            let made = of_quantity(&log, season, &meter.name, quantity);
            let bands: Vec<&str> =
                own.iter().filter(|s| s.quantity.name == quantity).map(|s| s.band.as_str()).collect();
            left.extend(
                bands.iter().filter(|b| !made.iter().any(|c| c.band == **b)).map(|b| format!("{quantity} on {b}")),
            );
            done += made.len();
            corrections.extend(made);
        }
        if done == 0 || !left.is_empty() {
            let what = match done {
                0 => format!("meter `{}` has `correct = true`, and nothing shows its offset", meter.name),
                _ => format!("meter `{}` is not corrected in {}", meter.name, left.join(", ")),
            };
            findings.push(Finding {
                rule: "correction",
                group: Group::WeakDesign,
                others: vec![],
                endangers: vec![Stake { meter: Some(meter.name.clone()), ..Stake::default() }],
                severity: if done == 0 { Severity::Error } else { Severity::Note },
                place: Place { column: Some("correct".into()), ..season.place_in_settings(Some(meter.line)) },
                what,
                why: "an offset needs a check load of known resistance, or another meter, not itself to be corrected, on the same mountings of two antennas or more in two sessions or more".into(),
                action: "its readings are used as they are; read a check load with it, or both meters on one mounting".into(),
            });
        }
    }
    let frame = apply(&frame, season, &corrections)?;
    Ok(Corrected { frame, corrections, findings })
}

/// Corrections of one quantity of a meter, on the bands where its offset can be had.
fn of_quantity(log: &Log, season: &Season, meter: &str, quantity: &str) -> Vec<Correction> {
    let config = &season.config;
    let confidence = config.confidence;
    let sets: Vec<&MeterSet> = log.sets.iter().collect();
    let marked = |name: &str| config.meter(name).is_some_and(|m| m.correct);
    let mut others: Vec<String> =
        sets.iter().filter(|s| s.quantity.name == quantity && !marked(&s.meter)).map(|s| s.meter.clone()).collect();
    others.sort();
    others.dedup();
    // the other meter with most in common shows the shifts
    let pairs: Vec<(String, Vec<Band>)> = others
        .iter()
        .map(|other| {
            let bands = common_bands(&sets, quantity, other, meter);
            (other.clone(), bands.iter().map(|(a, b)| Band::new(a, b)).collect::<Vec<_>>())
        })
        .filter(|(_, bands)| bands.iter().any(|b| b.at_antenna.is_some()))
        .collect();
    let most = pairs.iter().max_by_key(|(_, bands)| bands.iter().map(|b| b.units.len()).sum::<usize>());
    let course = most.map(|(_, bands)| {
        let tracks: Vec<Track> = bands.iter().filter_map(|b| b.at_antenna.as_ref()).map(Track::of).collect();
        let how = Search { confidence, shuffles: SHUFFLES };
        let number = sets.iter().position(|s| s.quantity.name == quantity && s.meter == meter).unwrap_or(0) as u64;
        Course::of(&tracks, &log.sessions, &how, &mut stream(1, SHUFFLE_TASKS + (1 << 18) + number, 0))
    });
    let stretch = |s: usize| course.as_ref().map_or(0, |c| c.stretch(s));
    let stretches = course.as_ref().map_or(1, Course::stretches);
    let mut out = vec![];
    for set in sets.iter().filter(|s| s.quantity.name == quantity && s.meter == meter && s.stuck_at().is_none()) {
        let band = |bands: &'_ [Band]| bands.iter().position(|b| b.first.band == set.band);
        let over: Vec<(String, Vec<Over>)> = pairs
            .iter()
            .filter_map(|(other, bands)| {
                // one antenna, or one day, does not say what the meter reads on others
                let enough = |d: &&Differences| d.joined_antennas() > 1 && d.sessions.len() > 1;
                let d = bands[band(bands)?].at_antenna.as_ref().filter(enough)?;
                // a stretch the pair has no session in takes the whole log's offset
                let has = |k: usize| d.sessions.iter().any(|s| stretch(s.session) == k);
                let one = |k: usize| {
                    let (k, of): (usize, &dyn Fn(usize) -> usize) = if has(k) { (k, &stretch) } else { (0, &|_| 0) };
                    let own = d.session_part(k, of).map_or(0.0, |part| part.variance.sqrt());
                    Over { estimate: d.estimate(k, of, confidence), own }
                };
                Some((other.clone(), (0..stretches).map(one).collect()))
            })
            .collect();
        let steps = match by_loads(
            set,
            log,
            season,
            stretch,
            stretches,
            most.and_then(|m| over.iter().find(|o| o.0 == m.0)).map(|o| &o.1),
        ) {
            Some((loads, values)) => Some((Against::Loads(loads), values)),
            None => by_meters(&over),
        };
        let Some((against, values)) = steps else { continue };
        out.push(Correction {
            meter: meter.into(),
            quantity: quantity.into(),
            band: set.band.clone(),
            against,
            steps: steps_of(log, stretches, stretch, &values),
        });
    }
    out
}

/// What a meter reads over another in one stretch, and the standard error that is the stretch's own.
struct Over {
    estimate: Estimate,
    own: f64,
}

/// One stretch's offset, its standard uncertainty that is common to all stretches, and that of its own.
#[derive(Clone, Copy)]
struct Value {
    offset: f64,
    common: f64,
    own: f64,
}

/// By check loads: the weighted mean of the unmatched loads' errors in each stretch; a matched load shows the size of a
/// false wave, not an offset.
fn by_loads(
    set: &MeterSet,
    log: &Log,
    season: &Season,
    stretch: impl Fn(usize) -> usize,
    stretches: usize,
    pair: Option<&Vec<Over>>,
) -> Option<(Vec<String>, Vec<Value>)> {
    let own = own_error(set, log, &season.config, stretch, season.config.confidence)?;
    let mut names = vec![];
    let mut seen: BTreeMap<usize, Value> = BTreeMap::new();
    for k in 0..stretches {
        let loads: Vec<_> = own.loads.iter().filter(|l| l.stretch == k && l.directivity_db.is_none()).collect();
        let total: f64 = loads.iter().map(|l| l.error.standard_error.powi(-2)).sum();
        if loads.is_empty() || !total.is_finite() {
            continue;
        }
        let weighted = |f: &dyn Fn(&LoadError) -> f64| {
            loads.iter().map(|l| f(l) * l.error.standard_error.powi(-2)).sum::<f64>() / total
        };
        // a false wave and a load's tolerance are the same in every stretch
        let fixed = |l: &LoadError| l.false_wave.hypot(l.tolerance.unwrap_or(0.0)).powi(2);
        let common = (weighted(&fixed) / loads.len() as f64).sqrt();
        let own = (1.0 / total - common * common).max(0.0).sqrt();
        seen.insert(k, Value { offset: weighted(&|l| l.error.value), common, own });
        names.extend(loads.iter().map(|l| l.load.clone()));
    }
    names.sort();
    names.dedup();
    let mut values = vec![];
    for k in 0..stretches {
        let (&near, &value) = seen.iter().min_by_key(|(near, _)| near.abs_diff(k))?;
        values.push(match pair.filter(|_| near != k) {
            // the antennas' own part is common to both stretches and cancels in the shift
            Some(p) => Value {
                offset: value.offset + p[k].estimate.value - p[near].estimate.value,
                own: value.own.hypot(p[k].own).hypot(p[near].own),
                ..value
            },
            None => value,
        });
    }
    Some((names, values))
}

/// By other meters: the mean of what it reads over each.
fn by_meters(over: &[(String, Vec<Over>)]) -> Option<(Against, Vec<Value>)> {
    let n = over.len() as f64;
    let first = over.first()?;
    let values = (0..first.1.len())
        .map(|k| {
            let sum = |f: &dyn Fn(&Over) -> f64| over.iter().map(|o| f(&o.1[k])).sum::<f64>();
            let common = |o: &Over| (o.estimate.standard_error.powi(2) - o.own * o.own).max(0.0);
            Value {
                offset: sum(&|o| o.estimate.value) / n,
                common: sum(&common).sqrt() / n,
                own: sum(&|o| o.own * o.own).sqrt() / n,
            }
        })
        .collect::<Vec<_>>();
    values
        .iter()
        .all(|v| v.common.is_finite() && v.own.is_finite())
        .then(|| (Against::Meters(over.iter().map(|o| o.0.clone()).collect()), values))
}

fn steps_of(log: &Log, stretches: usize, stretch: impl Fn(usize) -> usize, values: &[Value]) -> Vec<Step> {
    (0..stretches)
        .filter_map(|k| {
            let sessions: Vec<String> =
                (0..log.sessions.len()).filter(|s| stretch(*s) == k).map(|s| log.sessions[s].name.clone()).collect();
            Some(Step {
                from: sessions.first()?.clone(),
                to: sessions.last()?.clone(),
                offset: values[k].offset,
                standard_uncertainty: values[k].common.hypot(values[k].own),
                own_uncertainty: values[k].own,
                sessions,
            })
        })
        .collect()
}

/// Takes the offsets out of `y`, at the meter's plane, and moves `value` along.
fn apply(frame: &DataFrame, season: &Season, corrections: &[Correction]) -> PolarsResult<DataFrame> {
    let text = |name: &str| frame.column(name).and_then(|c| c.str().cloned());
    let (quantity, band, meter, session) = (text("quantity")?, text("band")?, text("meter")?, text("session")?);
    let (y, value) = (frame.column("y")?.f64()?, frame.column("value")?.f64()?);
    let (mut new_y, mut new_value) = (vec![], vec![]);
    for i in 0..frame.height() {
        let at = |c: &StringChunked| c.get(i).unwrap_or_default().to_string();
        let (q, b, m, s) = (at(&quantity), at(&band), at(&meter), at(&session));
        let offset = corrections
            .iter()
            .find(|c| c.quantity == q && c.band == b && c.meter == m)
            .and_then(|c| c.steps.iter().find(|step| step.sessions.contains(&s)))
            .map(|step| step.offset);
        let changed = offset.zip(y.get(i)).zip(season.config.quantity(&q)).map(|((offset, y), q)| {
            let loss = season.config.meter(&m).and_then(|m| m.line_loss_db.get(&b)).copied();
            let factor = loss.filter(|_| q.is_reflection()).map_or(1.0, crate::radio::reflection::line_correction);
            (y - offset / factor, q.scale.to_shown(y - offset / factor))
        });
        new_y.push(changed.map(|c| c.0).or(y.get(i)));
        new_value.push(changed.map(|c| c.1).or(value.get(i)));
    }
    let mut out = frame.clone();
    out.with_column(Column::new("y".into(), new_y))?;
    out.with_column(Column::new("value".into(), new_value))?;
    Ok(out)
}

impl Corrected {
    /// Hands each set the correction that was made to it.
    pub fn attach(&self, sets: &mut [Set]) {
        for set in sets {
            let made = self
                .corrections
                .iter()
                .find(|c| c.quantity == set.quantity.name && c.band == set.band && c.meter == set.meter);
            set.correction = made.map(|correction| {
                let mut shares = vec![vec![0.0; correction.steps.len()]; set.antennas.len()];
                for m in &set.mountings {
                    let session = &set.sessions[m.session];
                    if let Some(k) = correction.steps.iter().position(|s| s.sessions.contains(session)) {
                        shares[m.antenna][k] += 1.0;
                    }
                }
                for own in &mut shares {
                    let total: f64 = own.iter().sum();
                    own.iter_mut().for_each(|share| *share /= total.max(1.0));
                }
                SetCorrection { correction: correction.clone(), shares }
            });
        }
    }
}
