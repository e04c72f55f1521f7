//! Two ways of measuring one thing: how far apart they read, and by which line one follows the other.
//!
//! Symbols: x, y what the two read of one item; d = x − y; λ = var(error of y)/var(error of x); a and b the
//! intercept and slope of y = a + b·x.

pub mod deming;
pub mod limits;
pub mod passing_bablok;
pub mod york;

/// An interval with its two ends.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// estimate ± half.
    pub fn around(estimate: f64, half: f64) -> Interval {
        Interval { low: estimate - half, high: estimate + half }
    }

    /// Whether it holds the value.
    pub fn holds(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Half of its width.
    pub fn half(self) -> f64 {
        (self.high - self.low) / 2.0
    }
}

/// A straight line y = a + b·x with the standard errors of its coefficients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// a, in the unit of y.
    pub intercept: f64,
    /// b.
    pub slope: f64,
    /// Standard error of a.
    pub intercept_error: f64,
    /// Standard error of b.
    pub slope_error: f64,
    /// Covariance of a and b.
    pub covariance: f64,
}

impl Line {
    /// y at x, and its standard error.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let variance = self.intercept_error.powi(2) + x * x * self.slope_error.powi(2) + 2.0 * x * self.covariance;
        (self.intercept + self.slope * x, variance.max(0.0).sqrt())
    }
}

/// Mean of some numbers; NaN of none.
pub(crate) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Variance about the mean over n − 1; NaN of fewer than two.
pub(crate) fn sample_variance(values: &[f64]) -> f64 {
    let m = mean(values);
    values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)
}

/// Median; NaN of none.
pub(crate) fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => f64::NAN,
        n if n % 2 == 1 => sorted[n / 2],
        n => (sorted[n / 2 - 1] + sorted[n / 2]) / 2.0,
    }
}
