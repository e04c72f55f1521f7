//! What the season declares of two meters, held against how they differ.

use super::log::MeterSet;
use super::offset::{Differences, Estimate};
use crate::radio::reflection::vector_sum;
use crate::stats::method_comparison::{Interval, mean};
use crate::stats::student_t::t_quantile;

/// How far the declared line loss, directivity and resolution account for an offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Account {
    /// The offset's interval holds zero: there is nothing to explain.
    NothingToExplain,
    /// What is left of it is inside what errs anyway.
    Explained,
    /// A part of it is.
    InPart,
    /// It is not.
    NotExplained,
    /// The season declares nothing that could.
    NothingDeclared,
}

/// The account of one band.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Why {
    /// How far it goes.
    pub account: Account,
    /// What line loss predicts of second − first, on the mean over antennas.
    pub line_loss: f64,
    /// What a false wave adds on the mean over its phases (near a match a meter reads high).
    pub false_wave: f64,
    /// Standard deviation that false waves leave in the mean over these antennas.
    pub false_wave_sd: f64,
    /// Share of the offset that the two predict together.
    pub share: f64,
    /// Antenna by antenna, in order of level.
    pub levels: Vec<Level>,
}

/// One antenna: predicted and seen.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Level {
    /// The antenna, by its number in the log.
    #[serde(skip)]
    pub item: usize,
    /// Its name.
    pub antenna: String,
    /// Its level at the antenna, on the analysis scale: the mean of both meters, line loss undone.
    pub level: f64,
    /// second − first as seen.
    pub seen: f64,
    /// What line loss alone predicts.
    pub line_loss: f64,
    /// Between what bounds line loss, directivity and the last digit together leave it.
    pub range: Interval,
    /// Whether what was seen, give or take its own scatter, reaches into that range.
    pub inside: bool,
}

/// The account of `estimate` (of one stretch of time) by what is declared. `None` for quantities that neither line
/// loss nor directivity act on.
pub fn why(
    d: &Differences,
    estimate: &Estimate,
    first: &MeterSet,
    second: &MeterSet,
    names: &[String],
    confidence: f64,
) -> Option<Why> {
    if !first.quantity.is_reflection() {
        return None;
    }
    let shift = estimate.value - d.offset;
    let z = t_quantile(0.5 + confidence / 2.0, f64::INFINITY);
    let mut levels: Vec<Level> = vec![];
    let (mut line, mut wave, mut variance) = (vec![], vec![], vec![]);
    for a in &d.antennas {
        let level = ((a.first * first.line_factor + (a.first + a.beta) * second.line_factor) / 2.0).max(0.0);
        let at = |set: &MeterSet| level / set.line_factor;
        let ends = |set: &MeterSet| {
            let half = set.step_at(at(set)) / 2.0;
            ((at(set) - set.false_wave).abs().min(at(set)) - half, at(set) + set.false_wave + half)
        };
        let ((low1, high1), (low2, high2)) = (ends(first), ends(second));
        let range = Interval { low: low2 - high1, high: high2 - low1 };
        // an antenna of its own sessions was seen in its own stretch already
        let seen = if a.joined { a.beta + shift } else { a.beta };
        let scatter = z * a.variance.sqrt();
        let loss = at(second) - at(first);
        if a.joined {
            let ((m1, v1), (m2, v2)) = (moments(at(first), first.false_wave), moments(at(second), second.false_wave));
            line.push(loss);
            wave.push(m2 - m1);
            variance.push(v1 + v2);
        }
        levels.push(Level {
            item: a.item,
            antenna: names.get(a.item).cloned().unwrap_or_default(),
            level,
            seen,
            line_loss: loss,
            range,
            inside: seen + scatter >= range.low && seen - scatter <= range.high,
        });
    }
    levels.sort_by(|a, b| a.level.total_cmp(&b.level));
    let (line_loss, false_wave) = (mean(&line), mean(&wave));
    let false_wave_sd = (variance.iter().sum::<f64>()).sqrt() / variance.len() as f64;
    let predicted = line_loss + false_wave;
    let left = estimate.value - predicted;
    // several antennas' scatter already holds what false waves do to their mean; one antenna's doesn't
    let allowed = match d.joined_antennas() {
        1 => estimate.interval.half().hypot(z * false_wave_sd),
        _ => estimate.interval.half(),
    };
    let declared = [first, second].iter().any(|s| s.line_factor != 1.0 || s.false_wave > 0.0);
    let share = if estimate.value != 0.0 { predicted / estimate.value } else { 0.0 };
    let account = if estimate.interval.holds(0.0) {
        Account::NothingToExplain
    } else if !declared {
        Account::NothingDeclared
    } else if left.abs() <= allowed {
        Account::Explained
    } else if share > 0.1 {
        Account::InPart
    } else {
        Account::NotExplained
    };
    Some(Why { account, line_loss, false_wave, false_wave_sd, share, levels })
}

/// Mean and variance of |Γ + d·e^jφ| − |Γ| over all phases.
fn moments(level: f64, wave: f64) -> (f64, f64) {
    if wave == 0.0 {
        return (0.0, 0.0);
    }
    let steps = 360; // even steps over a period: exact to rounding for a smooth function
    let errors = (0..steps).map(|s| {
        let phase = std::f64::consts::TAU * (f64::from(s) + 0.5) / f64::from(steps);
        vector_sum(level, wave, phase) - level
    });
    let (mut sum, mut square) = (0.0, 0.0);
    for e in errors {
        sum += e;
        square += e * e;
    }
    let mean = sum / f64::from(steps);
    (mean, square / f64::from(steps) - mean * mean)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Far from the match the error is d·cos φ + (d²/2ρ)·sin²φ: mean d²/(4ρ), variance d²/2.
    #[test]
    fn a_false_wave_lifts_the_mean_a_little_far_from_the_match_and_wholly_at_it() {
        let (m, v) = moments(0.5, 0.01);
        assert!((m - 0.01f64.powi(2) / 2.0).abs() < 1e-7 && (v - 0.5e-4).abs() < 1e-7, "{m} {v}");
        let (m, v) = moments(0.0, 0.01);
        assert!((m - 0.01).abs() < 1e-12 && v.abs() < 1e-12);
    }
}
