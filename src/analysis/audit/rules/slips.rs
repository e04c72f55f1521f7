//! Typing slips: a reading that does not fit and would, after one edit.

use super::super::Rule;
use super::super::edits::{Edit, Kind};
use super::super::log::Log;
use super::outliers::{odd_readings, place_words};
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
    for odd in odd_readings(log) {
        let row = odd.departed.rows[0];
        if told.contains(&row) {
            continue;
        }
        let Some(best) = odd.edits.first() else { continue };
        let mut rows = vec![row];
        rows.extend(best.with);
        told.extend(&rows);
        let what = format!(
            "{}; it would fit {}{}",
            place_words(log, odd.set, odd.departed),
            best.words,
            odd.edits.get(1).map_or(String::new(), |next| format!("; or {}", next.words))
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

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, Line, at, csv, log};
    use super::super::tests::findings;

    /// The one finding of a log with one value changed.
    fn said(session: usize, antenna: &str, quantity: &str, slip: impl Fn(f64) -> f64) -> String {
        let mut lines = log(5);
        let i = at(&lines, session, antenna, 2, quantity)[0];
        lines[i].value = slip(lines[i].value);
        let found = findings("typing slip", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].place.line, Some(i + 2));
        found[0].what.clone()
    }

    #[test]
    fn a_moved_point_is_offered_back() {
        let what = said(3, "robin", "swr", |v| v * 10.0);
        assert!(what.contains("the decimal point moved"), "{what}");
    }

    #[test]
    fn a_lost_sign_is_offered_back() {
        let what = said(1, "wren", "field_strength", |v| -v);
        assert!(what.contains("the sign added"), "{what}");
    }

    #[test]
    fn a_lost_digit_is_offered_back() {
        // −32.4 → −3.4 or the like: the tens or the units were left out
        let what = said(1, "wren", "field_strength", |v| -(v.abs() - 30.0));
        assert!(what.contains("a digit added"), "{what}");
    }

    #[test]
    fn a_return_loss_in_the_place_of_an_swr_is_told_by_its_unit() {
        let what = said(2, "wren", "swr", |v| (-20.0 * ((v - 1.0) / (v + 1.0)).log10() * 100.0).round() / 100.0);
        assert!(what.contains("dB of return loss"), "{what}");
    }

    #[test]
    fn two_antennas_readings_exchanged_are_one_finding_on_both_lines() {
        let mut lines = log(5);
        let (i, j) = (at(&lines, 2, "wren", 2, "field_strength")[0], at(&lines, 2, "siskin", 2, "field_strength")[0]);
        (lines[i].value, lines[j].value) = (lines[j].value, lines[i].value);
        let found = findings("typing slip", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].what.contains("exchanged with"), "{}", found[0].what);
        assert_eq!((found[0].place.line, found[0].others[0].line), (Some(i + 2), Some(j + 2)));
        assert!(findings("outlier", CONFIG, &csv(&lines)).is_empty());
    }

    #[test]
    fn a_steady_log_has_no_slip_and_none_is_ever_applied() {
        let lines: Vec<Line> = log(5);
        assert!(findings("typing slip", CONFIG, &csv(&lines)).is_empty());
    }
}
