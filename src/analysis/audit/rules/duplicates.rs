//! The same reading twice in the log.

use super::super::Rule;
use super::super::alarms::Test;
use super::super::log::{Log, group};
use crate::season::finding::{Finding, Group, Severity};
use crate::stats::coincidence::{agreement, at_least};

/// The rule.
pub const RULE: Rule = Rule {
    name: "duplicate",
    group: Group::Suspect,
    asks: "two rows of one meter at one moment: the same row twice, or one corrected and left beside its correction",
    source: "common practice, no source; where times are coarse, the chance of agreement of rounded readings",
    beside_verdicts: true,
    check,
};

/// Rows that share a moment are odd only where few do: up to this share of those with a time of day.
const FEW: f64 = 0.02;

const DAY: i64 = 86_400_000_000;

fn check(log: &Log) -> Vec<Finding> {
    let timed: Vec<usize> =
        (0..log.rows.len()).filter(|&i| log.rows[i].when.is_some_and(|t| t.rem_euclid(DAY) != 0)).collect();
    let moments = group(&timed, |i| {
        let r = &log.rows[i];
        (r.session, r.antenna, r.band, r.meter, r.quantity, r.mounting, r.when)
    });
    let shared: Vec<&Vec<usize>> = moments.iter().filter(|m| m.len() > 1).collect();
    if shared.is_empty() {
        return vec![];
    }
    let value = |row: usize| log.rows[row].value;
    let few = shared.iter().map(|m| m.len() - 1).sum::<usize>() as f64 <= FEW * timed.len() as f64;
    let (equal, unequal): (Vec<&Vec<usize>>, Vec<&Vec<usize>>) =
        shared.iter().partition(|m| m.iter().all(|&i| value(i) == value(m[0])));
    let chances: Vec<f64> = shared.iter().map(|m| chance(log, m[0])).collect();
    let beyond_chance = at_least(&chances, equal.len()) <= Test::Copies.level(10);
    let mut out = vec![];
    if !equal.is_empty() && (few || beyond_chance) {
        let rows: Vec<usize> = equal.iter().flat_map(|m| m.iter().copied()).collect();
        let extra = rows.len() - equal.len();
        let what = if extra == 1 {
            let (first, second) = (rows[0], rows[1]);
            format!(
                "{} for {} ({}) stands twice: the same value, mounting and moment on {} and {}",
                log.written(first),
                log.antenna(first),
                log.label(first),
                log.place(first, None),
                log.place(second, None)
            )
        } else {
            format!(
                "{extra} rows stand a second time: the same value, mounting and moment, first {}",
                log.place(rows[0], None)
            )
        };
        let why = "a row that counts twice weighs twice, and makes the scatter of readings look smaller than it is";
        out.push(log.finding(Severity::Warning, &rows, what, why, "kept; take the second away if it is a copy"));
    }
    if few {
        for moment in unequal {
            let values: Vec<String> = moment.iter().map(|&i| log.written(i)).collect();
            let row = moment[0];
            let what = format!(
                "{} for {} ({}) stand at one moment of one mounting",
                values.join(" and "),
                log.antenna(row),
                log.label(row)
            );
            let why = "one may be the correction of the other, and the wrong one still counts";
            let action = "kept; take the wrong one away, or mend its time";
            out.push(log.finding(Severity::Warning, moment, what, why, action));
        }
    }
    out
}

/// The largest chance that one more reading like a row's shows the same.
fn chance(log: &Log, row: usize) -> f64 {
    let levels = log.levels.iter().find(|l| l.step.contains_key(&row));
    let sd = levels.and_then(|l| l.reading_sd.get(&log.rows[row].antenna).copied());
    levels.zip(sd).map_or(1.0, |(l, sd)| agreement(sd, l.step[&row]))
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, csv, log};
    use super::super::tests::findings;

    #[test]
    fn a_row_that_stands_twice_is_named_on_both_lines() {
        let mut lines = log(5);
        assert!(findings("duplicate", CONFIG, &csv(&lines)).is_empty());
        lines.push(lines[20].clone());
        let found = findings("duplicate", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].place.line, found[0].others[0].line), (Some(22), Some(lines.len() + 1)));
        assert!(found[0].what.contains("stands twice"), "{}", found[0].what);
    }

    #[test]
    fn a_correction_beside_what_it_corrects_is_named() {
        let mut lines = log(5);
        let mut again = lines[20].clone();
        again.value += 0.3;
        lines.push(again);
        let found = findings("duplicate", CONFIG, &csv(&lines));
        assert!(found.len() == 1 && found[0].what.contains("stand at one moment"), "{found:?}");
    }

    #[test]
    fn coarse_times_make_no_duplicates() {
        let mut lines = log(5);
        lines.iter_mut().for_each(|l| l.minute -= l.minute % 10);
        assert!(findings("duplicate", CONFIG, &csv(&lines)).is_empty());
    }
}
