//! How much a point resembles the one before it, and how much of that a search should allow for.

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;

use super::Channel;
use super::statistic;

/// Memory allowed for at the least in series of seven points or fewer, which cannot rule it out; each further point takes
/// `EASES` off.
const LEAST_SHORT: f64 = 0.4;
const EASES: f64 = 0.05;
/// Memory allowed for at the least in any series.
const LEAST: f64 = 0.2;
/// Added to the estimate.
const MARGIN: f64 = 0.1;
/// How often series of the memory estimated show less than is seen: far below a half, so that the estimate is too small
/// much less often than too large.
const LESS: f64 = 0.2;
/// The same of several channels: bands of one meter wander together in part, and say less than so many series would.
const LESS_OF_SEVERAL: f64 = 0.12;
/// Never more than this.
const MOST: f64 = 0.9;
/// The most allowed for in a series of ten points or fewer, where the estimate is little more than noise; each
/// further point adds `MORE`.
const MOST_SHORT: f64 = 0.7;
const MORE: f64 = 0.03;
/// Simulated series at each memory tried.
const SERIES: usize = 600;

/// Fewest points at which a second shift is taken out before neighbours are compared.
const LEAST_FOR_TWO: usize = 12;

/// The memory φ a search of these channels allows for: φ̂ + 0.1, but no less than 0.4 in seven points and 0.2 in eleven,
/// and no more than 0.7 in ten points and 0.9 in seventeen.
///
/// φ̂ is the memory at which one in five series of this length (one in eight, of several channels), fitted with their best
/// one or two splits, shows no more correlation of neighbours than these residuals show: a residual about a split that was
/// searched for resembles its neighbour less than the error itself, and this makes up for it. The constants were chosen so
/// that series with a memory up to 0.6 pass for shifted in about 5 % of cases at most, at the price of shifts that are not
/// called where there are few sessions or one band; `notebooks-md/meters-promise.md` measures both.
pub fn allowed(channels: &[Channel], rng: &mut impl Rng) -> f64 {
    let n = channels.first().map_or(0, |c| c.values.len()) as f64;
    let least = (LEAST_SHORT - EASES * (n - 7.0)).clamp(LEAST, LEAST_SHORT);
    let most = (MOST_SHORT + MORE * (n - 10.0)).clamp(MOST_SHORT, MOST);
    (estimate(channels, rng) + MARGIN).clamp(least, most)
}

fn estimate(channels: &[Channel], rng: &mut impl Rng) -> f64 {
    let seen = neighbours(channels);
    let n = channels.first().map_or(0, |c| c.values.len());
    let steps = 10;
    let mut last = (0.0, f64::NEG_INFINITY);
    for step in 0..steps {
        let memory = f64::from(step) / f64::from(steps);
        let shown = little(n, channels.len(), memory, rng).max(last.1);
        if shown >= seen {
            if step == 0 || shown == last.1 {
                return memory;
            }
            return last.0 + (memory - last.0) * (seen - last.1) / (shown - last.1);
        }
        last = (memory, shown);
    }
    MOST
}

/// The best split, and in a series long enough the best further split of either side.
fn splits(channels: &[Channel]) -> Vec<usize> {
    let n = channels.first().map_or(0, |c| c.values.len());
    let Some((at, _)) = statistic::largest(channels) else { return vec![0, n] };
    let mut out = vec![0, at, n];
    if n >= LEAST_FOR_TWO {
        let sides = [(0, at), (at, n)];
        let found = sides
            .iter()
            .filter_map(|&(from, to)| statistic::largest(&super::cut(channels, from, to)).map(|(k, t)| (from + k, t)));
        out.extend(found.max_by(|a, b| a.1.total_cmp(&b.1)).map(|f| f.0));
        out.sort_unstable();
    }
    out
}

/// Correlation of neighbouring residuals about the best splits, all channels together.
fn neighbours(channels: &[Channel]) -> f64 {
    let splits = splits(channels);
    let (mut product, mut counted) = (0.0, 0.0);
    for c in channels {
        let mut u = vec![];
        for part in splits.windows(2) {
            let (w, x) = (&c.weights[part[0]..part[1]], &c.values[part[0]..part[1]]);
            let total: f64 = w.iter().sum();
            let mean = w.iter().zip(x).map(|(w, x)| w * x).sum::<f64>() / total;
            u.extend(w.iter().zip(x).map(|(w, x)| if *w > 0.0 { w.sqrt() * (x - mean) } else { 0.0 }));
        }
        let scale: f64 = u.iter().map(|u| u * u).sum();
        if scale > 0.0 {
            product += u.windows(2).map(|p| p[0] * p[1]).sum::<f64>() / scale;
            counted += 1.0;
        }
    }
    if counted > 0.0 { product / counted } else { 0.0 }
}

/// The [`neighbours`] that a share of [`LESS`], or [`LESS_OF_SEVERAL`], of normal series of that memory stay below.
fn little(n: usize, channels: usize, memory: f64, rng: &mut impl Rng) -> f64 {
    let mut series: Vec<Channel> = vec![Channel { values: vec![0.0; n], weights: vec![1.0; n] }; channels];
    let mut seen: Vec<f64> = (0..SERIES)
        .map(|_| {
            for c in &mut series {
                let mut u = 0.0;
                for (t, value) in c.values.iter_mut().enumerate() {
                    let z: f64 = rng.sample(StandardNormal);
                    u = if t == 0 { z / (1.0 - memory * memory).sqrt() } else { memory * u + z };
                    *value = u;
                }
            }
            neighbours(&series)
        })
        .collect();
    seen.sort_by(f64::total_cmp);
    let share = if channels == 1 { LESS } else { LESS_OF_SEVERAL };
    seen[(share * SERIES as f64) as usize]
}
