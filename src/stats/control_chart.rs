//! Control charts: is a process that should stand still standing still?
//!
//! Sources: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.2 (individuals) and 6.3.2.4
//! (exponentially weighted moving average); the variance of a start-up value, ibid.

/// Standard deviation of single values from how much neighbours differ: √(Σ(x_(i+1) − x_i)²/(2(n − 1))). A
/// shift enters it once only, where it would widen the scatter about the mean throughout.
///
/// # Source
/// von Neumann, Kent, Bellinson & Hart (1941), Ann. Math. Stat. 12:153–162.
pub fn sd_of_neighbours(values: &[f64]) -> Option<f64> {
    let squares: f64 = values.windows(2).map(|p| (p[1] - p[0]).powi(2)).sum();
    (values.len() > 1).then(|| (squares / (2.0 * (values.len() as f64 - 1.0))).sqrt())
}

/// A point of a chart with its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The value charted.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Point {
    /// Whether it lies outside its limits.
    pub fn out(&self) -> bool {
        self.value < self.low || self.value > self.high
    }
}

/// Chart of individual values about a target: target ± width·sd, sd one a value.
pub fn individuals(values: &[f64], target: f64, sd: &[f64], width: f64) -> Vec<Point> {
    values
        .iter()
        .zip(sd)
        .map(|(&value, sd)| Point { value, low: target - width * sd, high: target + width * sd })
        .collect()
}

/// Chart of the exponentially weighted moving average z_i = λ·x_i + (1 − λ)·z_(i−1), z_0 the target:
/// target ± width·√(variance of z_i), with variance λ²·sd_i² + (1 − λ)²·(that of z_(i−1)).
///
/// With one sd throughout the limits come to rest at target ± width·sd·√(λ/(2 − λ)).
pub fn ewma(values: &[f64], target: f64, sd: &[f64], lambda: f64, width: f64) -> Vec<Point> {
    let (mut z, mut variance) = (target, 0.0);
    values
        .iter()
        .zip(sd)
        .map(|(x, sd)| {
            z = lambda * x + (1.0 - lambda) * z;
            variance = (lambda * sd).powi(2) + (1.0 - lambda).powi(2) * variance;
            let half = width * f64::sqrt(variance);
            Point { value: z, low: target - half, high: target + half }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_step_does_not_inflate_the_scatter_of_neighbours() {
        let steady = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0];
        let sd = sd_of_neighbours(&steady).unwrap();
        assert!((sd - 0.5f64.sqrt()).abs() < 1e-12);
        let stepped = [0.0, 1.0, 0.0, 11.0, 10.0, 11.0];
        assert!(sd_of_neighbours(&stepped).unwrap() < 3.6, "about the mean it would be 5.5");
        assert_eq!(sd_of_neighbours(&[1.0]), None);
    }

    #[test]
    fn values_of_different_weight_have_limits_of_their_own() {
        let chart = individuals(&[0.5, 0.5], 0.0, &[0.1, 1.0], 3.0);
        assert!(chart[0].out() && !chart[1].out());
    }
}
