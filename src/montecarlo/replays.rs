//! Replays of one set: the season simulated again from the fitted components, and estimated again.
//!
//! Each replay's estimates are studentized by the replay's own fit. The largest studentized pair
//! gives the critical value of all simultaneous intervals (max-|t|); the studentized estimates,
//! scaled by the log's own covariance, give the joint distribution every derived figure is read from.
//!
//! Where pairs have unequal degrees of freedom, each |t| is first divided by its own t quantile, so that
//! no pair of few degrees of freedom widens the others' intervals. With equal degrees of freedom
//! this is the plain max-|t|, and on balanced data its distribution is the studentized range's.

use rayon::prelude::*;

use super::stream::stream;
use crate::stats::mixed::fit::{Known, Precision, Start};
use crate::stats::mixed::inference::{Settled, Settling, settle};
use crate::stats::mixed::{Data, EvenVisits, Layout, Simulator, Theta, Workspace};

/// Trials that share one stream: the unit of work handed to a thread.
pub const CHUNK: usize = 250;

/// A refit starts no lower than this share of the innermost component.
const START_SHARE: f64 = 0.02;

/// A replay's scatter is not lifted to what display rounding alone gives: lifting makes studentized
/// differences smaller, and only the log's own rest on rounded readings.
const NO_FLOOR: f64 = 0.0;

/// A pair of antennas and the constants its replayed difference is studentized with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairScale {
    /// First antenna.
    pub first: usize,
    /// Second antenna.
    pub second: usize,
    /// Whether a chain of sessions joins them.
    pub linked: bool,
    /// What √(LᵀΦL) of a replay is multiplied by before dividing: the log's ratio of adjusted to
    /// unadjusted standard error, times the pair's t quantile.
    pub scale: f64,
}

/// What is replayed.
#[derive(Debug, Clone, Copy)]
pub struct Task<'a> {
    /// The set's structure.
    pub layout: &'a Layout,
    /// Components the replays are simulated from.
    pub theta: &'a Theta,
    /// Where every refit starts, at [`start_of_refits`], and what is known there.
    pub start: &'a Known,
    /// The visits seen as one mean each, where the log's are weighed alike.
    pub even: Option<&'a EvenVisits>,
    /// Lower Cholesky factor of the log's own XᵀV⁻¹X.
    pub factor: &'a [f64],
    /// Pairs whose largest studentized difference is kept.
    pub pairs: &'a [PairScale],
    /// Seed of the run.
    pub seed: u64,
    /// Number of the set, which picks its streams.
    pub number: u64,
}

/// The replays of one set, in trial order.
#[derive(Debug, Clone, Default)]
pub struct Replays {
    /// Largest scaled |t| over the pairs, one a trial.
    pub largest: Vec<f64>,
    /// Errors of the antennas' estimates, `antennas` values a trial.
    pub errors: Vec<f64>,
    /// Replays whose refit did not come to rest; kept, at the best point reached.
    pub unsettled: usize,
}

impl Replays {
    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.largest.len()
    }

    /// The `level` quantile of the largest scaled |t|: the smallest value that at least that share of
    /// the trials does not exceed.
    pub fn quantile(&self, level: f64) -> f64 {
        quantile(&self.largest, level)
    }

    /// Monte Carlo p-value of a scaled |t|: (1 + trials at least as large)/(1 + trials), never 0.
    pub fn p_value(&self, scaled: f64) -> f64 {
        let beyond = self.largest.iter().filter(|&&x| x >= scaled).count();
        (1 + beyond) as f64 / (1 + self.trials()) as f64
    }
}

/// The smallest of `values` that at least `level` of them do not exceed; 0 of none.
pub fn quantile(values: &[f64], level: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let mut sorted = values.to_vec();
    let rank = ((level * sorted.len() as f64).ceil() as usize).clamp(1, sorted.len()) - 1;
    *sorted.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// Adds `trials` replays to `replays`, in parallel, the same on any number of threads. `trials` is
/// rounded up to whole chunks; `done` is told of each chunk that ends.
pub fn extend(replays: &mut Replays, task: &Task, trials: usize, done: &(dyn Fn() + Sync)) {
    let first = replays.trials() / CHUNK;
    let chunks: Vec<Replays> = (first..first + trials.div_ceil(CHUNK))
        .into_par_iter()
        .map(|chunk| {
            let result = run_chunk(task, chunk as u64);
            done();
            result
        })
        .collect();
    for chunk in chunks {
        replays.largest.extend(chunk.largest);
        replays.errors.extend(chunk.errors);
        replays.unsettled += chunk.unsettled;
    }
}

/// Where the refits of replays from θ start: there, but a component at zero would hold every refit at zero, so it starts
/// a little above.
pub fn start_of_refits(layout: &Layout, theta: &Theta) -> Theta {
    let innermost = theta.iter().rev().copied().find(|&t| t > 0.0).unwrap_or(0.0);
    let active = layout.active();
    std::array::from_fn(|k| if active[k] { theta[k].max(START_SHARE * innermost) } else { 0.0 })
}

fn run_chunk(task: &Task, chunk: u64) -> Replays {
    let p = task.layout.antennas();
    let mut rng = stream(task.seed, task.number, chunk);
    let simulator = Simulator::new(task.layout, task.theta);
    let mut workspace = Workspace::new(task.layout);
    let mut data: Data = simulator.blank();
    let active = task.layout.active();
    let how = Settling { floor: NO_FLOOR, precision: Precision::REPLAY, adjust: false, even: task.even };
    let mut out = Replays::default();
    for _ in 0..CHUNK {
        simulator.draw(&mut rng, &mut data);
        let start = Start::from(task.start, &active);
        let settled = settle(task.layout, &data, start, how, &mut workspace);
        let Some(settled) = settled else {
            // the replay's season shows no scatter that can be fitted: it bounds nothing
            out.unsettled += 1;
            out.largest.push(f64::INFINITY);
            out.errors.extend(std::iter::repeat_n(0.0, p));
            continue;
        };
        out.unsettled += usize::from(!settled.converged);
        out.largest.push(largest_pair(task.pairs, &settled, &workspace, p));
        let (beta, factor) = settled.beta_and_factor(&workspace);
        push_errors(task.factor, factor, beta, p, &mut out.errors);
    }
    out
}

/// max over pairs of |β_i − β_j| / (√(Φ_ii + Φ_jj − 2Φ_ij)·scale).
fn largest_pair(pairs: &[PairScale], settled: &Settled, workspace: &Workspace, p: usize) -> f64 {
    let mut largest: f64 = 0.0; // of the squares
    for linked in [true, false] {
        let (beta, phi) = settled.beta_and_phi(linked, workspace);
        for pair in pairs.iter().filter(|pair| pair.linked == linked) {
            let (i, j) = (pair.first, pair.second);
            let variance = phi[i * p + i] + phi[j * p + j] - 2.0 * phi[i * p + j];
            let difference = beta[i] - beta[j];
            largest = largest.max(difference * difference / (variance * pair.scale * pair.scale));
        }
    }
    largest.sqrt()
}

/// Appends C⁻ᵀ·C*ᵀ·β*: the replay's estimates studentized by its own XᵀV*⁻¹X = C*·C*ᵀ and scaled by
/// the log's C·Cᵀ. On balanced data this is multivariate t.
fn push_errors(factor: &[f64], replayed: &[f64], beta: &[f64], p: usize, out: &mut Vec<f64>) {
    let first = out.len();
    for i in 0..p {
        let mut sum = 0.0;
        for k in i..p {
            sum += replayed[k * p + i] * beta[k];
        }
        out.push(sum);
    }
    let x = &mut out[first..];
    for i in (0..p).rev() {
        let mut sum = x[i];
        for k in i + 1..p {
            sum -= factor[k * p + i] * x[k];
        }
        x[i] = sum / factor[i * p + i];
    }
}
