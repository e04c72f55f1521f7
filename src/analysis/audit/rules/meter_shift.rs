//! A meter whose offset to another one shifted between two sessions and stayed there.
//!
//! Both meters read the same mountings; what is left of their difference once each antenna's own part is
//! taken out (directivities meet each antenna at its own phase, but stay) is an effect of the session. Of
//! all places where the sessions' effects can be cut in two, the likeliest is
//! taken, and its chance multiplied by the number of places and of pairs of meters (Bonferroni). Check
//! loads, where they were read before and after, tell which of the two moved.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::super::Rule;
use super::super::alarms::Test;
use super::super::log::{Log, LogSet, group};
use crate::radio::quantity::in_words;
use crate::season::finding::{Finding, Group, Severity, Stake};
use crate::stats::change_point::statistic::{LEAST_SIDE, largest};
use crate::stats::change_point::{Channel, LEAST_POINTS};

/// The rule.
pub const RULE: Rule = Rule {
    name: "meter shifted",
    group: Group::Suspect,
    asks: "a meter whose offset to another on the same mountings shifts between two sessions and stays there",
    source: "the likelihood-ratio cut of a sequence: Hinkley (1970), Biometrika 57:1–17; Bonferroni over the cuts",
    beside_verdicts: false,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    // sets of one quantity by two meters, over the bands they share
    let mut pairs: BTreeMap<_, Vec<(&LogSet, &LogSet)>> = BTreeMap::new();
    for (k, a) in log.sets.iter().enumerate() {
        for b in &log.sets[k + 1..] {
            if a.set.quantity.name == b.set.quantity.name && a.set.band == b.set.band {
                let key = (a.set.quantity.name.as_str(), a.set.meter.as_str(), b.set.meter.as_str());
                pairs.entry(key).or_default().push((a, b));
            }
        }
    }
    let level = Test::MeterShift.level(pairs.len());
    pairs.values().filter_map(|bands| finding(log, bands, level)).collect()
}

/// The cut of a sequence of sessions' effects: after which session, by how much, and its chance.
#[derive(Debug, Clone, Copy)]
struct Cut {
    after: usize,
    shift: f64,
    chance: f64,
}

/// The likeliest cut; `floor` is the least spread an effect can have.
fn cut(effects: &[f64], floor: f64) -> Option<Cut> {
    let n = effects.len();
    if n < LEAST_POINTS {
        return None;
    }
    let at = largest(&[Channel::alike(effects.to_vec())])?.0;
    let places = n + 1 - 2 * LEAST_SIDE;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let (before, after) = effects.split_at(at);
    let (a, b) = (mean(before), mean(after));
    let ss: f64 = before.iter().map(|e| (e - a).powi(2)).chain(after.iter().map(|e| (e - b).powi(2))).sum();
    let df = (n - 2) as f64;
    let sd = (ss / df).sqrt().max(floor);
    let error = sd * (1.0 / before.len() as f64 + 1.0 / after.len() as f64).sqrt();
    let t = StudentsT::new(0.0, 1.0, df).map_or(1.0, |t| 2.0 * t.sf((b - a).abs() / error));
    Some(Cut { after: at - 1, shift: b - a, chance: (t * places as f64).min(1.0) })
}

/// Sessions' effects on the difference of two meters, by the log's session: mean over visits less each
/// antenna's own mean, by alternating least squares.
fn effects(log: &Log, a: &LogSet, b: &LogSet) -> BTreeMap<usize, f64> {
    let mut visits: BTreeMap<(usize, usize), (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for (set, second) in [(a, false), (b, true)] {
        for (mounting, rows) in set.set.mountings.iter().zip(&set.mountings) {
            let r = &log.rows[rows[0]];
            let both = visits.entry((r.session, r.antenna)).or_default();
            if second { both.1.push(mounting.mean) } else { both.0.push(mounting.mean) }
        }
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let difference: Vec<(usize, usize, f64)> = visits
        .into_iter()
        .filter(|(_, (x, y))| !x.is_empty() && !y.is_empty())
        .map(|((session, antenna), (x, y))| (session, antenna, mean(&y) - mean(&x)))
        .collect();
    let mut session: BTreeMap<usize, f64> = difference.iter().map(|d| (d.0, 0.0)).collect();
    for _ in 0..20 {
        let mut antenna: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        difference.iter().for_each(|&(s, a, d)| antenna.entry(a).or_default().push(d - session[&s]));
        let mut next: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        difference.iter().for_each(|&(s, a, d)| next.entry(s).or_default().push(d - mean(&antenna[&a])));
        session = next.into_iter().map(|(s, v)| (s, mean(&v))).collect();
    }
    session
}

fn finding(log: &Log, bands: &[(&LogSet, &LogSet)], level: f64) -> Option<Finding> {
    let mut all: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (a, b) in bands {
        effects(log, a, b).into_iter().for_each(|(s, e)| all.entry(s).or_default().push(e));
    }
    let sessions: Vec<usize> = all.keys().copied().collect();
    let effects: Vec<f64> = all.values().map(|v| v.iter().sum::<f64>() / v.len() as f64).collect();
    let (first, second) = bands[0];
    let digit = |s: &LogSet| {
        let middle = s.set.mountings.iter().map(|m| m.mean).sum::<f64>() / s.set.mountings.len() as f64;
        s.set.resolution * s.set.quantity.scale.slope_at(middle)
    };
    let floor = digit(first).hypot(digit(second)) / 12f64.sqrt() / 2.0;
    let found = cut(&effects, floor).filter(|c| c.chance < level)?;
    let (last, from) = (sessions[found.after], sessions[found.after + 1]);
    let moved = mover(log, first, second, from, found.shift);
    let scale = first.set.quantity.scale.name(&first.set.quantity.unit);
    let unit = if scale == "1" { String::new() } else { format!(" {scale}") };
    let size = found.shift.abs();
    let quantity = in_words(&first.set.quantity.name);
    let (one, other, sign) = match moved {
        Some(Mover::First) => (&first.set.meter, &second.set.meter, -found.shift),
        _ => (&second.set.meter, &first.set.meter, found.shift),
    };
    let loads = match moved {
        Some(_) => format!("; the check loads say it was {one} that moved"),
        None => "; no check load read before and after says which of the two moved".into(),
    };
    let what = format!(
        "from session {} on {one} reads {} against {other} than before, by {size:.3}{unit} ({quantity}, {}; until {} it did not){loads}",
        log.sessions[from],
        if sign > 0.0 { "higher" } else { "lower" },
        if bands.len() == 1 { first.set.band.clone() } else { format!("{} bands", bands.len()) },
        log.sessions[last]
    );
    let why =
        "within a session it cancels; between antennas of different sessions, and against a claim, it counts in full";
    let action =
        "kept; read the check loads with both meters, and look for a new calibration, adaptor or cable on that day";
    let later: Vec<usize> = bands
        .iter()
        .flat_map(|(a, b)| [a, b])
        .flat_map(|s| s.rows.iter().copied())
        .filter(|&i| log.rows[i].session >= from)
        .collect();
    let rows: Vec<usize> = group(&later, |i| log.rows[i].session).iter().map(|g| g[0]).collect();
    let stakes: Vec<Stake> = bands
        .iter()
        .flat_map(|(a, b)| match moved {
            Some(Mover::First) => vec![a.stake(&[])],
            Some(Mover::Second) => vec![b.stake(&[])],
            None => vec![a.stake(&[]), b.stake(&[])],
        })
        .collect();
    Some(log.finding(Severity::Warning, &rows, what, why, action).endangering(stakes))
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Mover {
    First,
    Second,
}

/// Which of two meters the check loads say moved: the one whose readings of the same loads changed by at
/// least half of the shift, where the other's did by less.
fn mover(log: &Log, first: &LogSet, second: &LogSet, from: usize, shift: f64) -> Option<Mover> {
    let change = |set: &LogSet| {
        let mut loads: BTreeMap<(usize, usize), [Vec<f64>; 2]> = BTreeMap::new();
        let own = |i: &usize| {
            let same = log.quantity(*i) == set.set.quantity.name && log.meter(*i) == set.set.meter;
            same && log.is_load(&log.rows[*i])
        };
        for i in (0..log.rows.len()).filter(own) {
            let r = &log.rows[i];
            loads.entry((r.antenna, r.band)).or_default()[usize::from(r.session >= from)].push(r.y);
        }
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let both = loads.values().filter(|[before, after]| !before.is_empty() && !after.is_empty());
        let changes: Vec<f64> = both.map(|[before, after]| mean(after) - mean(before)).collect();
        (!changes.is_empty()).then(|| mean(&changes))
    };
    let (a, b) = (-change(first)?, change(second)?);
    let half = shift / 2.0;
    match (a / half >= 1.0, b / half >= 1.0) {
        (true, false) => Some(Mover::First),
        (false, true) => Some(Mover::Second),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;
    use super::*;

    #[test]
    fn a_clear_step_is_cut_where_it_is_and_noise_has_no_clear_cut() {
        let step = [0.0, 0.01, -0.01, 0.0, 0.31, 0.29, 0.3, 0.3];
        let found = cut(&step, 0.0).unwrap();
        assert_eq!(found.after, 3);
        assert!((found.shift - 0.3).abs() < 1e-12 && found.chance < 1e-6, "{found:?}");
        assert!(cut(&[0.0, 0.3, 0.1, 0.2, 0.25, 0.05], 0.0).unwrap().chance > 0.5);
        assert!(cut(&[0.0, 0.0, 1.0, 1.0], 0.0).is_none(), "two and two show no scatter to speak of");
        assert!(cut(&[0.0, 0.0, 1.0, 1.0, 1.0], 0.0).unwrap().chance < 1e-6);
    }

    /// Eight sessions of three antennas by two meters; from the fifth on the second reads 0.5 dB more.
    fn season(shift: f64, loads: bool) -> Vec<String> {
        let mut text = String::from("session,antenna,band,meter,quantity,value\n");
        for s in 0..8 {
            for (a, level) in [("a", 4.0), ("b", 4.4), ("c", 5.0), ("load", 4.7)] {
                if a == "load" && (!loads || (s != 0 && s != 7)) {
                    continue;
                }
                for (meter, offset) in [("one", 0.0), ("two", if s >= 4 { shift } else { 0.0 })] {
                    let wobble = 0.02 * f64::from((s * 5 + i32::from(meter == "two") * 3) % 7);
                    let watts = level * 10f64.powf((offset + wobble) / 10.0);
                    text += &format!("d{s},{a},2 m,{meter},forward_power,{watts:.3}\n");
                }
            }
        }
        found("meter shifted", "[[load]]\nname = \"load\"\nresistance_ohm = 50.0\n", &text)
    }

    #[test]
    fn a_shift_between_two_meters_is_found_with_its_session_and_its_meter() {
        assert!(season(0.0, true).is_empty());
        let words = season(0.5, true);
        assert!(words.len() == 1 && words[0].contains("from session d4 on two reads higher"), "{words:#?}");
        assert!(words[0].contains("the check loads say it was two"), "{words:#?}");
        assert!(season(0.5, false)[0].contains("no check load"));
    }
}
