//! A budget in words first, then its tables: what `daylight budget` prints.

use super::number::{self, count};
use super::text::{WIDTH, table, wrap};
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
    // the standard uncertainty that is quoted, where there is one
    let u = match output.quoted(budget.interval) {
        Quoted::Propagated { estimate, standard, expanded, factor } => {
            let place = last_place(expanded, budget.digits);
            lines.push(format!(
                "{} = {} ± {} ({probability}, k = {factor:.2}); standard uncertainty {}. By the law of propagation, borne out by Monte Carlo.",
                output.name,
                rounded(estimate, place),
                unit(rounded(expanded, place)),
                unit(rounded(standard, last_place(standard, budget.digits)))
            ));
            Some(standard)
        }
        Quoted::Simulated { centre, standard, scale, interval } => {
            let place = last_place(scale, budget.digits);
            let figure = |u: f64| format!("standard uncertainty {}", unit(rounded(u, last_place(u, budget.digits))));
            let told = standard.map_or("a median, for want of a standard uncertainty".into(), figure);
            lines.push(format!(
                "{} = {}, between {} and {} ({probability}); {told}. By Monte Carlo: {}.",
                output.name,
                rounded(centre, place),
                rounded(interval.low, place),
                unit(rounded(interval.high, place)),
                why_not(output)
            ));
            standard
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
            Some(standard)
        }
        Quoted::Nothing => return vec![format!("{}: no result.", output.name)],
    };
    lines.extend(dominant(budget, output, u));
    lines
}

fn why_not(output: &OutputResult) -> &'static str {
    match (&output.propagation, &output.simulation) {
        (None, _) => "the law of propagation has nothing to say here",
        (Some(p), _) if p.standard_uncertainty == 0.0 => "the law of propagation sees no uncertainty at all here",
        (Some(p), Some(s)) => {
            let off = (p.standard_uncertainty / s.standard_uncertainty.unwrap_or(s.scale) - 1.0).abs();
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
fn dominant(budget: &Budget, output: &OutputResult, u: Option<f64>) -> Option<String> {
    let shares = output.shares()?;
    let mut order: Vec<usize> = (0..shares.len()).filter(|i| shares[*i].is_finite() && shares[*i] > 0.0).collect();
    order.sort_by(|a, b| shares[*b].total_cmp(&shares[*a]));
    let first = *order.first()?;
    let name = |i: usize| format!("`{}`", budget.inputs[i].name);
    let takes_off = shares.iter().any(|share| *share < 0.0);
    if order.len() == 1 && takes_off {
        return Some(format!("It comes from {}; what goes with that takes part of it off again.", name(first)));
    }
    if order.len() == 1 {
        return Some(format!("All of that comes from {}.", name(first)));
    }
    let named: Vec<String> = order.iter().take(3).map(|&i| format!("{} {}", name(i), percent(shares[i]))).collect();
    let Some(u) = u else {
        return Some(format!("Its spread comes from {}.", list(&named)));
    };
    let tied = budget.correlations.iter().any(|(i, j, _)| *i == first || *j == first);
    // inputs that count as much as the first are improved with it
    let alike: Vec<usize> = order.iter().copied().filter(|&i| shares[i] > 0.95 * shares[first]).collect();
    let together: f64 = alike.iter().map(|&i| shares[i]).sum();
    let halved = u * (1.0 - 0.75 * together).max(0.0).sqrt();
    let place = last_place(u, budget.digits);
    let better = with_unit(rounded(halved, place), &output.unit);
    let now = rounded(u, place);
    let improve = match alike.len() {
        _ if tied => format!("{} comes first, together with what it goes with.", name(first)),
        _ if shares[first] < 0.1 => "No single input is worth much improving.".to_string(),
        1 => format!("Know {} twice as well, and {now} becomes {better}.", name(first)),
        n if n == order.len() => format!("All count alike: know each twice as well, and {now} becomes {better}."),
        n if n <= 3 => {
            let names: Vec<String> = alike.iter().map(|&i| name(i)).collect();
            format!("Know {} twice as well, and {now} becomes {better}.", names.join(" and "))
        }
        n => format!("The first {n} count alike: know each twice as well, and {now} becomes {better}."),
    };
    let lead = if order.len() <= 3 { "Its variance comes from" } else { "Its variance comes first from" };
    Some(format!("{lead} {}. {improve}", list(&named)))
}

fn list(parts: &[String]) -> String {
    match parts {
        [first @ .., last] if !first.is_empty() => format!("{} and {last}", first.join(", ")),
        _ => parts.concat(),
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
                "  Held against each other: the ends differ by {} and {}; {} is tolerated, so the law of propagation {} be used here.",
                rounded(v.low, place),
                rounded(v.high, place),
                with_unit(rounded(v.tolerance, place), &output.unit),
                if v.holds() { "may" } else { "may not" }
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

/// The table of inputs that the output depends on; columns that can be done without go where it would be too wide.
fn inputs(budget: &Budget, output: &OutputResult) -> String {
    let alone = output.one_at_a_time.as_deref();
    let slope = |i: usize| output.propagation.as_ref().map(|p| p.sensitivities[i]);
    let adds = |i: usize| match alone {
        Some(alone) => alone[i],
        None => output.propagation.as_ref().map_or(f64::NAN, |p| p.parts[i].abs()),
    };
    let shares = output.shares();
    let share = |i: usize| match shares.as_ref().map_or(f64::NAN, |s| s[i]) {
        s if s.is_finite() => rounded(100.0 * s, if s.abs() < 0.1 { 0.1 } else { 1.0 }) + " %",
        _ => "–".into(),
    };
    let used: Vec<usize> = (0..budget.inputs.len()).filter(|i| output.inputs.contains(i)).collect();
    let of = |cell: &dyn Fn(usize) -> String| used.iter().map(|&i| cell(i)).collect::<Vec<String>>();
    let input = |i: usize| &budget.inputs[i];
    let mut columns = vec![
        ("input", of(&|i| cut(&input(i).name, 22))),
        ("estimate", of(&|i| estimate(budget, input(i)))),
        (
            "standard",
            of(&|i| {
                if input(i).standard_uncertainty == 0.0 {
                    "exact".into()
                } else {
                    significant(input(i).standard_uncertainty)
                }
            }),
        ),
        ("unit", of(&|i| cut(&input(i).unit, 6))),
        ("shape", of(&|i| shape(input(i)).to_string())),
    ];
    if alone.is_none() {
        columns.push(("slope", of(&|i| slope(i).map_or("–".into(), short))));
    }
    columns.push(("adds", of(&|i| significant(adds(i)))));
    columns.push(("share", of(&share)));
    if columns[3].1.iter().all(String::is_empty) {
        columns.remove(3);
    }
    for spare in ["", "unit", "shape"] {
        columns.retain(|(name, _)| *name != spare);
        let text = laid_out(&columns);
        if spare == "shape" || text.lines().all(|line| line.chars().count() <= WIDTH) {
            return text;
        }
    }
    String::new()
}

fn laid_out(columns: &[(&str, Vec<String>)]) -> String {
    let header: Vec<&str> = columns.iter().map(|(name, _)| *name).collect();
    let rows = columns.first().map_or(0, |(_, cells)| cells.len());
    let rows: Vec<Vec<String>> =
        (0..rows).map(|r| columns.iter().map(|(_, cells)| cells[r].clone()).collect()).collect();
    let right: Vec<usize> = (1..header.len()).filter(|i| !["unit", "shape"].contains(&header[*i])).collect();
    table(&header, &right, &rows)
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
        let df = if p.df < 100.0 { format!("{:.1}", p.df) } else { count(p.df as usize) };
        format!("{df} effective degrees of freedom, k = {:.3}", p.coverage_factor)
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
    let place = last_place(s.scale, budget.digits);
    let unit = |text: String| with_unit(text, &output.unit);
    let centre = match (s.mean, s.standard_uncertainty) {
        (Some(mean), Some(standard)) => {
            let standard = rounded(standard, last_place(standard, budget.digits));
            format!("mean {}, standard uncertainty {}", unit(rounded(mean, place)), unit(standard))
        }
        _ => format!("median {}, no standard uncertainty", unit(rounded(s.median, place))),
    };
    format!(
        "  Monte Carlo: {centre}; {} of draws within {} … {} with as many below as above, or, shortest, within {} … {}.",
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
            let half = trials.box_factor * s.standard_uncertainty?;
            let place = last_place(half, budget.digits);
            Some(format!(
                "{} {} ± {}",
                output.name,
                rounded(s.mean?, place),
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
