//! Sets of more antennas than can be compared in a time anyone waits for.

use super::super::Rule;
use super::super::log::{Log, MOST_ANTENNAS};
use crate::season::finding::{Finding, Group, Place, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "too many antennas",
    group: Group::Suspect,
    asks: "a set of more antennas than can be compared at once",
    source: "a limit of this program",
    beside_verdicts: true,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    let large = log.sets.iter().filter(|s| s.set.antennas.len() > MOST_ANTENNAS);
    large
        .map(|s| {
            let place = Place { file: "readings".into(), line: None, column: Some("antenna".into()) };
            let what = format!(
                "{} antennas in one set ({}), where at most {MOST_ANTENNAS} can be compared at once",
                s.set.antennas.len(),
                s.label()
            );
            let why = "the work grows with the cube of their number";
            let action = "the set is not analysed; is each name an antenna, and not a reading's number or a date?";
            Finding::new(Severity::Error, place, what, why, action).endangering(vec![s.stake(&[])])
        })
        .collect()
}
