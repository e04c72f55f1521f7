//! A line between two ways of measuring that a few odd points cannot move: the shifted median of the slopes of
//! all pairs of points.
//!
//! Source: Passing & Bablok (1983), J. Clin. Chem. Clin. Biochem. 21:709–720. Their cumulative sum of
//! residual signs along the line is, up to a factor, the difference of two empirical distributions, so its
//! p-value is taken from the two-sample Kolmogorov–Smirnov statistic (Stephens 1970, J. R. Stat. Soc. B 32:115–122,
//! for the correction at small n; from memory).

use statrs::distribution::{ContinuousCDF, Normal};

use super::{Interval, median};

/// The line y = a + b·x with the intervals of a and b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassingBablok {
    /// b.
    pub slope: f64,
    /// Interval of b.
    pub slope_interval: Interval,
    /// a.
    pub intercept: f64,
    /// Interval of a.
    pub intercept_interval: Interval,
    /// Number of usable slopes N.
    pub slopes: usize,
    /// Slopes below −1, the shift K.
    pub shift: usize,
    /// p-value of the test that the points follow a line.
    pub linear_p: f64,
}

/// Fits the line. `None` below three points, or where too few slopes are usable for an interval.
///
/// Pairs of points that coincide, and slopes of exactly −1, are left aside; vertical pairs count as
/// infinite, with the sign of their step in y.
pub fn fit(x: &[f64], y: &[f64], confidence: f64) -> Option<PassingBablok> {
    let n = x.len();
    if n < 3 {
        return None;
    }
    let mut slopes = Vec::with_capacity(n * (n - 1) / 2);
    for i in 0..n {
        for j in i + 1..n {
            let (dx, dy) = (x[j] - x[i], y[j] - y[i]);
            let slope = if dx == 0.0 { f64::INFINITY * dy } else { dy / dx };
            // decimal readings are not exact in binary: a slope of −1 is one to rounding
            if !slope.is_nan() && (slope + 1.0).abs() > 1e-9 {
                slopes.push(slope);
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let (count, shift) = (slopes.len(), slopes.iter().filter(|s| **s < -1.0).count());
    let ranked = |rank: usize| rank.checked_sub(1).and_then(|r| slopes.get(r)).copied();
    let slope = match count % 2 {
        1 => ranked(count.div_ceil(2) + shift)?,
        _ => (ranked(count / 2 + shift)? + ranked(count / 2 + 1 + shift)?) / 2.0,
    };
    if !slope.is_finite() || slope == 0.0 {
        return None;
    }
    let z = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let m = n as f64;
    let c = z * (m * (m - 1.0) * (2.0 * m + 5.0) / 18.0).sqrt();
    let first = ((count as f64 - c) / 2.0).round();
    // too few points for this confidence: the interval is unbounded
    let low = if first >= 1.0 { ranked(first as usize + shift)? } else { f64::NEG_INFINITY };
    let high =
        if first >= 1.0 { ranked(count - first as usize + 1 + shift).unwrap_or(f64::INFINITY) } else { f64::INFINITY };
    let intercept_at = |b: f64| match b.is_finite() {
        true => median(&x.iter().zip(y).map(|(x, y)| y - b * x).collect::<Vec<_>>()),
        false => -b,
    };
    let intercept = intercept_at(slope);
    Some(PassingBablok {
        slope,
        slope_interval: Interval { low, high },
        intercept,
        intercept_interval: Interval { low: intercept_at(high), high: intercept_at(low) },
        slopes: count,
        shift,
        linear_p: linear_p(x, y, intercept, slope),
    })
}

/// Probability, for points along a line, of residual signs bunched as much as these or more.
fn linear_p(x: &[f64], y: &[f64], intercept: f64, slope: f64) -> f64 {
    let residual = |i: usize| y[i] - intercept - slope * x[i];
    let above = (0..x.len()).filter(|&i| residual(i) > 0.0).count() as f64;
    let below = (0..x.len()).filter(|&i| residual(i) < 0.0).count() as f64;
    if above == 0.0 || below == 0.0 {
        return 1.0;
    }
    // order of the points' feet along the line
    let mut order: Vec<usize> = (0..x.len()).collect();
    let along = |i: usize| (y[i] - intercept) * slope + x[i];
    order.sort_by(|&i, &j| along(i).total_cmp(&along(j)));
    let (mut sum, mut largest) = (0.0, 0.0f64);
    for i in order {
        let r = residual(i);
        sum += if r > 0.0 {
            1.0 / above
        } else if r < 0.0 {
            -1.0 / below
        } else {
            0.0
        };
        largest = largest.max(f64::abs(sum));
    }
    let effective = (above * below / (above + below)).sqrt();
    kolmogorov_tail((effective + 0.12 + 0.11 / effective) * largest)
}

/// Upper tail of Kolmogorov's distribution, 2·Σ(−1)^(k−1)·exp(−2k²t²).
fn kolmogorov_tail(t: f64) -> f64 {
    if t < 0.2 {
        return 1.0; // the series converges slowly there, to 1 within 10⁻¹²
    }
    let term = |k: i32| (-2.0 * f64::from(k * k) * t * t).exp() * if k % 2 == 1 { 2.0 } else { -2.0 };
    (1..=100).map(term).sum::<f64>().clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bent_relation_is_not_taken_for_a_line() {
        let x: Vec<f64> = (0..40).map(f64::from).collect();
        let bent: Vec<f64> = x.iter().map(|x| x + 0.02 * (x - 20.0).powi(2)).collect();
        let wavy: Vec<f64> = x.iter().enumerate().map(|(i, x)| x + if i % 2 == 0 { 0.5 } else { -0.5 }).collect();
        assert!(fit(&x, &bent, 0.95).unwrap().linear_p < 0.01);
        assert!(fit(&x, &wavy, 0.95).unwrap().linear_p > 0.5);
    }

    /// Kolmogorov's distribution: 1.3581 is exceeded with probability 0.05, 1.6276 with 0.01.
    #[test]
    fn the_tail_is_kolmogorov_s() {
        assert!((kolmogorov_tail(1.358_1) - 0.05).abs() < 1e-4 && (kolmogorov_tail(1.627_6) - 0.01).abs() < 1e-4);
        assert_eq!(kolmogorov_tail(0.0), 1.0);
    }

    #[test]
    fn a_side_that_does_not_move_has_no_line_and_three_points_no_interval() {
        assert!(fit(&[1.0, 2.0, 3.0, 4.0], &[1.0; 4], 0.95).is_none());
        let three = fit(&[1.0, 2.0, 3.0], &[1.1, 2.0, 3.3], 0.95).unwrap();
        assert!(three.slope_interval.high.is_infinite() && three.intercept_interval.low.is_infinite());
    }
}
