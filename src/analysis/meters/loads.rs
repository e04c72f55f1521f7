//! A meter's own error against terminations of known resistance.

use std::collections::BTreeMap;

use super::log::{Log, MeterSet, Mounting};
use super::offset::{ErrorPart, Estimate};
use crate::radio::quantity::Quantity;
use crate::radio::reflection::to_return_loss_db;
use crate::season::config::{Config, Load};
use crate::stats::method_comparison::{Interval, mean, sample_variance};

/// Impedance of the system, Ω.
const Z0: f64 = 50.0;

/// One meter's reading of one load on one band, in one stretch of time.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct LoadError {
    /// The load.
    pub load: String,
    /// What it truly is, on the analysis scale, at the end of the line.
    pub known: f64,
    /// What was read, moved there through the declared line loss.
    pub read: f64,
    /// read − known; of a matched load, the size of what adds to its zero.
    pub error: Estimate,
    /// Standard uncertainty of the load's own value from its tolerance; `None` where none is declared and it is
    /// taken as exact.
    pub tolerance: Option<f64>,
    /// Standard deviation that a false wave leaves in a single load's reading: of the directivity declared, or, where
    /// none is, of the one that a matched load shows.
    pub false_wave: f64,
    /// Mountings.
    pub mountings: usize,
    /// Sessions, in order.
    pub sessions: Vec<String>,
    /// First of them, by its number in the log.
    #[serde(skip)]
    pub first_session: usize,
    /// Which stretch between shifts it belongs to.
    pub stretch: usize,
    /// Of a matched load: the directivity it shows, dB (its own mismatch included).
    pub directivity_db: Option<f64>,
    /// Its range, at the confidence of all intervals: from scatter and the load's tolerance, through the range of |Γ|;
    /// without an upper end where perhaps no false wave is there. `None` where the display showed a perfect match: what
    /// errs the other way is cut off there, and nobody knows by how much.
    pub directivity_range_db: Option<(f64, Option<f64>)>,
}

/// A meter's constant and proportional error, from two or more unlike loads.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct OwnLine {
    /// Error at |Γ| = 0 (or 0 of the scale).
    pub constant: f64,
    /// Standard error.
    pub constant_error: f64,
    /// Error for each unit of the true value.
    pub proportional: f64,
    /// Standard error.
    pub proportional_error: f64,
}

/// What one meter's check loads say on one band.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct OwnError {
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Quantity.
    pub quantity: String,
    /// Load by load and stretch by stretch.
    pub loads: Vec<LoadError>,
    /// Constant and proportional part over the unmatched loads of all stretches.
    pub line: Option<OwnLine>,
}

/// What a load reads on a quantity's analysis scale, if it is known of it.
pub fn known(quantity: &Quantity, resistance: f64) -> Option<f64> {
    let reflection = ((resistance - Z0) / (resistance + Z0)).abs();
    match quantity.name.as_str() {
        _ if quantity.is_reflection() => Some(reflection),
        "impedance" => quantity.scale.to_analysis(resistance),
        "resistance" => Some(resistance),
        "reactance" => Some(0.0),
        _ => None,
    }
}

/// Own errors of a set; `stretch` numbers the stretch of time of a session.
pub fn own_error(
    set: &MeterSet,
    log: &Log,
    config: &Config,
    stretch: impl Fn(usize) -> usize,
    confidence: f64,
) -> Option<OwnError> {
    // beyond a line only |Γ| is known
    if set.loads.is_empty() || (set.line_loss_db > 0.0 && !set.quantity.is_reflection()) {
        return None;
    }
    let mut by: BTreeMap<(usize, usize), Vec<&Mounting>> = BTreeMap::new();
    for m in &set.loads {
        by.entry((m.item, stretch(m.session))).or_default().push(m);
    }
    let pooled = pooled(set);
    let wave = if set.false_wave > 0.0 { set.false_wave } else { shown_wave(set, config) };
    let loads: Vec<LoadError> = by
        .iter()
        .filter_map(|(&(item, stretch), mountings)| {
            load_error(set, &config.loads[item], mountings, stretch, (pooled, wave), log, confidence)
        })
        .collect();
    (!loads.is_empty()).then(|| OwnError {
        band: set.band.clone(),
        meter: set.meter.clone(),
        quantity: set.quantity.name.clone(),
        line: line(&loads),
        loads,
    })
}

#[allow(clippy::too_many_arguments)] // one reading in full, each part once
fn load_error(
    set: &MeterSet,
    load: &Load,
    mountings: &[&Mounting],
    stretch: usize,
    (pooled, wave): ((f64, f64), f64),
    log: &Log,
    confidence: f64,
) -> Option<LoadError> {
    let known_at = |r: f64| known(&set.quantity, r);
    let value = known_at(load.resistance_ohm)?;
    let means: Vec<f64> = mountings.iter().map(|m| m.mean * set.line_factor).collect();
    let read = mean(&means);
    let (reading, _) = set.reading_variance();
    let readings: f64 = mountings.iter().map(|m| m.readings).sum();
    let step = set.step_at(read / set.line_factor);
    let floor = (reading / readings).max(step * step / 12.0 / readings) * set.line_factor.powi(2);
    // the mounting is the unit; where none is repeated, only its readings' scatter is known
    let scatter = match pooled {
        (variance, df) if df > 0.0 => {
            ErrorPart { variance: (variance * set.line_factor.powi(2) / means.len() as f64).max(floor), df }
        }
        _ => ErrorPart { variance: floor, df: f64::INFINITY },
    };
    let tolerance = load.tolerance_percent.map(|percent| {
        let half = load.resistance_ohm * percent / 100.0;
        let ends = [load.resistance_ohm - half, load.resistance_ohm + half];
        let moved = ends.iter().filter_map(|r| known_at(r.max(1e-9))).map(|k| (k - value).abs()).fold(0.0, f64::max);
        moved / 3f64.sqrt()
    });
    let matched = set.quantity.is_reflection() && value == 0.0;
    // of a matched load the false wave is what is measured
    let false_wave = if matched { 0.0 } else { wave * set.line_factor / 2f64.sqrt() };
    let exact = |u: f64| ErrorPart { variance: u * u, df: f64::INFINITY };
    let parts = [Some(scatter), tolerance.map(exact), Some(exact(false_wave))];
    let parts: Vec<ErrorPart> = parts.into_iter().flatten().filter(|p| p.variance > 0.0).collect();
    let mut sessions: Vec<usize> = mountings.iter().map(|m| m.session).collect();
    sessions.dedup();
    let error = Estimate::from_parts(read - value, &parts, confidence);
    // no reading shows less than half its last digit
    let decibel = |reflection: f64| to_return_loss_db((reflection / set.line_factor).max(step / 2.0).max(1e-6));
    let directivity_range_db = (matched && read / set.line_factor >= step).then(|| {
        let Interval { low, high } = error.interval;
        (decibel(high.min(0.999)), (low / set.line_factor > step / 2.0).then(|| decibel(low)))
    });
    Some(LoadError {
        load: load.name.clone(),
        known: value,
        read,
        error,
        tolerance,
        false_wave,
        mountings: means.len(),
        first_session: sessions[0],
        sessions: sessions.iter().map(|s| log.sessions[*s].name.clone()).collect(),
        stretch,
        directivity_db: matched.then(|| decibel(read)),
        directivity_range_db,
    })
}

/// The false wave that matched loads show, at the meter's plane: the largest, since any load's own adds to it or takes
/// from it; 0 where none was read.
fn shown_wave(set: &MeterSet, config: &Config) -> f64 {
    let mut by: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    let matched = |m: &&Mounting| known(&set.quantity, config.loads[m.item].resistance_ohm) == Some(0.0);
    for m in set.loads.iter().filter(matched).filter(|_| set.quantity.is_reflection()) {
        by.entry(m.item).or_default().push(m.mean);
    }
    by.values().map(|means| mean(means)).fold(0.0, f64::max)
}

/// Variance of a load's mountings inside a session, pooled over loads and sessions, and its degrees of freedom:
/// two mountings by themselves would say next to nothing.
fn pooled(set: &MeterSet) -> (f64, f64) {
    let mut by: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
    for m in &set.loads {
        by.entry((m.item, m.session)).or_default().push(m.mean);
    }
    let df: f64 = by.values().map(|v| v.len() as f64 - 1.0).sum();
    let ss: f64 = by.values().filter(|v| v.len() > 1).map(|v| sample_variance(v) * (v.len() as f64 - 1.0)).sum();
    (if df > 0.0 { ss / df } else { 0.0 }, df)
}

/// Error against true value through the unmatched loads, each weighted by its own uncertainty.
fn line(loads: &[LoadError]) -> Option<OwnLine> {
    let use_of: Vec<&LoadError> = loads.iter().filter(|l| l.directivity_db.is_none()).collect();
    let mut known: Vec<f64> = use_of.iter().map(|l| l.known).collect();
    known.sort_by(f64::total_cmp);
    known.dedup();
    if known.len() < 2 {
        return None;
    }
    let weight = |l: &LoadError| 1.0 / l.error.standard_error.powi(2);
    let total: f64 = use_of.iter().map(|l| weight(l)).sum();
    let x0 = use_of.iter().map(|l| weight(l) * l.known).sum::<f64>() / total;
    let y0 = use_of.iter().map(|l| weight(l) * l.error.value).sum::<f64>() / total;
    let xx: f64 = use_of.iter().map(|l| weight(l) * (l.known - x0).powi(2)).sum();
    let xy: f64 = use_of.iter().map(|l| weight(l) * (l.known - x0) * (l.error.value - y0)).sum();
    let finite = total.is_finite() && xx > 0.0;
    finite.then(|| OwnLine {
        constant: y0 - xy / xx * x0,
        constant_error: (1.0 / total + x0 * x0 / xx).sqrt(),
        proportional: xy / xx,
        proportional_error: (1.0 / xx).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_load(known: f64, error: f64, standard_error: f64) -> LoadError {
        let part = ErrorPart { variance: standard_error * standard_error, df: f64::INFINITY };
        LoadError {
            load: "l".into(),
            known,
            read: known + error,
            error: Estimate::from_parts(error, &[part], 0.95),
            tolerance: None,
            false_wave: 0.0,
            mountings: 1,
            sessions: vec!["s".into()],
            first_session: 0,
            stretch: 0,
            directivity_db: None,
            directivity_range_db: None,
        }
    }

    /// Against weighted least squares in closed form, with two loads: the line through both, and errors by propagation.
    #[test]
    fn two_unlike_loads_tell_a_meters_constant_and_proportional_error() {
        let loads = [of_load(0.2, 0.03, 0.01), of_load(0.5, 0.06, 0.02)];
        let line = line(&loads).unwrap();
        assert!((line.proportional - 0.1).abs() < 1e-12 && (line.constant - 0.01).abs() < 1e-12, "{line:?}");
        // slope (e2 − e1)/0.3; constant (0.5·e1 − 0.2·e2)/0.3
        assert!((line.proportional_error - 0.01f64.hypot(0.02) / 0.3).abs() < 1e-12, "{line:?}");
        assert!((line.constant_error - (0.5 * 0.01f64).hypot(0.2 * 0.02) / 0.3).abs() < 1e-12, "{line:?}");
        // the better known of many draws the line to itself
        let many = [of_load(0.2, 0.03, 1e-6), of_load(0.5, 0.06, 1e-6), of_load(0.35, 0.5, 10.0)];
        assert!((super::line(&many).unwrap().proportional - 0.1).abs() < 1e-6);
    }

    #[test]
    fn one_load_or_several_alike_give_no_line() {
        assert_eq!(line(&[of_load(0.2, 0.03, 0.01)]), None);
        assert_eq!(line(&[of_load(0.2, 0.03, 0.01), of_load(0.2, 0.04, 0.01)]), None);
    }
}
