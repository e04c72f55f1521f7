//! Is the promise kept? Simulates seasons with known truth over a grid of designs, analyses each as the
//! program would, and counts.
//!
//! ```text
//! cargo bench --profile dev --bench promise                    the table of notebooks-md/promise.md
//! cargo bench --profile dev --bench promise -- --quick         a fifteenth of the seasons
//! cargo bench --profile dev --bench promise -- --seed 7        another draw of everything
//! cargo bench --profile dev --bench promise -- --only linked   designs whose name holds that
//! ```
//!
//! What is counted, per design, over seasons: any false "apart" with all antennas equal and with half of
//! them equal; any false "even" with differences just as large as what matters; all pair intervals
//! covering at once; single antenna intervals; joint rank sets; and the share of real differences
//! called apart, beside three rivals on the same data: (a) pooled t-tests of all readings, as commonly
//! done, (b) the classical block analysis of visit means with Tukey's range, (c) an oracle that knows
//! the components.

mod design;
mod rivals;
mod score;
mod season;

use std::time::Instant;

use design::{Design, grid};
use rayon::prelude::*;
use score::{Tally, score};

/// Replays a season: enough for the quantile to err by less than the table shows.
const TRIALS: usize = 1000;

struct Arguments {
    seasons: u64,
    seed: u64,
    only: Option<String>,
}

fn arguments() -> Arguments {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).cloned();
    let number = |key: &str, default: u64| after(key).and_then(|v| v.parse().ok()).unwrap_or(default);
    let seasons = if all.iter().any(|a| a == "--quick") { 134 } else { 2000 };
    Arguments { seasons: number("--seasons", seasons), seed: number("--seed", 1), only: after("--only") }
}

fn main() {
    let arguments = arguments();
    let start = Instant::now();
    println!("{} seasons a design, {TRIALS} replays a season, seed {}\n", arguments.seasons, arguments.seed);
    println!("{}", score::HEADER);
    let mut failed = vec![];
    for (number, design) in grid().into_iter().enumerate() {
        if arguments.only.as_ref().is_some_and(|only| !design.name.contains(only.as_str())) {
            continue;
        }
        let tally = run(&design, &arguments, number as u64);
        println!("{}", tally.row(&design));
        failed.extend(tally.failures(&design));
    }
    println!("\n{:.0} s", start.elapsed().as_secs_f64());
    if failed.is_empty() {
        println!("Every design keeps the promise.");
    } else {
        failed.iter().for_each(|f| println!("NOT KEPT: {f}"));
    }
}

fn run(design: &Design, arguments: &Arguments, number: u64) -> Tally {
    let tallies: Vec<Tally> = (0..arguments.seasons)
        .into_par_iter()
        .map(|i| {
            let id = arguments.seed << 40 | number << 24 | i;
            score(design, &season::simulate(design, id), id, TRIALS)
        })
        .collect();
    // summed in order, so that the table is the same on any number of threads
    tallies.into_iter().fold(Tally::default(), Tally::plus)
}
