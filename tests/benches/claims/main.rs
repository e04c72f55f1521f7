//! How often is a verdict on a claim wrong? Simulates seasons with a known truth, every declared source drawn
//! anew, checks the claim as the program would, and counts.
//!
//! ```text
//! cargo bench --profile dev --bench claims                    the table of notebooks-md/claims.md
//! cargo bench --profile dev --bench claims -- --quick         a tenth of the seasons
//! cargo bench --profile dev --bench claims -- --seed 7        another draw of everything
//! cargo bench --profile dev --bench claims -- --only gain     designs whose name holds that
//! ```
//!
//! With the truth right at the limit both verdicts count as wrong, "met" because a hair beyond it the claim is
//! not met, "missed" because a hair within it is not missed. Each may come at most as often as the risk
//! allows, here 2.5 %; designs in which a meter shifts unannounced are shown and promise nothing. A second truth shows how often a claim that is met (or missed) by some way is seen to be.

mod design;
mod season;

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::claims::check_sets;
use daylight::analysis::claims::result::Verdict;
use design::{Design, all};
use rayon::prelude::*;

/// Chance allowed of a wrong verdict.
const RISK: f64 = 0.025;
/// Draws a result: enough for the quantile to err by less than the table shows.
const TRIALS: usize = 4000;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |key: &str| arguments.iter().position(|a| a == key).and_then(|i| arguments.get(i + 1));
    let number = |key: &str, default: u64| after(key).and_then(|v| v.parse().ok()).unwrap_or(default);
    let quick = arguments.iter().any(|a| a == "--quick");
    let seasons = number("--seasons", if quick { 100 } else { 1000 });
    let seed = number("--seed", 1);
    println!("{seasons} seasons a line, {TRIALS} draws a result, risk {:.1} %, seed {seed}\n", 100.0 * RISK);
    println!("| claim | truth | met % | missed % | wrong % (s.e.) |");
    println!("|---|---|---|---|---|");
    let mut failed = vec![];
    for (place, design) in all().iter().enumerate() {
        if after("--only").is_some_and(|only| !design.name.contains(only.as_str())) {
            continue;
        }
        for (k, &truth) in design.truths.iter().enumerate() {
            let counts = run(design, truth, seasons, seed << 40 | (place as u64) << 28 | (k as u64) << 24);
            failed.extend(line(design, truth, counts, seasons));
        }
    }
    match failed.as_slice() {
        [] => println!("\nNo verdict is wrong more often than the risk allows (three standard errors)."),
        failed => failed.iter().for_each(|f| println!("\nTOO OFTEN: {f}")),
    }
}

/// Met and missed over the seasons.
fn run(design: &Design, truth: f64, seasons: u64, first: u64) -> [u64; 2] {
    let verdicts: Vec<Verdict> = (0..seasons)
        .into_par_iter()
        .map(|i| {
            let season = season::simulate(design, truth, first | i);
            let options = Options { confidence: 0.95, seed: first | i, trials: Some(TRIALS) };
            let read = season::read_where(design);
            check_sets(&season.config, &season.sets, read, &options, RISK, &|| ())[0].verdict
        })
        .collect();
    [Verdict::Met, Verdict::Missed].map(|v| verdicts.iter().filter(|x| **x == v).count() as u64)
}

/// Prints a line; says so where a wrong verdict came more often than allowed.
fn line(design: &Design, truth: f64, [met, missed]: [u64; 2], seasons: u64) -> Option<String> {
    let share = |count: u64| count as f64 / seasons as f64;
    let (low, high) = design.limits;
    let at_limit = low == Some(truth) || high == Some(truth);
    let inside = low.is_none_or(|l| truth >= l) && high.is_none_or(|h| truth <= h);
    let wrong = if at_limit {
        share(met).max(share(missed))
    } else if inside {
        share(missed)
    } else {
        share(met)
    };
    let error = (wrong * (1.0 - wrong) / seasons as f64).sqrt();
    println!(
        "| {} | {truth} | {:.1} | {:.1} | {:.1} ({:.1}) |",
        design.name,
        100.0 * share(met),
        100.0 * share(missed),
        100.0 * wrong,
        100.0 * error
    );
    let allowed = RISK + 3.0 * (RISK * (1.0 - RISK) / seasons as f64).sqrt();
    (wrong > allowed && !design.stress()).then(|| format!("{} at {truth}: {:.1} %", design.name, 100.0 * wrong))
}
