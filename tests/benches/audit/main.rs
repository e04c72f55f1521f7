//! Is the audit to be trusted? Counts false words on clean simulated seasons and faults found in spoiled
//! ones, and times it.
//!
//! ```text
//! cargo bench --profile dev --bench audit                     the tables of notebooks-md/audit-promise.md
//! cargo bench --profile dev --bench audit -- --quick          a tenth of the seasons
//! cargo bench --profile dev --bench audit -- --seed 7         another draw of everything
//! cargo bench --profile dev --bench audit -- --only slip      faults whose name holds that
//! cargo bench --profile dev --bench audit -- --part clean     one part: clean, faults or speed
//! ```

mod faults;
mod physical;
mod season;
mod statistical;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Instant;

use daylight::analysis::audit::rules::RULES;
use daylight::analysis::audit::{Audit, Log, audit};
use daylight::season::Season;
use daylight::season::finding::{Group, Place};
use faults::{FAULTS, Fault};
use rayon::prelude::*;
use season::{Design, Simulated, clean, clean_of};

struct Arguments {
    clean: u64,
    faulty: u64,
    seed: u64,
    only: Option<String>,
    part: Option<String>,
}

fn arguments() -> Arguments {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).cloned();
    let number = |key: &str, default: u64| after(key).and_then(|v| v.parse().ok()).unwrap_or(default);
    let tenth = if all.iter().any(|a| a == "--quick") { 10 } else { 1 };
    Arguments {
        clean: number("--seasons", 500 / tenth),
        faulty: number("--faulty", 200 / tenth),
        seed: number("--seed", 1),
        only: after("--only"),
        part: after("--part"),
    }
}

fn main() {
    let arguments = arguments();
    // seasons run side by side, and rules inside them: a thread that waits takes up another season on top
    let pool = rayon::ThreadPoolBuilder::new().stack_size(256 << 20).build_global();
    pool.unwrap_or_else(|e| panic!("{e}"));
    let wanted = |part: &str| arguments.part.as_ref().is_none_or(|p| p == part);
    if wanted("clean") {
        clean_seasons(&arguments);
    }
    if wanted("faults") {
        planted(&arguments);
    }
    if wanted("speed") {
        speed();
    }
}

/// Audits a simulated season, in a folder of its own.
fn audited(season: &Simulated) -> Audit {
    let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    audit(&season.load(folder.path())).unwrap_or_else(|e| panic!("{e}"))
}

/// How many clean seasons have a finding, by group and by rule.
fn clean_seasons(arguments: &Arguments) {
    let start = Instant::now();
    let found: Vec<BTreeSet<(Group, &'static str)>> = (0..arguments.clean)
        .into_par_iter()
        .map(|i| {
            audited(&clean(arguments.seed, i)).findings.iter().map(|j| (j.finding.group, j.finding.rule)).collect()
        })
        .collect();
    let any = |group: Group| found.iter().filter(|f| f.iter().any(|x| x.0 == group)).count();
    println!("{} clean seasons, seed {}", arguments.clean, arguments.seed);
    for (group, name) in
        [(Group::Impossible, "impossible"), (Group::Suspect, "suspect"), (Group::WeakDesign, "weak design")]
    {
        let share = 100.0 * any(group) as f64 / arguments.clean as f64;
        println!("  with any {name} finding: {} ({share:.1} %)", any(group));
        let mut rules: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (i, seen) in found.iter().enumerate() {
            seen.iter().filter(|x| x.0 == group).for_each(|x| rules.entry(x.1).or_default().push(i));
        }
        for (rule, seasons) in rules {
            let first: Vec<String> = seasons.iter().take(5).map(|s| s.to_string()).collect();
            println!("    {rule}: {} (seasons {} …)", seasons.len(), first.join(", "));
        }
    }
    println!("  {:.0} s\n", start.elapsed().as_secs_f64());
}

/// Share of planted faults found, per fault and size.
fn planted(arguments: &Arguments) {
    println!("{} seasons a size, seed {}: share of planted faults found\n", arguments.faulty, arguments.seed);
    for (number, fault) in FAULTS.iter().enumerate() {
        if arguments.only.as_ref().is_some_and(|only| !fault.name.contains(only.as_str())) {
            continue;
        }
        let cells: Vec<String> = fault
            .sizes
            .iter()
            .map(|&size| {
                let hits: usize = (0..arguments.faulty)
                    .into_par_iter()
                    .map(|i| usize::from(is_found(fault, size, arguments.seed, (number as u64) << 20 | i)))
                    .sum();
                format!("{size}: {:.0} %", 100.0 * hits as f64 / arguments.faulty as f64)
            })
            .collect();
        println!("| {} | {} | {} | {} |", fault.name, fault.rules.join(" or "), fault.unit, cells.join(", "));
    }
    println!();
}

/// Whether the audit finds a fault, by a rule that should, at a place that it spoiled.
fn is_found(fault: &Fault, size: f64, seed: u64, number: u64) -> bool {
    let (mut season, mut rng) = clean_of(&Design::ample(), seed, number);
    let spoiled: BTreeSet<usize> = (fault.plant)(&mut season, size, &mut rng).into_iter().map(|i| i + 2).collect();
    let hits = |place: &Place| place.file == season::FILE && place.line.is_some_and(|line| spoiled.contains(&line));
    audited(&season).findings.iter().any(|j| {
        let f = &j.finding;
        fault.rules.contains(&f.rule) && (spoiled.is_empty() || hits(&f.place) || f.others.iter().any(hits))
    })
}

/// Seconds of an audit by number of readings, on as many threads as the machine has.
fn speed() {
    println!("Seconds to take in and to audit, by readings");
    for sessions in [1, 2, 4, 8] {
        let design =
            Design { antennas: 12, sessions: 12 * sessions, mountings: 4, readings: 3, bands: 3, ..Design::ample() };
        let (season, _) = clean_of(&design, 1, 0);
        let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
        season.write(folder.path());
        let start = Instant::now();
        let loaded = Season::load(folder.path()).unwrap_or_else(|e| panic!("{e}"));
        let (taken, start) = (start.elapsed().as_secs_f64(), Instant::now());
        let found = audit(&loaded).unwrap_or_else(|e| panic!("{e}"));
        println!("  {:>7}: {taken:.2} + {:.2}", found.readings, start.elapsed().as_secs_f64());
        if sessions == 8 {
            by_rule(&loaded);
        }
    }
}

/// Where the time goes, on one thread: what is laid out first, then each rule that takes a hundredth of a second.
fn by_rule(season: &Season) {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).stack_size(256 << 20).build();
    one.unwrap_or_else(|e| panic!("{e}")).install(|| {
        let start = Instant::now();
        let log = Log::new(season).unwrap_or_else(|e| panic!("{e}"));
        println!("           laid out: {:.2}", start.elapsed().as_secs_f64());
        for rule in RULES {
            let start = Instant::now();
            let found = (rule.check)(&log).len();
            let took = start.elapsed().as_secs_f64();
            if took >= 0.01 {
                println!("           {}: {took:.2} ({found} findings)", rule.name);
            }
        }
    });
}
