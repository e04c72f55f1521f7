//! Repeats that were not: several readings of one mounting, for an antenna whose rivals were re-mounted.

use super::super::Rule;
use super::super::log::{Log, group};
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "repeats on one mounting",
    group: Group::WeakDesign,
    asks: "an antenna read again and again on one mounting, where others were taken off and put back",
    source: "pseudoreplication: Hurlbert (1984), Ecological Monographs 54:187–211",
    beside_verdicts: false,
    check,
};

/// One antenna's visits.
struct Visits<'a> {
    antenna: &'a str,
    visits: usize,
    /// Rows of visits with one mounting, read more than once.
    left_on: Vec<Vec<usize>>,
}

fn check(log: &Log) -> Vec<Finding> {
    let rows: Vec<usize> = (0..log.rows.len()).filter(|&i| !log.is_load(&log.rows[i])).collect();
    let visits = group(&rows, |i| (log.rows[i].antenna, log.rows[i].session));
    let mut antennas: Vec<Visits> = vec![];
    let mut remounted = 0;
    for visit in &visits {
        let antenna = log.antenna(visit[0]);
        let at = antennas.iter().position(|v| v.antenna == antenna).unwrap_or_else(|| {
            antennas.push(Visits { antenna, visits: 0, left_on: vec![] });
            antennas.len() - 1
        });
        antennas[at].visits += 1;
        let mountings = group(visit, |i| log.mounting_key(i)).len();
        let repeated = group(visit, |i| log.set_key(i)).iter().any(|set| set.len() > 1);
        if mountings == 1 && repeated {
            antennas[at].left_on.push(visit.clone());
        } else if mountings > 1 {
            remounted += 1;
        }
    }
    // where nothing was ever re-mounted, the rule of levels says so of the whole log
    if remounted == 0 {
        return vec![];
    }
    let always = antennas.iter().filter(|v| v.left_on.len() == v.visits);
    let mut out: Vec<Finding> = always
        .map(|v| {
            let what = format!(
                "{} was never re-mounted within a visit ({}), though it was read several times each",
                v.antenna,
                if v.visits == 1 { "1 visit".to_string() } else { format!("{} visits", v.visits) }
            );
            tell(log, v.left_on.iter().flatten().copied().collect(), what, Severity::Warning)
        })
        .collect();
    let sometimes: Vec<&Visits> =
        antennas.iter().filter(|v| !v.left_on.is_empty() && v.left_on.len() < v.visits).collect();
    if !sometimes.is_empty() {
        let one = |v: &&Visits| {
            let days: Vec<&str> = v.left_on.iter().map(|rows| log.session(rows[0])).collect();
            format!("{} ({})", v.antenna, days.join(", "))
        };
        let names: Vec<String> = sometimes.iter().map(one).collect();
        let what = format!("not re-mounted in every visit: {}", names.join(", "));
        let rows = sometimes.iter().flat_map(|v| v.left_on.iter().flatten().copied()).collect();
        out.push(tell(log, rows, what, Severity::Note));
    }
    out
}

fn tell(log: &Log, rows: Vec<usize>, what: String, severity: Severity) -> Finding {
    let why = "readings of one mounting count as one mounting, however many they are: they say nothing of the next one";
    let action = "the least that mends it: take the antenna off once in each session and put it back";
    // a whole visit is one place
    let first: Vec<usize> = group(&rows, |i| (log.rows[i].antenna, log.rows[i].session)).iter().map(|g| g[0]).collect();
    let mut finding = log.finding(severity, &first, what, why, action).endangering(log.stakes(&rows));
    finding.place.column = None;
    finding.others.iter_mut().for_each(|p| p.column = None);
    finding
}

#[cfg(test)]
mod tests {
    use super::super::tests::findings;
    use super::*;

    fn season(mountings_of_b: usize) -> Vec<Finding> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for session in 1..=3 {
            for (antenna, mountings) in [("a", 2), ("b", mountings_of_b)] {
                for mounting in 1..=mountings {
                    for x in [1.2, 1.3] {
                        text += &format!("d{session},{antenna},2 m,inline,swr,{x},{mounting}\n");
                    }
                }
            }
        }
        findings("repeats on one mounting", "", &text)
    }

    #[test]
    fn an_antenna_left_on_while_others_were_remounted_is_named_with_its_visits() {
        let found = season(1);
        assert_eq!(found.len(), 1);
        assert!(found[0].what.contains("b was never re-mounted") && found[0].what.contains("3 visits"));
        assert_eq!(found[0].others.len(), 2);
        assert!(season(2).is_empty());
    }
}
