//! What is worth saying of a budget: results that are no numbers, divisions that may go through zero, inputs without a
//! standard deviation, figures that never settle.

use super::by_sql;
use super::config::{Config, Output};
use super::figures::{percent, short};
use super::result::OutputResult;
use super::simulation::{AT_MOST, Draws, Options, Pilot};
use crate::montecarlo::adaptive::{Trials, numerical_tolerance};
use crate::montecarlo::distribution::Distribution;
use crate::season::finding::{Finding, Group, Place, Severity};

/// All findings, in the order of the file.
pub fn all(
    config: &Config,
    pilot: &Pilot,
    trials: Option<&Trials>,
    outputs: &[OutputResult],
    options: &Options,
) -> Vec<Finding> {
    let mut findings = vec![];
    findings.extend(inputs(config));
    for (i, output) in config.outputs.iter().enumerate() {
        findings.extend(divisions(config, output, &pilot.divisors[i]));
        findings.extend(lost(config, output, pilot, i));
        findings.extend(no_derivative(config, output, &outputs[i]));
        findings.extend(curvature(config, output, &outputs[i]));
    }
    findings.extend(trials.filter(|t| t.lost > 0).map(|t| rarely_lost(config, t)));
    findings.extend(trials.filter(|t| !t.stable).map(|t| unsettled(config, t)));
    findings.extend(checked_by_sql(config, options.seed));
    findings.sort_by_key(|finding| {
        (finding.place.line, finding.place.column.as_ref().and_then(|c| c.parse::<usize>().ok()))
    });
    findings
}

fn place(config: &Config, line: usize, column: Option<usize>) -> Place {
    Place { file: config.file.clone(), line: Some(line), column: column.map(|c| c.to_string()) }
}

fn finding(severity: Severity, place: Place, what: String, why: &str, action: &str) -> Finding {
    Finding {
        rule: "budget",
        group: Group::Suspect,
        severity,
        place,
        others: vec![],
        endangers: vec![],
        what,
        why: why.into(),
        action: action.into(),
    }
}

fn inputs(config: &Config) -> Vec<Finding> {
    let used: Vec<usize> = config.outputs.iter().flat_map(|output| config.program.inputs_of(output.place)).collect();
    let mut findings = vec![];
    for (i, input) in config.inputs.iter().enumerate() {
        if !used.contains(&i) {
            let what = format!("`{}` is in no expression", input.name);
            let why = "it adds nothing to any output";
            findings.push(finding(
                Severity::Warning,
                place(config, input.line, None),
                what,
                why,
                "use it, or take it out",
            ));
        }
        if let Distribution::StudentT { df, .. } = input.distribution
            && df <= 2.0
        {
            let what = format!(
                "`{}` is known with {} degrees of freedom, and a t with two or fewer has no standard deviation",
                input.name, df
            );
            let why = "by Monte Carlo what comes of it has an interval and a median, but no standard uncertainty";
            let action = "read the interval, or take more readings: four give three degrees of freedom";
            findings.push(finding(Severity::Warning, place(config, input.line, None), what, why, action));
        }
    }
    findings
}

fn divisions(config: &Config, output: &Output, shares: &[(f64, f64)]) -> Vec<Finding> {
    let straddles = output.divisions.iter().zip(shares).filter(|(_, (below, above))| *below > 0.0 && *above > 0.0);
    straddles
        .map(|(division, (below, _))| {
            let what = format!(
                "in `{}`, the divisor `{}` lies on both sides of zero: {} of draws at or below it",
                output.name,
                division.written,
                percent(*below)
            );
            let why = "the quotient then has no mean and no standard deviation, and its interval reaches as far as the draws come near zero";
            let action = "give the divisor a shape that stays on its side, or measure it better";
            finding(Severity::Warning, place(config, division.line, Some(division.column)), what, why, action)
        })
        .collect()
}

/// Results that are no numbers: how many, and where in the inputs.
fn lost(config: &Config, output: &Output, pilot: &Pilot, i: usize) -> Option<Finding> {
    let (count, ranges) = &pilot.lost[i];
    if *count == 0 {
        return None;
    }
    let used = config.program.inputs_of(output.place);
    let varied = used.iter().filter(|j| config.inputs[**j].distribution.standard_uncertainty() > 0.0);
    let where_in: Vec<String> = varied
        .map(|&j| format!("`{}` from {} to {}", config.inputs[j].name, short(ranges[j].0), short(ranges[j].1)))
        .collect();
    let share = *count as f64 / pilot.trials as f64;
    let what = format!(
        "`{}` is no finite number for {} of the draws: there {}",
        output.name,
        percent(share),
        where_in.join(", ")
    );
    let why = "no mean, interval or uncertainty can be had by Monte Carlo";
    let action = "draws like those can't be what is meant: choose shapes that leave them out, or say in the expression what \
                  holds there (CASE, GREATEST, LEAST)";
    Some(finding(Severity::Error, place(config, output.line, None), what, why, action))
}

fn rarely_lost(config: &Config, trials: &Trials) -> Finding {
    let share = trials.lost as f64 / trials.trials as f64;
    let what = format!(
        "some output is no finite number for {} of the draws, which are left out of every figure",
        percent(share)
    );
    let why = "the figures are those of the other draws";
    let action = "choose shapes that leave them out, or say in the expression what holds there (CASE, GREATEST, LEAST)";
    finding(Severity::Warning, place(config, config.outputs[0].line, None), what, why, action)
}

fn no_derivative(config: &Config, output: &Output, result: &OutputResult) -> Option<Finding> {
    if result.propagation.is_some() {
        return None;
    }
    let what =
        format!("`{}` has no finite value, or no finite derivative, at the estimates of its inputs", output.name);
    let why = "the law of propagation has nothing to say there";
    let action = "read the Monte Carlo result, or move the estimates off the edge of what the expression allows";
    Some(finding(Severity::Warning, place(config, output.line, None), what, why, action))
}

fn curvature(config: &Config, output: &Output, result: &OutputResult) -> Option<Finding> {
    let p = result.propagation.as_ref()?;
    let second = p.second_order.as_ref()?;
    let more = second.standard_uncertainty - p.standard_uncertainty;
    let tolerance = numerical_tolerance(second.standard_uncertainty, config.digits);
    if more.abs() <= tolerance && second.shift.abs() <= tolerance {
        return None;
    }
    let what = format!(
        "the expression of `{}` bends within the uncertainty of its inputs: terms of second order take its standard uncertainty from {} to {} and \
         its mean by {}",
        output.name,
        short(p.standard_uncertainty),
        short(second.standard_uncertainty),
        short(second.shift)
    );
    let why = "the first-order figures leave that out; Monte Carlo does not";
    Some(finding(
        Severity::Note,
        place(config, output.line, None),
        what,
        why,
        "quote the Monte Carlo result where they differ",
    ))
}

fn unsettled(config: &Config, trials: &Trials) -> Finding {
    let what = format!("the Monte Carlo figures had not settled after {} trials (at most {AT_MOST})", trials.trials);
    let why = "their last digit may differ with another seed";
    let action = "look for a divisor near zero or a t with few degrees of freedom, or ask for `digits = 1`";
    finding(Severity::Warning, place(config, config.outputs[0].line, None), what, why, action)
}

/// The expressions by Polars' SQL on the first draws. A disagreement is a fault of this program, and is said.
fn checked_by_sql(config: &Config, seed: u64) -> Option<Finding> {
    let mut draws = Draws::new(config);
    draws.draw(config, seed, 0);
    let first: Vec<&[f64]> = draws.columns().into_iter().map(|column| &column[..1024]).collect();
    let what = match by_sql::disagreement(&config.program, &first, 1e-9) {
        Ok(None) => return None,
        Ok(Some(d)) => {
            format!("a step of the expressions, {}, is {} here and {} by the SQL reference", d.step, d.ours, d.theirs)
        }
        Err(error) => format!("the SQL reference can't work the expressions out: {error}"),
    };
    let why = "one of the two is wrong";
    let action = "don't use this result, and report it with the file";
    Some(finding(Severity::Error, place(config, config.outputs[0].line, None), what, why, action))
}
