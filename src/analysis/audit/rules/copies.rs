//! Repeats too good to be readings: the same to the last digit beyond what scatter and rounding allow.

use rayon::prelude::*;

use super::super::Rule;
use super::super::alarms::Test;
use super::super::edits::set_of;
use super::super::log::{Log, group};
use crate::season::finding::{Finding, Group, Severity};
use crate::stats::coincidence::{agreement, at_least};

/// The rule.
pub const RULE: Rule = Rule {
    name: "copied repeats",
    group: Group::Suspect,
    asks: "readings of two mountings, or repeats of one visit, that agree to the last digit more often than scatter and rounding allow",
    source: "chance of agreement of two rounded normal readings, summed over readings (Poisson-binomial); trade practice: identical values over re-mounts are copied or coarse",
    beside_verdicts: false,
    check,
};

/// A moment at one meter: what it showed of several quantities hangs together, and agrees or not as one.
type Moment = (usize, usize, usize);

/// A mounting of all sets together.
struct Whole {
    rows: Vec<usize>,
    /// Moments in order (band, meter, and which of the repeats), a row each.
    moments: Vec<(Moment, usize)>,
}

impl Whole {
    /// Its moments, each with its rows.
    fn each(&self) -> impl Iterator<Item = &[(Moment, usize)]> {
        self.moments.chunk_by(|a, b| a.0 == b.0)
    }

    /// The rows of a moment.
    fn at(&self, moment: Moment) -> &[(Moment, usize)] {
        let from = self.moments.partition_point(|m| m.0 < moment);
        let to = self.moments.partition_point(|m| m.0 <= moment);
        &self.moments[from..to]
    }
}

/// Where two lists of moments could agree, and where they do.
#[derive(Default)]
struct Tally {
    chances: Vec<f64>,
    agree: usize,
}

impl Tally {
    fn add(&mut self, log: &Log, chance: &[f64], first: &[(Moment, usize)], second: &[(Moment, usize)]) {
        let quantity = |row: usize| log.rows[row].quantity;
        let pairs = first
            .iter()
            .filter_map(|&(_, a)| second.iter().find(|&&(_, b)| quantity(a) == quantity(b)).map(|&(_, b)| (a, b)));
        let (mut any, mut all, mut least) = (false, true, 1.0f64);
        for (a, b) in pairs {
            // all of a moment agree no more often than the one that agrees least
            (any, least) = (true, least.min(chance[a].max(chance[b])));
            all &= log.rows[a].value == log.rows[b].value;
        }
        if any {
            self.chances.push(least);
            self.agree += usize::from(all);
        }
    }

    /// Whether so many agree by chance no more often than `level`, which is far below a half.
    fn is_beyond(&self, level: f64) -> bool {
        // a count up to its own mean is no rare one: the tail need not be worked out
        self.agree as f64 > self.chances.iter().sum::<f64>() && at_least(&self.chances, self.agree) <= level
    }
}

fn check(log: &Log) -> Vec<Finding> {
    let chance = chances(log);
    let all: Vec<usize> = (0..log.rows.len()).filter(|&i| !log.is_load(&log.rows[i])).collect();
    let visits: Vec<Vec<Whole>> = group(&all, |i| (log.rows[i].session, log.rows[i].antenna))
        .into_iter()
        .map(|rows| group(&rows, |i| log.mounting_key(i)).into_iter().map(|r| whole(log, r)).collect())
        .collect();
    let pairs: Vec<(&Whole, &Whole)> = visits.iter().flat_map(|v| pairs(v)).collect();
    let level = Test::Copies.level(3 * pairs.len());
    let two = |&(first, second): &(&Whole, &Whole)| {
        let mut tally = Tally::default();
        second.each().for_each(|rows| tally.add(log, &chance, first.at(rows[0].0), rows));
        tally.is_beyond(level).then(|| between(log, &first.rows, &second.rows, &tally))
    };
    let mut out: Vec<Finding> = pairs.par_iter().filter_map(two).collect();
    let level = Test::Copies.level(3 * visits.len());
    let one = |visit: &Vec<Whole>| {
        let mut tally = Tally::default();
        for mounting in visit {
            for rows in mounting.each() {
                let (band, meter, place) = rows[0].0;
                tally.add(log, &chance, rows, mounting.at((band, meter, place + 1)));
            }
        }
        tally.is_beyond(level).then(|| inside(log, visit, &tally))
    };
    out.extend(visits.par_iter().filter_map(one).collect::<Vec<_>>());
    out.extend(elsewhere(log, &chance, &visits));
    out
}

/// The largest chance, by row, that one more reading like it shows the same.
fn chances(log: &Log) -> Vec<f64> {
    let mut chance = vec![1.0; log.rows.len()];
    for levels in &log.levels {
        for (&row, &step) in &levels.step {
            let antenna = log.rows[row].antenna;
            let reading = levels.reading_sd.get(&antenna).copied();
            // where no mounting has two readings, a good part of what mountings scatter by is taken for theirs
            let sd = reading.or(levels.mounting_sd.get(&antenna).map(|sd| 0.3 * sd));
            chance[row] = sd.map_or(1.0, |sd| agreement(sd, step));
        }
    }
    chance
}

fn whole(log: &Log, rows: Vec<usize>) -> Whole {
    let set = |row: usize| (log.rows[row].band, log.rows[row].meter, log.rows[row].quantity);
    let mut by_set = rows.clone();
    by_set.sort_by_key(|&row| set(row));
    let mut moments = Vec::with_capacity(rows.len());
    for repeats in by_set.chunk_by(|a, b| set(*a) == set(*b)) {
        let (band, meter, _) = set(repeats[0]);
        moments.extend(repeats.iter().enumerate().map(|(place, &row)| ((band, meter, place), row)));
    }
    moments.sort_unstable();
    Whole { rows, moments }
}

/// Pairs of a visit's mountings: all of a few, neighbours of many.
fn pairs(visit: &[Whole]) -> Vec<(&Whole, &Whole)> {
    let reach = if visit.len() <= 8 { visit.len() } else { 1 };
    let from = |i: usize| (i + 1..visit.len().min(i + 1 + reach)).map(move |j| (&visit[i], &visit[j]));
    (0..visit.len()).flat_map(from).collect()
}

fn mounting_words(log: &Log, row: usize) -> String {
    match log.rows[row].mounting {
        Some(number) => format!("mounting {number} of {} in {}", log.antenna(row), log.session(row)),
        None => format!("{} in {}", log.antenna(row), log.session(row)),
    }
}

const WHY: &str = "copied readings show a scatter that is not there: intervals become too narrow and verdicts too sure";
const ACTION: &str =
    "kept; if they were copied, leave the copy out on the record; if the display is coarser than declared, declare it";

fn between(log: &Log, first: &[usize], second: &[usize], tally: &Tally) -> Finding {
    let what = format!(
        "{} repeats {}: {} of {} readings are the same to the last digit, where scatter lets {:.1} be",
        mounting_words(log, second[0]),
        mounting_words(log, first[0]),
        tally.agree,
        tally.chances.len(),
        tally.chances.iter().sum::<f64>()
    );
    let rows: Vec<usize> = second.iter().chain(first).copied().collect();
    log.finding(Severity::Warning, &rows, what, WHY, ACTION)
}

fn inside(log: &Log, visit: &[Whole], tally: &Tally) -> Finding {
    let rows: Vec<usize> = visit.iter().flat_map(|m| m.rows.clone()).collect();
    let what = format!(
        "repeats of {} in {} are the same to the last digit {} times in {}, where scatter lets {:.1} be",
        log.antenna(rows[0]),
        log.session(rows[0]),
        tally.agree,
        tally.chances.len(),
        tally.chances.iter().sum::<f64>()
    );
    log.finding(Severity::Warning, &rows, what, WHY, ACTION)
}

/// Whole mountings that stand twice in the log, in different visits.
fn elsewhere(log: &Log, chance: &[f64], visits: &[Vec<Whole>]) -> Vec<Finding> {
    let all: Vec<&Whole> = visits.iter().flatten().collect();
    let places: Vec<usize> = (0..all.len()).collect();
    let content = |i: usize| -> Vec<(Moment, usize, u64)> {
        let shown = |&(m, row): &(Moment, usize)| (m, log.rows[row].quantity, log.rows[row].value.to_bits());
        all[i].moments.iter().map(shown).collect()
    };
    let level = Test::Copies.level(3 * all.len() * all.len().saturating_sub(1) / 2);
    let mut out = vec![];
    for same in group(&places, content).into_iter().filter(|g| g.len() > 1) {
        let first = all[same[0]];
        for &other in &same[1..] {
            let other = all[other];
            let visit = |w: &Whole| (log.rows[w.rows[0]].session, log.rows[w.rows[0]].antenna);
            if visit(first) == visit(other) {
                continue;
            }
            let mut tally = Tally::default();
            first.each().for_each(|rows| tally.add(log, chance, rows, other.at(rows[0].0)));
            if tally.is_beyond(level) && set_of(log, first.rows[0]).is_some() {
                out.push(between(log, &first.rows, &other.rows, &tally));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::steady::{ANTENNAS, CONFIG, at, csv, log};
    use super::super::tests::findings;

    /// Six bands' worth of evidence from one: a visit's mountings copied in every session is seen; here one
    /// mounting of four moments cannot be told from chance, all of a session's can.
    #[test]
    fn repeats_copied_inside_a_visit_are_seen_and_chance_agreement_is_not() {
        let mut lines = log(8);
        assert!(findings("copied repeats", CONFIG, &csv(&lines)).is_empty());
        for mounting in 1..=3 {
            for quantity in ["field_strength", "swr"] {
                let pair = at(&lines, 4, "robin", mounting, quantity);
                lines[pair[1]].value = lines[pair[0]].value;
            }
        }
        let found = findings("copied repeats", CONFIG, &csv(&lines));
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].what.contains("robin in 2026-05-05") && found[0].what.contains("6 times in 6"),
            "{}",
            found[0].what
        );
    }

    #[test]
    fn a_coarse_display_copies_nobody() {
        let mut lines = log(8);
        lines.iter_mut().for_each(|l| l.value = if l.quantity == "swr" { 1.5 } else { -32.0 });
        assert!(ANTENNAS.len() == 3 && findings("copied repeats", CONFIG, &csv(&lines)).is_empty());
    }
}
