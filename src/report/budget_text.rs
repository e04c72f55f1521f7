//! A budget in words first, then its tables: what `daylight budget` prints.

use super::number::{self, count};
use super::text::{table, wrap};
use crate::analysis::budget::figures::{percent, rounded, short};
use crate::analysis::budget::propagation::Propagation;
use crate::analysis::budget::result::{Budget, InputResult, Joint, OutputResult, Quoted, Simulation};
use crate::montecarlo::adaptive::last_place;
use crate::montecarlo::coverage::IntervalKind;
use crate::season::finding::Severity;

/// The whole answer. Ends with a newline.
pub fn render(budget: &Budget) -> String {
    let mut out = vec![wrap(&budget.title, ""), String::new()];
    for output in &budget.outputs {
        out.extend(headline(budget, output).into_iter().map(|line| wrap(&line, "  ")));
    }
    out.push(String::new());
    out.extend(findings(budget));
    for output in &budget.outputs {
        out.extend(section(budget, output));
    }
    out.extend(budget.joint.as_ref().into_iter().flat_map(|joint| together(budget, joint)));
    out.push(wrap(&method(budget), ""));
    let mut text = out.join("\n");
    text.push('\n');
    text
}

fn with_unit(text: String, unit: &str) -> String {
    if unit.is_empty() { text } else { format!("{text} {unit}") }
}

/// The result, what dominates it, what to improve.
fn headline(budget: &Budget, output: &OutputResult) -> Vec<String> {
    let unit = |text: String| with_unit(text, &output.unit);
    let probability = number::percent(budget.confidence);
    let mut lines = vec![];
    let (estimate, u) = match output.quoted(budget.interval) {
        Quoted::Propagated { estimate, standard, expanded, factor } => {
            let place = last_place(expanded, budget.digits);
            lines.push(format!(
                "{} = {} ± {}: so it is with {probability} probability (k = {factor:.2}). Standard uncertainty {}. The law of propagation \
                 says so, and Monte Carlo bears it out.",
                output.name,
                rounded(estimate, place),
                unit(rounded(expanded, place)),
                unit(rounded(standard, last_place(standard, budget.digits)))
            ));
            (estimate, standard)
        }
        Quoted::Simulated { mean, standard, interval } => {
            let place = last_place(standard, budget.digits);
            lines.push(format!(
                "{} = {}, standard uncertainty {}; with {probability} probability between {} and {}. By Monte Carlo: {}.",
                output.name,
                unit(rounded(mean, place)),
                unit(rounded(standard, place)),
                rounded(interval.low, place),
                unit(rounded(interval.high, place)),
                why_not(output)
            ));
            (mean, standard)
        }
        Quoted::Unchecked { estimate, standard } => {
            let place = last_place(standard, budget.digits);
            lines.push(format!(
                "{} is {} with standard uncertainty {} by the law of propagation alone: no Monte Carlo result bears it out, so no interval \
                 is given.",
                output.name,
                unit(rounded(estimate, place)),
                unit(rounded(standard, place))
            ));
            (estimate, standard)
        }
        Quoted::Nothing => return vec![format!("{}: no result.", output.name)],
    };
    lines.extend(dominant(budget, output, estimate, u));
    lines
}

fn why_not(output: &OutputResult) -> &'static str {
    match (&output.propagation, &output.simulation) {
        (None, _) => "the law of propagation has nothing to say here",
        (Some(p), _) if p.standard_uncertainty == 0.0 => "the law of propagation sees no uncertainty at all here",
        (Some(p), Some(s)) => {
            let off = (p.standard_uncertainty / s.standard_uncertainty - 1.0).abs();
            if off > 0.05 {
                "the law of propagation does not hold here"
            } else {
                "the law of propagation has the standard uncertainty right here, but not the interval"
            }
        }
        _ => "the law of propagation could not be checked",
    }
}

/// What the uncertainty comes from, and what half of the greatest part would bring.
fn dominant(budget: &Budget, output: &OutputResult, _estimate: f64, u: f64) -> Option<String> {
    let shares = output.shares()?;
    let mut order: Vec<usize> = (0..shares.len()).filter(|i| shares[*i].is_finite() && shares[*i] > 0.0).collect();
    order.sort_by(|a, b| shares[*b].total_cmp(&shares[*a]));
    let first = *order.first()?;
    let name = |i: usize| format!("`{}`", budget.inputs[i].name);
    if order.len() == 1 {
        return Some(format!("All of that comes from {}.", name(first)));
    }
    let named: Vec<String> = order.iter().take(3).map(|&i| format!("{} {}", name(i), percent(shares[i]))).collect();
    let tied = budget.correlations.iter().any(|(i, j, _)| *i == first || *j == first);
    let halved = u * (1.0 - 0.75 * shares[first]).max(0.0).sqrt();
    let place = last_place(u, budget.digits);
    let improve = if shares[first] < 0.15 {
        "No single input is worth much improving.".to_string()
    } else if tied {
        format!("{} comes first, together with what it goes with.", name(first))
    } else {
        format!(
            "Know {} twice as well, and {} becomes {}.",
            name(first),
            rounded(u, place),
            with_unit(rounded(halved, place), &output.unit)
        )
    };
    Some(format!("Of its variance, {}. {improve}", list(&named)))
}

fn list(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => format!("{one} of it"),
        [first @ .., last] => format!("{} and {last} come from those inputs", first.join(", ")),
    }
}

fn findings(budget: &Budget) -> Vec<String> {
    let mut lines: Vec<String> = vec![];
    for finding in &budget.findings {
        let severity = match finding.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
            Severity::Note => "note",
        };
        lines.push(wrap(
            &format!("{severity}: {}: {}; {}; {}", finding.place, finding.what, finding.why, finding.action),
            "  ",
        ));
    }
    if !lines.is_empty() {
        lines.push(String::new());
    }
    lines
}

/// One output's budget.
fn section(budget: &Budget, output: &OutputResult) -> Vec<String> {
    let mut lines = vec![wrap(&format!("{} = {}", output.name, one_line(&output.expression)), "    ")];
    lines.push(inputs(budget, output));
    if let Some(p) = &output.propagation {
        lines.push(wrap(&propagated(budget, output, p), "    "));
    }
    if let Some(s) = &output.simulation {
        lines.push(wrap(&simulated(budget, output, s), "    "));
    }
    if let Some(v) = output.validation {
        let place = v.tolerance / 5.0;
        lines.push(wrap(
            &format!(
                "  Held against each other: the ends of the two intervals differ by {} and {}; {} is tolerated, so the law of propagation {} here.",
                rounded(v.low, place),
                rounded(v.high, place),
                with_unit(rounded(v.tolerance, place), &output.unit),
                if v.holds() { "may be used" } else { "may not be used" }
            ),
            "    ",
        ));
    }
    lines.push(String::new());
    lines
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The table of inputs.
fn inputs(budget: &Budget, output: &OutputResult) -> String {
    let adds = if output.unit.is_empty() { "adds".to_string() } else { format!("adds, {}", output.unit) };
    let alone = output.one_at_a_time.as_deref();
    let header = [
        "input",
        "estimate",
        "standard",
        "unit",
        "shape",
        if alone.is_some() { "alone" } else { "slope" },
        &adds,
        "share",
    ];
    let shares = output.shares();
    let mut rows = vec![];
    for (i, input) in budget.inputs.iter().enumerate() {
        let slope = output.propagation.as_ref().map(|p| p.sensitivities[i]);
        let part = output.propagation.as_ref().map(|p| p.parts[i].abs());
        let (sixth, seventh) = match alone {
            Some(alone) => (String::from("yes"), alone[i]),
            None => (slope.map_or("–".into(), short), part.unwrap_or(f64::NAN)),
        };
        if input.standard_uncertainty == 0.0 && slope == Some(0.0) {
            continue;
        }
        let share = shares.as_ref().map_or(f64::NAN, |s| s[i]);
        rows.push(vec![
            cut(&input.name, 17),
            estimate(budget, input),
            if input.standard_uncertainty == 0.0 { "exact".into() } else { significant(input.standard_uncertainty) },
            cut(&input.unit, 6),
            cut(shape(input), 12),
            sixth,
            significant(seventh),
            if share.is_finite() { format!("{:.1} %", 100.0 * share).replace('-', "−") } else { "–".into() },
        ]);
    }
    if alone.is_some() {
        for row in &mut rows {
            row.remove(5);
        }
        let header: Vec<&str> = header.iter().enumerate().filter(|(i, _)| *i != 5).map(|(_, h)| *h).collect();
        return table(&header, &[1, 2, 5, 6], &rows);
    }
    table(&header, &[1, 2, 5, 6, 7], &rows)
}

/// Two significant digits.
fn significant(value: f64) -> String {
    if value.is_nan() { "–".into() } else { rounded(value, last_place(value, 2)) }
}

fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_string();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

fn shape(input: &InputResult) -> &'static str {
    match input.shape {
        "curvilinear trapezoid" => "curvilinear",
        other => other,
    }
}

fn estimate(budget: &Budget, input: &InputResult) -> String {
    if input.standard_uncertainty > 0.0 {
        return rounded(input.estimate, last_place(input.standard_uncertainty, budget.digits.max(2)));
    }
    let text = input.estimate.to_string();
    if text.len() <= 10 { text.replace('-', "−") } else { short(input.estimate) }
}

fn propagated(budget: &Budget, output: &OutputResult, p: &Propagation) -> String {
    let place = last_place(p.standard_uncertainty, budget.digits);
    let unit = |text: String| with_unit(text, &output.unit);
    let df = if p.df.is_finite() {
        format!("{:.1} effective degrees of freedom, k = {:.3}", p.df, p.coverage_factor)
    } else {
        format!("k = {:.3}", p.coverage_factor)
    };
    let expanded = rounded(p.expanded, last_place(p.expanded, budget.digits));
    let mut text = format!(
        "  Law of propagation: {}, standard uncertainty {}; {df}; expanded {}: {} … {}.",
        unit(rounded(p.estimate, place)),
        unit(rounded(p.standard_uncertainty, place)),
        unit(expanded),
        rounded(p.estimate - p.expanded, place),
        unit(rounded(p.estimate + p.expanded, place))
    );
    if let Some(second) = &p.second_order {
        let place = last_place(second.standard_uncertainty, budget.digits);
        if (second.standard_uncertainty - p.standard_uncertainty).abs() > place / 2.0 {
            text += &format!(" With terms of second order {}.", unit(rounded(second.standard_uncertainty, place)));
        }
    }
    text
}

fn simulated(budget: &Budget, output: &OutputResult, s: &Simulation) -> String {
    let place = last_place(s.standard_uncertainty, budget.digits);
    let unit = |text: String| with_unit(text, &output.unit);
    format!(
        "  Monte Carlo: mean {}, standard uncertainty {}; {} of draws within {} … {} with as many below as above, or, shortest, within {} … {}.",
        unit(rounded(s.mean, place)),
        unit(rounded(s.standard_uncertainty, place)),
        number::percent(budget.confidence),
        rounded(s.symmetric.low, place),
        unit(rounded(s.symmetric.high, place)),
        rounded(s.shortest.low, place),
        unit(rounded(s.shortest.high, place)),
    )
}

/// Several outputs: their correlations and a region that holds all of them.
fn together(budget: &Budget, joint: &Joint) -> Vec<String> {
    let names: Vec<String> = budget.outputs.iter().map(|o| cut(&o.name, 12)).collect();
    let m = names.len();
    let mut lines = vec!["Correlations of the outputs: by Monte Carlo (by the law of propagation)".to_string()];
    let cell = |i: usize, j: usize| {
        let text = |r: f64| if r.is_finite() { rounded(r, 0.001) } else { "–".into() };
        if i == j {
            "1".into()
        } else {
            format!("{} ({})", text(joint.simulated[i * m + j]), text(joint.propagated[i * m + j]))
        }
    };
    // as many columns as fit
    let shown = m.min(3);
    let header: Vec<&str> = std::iter::once("").chain(names.iter().take(shown).map(String::as_str)).collect();
    let rows: Vec<Vec<String>> =
        (0..m).map(|i| std::iter::once(names[i].clone()).chain((0..shown).map(|j| cell(i, j))).collect()).collect();
    lines.push(table(&header, &(1..=shown).collect::<Vec<_>>(), &rows));
    if m > shown {
        lines.push(wrap(&format!("  The first {shown} of {m} columns; `--json` has all."), "  "));
    }
    lines.extend(region(budget, joint).map(|text| wrap(&text, "    ")));
    lines.push(String::new());
    lines
}

fn region(budget: &Budget, joint: &Joint) -> Option<String> {
    let probability = number::percent(budget.confidence);
    let Some(trials) = joint.trials else {
        return Some(
            "  No region for all of them is given: they are functions of each other, or have no finite spread.".into(),
        );
    };
    let parts: Vec<String> = budget
        .outputs
        .iter()
        .filter_map(|output| {
            let s = output.simulation.as_ref()?;
            let half = trials.box_factor * s.standard_uncertainty;
            let place = last_place(half, budget.digits);
            Some(format!(
                "{} {} ± {}",
                output.name,
                rounded(s.mean, place),
                with_unit(rounded(half, place), &output.unit)
            ))
        })
        .collect();
    let mut text = format!(
        "  All of them at once, with {probability} probability: {} (k = {:.3}; {:.3} for normal outputs, whatever their correlation).",
        parts.join(", "),
        trials.box_factor,
        joint.normal.box_factor
    );
    text += &format!(
        " As an ellipse or its like, k = {:.3} ({:.3} for normal outputs)",
        trials.ellipsoid, joint.normal.ellipsoid
    );
    match joint.ellipse {
        Some(ellipse) => {
            text += &format!(
                ": half-axes {} and {}, the longer one {:.0}° from the axis of {}.",
                short(ellipse.greater),
                short(ellipse.lesser),
                ellipse.angle,
                budget.outputs[0].name
            );
        }
        None => text.push('.'),
    }
    Some(text)
}

fn method(budget: &Budget) -> String {
    let interval = match budget.interval {
        IntervalKind::Symmetric => "as much probability below as above",
        IntervalKind::Shortest => "the shortest",
    };
    let mut text =
        format!("{} trials, seed {}; interval quoted: {interval}.", count(budget.trials as usize), budget.seed);
    if budget.outputs.iter().any(|o| o.one_at_a_time.is_some()) {
        text += " Where the law of propagation does not hold, \"adds\" is what Monte Carlo gives with that input varied alone.";
    }
    if budget.outputs.iter().any(|o| o.one_at_a_time.is_none()) {
        text += " \"slope\" is how the output follows the input; \"adds\" is the slope times the input's standard uncertainty.";
    }
    text
}
