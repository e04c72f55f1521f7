//! `budget`: the uncertainty of any measurand, from named inputs and an expression: by the law of propagation (JCGM
//! 100:2008) and by Monte Carlo (JCGM 101:2008), the first held against the second; several outputs together as in JCGM
//! 102:2011.

pub mod by_sql; // the same model by Polars' SQL, as a check
pub mod columns; // a program over columns of draws
pub mod config; // what a budget file says
pub mod expression; // SQL text to a program
pub mod figures; // numbers as sentences need them
pub mod findings; // what is worth saying of a budget
pub mod functions; // the functions of expressions, the trade's conversions among them
pub mod jet; // exact derivatives
pub mod parse; // a budget file, with the place of every error
pub mod program; // a model as a list of steps
pub mod propagation; // the law of propagation
pub mod region; // several outputs at once
pub mod result; // the answer
pub mod simulation; // Monte Carlo
pub mod syntax; // an expression's text to its syntax tree

use crate::montecarlo::adaptive::{Trials, normal_scale, numerical_tolerance};
use crate::montecarlo::coverage::{IntervalKind, interval};
use crate::montecarlo::sample::Ordered;
use config::Config;
use propagation::{Propagation, covariance, propagate};
use region::Ellipse;
use result::{Budget, Histogram, InputResult, Joint, OutputResult, Simulation, Validation};
use simulation::Options;

/// Works a budget out. `tick` is told of every chunk of trials.
pub fn analyse(config: &Config, options: &Options, tick: &(dyn Fn() + Sync)) -> Budget {
    let jets = jet::jets(&config.program, &config.estimates());
    let propagations: Vec<Option<Propagation>> =
        config.outputs.iter().map(|output| propagate(config, &jets[output.place])).collect();
    let pilot = simulation::pilot(config, options.seed);
    // no interval can be had of results that are not numbers; more trials would only show more of them
    let sound: Vec<usize> = (0..config.outputs.len()).filter(|&i| pilot.lost[i].0 == 0).collect();
    let trials = (!sound.is_empty()).then(|| simulation::simulate(config, &sound, options, tick));
    // the trials of an output, and its place among them
    let made = |i: usize| trials.as_ref().zip(sound.iter().position(|s| *s == i));
    let outputs: Vec<OutputResult> =
        (0..config.outputs.len()).map(|i| output(config, options, i, &propagations, made(i))).collect();
    let joint = (outputs.len() > 1).then(|| {
        let all = trials.as_ref().filter(|_| sound.len() == outputs.len());
        joint(config, &propagations, all)
    });
    let findings = findings::all(config, &pilot, trials.as_ref(), &outputs, options);
    Budget {
        title: if config.title.is_empty() { config.file.clone() } else { config.title.clone() },
        confidence: config.confidence,
        digits: config.digits,
        interval: config.interval,
        seed: options.seed,
        trials: trials.as_ref().map_or(pilot.trials, |t| t.trials),
        lost: trials.as_ref().map_or_else(|| pilot.lost.iter().map(|(n, _)| *n).max().unwrap_or(0), |t| t.lost),
        stable: trials.as_ref().is_some_and(|t| t.stable),
        inputs: config.inputs.iter().map(input).collect(),
        correlations: correlations(config),
        outputs,
        joint,
        findings,
    }
}

fn input(input: &config::Input) -> InputResult {
    InputResult {
        name: input.name.clone(),
        unit: input.unit.clone(),
        shape: input.shape,
        estimate: input.distribution.mean(),
        standard_uncertainty: input.distribution.standard_uncertainty(),
        df: input.df,
    }
}

fn correlations(config: &Config) -> Vec<(usize, usize, f64)> {
    let n = config.inputs.len();
    let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
    pairs.map(|(i, j)| (i, j, config.correlation(i, j))).filter(|(_, _, r)| *r != 0.0).collect()
}

fn output(
    config: &Config,
    options: &Options,
    i: usize,
    propagations: &[Option<Propagation>],
    made: Option<(&Trials, usize)>,
) -> OutputResult {
    let propagation = propagations[i].clone();
    let simulation = made.map(|(trials, at)| simulated(config, trials, at, config.has_moments(i)));
    let validation = match (&propagation, &simulation) {
        (Some(p), Some(s)) => {
            let ends = s.interval(config.interval);
            Some(Validation {
                tolerance: numerical_tolerance(s.scale, config.digits),
                low: (p.estimate - p.expanded - ends.low).abs(),
                high: (p.estimate + p.expanded - ends.high).abs(),
            })
        }
        _ => None,
    };
    // where derivatives don't tell what matters, trials do
    let unsound = made.is_some() && !validation.is_some_and(Validation::holds);
    OutputResult {
        name: config.outputs[i].name.clone(),
        unit: config.outputs[i].unit.clone(),
        expression: config.outputs[i].expression.clone(),
        inputs: config.program.inputs_of(config.outputs[i].place),
        one_at_a_time: unsound.then(|| simulation::one_at_a_time(config, options.seed, i)),
        propagation,
        simulation,
        validation,
    }
}

/// A standard deviation this many times that of the normal with as long an interval is made up by a few far results.
const MADE_UP: f64 = 3.0;

fn simulated(config: &Config, trials: &Trials, i: usize, has_moments: bool) -> Simulation {
    let ordered = trials.ordered(i);
    let symmetric = interval(&ordered, config.confidence, IntervalKind::Symmetric);
    let by_interval = normal_scale(symmetric.high - symmetric.low, config.confidence);
    let standard = trials.moments.standard_deviation(i);
    let has_moments = has_moments && !(by_interval > 0.0 && standard > MADE_UP * by_interval);
    let scale = if has_moments || by_interval == 0.0 { standard } else { by_interval };
    Simulation {
        mean: has_moments.then_some(trials.moments.mean[i]),
        standard_uncertainty: has_moments.then_some(standard),
        median: ordered.at_rank((ordered.count() / 2.0).round().max(1.0)),
        scale,
        symmetric,
        shortest: interval(&ordered, config.confidence, IntervalKind::Shortest),
        histogram: histogram(&ordered, trials.samples[i].first()),
    }
}

/// Bins of a histogram.
const BINS: usize = 80;

fn histogram(ordered: &Ordered, values: &[f64]) -> Histogram {
    let at = |p: f64| ordered.at_rank((p * ordered.count()).round().max(1.0));
    let (low, high) = (at(0.001), at(0.999));
    let width = (high - low) / BINS as f64;
    let mut counts = vec![0u64; BINS];
    for value in values {
        let bin = (value - low) / width;
        if (0.0..BINS as f64).contains(&bin) {
            counts[bin as usize] += 1;
        }
    }
    Histogram { low, width, shares: counts.iter().map(|n| *n as f64 / values.len() as f64).collect() }
}

fn joint(config: &Config, propagations: &[Option<Propagation>], trials: Option<&Trials>) -> Joint {
    let m = propagations.len();
    let cells = || (0..m).flat_map(|i| (0..m).map(move |j| (i, j)));
    let propagated = cells().map(|(i, j)| match (&propagations[i], &propagations[j]) {
        (Some(a), Some(b)) => covariance(config, a, b) / (a.standard_uncertainty * b.standard_uncertainty),
        _ => f64::NAN,
    });
    let trials = trials.filter(|_| (0..m).all(|i| config.has_moments(i)));
    let simulated = cells().map(|(i, j)| trials.map_or(f64::NAN, |t| t.moments.correlation(i, j)));
    let covariances: Vec<f64> = cells().map(|(i, j)| trials.map_or(f64::NAN, |t| t.moments.covariance(i, j))).collect();
    let region = trials.and_then(|t| {
        let columns: Vec<&[f64]> = t.samples.iter().map(|sample| sample.first()).collect();
        region::of_trials(&columns, &t.moments.mean, &covariances, config.confidence)
    });
    Joint {
        propagated: propagated.collect(),
        simulated: simulated.collect(),
        normal: region::of_normals(m, config.confidence),
        region_trials: trials.map_or(0, |t| t.samples[0].first().len()),
        ellipse: region
            .filter(|_| m == 2)
            .map(|region| Ellipse::new(covariances[0], covariances[1], covariances[3], region.ellipsoid)),
        trials: region,
    }
}
