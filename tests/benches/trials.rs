//! How fast are trials, and where does the time go?
//!
//! `cargo bench --profile dev --bench trials` (the profile the program is built in). The model is x1*x2/x3 + SIN(x4)*x5 with five
//! normal inputs, ten million trials. The baseline is the general numeric library of Python, timed by
//! `tests/reference/trials.py`, which this runs first where `python3` (or `PYTHON`) has it, so that both are from one run on
//! one machine.

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use daylight::analysis::budget::columns::Columns;
use daylight::analysis::budget::config::Config;
use daylight::analysis::budget::parse;
use daylight::analysis::budget::simulation::{Draws, Options, simulate};
use daylight::montecarlo::adaptive::{CHUNK, Trials};
use daylight::montecarlo::coverage::IntervalKind;
use polars::prelude::*;
use rayon::prelude::*;

const TRIALS: usize = 10_000_000;

fn model() -> Config {
    let mut text = String::new();
    for i in 1..=5 {
        text += &format!("[[input]]\nname = \"x{i}\"\nshape = \"normal\"\nvalue = {}\nstandard = 0.1\n", i + 1);
    }
    text += "[[output]]\nname = \"y\"\nexpression = \"x1*x2/x3 + SIN(x4)*x5\"\n";
    parse::parse(&text, "model", Path::new("")).expect("the model is one")
}

/// Seconds on the clock and of the processor.
#[derive(Clone, Copy)]
struct Time {
    wall: f64,
    cpu: f64,
}

/// Processor time of this process so far, from the system's own account, which counts hundredths of a second; NaN on
/// systems without one.
fn cpu() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let ticks = |field: usize| stat.rsplit(')').next()?.split_whitespace().nth(field)?.parse::<f64>().ok();
    ticks(11).zip(ticks(12)).map_or(f64::NAN, |(user, system)| (user + system) / 100.0)
}

/// The time of a call, the best of five.
fn seconds(mut call: impl FnMut()) -> Time {
    let mut best = Time { wall: f64::INFINITY, cpu: f64::INFINITY };
    for _ in 0..5 {
        let (start, used) = (Instant::now(), cpu());
        call();
        best = Time { wall: best.wall.min(start.elapsed().as_secs_f64()), cpu: best.cpu.min(cpu() - used) };
    }
    best
}

fn report(what: &str, time: Time) {
    let per_trial = time.cpu / TRIALS as f64 * 1e9;
    println!("{what:<62} {:5.2} s wall {:5.2} s CPU {per_trial:6.1} ns CPU a trial", time.wall, time.cpu);
}

/// Every chunk's draws, and then its result; the sum keeps the compiler honest.
fn draws_and_model(config: &Config, evaluate: bool) -> f64 {
    let chunks = TRIALS.div_ceil(CHUNK) as u64;
    let sums: Vec<f64> = (0..chunks)
        .into_par_iter()
        .map_init(
            || (Draws::new(config), Columns::new(&config.program), vec![0.0; CHUNK]),
            |(draws, columns, result), chunk| {
                draws.draw(config, 1, chunk);
                if !evaluate {
                    return draws.columns()[0][7];
                }
                columns.run(&config.program, &draws.columns(), &[config.outputs[0].place], &mut [result]);
                result[7]
            },
        )
        .collect();
    sums.iter().sum()
}

fn by_sql(config: &Config, draws: &Draws) -> PolarsResult<f64> {
    let columns =
        draws.columns().iter().enumerate().map(|(i, c)| Column::new(format!("x{}", i + 1).into(), *c)).collect();
    let expression = polars::sql::sql_expr(&config.outputs[0].expression)?.alias("y");
    let y = DataFrame::new(CHUNK, columns)?.lazy().select([expression]).collect()?;
    Ok(y.column("y")?.f64()?.get(7).unwrap_or(f64::NAN))
}

fn main() {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/trials.py");
    let baseline = std::process::Command::new(&python).arg(script).env("OMP_NUM_THREADS", "1").output();
    match baseline {
        Ok(output) if output.status.success() => print!("{}", String::from_utf8_lossy(&output.stdout)),
        _ => println!("no baseline: {python} has not the numeric library"),
    }
    let config = model();
    let mut draws = Draws::new(&config);
    draws.draw(&config, 1, 0);
    let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
    let one = pool(1);
    let chunks = TRIALS.div_ceil(CHUNK);
    let drawing = one.install(|| {
        seconds(|| {
            black_box(draws_and_model(&config, false));
        })
    });
    report("draws of five normal inputs, 1 thread", drawing);
    let mut columns = Columns::new(&config.program);
    let mut result = vec![0.0; CHUNK];
    let model = seconds(|| {
        for _ in 0..chunks {
            columns.run(&config.program, &draws.columns(), &[config.outputs[0].place], &mut [&mut result]);
            black_box(&result);
        }
    });
    report("the model by this program's columns, 1 thread", model);
    let sql = one.install(|| {
        seconds(|| {
            (0..chunks).for_each(|_| {
                black_box(by_sql(&config, &draws).expect("SQL"));
            });
        })
    });
    report("the model by Polars' SQL in this profile, chunks of 8192", sql);
    let mut whole = vec![];
    for threads in [1, 2] {
        let time = pool(threads).install(|| {
            seconds(|| {
                black_box(draws_and_model(&config, true));
            })
        });
        report(&format!("draws and model, {threads} thread(s)"), time);
        whole.push(time);
    }
    println!(
        "two threads are {:.2} times one by the clock; {:.0} % of one is random numbers",
        whole[0].wall / whole[1].wall,
        100.0 * drawing.cpu / whole[0].cpu
    );
    let mut all = vec![];
    for threads in [1, 2] {
        let options = Options { seed: 1, trials: Some(TRIALS as u64) };
        let time = pool(threads).install(|| {
            seconds(|| {
                let trials = simulate(&config, &(0..config.outputs.len()).collect::<Vec<_>>(), &options, &|| ());
                let ordered = trials.ordered(0);
                black_box(Trials::interval(&ordered, 0.95, IntervalKind::Symmetric));
            })
        });
        report(&format!("all of it: mean, u, 95 % interval, {threads} thread(s)"), time);
        all.push(time);
    }
    println!("two threads are {:.2} times one", all[0].wall / all[1].wall);
}
