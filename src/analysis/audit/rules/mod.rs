//! The rules, one a file. To add one, see [`super`].

mod authority;
mod battery;
mod copies;
mod crowd;
mod digits;
mod drift;
mod duplicates;
mod field_steps;
mod frequency;
mod gain;
mod islands;
mod left_out;
mod levels;
mod line_loss;
mod meter_shift;
mod order;
mod outliers;
pub mod port;
mod power_range;
pub mod powers;
mod reference;
mod reference_history;
mod remounts;
mod rounding;
mod slips;
mod sources;
#[cfg(test)]
mod steady;

use std::collections::BTreeMap;

use super::{Log, Rule};
use crate::season::finding::Finding;

/// Every rule, in the order in which findings of equal weight are told.
pub const RULES: &[&Rule] = &[
    // impossible
    &port::RULE,
    &powers::RULE,
    &line_loss::RULE,
    &frequency::RULE,
    // suspect
    &power_range::RULE,
    &battery::RULE,
    &field_steps::RULE,
    &gain::RULE,
    &rounding::RULE,
    &authority::RULE,
    &crowd::RULE,
    // suspect, by the statistics of the levels
    &slips::RULE,
    &outliers::RULE,
    &drift::RULE,
    &reference_history::RULE,
    &meter_shift::RULE,
    &duplicates::RULE,
    &copies::RULE,
    &digits::RULE,
    // weak design
    &levels::RULE,
    &islands::RULE,
    &remounts::RULE,
    &reference::RULE,
    &order::RULE,
    &sources::RULE,
    &left_out::RULE,
];

/// Up to this many of one kind, by one meter on one band, are told one by one.
const FEW: usize = 5;

/// Findings of contradictions, each given as its rows and words; many of one meter on one band are one
/// finding, since then the meter is wrong rather than the typing.
fn told_together(log: &Log, found: Vec<(Vec<usize>, String)>, of_what: &str, action: &str) -> Vec<Finding> {
    let mut by_meter: BTreeMap<_, Vec<(Vec<usize>, String)>> = BTreeMap::new();
    for (rows, what) in found {
        let Some(&first) = rows.first() else { continue };
        by_meter.entry((log.rows[first].meter, log.rows[first].band)).or_default().push((rows, what));
    }
    let finding = |rows: &[usize], what: String| log.finding(port::SEVERITY, rows, what, port::WHY, action);
    let tell = |all: Vec<(Vec<usize>, String)>| -> Vec<Finding> {
        if all.len() <= FEW {
            return all.into_iter().map(|(rows, what)| finding(&rows, what)).collect();
        }
        let what = format!("{} {of_what}, the first: {}", all.len(), all[0].1);
        vec![finding(&all.into_iter().flat_map(|(rows, _)| rows).collect::<Vec<_>>(), what)]
    };
    by_meter.into_values().flat_map(tell).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::super::audit;
    use super::*;
    use crate::season::Season;

    /// What the rule of that name says of a season, given as the text of its two files.
    pub fn found(rule: &str, config: &str, readings: &str) -> Vec<String> {
        findings(rule, config, readings).into_iter().map(|f| f.what).collect()
    }

    /// The same, as findings.
    pub fn findings(rule: &str, config: &str, readings: &str) -> Vec<Finding> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("season.toml"), config).unwrap();
        std::fs::write(folder.path().join("log.csv"), readings).unwrap();
        let season = Season::load(folder.path()).unwrap_or_else(|e| panic!("{e}"));
        let audit = audit(&season).unwrap();
        assert!(RULES.iter().any(|r| r.name == rule), "no rule `{rule}`");
        audit.findings.into_iter().map(|j| j.finding).filter(|f| f.rule == rule).collect()
    }

    #[test]
    fn every_rule_has_a_name_of_its_own_a_question_and_a_source() {
        let names: BTreeSet<&str> = RULES.iter().map(|r| r.name).collect();
        assert_eq!(names.len(), RULES.len());
        assert!(RULES.iter().all(|r| r.asks.len() > 20 && r.source.len() > 10));
    }
}
