//! Does looking after every session manufacture verdicts? Simulates seasons in which all antennas are equal, looks after
//! each of their sessions as `antennas` does, and counts the seasons in which any pair was ever called apart: with the
//! looks planned (`looks` in season.toml), and without.
//!
//! ```text
//! cargo bench --profile dev --bench looks                  the table of notebooks-md/planning.md
//! cargo bench --profile dev --bench looks -- --seasons 50  fewer seasons
//! cargo bench --profile dev --bench looks -- --seed 7      another draw of everything
//! ```

use std::time::Instant;

use daylight::analysis::looks::Look;
use daylight::montecarlo::replays::{CHUNK, Replays, quantile};
use daylight::montecarlo::simultaneous::SetFit;
use daylight::montecarlo::stream::stream;
use daylight::stats::mixed::{Layout, MountingSummary};
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};
use rayon::prelude::*;

const LOOKS: usize = 12;
const ALPHA: f64 = 0.05;
const TASK: u64 = 1 << 22;

/// A situation: antennas, mountings, readings, and the standard deviations of session, visit, mounting, reading.
const SITUATIONS: [(&str, usize, usize, usize, [f64; 4]); 3] = [
    ("4 antennas, visits scatter most", 4, 2, 2, [1.0, 0.5, 0.3, 0.2]),
    ("4 antennas, no scatter of visits", 4, 2, 2, [1.0, 0.0, 0.5, 0.2]),
    ("8 antennas, one mounting of one reading", 8, 1, 1, [1.0, 0.4, 0.4, 0.2]),
];

fn main() {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).and_then(|v| v.parse().ok());
    let (seasons, seed): (u64, u64) = (after("--seasons").unwrap_or(400), after("--seed").unwrap_or(1));
    let start = Instant::now();
    println!(
        "{seasons} seasons of {LOOKS} sessions each, all antennas equal, a look after every session, seed {seed}\n"
    );
    println!("| situation | one look, at the end | {LOOKS} looks, nothing done about it | {LOOKS} looks, planned |");
    println!("|---|---|---|---|");
    for (number, situation) in SITUATIONS.iter().enumerate() {
        let found: Vec<[bool; 3]> =
            (0..seasons).into_par_iter().map(|id| season(situation, seed, (number as u64) << 32 | id)).collect();
        let rate = |k: usize| {
            let p = found.iter().filter(|f| f[k]).count() as f64 / seasons as f64;
            format!("{:.1} ± {:.1} %", 100.0 * p, 100.0 * (p * (1.0 - p) / seasons as f64).sqrt())
        };
        println!("| {} | {} | {} | {} |", situation.0, rate(0), rate(1), rate(2));
    }
    println!("\n{:.0} s", start.elapsed().as_secs_f64());
}

/// Any pair ever apart: at the last look alone; at any of the looks, each at the full rate; at any, as planned.
fn season(situation: &(&str, usize, usize, usize, [f64; 4]), seed: u64, id: u64) -> [bool; 3] {
    let &(_, antennas, mountings, readings, sd) = situation;
    let mut rng = stream(seed, TASK, id);
    let mut log: Vec<MountingSummary> = vec![];
    let mut out = [false; 3];
    for session in 0..LOOKS {
        let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
        let day = normal(sd[0]);
        let mut means = vec![];
        for antenna in 0..antennas {
            let visit = day + normal(sd[1]);
            means.extend(
                (0..mountings).map(|_| (antenna, visit + normal(sd[2]) + normal(sd[3] / (readings as f64).sqrt()))),
            );
        }
        for (antenna, mean) in means {
            let df = readings as f64 - 1.0;
            let chi = if df > 0.0 { ChiSquared::new(df).map_or(0.0, |c| rng.sample(c)) } else { 0.0 };
            let sum_of_squares = sd[3] * sd[3] * chi;
            log.push(MountingSummary { session, antenna, readings: readings as f64, df, mean, sum_of_squares });
        }
        if session == 0 {
            continue; // one session shows nothing of another: no pair can be compared yet
        }
        let look = Look::new(session + 1, LOOKS, ALPHA);
        let apart = |level: f64, number: u64| -> bool {
            let Some((layout, data)) = Layout::new(antennas, &log) else { return false };
            let Some(fit) = SetFit::new(layout, &data, 0.0, 1.0 - level) else { return false };
            let largest = fit.pairs.iter().map(|p| p.scaled()).fold(0.0, f64::max);
            // by its own t, each pair's level divided among all, it must be near: else no replay is needed
            if largest < 0.7 {
                return false;
            }
            let trials = ((20.0 / level).ceil() as usize).next_multiple_of(CHUNK);
            let mut replays = Replays::default();
            fit.replay(&mut replays, trials, seed, number, &|| ());
            largest > quantile(&replays.largest, 1.0 - level)
        };
        let number = (id & 0xffff) << 4 | session as u64;
        if !out[1] || session + 1 == LOOKS {
            let now = apart(ALPHA, number);
            out[1] |= now;
            out[0] = session + 1 == LOOKS && now;
        }
        if !out[2] {
            out[2] = apart(look.level, number);
        }
    }
    out
}
