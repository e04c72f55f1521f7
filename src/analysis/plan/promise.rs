//! The chance that so many more sessions settle a pair: simulated, and judged by the real inference.
//!
//! One trial takes what the components may truly be and where the antennas may truly stand, jointly drawn given the log,
//! then draws the sessions to come; the log and they together are fitted as `antennas` fits them, and the pair's
//! interval is held against zero and against what matters. Averaging over what is not known matters: a plan that takes
//! an estimate for the truth promises too much.
//!
//! One thing is made cheaper than in `antennas`: the quantile of the largest |t| is found once for each design, from
//! replays of some of the trials put together, and not anew in every trial. It depends on the design far more than on the
//! data.
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
use crate::montecarlo::replays::Replays;
use crate::montecarlo::simultaneous::{self, PairDifference, SetFit};
use crate::montecarlo::stream::{Stream, stream};
use crate::montecarlo::tail::{self, sorted};
use crate::stats::mixed::{Draw, EstimateErrors, Layout, Level, LevelState, MountingSummary, posterior};

/// Trials that share one stream.
const BATCH: usize = 25;

/// Streams of plans are numbered apart from those of replays, declared errors and shuffles.
const PLAN_TASKS: u64 = 1 << 23;
/// The stream of what is possible, after those of all designs.
const POSSIBLE_TASK: u64 = PLAN_TASKS + (1 << 21) + 1;

/// Replays of one trial in each batch, over the chance of any false verdict; and the most. With those of eight batches in
/// hand, a critical value of 95 % is good to some 2 %; a confidence that they do not resolve is bounded, not read from
/// them.
const REPLAYS: f64 = 12.5;
const MOST_REPLAYS: usize = 1_500;
/// The most draws behind a declared half-width.
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
    /// What may truly be, given the log: so many draws, rounded up to whole batches. Every design is tried on the same.
    ///
    /// Where the log shows every level, or holds it in another, they come from the joint posterior; else the components
    /// are as declared or guessed, and the antennas where the log has them, less what that may err by.
    pub fn possible(&self, trials: usize, seed: u64) -> Vec<Draw> {
        let count = trials.div_ceil(BATCH) * BATCH;
        let mut rng = stream(seed, POSSIBLE_TASK, 0);
        let held = self.log.iter().map(|m| m.antenna + 1).max().unwrap_or(0);
        let known = Layout::new(held, &self.log);
        let shown = known.as_ref().filter(|(layout, _)| !layout.states().contains(&LevelState::Unseen));
        let drawn = shown.and_then(|(layout, data)| {
            posterior::draws(layout, data, &self.components.fitted, self.floor, count, &mut rng)
        });
        if let Some(mut drawn) = drawn {
            for draw in &mut drawn {
                draw.theta = self.components.outwards(draw.theta);
                draw.antennas.extend_from_slice(&self.estimates[held..]);
            }
            return drawn;
        }
        let mut errors = known.as_ref().map(|(layout, _)| EstimateErrors::new(layout));
        let one = |_| {
            let theta = self.components.draw(&mut rng);
            let mut antennas = self.estimates.clone();
            // a level may be declared or seen as nothing, where V is singular
            let above = theta.map(|t| t.max(1e-12));
            let off = known.as_ref().zip(errors.as_mut()).and_then(|((l, _), errors)| errors.draw(l, &above, &mut rng));
            antennas.iter_mut().zip(off.unwrap_or_default()).for_each(|(a, e)| *a += e);
            Draw { theta, antennas }
        };
        (0..count).map(one).collect()
    }

    /// The chances of the pairs, a trial on each of what is [`possible`](Situation::possible). `number` picks the random
    /// streams.
    pub fn chances(&self, design: &Design, asked: &[Asked], possible: &[Draw], seed: u64, number: u64) -> Vec<Chance> {
        let batches: Vec<Batch> = possible
            .par_chunks(BATCH)
            .enumerate()
            .map(|(i, possible)| self.batch(design, asked, possible, &mut stream(seed, PLAN_TASKS + number, i as u64)))
            .collect();
        let largest = sorted(batches.iter().flat_map(|b| b.largest.iter().copied()).collect());
        // no run could be fitted: then none is judged
        let critical = if largest.is_empty() { 1.0 } else { simultaneous::critical(&largest, self.confidence) };
        let mut sums = vec![[0.0; 2]; asked.len()];
        for trial in batches.iter().flat_map(|b| &b.trials) {
            for ((sum, pair), (run, truth)) in sums.iter_mut().zip(asked).zip(trial) {
                let judged = self.judge(run, critical, *truth, pair);
                sum[0] += f64::from(judged[0]);
                sum[1] += f64::from(judged[1]);
            }
        }
        let all = possible.len() as f64;
        (0..asked.len())
            .map(|i| {
                let of = |k: usize| Simulated::of(sums[i][k], all);
                let shows = asked[i].matters.map(|_| of(1));
                Chance {
                    settled: if asked[i].measured { of(0) } else { shows.unwrap_or(Simulated::of(0.0, all)) },
                    shows_what_matters: shows,
                }
            })
            .collect()
    }

    /// A trial on each of what is possible, and replays of the first of them.
    fn batch(&self, design: &Design, asked: &[Asked], possible: &[Draw], rng: &mut Stream) -> Batch {
        let replays_seed = rng.random();
        let (mut trials, mut replays) = (vec![], Replays::default());
        for truth in possible {
            let Some(fit) = self.run(design, truth, rng) else { continue };
            if trials.is_empty() {
                let count = ((REPLAYS / (1.0 - self.confidence)).ceil() as usize).min(MOST_REPLAYS);
                fit.replay(&mut replays, count, replays_seed, PLAN_TASKS, &|| ());
            }
            let of = |pair: &Asked| {
                let (a, b) = (pair.first.min(pair.second), pair.first.max(pair.second));
                let found = fit.pairs.iter().find(|p| (p.first, p.second) == (a, b));
                found.map(|p| (*p, truth.antennas[a] - truth.antennas[b]))
            };
            trials.extend(asked.iter().map(of).collect::<Option<Vec<_>>>());
        }
        Batch { trials, largest: replays.largest }
    }

    /// The log and one simulation of the sessions to come, fitted.
    fn run(&self, design: &Design, truth: &Draw, rng: &mut impl Rng) -> Option<SetFit> {
        let theta = &truth.theta;
        let mut mountings = self.log.clone();
        let first = mountings.iter().map(|m| m.session + 1).max().unwrap_or(0);
        let mut normal = |sd: f64| sd * RngExt::sample::<f64, _>(rng, StandardNormal);
        let n = design.readings as f64;
        let mut new = vec![];
        for session in first..first + design.sessions {
            let day = normal(theta[0].sqrt());
            for &antenna in &self.present {
                let visit = truth.antennas[antenna] + day + normal(theta[1].sqrt());
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

    /// Whether a pair is settled, and whether it would be apart if the two differed by what matters. `truth` is what they
    /// truly differ by.
    fn judge(&self, pair: &PairDifference, critical: f64, truth: f64, asked: &Asked) -> [bool; 2] {
        let declared = self.declared[pair.first * self.antennas + pair.second];
        let half = pair.half_width_at(critical, self.confidence).hypot(declared);
        let apart = pair.difference.abs() > half;
        let even = asked.matters.is_some_and(|m| pair.difference.abs() + half < m);
        // estimates move with the truth: what is off now is off then
        let off = pair.difference - truth;
        let shown = asked.matters.is_some_and(|m| (m + off).abs() > half);
        [apart || even, shown]
    }
}

/// Trials that share one stream: of each, the pairs that are asked about and what they truly differ by; and the largest |t|
/// of replays of one of them.
struct Batch {
    trials: Vec<Vec<(PairDifference, f64)>>,
    largest: Vec<f64>,
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
    use crate::stats::mixed::Theta;
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
        let chance = situation.chances(&design, &asked, &situation.possible(1000, 1), 1, 1)[0]
            .shows_what_matters
            .unwrap()
            .chance;
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
            situation.chances(&design, &asked, &situation.possible(1000, 1), 1, 1)[0].shows_what_matters.unwrap().chance
        };
        assert!((chance(2, 6) - chance(2, 2)).abs() < 0.05, "{} {}", chance(2, 6), chance(2, 2));
        assert!(chance(8, 2) > chance(2, 2) + 0.03, "{} {}", chance(8, 2), chance(2, 2));
    }

    #[test]
    fn the_same_seed_gives_the_same_chances_on_any_number_of_threads() {
        let situation = situation(3, [1.0, 0.3, 0.3, 0.1]);
        let asked = [Asked { first: 0, second: 2, matters: Some(1.0), measured: false }];
        let design = Design { sessions: 3, mountings: 2, readings: 2 };
        let run = || situation.chances(&design, &asked, &situation.possible(100, 7), 7, 3);
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap().install(run);
        assert_eq!(one, run());
    }
}
