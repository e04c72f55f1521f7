//! Whether readings of one port can all be of one impedance.
//!
//! A passive load has Z = R + jX with R ≥ 0. With k = (S² + 1)/(2S), its SWR at Z0 is S where
//!
//! ```text
//! |Z|² + Z0² = 2·k·R·Z0
//! ```
//!
//! (from |Γ|² = ((R − Z0)² + X²)/((R + Z0)² + X²), k = (1 + |Γ|²)/(1 − |Γ|²)). So in the unknowns R and
//! u = |Z|², with readings known to within intervals,
//!
//! ```text
//! R ∈ [r₁, r₂],   u ∈ [z₁², z₂²],   u − R² = X² ∈ [x₁², x₂²],   2·R·Z0·k₁ − Z0² ≤ u ≤ 2·R·Z0·k₂ − Z0²
//! ```
//!
//! has a solution where some R lets the largest lower limit of u stay at or below the smallest upper one.
//! Each pair of limits is at most quadratic in R: the answer is exact, in closed form.
//! From it follow the handbook limits: S ≥ max(|Z|/Z0, Z0/|Z|), Z0/S ≤ R ≤ Z0·S, |X| ≤ Z0·(S − 1/S)/2.
//!
//! Source: the reflection coefficient of a load, D. M. Pozar, *Microwave Engineering*, 4th ed. (2012), 2.3
//! (from memory); the limits are also in P. H. Smith's chart as its circles of constant S.

/// The reference impedance of hand-held radios' lines, Ω.
pub const Z0: f64 = 50.0;

/// A closed range of possible true values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end; may be infinite.
    pub high: f64,
}

impl Interval {
    /// Everything from 0 up: nothing is known.
    pub const ANY: Interval = Interval { low: 0.0, high: f64::INFINITY };

    /// A value known to within `half` either way.
    pub fn about(value: f64, half: f64) -> Interval {
        Interval { low: value - half, high: value + half }
    }

    /// The smallest interval that holds both.
    pub fn hull(self, other: Interval) -> Interval {
        Interval { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// Wider by `by` at both ends.
    pub fn widened(self, by: f64) -> Interval {
        Interval { low: self.low - by, high: self.high + by }
    }

    /// The range of a modulus whose signed value lies in this range.
    pub fn modulus(self) -> Interval {
        let (a, b) = (self.low.abs(), self.high.abs());
        let low = if self.low <= 0.0 && self.high >= 0.0 { 0.0 } else { a.min(b) };
        Interval { low, high: a.max(b) }
    }

    /// Cut off below `low`.
    pub fn from(self, low: f64) -> Interval {
        Interval { low: self.low.max(low), ..self }
    }

    /// Whether the two have a value in common.
    pub fn meets(self, other: Interval) -> bool {
        self.low <= other.high && other.low <= self.high
    }
}

/// What is known of one port, each to within an interval; [`Interval::ANY`] where nothing is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Port {
    /// |Γ|; above 1 counts as 1.
    pub reflection: Interval,
    /// |Z|, Ω.
    pub modulus: Interval,
    /// R, Ω.
    pub resistance: Interval,
    /// |X|, Ω.
    pub reactance: Interval,
}

impl Port {
    /// Nothing known.
    pub const ANY: Port = Port {
        reflection: Interval { low: 0.0, high: 1.0 },
        modulus: Interval::ANY,
        resistance: Interval::ANY,
        reactance: Interval::ANY,
    };

    /// Whether some passive impedance lies in all four intervals.
    pub fn is_possible(&self) -> bool {
        // an empty interval holds nothing
        let [rho, z, r, x] = [self.reflection, self.modulus, self.resistance, self.reactance].map(|i| i.from(0.0));
        if [rho, z, r, x].iter().any(|i| i.low > i.high) || rho.low > 1.0 {
            return false;
        }
        let (k1, k2) = (ratio(rho.low), ratio(rho.high));
        // lower limits of u: z₁², R² + x₁², 2·R·Z0·k₁ − Z0²; upper: z₂², R² + x₂², 2·R·Z0·k₂ − Z0²
        let mut allowed = Interval { low: r.low, high: r.high };
        let mut narrow = |low: f64, high: f64| {
            allowed = Interval { low: allowed.low.max(low), high: allowed.high.min(high) };
        };
        if z.low > z.high || x.low > x.high {
            return false;
        }
        // R² + x₁² ≤ z₂²
        match root(z.high * z.high - x.low * x.low) {
            Some(high) => narrow(0.0, high),
            None => return false,
        }
        // z₁² ≤ R² + x₂²
        narrow(root(z.low * z.low - x.high * x.high).unwrap_or(0.0), f64::INFINITY);
        // z₁² ≤ 2·R·Z0·k₂ − Z0²
        narrow(if k2.is_infinite() { 0.0 } else { (z.low * z.low + Z0 * Z0) / (2.0 * Z0 * k2) }, f64::INFINITY);
        // 2·R·Z0·k₁ − Z0² ≤ z₂²
        narrow(0.0, if k1.is_infinite() { 0.0 } else { (z.high * z.high + Z0 * Z0) / (2.0 * Z0 * k1) });
        // R² + x₁² ≤ 2·R·Z0·k₂ − Z0²: R between the roots of R² − 2·Z0·k₂·R + Z0² + x₁²
        if k2.is_finite() {
            match root((Z0 * k2).powi(2) - Z0 * Z0 - x.low * x.low) {
                Some(half) => narrow(Z0 * k2 - half, Z0 * k2 + half),
                None => return false,
            }
        }
        if !(allowed.low <= allowed.high * (1.0 + 1e-12)) {
            return false;
        }
        // 2·R·Z0·k₁ − Z0² ≤ R² + x₂²: R not strictly between the roots of R² − 2·Z0·k₁·R + Z0² + x₂²
        if k1.is_infinite() {
            return allowed.low <= 0.0;
        }
        if x.high.is_infinite() {
            return true;
        }
        match root((Z0 * k1).powi(2) - Z0 * Z0 - x.high * x.high) {
            Some(half) => allowed.low <= Z0 * k1 - half || allowed.high >= Z0 * k1 + half,
            None => true,
        }
    }
}

/// k = (1 + |Γ|²)/(1 − |Γ|²): infinite at |Γ| = 1.
fn ratio(rho: f64) -> f64 {
    if rho >= 1.0 { f64::INFINITY } else { (1.0 + rho * rho) / (1.0 - rho * rho) }
}

/// The square root, rounding below zero forgiven; `None` of a truly negative number.
fn root(square: f64) -> Option<f64> {
    if square.is_nan() || square < -1e-9 * (Z0 * Z0) { None } else { Some(square.max(0.0).sqrt()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radio::reflection::{from_swr, to_swr};
    use proptest::prelude::*;

    fn exactly(value: f64) -> Interval {
        Interval::about(value, 1e-9 * value.abs().max(1.0))
    }

    fn of(r: f64, x: f64) -> (f64, f64) {
        let rho = (((r - Z0).powi(2) + x * x) / ((r + Z0).powi(2) + x * x)).sqrt();
        (rho, r.hypot(x))
    }

    proptest! {
        #[test]
        fn any_passive_impedance_is_possible(r in 0.0..2000.0f64, x in -2000.0..2000.0f64) {
            let (rho, z) = of(r, x);
            let [reflection, modulus, resistance, reactance] =
                [exactly(rho), exactly(z), exactly(r), exactly(x.abs())];
            let whole = Port { reflection, modulus, resistance, reactance };
            prop_assert!(whole.is_possible());
            let some = Port { reflection, modulus, ..Port::ANY };
            prop_assert!(some.is_possible());
            let others = Port { reflection, resistance, ..Port::ANY };
            prop_assert!(others.is_possible());
            let third = Port { reflection, reactance, ..Port::ANY };
            prop_assert!(third.is_possible());
        }

        #[test]
        fn a_reflection_of_another_impedance_is_not(r in 1.0..1000.0f64, x in -1000.0..1000.0f64, off in 0.01..0.5f64) {
            let (rho, _) = of(r, x);
            for wrong in [rho + off, rho - off].into_iter().filter(|w| (0.0..1.0).contains(w)) {
                let port = Port {
                    reflection: exactly(wrong),
                    resistance: exactly(r),
                    reactance: exactly(x.abs()),
                    ..Port::ANY
                };
                prop_assert!(!port.is_possible());
            }
        }

        /// Against brute force: a grid over R and X inside the box.
        #[test]
        fn the_closed_form_agrees_with_a_search(
            rho in 0.0..0.9f64, width in 0.001..0.1f64, z in 5.0..300.0f64, dz in 0.1..20.0f64,
            r in 0.0..300.0f64, dr in 0.1..30.0f64,
        ) {
            let port = Port {
                reflection: Interval::about(rho, width).from(0.0),
                modulus: Interval::about(z, dz).from(0.0),
                resistance: Interval::about(r, dr).from(0.0),
                reactance: Interval::ANY,
            };
            let inside = |value: f64, i: Interval| value >= i.low && value <= i.high;
            let found = (0..=200).any(|i| {
                let r = port.resistance.low + (port.resistance.high - port.resistance.low) * f64::from(i) / 200.0;
                (0..=200).any(|j| {
                    let z = port.modulus.low + (port.modulus.high - port.modulus.low) * f64::from(j) / 200.0;
                    z >= r && inside(of(r, (z * z - r * r).sqrt()).0, port.reflection)
                })
            });
            // a solution on the grid proves possibility; none on it, up to the grid's own width, disproves it
            if found {
                prop_assert!(port.is_possible());
            } else {
                let narrower = Port {
                    reflection: Interval { low: port.reflection.low + 0.02, high: port.reflection.high - 0.02 },
                    modulus: Interval { low: port.modulus.low + 0.2, high: port.modulus.high - 0.2 },
                    resistance: Interval { low: port.resistance.low + 0.3, high: port.resistance.high - 0.3 },
                    ..port
                };
                prop_assert!(!narrower.is_possible());
            }
        }
    }

    /// The limits of a handbook: S ≥ max(|Z|/Z0, Z0/|Z|), Z0/S ≤ R ≤ Z0·S, |X| ≤ Z0·(S − 1/S)/2.
    #[test]
    fn the_handbook_limits_are_where_possibility_ends() {
        for s in [1.1, 1.5, 2.0, 3.0, 10.0] {
            let reflection = exactly(from_swr(s));
            let with = |port: Port| Port { reflection, ..port }.is_possible();
            for (inside, outside) in [(Z0 * s * 0.999, Z0 * s * 1.001), (Z0 / s * 1.001, Z0 / s * 0.999)] {
                assert!(with(Port { modulus: exactly(inside), ..Port::ANY }));
                assert!(!with(Port { modulus: exactly(outside), ..Port::ANY }), "{s} {outside}");
                assert!(with(Port { resistance: exactly(inside), ..Port::ANY }));
                assert!(!with(Port { resistance: exactly(outside), ..Port::ANY }));
            }
            let most = Z0 * (s - 1.0 / s) / 2.0;
            assert!(with(Port { reactance: exactly(most * 0.999), ..Port::ANY }));
            assert!(!with(Port { reactance: exactly(most * 1.001), ..Port::ANY }));
        }
    }

    /// R = (|Z|² + Z0²)·S/(Z0·(S² + 1)), worked by hand for S = 2, |Z| = 60: R = 48.8, |X| = √(3600 − 48.8²).
    #[test]
    fn swr_and_modulus_fix_the_resistance() {
        let (reflection, modulus) = (exactly(from_swr(2.0)), exactly(60.0));
        let at = |r: f64| Port { reflection, modulus, resistance: exactly(r), ..Port::ANY }.is_possible();
        assert!(at(48.8) && !at(48.7) && !at(48.9));
        let x = (3600.0f64 - 48.8 * 48.8).sqrt();
        assert!((of(48.8, x).0 - 1.0 / 3.0).abs() < 1e-12);
        assert!((to_swr(of(48.8, x).0) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_short_and_an_open_reflect_everything() {
        let all = Port { reflection: exactly(1.0), ..Port::ANY };
        assert!(Port { resistance: exactly(0.0), ..all }.is_possible());
        assert!(
            !Port { reflection: Interval { low: 0.0, high: 0.5 }, resistance: exactly(0.0), ..Port::ANY }.is_possible()
        );
    }
}
