//! Distributions a declared source of error can have, all centred on zero.
//!
//! Source: JCGM 101:2008, Table 1 and clause 6.4 (rectangular, trapezoidal, triangular, arcsine, normal).

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;

/// Shape and size of a source's distribution. Sizes are in the source's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Normal with this standard deviation.
    Normal {
        /// Standard deviation.
        standard: f64,
    },
    /// Uniform on ± the half-width.
    Rectangular {
        /// Half-width.
        half_width: f64,
    },
    /// Symmetric triangle on ± the half-width.
    Triangular {
        /// Half-width.
        half_width: f64,
    },
    /// Symmetric trapezoid on ± the half-width, with `top` = top over base, in [0, 1].
    Trapezoidal {
        /// Half-width of the base.
        half_width: f64,
        /// Ratio of the top's width to the base's.
        top: f64,
    },
    /// A sinusoid at unknown phase: ± half-width is its amplitude.
    Arcsine {
        /// Half-width.
        half_width: f64,
    },
    /// A vector of this size at unknown phase, added to a reflection.
    Vector {
        /// Length of the added vector, on |Γ|.
        half_width: f64,
    },
}

impl Shape {
    /// Standard deviation, in the unit of the size. Of a vector: of its part along the reflection.
    pub fn standard(self) -> f64 {
        match self {
            Shape::Normal { standard } => standard,
            Shape::Rectangular { half_width } => half_width / 3f64.sqrt(),
            Shape::Triangular { half_width } => half_width / 6f64.sqrt(),
            Shape::Trapezoidal { half_width, top } => half_width * ((1.0 + top * top) / 6.0).sqrt(),
            Shape::Arcsine { half_width } | Shape::Vector { half_width } => half_width / 2f64.sqrt(),
        }
    }

    /// One draw. Of a vector: of its part along the reflection.
    pub fn draw(self, rng: &mut impl Rng) -> f64 {
        let mut uniform = || rng.random::<f64>();
        match self {
            Shape::Normal { standard } => standard * rng.sample::<f64, _>(StandardNormal),
            Shape::Rectangular { half_width } => half_width * (2.0 * uniform() - 1.0),
            Shape::Triangular { half_width } => half_width * (uniform() + uniform() - 1.0),
            // the sum of two rectangular variables whose widths are half the base ± half the top
            Shape::Trapezoidal { half_width, top } => {
                let (wide, narrow) = ((1.0 + top) / 2.0, (1.0 - top) / 2.0);
                half_width * (wide * (2.0 * uniform() - 1.0) + narrow * (2.0 * uniform() - 1.0))
            }
            Shape::Arcsine { half_width } | Shape::Vector { half_width } => {
                half_width * (std::f64::consts::TAU * uniform()).cos()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;

    /// JCGM 101:2008, Table 1, on (−1, 1): the standard deviations are closed forms.
    #[test]
    fn standard_deviations_are_those_of_jcgm_101_and_draws_agree_with_them() {
        let cases = [
            (Shape::Normal { standard: 0.7 }, 0.7),
            (Shape::Rectangular { half_width: 1.0 }, 0.577_350_269_190),
            (Shape::Triangular { half_width: 1.0 }, 0.408_248_290_464),
            (Shape::Trapezoidal { half_width: 1.0, top: 0.5 }, 0.456_435_464_588),
            (Shape::Arcsine { half_width: 2.0 }, std::f64::consts::SQRT_2),
        ];
        let n = 200_000;
        for (number, (shape, standard)) in cases.into_iter().enumerate() {
            assert!((shape.standard() - standard).abs() < 1e-11, "{shape:?}");
            let mut rng = stream(1, number as u64, 0);
            let draws: Vec<f64> = (0..n).map(|_| shape.draw(&mut rng)).collect();
            let mean = draws.iter().sum::<f64>() / f64::from(n);
            let square = draws.iter().map(|x| x * x).sum::<f64>() / f64::from(n);
            // five standard errors; none of the shapes has a kurtosis above the normal's 3
            assert!(mean.abs() < 5.0 * standard / f64::from(n).sqrt(), "{shape:?} {mean}");
            let error = 5.0 * standard * standard * (2.0 / f64::from(n)).sqrt();
            assert!((square - standard * standard).abs() < error, "{shape:?} {square}");
            if !matches!(shape, Shape::Normal { .. }) {
                assert!(draws.iter().all(|x| x.abs() <= 2.0), "{shape:?}");
            }
        }
    }
}
