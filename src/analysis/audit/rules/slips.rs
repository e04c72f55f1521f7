//! Typing slips: a reading that does not fit and would, after one edit.

use super::super::Rule;
use super::super::edits::{Edit, Kind, edits};
use super::super::log::Log;
use super::outliers::{place_words, single_readings};
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "typing slip",
    group: Group::Suspect,
    asks: "a reading that does not fit, and would after one edit: the decimal point moved, digits swapped, the sign, a digit lost or doubled, another unit, another antenna's, another band's, two lines exchanged",
    source: "which readings: as for outliers; which edits: common practice, no source",
    beside_verdicts: true,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    let mut out = vec![];
    let mut told: Vec<usize> = vec![];
    for (set, departed) in single_readings(log) {
        let row = departed.rows[0];
        if told.contains(&row) {
            continue;
        }
        let found = edits(log, set, row);
        let Some(best) = found.first() else { continue };
        let mut rows = vec![row];
        rows.extend(best.with);
        told.extend(&rows);
        let what = format!(
            "{}; it would fit {}{}",
            place_words(log, set, departed),
            best.words,
            found.get(1).map_or(String::new(), |next| format!("; or {}", next.words))
        );
        let why = "one such reading widens every interval of its set, and can hide all its differences";
        out.push(log.finding(Severity::Warning, &rows, what, why, action(best)));
    }
    out
}

fn action(edit: &Edit) -> &'static str {
    match edit.kind {
        Kind::Exchange => "kept as written; if the record sheet agrees, put each value on its own line",
        Kind::Antenna | Kind::Band | Kind::Quantity => {
            "kept as written; if the record sheet agrees, move it to where it belongs, or leave it out on the record"
        }
        _ => "kept as written; correct it if the record sheet or your memory agrees, or leave it out on the record",
    }
}
