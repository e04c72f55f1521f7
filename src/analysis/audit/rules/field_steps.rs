//! Field strengths that step between two mountings of one visit by more than their match, and the power
//! behind them, can explain.
//!
//! A worse match sends back at most the difference of the two mismatch losses, −10·log10(1 − |Γ|²) (SWR
//! 1 to 3: 1.25 dB); a change of power counts dB for dB. More must come from elsewhere: the connector, the
//! counterpoise, the site, a hand.

use std::collections::HashMap;

use super::super::Rule;
use super::super::log::{Log, LogSet, group};
use crate::radio::reflection::mismatch_loss_db;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "field step",
    group: Group::Suspect,
    asks: "a field strength that steps between two mountings of a visit by more than match and power explain",
    source: "mismatch loss −10·log10(1 − |Γ|²): D. M. Pozar, Microwave Engineering, 4th ed. (2012), 2.3 (from memory)",
    beside_verdicts: false,
    check,
};

/// Unexplained steps are told above so many usual ones, and above this, dB.
const BEYOND: f64 = 8.0;
const LEAST_DB: f64 = 1.5;

/// A step of fewer last digits is never told: a display too coarse to show the usual ones hides them.
const DIGITS: f64 = 4.0;

/// Fewer steps than this don't say what is usual.
const LEAST_STEPS: usize = 8;

/// What else was read on a mounting.
#[derive(Default)]
struct Beside {
    reflections: Vec<f64>,
    powers: Vec<f64>,
}

fn check(log: &Log) -> Vec<Finding> {
    let beside = beside(log);
    log.sets.iter().filter(|s| s.set.quantity.name == "field_strength").flat_map(|s| steps(log, s, &beside)).collect()
}

type Key = (usize, usize, usize, Option<i64>);

fn key(log: &Log, row: usize) -> Key {
    let r = &log.rows[row];
    (r.session, r.antenna, r.band, r.mounting)
}

/// |Γ| at the antenna and power in dB, by mounting, of every meter.
fn beside(log: &Log) -> HashMap<Key, Beside> {
    let mut all: HashMap<Key, Beside> = HashMap::new();
    for set in &log.sets {
        let reflection = set.set.quantity.is_reflection();
        if !reflection && set.set.quantity.name != "forward_power" {
            continue;
        }
        for (mounting, rows) in set.set.mountings.iter().zip(&set.mountings) {
            let one = all.entry(key(log, rows[0])).or_default();
            if reflection {
                one.reflections.push(mounting.mean.clamp(0.0, 0.99))
            } else {
                one.powers.push(mounting.mean)
            }
        }
    }
    all
}

struct Step {
    rows: Vec<usize>,
    field: f64,
    /// What match and power explain of it, at most.
    explained: f64,
}

fn steps(log: &Log, set: &LogSet, beside: &HashMap<Key, Beside>) -> Vec<Finding> {
    let order: Vec<usize> = (0..set.mountings.len()).collect();
    let mut steps = vec![];
    for visit in group(&order, |m| (set.set.mountings[m].session, set.set.mountings[m].antenna)) {
        for pair in visit.windows(2) {
            let rows = [set.mountings[pair[0]].clone(), set.mountings[pair[1]].clone()].concat();
            let field = set.set.mountings[pair[1]].mean - set.set.mountings[pair[0]].mean;
            let both = [pair[0], pair[1]].map(|m| beside.get(&key(log, set.mountings[m][0])));
            steps.push(Step { rows, field, explained: explained(both) });
        }
    }
    if steps.len() < LEAST_STEPS {
        return vec![];
    }
    let mut sizes: Vec<f64> = steps.iter().map(|s| s.field.abs()).collect();
    sizes.sort_unstable_by(f64::total_cmp);
    // rounding alone moves a step by a digit
    let limit = (BEYOND * 1.4826 * sizes[sizes.len() / 2]).max(LEAST_DB).max(DIGITS * set.set.resolution);
    let odd = steps.iter().filter(|s| s.field.abs() - s.explained > limit);
    odd.map(|s| {
        let first = s.rows[0];
        let what = format!(
            "field strength of {} in session {} ({}) steps by {} dB between two mountings, where match and power explain at most {:.1} dB",
            log.antenna(first),
            log.session(first),
            set.label(),
            format!("{:+.1}", s.field).replace('-', "−"),
            s.explained
        );
        let why = "one such step is most of what the mountings of its set scatter by";
        let action = "kept; look for a loose connector, a moved stand or tail, somebody near, or a slip";
        log.finding(Severity::Warning, &s.rows, what, why, action)
    })
    .collect()
}

/// The most that match and power can move the field between two mountings, dB; 0 where neither was read.
fn explained(both: [Option<&Beside>; 2]) -> f64 {
    let [Some(a), Some(b)] = both else { return 0.0 };
    let loss = |one: &Beside| one.reflections.iter().map(|r| mismatch_loss_db(*r)).reduce(f64::max);
    let least = |one: &Beside| one.reflections.iter().map(|r| mismatch_loss_db(*r)).reduce(f64::min);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let matched = match (loss(a), least(a), loss(b), least(b)) {
        (Some(a_most), Some(a_least), Some(b_most), Some(b_least)) => (a_most - b_least).max(b_most - a_least).max(0.0),
        _ => 0.0,
    };
    let power =
        if a.powers.is_empty() || b.powers.is_empty() { 0.0 } else { (mean(&b.powers) - mean(&a.powers)).abs() };
    matched + power
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    /// Nine antennas, two mountings each; the field of the last falls by 3 dB, its SWR goes to `swr` and its
    /// power to `watts`.
    fn season(swr: f64, watts: f64) -> Vec<String> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for a in 0..9 {
            for mounting in 1..=2 {
                let last = a == 8 && mounting == 2;
                let field = if last { -33.0 } else { -30.0 + 0.1 * f64::from((a * mounting) % 4) };
                let (swr, watts) = if last { (swr, watts) } else { (1.2, 4.5) };
                text += &format!("d1,a{a},2 m,field,field_strength,{field:.1},{mounting}\n");
                text += &format!("d1,a{a},2 m,inline,swr,{swr:.2},{mounting}\n");
                text += &format!("d1,a{a},2 m,inline,forward_power,{watts:.2},{mounting}\n");
            }
        }
        found("field step", "", &text)
    }

    #[test]
    fn a_step_is_told_where_neither_match_nor_power_explains_it() {
        let words = season(1.2, 4.5);
        assert!(words.len() == 1 && words[0].contains("a8"), "{words:#?}");
        assert!(season(1.2, 2.3).is_empty(), "half the power explains 3 dB");
        assert!(season(5.0, 4.5).is_empty(), "SWR 5 loses 2.5 dB");
        assert_eq!(season(2.0, 4.5).len(), 1, "SWR 2 loses half a dB only");
    }
}
