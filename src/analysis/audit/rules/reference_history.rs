//! A session in which the reference antenna is off its own history.

use std::collections::HashMap;

use super::super::Rule;
use super::super::alarms::Test;
use super::super::levels::{At, Levels};
use super::super::log::Log;
use crate::season::finding::{Finding, Group, Severity};
use crate::stats::outliers::deletion::Pooled;
use crate::stats::outliers::{Point, departures};

/// The rule.
pub const RULE: Rule = Rule {
    name: "reference off its history",
    group: Group::Suspect,
    asks: "a session in which the reference antenna reads unlike its own other sessions",
    source: "a check standard held to its history: NIST/SEMATECH e-Handbook 2.1.2 and 2.2.2; the test is Grubbs' in the steps of Rosner (1983)",
    beside_verdicts: false,
    check,
};

/// Fewer sessions make no history.
const LEAST: usize = 5;

fn check(log: &Log) -> Vec<Finding> {
    let reference = log.config().reference.as_deref();
    let Some(antenna) = reference.and_then(|name| log.antennas.iter().position(|a| a == name)) else {
        return vec![];
    };
    let mut by_session: HashMap<usize, Vec<(usize, f64, f64)>> = HashMap::new();
    for (set, levels) in log.levels.iter().enumerate() {
        for (session, seen, expected) in off_history(levels, antenna, Test::Reference.level(log.sets.len())) {
            // what the levels of visits and sessions say already is not said twice
            let told = |d: &super::super::levels::Departed| {
                let r = &log.rows[d.rows[0]];
                r.session == session && (d.at == At::Session || (d.at == At::Visit && r.antenna == antenna))
            };
            if !levels.departed.iter().any(told) {
                by_session.entry(session).or_default().push((set, seen, expected));
            }
        }
    }
    let mut sessions: Vec<usize> = by_session.keys().copied().collect();
    sessions.sort_unstable();
    sessions.iter().map(|&session| finding(log, session, antenna, &by_session[&session])).collect()
}

/// Sessions in which an antenna's mean departs from its others: session, mean, mean of the others.
fn off_history(levels: &Levels, antenna: usize, level: f64) -> Vec<(usize, f64, f64)> {
    let visits = levels.visits_of(|m| m.antenna == antenna && !levels.drifts.iter().any(|d| d.session == m.session));
    let points: Vec<Point> = visits
        .iter()
        .map(|v| {
            let value = v.iter().map(|&i| levels.mountings[i].mean).sum::<f64>() / v.len() as f64;
            let step = levels.mountings[v[0]].step;
            Point { value, group: 0, factor: 0, weight: 1.0, step, outside: f64::NAN }
        })
        .collect();
    if points.len() < LEAST {
        return vec![];
    }
    departures(&points, 0, Pooled::default(), points.len() / 4, level)
        .departures
        .iter()
        .map(|d| (levels.mountings[visits[d.place][0]].session, points[d.place].value, d.expected))
        .collect()
}

fn finding(log: &Log, session: usize, antenna: usize, cases: &[(usize, f64, f64)]) -> Finding {
    let words: Vec<String> = cases
        .iter()
        .map(|&(set, seen, expected)| {
            let (s, l) = (&log.sets[set], &log.levels[set]);
            format!("{} against {} in {}", l.shown(s, seen), l.shown(s, expected), s.label())
        })
        .collect();
    let rows: Vec<usize> = cases
        .iter()
        .flat_map(|&(set, _, _)| &log.levels[set].mountings)
        .filter(|m| m.session == session && m.antenna == antenna)
        .flat_map(|m| m.rows.clone())
        .collect();
    let what = format!(
        "the reference antenna {} is off its own history in session {}: {}",
        log.antennas[antenna],
        log.sessions[session],
        words.join(", ")
    );
    let why = "either the bench changed that day, and every figure held against another session's or a claim leans on it, or the reference did, and every comparison with it is off";
    let action = "kept; look at the other antennas of that session: if they moved along, it was the bench";
    log.finding(Severity::Warning, &rows, what, why, action)
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, csv, log};
    use super::super::tests::findings;

    #[test]
    fn a_reference_off_its_history_is_named_once_by_one_rule() {
        // where the reference was measured alone no visit can be told from its session: only the reference's own history speaks
        let mut lines: Vec<_> = log(8).into_iter().filter(|l| l.antenna == "wren").collect();
        assert!(findings("reference off its history", CONFIG, &csv(&lines)).is_empty());
        lines.iter_mut().filter(|l| l.session == 5 && l.quantity == "field_strength").for_each(|l| l.value += 12.0);
        let own = findings("reference off its history", CONFIG, &csv(&lines));
        let outliers = findings("outlier", CONFIG, &csv(&lines));
        assert_eq!(own.len() + outliers.len(), 1, "{own:?} {outliers:?}");
    }
}
