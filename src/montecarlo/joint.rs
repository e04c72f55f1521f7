//! Quantities that go together: the multivariate normal and the multivariate t.
//!
//! Source: JCGM 101:2008, 6.4.8 (multivariate normal by a Cholesky factor), JCGM 102:2011, 5.3 (multivariate t).

use rand::{Rng, RngExt};
use rand_distr::ChiSquared;

/// The lower factor L of a correlation matrix R = L·Lᵀ, which may be singular: a set of quantities that are
/// functions of each other is a set of quantities.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    n: usize,
    lower: Vec<f64>,
}

/// A pivot this far from zero is rounding: correlations are given to a few digits, and 1 is exact.
const ROUNDING: f64 = 1e-12;

impl Factor {
    /// The factor of the `n` × `n` correlation matrix, given row by row; `None` where it is none: not positive
    /// semi-definite.
    pub fn new(n: usize, correlation: &[f64]) -> Option<Factor> {
        let mut lower = vec![0.0; n * n];
        for j in 0..n {
            let used: f64 = lower[j * n..j * n + j].iter().map(|l| l * l).sum();
            let pivot = correlation[j * n + j] - used;
            if pivot.is_nan() || pivot < -ROUNDING {
                return None;
            }
            let root = if pivot > ROUNDING { pivot.sqrt() } else { 0.0 };
            lower[j * n + j] = root;
            for i in j + 1..n {
                let known: f64 = (0..j).map(|k| lower[i * n + k] * lower[j * n + k]).sum();
                let rest = correlation[i * n + j] - known;
                if root > 0.0 {
                    lower[i * n + j] = rest / root;
                } else if rest.abs() > ROUNDING.sqrt() {
                    return None;
                }
            }
        }
        Some(Factor { n, lower })
    }

    /// Number of quantities.
    pub fn len(&self) -> usize {
        self.n
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.n == 0
    }

    /// Turns independent standard normals, one slice a quantity, into correlated ones, in place.
    pub fn correlate(&self, normals: &mut [&mut [f64]]) {
        // from the last quantity up, so that those it is made of are still untouched
        for i in (0..self.n).rev() {
            let (before, from_here) = normals.split_at_mut(i);
            let row = &self.lower[i * self.n..i * self.n + i + 1];
            from_here[0].iter_mut().for_each(|z| *z *= row[i]);
            for (other, l) in before.iter().zip(row).filter(|(_, l)| **l != 0.0) {
                from_here[0].iter_mut().zip(other.iter()).for_each(|(z, w)| *z += l * w);
            }
        }
    }
}

/// What turns a standard normal into a standard t of `df` degrees of freedom: draws of √(ν/χ²_ν). All quantities of a
/// multivariate t share one of them.
pub fn stretches(df: f64, rng: &mut impl Rng, draws: &mut [f64]) {
    match ChiSquared::new(df) {
        Ok(chi_squared) => draws.iter_mut().for_each(|s| *s = (df / rng.sample(chi_squared)).sqrt()),
        Err(_) => draws.fill(f64::NAN),
    }
}

/// The values, first to last, between which the correlation of quantities 1 and 2 must lie, given that of each with
/// a third: r₁₃r₂₃ ± √((1 − r₁₃²)(1 − r₂₃²)).
pub fn possible(r13: f64, r23: f64) -> (f64, f64) {
    let spread = ((1.0 - r13 * r13) * (1.0 - r23 * r23)).max(0.0).sqrt();
    (r13 * r23 - spread, r13 * r23 + spread)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;

    #[test]
    fn a_matrix_is_a_correlation_matrix_exactly_where_its_eigenvalues_allow_it() {
        let three = |a: f64, b: f64, c: f64| Factor::new(3, &[1.0, a, b, a, 1.0, c, b, c, 1.0]);
        assert!(three(0.9, 0.9, 0.7).is_some());
        assert!(three(0.9, 0.9, 0.5).is_none());
        let (low, high) = possible(0.9, 0.9);
        assert!((low - 0.62).abs() < 1e-12 && (high - 1.0).abs() < 1e-12);
        assert!(three(0.9, 0.9, low + 1e-9).is_some() && three(0.9, 0.9, low - 1e-9).is_none());
        // functions of each other
        assert!(three(1.0, 1.0, 1.0).is_some() && three(1.0, -1.0, -1.0).is_some());
        assert!(three(1.0, 1.0, 0.5).is_none());
        for seed in 0..200 {
            let mut rng = stream(seed, 0, 0);
            let mut r = || 2.0 * rng.random::<f64>() - 1.0;
            let (a, b, c) = (r(), r(), r());
            let least = nalgebra::Matrix3::new(1.0, a, b, a, 1.0, c, b, c, 1.0).symmetric_eigenvalues().min();
            assert_eq!(three(a, b, c).is_some(), least > 0.0, "{a} {b} {c}: {least}");
        }
    }

    #[test]
    fn the_factor_gives_the_correlations_back() {
        let matrix = [1.0, 0.5, -0.3, 0.5, 1.0, 0.2, -0.3, 0.2, 1.0];
        let factor = Factor::new(3, &matrix).unwrap();
        // each unit vector in turn: the columns of L
        let mut columns: Vec<Vec<f64>> =
            (0..3).map(|i| (0..3).map(|j| f64::from(u8::from(i == j))).collect()).collect();
        let mut slices: Vec<&mut [f64]> = columns.iter_mut().map(Vec::as_mut_slice).collect();
        factor.correlate(&mut slices);
        for i in 0..3 {
            for j in 0..3 {
                let dot: f64 = (0..3).map(|k| columns[i][k] * columns[j][k]).sum();
                assert!((dot - matrix[3 * i + j]).abs() < 1e-14);
            }
        }
    }
}
