//! Trials in blocks, until the figures are stable: the adaptive procedure of JCGM 101:2008, 7.9 (for several outputs
//! JCGM 102:2011, 7.8), or a number of trials chosen beforehand.
//!
//! Of each block of M trials, M = max(J, 10⁴) with J the least whole number ≥ 100/(1 − p): mean, standard deviation, and
//! both ends of the interval. After h ≥ 2 blocks, s being the standard deviation of a figure over the blocks, it
//! stops when 2·s/√h < δ for all four of every output, δ the numerical tolerance of the standard deviation of all h·M values.
//! An output without a standard deviation, because an input has none, has no mean that settles either: its interval's
//! ends are then all there is to settle, and δ goes by their distance.
//! Results are then those of all h·M values together.

use rayon::prelude::*;

use super::coverage::{Interval, IntervalKind, interval, interval_of_block};
use super::moments::Moments;
use super::sample::{Ordered, Sample};
use crate::stats::student_t::t_quantile;

/// Trials that share one random stream an input.
pub const CHUNK: usize = 8192;
/// Chunks made side by side before the figures are looked at again.
const ROUND: usize = 64;

/// How many trials, and which figures must be stable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Coverage probability p, in (0, 1).
    pub probability: f64,
    /// The interval whose ends must be stable.
    pub kind: IntervalKind,
    /// When to stop.
    pub stop: Stop,
}

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stop {
    /// After so many trials.
    After(u64),
    /// When every figure is stable.
    Stable {
        /// Significant digits of the standard uncertainty, 1 or 2.
        digits: u32,
        /// The share of the numerical tolerance to be stable within: 1, or 1/5 to validate a result by (JCGM 101, 8.2).
        share: f64,
        /// Trials after which it is given up.
        at_most: u64,
    },
}

/// What the trials gave.
#[derive(Debug, Clone)]
pub struct Trials {
    /// Number of trials, those without a finite result included.
    pub trials: u64,
    /// Trials in which some output had no finite value; they are in no figure below.
    pub lost: u64,
    /// Whether the figures became stable; always true for a number of trials chosen beforehand.
    pub stable: bool,
    /// Mean, standard deviations, correlations.
    pub moments: Moments,
    /// The values of each output.
    pub samples: Vec<Sample>,
}

impl Trials {
    /// The values of an output in order.
    pub fn ordered(&self, output: usize) -> Ordered {
        self.samples[output].ordered()
    }

    /// The coverage interval of ordered values.
    pub fn interval(ordered: &Ordered, probability: f64, kind: IntervalKind) -> Interval {
        interval(ordered, probability, kind)
    }
}

/// The numerical tolerance δ = ½·10ˡ of a standard uncertainty written as c·10ˡ with c a whole number of `digits`
/// digits (JCGM 101, 7.9.2). Zero for zero.
pub fn numerical_tolerance(uncertainty: f64, digits: u32) -> f64 {
    last_place(uncertainty, digits) / 2.0
}

/// 10ˡ of an uncertainty written as c·10ˡ with c of `digits` digits: 0.00035 to two digits has 10⁻⁵.
pub fn last_place(uncertainty: f64, digits: u32) -> f64 {
    if !(uncertainty > 0.0 && uncertainty.is_finite()) {
        return 0.0;
    }
    let place = |power: i32| power - digits as i32 + 1;
    let power = place(uncertainty.log10().floor() as i32);
    // rounding may carry: 0.0996 to two digits is 10·10⁻²
    let carried = (uncertainty / 10f64.powi(power)).round() >= 10f64.powi(digits as i32);
    10f64.powi(power + i32::from(carried))
}

/// The standard deviation of the normal whose central interval of that probability is so long.
pub fn normal_scale(length: f64, probability: f64) -> f64 {
    length / (2.0 * t_quantile(0.5 + probability / 2.0, f64::INFINITY))
}

/// Figures of one output over the blocks: mean and sum of squares of deviations, kept up by Welford's update.
#[derive(Debug, Clone, Copy, Default)]
struct OverBlocks {
    mean: [f64; 4],
    squares: [f64; 4],
}

impl OverBlocks {
    fn add(&mut self, h: f64, figures: [f64; 4]) {
        for (k, figure) in figures.into_iter().enumerate() {
            let step = figure - self.mean[k];
            self.mean[k] += step / h;
            self.squares[k] += step * (figure - self.mean[k]);
        }
    }

    /// Whether twice the standard deviation of each mean over blocks is below `tolerance`. Figures that never
    /// change, as those of a constant output, are stable at any.
    fn stable(&self, h: f64, tolerance: f64) -> bool {
        self.squares.iter().all(|s| {
            let standard = (s / (h - 1.0) / h).sqrt();
            2.0 * standard < tolerance || standard == 0.0
        })
    }
}

/// Runs the model. `run(room, chunk, columns)` fills one column an output, each of [`CHUNK`] values, for the trials of that
/// chunk; it must depend on nothing but the chunk's number. `room` makes what it works in. `tick` is told of every
/// `CHUNK` trials made.
///
/// `has_moments` says of each output whether it has a mean and a standard deviation.
pub fn run<S, I, R, T>(has_moments: &[bool], plan: &Plan, room: I, run: R, tick: T) -> Trials
where
    I: Fn() -> S + Sync + Send,
    R: Fn(&mut S, u64, &mut [&mut [f64]]) + Sync,
    T: Fn() + Sync,
{
    let outputs = has_moments.len();
    let least = (100.0 / (1.0 - plan.probability)).ceil() as usize;
    let block = least.max(10_000);
    let most = match plan.stop {
        Stop::After(trials) => trials,
        Stop::Stable { at_most, .. } => (at_most / block as u64).max(2) * block as u64,
    };
    let mut result = Trials {
        trials: 0,
        lost: 0,
        stable: matches!(plan.stop, Stop::After(_)),
        moments: Moments::none(outputs),
        samples: vec![Sample::default(); outputs],
    };
    let mut over_blocks = vec![OverBlocks::default(); outputs];
    let (mut chunk, mut blocks) = (0u64, 0u64);
    // trials made and not yet taken into a block, a column an output
    let mut waiting: Vec<Vec<f64>> = vec![vec![]; outputs];
    while result.trials < most {
        let left = (most - result.trials) as usize;
        // the first round is short: most budgets need little more
        let round =
            if chunk == 0 { ROUND / 8 } else { ROUND }.min(left.saturating_sub(waiting[0].len()).div_ceil(CHUNK));
        make(&mut waiting, chunk, round, &room, &run, &tick);
        chunk += round as u64;
        let ready = waiting[0].len().min(left);
        let whole = if ready == left { ready.div_ceil(block) } else { ready / block };
        let ranges: Vec<_> = (0..whole).map(|b| b * block..((b + 1) * block).min(ready)).collect();
        let figures: Vec<BlockFigures> =
            ranges.par_iter().map(|range| BlockFigures::of(&waiting, range.clone(), plan)).collect();
        let mut taken = 0;
        let mut lost = 0;
        for (range, figures) in ranges.iter().zip(&figures) {
            blocks += 1;
            taken = range.end;
            lost += figures.lost;
            result.moments.merge(&figures.moments);
            if let Stop::Stable { digits, share, .. } = plan.stop {
                let h = blocks as f64;
                for ((over, [mean, sd, low, high]), has) in
                    over_blocks.iter_mut().zip(&figures.of_output).zip(has_moments)
                {
                    over.add(h, if *has { [*mean, *sd, *low, *high] } else { [0.0, 0.0, *low, *high] });
                }
                let scale = |i: usize, over: &OverBlocks| match has_moments[i] {
                    true => result.moments.standard_deviation(i),
                    false => normal_scale(over.mean[3] - over.mean[2], plan.probability),
                };
                let stable = |(i, over): (usize, &OverBlocks)| {
                    over.stable(h, share * numerical_tolerance(scale(i, over), digits))
                };
                if blocks >= 2 && over_blocks.iter().enumerate().all(stable) {
                    result.stable = true;
                    break;
                }
            }
        }
        result.trials += taken as u64;
        result.lost += lost;
        let columns: Vec<&[f64]> = waiting.iter().map(|column| &column[..taken]).collect();
        match (lost > 0).then(|| finite_trials(&columns)).flatten() {
            None => result.samples.iter_mut().zip(columns).for_each(|(sample, values)| sample.extend(values)),
            Some(kept) => result.samples.iter_mut().zip(&kept).for_each(|(sample, values)| sample.extend(values)),
        }
        if result.stable && matches!(plan.stop, Stop::Stable { .. }) {
            break;
        }
        waiting.iter_mut().for_each(|column| drop(column.drain(..taken)));
    }
    result
}

/// Adds the trials of `round` chunks from number `chunk` on to the end of every column.
fn make<S>(
    columns: &mut [Vec<f64>],
    chunk: u64,
    round: usize,
    room: &(impl Fn() -> S + Sync + Send),
    run: &(impl Fn(&mut S, u64, &mut [&mut [f64]]) + Sync),
    tick: &(impl Fn() + Sync),
) {
    let mut slots: Vec<Vec<&mut [f64]>> = (0..round).map(|_| vec![]).collect();
    for column in columns {
        let from = column.len();
        column.resize(from + round * CHUNK, 0.0);
        slots.iter_mut().zip(column[from..].chunks_mut(CHUNK)).for_each(|(slot, piece)| slot.push(piece));
    }
    slots.into_par_iter().enumerate().for_each_init(room, |state, (k, mut slot)| {
        run(state, chunk + k as u64, &mut slot);
        tick();
    });
}

/// What one block contributes.
struct BlockFigures {
    lost: u64,
    moments: Moments,
    /// Mean, standard deviation, lower and upper end of each output.
    of_output: Vec<[f64; 4]>,
}

impl BlockFigures {
    fn of(waiting: &[Vec<f64>], range: std::ops::Range<usize>, plan: &Plan) -> BlockFigures {
        let columns: Vec<&[f64]> = waiting.iter().map(|column| &column[range.clone()]).collect();
        let finite = finite_trials(&columns);
        let kept: Vec<&[f64]> = match &finite {
            None => columns,
            Some(kept) => kept.iter().map(Vec::as_slice).collect(),
        };
        let moments = Moments::of(&kept);
        let of_output = match plan.stop {
            Stop::After(_) => vec![],
            Stop::Stable { .. } => kept
                .iter()
                .enumerate()
                .map(|(i, column)| {
                    let ends = interval_of_block(&mut column.to_vec(), plan.probability, plan.kind);
                    [moments.mean[i], moments.standard_deviation(i), ends.low, ends.high]
                })
                .collect(),
        };
        BlockFigures { lost: (range.len() as f64 - moments.n) as u64, moments, of_output }
    }
}

/// The trials in which every output is finite, where not all are.
fn finite_trials(columns: &[&[f64]]) -> Option<Vec<Vec<f64>>> {
    if columns.iter().all(|column| column.iter().all(|y| y.is_finite())) {
        return None;
    }
    let rows = columns.first().map_or(0, |column| column.len());
    let keep: Vec<usize> = (0..rows).filter(|&t| columns.iter().all(|column| column[t].is_finite())).collect();
    Some(columns.iter().map(|column| keep.iter().map(|&t| column[t]).collect()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::distribution::Distribution;
    use crate::montecarlo::stream::stream;

    /// JCGM 101:2008, 7.9.2, examples 1 to 3 (from memory).
    #[test]
    fn numerical_tolerances_are_those_of_the_standard() {
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12 * b, "{a} {b}");
        close(numerical_tolerance(0.000_35, 2), 0.000_005);
        close(numerical_tolerance(0.000_35, 1), 0.000_05);
        close(numerical_tolerance(2.0, 1), 0.5);
        close(numerical_tolerance(0.0996, 2), 0.005);
        close(numerical_tolerance(0.0994, 2), 0.0005);
        close(numerical_tolerance(1000.0, 2), 50.0);
        assert_eq!((numerical_tolerance(0.0, 2), numerical_tolerance(f64::NAN, 2)), (0.0, 0.0));
    }

    fn normal(_: &mut (), chunk: u64, columns: &mut [&mut [f64]]) {
        for (i, column) in columns.iter_mut().enumerate() {
            Distribution::Normal { mean: 5.0, standard: 2.0 }.fill(&mut stream(1, i as u64, chunk), column);
        }
    }

    fn plan(digits: u32, share: f64) -> Plan {
        let stop = Stop::Stable { digits, share, at_most: 5_000_000 };
        Plan { probability: 0.95, kind: IntervalKind::Symmetric, stop }
    }

    /// The procedure as it is written, one block after the other, on the same draws.
    #[test]
    fn it_stops_at_the_block_where_the_written_procedure_does() {
        let values: Vec<f64> = (0..800)
            .flat_map(|chunk| {
                let mut column = vec![0.0; CHUNK];
                normal(&mut (), chunk, &mut [&mut column]);
                column
            })
            .collect();
        for (digits, share) in [(1, 1.0), (2, 1.0), (2, 0.4), (1, 0.1)] {
            let m = 10_000;
            let mut figures: Vec<[f64; 4]> = vec![];
            let mut h = 0;
            loop {
                h += 1;
                let mut block = values[(h - 1) * m..h * m].to_vec();
                let mean = block.iter().sum::<f64>() / m as f64;
                let sd = (block.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / (m - 1) as f64).sqrt();
                block.sort_by(f64::total_cmp);
                // q = 9500, r = (M − q)/2 = 250
                figures.push([mean, sd, block[249], block[9749]]);
                if h < 2 {
                    continue;
                }
                let all = &values[..h * m];
                let grand = all.iter().sum::<f64>() / all.len() as f64;
                let u = (all.iter().map(|y| (y - grand).powi(2)).sum::<f64>() / (all.len() - 1) as f64).sqrt();
                let settled = (0..4).all(|k| {
                    let average = figures.iter().map(|f| f[k]).sum::<f64>() / h as f64;
                    let squares: f64 = figures.iter().map(|f| (f[k] - average).powi(2)).sum();
                    2.0 * (squares / (h - 1) as f64 / h as f64).sqrt() < share * numerical_tolerance(u, digits)
                });
                if settled {
                    break;
                }
            }
            let trials = run(&[true], &plan(digits, share), || (), normal, || ());
            assert_eq!(trials.trials, (h * m) as u64, "{digits} {share}");
            assert!(trials.stable);
            let mut sorted = values[..h * m].to_vec();
            sorted.sort_by(f64::total_cmp);
            assert_eq!(trials.ordered(0).at_rank(77.0), sorted[76]);
        }
    }

    #[test]
    fn results_are_the_same_on_any_number_of_threads() {
        let figures = |threads: usize, stop: Stop| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let trials = pool.install(|| run(&[true; 2], &Plan { stop, ..plan(2, 1.0) }, || (), normal, || ()));
            let ordered = trials.ordered(1);
            (trials.moments.clone(), interval(&ordered, 0.95, IntervalKind::Shortest), trials.trials)
        };
        for stop in [plan(2, 0.5).stop, Stop::After(1_500_001), Stop::After(3)] {
            assert_eq!(figures(1, stop), figures(2, stop));
        }
        assert_eq!(figures(2, Stop::After(1_500_001)).2, 1_500_001);
    }

    #[test]
    fn blocks_grow_with_the_coverage_probability_and_what_never_settles_is_given_up() {
        let cauchy = |_: &mut (), chunk: u64, columns: &mut [&mut [f64]]| {
            let law = Distribution::StudentT { location: 0.0, scale: 1.0, df: 1.0 };
            law.fill(&mut stream(1, 0, chunk), columns[0]);
        };
        let stop = Stop::Stable { digits: 2, share: 1.0, at_most: 250_000 };
        let trials = run(&[true], &Plan { probability: 0.999, ..plan(2, 1.0) }, || (), normal, || ());
        assert_eq!(trials.trials % 100_000, 0);
        let trials = run(&[true], &Plan { stop, ..plan(2, 1.0) }, || (), cauchy, || ());
        assert!(!trials.stable && trials.trials == 250_000);
        // its interval does settle
        let stop = Stop::Stable { digits: 2, share: 1.0, at_most: 40_000_000 };
        let trials = run(&[false], &Plan { stop, ..plan(2, 1.0) }, || (), cauchy, || ());
        assert!(trials.stable);
        // Cauchy's quantile is tan(π·(p − ½)): 12.7062 at 0.975
        let ends = Trials::interval(&trials.ordered(0), 0.95, IntervalKind::Symmetric);
        let exact = (0.475 * std::f64::consts::PI).tan();
        let tolerance = numerical_tolerance(normal_scale(2.0 * exact, 0.95), 2);
        assert!((ends.high - exact).abs() < 2.0 * tolerance && (ends.low + exact).abs() < 2.0 * tolerance, "{ends:?}");
    }

    #[test]
    fn a_constant_is_stable_at_once_and_results_that_are_not_finite_are_counted() {
        let constant = |_: &mut (), _: u64, columns: &mut [&mut [f64]]| columns[0].fill(3.0);
        let trials = run(&[true], &plan(2, 1.0), || (), constant, || ());
        assert!(trials.stable && trials.trials == 20_000);
        assert_eq!(trials.moments.standard_deviation(0), 0.0);
        let sometimes = |_: &mut (), chunk: u64, columns: &mut [&mut [f64]]| {
            normal(&mut (), chunk, columns);
            columns[1][7] = f64::NAN;
        };
        let trials =
            run(&[true; 2], &Plan { stop: Stop::After(4 * CHUNK as u64), ..plan(2, 1.0) }, || (), sometimes, || ());
        assert_eq!(
            (trials.lost, trials.samples[0].len(), trials.moments.n),
            (4, 4 * CHUNK as u64 - 4, 4.0 * CHUNK as f64 - 4.0)
        );
    }
}
