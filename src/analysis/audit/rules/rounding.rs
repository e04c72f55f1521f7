//! Values written coarser, or finer, than the display is declared to show.

use std::collections::BTreeSet;

use super::super::Rule;
use super::super::log::{Log, LogSet};
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "declared digit",
    group: Group::Suspect,
    asks: "readings coarser than the declared last digit of their meter, or finer",
    source: "chance of m different values all on a grid g times coarser, g^(1−m)",
    beside_verdicts: false,
    check,
};

/// How many digits coarser is looked for, and how unlikely by chance it must be.
const COARSER: [f64; 4] = [10.0, 5.0, 4.0, 2.0];
const CHANCE: f64 = 1e-5;

fn check(log: &Log) -> Vec<Finding> {
    log.sets
        .iter()
        .filter(|s| s.set.resolution_declared)
        .flat_map(|s| [coarse(log, s), fine(log, s)])
        .flatten()
        .collect()
}

/// Single readings of the set whose written digits are in the quantity's own unit.
fn single(log: &Log, set: &LogSet) -> Vec<usize> {
    let plain = |i: &usize| {
        let r = &log.rows[*i];
        let digits = r.step.log10();
        r.readings == 1.0 && (digits - digits.round()).abs() < 1e-6
    };
    set.rows.iter().copied().filter(plain).collect()
}

fn on_grid(value: f64, step: f64) -> bool {
    let n = value / step;
    (n - n.round()).abs() < 1e-6 * n.abs().max(1.0)
}

fn coarse(log: &Log, set: &LogSet) -> Option<Finding> {
    let (rows, digit) = (single(log, set), set.set.resolution);
    let different: BTreeSet<i64> = rows.iter().map(|&i| (log.rows[i].value / digit).round() as i64).collect();
    let by = COARSER.into_iter().find(|g| {
        rows.iter().all(|&i| on_grid(log.rows[i].value, g * digit)) && g.powf(1.0 - different.len() as f64) < CHANCE
    })?;
    let shown = by * digit;
    let what = format!(
        "all {} readings of {} are multiples of {}, where {digit} is declared",
        rows.len(),
        set.label(),
        tidy(shown)
    );
    let why = "rounding is wider than declared, and no interval knows of it";
    let action =
        format!("if the display shows no more, or the digit was not read, declare `resolution` {}", tidy(shown));
    Some(log.finding(Severity::Warning, &rows, what, why, action))
}

fn fine(log: &Log, set: &LogSet) -> Option<Finding> {
    let digit = set.set.resolution;
    let rows: Vec<usize> = single(log, set).into_iter().filter(|&i| !on_grid(log.rows[i].value, digit)).collect();
    let &first = rows.first()?;
    let what = format!(
        "{} of {} ({}): the display is declared to show multiples of {digit}",
        if rows.len() > 1 {
            format!("{} readings, the first {},", rows.len(), log.written(first))
        } else {
            log.written(first)
        },
        log.antenna(first),
        set.label()
    );
    let why = "either the digit declared is too coarse, or this number was not read from that display";
    Some(log.finding(Severity::Warning, &rows, what, why, "check `resolution` of the meter, and the reading"))
}

/// A step without the dust of binary fractions.
fn tidy(step: f64) -> String {
    format!("{:.9}", step).trim_end_matches('0').trim_end_matches('.').to_string()
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    fn season(values: &[f64], decimals: usize) -> Vec<String> {
        let rows: String =
            values.iter().enumerate().map(|(i, v)| format!("d1,a{},2 m,inline,swr,{v:.decimals$}\n", i % 3)).collect();
        let config = "[[meter]]\nname = \"inline\"\nresolution = { swr = 0.01 }\n";
        found("declared digit", config, &format!("session,antenna,band,meter,quantity,value\n{rows}"))
    }

    #[test]
    fn readings_to_a_tenth_where_a_hundredth_is_declared_are_told() {
        let coarse: Vec<f64> = (0..12).map(|i| 1.1 + 0.1 * f64::from(i)).collect();
        let words = season(&coarse, 2);
        assert!(words.len() == 1 && words[0].contains("multiples of 0.1"), "{words:#?}");
        // six values by chance on a tenth: 10⁻⁵ is not reached
        assert!(season(&coarse[..6], 2).is_empty());
        let fine: Vec<f64> = (0..12).map(|i| 1.13 + 0.07 * f64::from(i)).collect();
        assert!(season(&fine, 2).is_empty());
        assert!(season(&fine, 3).is_empty()); // a trailing zero adds no digit that isn't there
    }

    #[test]
    fn a_digit_the_display_cannot_show_is_told() {
        assert_eq!(season(&[1.512, 1.6], 3).len(), 1);
    }
}
