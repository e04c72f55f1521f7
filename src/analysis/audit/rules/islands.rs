//! Groups of antennas that no session joins: islands.

use std::collections::BTreeMap;

use super::super::Rule;
use super::super::log::Log;
use crate::analysis::antennas::result::label;
use crate::analysis::next::list;
use crate::season::finding::{Finding, Group, Place, Severity, Stake};
use crate::stats::islands::islands;

/// The rule.
pub const RULE: Rule = Rule {
    name: "islands",
    group: Group::WeakDesign,
    asks: "groups of antennas that no session joins to the others",
    source: "connected designs: Searle, Linear Models (1971), 7.4",
    beside_verdicts: false,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    // sets with one partition into islands are told together
    let mut by_partition: BTreeMap<Vec<Vec<String>>, Vec<(String, Stake)>> = BTreeMap::new();
    for (label, stake, sessions) in met(log) {
        let islands = islands(sessions);
        if islands.len() > 1 {
            by_partition.entry(islands).or_default().push((label, stake));
        }
    }
    by_partition.into_iter().map(|(islands, sets)| finding(log, &islands, sets)).collect()
}

fn finding(log: &Log, islands: &[Vec<String>], sets: Vec<(String, Stake)>) -> Finding {
    let names = |island: &Vec<String>| island.iter().map(String::as_str).collect::<Vec<_>>().join(", ");
    let told: Vec<String> = islands.iter().map(|i| format!("[{}]", names(i))).collect();
    let whose =
        if sets.len() == 1 { sets[0].0.clone() } else { format!("{} sets, the first {}", sets.len(), sets[0].0) };
    let what = format!("{} islands that no session joins: {} ({whose})", islands.len(), told.join(" "));
    let why = "a comparison across them rests on how much whole days differ, or can't be made at all";
    let reference = log.config().reference.as_deref();
    let bridge: Vec<&str> = islands
        .iter()
        .map(|island| island.iter().map(String::as_str).find(|a| Some(*a) == reference).unwrap_or(&island[0]))
        .collect();
    let action = format!("the least that mends it: one session, and better two, with {} together", list(&bridge));
    // all but the largest island: their pairs are those that cross
    let outside: Vec<String> = islands[1..].concat();
    let stakes = sets.into_iter().map(|(_, stake)| Stake { antennas: outside.clone(), ..stake }).collect();
    let place = Place { file: log.files.first().map_or("readings".into(), Clone::clone), line: None, column: None };
    let at = first_row(log, &outside).map_or(place, |row| Place { column: None, ..log.place(row, None) });
    Finding::new(Severity::Warning, at, what, why, action).endangering(stakes)
}

fn first_row(log: &Log, antennas: &[String]) -> Option<usize> {
    (0..log.rows.len()).find(|&i| antennas.iter().any(|a| a == log.antenna(i)))
}

/// Every set with more than one antenna: in words, its stake, and the antennas of each of its sessions.
fn met(log: &Log) -> Vec<(String, Stake, Vec<Vec<String>>)> {
    let numbers = log.sets.iter().map(|set| {
        let here = |s: usize| {
            let mut here: Vec<usize> = set.set.mountings.iter().filter(|m| m.session == s).map(|m| m.antenna).collect();
            here.sort_unstable();
            here.dedup();
            here.into_iter().map(|a| set.set.antennas[a].clone()).collect()
        };
        (set.label(), set.stake(&[]), (0..set.set.sessions.len()).map(here).collect())
    });
    let grades = log.ordinal.iter().map(|set| {
        let stake = Stake {
            quantity: Some(set.quantity.name.clone()),
            band: Some(set.band.clone()),
            meter: Some(set.meter.clone()),
            antennas: vec![],
            between: false,
        };
        let sessions = set.sessions.iter().map(|s| s.keys().map(|&a| set.antennas[a].clone()).collect()).collect();
        (label(&set.quantity.name, &set.band, &set.meter), stake, sessions)
    });
    numbers.chain(grades).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::findings;
    use super::*;

    #[test]
    fn islands_join_over_a_chain_of_sessions() {
        let session = |names: &[&str]| names.iter().map(|n| (*n).to_string()).collect::<Vec<_>>();
        let all = [session(&["a", "b"]), session(&["c"]), session(&["d", "e"]), session(&["b", "d"])];
        assert_eq!(islands(all.clone()), [session(&["a", "b", "d", "e"]), session(&["c"])]);
        assert_eq!(islands(all[..3].to_vec()).len(), 3);
    }

    #[test]
    fn the_bridge_that_is_proposed_holds_the_reference_antenna() {
        let text =
            "session,antenna,band,meter,quantity,value\nd1,a,2 m,m,swr,1.5\nd1,b,2 m,m,swr,1.6\nd2,c,2 m,m,swr,1.7\n";
        let config =
            "reference = \"b\"\n[[antenna]]\nname = \"a\"\n[[antenna]]\nname = \"b\"\n[[antenna]]\nname = \"c\"\n";
        let found = findings("islands", config, text);
        assert_eq!(found.len(), 1);
        assert!(found[0].what.contains("[a, b] [c]"), "{found:#?}");
        assert!(found[0].action.contains("b and c together"));
        assert_eq!(found[0].place.line, Some(4));
    }
}
