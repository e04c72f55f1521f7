//! The reference antenna: none, missing from a session, or measured once where it could show drift.

use std::collections::BTreeSet;

use super::super::Rule;
use super::super::log::{Log, group};
use crate::season::finding::{Finding, Group, Severity, Stake};

/// The rule.
pub const RULE: Rule = Rule {
    name: "reference antenna",
    group: Group::WeakDesign,
    asks: "no reference antenna, sessions without it, or sessions with it on one mounting only",
    source: "check standards: NIST/SEMATECH e-Handbook of Statistical Methods, 2.2",
    beside_verdicts: false,
    check,
};

const WHY: &str =
    "the antenna measured in every session, first, midway and last, shows what a session did to all of them";

fn check(log: &Log) -> Vec<Finding> {
    let rows: Vec<usize> = (0..log.rows.len()).filter(|&i| !log.is_load(&log.rows[i])).collect();
    let antennas: BTreeSet<usize> = rows.iter().map(|&i| log.rows[i].antenna).collect();
    if antennas.len() < 2 {
        return vec![];
    }
    let Some(reference) = log.config().reference.as_deref() else {
        let why =
            format!("{WHY}; without one, a weak battery or a shifted meter looks like a difference between antennas");
        let action = "the least that mends it: name one under `reference`, and measure it in every session from now on";
        let what = "no reference antenna is named".to_string();
        return vec![log.finding_in_season(Severity::Note, None, what, why, action)];
    };
    let mut without = vec![];
    let mut once = vec![];
    for session in group(&rows, |i| log.rows[i].session) {
        let own: Vec<usize> = session.iter().copied().filter(|&i| log.antenna(i) == reference).collect();
        if own.is_empty() {
            without.push(session);
        } else if group(&own, |i| log.mounting_key(i)).len() == 1 && session.len() > own.len() {
            once.push(own);
        }
    }
    [absent(log, reference, &without), only_once(log, reference, &once)].into_iter().flatten().collect()
}

fn days(log: &Log, sessions: &[Vec<usize>]) -> String {
    let mut names: Vec<&str> = sessions.iter().map(|rows| log.session(rows[0])).collect();
    names.sort_unstable();
    match names.len() {
        0..=4 => names.join(", "),
        n => format!("{}, … ({n} sessions)", names[..3].join(", ")),
    }
}

fn places(log: &Log, severity: Severity, sessions: &[Vec<usize>], what: String, action: &str) -> Finding {
    let first: Vec<usize> = sessions.iter().map(|rows| rows[0]).collect();
    let mut finding = log.finding(severity, &first, what, WHY, action);
    finding.place.column = None;
    finding.others.iter_mut().for_each(|p| p.column = None);
    finding
}

fn absent(log: &Log, reference: &str, without: &[Vec<usize>]) -> Option<Finding> {
    let all: Vec<usize> = without.iter().flatten().copied().collect();
    (!without.is_empty()).then(|| {
        let what = format!("{reference}, the reference antenna, is missing from {}", days(log, without));
        let action = "the least that mends it: measure it in every session, first, midway and last";
        places(log, Severity::Warning, without, what, action).endangering(log.stakes(&all))
    })
}

fn only_once(log: &Log, reference: &str, once: &[Vec<usize>]) -> Option<Finding> {
    (!once.is_empty()).then(|| {
        let what = format!("{reference}, the reference antenna, was on once only in {}", days(log, once));
        let action = "the least that mends it: put it on again at the end of the session, and better midway too";
        places(log, Severity::Note, once, what, action).endangering(Vec::<Stake>::new())
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    const NAMED: &str = "reference = \"a\"\n[[antenna]]\nname = \"a\"\n[[antenna]]\nname = \"b\"\n";

    fn season(config: &str, rows: &[&str]) -> Vec<String> {
        let rows: String = rows.iter().map(|r| format!("{r},2 m,m,swr,1.5\n")).collect();
        found("reference antenna", config, &format!("session,antenna,mounting,band,meter,quantity,value\n{rows}"))
    }

    #[test]
    fn a_season_without_a_reference_or_with_it_missing_is_told() {
        assert_eq!(season("", &["d1,a,1", "d1,b,1"]), ["no reference antenna is named"]);
        let words = season(NAMED, &["d1,a,1", "d1,a,2", "d1,b,1", "d2,b,1"]);
        assert!(words.len() == 1 && words[0].contains("missing from d2"), "{words:#?}");
        assert!(season(NAMED, &["d1,a,1", "d1,b,1", "d1,a,2"]).is_empty());
    }

    #[test]
    fn a_reference_that_was_on_once_cannot_show_drift() {
        let words = season(NAMED, &["d1,a,1", "d1,b,1"]);
        assert!(words.len() == 1 && words[0].contains("once only in d1"), "{words:#?}");
    }
}
