//! Limits of agreement: between which bounds most single differences of two ways of measuring lie.
//!
//! Sources: Bland & Altman (1986), Lancet 327:307–310, for one pair an item; Bland & Altman (2007),
//! J. Biopharm. Stat. 17:571–582, for several pairs an item whose true value varies; Zou (2013), Stat. Methods
//! Med. Res. 22:630–642, for the limits' own intervals (the variances recovered from those of the parts),
//! with the interval of a sum of variances by Graybill & Wang (1980), J. Am. Stat. Assoc. 75:869–873.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::{Interval, mean, sample_variance};
use crate::stats::student_t::t_quantile;

/// Share of single differences the limits are to hold.
pub const SHARE: f64 = 0.95;

/// A mean square with its coefficient in a sum of variances, and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Coefficient × mean square, at least 0.
    pub variance: f64,
    /// Degrees of freedom of the mean square.
    pub df: f64,
}

/// Limits of agreement of x − y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Mean difference.
    pub bias: f64,
    /// Its interval.
    pub bias_interval: Interval,
    /// Standard deviation of a single difference.
    pub sd: f64,
    /// bias − z·sd.
    pub low: f64,
    /// bias + z·sd.
    pub high: f64,
    /// Interval of the lower limit.
    pub low_interval: Interval,
    /// Interval of the upper limit.
    pub high_interval: Interval,
}

/// Limits from one pair an item (1986). `None` for fewer than two pairs.
pub fn of_single_pairs(differences: &[f64], confidence: f64) -> Option<Limits> {
    let n = differences.len() as f64;
    if differences.len() < 2 {
        return None;
    }
    let (bias, variance) = (mean(differences), sample_variance(differences));
    let half = t_quantile(0.5 + confidence / 2.0, n - 1.0) * (variance / n).sqrt();
    Some(from_parts(bias, half, &[Part { variance, df: n - 1.0 }], confidence))
}

/// The analysis of variance behind limits from several pairs an item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeated {
    /// Mean square between items, weighted by their pairs.
    pub between_ms: f64,
    /// Mean square inside items.
    pub within_ms: f64,
    /// What the between-item variance is multiplied by in `between_ms`: (N² − Σm²)/((n − 1)·N).
    pub divisor: f64,
    /// Variance between items, not below 0.
    pub between: f64,
    /// The limits.
    pub limits: Limits,
}

/// Limits from several pairs an item where the true value varies from pair to pair (2007): a one-way
/// analysis of variance of the differences, by moments. `None` for fewer than two items, or no item
/// with two pairs.
pub fn of_repeated_pairs(items: &[Vec<f64>], confidence: f64) -> Option<Repeated> {
    let all: Vec<f64> = items.iter().flatten().copied().collect();
    let (n, pairs) = (items.len() as f64, all.len() as f64);
    if items.len() < 2 || all.len() <= items.len() || items.iter().any(Vec::is_empty) {
        return None;
    }
    let bias = mean(&all);
    let between_ss: f64 = items.iter().map(|d| d.len() as f64 * (mean(d) - bias).powi(2)).sum();
    let within_ss: f64 = items.iter().map(|d| d.iter().map(|x| (x - mean(d)).powi(2)).sum::<f64>()).sum();
    let (between_ms, within_ms) = (between_ss / (n - 1.0), within_ss / (pairs - n));
    let squares: f64 = items.iter().map(|d| (d.len() as f64).powi(2)).sum();
    let divisor = (pairs * pairs - squares) / ((n - 1.0) * pairs);
    let between = ((between_ms - within_ms) / divisor).max(0.0);
    // between + within = MSB/m + (1 − 1/m)·MSW, both parts independent; where MSB < MSW, MSW alone
    let parts = if between > 0.0 {
        vec![
            Part { variance: between_ms / divisor, df: n - 1.0 },
            Part { variance: (1.0 - 1.0 / divisor) * within_ms, df: pairs - n },
        ]
    } else {
        vec![Part { variance: within_ms, df: pairs - n }]
    };
    // the mean of all pairs: each item's share of them squared, times what items scatter
    let error = (between * squares / (pairs * pairs) + within_ms / pairs).sqrt();
    let half = t_quantile(0.5 + confidence / 2.0, n - 1.0) * error;
    Some(Repeated { between_ms, within_ms, divisor, between, limits: from_parts(bias, half, &parts, confidence) })
}

/// Limits from a mean difference with the half-width of its interval, and the variance of a single
/// difference as a sum of independent mean squares.
pub fn from_parts(bias: f64, bias_half: f64, parts: &[Part], confidence: f64) -> Limits {
    let z = Normal::standard().inverse_cdf(0.5 + SHARE / 2.0);
    let sd = parts.iter().map(|p| p.variance).sum::<f64>().sqrt();
    let spread = sd_interval(parts, confidence);
    let (up, down) = (bias_half.hypot(z * (spread.high - sd)), bias_half.hypot(z * (sd - spread.low)));
    let (low, high) = (bias - z * sd, bias + z * sd);
    Limits {
        bias,
        bias_interval: Interval::around(bias, bias_half),
        sd,
        low,
        high,
        low_interval: Interval { low: low - up, high: low + down },
        high_interval: Interval { low: high - down, high: high + up },
    }
}

/// Interval of the standard deviation whose square is the sum of these parts.
pub fn sd_interval(parts: &[Part], confidence: f64) -> Interval {
    let tail = (1.0 - confidence) / 2.0;
    let total: f64 = parts.iter().map(|p| p.variance).sum();
    let factor = |p: &Part, probability: f64| p.df / chi_squared_quantile(probability, p.df);
    let up = parts.iter().map(|p| (p.variance * (factor(p, tail) - 1.0)).powi(2)).sum::<f64>().sqrt();
    let down = parts.iter().map(|p| (p.variance * (1.0 - factor(p, 1.0 - tail))).powi(2)).sum::<f64>().sqrt();
    Interval { low: (total - down).max(0.0).sqrt(), high: (total + up).sqrt() }
}

fn chi_squared_quantile(probability: f64, df: f64) -> f64 {
    ChiSquared::new(df).map_or(f64::NAN, |chi| chi.inverse_cdf(probability))
}

/// Standard deviation of one way's own repeats, from pairs of repeats: √(Σ(first − second)²/(2n)).
///
/// # Source
/// Bland & Altman (1986): its coefficient of repeatability is twice √2 times this.
pub fn repeat_sd(first: &[f64], second: &[f64]) -> f64 {
    let squares: f64 = first.iter().zip(second).map(|(a, b)| (a - b).powi(2)).sum();
    (squares / (2.0 * first.len() as f64)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_part_s_interval_is_the_chi_squared_one() {
        // 10 degrees of freedom: quantiles 3.246973 and 20.483177
        let i = sd_interval(&[Part { variance: 4.0, df: 10.0 }], 0.95);
        assert!(
            (i.low - (40.0f64 / 20.483_177).sqrt()).abs() < 1e-6
                && (i.high - (40.0f64 / 3.246_973).sqrt()).abs() < 1e-6
        );
    }

    #[test]
    fn too_few_pairs_give_no_limits() {
        assert!(of_single_pairs(&[1.0], 0.95).is_none());
        assert!(of_repeated_pairs(&[vec![1.0], vec![2.0]], 0.95).is_none());
        assert!(of_repeated_pairs(&[vec![1.0, 2.0]], 0.95).is_none());
    }
}
