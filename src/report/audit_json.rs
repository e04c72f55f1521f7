//! What the audit found as JSON, format `daylight/audit/1`.

use serde::Serialize;

use crate::analysis::audit::Audit;
use crate::analysis::audit::rules::RULES;
use crate::analysis::next::Step;
use crate::season::finding::{Finding, Group};

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    season: &'a str,
    readings: usize,
    sets: usize,
    verdicts: usize,
    errors: bool,
    findings: Vec<FindingOut<'a>>,
    next: &'a [Step],
    rules: Vec<RuleOut>,
    assumptions: &'a [String],
}

#[derive(Serialize)]
struct FindingOut<'a> {
    #[serde(flatten)]
    finding: &'a Finding,
    /// Pairs of antennas, over all sets, whose verdict it puts in doubt.
    verdicts: usize,
}

#[derive(Serialize)]
struct RuleOut {
    name: &'static str,
    group: Group,
    asks: &'static str,
    source: &'static str,
}

/// The answer as indented JSON.
///
/// # Errors
/// None is expected: every key is text and every value a number, text, or a list of them.
pub fn render(audit: &Audit) -> serde_json::Result<String> {
    serde_json::to_string_pretty(&Document {
        format: "daylight/audit/1",
        season: &audit.season,
        readings: audit.readings,
        sets: audit.sets,
        verdicts: audit.verdicts,
        errors: audit.has_error(),
        findings: audit.findings.iter().map(|j| FindingOut { finding: &j.finding, verdicts: j.verdicts }).collect(),
        next: &audit.next,
        rules: RULES.iter().map(|r| RuleOut { name: r.name, group: r.group, asks: r.asks, source: r.source }).collect(),
        assumptions: &audit.assumptions,
    })
}
