//! The law of propagation of uncertainty, by exact derivatives.
//!
//! Source: JCGM 100:2008: 5.1.2 (uncorrelated inputs) with its note (second-order terms), 5.2.2 (correlated inputs), G.4.1
//! (effective degrees of freedom), G.6.4 (expanded uncertainty). Symbols: c_i sensitivity coefficients, u_i = u(x_i),
//! r_ij correlations, ν degrees of freedom, k coverage factor, U = k·u.

use super::config::Config;
use super::jet::Jet;
use crate::stats::student_t::t_quantile;

/// What the law of propagation gives for one output.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagation {
    /// y, the expression at the best estimates.
    pub estimate: f64,
    /// c_i, one an input.
    pub sensitivities: Vec<f64>,
    /// c_i·u_i, one an input.
    pub parts: Vec<f64>,
    /// Shares of the variance, one an input, that add up to 1: c_i·u_i·Σ_j r_ij·c_j·u_j over u². NaN where u is 0.
    pub shares: Vec<f64>,
    /// u(y).
    pub standard_uncertainty: f64,
    /// ν_eff, not rounded.
    pub df: f64,
    /// ν_eff as it is used.
    pub df_used: f64,
    /// k.
    pub coverage_factor: f64,
    /// U.
    pub expanded: f64,
    /// What the curvature of the expression adds; none for correlated inputs, and for skewed ones.
    pub second_order: Option<SecondOrder>,
}

/// Terms of second order.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondOrder {
    /// u(y) with them.
    pub standard_uncertainty: f64,
    /// By how much the mean of y lies above y at the estimates: ½·Σ h_ii·u_i².
    pub shift: f64,
    /// Each pair of inputs, i ≤ j, and what it adds to the variance; only those that add.
    pub terms: Vec<(usize, usize, f64)>,
}

/// ν_eff as it is used for k: to one decimal and then down to a whole number, as both examples of JCGM 100 do (H.1: 16.7
/// to 16; G.4.1: 18.998 to 19); what is below 1 stays as it is.
pub fn df_used(df: f64) -> f64 {
    let whole = ((df * 10.0).round() / 10.0).floor();
    if whole >= 1.0 { whole } else { df }
}

/// Propagates through the expression whose jet at the estimates is given. `None` where a derivative that counts has
/// no finite value there.
pub fn propagate(config: &Config, jet: &Jet) -> Option<Propagation> {
    let u: Vec<f64> = config.inputs.iter().map(|input| input.distribution.standard_uncertainty()).collect();
    let n = u.len();
    let parts: Vec<f64> = jet.first.iter().zip(&u).map(|(c, u)| if *u == 0.0 { 0.0 } else { c * u }).collect();
    if !jet.value.is_finite() || parts.iter().any(|p| !p.is_finite()) {
        return None;
    }
    let with_others = |i: usize| (0..n).map(|j| config.correlation(i, j) * parts[j]).sum::<f64>();
    let variances: Vec<f64> = (0..n).map(|i| parts[i] * with_others(i)).collect();
    let variance = variances.iter().sum::<f64>().max(0.0);
    let standard_uncertainty = variance.sqrt();
    let df = effective_df(config, &parts, variance);
    let df_used = df_used(df);
    let coverage_factor = t_quantile(0.5 + config.confidence / 2.0, df_used);
    Some(Propagation {
        estimate: jet.value,
        sensitivities: jet.first.clone(),
        shares: variances.iter().map(|v| v / variance).collect(),
        parts,
        standard_uncertainty,
        df,
        df_used,
        coverage_factor,
        expanded: coverage_factor * standard_uncertainty,
        second_order: second_order(config, jet, &u, variance),
    })
}

/// Welch and Satterthwaite: ν = u⁴/Σ v²/ν_v over independent parts of the variance. Inputs that go together are one part: a
/// sum of quantities read together is as sure as one of them, so its degrees of freedom are theirs (the fewest).
fn effective_df(config: &Config, parts: &[f64], variance: f64) -> f64 {
    let mut alone = vec![true; parts.len()];
    let mut below = 0.0;
    let mut add = |part: f64, df: f64| {
        if df.is_finite() {
            below += part * part / df;
        }
    };
    for group in &config.groups {
        let mut part = 0.0;
        for &i in &group.inputs {
            alone[i] = false;
            part += group.inputs.iter().map(|&j| parts[i] * parts[j] * config.correlation(i, j)).sum::<f64>();
        }
        add(part, group.inputs.iter().map(|&i| config.inputs[i].df).fold(f64::INFINITY, f64::min));
    }
    for (i, part) in parts.iter().enumerate().filter(|(i, _)| alone[*i]) {
        add(part * part, config.inputs[i].df);
    }
    if below > 0.0 { variance * variance / below } else { f64::INFINITY }
}

/// Σ_ij [½·h_ij² + c_i·t_ijj]·u_i²·u_j².
fn second_order(config: &Config, jet: &Jet, u: &[f64], variance: f64) -> Option<SecondOrder> {
    let n = u.len();
    let varies = |i: &usize| u[*i] > 0.0;
    let skewed = (0..n).filter(varies).any(|i| jet.first[i] != 0.0 && !config.inputs[i].distribution.is_symmetric());
    if !config.groups.is_empty() || skewed {
        return None;
    }
    let term = |i: usize, j: usize| {
        let (h, t) = (jet.second[i * n + j], jet.third[i * n + j]);
        let along = if jet.first[i] == 0.0 { 0.0 } else { jet.first[i] * t };
        (0.5 * h * h + along) * u[i] * u[i] * u[j] * u[j]
    };
    let mut terms = vec![];
    for i in (0..n).filter(varies) {
        for j in (i..n).filter(varies) {
            let adds = if i == j { term(i, i) } else { term(i, j) + term(j, i) };
            if adds != 0.0 {
                terms.push((i, j, adds));
            }
        }
    }
    let total = variance + terms.iter().map(|(_, _, adds)| adds).sum::<f64>();
    let shift = (0..n).filter(varies).map(|i| 0.5 * jet.second[i * n + i] * u[i] * u[i]).sum::<f64>();
    (total.is_finite() && total >= 0.0 && shift.is_finite()).then(|| SecondOrder {
        standard_uncertainty: total.sqrt(),
        shift,
        terms,
    })
}

/// The covariance of two outputs: Σ_ij c_i·c′_j·r_ij·u_i·u_j.
pub fn covariance(config: &Config, a: &Propagation, b: &Propagation) -> f64 {
    let n = a.parts.len();
    (0..n).map(|i| a.parts[i] * (0..n).map(|j| config.correlation(i, j) * b.parts[j]).sum::<f64>()).sum()
}
