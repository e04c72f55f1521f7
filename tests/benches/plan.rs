//! Are plans honest? Thirty situations, each with many seasons: a first part of a season is simulated, a plan is made
//! from it, and then the plan is run. What it promised is held against what came of it, the verdict after the run being
//! made in full, by replays.
//!
//! ```text
//! cargo bench --profile dev --bench plan                  the table of notebooks-md/planning.md
//! cargo bench --profile dev --bench plan -- --seasons 10  fewer seasons a situation
//! cargo bench --profile dev --bench plan -- --seed 7      another draw of everything
//! ```
//!
//! The antennas are placed anew for each season, evenly over ± one and a half times what matters: a plan speaks of
//! differences of which nothing is known but the log.

use std::time::Instant;

use daylight::analysis::plan::components::Components;
use daylight::analysis::plan::promise::{Asked, Design, Situation};
use daylight::montecarlo::replays::{CHUNK, Replays, quantile};
use daylight::montecarlo::simultaneous::SetFit;
use daylight::montecarlo::stream::{Stream, stream};
use daylight::stats::mixed::{Layout, MountingSummary};
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};
use rayon::prelude::*;

const TASK: u64 = 1 << 22;
const MATTERS: f64 = 1.0;
const CONFIDENCE: f64 = 0.95;
/// Trials behind a promise.
const TRIALS: usize = 200;

struct Case {
    antennas: usize,
    before: usize,
    more: usize,
    mountings: usize,
    readings: usize,
    sd: [f64; 4],
}

/// Thirty situations: the product of a few of each.
fn cases() -> Vec<Case> {
    let sds =
        [[1.0, 0.5, 0.3, 0.2], [1.0, 0.15, 0.7, 0.2], [0.3, 0.3, 0.3, 0.6], [2.0, 0.8, 0.2, 0.1], [0.5, 0.0, 0.5, 0.1]];
    let shapes = [(3, 2, 2, 2, 2), (3, 3, 3, 1, 2), (4, 4, 2, 3, 1), (5, 3, 5, 2, 1), (4, 6, 4, 1, 1), (6, 5, 3, 2, 3)];
    let all = sds.iter().flat_map(|&sd| {
        shapes.map(|(antennas, before, more, mountings, readings)| Case {
            antennas,
            before,
            more,
            mountings,
            readings,
            sd,
        })
    });
    all.collect()
}

fn main() {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).and_then(|v| v.parse().ok());
    let (seasons, seed): (u64, u64) = (after("--seasons").unwrap_or(60), after("--seed").unwrap_or(1));
    let start = Instant::now();
    println!("{seasons} seasons a situation, {TRIALS} trials a promise, seed {seed}\n");
    println!(
        "| antennas | sessions so far + planned | mountings × readings | session, visit, mounting, reading | promised | came true | off, in standard errors |"
    );
    println!("|---|---|---|---|---|---|---|");
    let (mut every, mut scores): (Vec<(f64, bool)>, Vec<f64>) = (vec![], vec![]);
    for (number, case) in cases().iter().enumerate() {
        let runs: Vec<(f64, bool)> =
            (0..seasons).into_par_iter().map(|id| run(case, seed, (number as u64) << 16 | id)).collect();
        let n = runs.len() as f64;
        let promised = runs.iter().map(|r| r.0).sum::<f64>() / n;
        let came = runs.iter().filter(|r| r.1).count() as f64 / n;
        // each run comes true with its own promised chance
        let error = (runs.iter().map(|r| r.0 * (1.0 - r.0)).sum::<f64>().max(0.25 * n * 0.04)).sqrt() / n;
        let score = (came - promised) / error;
        println!(
            "| {} | {} + {} | {} × {} | {:?} | {:.0} % | {:.0} % | {score:+.1} |",
            case.antennas,
            case.before,
            case.more,
            case.mountings,
            case.readings,
            case.sd,
            100.0 * promised,
            100.0 * came
        );
        scores.push(score);
        every.extend(runs);
    }
    let n = every.len() as f64;
    let mean = |f: fn(&(f64, bool)) -> f64| every.iter().map(f).sum::<f64>() / n;
    let chi: f64 = scores.iter().map(|s| s * s).sum();
    println!(
        "\nall: promised {:.1} %, came true {:.1} % ± {:.1} %",
        100.0 * mean(|r| r.0),
        100.0 * mean(|r| f64::from(r.1)),
        100.0 * (mean(|r| r.0 * (1.0 - r.0)) / n).sqrt()
    );
    println!(
        "sum of squares of the last column: {chi:.0} over {} situations; largest {:.1}",
        scores.len(),
        scores.iter().map(|s| s.abs()).fold(0.0, f64::max)
    );
    println!("\n| promised | seasons | mean promise | came true |\n|---|---|---|---|");
    for bin in 0..5 {
        let (low, high) = (f64::from(bin) / 5.0, f64::from(bin + 1) / 5.0 + if bin == 4 { 0.01 } else { 0.0 });
        let inside: Vec<&(f64, bool)> = every.iter().filter(|r| r.0 >= low && r.0 < high).collect();
        let m = inside.len().max(1) as f64;
        let (p, q) = (inside.iter().map(|r| r.0).sum::<f64>() / m, inside.iter().filter(|r| r.1).count() as f64 / m);
        println!(
            "| {:.0} to {:.0} % | {} | {:.0} % | {:.0} ± {:.0} % |",
            low * 100.0,
            (high * 100.0).min(100.0),
            inside.len(),
            100.0 * p,
            100.0 * q,
            100.0 * (q * (1.0 - q) / m).sqrt()
        );
    }
    println!("\n{:.0} s", start.elapsed().as_secs_f64());
}

fn sessions(case: &Case, truth: &[f64], from: usize, count: usize, rng: &mut Stream) -> Vec<MountingSummary> {
    let mut out = vec![];
    let n = case.readings as f64;
    for session in from..from + count {
        let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
        let day = normal(case.sd[0]);
        let mut means = vec![];
        for (antenna, own) in truth.iter().enumerate() {
            let visit = own + day + normal(case.sd[1]);
            means.extend(
                (0..case.mountings).map(|_| (antenna, visit + normal(case.sd[2]) + normal(case.sd[3] / n.sqrt()))),
            );
        }
        for (antenna, mean) in means {
            let chi = if n > 1.0 { ChiSquared::new(n - 1.0).map_or(0.0, |c| rng.sample(c)) } else { 0.0 };
            let sum_of_squares = case.sd[3] * case.sd[3] * chi;
            out.push(MountingSummary { session, antenna, readings: n, df: n - 1.0, mean, sum_of_squares });
        }
    }
    out
}

/// One season: what the plan made halfway promises of the first pair, and whether running it settled the pair.
fn run(case: &Case, seed: u64, id: u64) -> (f64, bool) {
    let mut rng = stream(seed, TASK, id);
    let truth: Vec<f64> = (0..case.antennas).map(|_| 1.5 * MATTERS * (2.0 * rng.random::<f64>() - 1.0)).collect();
    let mut log = sessions(case, &truth, 0, case.before, &mut rng);
    let number = id & 0xf_ffff;
    let Some((layout, data)) = Layout::new(case.antennas, &log) else { return (0.0, false) };
    let Some(now) = SetFit::new(layout, &data, 0.0, CONFIDENCE) else { return (0.0, false) };
    // two sessions and more show every level, or hold it in another
    let Some(components) = Components::from_fit(Some(&now), |_| None) else { return (0.0, false) };
    let situation = Situation {
        antennas: case.antennas,
        log: log.clone(),
        estimates: now.inference.estimates.clone(),
        components,
        present: (0..case.antennas).collect(),
        reference: None,
        declared: vec![0.0; case.antennas * case.antennas],
        confidence: CONFIDENCE,
        floor: 0.0,
    };
    let asked = [Asked { first: 0, second: 1, matters: Some(MATTERS), measured: true }];
    let design = Design { sessions: case.more, mountings: case.mountings, readings: case.readings };
    let promised = situation.chances(&design, &asked, TRIALS, seed, number)[0].settled.chance;

    log.extend(sessions(case, &truth, case.before, case.more, &mut rng));
    let Some((layout, data)) = Layout::new(case.antennas, &log) else { return (promised, false) };
    let Some(fit) = SetFit::new(layout, &data, 0.0, CONFIDENCE) else { return (promised, false) };
    let mut replays = Replays::default();
    fit.replay(&mut replays, 1000usize.next_multiple_of(CHUNK), seed, number, &|| ());
    let half = fit.pairs[0].half_width(quantile(&replays.largest, CONFIDENCE));
    let difference = fit.pairs[0].difference.abs();
    (promised, difference > half || difference + half < MATTERS)
}
