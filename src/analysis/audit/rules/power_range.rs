//! Forward powers that no hand-held gives: a wrong unit or a slipped point, most often.

use super::super::Rule;
use super::super::log::Log;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "power of a hand-held",
    group: Group::Suspect,
    asks: "a forward power outside what hand-held radios give",
    source: "0.1 to 8 W: common practice, no source",
    beside_verdicts: false,
    check,
};

/// What hand-helds give, W, with a fifth for the meter's own error.
const LEAST: f64 = 0.1 / 1.2;
const MOST: f64 = 8.0 * 1.2;

fn check(log: &Log) -> Vec<Finding> {
    let mut out = vec![];
    for set in log.sets.iter().filter(|s| s.set.quantity.name == "forward_power") {
        let odd: Vec<usize> =
            set.rows.iter().copied().filter(|&i| !(LEAST..=MOST).contains(&log.rows[i].value)).collect();
        let Some(&first) = odd.first() else { continue };
        let many = if odd.len() > 1 {
            format!("{} forward powers, the first {}", odd.len(), log.written(first))
        } else {
            format!("a forward power of {}", log.written(first))
        };
        let what = format!("{many} ({}, {}): hand-helds give 0.1 to 8 W", log.label(first), log.antenna(first));
        let why = "a power in another unit, or with its point slipped, moves its antenna by many dB";
        out.push(log.finding(Severity::Warning, &odd, what, why, "kept; check unit and decimal point"));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    #[test]
    fn a_power_of_four_hundred_watts_is_a_slip() {
        let log =
            |watts: &str| format!("session,antenna,band,meter,quantity,value\nd1,a,2 m,m,forward_power,{watts}\n");
        assert_eq!(found("power of a hand-held", "", &log("450")).len(), 1);
        assert_eq!(found("power of a hand-held", "", &log("0.0045")).len(), 1);
        for fine in ["0.1", "4.5", "8", "4500 mW", "37 dBm"] {
            assert!(found("power of a hand-held", "", &log(fine)).is_empty(), "{fine}");
        }
    }
}
