//! Forward power against the battery that gives it.
//!
//! A radio's output follows its supply somewhere between not at all (regulated) and twice as steeply as
//! V² (sagging under load). Between two mountings of one antenna in one session the power in dB may
//! therefore move from 0 to 2·20·log10(V₂/V₁), and by its scatter beside that; else something else moved.

use super::super::Rule;
use super::super::log::{Log, LogSet, group};
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "power and battery",
    group: Group::Suspect,
    asks: "a forward power that moved against its battery, or a battery voltage unlike its session's",
    source: "P ∝ V² of a load of fixed resistance; how steeply hand-helds follow it: common practice, no source",
    beside_verdicts: false,
    check,
};

/// Steps of power beyond what the battery explains are told above so many usual ones, and above this, dB.
const BEYOND: f64 = 7.0;
const LEAST_DB: f64 = 0.5;

/// Fewer steps than this don't say what is usual.
const LEAST_STEPS: usize = 8;

/// No battery of a hand-held changes by this factor in a session and still works the radio.
const FACTOR: f64 = 1.4;

fn check(log: &Log) -> Vec<Finding> {
    let mut out = voltages(log);
    for set in log.sets.iter().filter(|s| s.set.quantity.name == "forward_power") {
        out.extend(powers(log, set));
    }
    out
}

/// Voltages unlike the median of their session's.
fn voltages(log: &Log) -> Vec<Finding> {
    let with: Vec<usize> = (0..log.rows.len()).filter(|&i| log.rows[i].battery.is_some()).collect();
    let mut out = vec![];
    for session in group(&with, |i| log.rows[i].session) {
        let mut all: Vec<f64> = session.iter().filter_map(|&i| log.rows[i].battery).collect();
        all.sort_unstable_by(f64::total_cmp);
        let median = all[all.len() / 2];
        let odd = |i: &usize| {
            let v = log.rows[*i].battery.unwrap_or(median);
            !(v * FACTOR > median && v < median * FACTOR)
        };
        let rows: Vec<usize> = session.iter().copied().filter(odd).collect();
        let Some(volts) = rows.first().and_then(|&i| log.rows[i].battery) else { continue };
        let what = format!("battery {volts} V in session {}, where it is mostly {median} V", log.session(rows[0]));
        let why = "what a weak battery spoiled is looked for by its voltage";
        let mut finding = log.finding(Severity::Warning, &rows, what, why, "kept; correct the voltage");
        finding.endangers.clear();
        finding.place.column = Some("battery".into());
        out.push(finding);
    }
    out
}

/// One step from a mounting to the next of the same antenna in the session.
struct Step {
    rows: Vec<usize>,
    /// Power, dB.
    power: f64,
    /// Battery as 20·log10, dB.
    battery: f64,
}

impl Step {
    /// How far the power moved beyond what the battery explains.
    fn unexplained(&self) -> f64 {
        let (low, high) = ((2.0 * self.battery).min(0.0), (2.0 * self.battery).max(0.0));
        if self.power < low { low - self.power } else { (self.power - high).max(0.0) }
    }
}

fn powers(log: &Log, set: &LogSet) -> Vec<Finding> {
    let mut steps = vec![];
    let order: Vec<usize> = (0..set.mountings.len()).collect();
    for visit in group(&order, |m| (set.set.mountings[m].session, set.set.mountings[m].antenna)) {
        for pair in visit.windows(2) {
            let [a, b] = [pair[0], pair[1]].map(|m| battery(log, &set.mountings[m]));
            let (Some(a), Some(b)) = (a, b) else { continue };
            let rows = [set.mountings[pair[0]].clone(), set.mountings[pair[1]].clone()].concat();
            let power = set.set.mountings[pair[1]].mean - set.set.mountings[pair[0]].mean;
            steps.push(Step { rows, power, battery: 20.0 * (b / a).log10() });
        }
    }
    if steps.len() < LEAST_STEPS {
        return vec![];
    }
    let mut sizes: Vec<f64> = steps.iter().map(|s| s.power.abs()).collect();
    sizes.sort_unstable_by(f64::total_cmp);
    let usual = 1.4826 * sizes[sizes.len() / 2];
    let limit = (BEYOND * usual).max(LEAST_DB);
    let odd = steps.iter().filter(|s| s.unexplained() > limit);
    let signed = |db: f64| format!("{db:+.1}").replace('-', "−");
    odd.map(|s| {
        let first = s.rows[0];
        let what = format!(
            "forward power of {} in session {} ({}) moved by {} dB between two mountings, where its battery explains {}",
            log.antenna(first),
            log.session(first),
            set.label(),
            signed(s.power),
            if s.battery.abs() < 0.05 { "nothing".into() } else { format!("at most {} dB", signed(2.0 * s.battery)) }
        );
        let why = "what moved the power moves the field strength with it";
        let action = "kept; look for a loose connector, another power setting, a hot radio, or a slip";
        log.finding(Severity::Warning, &s.rows, what, why, action)
    })
    .collect()
}

/// Mean battery of a mounting, where it was read.
fn battery(log: &Log, rows: &[usize]) -> Option<f64> {
    let all: Vec<f64> = rows.iter().filter_map(|&i| log.rows[i].battery).filter(|v| *v > 0.0).collect();
    (!all.is_empty()).then(|| all.iter().sum::<f64>() / all.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    /// Nine antennas, two mountings each; the power of the last falls by `db` while the battery goes to `volts`.
    fn season(db: f64, volts: f64) -> Vec<String> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting,battery\n");
        for a in 0..9 {
            let shift = if a == 8 { db } else { 0.02 * f64::from(a % 3) };
            let (first, second) = (4.5, 4.5 * 10f64.powf(shift / 10.0));
            let v = if a == 8 { volts } else { 7.9 };
            text += &format!("d1,a{a},2 m,inline,forward_power,{first:.2},1,8.0\n");
            text += &format!("d1,a{a},2 m,inline,forward_power,{second:.2},2,{v}\n");
        }
        found("power and battery", "", &text)
    }

    #[test]
    fn a_power_that_falls_with_its_battery_is_explained_and_one_that_falls_alone_is_not() {
        assert!(season(-1.5, 7.2).is_empty(), "{:#?}", season(-1.5, 7.2)); // V² alone: −0.9 dB, twice that −1.8
        let words = season(-1.5, 7.9);
        assert!(words.len() == 1 && words[0].contains("−1.5 dB"), "{words:#?}");
        assert_eq!(season(1.5, 7.2).len(), 1);
    }

    #[test]
    fn a_voltage_unlike_its_session_is_told() {
        let words = season(0.0, 79.0);
        assert!(words.len() == 1 && words[0].contains("battery 79 V"), "{words:#?}");
    }
}
