//! A running order that never varies: drift and antennas cannot be told apart.

use std::collections::{BTreeMap, BTreeSet};

use super::super::Rule;
use super::super::log::{Log, group};
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "order never varied",
    group: Group::WeakDesign,
    asks: "antennas measured in the same order in every session, so that a drift of the bench looks like a difference between them",
    source: "randomised and balanced order: Fisher, The Design of Experiments (1935), chapter 2; trade practice: the reference first, in the middle and last",
    beside_verdicts: false,
    check,
};

/// The place of each antenna in a session's order: the mean over its mountings of when each began.
type Places = BTreeMap<usize, Vec<f64>>;

fn check(log: &Log) -> Vec<Finding> {
    let rows: Vec<usize> = (0..log.rows.len()).filter(|&i| !log.is_load(&log.rows[i])).collect();
    let mut sessions: Vec<(usize, Places)> = vec![];
    for session in group(&rows, |i| log.rows[i].session) {
        let mut places = Places::new();
        for mounting in group(&session, |i| (log.rows[i].antenna, log.mounting_key(i))) {
            let start = mounting.iter().filter_map(|&i| place(log, i)).fold(f64::INFINITY, f64::min);
            if start.is_finite() {
                places.entry(log.rows[mounting[0]].antenna).or_default().push(start);
            }
        }
        if places.len() > 1 {
            sessions.push((session[0], places));
        }
    }
    if sessions.is_empty() || !sessions.iter().all(|(_, places)| one_after_another(places)) {
        return vec![];
    }
    let (mut together, mut turned) = (0, false);
    let mut order: BTreeMap<(usize, usize), bool> = BTreeMap::new();
    let mut named: BTreeSet<usize> = BTreeSet::new();
    for (_, places) in &sessions {
        let begins: Vec<(usize, f64)> =
            places.iter().map(|(&a, p)| (a, p.iter().copied().fold(f64::INFINITY, f64::min))).collect();
        for (i, &(a, at)) in begins.iter().enumerate() {
            for &(b, bt) in &begins[i + 1..] {
                named.extend([a, b]);
                match order.get(&(a, b)) {
                    Some(&before) => {
                        together += 1;
                        turned |= before != (at < bt);
                    }
                    None => {
                        order.insert((a, b), at < bt);
                    }
                }
            }
        }
    }
    // one order may be chance; the same order again and again is none
    let single = sessions.len() == 1;
    if turned || (!single && together < 3) || (single && named.len() < 2) {
        return vec![];
    }
    let what = if single {
        "in the only session each antenna was measured once through and never again".to_string()
    } else {
        format!("in all {} sessions the antennas were measured in the same order, each once through", sessions.len())
    };
    let first: Vec<usize> = sessions.iter().map(|s| s.0).collect();
    let why =
        "a battery that empties or a meter that warms favours the same antennas every time, and no repeat shows it";
    let action = "shuffle the order from session to session, go round twice, and measure the reference antenna first, in the middle and last";
    vec![log.finding(Severity::Note, &first, what, why, action).endangering(log.stakes(&rows))]
}

/// When a row was read: time of day, else place in the order.
fn place(log: &Log, row: usize) -> Option<f64> {
    let r = &log.rows[row];
    let timed = r.when.filter(|t| t.rem_euclid(86_400_000_000) != 0).map(|t| t as f64);
    timed.or(r.order)
}

/// Whether no antenna comes back once another has had its turn.
fn one_after_another(places: &Places) -> bool {
    let mut all: Vec<(f64, usize)> = places.iter().flat_map(|(&a, p)| p.iter().map(move |&t| (t, a))).collect();
    all.sort_by(|x, y| x.0.total_cmp(&y.0));
    let turns = all.windows(2).filter(|w| w[0].1 != w[1].1).count() + 1;
    turns == places.len()
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, csv, log};
    use super::super::tests::findings;

    fn once_through(turned: bool) -> usize {
        let mut lines = log(4);
        for l in &mut lines {
            // each antenna has all its mountings in one turn
            let turn = ["wren", "robin", "siskin"].iter().position(|a| *a == l.antenna).unwrap();
            let turn = if turned && l.session == 2 { 2 - turn } else { turn };
            l.minute = turn * 30 + (l.mounting - 1) * 10 + l.minute % 10;
        }
        findings("order never varied", CONFIG, &csv(&lines)).len()
    }

    #[test]
    fn the_same_order_in_every_session_is_weak_and_one_turned_session_mends_it() {
        assert_eq!(once_through(false), 1);
        assert_eq!(once_through(true), 0);
        assert_eq!(
            findings("order never varied", CONFIG, &csv(&log(4))).len(),
            0,
            "antennas that take turns can drift"
        );
    }
}
