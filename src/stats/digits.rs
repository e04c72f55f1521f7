//! Whether the last digits of readings are the display's or the writer's.

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;
use statrs::distribution::{ContinuousCDF, Gamma};

/// A reading, in steps of its display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// The reading, a whole number of steps.
    pub steps: i64,
    /// Where it is expected from others of its kind, in steps.
    pub expected: f64,
    /// With which standard deviation, in steps.
    pub sd: f64,
}

/// How the last digits fall.
#[derive(Debug, Clone, PartialEq)]
pub struct Digits {
    /// Readings with last digit 0 to 9.
    pub counts: [f64; 10],
    /// How many are expected.
    pub expected: [f64; 10],
    /// χ² = Σ(count − expected)²/expected.
    pub statistic: f64,
    /// The chance of so large a χ² where every reading is rounded to the nearest step.
    pub p: f64,
}

/// Compares last digits with those that rounding alone gives.
///
/// Every trial draws each reading from a normal about where it is expected and rounds it: where scatter is narrow
/// against ten steps the digits follow the readings' sizes, and are not taken for a habit. The p comes from
/// a gamma distribution with the mean and variance that χ² has over the trials, so that it can be smaller than one in
/// the number of trials. `None` below 50 readings, or where scatter is so narrow that a digit's
/// count is all but settled.
///
/// # Source
/// χ²: Pearson (1900), Philos. Mag. 50:157–175; its null distribution by simulation is our own.
pub fn last_digits(readings: &[Shown], trials: usize, rng: &mut impl Rng) -> Option<Digits> {
    if readings.len() < 50 {
        return None;
    }
    let digit = |steps: f64| (steps as i64).rem_euclid(10) as usize;
    let draws: Vec<[f64; 10]> = (0..trials)
        .map(|_| {
            let mut counts = [0.0; 10];
            for r in readings {
                counts[digit((r.expected + r.sd * rng.sample::<f64, _>(StandardNormal)).round())] += 1.0;
            }
            counts
        })
        .collect();
    let expected: [f64; 10] = std::array::from_fn(|d| draws.iter().map(|c| c[d]).sum::<f64>() / trials as f64);
    if expected.iter().any(|e| *e < 1.0) {
        return None;
    }
    let statistic = |counts: &[f64; 10]| counts.iter().zip(&expected).map(|(c, e)| (c - e).powi(2) / e).sum::<f64>();
    let null: Vec<f64> = draws.iter().map(statistic).collect();
    let mean = null.iter().sum::<f64>() / trials as f64;
    let variance = null.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (trials as f64 - 1.0);
    let mut counts = [0.0; 10];
    readings.iter().for_each(|r| counts[digit(r.steps as f64)] += 1.0);
    let seen = statistic(&counts);
    let p = Gamma::new(mean * mean / variance, mean / variance).map_or(1.0, |g| g.sf(seen));
    Some(Digits { counts, expected, statistic: seen, p })
}

/// The coarsest step, as a multiple of the display's (10, 5 or 2), that at least that share of the readings are
/// whole multiples of; 1 where there is none.
pub fn coarser_step(counts: &[f64; 10], least: f64) -> usize {
    let total: f64 = counts.iter().sum();
    let share = |m: usize| (0..10).filter(|d| d % m == 0).map(|d| counts[d]).sum::<f64>() / total;
    [10, 5, 2].into_iter().find(|&m| share(m) >= least).unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;

    fn readings(n: usize, sd: f64, habit: impl Fn(i64) -> i64, chunk: u64) -> Vec<Shown> {
        let mut rng = stream(3, 0, chunk);
        (0..n)
            .map(|i| {
                let expected = 140.0 + (i % 7) as f64 * 3.7;
                let steps = (expected + sd * rng.sample::<f64, _>(StandardNormal)).round() as i64;
                Shown { steps: habit(steps), expected, sd }
            })
            .collect()
    }

    #[test]
    fn a_habit_of_halves_is_seen_and_its_step_named() {
        let habit = readings(200, 6.0, |s| (s as f64 / 5.0).round() as i64 * 5, 0);
        let digits = last_digits(&habit, 400, &mut stream(3, 1, 0)).unwrap();
        assert!(digits.p < 1e-10);
        assert_eq!(coarser_step(&digits.counts, 0.9), 5);
    }

    #[test]
    fn rounding_alone_makes_no_habit_however_narrow_the_scatter() {
        for sd in [0.5, 1.0, 3.0, 20.0] {
            let mut small = 0;
            for season in 0..200 {
                let clean = readings(120, sd, |s| s, 100 + season);
                let digits = last_digits(&clean, 200, &mut stream(3, 2, season));
                small += usize::from(digits.is_some_and(|d| d.p < 0.01));
            }
            // 1 − 10⁻⁴ of a binomial of 200 at 0.01 lies at or below 9
            assert!(small <= 9, "{sd}: {small}");
        }
        assert_eq!(coarser_step(&[10.0; 10], 0.9), 1);
    }

    #[test]
    fn few_readings_show_no_habit() {
        assert_eq!(last_digits(&readings(49, 5.0, |s| s, 1), 100, &mut stream(3, 3, 0)), None);
    }
}
