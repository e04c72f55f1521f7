//! Several outputs at once: their correlations, and a region that holds all of them with a stated probability.
//!
//! Source: JCGM 102:2011, 6.5 (coverage factors of the law of propagation), 7.7.2 and 7.7.3 (ellipsoid and box from trials).

use nalgebra::{Cholesky, DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use crate::montecarlo::sample::Ordered;

/// Coverage factors of a region about the estimates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// k_p: the ellipsoid (y − ŷ)ᵀU⁻¹(y − ŷ) ≤ k_p².
    pub ellipsoid: f64,
    /// k_q: the box ŷ_j ± k_q·u(y_j).
    pub box_factor: f64,
}

/// Where two outputs are together: semi-axes of their ellipse and the direction of the greater one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// The greater semi-axis.
    pub greater: f64,
    /// The lesser semi-axis.
    pub lesser: f64,
    /// Degrees from the first output's axis to the greater axis, from 0 to 180.
    pub angle: f64,
}

impl Ellipse {
    /// Of a covariance matrix ((a, b), (b, c)) at coverage factor `k`.
    pub fn new(a: f64, b: f64, c: f64, k: f64) -> Ellipse {
        let (middle, half) = ((a + c) / 2.0, ((a - c) / 2.0).hypot(b));
        let angle = (0.5 * (2.0 * b).atan2(a - c)).to_degrees();
        Ellipse {
            greater: k * (middle + half).sqrt(),
            lesser: k * (middle - half).max(0.0).sqrt(),
            angle: if angle < 0.0 { angle + 180.0 } else { angle },
        }
    }

    /// Its area.
    pub fn area(self) -> f64 {
        std::f64::consts::PI * self.greater * self.lesser
    }
}

/// The factors for `m` normal outputs at probability `p`: k_p² the quantile of χ² with m degrees of freedom; k_q from
/// Bonferroni's inequality, which needs no correlation.
pub fn of_normals(m: usize, p: f64) -> Region {
    let ellipsoid = if m == 2 {
        (-2.0 * (1.0 - p).ln()).sqrt()
    } else {
        ChiSquared::new(m as f64).map_or(f64::NAN, |law| root(|k| law.cdf(k * k) - p))
    };
    Region { ellipsoid, box_factor: Normal::standard().inverse_cdf(1.0 - (1.0 - p) / (2.0 * m as f64)) }
}

/// The root of a rising function of k > 0.
fn root(f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 100.0);
    for _ in 0..200 {
        let middle = (low + high) / 2.0;
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// The factors that hold a share `p` of the trials, a column an output, about their mean and by their covariance matrix,
/// row by row. `None` where the outputs are functions of each other, or do not vary.
pub fn of_trials(columns: &[&[f64]], mean: &[f64], covariance: &[f64], p: f64) -> Option<Region> {
    let m = columns.len();
    let trials = columns.first()?.len();
    let matrix = DMatrix::from_row_slice(m, m, covariance);
    let scale: Vec<f64> = (0..m).map(|i| covariance[i * m + i].sqrt()).collect();
    // as correlations, so that units do not matter for what counts as singular
    let correlation = DMatrix::from_fn(m, m, |i, j| matrix[(i, j)] / (scale[i] * scale[j]));
    if !correlation.iter().all(|r| r.is_finite()) || correlation.clone().symmetric_eigenvalues().min() < 1e-9 {
        return None;
    }
    let factor = Cholesky::new(correlation)?.l();
    let (mut distances, mut boxes) = (Vec::with_capacity(trials), Vec::with_capacity(trials));
    let mut z = DVector::zeros(m);
    for t in 0..trials {
        for i in 0..m {
            z[i] = (columns[i][t] - mean[i]) / scale[i];
        }
        boxes.push(z.amax());
        factor.solve_lower_triangular_mut(&mut z);
        distances.push(z.norm());
    }
    let rank = (p * trials as f64 + 0.5).floor();
    let at = |values| Ordered::of(values).at_rank(rank);
    Some(Region { ellipsoid: at(distances), box_factor: at(boxes) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 102:2011, 6.5: 2.45 and 2.24 for two outputs at 95 % (from memory); all digits by another program (scipy).
    #[test]
    fn factors_of_normal_outputs_are_those_of_jcgm_102() {
        let cases = [
            (2, 0.90, 2.145_966_026_289, 1.959_963_984_540),
            (2, 0.95, 2.447_746_830_681, 2.241_402_727_605),
            (2, 0.99, 3.034_854_258_770, 2.807_033_768_344),
            (3, 0.95, 2.795_483_482_915, 2.393_979_799_819),
        ];
        for (m, p, ellipsoid, box_factor) in cases {
            let region = of_normals(m, p);
            assert!((region.ellipsoid - ellipsoid).abs() < 1e-9, "{m} {p}: {region:?}");
            assert!((region.box_factor - box_factor).abs() < 1e-8, "{m} {p}: {region:?}");
        }
        assert!((of_normals(3, 0.90).ellipsoid - 2.500_277_710_809).abs() < 1e-9);
    }

    /// JCGM 102:2011, 7.7.2 and 7.7.3 on normal draws of the correlation that R and X have in JCGM 100, H.2. The exact factor of the
    /// box is 2.2005 by the bivariate normal distribution function (scipy), that of the ellipse √(−2 ln 0.05).
    #[test]
    fn trials_of_two_correlated_normals_find_the_exact_factors() {
        let (n, r) = (1_000_000, -0.588_43_f64);
        let mut columns = [vec![0.0; n], vec![0.0; n]];
        let mut rng = crate::montecarlo::stream::swift_stream(5, 0, 0);
        columns.iter_mut().for_each(|column| crate::montecarlo::elementary::standard_normals(&mut rng, column));
        let [x, y] = &mut columns;
        y.iter_mut().zip(x.iter()).for_each(|(y, x)| *y = r * x + (1.0 - r * r).sqrt() * *y);
        let region = of_trials(&[x, y], &[0.0, 0.0], &[1.0, r, r, 1.0], 0.95).unwrap();
        // five standard errors of a quantile from a million draws
        assert!((region.box_factor - 2.2005).abs() < 0.009, "{region:?}");
        assert!((region.ellipsoid - 2.447_747).abs() < 0.009, "{region:?}");
    }

    /// The covariance of R and X in JCGM 100, H.2; semi-axes, area and angle by another program.
    #[test]
    fn the_ellipse_of_resistance_and_reactance() {
        let ellipse = Ellipse::new(0.005_051_14, -0.012_361_38, 0.087_368_53, 2.447_746_830_681);
        assert!((ellipse.lesser - 0.139_219_36).abs() < 1e-6 && (ellipse.greater - 0.730_990_54).abs() < 1e-6);
        assert!((ellipse.area() - 0.319_713_7).abs() < 3e-6 && (ellipse.angle - 98.3584).abs() < 1e-3, "{ellipse:?}");
    }
}
