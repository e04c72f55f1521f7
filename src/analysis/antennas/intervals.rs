//! The family of all pairs of a set: scatter and declared sources put together in one interval.
//!
//! The scatter part of a pair's error is studentized and known through few degrees of freedom; the
//! declared part has a known distribution. Their simultaneous half-widths h_s and h_d, each with the
//! family's full confidence by itself, are joined as √(h_s² + h_d²). That is exact where either part
//! is absent and, for normal parts, errs on the side of width between: unlike a studentized sum it
//! cannot be fooled by a scatter that came out small by luck on few degrees of freedom.
//! Source: Howe (1974), J. Am. Stat. Assoc. 69:789–794, approximation I; Graybill & Wang (1980), ibid.
//! 75:869–873.
//!
//! A source that dwells at its ends (a vector of unknown phase) can need more than that. So the joint
//! draws of both parts are looked at too, scatter as a scaled t and sources as they are (JCGM 101:2008,
//! 6.4.9), and all intervals of the family are widened by the one factor those draws ask for, if it is
//! above 1.
//!
//! A confidence that the trials do not resolve (ten of them must lie beyond the quantile) is not read from them:
//! the half-widths are then upper bounds (`montecarlo::tail`), and the factor is that of the sharpest confidence which
//! they do resolve. The further out, the more the part with the longer tail outweighs the other, and the less a
//! joined half-width can fall short.

use rand::RngExt;
use rand_distr::StandardNormal;

use super::sources::SetSources;
use crate::montecarlo::replays::{Replays, quantile};
use crate::montecarlo::simultaneous::{PairDifference, SetFit};
use crate::montecarlo::stream::stream;
use crate::montecarlo::tail::{self, order_statistic, sorted};
use crate::stats::student_t::t_quantile;

/// The stream of the normal numbers that stand for scatter in `single_half_width`: the same for all, so
/// that like antennas get like intervals.
const SUMS: u64 = 1 << 22;

/// Draws of declared errors, in trial order.
#[derive(Debug, Clone, Default)]
pub struct Declared {
    errors: Vec<f64>,
    season: Vec<f64>,
    antennas: usize,
}

impl Declared {
    /// Adds one trial: each antenna's error, and what sources shared by the season add to its own result.
    pub fn push(&mut self, errors: &[f64], season: &[f64]) {
        self.errors.extend_from_slice(errors);
        self.season.extend_from_slice(season);
        self.antennas = errors.len();
    }

    /// Adds another's trials behind its own.
    pub fn append(&mut self, other: Declared) {
        self.errors.extend(other.errors);
        self.season.extend(other.season);
        self.antennas = self.antennas.max(other.antennas);
    }

    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.errors.len().checked_div(self.antennas).unwrap_or(0)
    }

    /// Errors without sources shared by the season, an antenna each, trial by trial.
    pub fn errors(&self) -> &[f64] {
        &self.errors
    }

    /// Error of first − error of second, trial by trial.
    pub fn difference(&self, first: usize, second: usize) -> Vec<f64> {
        self.errors.chunks_exact(self.antennas.max(1)).map(|e| e[first] - e[second]).collect()
    }

    /// Error of an antenna's own result, trial by trial.
    pub fn result(&self, antenna: usize) -> Vec<f64> {
        let p = self.antennas.max(1);
        let trials = self.errors.chunks_exact(p).zip(self.season.chunks_exact(p));
        trials.map(|(e, s)| e[antenna] + s[antenna]).collect()
    }
}

/// All pairs of a set, their replays and declared draws.
#[derive(Debug, Clone)]
pub struct Family {
    /// Replays of the scatter.
    pub replays: Replays,
    /// Draws of the declared errors.
    pub declared: Declared,
    /// Trials of each block.
    pub blocks: Vec<usize>,
    antennas: usize,
    confidence: f64,
    scatter_sorted: Vec<f64>,
    declared_sorted: Vec<f64>,
    critical: Critical,
    widening: f64,
}

/// What half-widths of 1 are multiplied by: scatter's and sources'.
#[derive(Debug, Clone, Copy, Default)]
struct Critical {
    confidence: f64,
    scatter: f64,
    declared: f64,
}

impl Critical {
    fn half_width(self, seen: Option<&PairDifference>, declared: f64) -> f64 {
        let scatter = seen.map_or(0.0, |p| p.half_width_at(self.scatter, self.confidence));
        // nothing declared adds nothing, however little is known of its quantile
        let known = if declared > 0.0 { declared * self.declared } else { 0.0 };
        scatter.hypot(known)
    }
}

impl Family {
    /// An empty family.
    pub fn new(antennas: usize, confidence: f64) -> Family {
        Family {
            replays: Replays::default(),
            declared: Declared::default(),
            blocks: vec![],
            antennas,
            confidence,
            scatter_sorted: vec![],
            declared_sorted: vec![],
            critical: Critical::default(),
            widening: 1.0,
        }
    }

    /// Largest |declared difference| over its standard, over all pairs, trial by trial from `from`.
    fn largest_declared(&self, sources: &SetSources, from: usize) -> Vec<f64> {
        let p = self.antennas;
        let mut inverse = vec![];
        for i in 0..p {
            for j in i + 1..p {
                let u = sources.standard_of_difference(i, j);
                inverse.push((i, j, if u > 0.0 { 1.0 / u } else { 0.0 }));
            }
        }
        let trials = self.declared.errors.chunks_exact(p).skip(from);
        trials.map(|e| inverse.iter().map(|&(i, j, u)| (e[i] - e[j]).abs() * u).fold(0.0, f64::max)).collect()
    }

    /// Finds the quantiles; to be called when the last trial is in.
    pub fn finish(&mut self, fit: Option<&SetFit>, sources: &SetSources) {
        self.widening = 1.0; // what was found on fewer trials
        self.critical.confidence = self.confidence;
        if let Some(fit) = fit {
            self.scatter_sorted = sorted(self.replays.largest.clone());
            self.critical.scatter = fit.critical(&self.scatter_sorted);
        }
        if sources.any_counts() {
            self.declared_sorted = sorted(self.largest_declared(sources, 0));
            self.critical.declared = tail::quantile(&self.declared_sorted, self.confidence);
            if let Some(fit) = fit {
                self.widening = self.joint_factor(fit, sources).max(1.0);
            }
        }
    }

    /// The quantile, over the joint draws of scatter and sources, of the largest pair error in units of
    /// its half-width: what the half-widths must be multiplied by to hold those draws.
    fn joint_factor(&self, fit: &SetFit, sources: &SetSources) -> f64 {
        let p = self.antennas;
        let level = self.confidence.min(tail::resolved(self.replays.trials()));
        let critical = self.critical_at(level);
        let inverse: Vec<(usize, usize, f64)> = fit
            .pairs
            .iter()
            .map(|pair| {
                let u = sources.standard_of_difference(pair.first, pair.second);
                (pair.first, pair.second, 1.0 / critical.half_width(Some(pair), u))
            })
            .collect();
        let trials = self.replays.errors.chunks_exact(p).zip(self.declared.errors.chunks_exact(p));
        let largest: Vec<f64> = trials
            .map(|(s, d)| {
                let error = |i: usize, j: usize| (s[i] - s[j]) + (d[i] - d[j]);
                inverse.iter().map(|&(i, j, h)| error(i, j).abs() * h).fold(0.0, f64::max)
            })
            .collect();
        quantile(&largest, level)
    }

    /// The trials' own quantiles.
    fn critical_at(&self, confidence: f64) -> Critical {
        Critical {
            confidence,
            scatter: order_statistic(&self.scatter_sorted, confidence),
            declared: order_statistic(&self.declared_sorted, confidence),
        }
    }

    /// Whether every pair's half-width has settled to the digits it is reported to.
    pub fn is_stable(&self, fit: Option<&SetFit>, sources: &SetSources) -> bool {
        let declared = if sources.any_counts() { self.largest_declared(sources, 0) } else { vec![] };
        let mut critical = vec![];
        let mut from = 0;
        for &trials in &self.blocks {
            let scatter = self.replays.largest.get(from..from + trials).map_or(0.0, |b| quantile(b, self.confidence));
            let known = declared.get(from..from + trials).map_or(0.0, |b| quantile(b, self.confidence));
            critical.push((scatter, known));
            from += trials;
        }
        let pairs = (0..self.antennas).flat_map(|i| (i + 1..self.antennas).map(move |j| (i, j)));
        pairs.enumerate().all(|(number, (i, j))| {
            let seen = fit.map(|f| f.pairs[number]);
            let u = sources.standard_of_difference(i, j);
            let half: Vec<f64> = critical
                .iter()
                .map(|&(scatter, known)| seen.map_or(0.0, |p| p.half_width(scatter)).hypot(known * u))
                .collect();
            settled(&half)
        })
    }

    /// Half-width of a pair's simultaneous interval.
    pub fn half_width(&self, seen: Option<&PairDifference>, declared: f64) -> f64 {
        self.widening * self.critical.half_width(seen, declared)
    }

    /// Adjusted p-value: one less the largest confidence at which the interval still excludes zero, on
    /// the grid of the trials; never below 1/(1 + trials), nor, for an interval that holds zero, below what is left
    /// of the confidence.
    pub fn p_value(&self, difference: f64, seen: Option<&PairDifference>, declared: f64) -> f64 {
        let trials = self.scatter_sorted.len().max(self.declared_sorted.len());
        if trials == 0 {
            return 1.0;
        }
        let excludes = |k: usize| {
            self.widening * self.critical_at(k as f64 / trials as f64).half_width(seen, declared) < difference
        };
        // the half-width grows with k: bisect for the number of grid points that still exclude zero
        let (mut low, mut high) = (0, trials + 1);
        while high - low > 1 {
            let middle = (low + high) / 2;
            if excludes(middle) { low = middle } else { high = middle }
        }
        let p = (1 + trials - low) as f64 / (1 + trials) as f64;
        if self.half_width(seen, declared) < difference { p } else { p.max(1.0 - self.confidence) }
    }

    /// Half-width of a t interval at the family's confidence, by itself.
    pub fn t_half_width(&self, error: f64, df: f64) -> f64 {
        t_quantile(0.5 + self.confidence / 2.0, df) * error
    }

    /// Half-width of one estimate's own interval, from its scatter's half-width and the absolute declared
    /// errors drawn for it: joined, and where need be widened, as a pair's.
    pub fn single_half_width(&self, scatter: f64, declared: f64, drawn: &[f64]) -> f64 {
        if !(declared > 0.0) {
            return scatter;
        }
        if drawn.is_empty() {
            return f64::INFINITY;
        }
        let known = tail::quantile(&sorted(drawn.iter().map(|d| d.abs()).collect()), self.confidence);
        // scatter as a normal variable whose own interval is as wide: enough to see what the sum needs
        let scale = scatter / t_quantile(0.5 + self.confidence / 2.0, f64::INFINITY);
        let mut rng = stream(0, SUMS, 0);
        let sums: Vec<f64> =
            drawn.iter().map(|d| (d + scale * RngExt::sample::<f64, _>(&mut rng, StandardNormal)).abs()).collect();
        scatter.hypot(known).max(tail::quantile(&sorted(sums), self.confidence))
    }

    /// Joint draws of the antennas' values: the estimates less the errors of the replays, plus what
    /// declared sources may hide. Empty where nothing is `known` of any spread.
    pub fn draws(&self, estimates: &[f64], known: bool) -> Vec<f64> {
        if !known {
            return vec![];
        }
        let p = self.antennas;
        let trials = self.declared.trials();
        let mut out = Vec::with_capacity(trials * p);
        for t in 0..trials {
            for a in 0..p {
                let scatter = self.replays.errors.get(t * p + a).copied().unwrap_or(0.0);
                out.push(estimates[a] - scatter + self.declared.errors[t * p + a]);
            }
        }
        out
    }
}

/// Whether twice the standard deviation of the mean of the blocks' half-widths is below half a unit of
/// the last digit they are reported to.
fn settled(blocks: &[f64]) -> bool {
    let n = blocks.len() as f64;
    let mean = blocks.iter().sum::<f64>() / n;
    if !(mean > 0.0 && mean.is_finite()) {
        return true;
    }
    let variance = blocks.iter().map(|h| (h - mean).powi(2)).sum::<f64>() / (n - 1.0);
    2.0 * (variance / n).sqrt() < last_digit(mean) / 2.0
}

/// The unit of the last digit an uncertainty is reported to: two digits where it begins with 1 or 2,
/// else one.
pub fn last_digit(uncertainty: f64) -> f64 {
    if !(uncertainty > 0.0 && uncertainty.is_finite()) {
        return 1.0;
    }
    let power = uncertainty.log10().floor();
    let first = uncertainty / 10f64.powf(power);
    // 2.95 and above rounds to 3: one digit
    10f64.powf(if first < 2.95 { power - 1.0 } else { power })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uncertainties_are_reported_to_two_digits_where_they_begin_with_one_or_two() {
        for (u, digit) in [(0.134, 0.01), (0.29, 0.01), (0.31, 0.1), (2.96, 1.0), (12.0, 1.0), (9.9, 1.0)] {
            assert!((last_digit(u) - digit).abs() < 1e-12, "{u} {}", last_digit(u));
        }
    }
}
