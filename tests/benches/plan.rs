//! Are plans honest? What they promise is held against what comes of running them, the verdict after the run being made
//! in full, by replays.
//!
//! ```text
//! cargo bench --profile dev --bench plan                     the tables of notebooks-md/planning.md
//! cargo bench --profile dev --bench plan -- --part known     one of them: known, supposed or narrow
//! cargo bench --profile dev --bench plan -- --seasons 10     fewer seasons a situation
//! cargo bench --profile dev --bench plan -- --seed 7         another draw of everything
//! ```
//!
//! *known*: no log yet, the scatter declared, and truly so; two antennas differ by just what matters. Each of thirty
//! situations has one chance, promised from many trials, and it must come true as often.
//!
//! In the other two a first part of a season is simulated, a plan is made from it, and then the plan is run. How large
//! the scatter truly is, and how far the antennas lie apart, is drawn anew for each season and unknown to the plan: a
//! promise then differs from season to season, and is kept if those of eighty per cent come true eight times in ten.
//!
//! *supposed*: what is drawn is drawn as the plan supposes it, flat in the logarithm of each level's mean square. Then
//! every promise must be kept, whatever the log: a promise is the mean of a truth that was drawn, given what was seen
//! (Cook, Gelman & Rubin 2006, *Journal of Computational and Graphical Statistics* 15:675–692). As no flat draw can go
//! on for ever, it keeps to a wide range, and seasons are counted whose log, by itself, says that the truth lies well
//! inside.
//!
//! *narrow*: what is drawn keeps near to common sizes, which the plan does not know.

use std::time::Instant;

use daylight::analysis::plan::components::Components;
use daylight::analysis::plan::promise::{Asked, Design, Situation};
use daylight::montecarlo::replays::{CHUNK, Replays, quantile};
use daylight::montecarlo::simultaneous::SetFit;
use daylight::montecarlo::stream::{Stream, stream};
use daylight::stats::mixed::{Draw, Layout, MountingSummary};
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};
use rayon::prelude::*;

const TASK: u64 = 1 << 22;
const MATTERS: f64 = 1.0;
const CONFIDENCE: f64 = 0.95;
/// Trials behind a promise.
const TRIALS: usize = 400;

#[derive(Clone, Copy)]
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

struct Arguments {
    seasons: u64,
    seed: u64,
    part: Option<String>,
}

fn arguments() -> Arguments {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).cloned();
    let number = |key: &str, default: u64| after(key).and_then(|v| v.parse().ok()).unwrap_or(default);
    Arguments { seasons: number("--seasons", 60), seed: number("--seed", 1), part: after("--part") }
}

fn main() {
    let arguments = arguments();
    let start = Instant::now();
    let asked = |part: &str| arguments.part.as_ref().is_none_or(|wanted| wanted == part);
    if asked("known") {
        known(&arguments);
    }
    if asked("supposed") {
        supposed(&arguments);
    }
    if asked("narrow") {
        narrow(&arguments);
    }
    println!("\n{:.0} s", start.elapsed().as_secs_f64());
}

/// A row of a table, and how far the promise was off, in standard errors.
fn row(case: &Case, before: usize, promised: f64, came: f64, error: f64) -> f64 {
    let score = (came - promised) / error;
    let scatter = if case.sd[0].is_nan() { "drawn".into() } else { case.sd.map(|sd| sd.to_string()).join(", ") };
    println!(
        "| {} | {before} + {} | {} × {} | {scatter} | {:.0} % | {:.0} % | {score:+.1} |",
        case.antennas,
        case.more,
        case.mountings,
        case.readings,
        100.0 * promised,
        100.0 * came
    );
    score
}

fn head(what: &str) {
    println!("\n{what}\n");
    println!(
        "| antennas | sessions so far + planned | mountings × readings | session, visit, mounting, reading | promised | came true | off, in standard errors |"
    );
    println!("|---|---|---|---|---|---|---|");
}

fn sum_of_squares(scores: &[f64]) {
    let sum: f64 = scores.iter().map(|s| s * s).sum();
    let largest = scores.iter().map(|s| s.abs()).fold(0.0, f64::max);
    println!("\nsum of squares of the last column: {sum:.0} over {} situations; largest {largest:.1}", scores.len());
}

/// Trials behind a promise of the first table, which must not be what blurs it.
const MANY: usize = 4000;

fn known(arguments: &Arguments) {
    let seasons = 10 * arguments.seasons;
    head(&format!("known scatter, no log yet: {seasons} seasons a situation, {MANY} trials a promise"));
    let one = |(number, case): (usize, &Case)| {
        // two sessions at least: one shows nothing of what another day would change
        let truth: Vec<f64> = (0..case.antennas).map(|a| if a == 0 { MATTERS } else { 0.0 }).collect();
        let situation = situation(vec![], truth.clone(), Components::known(case.sd.map(|sd| sd * sd)));
        let asked = [Asked { first: 0, second: 1, matters: Some(MATTERS), measured: false }];
        let sessions_to_come = case.before + case.more;
        let design = Design { sessions: sessions_to_come, mountings: case.mountings, readings: case.readings };
        let possible = situation.possible(MANY, arguments.seed);
        let promised = situation.chances(&design, &asked, &possible, arguments.seed, number as u64)[0].settled.chance;
        let apart = (0..seasons).into_par_iter().filter(|id| {
            let mut rng = stream(arguments.seed, TASK + 1, (number as u64) << 32 | id);
            let log = sessions(case, &case.sd, &truth, 0, sessions_to_come, &mut rng);
            judged(case, &log, arguments.seed, (number as u64) << 16 | id).is_some_and(|(d, half)| d.abs() > half)
        });
        let came = apart.count() as f64 / seasons as f64;
        let variance = (promised * (1.0 - promised)).max(0.01);
        let error = (variance / seasons as f64 + variance / MANY as f64).sqrt();
        row(&Case { more: sessions_to_come, ..*case }, 0, promised, came, error)
    };
    let scores: Vec<f64> = cases().iter().enumerate().map(one).collect();
    sum_of_squares(&scores);
}

/// Thirty shapes: the scatter is drawn for each season.
fn shapes() -> Vec<Case> {
    let of = |antennas, (before, more), (mountings, readings)| Case {
        antennas,
        before,
        more,
        mountings,
        readings,
        sd: [f64::NAN; 4],
    };
    let inside = [(1, 1), (1, 2), (2, 1), (2, 2), (3, 2)];
    let sessions = [(2, 2), (3, 4)];
    let all = [3, 4, 5].into_iter().flat_map(|a| sessions.into_iter().flat_map(move |s| inside.map(|i| of(a, s, i))));
    all.collect()
}

fn supposed(arguments: &Arguments) {
    let seasons = 5 * arguments.seasons;
    head(&format!("from a log, all as supposed: {seasons} seasons a shape, {TRIALS} trials a promise"));
    let one = |case: &Case, seed: u64, id: u64| {
        let mut rng = stream(seed, TASK + 2, id);
        loop {
            let (sd, truth) = as_supposed(case, &mut rng);
            let log = sessions(case, &sd, &truth, 0, case.before, &mut rng);
            // where visits have one mounting each, its scatter is reckoned as theirs
            let levels = [0, 1, 2].into_iter().filter(|&k| k != 1 || case.mountings > 1);
            let inside = |possible: &[Draw]| levels.clone().all(|k| share_inside(case, possible, k) > INSIDE);
            let kept = near(&log).then(|| run(case, (&sd, &truth), log, inside, &mut rng, seed, id));
            if let Some(run) = kept.flatten() {
                return run;
            }
        }
    };
    from_logs(&shapes(), seasons, arguments.seed, one);
}

fn narrow(arguments: &Arguments) {
    let seasons = arguments.seasons;
    head(&format!("from a log, near to common sizes: {seasons} seasons a situation, {TRIALS} trials a promise"));
    // each level's scatter is between half and twice the situation's, evenly in its logarithm
    let one = |case: &Case, seed: u64, id: u64| {
        let mut rng = stream(seed, TASK, id);
        let sd = case.sd.map(|sd| sd * 4.0f64.powf(rng.random::<f64>() - 0.5));
        let truth: Vec<f64> = (0..case.antennas).map(|_| 1.5 * MATTERS * (2.0 * rng.random::<f64>() - 1.0)).collect();
        let log = sessions(case, &sd, &truth, 0, case.before, &mut rng);
        run(case, (&sd, &truth), log, |_| true, &mut rng, seed, id).unwrap_or((0.0, false))
    };
    from_logs(&cases(), seasons, arguments.seed, one);
}

/// What was promised of seasons and came of them, by situation and by the size of the promise.
fn from_logs(cases: &[Case], seasons: u64, seed: u64, one: impl Fn(&Case, u64, u64) -> (f64, bool) + Sync) {
    let (mut every, mut scores): (Vec<(f64, bool)>, Vec<f64>) = (vec![], vec![]);
    for (number, case) in cases.iter().enumerate() {
        let runs: Vec<(f64, bool)> =
            (0..seasons).into_par_iter().map(|id| one(case, seed, (number as u64) << 16 | id)).collect();
        let n = runs.len() as f64;
        let promised = runs.iter().map(|r| r.0).sum::<f64>() / n;
        let came = runs.iter().filter(|r| r.1).count() as f64 / n;
        // each run comes true with its own promised chance
        let error = (runs.iter().map(|r| r.0 * (1.0 - r.0)).sum::<f64>().max(0.25 * n * 0.04)).sqrt() / n;
        scores.push(row(case, case.before, promised, came, error));
        every.extend(runs);
    }
    sum_of_squares(&scores);
    calibration(&every);
}

/// The range of a reading's, a mounting's and a visit's mean square; of a session's and of antennas', which no log here
/// holds to the same, it is wider.
const RANGE: (f64, f64) = (1e-3, 10.0);
const WIDE: (f64, f64) = (1e-4, 1e4);
/// The share of what is possible, given a log, that must lie in the range, level by level.
const INSIDE: f64 = 0.97;

/// Standard deviations and antennas, drawn from the prior of `stats/mixed/posterior.rs` cut to the range: the
/// logarithms of the mean squares of all levels that such a log can tell apart are even, and no component is negative.
fn as_supposed(case: &Case, rng: &mut Stream) -> ([f64; 4], Vec<f64>) {
    let (n, m) = (case.readings as f64, case.mountings as f64);
    loop {
        let mut lambda = |(low, high): (f64, f64)| low * f64::powf(high / low, rng.random::<f64>());
        let reading = lambda(RANGE);
        let mounting = if case.readings > 1 { lambda(RANGE) - reading / n } else { 0.0 };
        let inside_visit = (mounting + reading / n) / m;
        let visit = if case.mountings > 1 { lambda(RANGE) - inside_visit } else { 0.0 };
        let session = lambda(WIDE) - (visit + inside_visit) / case.antennas as f64;
        let tau = lambda(WIDE) - (visit + inside_visit) / case.before as f64;
        if [mounting, visit, session, tau].iter().all(|component| *component >= 0.0) {
            let antennas = (0..case.antennas).map(|_| tau.sqrt() * rng.sample::<f64, _>(StandardNormal)).collect();
            return ([session, visit, mounting, reading].map(f64::sqrt), antennas);
        }
    }
}

/// What share of the draws has the mean square of readings (0), mountings (1) or visits (2) in the range.
fn share_inside(case: &Case, possible: &[Draw], level: usize) -> f64 {
    let inside = |draw: &&Draw| {
        let [_, visit, mounting, reading] = draw.theta;
        let of_mounting = mounting + reading / case.readings as f64;
        let lambda = [reading, of_mounting, visit + of_mounting / case.mountings as f64][level];
        // a level that the log holds in another is none of its own
        lambda == 0.0 || (RANGE.0..RANGE.1).contains(&lambda)
    };
    possible.iter().filter(inside).count() as f64 / possible.len() as f64
}

/// Whether the first two antennas came out near enough that a plan is a question.
fn near(log: &[MountingSummary]) -> bool {
    let mean = |antenna: usize| {
        let of: Vec<f64> = log.iter().filter(|m| m.antenna == antenna).map(|m| m.mean).collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    (mean(0) - mean(1)).abs() < 3.0 * MATTERS
}

/// Whether promises of so much come true so often, over all situations.
fn calibration(every: &[(f64, bool)]) {
    let n = every.len() as f64;
    let mean = |f: fn(&(f64, bool)) -> f64| every.iter().map(f).sum::<f64>() / n;
    println!(
        "\nall: promised {:.1} %, came true {:.1} % ± {:.1} %",
        100.0 * mean(|r| r.0),
        100.0 * mean(|r| f64::from(r.1)),
        100.0 * (mean(|r| r.0 * (1.0 - r.0)) / n).sqrt()
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
}

/// So many sessions with scatter of those standard deviations.
fn sessions(
    case: &Case,
    sd: &[f64; 4],
    truth: &[f64],
    from: usize,
    count: usize,
    rng: &mut Stream,
) -> Vec<MountingSummary> {
    let mut out = vec![];
    let n = case.readings as f64;
    for session in from..from + count {
        let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
        let day = normal(sd[0]);
        let mut means = vec![];
        for (antenna, own) in truth.iter().enumerate() {
            let visit = own + day + normal(sd[1]);
            means.extend((0..case.mountings).map(|_| (antenna, visit + normal(sd[2]) + normal(sd[3] / n.sqrt()))));
        }
        for (antenna, mean) in means {
            let chi = if n > 1.0 { ChiSquared::new(n - 1.0).map_or(0.0, |c| rng.sample(c)) } else { 0.0 };
            let sum_of_squares = sd[3] * sd[3] * chi;
            out.push(MountingSummary { session, antenna, readings: n, df: n - 1.0, mean, sum_of_squares });
        }
    }
    out
}

/// A plan's ground: all antennas of the log go on, nothing is declared.
fn situation(log: Vec<MountingSummary>, estimates: Vec<f64>, components: Components) -> Situation {
    let antennas = estimates.len();
    Situation {
        antennas,
        log,
        estimates,
        components,
        present: (0..antennas).collect(),
        reference: None,
        declared: vec![0.0; antennas * antennas],
        confidence: CONFIDENCE,
        floor: 0.0,
    }
}

/// The difference of the first two antennas and its half-width, as the verdict of `antennas` has them.
fn judged(case: &Case, log: &[MountingSummary], seed: u64, number: u64) -> Option<(f64, f64)> {
    let (layout, data) = Layout::new(case.antennas, log)?;
    let fit = SetFit::new(layout, &data, 0.0, CONFIDENCE)?;
    let mut replays = Replays::default();
    fit.replay(&mut replays, 1000usize.next_multiple_of(CHUNK), seed, number, &|| ());
    let half = fit.pairs[0].half_width(quantile(&replays.largest, CONFIDENCE));
    Some((fit.pairs[0].difference, half))
}

/// What the plan made from a log promises of the first pair, and whether running it settled the pair. `None` where
/// what is possible given the log is not `wanted`.
fn run(
    case: &Case,
    (sd, truth): (&[f64; 4], &[f64]),
    mut log: Vec<MountingSummary>,
    wanted: impl Fn(&[Draw]) -> bool,
    rng: &mut Stream,
    seed: u64,
    id: u64,
) -> Option<(f64, bool)> {
    let number = id & 0xf_ffff;
    let (layout, data) = Layout::new(case.antennas, &log)?;
    let now = SetFit::new(layout, &data, 0.0, CONFIDENCE)?;
    // two sessions and more show every level, or hold it in another
    let components = Components::from_fit(Some(&now), |_| None)?;
    let situation = situation(log.clone(), now.inference.estimates.clone(), components);
    let asked = [Asked { first: 0, second: 1, matters: Some(MATTERS), measured: true }];
    let design = Design { sessions: case.more, mountings: case.mountings, readings: case.readings };
    let possible = situation.possible(TRIALS, seed ^ number);
    if !wanted(&possible) {
        return None;
    }
    let promised = situation.chances(&design, &asked, &possible, seed, number)[0].settled.chance;

    log.extend(sessions(case, sd, truth, case.before, case.more, rng));
    let settled = |(d, half): (f64, f64)| d.abs() > half || d.abs() + half < MATTERS;
    Some((promised, judged(case, &log, seed, number).is_some_and(settled)))
}
