//! Last digits that are the writer's rather than the display's.

use super::super::Rule;
use super::super::alarms::Test;
use super::super::log::Log;
use crate::montecarlo::stream::stream;
use crate::season::finding::{Finding, Group, Severity};
use crate::stats::digits::{Digits, Shown, coarser_step, last_digits};

/// The rule.
pub const RULE: Rule = Rule {
    name: "digit habit",
    group: Group::Suspect,
    asks: "last digits that fall on 0 and 5, or on even ones, more than rounding makes them: a scale read more coarsely than its display",
    source: "χ² of last digits against simulated rounding (src/stats/digits.rs)",
    beside_verdicts: false,
    check,
};

/// Readings looked at: enough to see a habit, few enough to be quick.
const MOST: usize = 2000;
const TRIALS: usize = 200;

/// Readings that scatter by fewer steps than this are left aside: their digits follow their size, and what is
/// expected of them is itself rounded.
const LEAST_STEPS: f64 = 1.5;

fn check(log: &Log) -> Vec<Finding> {
    let mut kinds: Vec<(usize, usize)> = vec![];
    let mut rows: Vec<Vec<(usize, usize)>> = vec![];
    for (set, log_set) in log.sets.iter().enumerate() {
        for &row in &log_set.rows {
            let kind = (log.rows[row].meter, log.rows[row].quantity);
            let at = kinds.iter().position(|k| *k == kind).unwrap_or_else(|| {
                kinds.push(kind);
                rows.push(vec![]);
                kinds.len() - 1
            });
            rows[at].push((set, row));
        }
    }
    let level = Test::Digits.level(kinds.len());
    let mut out = vec![];
    for (number, rows) in rows.iter().enumerate() {
        let every = rows.len().div_ceil(MOST);
        let shown: Vec<Shown> = rows.iter().step_by(every).filter_map(|&(set, row)| shown(log, set, row)).collect();
        let digits = last_digits(&shown, TRIALS, &mut stream(1, 1, number as u64));
        // where every reading of a declared display is coarse, the rule about the declared digit speaks
        let all_coarse = |d: &Digits| coarser_step(&d.counts, 1.0) > 1 && log.sets[rows[0].0].set.resolution_declared;
        if let Some(digits) = digits.filter(|d| d.p <= level && !all_coarse(d)) {
            let rows: Vec<usize> = rows.iter().map(|r| r.1).collect();
            out.push(finding(log, &rows, &digits));
        }
    }
    out
}

/// A reading and what is expected of it, in steps of its display; a summarised row's mean has no digits of its
/// own.
fn shown(log: &Log, set: usize, row: usize) -> Option<Shown> {
    let r = &log.rows[row];
    let levels = &log.levels[set];
    let expected = levels.expect(r.session, r.antenna, levels.mounting_of.get(&row).copied(), row)?;
    let step = log.resolution(row);
    let value = super::super::levels::to_shown(&log.sets[set], expected.value);
    let sd = expected.sd / levels.step[&row];
    (r.readings == 1.0 && step > 0.0 && sd >= LEAST_STEPS && !levels.out.contains(&row)).then(|| Shown {
        steps: (r.value / step).round() as i64,
        expected: value / step,
        sd,
    })
}

fn finding(log: &Log, rows: &[usize], digits: &Digits) -> Finding {
    let total: f64 = digits.counts.iter().sum();
    let most = (0..10)
        .max_by(|&a, &b| (digits.counts[a] - digits.expected[a]).total_cmp(&(digits.counts[b] - digits.expected[b])));
    let most = most.unwrap_or(0);
    let (meter, quantity) = (log.meter(rows[0]), log.quantity(rows[0]).replace("_", " "));
    let coarse = coarser_step(&digits.counts, 0.9);
    let seen = if coarse > 1 {
        format!("nearly all of them are multiples of {coarse} of its last digit")
    } else {
        format!(
            "{:.0} of {total:.0} end in {most}, where rounding makes {:.0}",
            digits.counts[most], digits.expected[most]
        )
    };
    let what = format!("{quantity} by {meter} is read more coarsely than its display: {seen}");
    let why =
        "rounding to a coarser step than the display's is a floor under the scatter that the intervals don't know of";
    let action = "kept; declare the step that was really read as the meter's `resolution`";
    log.finding(Severity::Warning, &rows[..1], what, why, action).endangering(log.stakes(rows))
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, csv, log};
    use super::super::tests::findings;

    #[test]
    fn a_scale_read_in_halves_is_seen_and_the_step_named() {
        let mut lines = log(8);
        assert!(findings("digit habit", CONFIG, &csv(&lines)).is_empty());
        lines
            .iter_mut()
            .filter(|l| l.quantity == "field_strength")
            .for_each(|l| l.value = (l.value * 2.0).round() / 2.0);
        let found = findings("digit habit", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].what.contains("field strength by field") && found[0].what.contains("multiples of 5"));
    }
}
