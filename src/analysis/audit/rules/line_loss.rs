//! More power back than was sent, once the declared loss of the line is taken out.

use super::super::Rule;
use super::super::log::Log;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "line loss",
    group: Group::Impossible,
    asks: "a reflection that, corrected for the declared line loss, is 1 or more",
    source: "|Γ| < 1 of a passive load; the line is crossed twice: D. M. Pozar, Microwave Engineering, 4th ed. (2012), 2.3 and 2.7 (from memory)",
    beside_verdicts: true,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    let mut out = vec![];
    for s in log.sets.iter().filter(|s| s.set.quantity.is_reflection() && s.set.line_factor > 1.0) {
        for (a, antenna) in s.set.antennas.iter().enumerate() {
            let own = || s.set.mountings.iter().filter(move |m| m.antenna == a);
            let mean = own().map(|m| m.readings * m.mean).sum::<f64>() / own().map(|m| m.readings).sum::<f64>();
            if !(mean >= 1.0) {
                continue;
            }
            let rows: Vec<usize> = s.rows.iter().copied().filter(|&i| log.antenna(i) == antenna).collect();
            let what = format!(
                "{} on {}: corrected for the declared line loss, more power comes back from {antenna} than was sent",
                s.set.meter, s.set.band
            );
            let why = "no passive antenna does that: the declared loss, or the reading, is too high";
            let action = "it is shown at the end of the SWR scale; check the line's loss";
            out.push(log.finding(Severity::Warning, &rows, what, why, action));
        }
    }
    out
}
