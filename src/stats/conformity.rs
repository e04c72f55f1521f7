//! Conformity: how surely a quantity lies within its limits, and what limits on the *result* keep the risk of
//! a wrong decision small.
//!
//! Symbols are those of JCGM 106:2012: η a value the quantity may have, η_m its measured value (the
//! estimate), u its standard uncertainty, T_L and T_U the tolerance limits (what is asked of the quantity),
//! A_L and A_U the acceptance limits (what is asked of the result), w the guard band between the two,
//! p_c the conformance probability, R_C and R_P the consumer's and the producer's risk. All in one unit, the
//! caller's.
//!
//! Source: JCGM 106:2012, *The role of measurement uncertainty in conformity assessment*, clauses 7 to 9
//! (clause numbers from memory).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::student_t::t_quantile;

/// An interval of values that are allowed; either end may be open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lower limit, T_L; −∞ where there is none.
    pub low: f64,
    /// Upper limit, T_U; ∞ where there is none.
    pub high: f64,
}

/// What is known of a quantity after its measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Knowledge {
    /// Normal about the estimate η_m with standard uncertainty u > 0.
    Normal {
        /// Estimate η_m.
        estimate: f64,
        /// Standard uncertainty u.
        standard: f64,
    },
    /// Scaled and shifted t: (η − η_m)/u has Student's t distribution with ν degrees of freedom.
    StudentT {
        /// Estimate η_m.
        estimate: f64,
        /// Scale u, the standard error the ν degrees of freedom belong to.
        standard: f64,
        /// Degrees of freedom ν.
        df: f64,
    },
}

impl Limits {
    /// Limits `low` … `high`; `None` unless low ≤ high.
    pub fn new(low: f64, high: f64) -> Option<Limits> {
        (low <= high).then_some(Limits { low, high })
    }

    /// No more than `high`.
    pub fn at_most(high: f64) -> Limits {
        Limits { low: f64::NEG_INFINITY, high }
    }

    /// No less than `low`.
    pub fn at_least(low: f64) -> Limits {
        Limits { low, high: f64::INFINITY }
    }

    /// Whether both ends are closed.
    pub fn is_two_sided(&self) -> bool {
        self.low.is_finite() && self.high.is_finite()
    }

    /// Whether a value is allowed; the limits themselves are.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Both limits drawn in by the guard band w ≥ 0: guarded acceptance. `None` where nothing is left.
    ///
    /// # Source
    /// JCGM 106:2012, 8.3.2.
    pub fn guarded_acceptance(&self, w: f64) -> Option<Limits> {
        Limits::new(self.low + w, self.high - w)
    }

    /// Both limits pushed out by the guard band w ≥ 0: guarded rejection. Results outside are rejected.
    ///
    /// # Source
    /// JCGM 106:2012, 8.3.3.
    pub fn guarded_rejection(&self, w: f64) -> Limits {
        Limits { low: self.low - w, high: self.high + w }
    }
}

impl Knowledge {
    /// P(η ≤ x).
    pub fn below(&self, x: f64) -> f64 {
        match *self {
            Knowledge::Normal { estimate, standard } => phi((x - estimate) / standard),
            Knowledge::StudentT { estimate, standard, df } => {
                let z = (x - estimate) / standard;
                match StudentsT::new(0.0, 1.0, df) {
                    Ok(t) if z.is_finite() => t.cdf(z),
                    _ => phi(z),
                }
            }
        }
    }
}

/// Conformance probability p_c = P(T_L ≤ η ≤ T_U).
///
/// It is 1 less the specific consumer's risk of accepting this item, and is itself the specific
/// producer's risk of rejecting it.
///
/// # Source
/// JCGM 106:2012, 7.2 to 7.5 (normal), 7.1 and JCGM 101:2008, 6.4.9 (t).
pub fn conformance_probability(knowledge: Knowledge, limits: Limits) -> f64 {
    let below = |x: f64| {
        if x == f64::INFINITY {
            1.0
        } else if x == f64::NEG_INFINITY {
            0.0
        } else {
            knowledge.below(x)
        }
    };
    (below(limits.high) - below(limits.low)).max(0.0)
}

/// Guard band of one limit for a risk: w = z_{1−r}·u, so that a result just inside T_U − w has a
/// probability of at most r to exceed T_U. `df` infinite gives the normal; fewer, Student's t.
///
/// # Errors
/// `None` unless 0 < r ≤ ½ and u ≥ 0.
///
/// # Source
/// JCGM 106:2012, 8.3.2 and annex B (one-sided).
pub fn guard_band(risk: f64, standard: f64, df: f64) -> Option<f64> {
    (risk > 0.0 && risk <= 0.5 && standard >= 0.0).then(|| t_quantile(1.0 - risk, df) * standard)
}

/// The acceptance interval inside two-sided or one-sided limits for results of standard uncertainty u > 0: the
/// results whose specific consumer's risk 1 − p_c is at most r. `None` where even the best result's is larger.
///
/// Between two limits both tails count, so that w is a little above the one-sided z·u where the limits are
/// close to each other.
///
/// # Source
/// JCGM 106:2012, 8.3.2: guard bands chosen for a maximum specific consumer's risk.
pub fn acceptance_interval(limits: Limits, standard: f64, risk: f64) -> Option<Limits> {
    let one_sided = guard_band(risk, standard, f64::INFINITY)?;
    if !limits.is_two_sided() {
        return limits.guarded_acceptance(one_sided);
    }
    let risk_at = |estimate: f64| 1.0 - conformance_probability(Knowledge::Normal { estimate, standard }, limits);
    let middle = (limits.low + limits.high) / 2.0;
    if risk_at(middle) > risk {
        return None;
    }
    // the risk grows from the middle outwards
    let (mut inside, mut outside) = (middle, limits.high);
    for _ in 0..200 {
        let x = (inside + outside) / 2.0;
        if risk_at(x) <= risk { inside = x } else { outside = x }
    }
    limits.guarded_acceptance(limits.high - inside)
}

/// Global risks of a decision rule: over all items a process makes, measured one by one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlobalRisks {
    /// Share of items that do not conform.
    pub nonconforming: f64,
    /// R_C: share of items that don't conform and are accepted.
    pub consumer: f64,
    /// R_P: share of items that conform and are rejected.
    pub producer: f64,
}

/// A normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, above 0.
    pub standard: f64,
}

/// R_C and R_P where items are normal (`process`), measured with normal errors of standard deviation u > 0,
/// and accepted when the result lies within `acceptance`:
///
/// ```text
/// R_C = ∫ outside tolerance  g(η)·P(accepted | η) dη        R_P = ∫ inside  g(η)·P(rejected | η) dη
/// ```
///
/// By Gauss–Legendre quadrature in panels no wider than the narrower of the two distributions: errs by less
/// than 10⁻¹⁰.
///
/// # Source
/// JCGM 106:2012, 9.4 and 9.5.
pub fn global_risks(process: Spread, measurement: f64, tolerance: Limits, acceptance: Limits) -> GlobalRisks {
    let accepted = |eta: f64| phi((acceptance.high - eta) / measurement) - phi((acceptance.low - eta) / measurement);
    let density = |eta: f64| {
        let z = (eta - process.mean) / process.standard;
        (-z * z / 2.0).exp() / (process.standard * (2.0 * std::f64::consts::PI).sqrt())
    };
    // ten standard deviations: less than 10⁻²² lies beyond
    let (first, last) = (process.mean - 10.0 * process.standard, process.mean + 10.0 * process.standard);
    let panel = process.standard.min(measurement);
    let integrate = |from: f64, to: f64, f: &dyn Fn(f64) -> f64| integral(from.max(first), to.min(last), panel, f);
    let taken = |eta: f64| density(eta) * accepted(eta);
    let refused = |eta: f64| density(eta) * (1.0 - accepted(eta));
    let known = Knowledge::Normal { estimate: process.mean, standard: process.standard };
    GlobalRisks {
        nonconforming: 1.0 - conformance_probability(known, tolerance),
        consumer: integrate(first, tolerance.low, &taken) + integrate(tolerance.high, last, &taken),
        producer: integrate(tolerance.low, tolerance.high, &refused),
    }
}

/// Nodes and weights of the five-point Gauss–Legendre rule on (−1, 1), in closed form.
fn gauss_legendre() -> [(f64, f64); 5] {
    let root = |sign: f64| (5.0 + sign * 2.0 * (10.0f64 / 7.0).sqrt()).sqrt() / 3.0;
    let weight = |sign: f64| (322.0 - sign * 13.0 * 70f64.sqrt()) / 900.0;
    let (near, far) = (root(-1.0), root(1.0));
    [(-far, weight(1.0)), (-near, weight(-1.0)), (0.0, 128.0 / 225.0), (near, weight(-1.0)), (far, weight(1.0))]
}

/// ∫ f from `from` to `to` in panels of at most a quarter of `width`; 0 where the range is empty.
fn integral(from: f64, to: f64, width: f64, f: &dyn Fn(f64) -> f64) -> f64 {
    if !(to > from) {
        return 0.0;
    }
    // a measurement far finer than the process: its step is then sharp, and 10⁵ panels resolve what counts
    let panels = ((4.0 * (to - from) / width).ceil()).clamp(1.0, 1e5) as usize;
    let half = (to - from) / panels as f64 / 2.0;
    let rule = gauss_legendre();
    (0..panels)
        .map(|k| {
            let middle = from + half * (2 * k + 1) as f64;
            half * rule.iter().map(|(x, w)| w * f(middle + half * x)).sum::<f64>()
        })
        .sum()
}

fn phi(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, wanted: f64) {
        assert!((got - wanted).abs() < 1e-8, "{got} instead of {wanted}");
    }

    fn normal(estimate: f64, standard: f64, limits: Limits) -> f64 {
        conformance_probability(Knowledge::Normal { estimate, standard }, limits)
    }

    /// JCGM 106:2012, the breakdown voltage of a diode (printed 0.92) and the viscosity of an oil (printed
    /// 0.66), inputs from memory; the further digits are computed from them.
    #[test]
    fn the_standards_own_examples_are_reproduced() {
        close(normal(-5.47, 0.05, Limits::at_most(-5.40)), 0.919243341);
        close(normal(13.6, 1.8, Limits::new(12.5, 16.3).unwrap()), 0.662629786);
    }

    /// Tolerance [0, 2] and three results; ν = 9 and a limit two standard errors away.
    #[test]
    fn conformance_probabilities_agree_with_the_exact_distributions() {
        let tolerance = Limits::new(0.0, 2.0).unwrap();
        close(normal(1.0, 0.5, tolerance), 0.954499736);
        close(normal(1.95, 0.1, tolerance), 0.691462461);
        close(normal(2.05, 0.1, tolerance), 0.308537539);
        let t = Knowledge::StudentT { estimate: 1.0, standard: 0.5, df: 9.0 };
        close(conformance_probability(t, Limits::at_most(2.0)), 0.961723588);
        close(normal(1.0, 0.5, Limits::at_most(2.0)), 0.977249868);
        // turned round, it is the same question
        close(conformance_probability(t, Limits::at_least(0.0)), 0.961723588);
    }

    /// Guarded acceptance with w = U = 2u leaves Φ(2) at the acceptance limit; p_c ≥ 0.95 needs
    /// w = 1.644853627·u = 0.822426813·U. Guarded rejection is the same outwards.
    #[test]
    fn guard_bands_leave_the_risk_they_were_chosen_for() {
        let (limit, u) = (Limits::at_most(10.0), 0.3);
        let accepted = limit.guarded_acceptance(2.0 * u).unwrap();
        close(normal(accepted.high, u, limit), 0.977249868);
        let w = guard_band(0.05, u, f64::INFINITY).unwrap();
        close(w / u, 1.644853627);
        close(w / (2.0 * u), 0.822426813);
        close(normal(limit.guarded_acceptance(w).unwrap().high, u, limit), 0.95);
        close(normal(limit.guarded_rejection(w).high, u, limit), 0.05);
        let t = guard_band(0.05, u, 9.0).unwrap();
        let known = Knowledge::StudentT { estimate: 10.0 - t, standard: u, df: 9.0 };
        close(conformance_probability(known, limit), 0.95);
        assert_eq!(guard_band(0.6, u, 9.0), None);
        assert_eq!(Limits::new(0.0, 1.0).unwrap().guarded_acceptance(0.6), None);
    }

    #[test]
    fn between_two_close_limits_both_tails_count_and_a_wide_result_is_never_accepted() {
        let tolerance = Limits::new(0.0, 2.0).unwrap();
        let interval = acceptance_interval(tolerance, 0.49, 0.05).unwrap();
        close(normal(interval.high, 0.49, tolerance), 0.95);
        close(normal(interval.low, 0.49, tolerance), 0.95);
        assert!(2.0 - interval.high > guard_band(0.05, 0.49, f64::INFINITY).unwrap());
        assert_eq!(acceptance_interval(tolerance, 0.7, 0.05), None);
        let wide = acceptance_interval(Limits::new(0.0, 200.0).unwrap(), 0.5, 0.05).unwrap();
        close(200.0 - wide.high, 1.644853627 * 0.5);
    }

    /// Process N(0, 0.12), measurement 0.04, tolerance ± 0.2, acceptance ± 0.20 and ± 0.16 (inputs ours;
    /// figures by an independent quadrature).
    #[test]
    fn global_risks_agree_with_an_independent_quadrature() {
        let process = Spread { mean: 0.0, standard: 0.12 };
        let tolerance = Limits::new(-0.2, 0.2).unwrap();
        for (a, consumer, producer) in [(0.20, 0.018942207, 0.037207800), (0.16, 0.004334072, 0.114656578)] {
            let risks = global_risks(process, 0.04, tolerance, Limits::new(-a, a).unwrap());
            close(risks.nonconforming, 0.095580705);
            close(risks.consumer, consumer);
            close(risks.producer, producer);
        }
    }

    #[test]
    fn one_sided_global_risks_are_parts_of_a_bivariate_normal() {
        // accepting at the mean, tolerance at the mean: 1/4 − asin(ρ)/2π of a bivariate normal each way, where
        // ρ = σ/√(σ² + u²) (Sheppard 1899, from memory)
        let process = Spread { mean: 3.0, standard: 2.0 };
        let risks = global_risks(process, 1.5, Limits::at_most(3.0), Limits::at_most(3.0));
        let wanted = 0.25 - (2.0f64 / 2.5).asin() / (2.0 * std::f64::consts::PI);
        close(risks.consumer, wanted);
        close(risks.producer, wanted);
        // a measurement without error takes no wrong decision
        let sharp = global_risks(process, 1e-4, Limits::at_most(3.0), Limits::at_most(3.0));
        assert!(sharp.consumer < 2e-5 && sharp.producer < 2e-5, "{sharp:?}");
    }
}
