//! What to measure next: the one step that would change the most verdicts, and the closest undecided
//! pair with the sessions it would take.

use super::result::{OrdinalResult, PairResult, SetResult, Verdict, label};

/// Beyond this many more sessions a comparison is not worth proposing.
const MOST_SESSIONS: f64 = 30.0;

/// Advice, most useful first; empty where every pair is settled.
pub fn measure_next(sets: &[SetResult], ordinal: &[OrdinalResult], reference: Option<&str>) -> Vec<String> {
    let mut out = vec![];
    out.extend(another_day(sets));
    out.extend(joining(sets, ordinal, reference));
    out.extend(closest_pair(sets));
    out
}

/// Sets where every antenna was seen on one visit: nothing shows what another day would change.
fn another_day(sets: &[SetResult]) -> Option<String> {
    let blind = |s: &&SetResult| s.antennas.len() > 1 && s.pairs.iter().all(|p| p.verdict == Verdict::Unlinked);
    let blind: Vec<&SetResult> = sets.iter().filter(blind).collect();
    let first = blind.first()?;
    let names: Vec<&str> = first.antennas.iter().map(|a| a.antenna.as_str()).collect();
    let how_many =
        if blind.len() == 1 { first.label() } else { format!("{} and {} more", first.label(), blind.len() - 1) };
    let mounted_once = blind.iter().all(|s| s.antennas.iter().all(|a| a.mountings == a.visits));
    let remount = if mounted_once { ", taking each off and putting it back once in between" } else { "" };
    Some(format!(
        "Measure {} again on another day, all in one session{remount}, and once more after that: with one visit each, \
         nothing in this log shows what another day would change ({how_many}).",
        list(&names)
    ))
}

/// Antennas that never met the others.
fn joining(sets: &[SetResult], ordinal: &[OrdinalResult], reference: Option<&str>) -> Option<String> {
    let mut apart: Vec<(String, usize)> = vec![];
    let mut note = |names: Vec<&str>| {
        for name in names {
            match apart.iter_mut().find(|(n, _)| n == name) {
                Some((_, count)) => *count += 1,
                None => apart.push((name.to_string(), 1)),
            }
        }
    };
    for set in sets {
        note(strangers(set.antennas.len(), &set.pairs).into_iter().map(|i| set.antennas[i].antenna.as_str()).collect());
    }
    for set in ordinal {
        let met = |a: usize| set.pairs.iter().any(|p| (p.first == a || p.second == a) && p.sessions > 0);
        let n = set.antennas.len();
        note((0..n).filter(|&a| n > 1 && !met(a)).map(|a| set.antennas[a].antenna.as_str()).collect());
    }
    let (name, count) = apart.into_iter().max_by_key(|(_, count)| *count)?;
    let with = reference
        .filter(|r| *r != name)
        .map_or("the other antennas".to_string(), |r| format!("{r} and the closest rivals"));
    let sets = if count == 1 { "one set".to_string() } else { format!("{count} sets") };
    Some(format!(
        "Measure {name} in two sessions together with {with}: no session joins it to any other antenna in {sets}, \
         so its comparisons rest on how much whole days differ."
    ))
}

/// Antennas that met no other one in the set.
fn strangers(antennas: usize, pairs: &[PairResult]) -> Vec<usize> {
    (0..antennas).filter(|&a| antennas > 1 && !pairs.iter().any(|p| (p.first == a || p.second == a) && p.met)).collect()
}

/// The undecided pair, of a difference that would matter, that the fewest more sessions would settle.
fn closest_pair(sets: &[SetResult]) -> Option<String> {
    let mut best: Option<(f64, String)> = None;
    for set in sets {
        for pair in set.pairs.iter().filter(|p| p.verdict == Verdict::Noise && p.met) {
            let Some(more) = sessions_needed(set, pair) else { continue };
            if more <= MOST_SESSIONS && best.as_ref().is_none_or(|b| more < b.0) {
                let sessions =
                    if more <= 1.0 { "one more session".to_string() } else { format!("about {more:.0} more sessions") };
                let (a, b) = (&set.antennas[pair.first].antenna, &set.antennas[pair.second].antenna);
                let what = label(&set.quantity.name, &set.band, &set.meter);
                best = Some((
                    more,
                    format!(
                        "The closest open question: {a} against {b} ({what}); if the difference is what it looks like, {sessions} with both would show it."
                    ),
                ));
            }
        }
    }
    best.map(|b| b.1)
}

/// Further sessions with both antennas until the interval would exclude zero, if the difference stays
/// as it is: the scatter part of the interval shrinks with the square root of the visits, the declared
/// part not at all.
fn sessions_needed(set: &SetResult, pair: &PairResult) -> Option<f64> {
    let range = pair.range?;
    let half = (range.high - range.low) / 2.0;
    let declared = half * half * pair.share_declared?;
    let scatter = half * half - declared;
    let difference = pair.difference * pair.difference;
    let worth = match set.matters {
        Some(m) => {
            let middle = (set.antennas[pair.first].estimate + set.antennas[pair.second].estimate) / 2.0;
            pair.difference.abs() >= super::shown::matters_on_scale(&set.quantity, m, middle, 0.0)
        }
        None => true,
    };
    if !worth || difference <= declared {
        return None;
    }
    let visits = set.antennas[pair.first].visits.min(set.antennas[pair.second].visits) as f64;
    Some((visits * scatter / (difference - declared) - visits).ceil().max(1.0))
}

/// "a", "a and b", "a, b and c".
pub fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_string(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}
