//! The chance that so many more sessions settle a pair: simulated, and judged by the real inference.
//!
//! One trial draws what the components may truly be, then where the antennas may truly stand given the log and those
//! components, then the sessions to come; the log and they together are fitted as `antennas` fits them, and the
//! pair's interval is held against zero and against what matters. Averaging over what is not known of the components
//! matters: a plan that takes an estimate for the truth promises too much.
//!
//! One thing is made cheaper than in `antennas`: the quantile of the largest |t| is found by replays once for each design,
//! at the components' estimates, and not again in every trial. It depends on the design far more than on the data.
//!
//! # Source
//! Averaging a study's power over what is not known: Spiegelhalter, Freedman & Blackburn (1986), *Controlled Clinical
//! Trials* 7:8–17.

use rand::Rng;
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};
use rayon::prelude::*;

use super::components::Components;
use super::reference;
use crate::analysis::antennas::sources::SetSources;
use crate::montecarlo::replays::{CHUNK, Replays};
use crate::montecarlo::simultaneous::SetFit;
use crate::montecarlo::stream::stream;
use crate::montecarlo::tail::{self, sorted};
use crate::stats::mixed::{EstimateErrors, Layout, Level, LevelState, MountingSummary, Theta};

/// Trials that share one stream.
const BATCH: usize = 25;

/// Streams of plans are numbered apart from those of replays, declared errors and shuffles.
const PLAN_TASKS: u64 = 1 << 23;

/// The most replays behind a critical value and draws behind a declared half-width; a confidence that they do not
/// resolve is bounded, not read from them.
const MOST_REPLAYS: usize = 10_000;
const MOST_DRAWS: usize = 100_000;

/// What is added to the log.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Design {
    /// Sessions.
    pub sessions: usize,
    /// Mountings of each antenna in each.
    pub mountings: usize,
    /// Readings of each mounting.
    pub readings: usize,
}

/// All that a plan is simulated from. Numbers are on the analysis scale.
#[derive(Debug, Clone)]
pub struct Situation {
    /// Number of antennas in the set, those never measured last.
    pub antennas: usize,
    /// The log's mountings; empty where there is none.
    pub log: Vec<MountingSummary>,
    /// Where the antennas stand: estimates; anything for those never measured.
    pub estimates: Vec<f64>,
    /// The scatter.
    pub components: Components,
    /// Antennas of the sessions to come.
    pub present: Vec<usize>,
    /// The reference antenna, mounted as often as [`reference::mountings`] says, if it is among them.
    pub reference: Option<usize>,
    /// Half-width that declared sources add to each pair, `antennas`².
    pub declared: Vec<f64>,
    /// Confidence of the family.
    pub confidence: f64,
    /// The variance that display rounding alone gives one reading.
    pub floor: f64,
}

/// A pair that is asked about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// First antenna.
    pub first: usize,
    /// Second antenna.
    pub second: usize,
    /// What matters, where the season says.
    pub matters: Option<f64>,
    /// Whether the log knows anything of their difference.
    pub measured: bool,
}

/// A chance, as so many simulated continuations found it.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct Simulated {
    /// The share of the trials in which it came true.
    pub chance: f64,
    /// Half-width of its 95 % interval from the finite number of trials alone.
    pub half_width: f64,
}

impl Simulated {
    /// From `hits` of so many independent trials. The half-width is that of Agresti & Coull (1998), *The American
    /// Statistician* 52:119–126, which does not vanish at none or all.
    pub fn of(hits: f64, trials: f64) -> Simulated {
        let z = 1.96_f64;
        let (n, x) = (trials + z * z, hits + z * z / 2.0);
        let p = x / n;
        Simulated { chance: hits / trials.max(1.0), half_width: z * (p * (1.0 - p) / n).sqrt() }
    }

    /// The mean of several from the same trials, which may err together: it is no better known than they are.
    pub fn mean(all: impl Iterator<Item = Simulated>) -> Option<Simulated> {
        let all: Vec<Simulated> = all.collect();
        let n = all.len() as f64;
        let of = |f: fn(&Simulated) -> f64| all.iter().map(f).sum::<f64>() / n;
        (!all.is_empty()).then(|| Simulated { chance: of(|s| s.chance), half_width: of(|s| s.half_width) })
    }
}

/// What a plan promises of one pair.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct Chance {
    /// That it is apart or even afterwards: with what the log says of the difference.
    pub settled: Simulated,
    /// That it is apart, if the two truly differ by just what matters.
    pub shows_what_matters: Option<Simulated>,
}

impl Situation {
    /// The chances of the pairs, by so many trials (rounded up to whole batches). `number` picks the random streams.
    pub fn chances(&self, design: &Design, asked: &[Asked], trials: usize, seed: u64, number: u64) -> Vec<Chance> {
        let critical = self.critical(design, seed, number);
        let known = self.known_layout();
        let batches: Vec<Vec<[f64; 2]>> = (0..trials.div_ceil(BATCH))
            .into_par_iter()
            .map(|batch| {
                let mut rng = stream(seed, PLAN_TASKS + number, 1 + batch as u64);
                let mut errors = known.as_ref().map(EstimateErrors::new);
                let mut sums = vec![[0.0; 2]; asked.len()];
                for _ in 0..BATCH {
                    let theta = self.components.draw(&mut rng);
                    let truth = self.truth(&theta, known.as_ref(), errors.as_mut(), &mut rng);
                    let Some(fit) = self.run(design, &theta, &truth, &mut rng) else { continue };
                    for (sum, pair) in sums.iter_mut().zip(asked) {
                        let judged = self.judge(&fit, critical, &truth, pair);
                        sum[0] += f64::from(judged[0]);
                        sum[1] += f64::from(judged[1]);
                    }
                }
                sums
            })
            .collect();
        let all = (trials.div_ceil(BATCH) * BATCH) as f64;
        (0..asked.len())
            .map(|i| {
                let of = |k: usize| Simulated::of(batches.iter().map(|b| b[i][k]).sum(), all);
                let shows = asked[i].matters.map(|_| of(1));
                Chance {
                    settled: if asked[i].measured { of(0) } else { shows.unwrap_or(Simulated::of(0.0, all)) },
                    shows_what_matters: shows,
                }
            })
            .collect()
    }

    /// The structure of the log's own part, of the antennas it holds.
    fn known_layout(&self) -> Option<Layout> {
        let held = self.log.iter().map(|m| m.antenna + 1).max()?;
        Layout::new(held, &self.log).map(|(layout, _)| layout)
    }

    /// Where the antennas may truly stand: their estimates, less what those may err by.
    fn truth(
        &self,
        theta: &Theta,
        known: Option<&Layout>,
        errors: Option<&mut EstimateErrors>,
        rng: &mut impl Rng,
    ) -> Vec<f64> {
        let mut truth = self.estimates.clone();
        // a level the log shows may be drawn at nothing, where V is singular
        let theta = theta.map(|t| t.max(1e-12));
        if let Some(drawn) = known.zip(errors).and_then(|(layout, errors)| errors.draw(layout, &theta, rng)) {
            truth.iter_mut().zip(drawn).for_each(|(t, e)| *t += e);
        }
        truth
    }

    /// The log and one simulation of the sessions to come, fitted.
    fn run(&self, design: &Design, theta: &Theta, truth: &[f64], rng: &mut impl Rng) -> Option<SetFit> {
        let mut mountings = self.log.clone();
        let first = mountings.iter().map(|m| m.session + 1).max().unwrap_or(0);
        let mut normal = |sd: f64| sd * RngExt::sample::<f64, _>(rng, StandardNormal);
        let n = design.readings as f64;
        let mut new = vec![];
        for session in first..first + design.sessions {
            let day = normal(theta[0].sqrt());
            for &antenna in &self.present {
                let visit = truth[antenna] + day + normal(theta[1].sqrt());
                let times = match self.reference {
                    Some(r) if r == antenna => reference::mountings(design.mountings),
                    _ => design.mountings,
                };
                for _ in 0..times {
                    let mean = visit + normal(theta[2].sqrt()) + normal((theta[3] / n).sqrt());
                    new.push(MountingSummary { session, antenna, readings: n, df: n - 1.0, mean, sum_of_squares: 0.0 });
                }
            }
        }
        if let Some(chi) = (n > 1.0).then(|| ChiSquared::new(n - 1.0).ok()).flatten() {
            new.iter_mut().for_each(|m| m.sum_of_squares = theta[3] * RngExt::sample(rng, chi));
        }
        mountings.extend(new);
        let (layout, mut data) = Layout::new(self.antennas, &mountings)?;
        // one visit each: what another day would change is unknown, and no pair has a verdict
        if layout.states()[Level::Visit as usize] == LevelState::Unseen {
            return None;
        }
        data.lift_to(&layout, self.floor);
        SetFit::new(layout, &data, self.floor, self.confidence)
    }

    /// The quantile of the largest scaled |t|, from replays of one simulated run of the design.
    fn critical(&self, design: &Design, seed: u64, number: u64) -> f64 {
        let mut rng = stream(seed, PLAN_TASKS + number, 0);
        let theta = self.components.theta.map(|t| t.max(1e-12));
        let trials = ((50.0 / (1.0 - self.confidence)).ceil() as usize).next_multiple_of(CHUNK).min(MOST_REPLAYS);
        // without replays, each pair's own t at the level divided among all
        let Some(fit) = self.run(design, &theta, &self.estimates, &mut rng) else { return 1.0 };
        let mut replays = Replays::default();
        fit.replay(&mut replays, trials, seed, PLAN_TASKS + (1 << 22) + number, &|| ());
        fit.critical(&sorted(replays.largest))
    }

    /// Whether a pair is settled, and whether it would be apart if the two differed by what matters.
    fn judge(&self, fit: &SetFit, critical: f64, truth: &[f64], asked: &Asked) -> [bool; 2] {
        let (a, b) = (asked.first.min(asked.second), asked.first.max(asked.second));
        let Some(pair) = fit.pairs.iter().find(|p| (p.first, p.second) == (a, b)) else { return [false; 2] };
        let half = pair.half_width(critical).hypot(self.declared[a * self.antennas + b]);
        let apart = pair.difference.abs() > half;
        let even = asked.matters.is_some_and(|m| pair.difference.abs() + half < m);
        // estimates move with the truth: what is off now is off then
        let off = pair.difference - (truth[a] - truth[b]);
        let shown = asked.matters.is_some_and(|m| (m + off).abs() > half);
        [apart || even, shown]
    }
}

/// Half-widths that declared sources add, each pair's, all at once at that confidence.
pub fn declared_half_widths(sources: &SetSources, antennas: usize, confidence: f64, seed: u64) -> Vec<f64> {
    let mut out = vec![0.0; antennas * antennas];
    if !sources.any_counts() {
        return out;
    }
    let standard: Vec<(usize, usize, f64)> = (0..antennas)
        .flat_map(|i| (i + 1..antennas).map(move |j| (i, j)))
        .map(|(i, j)| (i, j, sources.standard_of_difference(i, j)))
        .collect();
    let mut rng = stream(seed, PLAN_TASKS + (1 << 21), 0);
    let trials = ((50.0 / (1.0 - confidence)).ceil() as usize).min(MOST_DRAWS);
    let (mut errors, mut season) = (vec![0.0; antennas], vec![0.0; antennas]);
    let largest: Vec<f64> = (0..trials)
        .map(|_| {
            sources.draw(&mut rng, &mut errors, &mut season);
            let scaled =
                |&(i, j, u): &(usize, usize, f64)| if u > 0.0 { (errors[i] - errors[j]).abs() / u } else { 0.0 };
            standard.iter().map(scaled).fold(0.0, f64::max)
        })
        .collect();
    let critical = tail::quantile(&sorted(largest), confidence);
    for (i, j, u) in standard {
        out[i * antennas + j] = u * critical;
        out[j * antennas + i] = u * critical;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    fn situation(antennas: usize, theta: Theta) -> Situation {
        Situation {
            antennas,
            log: vec![],
            estimates: vec![0.0; antennas],
            components: Components::known(theta),
            present: (0..antennas).collect(),
            reference: None,
            declared: vec![0.0; antennas * antennas],
            confidence: 0.95,
            floor: 0.0,
        }
    }

    /// Two antennas, many sessions: the power of a paired test whose variance is as good as known.
    #[test]
    fn with_many_sessions_the_promise_is_the_power_of_the_paired_test() {
        let situation = situation(2, [4.0, 1.0, 0.5, 0.25]);
        let asked = [Asked { first: 0, second: 1, matters: Some(1.0), measured: false }];
        let design = Design { sessions: 40, mountings: 2, readings: 1 };
        let chance = situation.chances(&design, &asked, 1000, 1, 1)[0].shows_what_matters.unwrap().chance;
        // Var(d) = 2·(1 + 0.25 + 0.125)/40; 39 df: t = 2.023
        let sd = (2.0f64 * 1.375 / 40.0).sqrt();
        let wanted = 1.0 - Normal::standard().cdf(2.023 - 1.0 / sd);
        assert!((chance - wanted).abs() < 0.04, "{chance} {wanted}");
    }

    #[test]
    fn repeating_a_level_that_does_not_scatter_promises_nothing_more() {
        let situation = situation(3, [1.0, 0.3, 0.3, 0.0001]);
        let asked = [Asked { first: 0, second: 1, matters: Some(1.5), measured: false }];
        let chance = |mountings: usize, readings: usize| {
            let design = Design { sessions: 4, mountings, readings };
            situation.chances(&design, &asked, 1000, 1, 1)[0].shows_what_matters.unwrap().chance
        };
        assert!((chance(2, 6) - chance(2, 2)).abs() < 0.05, "{} {}", chance(2, 6), chance(2, 2));
        assert!(chance(8, 2) > chance(2, 2) + 0.03, "{} {}", chance(8, 2), chance(2, 2));
    }

    #[test]
    fn the_same_seed_gives_the_same_chances_on_any_number_of_threads() {
        let situation = situation(3, [1.0, 0.3, 0.3, 0.1]);
        let asked = [Asked { first: 0, second: 2, matters: Some(1.0), measured: false }];
        let design = Design { sessions: 3, mountings: 2, readings: 2 };
        let run = || situation.chances(&design, &asked, 100, 7, 3);
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap().install(run);
        assert_eq!(one, run());
    }
}
