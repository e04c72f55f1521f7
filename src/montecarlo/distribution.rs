//! The distributions an input can have: all of JCGM 101:2008, Table 1, for one quantity at a time.
//! Quantities that go together are in [`super::joint`].
//!
//! Symbols as in that table: a, b the limits, d how far each limit may lie from where it is put, β the ratio
//! of a trapezoid's top to its base, ν degrees of freedom, q a count.

use rand::{Rng, RngExt};
use rand_distr::Exp1;
use statrs::distribution as law;
use statrs::distribution::ContinuousCDF;

use super::elementary::standard_normals;

/// A distribution with its place and size, in the unit of its quantity.
///
/// Invariants, kept by whoever makes one: every number finite; `low` < `high`; `standard`, `scale`, `mean` of an
/// exponential, `shape` and `df` above 0; `top` in [0, 1]; `within` above 0 and below half of `high − low`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// A value taken as exact.
    Exact {
        /// The value.
        value: f64,
    },
    /// N(x, u²).
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        standard: f64,
    },
    /// R(a, b).
    Rectangular {
        /// a.
        low: f64,
        /// b.
        high: f64,
    },
    /// CTrap(a, b, d): rectangular between limits that are themselves known only within ±d.
    CurvilinearTrapezoid {
        /// a.
        low: f64,
        /// b.
        high: f64,
        /// d.
        within: f64,
    },
    /// Trap(a, b, β), symmetric.
    Trapezoidal {
        /// a.
        low: f64,
        /// b.
        high: f64,
        /// β.
        top: f64,
    },
    /// T(a, b), symmetric.
    Triangular {
        /// a.
        low: f64,
        /// b.
        high: f64,
    },
    /// U(a, b): a sinusoid at unknown phase between a and b.
    Arcsine {
        /// a.
        low: f64,
        /// b.
        high: f64,
    },
    /// t_ν(x, s²): scaled and shifted.
    StudentT {
        /// Where it is centred.
        location: f64,
        /// s, which is *not* its standard deviation.
        scale: f64,
        /// ν.
        df: f64,
    },
    /// Ex(1/x).
    Exponential {
        /// x, its mean.
        mean: f64,
    },
    /// Gamma of that shape, times the scale; a count q is of shape q + 1.
    Gamma {
        /// Shape.
        shape: f64,
        /// Scale.
        scale: f64,
    },
}

use Distribution::*;

impl Distribution {
    /// What is known of a quantity from readings of it by themselves: t with n − 1 degrees of freedom about
    /// their mean, of scale s/√n (JCGM 101, 6.4.9.2). `None` with fewer than two readings; an exact value where all agree.
    pub fn of_readings(readings: &[f64]) -> Option<Distribution> {
        let n = readings.len() as f64;
        if readings.len() < 2 {
            return None;
        }
        let mean = readings.iter().sum::<f64>() / n;
        let squares: f64 = readings.iter().map(|x| (x - mean) * (x - mean)).sum();
        let scale = (squares / (n - 1.0) / n).sqrt();
        Some(if scale > 0.0 { StudentT { location: mean, scale, df: n - 1.0 } } else { Exact { value: mean } })
    }

    /// Its mean; of a t, the centre, whether or not the mean exists.
    pub fn mean(self) -> f64 {
        match self {
            Exact { value } => value,
            Normal { mean, .. } | Exponential { mean } => mean,
            StudentT { location, .. } => location,
            Gamma { shape, scale } => shape * scale,
            Rectangular { low, high }
            | CurvilinearTrapezoid { low, high, .. }
            | Trapezoidal { low, high, .. }
            | Triangular { low, high }
            | Arcsine { low, high } => low + (high - low) / 2.0,
        }
    }

    /// Its standard deviation; infinite for a t of two degrees of freedom or fewer.
    pub fn standard_deviation(self) -> f64 {
        match self {
            StudentT { scale, df, .. } if df > 2.0 => scale * (df / (df - 2.0)).sqrt(),
            StudentT { .. } => f64::INFINITY,
            other => other.standard_uncertainty(),
        }
    }

    /// The standard uncertainty that the law of propagation works with: the standard deviation, but of a t
    /// its scale s, whose degrees of freedom then stand beside it (JCGM 100, 4.2 and G.3).
    pub fn standard_uncertainty(self) -> f64 {
        match self {
            Exact { .. } => 0.0,
            Normal { standard, .. } => standard,
            Rectangular { low, high } => (high - low) / 12f64.sqrt(),
            CurvilinearTrapezoid { low, high, within } => {
                ((high - low) * (high - low) / 12.0 + within * within / 9.0).sqrt()
            }
            Trapezoidal { low, high, top } => (high - low) * ((1.0 + top * top) / 24.0).sqrt(),
            Triangular { low, high } => (high - low) / 24f64.sqrt(),
            Arcsine { low, high } => (high - low) / 8f64.sqrt(),
            StudentT { scale, .. } => scale,
            Exponential { mean } => mean,
            Gamma { shape, scale } => shape.sqrt() * scale,
        }
    }

    /// Degrees of freedom of the standard uncertainty: infinite but for a t.
    pub fn df(self) -> f64 {
        if let StudentT { df, .. } = self { df } else { f64::INFINITY }
    }

    /// Whether it is symmetric about its mean.
    pub fn is_symmetric(self) -> bool {
        !matches!(self, Exponential { .. } | Gamma { .. })
    }

    /// Fills `draws` with independent draws.
    ///
    /// Recipes of JCGM 101, 6.4; t, exponential and gamma come from the general library (normal over chi-square;
    /// ziggurat; Marsaglia and Tsang, 2000).
    pub fn fill(self, rng: &mut impl Rng, draws: &mut [f64]) {
        match self {
            Exact { value } => draws.fill(value),
            Normal { mean, standard } => {
                standard_normals(rng, draws);
                draws.iter_mut().for_each(|x| *x = mean + standard * *x);
            }
            Rectangular { low, high } => {
                draws.iter_mut().for_each(|x| *x = low + (high - low) * rng.random::<f64>());
            }
            CurvilinearTrapezoid { low, high, within } => draws.iter_mut().for_each(|x| {
                let from = (low - within) + 2.0 * within * rng.random::<f64>();
                let to = (low + high) - from;
                *x = from + (to - from) * rng.random::<f64>();
            }),
            Trapezoidal { low, high, top } => draws.iter_mut().for_each(|x| {
                let (r1, r2) = (rng.random::<f64>(), rng.random::<f64>());
                *x = low + (high - low) / 2.0 * ((1.0 + top) * r1 + (1.0 - top) * r2);
            }),
            Triangular { low, high } => draws.iter_mut().for_each(|x| {
                *x = low + (high - low) / 2.0 * (rng.random::<f64>() + rng.random::<f64>());
            }),
            Arcsine { low, high } => draws.iter_mut().for_each(|x| {
                let phase = std::f64::consts::TAU * rng.random::<f64>();
                *x = low + (high - low) / 2.0 * (1.0 + phase.sin());
            }),
            StudentT { location, scale, df } => match rand_distr::StudentT::new(df) {
                Ok(t) => fill_with(t, rng, draws, location, scale),
                Err(_) => draws.fill(f64::NAN),
            },
            Exponential { mean } => draws.iter_mut().for_each(|x| *x = mean * rng.sample::<f64, _>(Exp1)),
            Gamma { shape, scale } => match rand_distr::Gamma::new(shape, scale) {
                Ok(gamma) => fill_with(gamma, rng, draws, 0.0, 1.0),
                Err(_) => draws.fill(f64::NAN),
            },
        }
    }

    /// The probability of a value at or below `x`, in closed form or by the general library's special functions.
    pub fn cdf(self, x: f64) -> f64 {
        match self {
            Exact { value } => f64::from(u8::from(x >= value)),
            Normal { mean, standard } => law::Normal::standard().cdf((x - mean) / standard),
            StudentT { location, scale, df } => {
                law::StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |t| t.cdf((x - location) / scale))
            }
            Exponential { mean } => {
                if x > 0.0 {
                    -(-x / mean).exp_m1()
                } else {
                    0.0
                }
            }
            Gamma { shape, scale } => {
                law::Gamma::new(shape, 1.0).map_or(f64::NAN, |g| if x > 0.0 { g.cdf(x / scale) } else { 0.0 })
            }
            Rectangular { low, high } => ((x - low) / (high - low)).clamp(0.0, 1.0),
            Triangular { low, high } => Trapezoidal { low, high, top: 0.0 }.cdf(x),
            Trapezoidal { low, high, top } => symmetric(x, low, high, |t, h| {
                // the density falls from 1/((1 + β)h) at βh to 0 at h
                let peak = 1.0 / ((1.0 + top) * h);
                if t <= top * h { peak * t } else { 0.5 - peak * (h - t) * (h - t) / (2.0 * (1.0 - top) * h) }
            }),
            Arcsine { low, high } => symmetric(x, low, high, |t, h| (t / h).asin() / std::f64::consts::PI),
            CurvilinearTrapezoid { low, high, within: d } => symmetric(x, low - d, high + d, |t, outer| {
                // density ln(outer/max(t, inner))/(4d), integrated from 0 to t
                let inner = outer - 2.0 * d;
                let log = |t: f64| (outer / t).ln();
                let flat = t.min(inner) * log(inner) / (4.0 * d);
                let slope = |t: f64| t * log(t) + t;
                if t <= inner { flat } else { flat + (slope(t) - slope(inner)) / (4.0 * d) }
            }),
        }
    }
}

fn fill_with(law: impl rand_distr::Distribution<f64>, rng: &mut impl Rng, draws: &mut [f64], shift: f64, scale: f64) {
    draws.iter_mut().for_each(|x| *x = shift + scale * law.sample(rng));
}

/// ½ ± the probability between the middle and |x|, `half(t, h)`, on a support of half-width h.
fn symmetric(x: f64, low: f64, high: f64, half: impl Fn(f64, f64) -> f64) -> f64 {
    let h = (high - low) / 2.0;
    let t = x - (low + h);
    let p = if t.abs() >= h { 0.5 } else { half(t.abs(), h) };
    if t < 0.0 { 0.5 - p } else { 0.5 + p }
}
