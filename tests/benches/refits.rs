//! How fast is a fit, a replay, a whole answer?
//!
//! `cargo bench --profile dev --bench refits` (the profile the program is built in). One thread, except
//! where two are named. The baseline is the general statistics package timed by
//! `tests/reference/speed.R` on the same two seasons: run that beside this for a ratio on one machine.

use std::hint::black_box;
use std::time::Instant;

use daylight::montecarlo::replays::Replays;
use daylight::montecarlo::simultaneous::SetFit;
use daylight::montecarlo::stream::stream;
use daylight::stats::mixed::{Data, Layout, MountingSummary};
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};

/// A complete season with scatter at every level: sd 1, 0.35, 0.3 and 0.2.
fn season(antennas: usize, sessions: usize, mountings: usize, readings: usize) -> (Layout, Data) {
    let mut rng = stream(1, 0, 0);
    let chi = ChiSquared::new((readings - 1) as f64).expect("at least two readings");
    let mut all = vec![];
    for session in 0..sessions {
        let day: f64 = rng.sample(StandardNormal);
        for antenna in 0..antennas {
            let visit = day + 0.35 * rng.sample::<f64, _>(StandardNormal);
            for _ in 0..mountings {
                let sd = (0.09 + 0.04 / readings as f64).sqrt();
                all.push(MountingSummary {
                    session,
                    antenna,
                    readings: readings as f64,
                    df: (readings - 1) as f64,
                    mean: visit + sd * rng.sample::<f64, _>(StandardNormal),
                    sum_of_squares: 0.04 * rng.sample(chi),
                });
            }
        }
    }
    Layout::new(antennas, &all).expect("every antenna has a mounting")
}

/// Seconds a call takes, the best of several rounds.
fn seconds(rounds: usize, calls: usize, mut call: impl FnMut()) -> f64 {
    (0..rounds)
        .map(|_| {
            let start = Instant::now();
            (0..calls).for_each(|_| call());
            start.elapsed().as_secs_f64() / calls as f64
        })
        .fold(f64::INFINITY, f64::min)
}

fn pool(threads: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads")
}

fn main() {
    for (name, a, s, m, n) in
        [("4 antennas × 4 sessions × 2 × 3", 4, 4, 2, 3), ("10 antennas × 8 sessions × 2 × 3", 10, 8, 2, 3)]
    {
        let (layout, data) = season(a, s, m, n);
        let fit = seconds(5, 50, || {
            black_box(SetFit::new(layout.clone(), black_box(&data), 0.0, 0.95));
        });
        println!("{name}: one fit with all Kenward-Roger pairs {:.0} µs", fit * 1e6);
        let set = SetFit::new(layout, &data, 0.0, 0.95).expect("the season scatters");
        for threads in [1, 2] {
            let time = pool(threads).install(|| {
                seconds(3, 1, || {
                    let mut replays = Replays::default();
                    set.replay(&mut replays, 10_000, 1, 0, &|| ());
                    black_box(replays.quantile(0.95));
                })
            });
            println!("{name}: {:.0} full refits a second on {threads} thread(s)", 10_000.0 / time);
        }
    }
}
