//! Is what `meters` says of two meters true as often as it says? Simulates seasons with known truth, compares the
//! meters as the program would, and counts.
//!
//! ```text
//! cargo bench --profile dev --bench meters               the tables of notebooks-md/meters-promise.md
//! cargo bench --profile dev --bench meters -- --quick    a tenth of the seasons
//! cargo bench --profile dev --bench meters -- --seed 7   another draw of everything
//! cargo bench --profile dev --bench meters -- --only power   one part: offsets, alarms, power or drift
//! ```
//!
//! Counted: coverage of the mean offset, of its slope on the level, of the limits of agreement and of a shift's date and
//! size; false alarms of the search for shifts, with sessions that resemble the one before as stress; and how
//! often a shift of a given size is found.

use daylight::analysis::meters::lines::{Method, lines};
use daylight::analysis::meters::log::{MeterSet, Session};
use daylight::analysis::meters::offset::Differences;
use daylight::analysis::meters::pairing::{Side, Unit};
use daylight::analysis::meters::time::{Course, Track};
use daylight::montecarlo::stream::{Stream, stream};
use daylight::radio::quantity::built_in;
use daylight::radio::reflection::{directivity_error, vector_sum};
use daylight::stats::change_point::Search;
use daylight::stats::method_comparison::limits::from_parts;
use rand::RngExt;
use rand_distr::StandardNormal;
use rayon::prelude::*;

/// Confidence of everything measured.
const CONFIDENCE: f64 = 0.95;
/// Shuffles a search.
const SHUFFLES: usize = 999;

/// A way of testing through a season, and what the two meters do in it.
#[derive(Clone, Copy)]
struct Design {
    antennas: usize,
    sessions: usize,
    mountings: usize,
    readings: usize,
    bands: usize,
    /// Share of visits that take place.
    present: f64,
    /// Directivity of the two meters, dB.
    directivity: [f64; 2],
    /// Second = offset + slope × first.
    offset: f64,
    slope: f64,
    /// Standard deviation of each meter's sessions; its memory from one to the next.
    session: f64,
    memory: f64,
    /// A shift of the second meter from this session on.
    shift: Option<(usize, f64)>,
}

const PLAIN: Design = Design {
    antennas: 8,
    sessions: 8,
    mountings: 2,
    readings: 2,
    bands: 1,
    present: 1.0,
    directivity: [25.0, 35.0],
    offset: 0.02,
    slope: 1.0,
    session: 0.006,
    memory: 0.0,
    shift: None,
};

/// Scatter of visits and mountings, common to both meters, and of readings.
const VISIT: f64 = 0.01;
const MOUNTING: f64 = 0.01;
const READING: f64 = 0.004;

fn normal(rng: &mut Stream, sd: f64) -> f64 {
    sd * rng.sample::<f64, _>(StandardNormal)
}

/// Each meter's session errors.
fn days(design: &Design, rng: &mut Stream) -> Vec<f64> {
    let fresh = design.session * (1.0 - design.memory * design.memory).sqrt();
    let mut day = normal(rng, design.session);
    (0..design.sessions)
        .map(|t| {
            if t > 0 {
                day = design.memory * day + normal(rng, fresh);
            }
            day
        })
        .collect()
}

/// The units of one band.
fn simulate(design: &Design, rng: &mut Stream) -> Vec<Unit> {
    let days = [days(design, rng), days(design, rng)];
    let mut units = vec![];
    for item in 0..design.antennas {
        let level = 0.06 + 0.4 * rng.random::<f64>();
        let phase = [0, 1].map(|_| std::f64::consts::TAU * rng.random::<f64>());
        for session in 0..design.sessions {
            if rng.random::<f64>() > design.present {
                continue;
            }
            let visit = level + normal(rng, VISIT);
            for _ in 0..design.mountings {
                let state = (visit + normal(rng, MOUNTING)).abs();
                let mut side = |meter: usize| {
                    let seen = vector_sum(state, directivity_error(design.directivity[meter]), phase[meter]);
                    let shift = design.shift.filter(|s| meter == 1 && session >= s.0).map_or(0.0, |s| s.1);
                    let seen = if meter == 1 { design.offset + design.slope * seen } else { seen };
                    let readings: Vec<f64> = (0..design.readings)
                        .map(|_| seen + days[meter][session] + shift + normal(rng, READING))
                        .collect();
                    let n = readings.len() as f64;
                    let mean = readings.iter().sum::<f64>() / n;
                    let sum_of_squares = readings.iter().map(|y| (y - mean).powi(2)).sum();
                    Side { readings: n, df: n - 1.0, mean, sum_of_squares }
                };
                units.push(Unit { session, item, first: side(0), second: side(1) });
            }
        }
    }
    units
}

fn fit(design: &Design, rng: &mut Stream) -> Differences {
    Differences::fit(&simulate(design, rng), 0.0).expect("there are units")
}

fn log(design: &Design) -> Vec<Session> {
    (0..design.sessions).map(|i| Session { name: format!("{i:02}"), time: 14.0 * i as f64 }).collect()
}

fn meter(design: &Design, which: usize) -> MeterSet {
    MeterSet {
        quantity: built_in("reflection").expect("a built-in quantity"),
        band: "b".into(),
        meter: "m".into(),
        mountings: vec![],
        loads: vec![],
        line_factor: 1.0,
        line_loss_db: 0.0,
        false_wave: directivity_error(design.directivity[which]),
        resolution: 0.0,
    }
}

/// A share with its Monte Carlo standard error, in percent.
fn share(hits: &[bool]) -> String {
    let n = hits.len() as f64;
    let p = hits.iter().filter(|h| **h).count() as f64 / n;
    format!("{:5.1} ± {:.1}", 100.0 * p, 100.0 * (p.max(0.5 / n) * (1.0 - p).max(0.5 / n) / n).sqrt())
}

fn each<T: Send>(seasons: u64, seed: u64, task: u64, one: impl Fn(&mut Stream) -> T + Sync) -> Vec<T> {
    (0..seasons).into_par_iter().map(|i| one(&mut stream(seed, (1 << 23) + task, i))).collect()
}

/// Mean over phases of what the false waves do to the difference, at a level anywhere in the range.
fn expected_bias(design: &Design) -> f64 {
    let mut sum = 0.0;
    let steps = 400;
    for i in 0..steps {
        let level = 0.06 + 0.4 * (f64::from(i) + 0.5) / f64::from(steps);
        for s in 0..180 {
            let phase = std::f64::consts::TAU * (f64::from(s) + 0.5) / 180.0;
            let at = |m: usize| vector_sum(level, directivity_error(design.directivity[m]), phase);
            sum += design.offset + design.slope * at(1) - at(0);
        }
    }
    sum / f64::from(steps * 180)
}

fn offsets(seasons: u64, seed: u64) {
    println!(
        "offset and limits: coverage, %                       offset      lower limit  upper limit  slope, Deming  slope, York"
    );
    let designs = [
        ("8 antennas, 8 sessions", PLAIN),
        ("8 antennas, 8 sessions, half the visits", Design { present: 0.5, ..PLAIN }),
        ("4 antennas, 4 sessions", Design { antennas: 4, sessions: 4, ..PLAIN }),
        ("3 antennas, 10 sessions", Design { antennas: 3, sessions: 10, ..PLAIN }),
        ("12 antennas, 2 sessions", Design { antennas: 12, sessions: 2, ..PLAIN }),
        ("8 antennas, 1 session", Design { sessions: 1, ..PLAIN }),
        (
            "6 antennas, 6 sessions, single readings",
            Design { antennas: 6, sessions: 6, mountings: 1, readings: 1, ..PLAIN },
        ),
        ("8 antennas, 8 sessions, days ten times worse", Design { session: 0.06, ..PLAIN }),
        ("8 antennas, 8 sessions, directivity 20 and 20 dB", Design { directivity: [20.0, 20.0], ..PLAIN }),
        ("8 antennas, 8 sessions, slope 0.9", Design { slope: 0.9, ..PLAIN }),
    ];
    for (number, (name, design)) in designs.iter().enumerate() {
        let truth = expected_bias(design);
        // limits of a single reading's difference, by simulation of many antennas on many days
        let many = Design { antennas: 4000, sessions: 1, mountings: 1, readings: 1, ..*design };
        let mut all: Vec<f64> = each(60, seed, 900 + number as u64, |rng| {
            let units = simulate(&many, rng);
            let day = days(&Design { sessions: 4000, memory: 0.0, ..*design }, rng);
            let other = days(&Design { sessions: 4000, memory: 0.0, ..*design }, rng);
            // each antenna on a day of its own
            let common = units.iter().map(|u| u.difference()).collect::<Vec<_>>();
            let centre = common.iter().sum::<f64>() / common.len() as f64;
            common.iter().enumerate().map(|(i, d)| d - centre + truth + day[i] - other[i]).collect::<Vec<_>>()
        })
        .concat();
        all.sort_by(f64::total_cmp);
        let sd = (all.iter().map(|d| (d - truth).powi(2)).sum::<f64>() / all.len() as f64).sqrt();
        let (low, high) = (truth - 1.959_964 * sd, truth + 1.959_964 * sd);
        let seen = each(seasons, seed, number as u64, |rng| {
            let d = fit(design, rng);
            let e = d.estimate(0, |_| 0, CONFIDENCE);
            let parts = d.parts_of_one();
            let l = from_parts(e.value, e.interval.half(), &parts, CONFIDENCE);
            let line = lines(&d, &meter(design, 0), &meter(design, 1), false, CONFIDENCE);
            let slope = |method| {
                let found = line.as_ref().and_then(|l| l.relations.iter().find(|r| r.method == method));
                found.map(|r| r.proportional_interval.holds(design.slope))
            };
            (
                e.interval.holds(truth),
                l.low_interval.holds(low),
                l.high_interval.holds(high),
                slope(Method::Deming),
                slope(Method::York),
            )
        });
        let slope = |hits: Vec<bool>| if hits.is_empty() { "–".to_string() } else { share(&hits) };
        println!(
            "{name:50}  {}  {}   {}   {}    {}",
            share(&seen.iter().map(|s| s.0).collect::<Vec<_>>()),
            share(&seen.iter().map(|s| s.1).collect::<Vec<_>>()),
            share(&seen.iter().map(|s| s.2).collect::<Vec<_>>()),
            slope(seen.iter().filter_map(|s| s.3).collect()),
            slope(seen.iter().filter_map(|s| s.4).collect())
        );
    }
}

/// A search of a simulated pair: found or not, and its first shift.
fn searched(design: &Design, rng: &mut Stream) -> Course {
    let tracks: Vec<Track> = (0..design.bands).map(|_| Track::of(&fit(design, rng))).collect();
    let how = Search { confidence: CONFIDENCE, shuffles: SHUFFLES };
    Course::of(&tracks, &log(design), &how, rng)
}

fn alarms(seasons: u64, seed: u64) {
    println!("\nfalse alarms of the search for shifts, %: memory from session to session");
    println!("sessions  bands      0            0.3          0.6");
    for (bands, first) in [(1, 0), (3, 100)] {
        for (number, sessions) in [5, 6, 7, 8, 10, 15, 20, 40].into_iter().enumerate() {
            let cells: Vec<String> = [0.0, 0.3, 0.6]
                .iter()
                .enumerate()
                .map(|(m, &memory)| {
                    let design = Design { antennas: 4, sessions, bands, memory, ..PLAIN };
                    let task = 2000 + first + 10 * number as u64 + m as u64;
                    share(&each(seasons, seed, task, |rng| !searched(&design, rng).found.shifts.is_empty()))
                })
                .collect();
            println!("{sessions:8}  {bands:5}  {}", cells.join("  "));
        }
    }
}

fn power(seasons: u64, seed: u64) {
    println!("\na shift half-way, found, %: its size in standard deviations of a session's difference");
    println!("sessions  bands      1            2            3            4          date held    size held");
    let sd = PLAIN.session * 2f64.sqrt();
    for (bands, first) in [(1, 0), (3, 100)] {
        for (number, sessions) in [5, 8, 10, 20, 40].into_iter().enumerate() {
            let (mut dates, mut sizes, mut cells) = (vec![], vec![], vec![]);
            for (z, size) in [1.0, 2.0, 3.0, 4.0].into_iter().enumerate() {
                let at = sessions / 2;
                let design = Design { antennas: 4, sessions, bands, shift: Some((at, size * sd)), ..PLAIN };
                let seen = each(seasons, seed, 4000 + first + 10 * number as u64 + z as u64, |rng| {
                    let found = searched(&design, rng).found;
                    let first = found.first.as_ref();
                    // whether or not it is called a shift: intervals must hold either way
                    let date = first.is_some_and(|f| f.from <= at && at <= f.to);
                    let held = first.and_then(|f| f.sizes[0]).is_some_and(|s| s.interval.holds(size * sd));
                    (!found.shifts.is_empty(), date, held)
                });
                cells.push(share(&seen.iter().map(|s| s.0).collect::<Vec<_>>()));
                dates.extend(seen.iter().filter(|s| s.0).map(|s| s.1));
                sizes.extend(seen.iter().filter(|s| s.0).map(|s| s.2));
            }
            let held = |v: &[bool]| if v.is_empty() { "–".to_string() } else { share(v) };
            println!("{sessions:8}  {bands:5}  {}  {}  {}", cells.join("  "), held(&dates), held(&sizes));
        }
    }
    println!("(date and size: of the seasons with a shift called, all sizes together)");
}

fn drift(seasons: u64, seed: u64) {
    println!("\nslope through the season, coverage, %");
    println!("sessions   memory 0     memory 0.3");
    for (number, sessions) in [5, 10, 20].into_iter().enumerate() {
        let cells: Vec<String> = [0.0, 0.3]
            .iter()
            .enumerate()
            .map(|(m, &memory)| {
                let design = Design { antennas: 4, sessions, memory, ..PLAIN };
                let seen = each(seasons, seed, 6000 + 10 * number as u64 + m as u64, |rng| {
                    searched(&design, rng).slopes[0].is_none_or(|s| s.interval.holds(0.0))
                });
                share(&seen)
            })
            .collect();
        println!("{sessions:8}  {}", cells.join("  "));
    }
}

fn main() {
    let all: Vec<String> = std::env::args().collect();
    let after = |key: &str| all.iter().position(|a| a == key).and_then(|i| all.get(i + 1)).and_then(|v| v.parse().ok());
    let seasons = after("--seasons").unwrap_or(if all.iter().any(|a| a == "--quick") { 200 } else { 2000 });
    let seed = after("--seed").unwrap_or(1);
    let start = std::time::Instant::now();
    println!(
        "{seasons} seasons a cell, {SHUFFLES} shuffles a search, seed {seed}; shares ± Monte Carlo standard errors\n"
    );
    let only = all.iter().position(|a| a == "--only").and_then(|i| all.get(i + 1));
    type Part = fn(u64, u64);
    let parts = [("offsets", offsets as Part), ("alarms", alarms), ("power", power), ("drift", drift)];
    for (_, part) in parts.iter().filter(|(name, _)| only.is_none_or(|only| only == name)) {
        part(seasons, seed);
    }
    println!("\n{:.0} s", start.elapsed().as_secs_f64());
}
