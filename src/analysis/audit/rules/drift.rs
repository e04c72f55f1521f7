//! A session that drifts along its running order.

use super::super::Rule;
use super::super::levels::Drift;
use super::super::log::Log;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "drift",
    group: Group::Suspect,
    asks: "readings of a session that go up or down along its running order or time, antennas taken out",
    source: "least squares with the place in the order as a column, t exact for normal scatter (Searle, Linear Models, 1971); battery to power: P goes as V², trade practice",
    beside_verdicts: true,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    let mut out = vec![];
    for session in 0..log.sessions.len() {
        let drifts: Vec<(usize, &Drift)> = log
            .levels
            .iter()
            .enumerate()
            .flat_map(|(set, l)| l.drifts.iter().map(move |d| (set, d)))
            .filter(|(_, d)| d.session == session)
            .collect();
        if !drifts.is_empty() {
            out.push(finding(log, session, &drifts));
        }
    }
    out
}

fn finding(log: &Log, session: usize, drifts: &[(usize, &Drift)]) -> Finding {
    let cases: Vec<String> = drifts
        .iter()
        .map(|&(set, d)| {
            let s = &log.sets[set];
            format!("{} by {}", s.label(), log.levels[set].shown_difference(s, d.change))
        })
        .collect();
    let falls = |name: &str| drifts.iter().any(|&(set, d)| log.sets[set].set.quantity.name == name && d.change < 0.0);
    let cause = if falls("forward_power") && falls("field_strength") {
        "; power and field strength fall together, as with a weak battery or a hot radio"
    } else if falls("forward_power") {
        "; the radio gives less and less, as with a weak battery or heat"
    } else if drifts.iter().all(|&(set, _)| log.sets[set].set.quantity.is_reflection()) {
        "; reflections alone drift, as with a loosening connector or a meter that warms"
    } else {
        ""
    };
    let rows: Vec<usize> = drifts.iter().flat_map(|d| d.1.rows.clone()).collect();
    let what = format!(
        "session {} drifts from first to last: {}{cause}{}",
        log.sessions[session],
        cases.join(", "),
        battery(log, session)
    );
    let why = "antennas measured early are flattered against those measured late, and the drift counts as scatter of mountings in every other session";
    let action = "kept; leave out what it spoiled, on the record; next time a fresh battery, and the reference antenna first, in the middle and last";
    log.finding(Severity::Warning, &rows, what, why, action)
}

/// What the battery did meanwhile, where it was written down.
fn battery(log: &Log, session: usize) -> String {
    let volts = || log.rows.iter().filter(|r| r.session == session).filter_map(|r| r.battery);
    match (volts().next(), volts().next_back()) {
        (Some(first), Some(last)) if first != last => format!("; the battery went from {first:.2} to {last:.2} V"),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, csv, log};
    use super::super::tests::findings;

    #[test]
    fn a_session_that_falls_is_named_and_its_mountings_are_not() {
        let mut lines = log(5);
        for l in lines.iter_mut().filter(|l| l.session == 2 && l.quantity == "field_strength") {
            l.value -= (l.minute as f64 / 84.0 * 30.0).round() / 10.0;
        }
        let found = findings("drift", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1);
        let what = &found[0].what;
        assert!(
            what.starts_with("session 2026-05-03 drifts") && what.contains("field strength, 2 m, field by −"),
            "{what}"
        );
        assert!(findings("outlier", CONFIG, &csv(&lines)).is_empty());
    }

    #[test]
    fn one_wild_mounting_makes_no_drift() {
        let mut lines = log(5);
        for l in lines.iter_mut().filter(|l| l.session == 2 && l.antenna == "robin" && l.mounting == 3) {
            l.value += if l.quantity == "swr" { 0.5 } else { 8.0 };
        }
        assert!(findings("drift", CONFIG, &csv(&lines)).is_empty());
        assert!(findings("drift", CONFIG, &csv(&log(5))).is_empty());
    }
}
