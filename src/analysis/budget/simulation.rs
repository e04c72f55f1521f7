//! A budget by Monte Carlo: draws of every input, the expressions worked out on them, and what the trials say.
//!
//! Source: JCGM 101:2008, clauses 6 and 7; annex B (one input varied at a time).

use super::columns::Columns;
use super::config::Config;
use super::program::Place;
use crate::montecarlo::adaptive::{self, CHUNK, Plan, Stop, Trials};
use crate::montecarlo::coverage::IntervalKind;
use crate::montecarlo::elementary::standard_normals;
use crate::montecarlo::joint::stretches;
use crate::montecarlo::stream::swift_stream;

/// Trials after which figures that will not settle are given up.
pub const AT_MOST: u64 = 40_000_000;
/// Chunks looked at first, for results that are not finite and for divisors of both signs.
const PILOT: u64 = 16;
/// Tasks from here on are those of groups; those below, of inputs.
const GROUP_TASKS: u64 = 1 << 20;

/// How the trials are made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Seed of the draws.
    pub seed: u64,
    /// A number of trials, instead of as many as the figures need.
    pub trials: Option<u64>,
}

/// Draws of all inputs for one chunk of trials.
#[derive(Debug, Clone)]
pub struct Draws {
    columns: Vec<Vec<f64>>,
    stretch: Vec<f64>,
}

impl Draws {
    /// Room for one chunk.
    pub fn new(config: &Config) -> Draws {
        Draws { columns: vec![vec![0.0; CHUNK]; config.inputs.len()], stretch: vec![0.0; CHUNK] }
    }

    /// Draws chunk number `chunk`. Each input has a stream of its own, numbered by its place in the file, so one
    /// more input at the end changes no draw of the others.
    pub fn draw(&mut self, config: &Config, seed: u64, chunk: u64) {
        let grouped = |i: usize| config.groups.iter().any(|group| group.inputs.contains(&i));
        for (i, input) in config.inputs.iter().enumerate() {
            let mut rng = swift_stream(seed, i as u64, chunk);
            if grouped(i) {
                standard_normals(&mut rng, &mut self.columns[i]);
            } else {
                input.distribution.fill(&mut rng, &mut self.columns[i]);
            }
        }
        for group in &config.groups {
            let mut members: Vec<&mut [f64]> = vec![];
            for (i, column) in self.columns.iter_mut().enumerate() {
                if group.inputs.contains(&i) {
                    members.push(column);
                }
            }
            group.factor.correlate(&mut members);
            if let Some(df) = group.df {
                stretches(df, &mut swift_stream(seed, GROUP_TASKS + group.inputs[0] as u64, chunk), &mut self.stretch);
                members.iter_mut().for_each(|z| z.iter_mut().zip(&self.stretch).for_each(|(z, s)| *z *= s));
            }
            for (column, &i) in members.into_iter().zip(&group.inputs) {
                let (mean, u) =
                    (config.inputs[i].distribution.mean(), config.inputs[i].distribution.standard_uncertainty());
                column.iter_mut().for_each(|z| *z = mean + u * *z);
            }
        }
    }

    /// A column an input.
    pub fn columns(&self) -> Vec<&[f64]> {
        self.columns.iter().map(Vec::as_slice).collect()
    }

    /// Holds every input but one at a value.
    fn hold_all_but(&mut self, varied: usize, values: &[f64]) {
        for (i, column) in self.columns.iter_mut().enumerate().filter(|(i, _)| *i != varied) {
            column.fill(values[i]);
        }
    }
}

/// What one thread works in.
struct Room {
    draws: Draws,
    columns: Columns,
}

impl Room {
    fn new(config: &Config) -> Room {
        Room { draws: Draws::new(config), columns: Columns::new(&config.program) }
    }

    /// Works out steps of the program for one chunk of trials.
    fn work(&mut self, config: &Config, wanted: &[Place], results: &mut [&mut [f64]]) {
        self.columns.run(&config.program, &self.draws.columns(), wanted, results);
    }
}

/// Runs the trials of the outputs with these numbers.
pub fn simulate(config: &Config, outputs: &[usize], options: &Options, tick: &(dyn Fn() + Sync)) -> Trials {
    let stop = match options.trials {
        Some(trials) => Stop::After(trials),
        None => Stop::Stable { digits: config.digits, share: 0.2, at_most: AT_MOST },
    };
    let plan = Plan { probability: config.confidence, kind: config.interval, stop };
    let wanted: Vec<Place> = outputs.iter().map(|&i| config.outputs[i].place).collect();
    let has_moments: Vec<bool> = outputs.iter().map(|&i| config.has_moments(i)).collect();
    let run = |room: &mut Room, chunk: u64, results: &mut [&mut [f64]]| {
        room.draws.draw(config, options.seed, chunk);
        room.work(config, &wanted, results);
    };
    adaptive::run(&has_moments, &plan, || Room::new(config), run, tick)
}

/// Standard deviation of an output with one input varied and the others held at their estimates, one an input
/// (JCGM 101, annex B): contributions that need no derivative. Of an output without a standard deviation, that of the
/// normal with as long an interval instead. NaN where a trial has no finite result.
pub fn one_at_a_time(config: &Config, seed: u64, output: usize) -> Vec<f64> {
    let estimates = config.estimates();
    let has_moments = config.has_moments(output);
    let used = config.program.inputs_of(config.outputs[output].place);
    let alone = |i: usize| {
        let plan = Plan { probability: config.confidence, kind: IntervalKind::Symmetric, stop: Stop::After(131_072) };
        let run = |room: &mut Room, chunk: u64, results: &mut [&mut [f64]]| {
            room.draws.draw(config, seed, chunk);
            room.draws.hold_all_but(i, &estimates);
            room.work(config, &[config.outputs[output].place], results);
        };
        let trials = adaptive::run(&[has_moments], &plan, || Room::new(config), run, || ());
        match trials.lost {
            0 if has_moments => trials.moments.standard_deviation(0),
            0 => {
                let ends = Trials::interval(&trials.ordered(0), config.confidence, IntervalKind::Symmetric);
                adaptive::normal_scale(ends.high - ends.low, config.confidence)
            }
            _ => f64::NAN,
        }
    };
    (0..config.inputs.len()).map(|i| if used.contains(&i) { alone(i) } else { 0.0 }).collect()
}

/// What a first look at the draws shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Pilot {
    /// Trials looked at.
    pub trials: u64,
    /// Of each output: trials without a finite result, and over those the least and greatest value of each input.
    pub lost: Vec<(u64, Vec<(f64, f64)>)>,
    /// Of each division of each output, in order: the share of divisors at or below 0 and at or above.
    pub divisors: Vec<Vec<(f64, f64)>>,
}

/// Looks at the first trials.
pub fn pilot(config: &Config, seed: u64) -> Pilot {
    let wanted: Vec<Place> = config.outputs.iter().map(|output| output.place).collect();
    let divisors: Vec<Place> = config.outputs.iter().flat_map(|o| o.divisions.iter().map(|d| d.divisor)).collect();
    let all: Vec<Place> = wanted.iter().chain(&divisors).copied().collect();
    let mut results = vec![vec![0.0; CHUNK]; all.len()];
    let mut room = Room::new(config);
    let nowhere = vec![(f64::INFINITY, f64::NEG_INFINITY); config.inputs.len()];
    let mut lost = vec![(0u64, nowhere); wanted.len()];
    let mut sides = vec![(0u64, 0u64); divisors.len()];
    for chunk in 0..PILOT {
        room.draws.draw(config, seed, chunk);
        let mut slices: Vec<&mut [f64]> = results.iter_mut().map(Vec::as_mut_slice).collect();
        room.work(config, &all, &mut slices);
        for (output, (count, ranges)) in lost.iter_mut().enumerate() {
            for t in (0..CHUNK).filter(|t| !results[output][*t].is_finite()) {
                *count += 1;
                for (range, column) in ranges.iter_mut().zip(&room.draws.columns) {
                    *range = (range.0.min(column[t]), range.1.max(column[t]));
                }
            }
        }
        for (side, column) in sides.iter_mut().zip(&results[wanted.len()..]) {
            side.0 += column.iter().filter(|d| **d <= 0.0).count() as u64;
            side.1 += column.iter().filter(|d| **d >= 0.0).count() as u64;
        }
    }
    let trials = PILOT * CHUNK as u64;
    let share = |n: u64| n as f64 / trials as f64;
    let mut sides = sides.into_iter().map(|(below, above)| (share(below), share(above)));
    let divisors = config.outputs.iter().map(|o| sides.by_ref().take(o.divisions.len()).collect()).collect();
    Pilot { trials, lost, divisors }
}
