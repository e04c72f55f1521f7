//! How good are running orders? For each shape of a session, many orders are made and held against orders by lot and
//! against the naive one, each antenna's mountings one after the other: balance, spread, and what a planted drift does.
//!
//! ```text
//! cargo bench --profile dev --bench orders                the table of notebooks-md/planning.md
//! cargo bench --profile dev --bench orders -- --seeds 10  fewer orders a shape
//! ```

use std::time::Instant;

use daylight::analysis::plan::order::{Slot, Wishes, order};
use daylight::montecarlo::stream::stream;
use rand::seq::SliceRandom;

const TASK: u64 = 77;

fn main() {
    let all: Vec<String> = std::env::args().collect();
    let seeds: u64 = all
        .iter()
        .position(|a| a == "--seeds")
        .and_then(|i| all.get(i + 1))
        .and_then(|v| v.parse().ok())
        .unwrap_or(100);
    println!("{seeds} orders a shape; planned / by lot / one antenna after the other\n");
    println!("| antennas × mountings | linear | bow | fewest mountings between | a drift and a bow leave | time |");
    println!("|---|---|---|---|---|---|");
    for (antennas, mountings) in [(3, 2), (6, 2), (12, 2), (4, 3), (6, 3), (12, 3), (7, 4)] {
        shape(antennas, mountings, seeds);
    }
}

fn shape(antennas: usize, mountings: usize, seeds: u64) {
    let names: Vec<String> = (0..antennas).map(|i| format!("a{i}")).collect();
    let wishes = Wishes {
        antennas: names.iter().map(String::as_str).collect(),
        mountings,
        reference: Some("r"),
        ..Wishes::default()
    };
    let (mut sums, mut time) = ([[0.0; 4]; 3], 0.0);
    for seed in 0..seeds {
        let start = Instant::now();
        let slots = order(&wishes, &mut stream(seed, TASK, 0)).slots;
        time += start.elapsed().as_secs_f64();
        let planned: Vec<Option<usize>> =
            slots.iter().map(|s: &Slot| names.iter().position(|n| *n == s.what)).collect();
        let others = |sequence: Vec<usize>| -> Vec<Option<usize>> {
            let mut next = sequence.into_iter();
            planned.iter().map(|p| p.and_then(|_| next.next())).collect()
        };
        let naive: Vec<usize> = (0..antennas * mountings).map(|i| i / mountings).collect();
        let mut lot = naive.clone();
        lot.shuffle(&mut stream(seed, TASK, 1));
        for (sum, places) in sums.iter_mut().zip([planned.clone(), others(lot), others(naive)]) {
            sum.iter_mut().zip(figures(&places, antennas)).for_each(|(s, f)| *s += f / seeds as f64);
        }
    }
    let cell = |k: usize, digits: usize| sums.map(|s| format!("{:.digits$}", s[k])).join(" / ");
    println!(
        "| {antennas} × {mountings} | {} | {} | {} | {} | {:.0} ms |",
        cell(0, 2),
        cell(1, 2),
        cell(2, 1),
        cell(3, 2),
        1e3 * time / seeds as f64
    );
}

/// Root mean squares, over antennas, of their mean x and mean x² about the middle; fewest mountings from one of an
/// antenna to its next; and the largest difference that a drift of x + x² makes between two antennas.
fn figures(places: &[Option<usize>], antennas: usize) -> [f64; 4] {
    let x = |i: usize| 2.0 * i as f64 / (places.len() - 1) as f64 - 1.0;
    let own: Vec<Vec<usize>> =
        (0..antennas).map(|a| (0..places.len()).filter(|&i| places[i] == Some(a)).collect()).collect();
    let mean = |of: &dyn Fn(f64) -> f64| -> Vec<f64> {
        own.iter().map(|p| p.iter().map(|&i| of(x(i))).sum::<f64>() / p.len() as f64).collect()
    };
    let rms = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt();
    let (linear, square, drifted) = (mean(&|x| x), mean(&|x| x * x), mean(&|x| x + x * x));
    let middle = square.iter().sum::<f64>() / antennas as f64;
    let bow: Vec<f64> = square.iter().map(|s| s - middle).collect();
    let closest = own.iter().flat_map(|p| p.windows(2).map(|w| w[1] - w[0])).min().unwrap_or(0);
    let (low, high) = drifted.iter().fold((f64::MAX, f64::MIN), |(l, h), d| (l.min(*d), h.max(*d)));
    [rms(&linear), rms(&bow), closest as f64, high - low]
}
