//! A budget as JSON, format `daylight/budget/1`. Keys stand in the order given here; a number that is not known, or
//! not finite, is null.

use serde::Serialize;

use crate::analysis::budget::result::{Budget, OutputResult, Validation};
use crate::montecarlo::coverage::{Interval, IntervalKind};
use crate::season::finding::Finding;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    title: &'a str,
    confidence: f64,
    interval: IntervalKind,
    seed: u64,
    trials: u64,
    lost: u64,
    stable: bool,
    inputs: Vec<Input<'a>>,
    correlations: Vec<Correlation<'a>>,
    outputs: Vec<Output<'a>>,
    joint: Option<Joint>,
    findings: &'a [Finding],
}

#[derive(Serialize)]
struct Input<'a> {
    input: &'a str,
    unit: &'a str,
    shape: &'a str,
    estimate: f64,
    standard_uncertainty: f64,
    df: Option<f64>,
}

#[derive(Serialize)]
struct Correlation<'a> {
    first: &'a str,
    second: &'a str,
    coefficient: f64,
}

#[derive(Serialize)]
struct Output<'a> {
    output: &'a str,
    unit: &'a str,
    expression: &'a str,
    propagation: Option<Propagation>,
    monte_carlo: Option<MonteCarlo>,
    validation: Option<ValidationOut>,
    contributions: Vec<Contribution<'a>>,
}

#[derive(Serialize)]
struct Propagation {
    estimate: f64,
    standard_uncertainty: f64,
    df: Option<f64>,
    coverage_factor: f64,
    expanded: f64,
    low: f64,
    high: f64,
    second_order_standard_uncertainty: Option<f64>,
    second_order_shift: Option<f64>,
}

#[derive(Serialize)]
struct MonteCarlo {
    mean: Option<f64>,
    standard_uncertainty: Option<f64>,
    median: f64,
    symmetric: Interval,
    shortest: Interval,
}

#[derive(Serialize)]
struct ValidationOut {
    tolerance: f64,
    low_difference: f64,
    high_difference: f64,
    holds: bool,
}

#[derive(Serialize)]
struct Contribution<'a> {
    input: &'a str,
    sensitivity: Option<f64>,
    propagated: Option<f64>,
    varied_alone: Option<f64>,
    share: Option<f64>,
}

#[derive(Serialize)]
struct Joint {
    correlations_propagated: Vec<Vec<Option<f64>>>,
    correlations_monte_carlo: Vec<Vec<Option<f64>>>,
    normal_ellipsoid_factor: f64,
    normal_box_factor: f64,
    ellipsoid_factor: Option<f64>,
    box_factor: Option<f64>,
    region_trials: usize,
}

/// The document, indented.
///
/// # Errors
/// None that is known; the library's, in case.
pub fn render(budget: &Budget) -> serde_json::Result<String> {
    let known = |x: f64| x.is_finite().then_some(x);
    let inputs = budget.inputs.iter().map(|i| Input {
        input: &i.name,
        unit: &i.unit,
        shape: i.shape,
        estimate: i.estimate,
        standard_uncertainty: i.standard_uncertainty,
        df: known(i.df),
    });
    let correlations = budget.correlations.iter().map(|&(i, j, coefficient)| Correlation {
        first: &budget.inputs[i].name,
        second: &budget.inputs[j].name,
        coefficient,
    });
    let m = budget.outputs.len();
    let rows = |matrix: &[f64]| matrix.chunks(m).map(|row| row.iter().map(|r| known(*r)).collect()).collect();
    let joint = budget.joint.as_ref().map(|joint| Joint {
        correlations_propagated: rows(&joint.propagated),
        correlations_monte_carlo: rows(&joint.simulated),
        normal_ellipsoid_factor: joint.normal.ellipsoid,
        normal_box_factor: joint.normal.box_factor,
        ellipsoid_factor: joint.trials.map(|r| r.ellipsoid),
        box_factor: joint.trials.map(|r| r.box_factor),
        region_trials: joint.region_trials,
    });
    serde_json::to_string_pretty(&Document {
        format: "daylight/budget/1",
        title: &budget.title,
        confidence: budget.confidence,
        interval: budget.interval,
        seed: budget.seed,
        trials: budget.trials,
        lost: budget.lost,
        stable: budget.stable,
        inputs: inputs.collect(),
        correlations: correlations.collect(),
        outputs: budget.outputs.iter().map(|o| output(budget, o)).collect(),
        joint,
        findings: &budget.findings,
    })
}

fn output<'a>(budget: &'a Budget, o: &'a OutputResult) -> Output<'a> {
    let known = |x: f64| x.is_finite().then_some(x);
    let propagation = o.propagation.as_ref().map(|p| Propagation {
        estimate: p.estimate,
        standard_uncertainty: p.standard_uncertainty,
        df: known(p.df),
        coverage_factor: p.coverage_factor,
        expanded: p.expanded,
        low: p.estimate - p.expanded,
        high: p.estimate + p.expanded,
        second_order_standard_uncertainty: p.second_order.as_ref().map(|s| s.standard_uncertainty),
        second_order_shift: p.second_order.as_ref().map(|s| s.shift),
    });
    let monte_carlo = o.simulation.as_ref().map(|s| MonteCarlo {
        mean: s.mean,
        standard_uncertainty: s.standard_uncertainty,
        median: s.median,
        symmetric: s.symmetric,
        shortest: s.shortest,
    });
    let validation = o.validation.map(|v: Validation| ValidationOut {
        tolerance: v.tolerance,
        low_difference: v.low,
        high_difference: v.high,
        holds: v.holds(),
    });
    let shares = o.shares();
    let contributions = budget.inputs.iter().enumerate().map(|(i, input)| Contribution {
        input: &input.name,
        sensitivity: o.propagation.as_ref().and_then(|p| known(p.sensitivities[i])),
        propagated: o.propagation.as_ref().map(|p| p.parts[i]),
        varied_alone: o.one_at_a_time.as_ref().and_then(|alone| known(alone[i])),
        share: shares.as_ref().and_then(|s| known(s[i])),
    });
    Output {
        output: &o.name,
        unit: &o.unit,
        expression: &o.expression,
        propagation,
        monte_carlo,
        validation,
        contributions: contributions.collect(),
    }
}
