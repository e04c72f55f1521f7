//! What does not fit its level and no single edit explains: a reading, a mounting, a visit, a session.

use std::collections::HashSet;

use super::super::Rule;
use super::super::edits::{Edit, edits};
use super::super::levels::{At, Departed};
use super::super::log::Log;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "outlier",
    group: Group::Suspect,
    asks: "a reading unlike its repeats, a mounting unlike its visit's others, a visit unlike what antenna and session say, a session unlike the others",
    source: "deleted residuals of each level (Cook & Weisberg, 1982) in the steps of the generalised extreme studentized deviate (Rosner, 1983), the chance of a false alarm shared over the whole log",
    beside_verdicts: true,
    check,
};

/// Single readings that depart, with their set.
fn single_readings<'a>(log: &'a Log<'_>) -> impl Iterator<Item = (usize, &'a Departed)> {
    let all = log.levels.iter().enumerate().flat_map(|(set, l)| l.departed.iter().map(move |d| (set, d)));
    all.filter(|(_, d)| d.rows.len() == 1 && d.at != At::Session)
}

/// A single reading, and what is expected in its place.
pub fn place_words(log: &Log, set: usize, departed: &Departed) -> String {
    let row = departed.rows[0];
    let others = match departed.at {
        At::Reading => "its mounting's other readings say",
        At::Mounting => "its visit's other mountings say",
        _ => "the antenna's and the session's other readings say",
    };
    let expected = if departed.expected.is_nan() {
        "nothing else speaks for it".to_string()
    } else {
        format!("{others} {}", log.levels[set].shown(&log.sets[set], departed.expected))
    };
    format!("{} for {} ({}), where {expected}", log.written(row), log.antenna(row), log.label(row))
}

/// A reading that departs, and the edits that would make it fit, the likeliest first.
pub struct Odd<'a> {
    /// Its set, an index into the log's.
    pub set: usize,
    /// The reading.
    pub departed: &'a Departed,
    /// What would make it fit.
    pub edits: Vec<Edit>,
}

/// Readings that depart, each with its edits.
pub fn odd_readings<'a>(log: &'a Log<'_>) -> Vec<Odd<'a>> {
    let odd = |(set, departed): (usize, &'a Departed)| Odd { set, departed, edits: edits(log, set, departed.rows[0]) };
    single_readings(log).map(odd).collect()
}

fn check(log: &Log) -> Vec<Finding> {
    let odd = odd_readings(log);
    // the other half of an exchange that another reading's slip names
    let exchanged: HashSet<usize> = odd.iter().filter_map(|o| o.edits.first()?.with).collect();
    let unexplained = odd.iter().filter(|o| o.edits.is_empty() && !exchanged.contains(&o.departed.rows[0]));
    let mut out: Vec<Finding> = unexplained
        .map(|o| {
            let what = place_words(log, o.set, o.departed);
            let why = "one such reading widens every interval of its set, and can hide all its differences";
            let action = "kept; no single slip of the pen explains it; repeat it if you can, or leave it out on the record with the reason";
            log.finding(Severity::Warning, &o.departed.rows, what, why, action)
        })
        .collect();
    out.extend(gathered(log, At::Mounting));
    out.extend(gathered(log, At::Visit));
    out.extend(gathered(log, At::Session));
    out
}

/// Mountings, visits or sessions that depart; one that does so in several sets is one finding.
fn gathered(log: &Log, at: At) -> Vec<Finding> {
    let mut groups: Vec<(Key, Vec<(usize, &Departed)>)> = vec![];
    for (set, levels) in log.levels.iter().enumerate() {
        for d in levels.departed.iter().filter(|d| d.at == at && (d.rows.len() > 1 || at == At::Session)) {
            let key = key(log, set, d);
            match groups.iter_mut().find(|g| g.0 == key) {
                Some(group) => group.1.push((set, d)),
                None => groups.push((key, vec![(set, d)])),
            }
        }
    }
    groups.iter().map(|(_, members)| finding(log, at, members)).collect()
}

#[derive(PartialEq)]
struct Key {
    session: usize,
    antenna: Option<usize>,
    mounting: Option<i64>,
    meter: Option<String>,
}

fn key(log: &Log, set: usize, d: &Departed) -> Key {
    let r = &log.rows[d.rows[0]];
    Key {
        session: r.session,
        antenna: (d.at != At::Session).then_some(r.antenna),
        mounting: r.mounting.filter(|_| d.at == At::Mounting),
        meter: (d.at == At::Session).then(|| log.sets[set].set.meter.clone()),
    }
}

fn finding(log: &Log, at: At, members: &[(usize, &Departed)]) -> Finding {
    let first = &log.rows[members[0].1.rows[0]];
    let (antenna, session) = (&log.antennas[first.antenna], &log.sessions[first.session]);
    let who = match at {
        At::Mounting => match first.mounting {
            Some(number) => format!("mounting {number} of {antenna} in {session}"),
            None => format!("a mounting of {antenna} in {session}"),
        },
        At::Visit => format!("the visit of {antenna} in {session}"),
        _ => format!("session {session} as a whole"),
    };
    let against = match at {
        At::Mounting => "the visit's other mountings",
        At::Visit => "what the antenna and the session say otherwise",
        _ => "other sessions",
    };
    let cases: Vec<String> = members
        .iter()
        .map(|&(set, d)| {
            let (s, l) = (&log.sets[set], &log.levels[set]);
            if at == At::Session {
                return format!("{} by {}", s.label(), l.shown_difference(s, d.seen - d.expected));
            }
            let expected = if d.expected.is_nan() { "nothing".into() } else { l.shown(s, d.expected) };
            format!("{} against {expected} in {}", l.shown(s, d.seen), s.label())
        })
        .collect();
    let rows: Vec<usize> = members.iter().flat_map(|m| m.1.rows.clone()).collect();
    let what = format!("{who} does not fit {against}: {}{}", cases.join(", "), moved(log, at, members));
    let (why, action) = match at {
        At::Mounting => (
            "the mounting's whole mean is off, and widens every interval of its sets",
            "kept; was the connector tight, and the right antenna written? repeat it, or leave the mounting out on the record",
        ),
        At::Visit => (
            "everything the session says of that antenna is off together, and no repeat inside the visit shows it",
            "kept; was something loose, or the antenna's name wrong? repeat the visit, or leave it out on the record",
        ),
        _ => (
            "comparisons inside the session stand, but claims and antennas that missed it lean on its level",
            "kept; look for what was different that day: the mark, the meter, the range switch",
        ),
    };
    log.finding(Severity::Warning, &rows, what, why, action)
}

/// Another antenna of the session that all the readings would fit, if one is.
fn moved(log: &Log, at: At, members: &[(usize, &Departed)]) -> String {
    if at == At::Session {
        return String::new();
    }
    let first = &log.rows[members[0].1.rows[0]];
    let fits = |antenna: usize| {
        members.iter().all(|&(set, d)| {
            let expected = log.levels[set].expect(first.session, antenna, None, usize::MAX);
            expected.is_some_and(|e| (d.seen - e.value).abs() <= 3.0 * e.sd)
        })
    };
    let other = (0..log.antennas.len()).find(|&a| a != first.antenna && fits(a));
    other.map_or(String::new(), |a| format!("; it would fit {}", log.antennas[a]))
}

#[cfg(test)]
mod tests {
    use super::super::steady::{CONFIG, at, csv, log};
    use super::super::tests::findings;

    fn places(lines: &[super::super::steady::Line]) -> Vec<Vec<usize>> {
        let line = |f: crate::season::finding::Finding| {
            let all = std::iter::once(f.place).chain(f.others);
            all.filter_map(|p| p.line).map(|l| l - 2).collect()
        };
        findings("outlier", CONFIG, &csv(lines)).into_iter().map(line).collect()
    }

    #[test]
    fn a_steady_log_has_no_outlier() {
        assert!(places(&log(5)).is_empty());
    }

    #[test]
    fn a_reading_that_no_slip_explains_is_named_alone() {
        let mut lines = log(5);
        let i = at(&lines, 2, "robin", 2, "field_strength")[1];
        lines[i].value = -40.7;
        assert_eq!(places(&lines), [[i]]);
    }

    #[test]
    fn a_mounting_that_is_off_is_one_finding_with_all_its_readings() {
        let mut lines = log(5);
        let off = at(&lines, 1, "siskin", 3, "field_strength");
        off.iter().for_each(|&i| lines[i].value -= 5.0);
        assert_eq!(places(&lines), [off]);
    }

    #[test]
    fn a_visit_that_is_off_is_one_finding_with_all_its_readings() {
        let mut lines = log(6);
        let off: Vec<usize> = (1..=3).flat_map(|m| at(&lines, 4, "robin", m, "field_strength")).collect();
        off.iter().for_each(|&i| lines[i].value -= 6.0);
        assert_eq!(places(&lines), [off]);
    }

    #[test]
    fn a_session_whose_level_moved_is_an_outlier_of_sessions_and_of_none_else() {
        let mut lines = log(6);
        lines.iter_mut().filter(|l| l.session == 3 && l.quantity == "field_strength").for_each(|l| l.value += 12.0);
        let found = findings("outlier", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1);
        assert!(found[0].what.starts_with("session 2026-05-04 as a whole"), "{}", found[0].what);
    }

    #[test]
    fn steady_readings_on_a_coarse_display_have_no_outlier_for_being_one_digit_off() {
        let mut lines = log(5);
        for (i, l) in lines.iter_mut().enumerate().filter(|(_, l)| l.quantity == "field_strength") {
            l.value = -32.0 + f64::from(i % 17 == 0);
        }
        assert!(places(&lines).is_empty());
    }
}
