//! A step in how whole sessions read: the mark of a meter that shifted, was calibrated afresh, or got another
//! adaptor.
//!
//! Sessions that differ by chance are averaged, and their spread says how well the average is known. A step
//! is no chance: before it and after it the meter read differently, and no average of the two is right. Which
//! side is, no antenna's reading says (check loads can); an absolute result must hold on either.

use rand::RngExt;
use rand_distr::StandardNormal;

use crate::montecarlo::stream::stream;
use crate::stats::change_point::statistic::largest;
use crate::stats::change_point::{Channel, LEAST_POINTS};
use crate::stats::mixed::SessionLevel;

/// Trials that say how large a step chance alone makes.
const TRIALS: usize = 4000;

/// A step rarer than this by chance is taken for one. A false alarm costs width, a step unseen costs a false
/// verdict: so it is not set lower.
const RARE: f64 = 0.05;

/// A step between two sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Shift {
    /// The last session before it, by its place among the set's sessions.
    pub last_before: usize,
    /// The first after it.
    pub first_after: usize,
    /// How the sessions before it, and after it, stand to all of them; and how surely each is known.
    pub sides: [Side; 2],
    /// Degrees of freedom of the scatter inside the sides.
    pub df: f64,
    /// How often chance alone makes a step as large.
    pub p_value: f64,
    /// Standard error of the step as it bears on each side, where it was found in other sessions than these: on top of
    /// what their own scatter says. `None` where the sides were found in these sessions.
    pub borrowed: Option<[f64; 2]>,
}

/// The sessions on one side of a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// Their mean, about the mean of all sessions.
    pub offset: f64,
    /// Standard error of it.
    pub error: f64,
    /// Number of sessions.
    pub sessions: usize,
}

impl Shift {
    /// After less before.
    pub fn size(&self) -> f64 {
        self.sides[1].offset - self.sides[0].offset
    }

    /// The step as it bears on antennas of other sessions, read by the same meter: by how much their own sessions' level
    /// is off, should the meter be right on one side or on the other. Sessions between the two sides may be on either.
    pub fn seen_from(&self, sessions: &[SessionLevel]) -> Shift {
        let count = |is: &dyn Fn(usize) -> bool| sessions.iter().filter(|s| is(s.session)).count() as f64;
        let before = count(&|s| s <= self.last_before);
        let after = count(&|s| s >= self.first_after);
        let between = sessions.len() as f64 - before - after;
        let total = sessions.len().max(1) as f64;
        let size = self.size();
        // the share of the step that these sessions must be moved by, at most, if the first or the second side is right
        let shares = [-(after + between) / total, (before + between) / total];
        let spread = self.sides[0].error * (self.sides[0].sessions as f64).sqrt();
        let error = spread * self.sides.map(|s| 1.0 / s.sessions as f64).iter().sum::<f64>().sqrt();
        let side = |k: usize| Side { offset: shares[k] * size, ..self.sides[k] };
        Shift { sides: [side(0), side(1)], borrowed: Some(shares.map(|share| share.abs() * error)), ..self.clone() }
    }
}

/// Looks for a step among sessions in their order: the likeliest of all places a step could have, against the
/// same in normal draws that have none. `None` with fewer than five sessions, where a
/// step can't be told from scatter, or where chance does as much often enough.
///
/// # Source
/// The likelihood ratio test for one change in a normal mean: Hawkins (1977), J. Am. Stat. Assoc.
/// 72:180–186; its null distribution here by simulation.
pub fn find(levels: &[SessionLevel], seed: u64, task: u64) -> Option<Shift> {
    if levels.len() < LEAST_POINTS {
        return None;
    }
    let values: Vec<f64> = levels.iter().map(|s| s.level).collect();
    let mut series = [Channel::alike(values.clone())];
    let (at, seen) = largest(&series)?;
    let mut rng = stream(seed, task, 0);
    let mut beyond = 0;
    for _ in 0..TRIALS {
        series[0].values.iter_mut().for_each(|x| *x = rng.sample(StandardNormal));
        beyond += usize::from(largest(&series).is_some_and(|(_, by_chance)| by_chance >= seen));
    }
    let p_value = (1 + beyond) as f64 / (1 + TRIALS) as f64;
    if p_value > RARE {
        return None;
    }
    let df = (values.len() - 2) as f64;
    let (before, after) = values.split_at(at);
    let spread = ((squares(before) + squares(after)) / df).sqrt();
    let side = |x: &[f64]| Side { offset: mean(x), error: spread / (x.len() as f64).sqrt(), sessions: x.len() };
    Some(Shift {
        last_before: levels[at - 1].session,
        first_after: levels[at].session,
        sides: [side(before), side(after)],
        df,
        p_value,
        borrowed: None,
    })
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}

/// Sum of squares about the mean.
fn squares(x: &[f64]) -> f64 {
    let m = mean(x);
    x.iter().map(|v| (v - m).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(values: &[f64]) -> Vec<SessionLevel> {
        values.iter().enumerate().map(|(session, &level)| SessionLevel { session, level }).collect()
    }

    #[test]
    fn a_step_is_found_where_it_is_with_its_size() {
        let seen = find(&levels(&[0.1, -0.1, 0.0, 0.05, 1.0, 1.1, 0.95, 1.05]), 1, 0).unwrap();
        assert_eq!((seen.last_before, seen.first_after), (3, 4));
        assert!((seen.size() - 1.0125).abs() < 1e-12, "{}", seen.size());
        assert!(seen.p_value < 0.01);
        assert_eq!(seen.sides[0].sessions, 4);
    }

    #[test]
    fn a_step_bears_on_other_sessions_by_the_side_they_are_on() {
        let step = find(&levels(&[0.1, -0.1, 0.0, 0.05, 1.0, 1.1, 0.95, 1.05]), 1, 0).unwrap();
        let from = |sessions: &[usize]| {
            let own: Vec<SessionLevel> = sessions.iter().map(|&session| SessionLevel { session, level: 0.0 }).collect();
            step.seen_from(&own).sides.map(|s| s.offset)
        };
        let size = step.size();
        assert_eq!(from(&[1]), [0.0, size]);
        assert_eq!(from(&[6]), [-size, 0.0]);
        assert_eq!(from(&[0, 7]), [-size / 2.0, size / 2.0]);
        // the error is that of the step, where it counts: scatter inside the sides, over four sessions each
        let own = [SessionLevel { session: 1, level: 0.0 }];
        let spread = step.sides[0].error * 2.0;
        let [none, whole] = step.seen_from(&own).borrowed.unwrap();
        assert!(none == 0.0 && (whole - spread * 0.5f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn few_sessions_and_sessions_all_alike_show_no_step() {
        assert_eq!(find(&levels(&[0.0, 0.0, 1.0, 1.0]), 1, 0), None);
        assert_eq!(find(&levels(&[0.0; 9]), 1, 0), None);
    }

    #[test]
    fn chance_alone_is_rarely_taken_for_a_step() {
        let mut rng = stream(7, 0, 0);
        let seasons = 400;
        let found = (0..seasons)
            .filter(|_| {
                let values: Vec<f64> = (0..9).map(|_| rng.sample(StandardNormal)).collect();
                find(&levels(&values), 1, 0).is_some()
            })
            .count();
        // 5 % of 400 is 20; five standard deviations above is 42
        assert!(found <= 42, "{found} of {seasons}");
    }
}
