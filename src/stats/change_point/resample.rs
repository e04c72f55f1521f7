//! Series that might as well have been seen: what is new at each point, shuffled over time.

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;

use super::Channel;

/// Fewest points for which shuffles can show a shift at 5 %: 2·4!·4!/8! = 0.029, while at seven points the
/// clearest shift there is has 2·3!·4!/7! = 0.057. Below that, points are rotated.
const LEAST_TO_SHUFFLE: usize = 8;

/// A model of a series: levels, and errors about them in units of their standard deviation.
///
/// One time's errors stay together over all channels, so that what channels share is kept. Where there are
/// too few points to shuffle, the errors are multiplied by a random rotation instead: exact for normal
/// errors, channels' correlations kept as well.
///
/// # Source
/// Langsrud (2005), Statistics and Computing 15:53–60: rotation tests.
pub struct Resampler {
    level: Vec<Vec<f64>>,
    /// √weight, per channel and point.
    root: Vec<Vec<f64>>,
    /// Standardized errors, per channel and point; 0 where there is no value.
    error: Vec<Vec<f64>>,
    points: usize,
}

impl Resampler {
    /// One level a channel.
    pub fn of_null(channels: &[Channel]) -> Resampler {
        let points = channels.first().map_or(0, |c| c.values.len());
        Resampler::new(channels, points, &|c| {
            let mean = weighted_mean(c, 0, points);
            vec![mean; points]
        })
    }

    /// Two levels a channel; errors as large as the degrees of freedom the levels took ask for.
    pub fn of_shift(channels: &[Channel], at: usize) -> Resampler {
        let points = channels.first().map_or(0, |c| c.values.len());
        let mut out = Resampler::new(channels, points, &|c| {
            let (before, after) = (weighted_mean(c, 0, at), weighted_mean(c, at, points));
            (0..points).map(|t| if t < at { before } else { after }).collect()
        });
        let inflate = (points as f64 / (points as f64 - 2.0)).sqrt();
        out.error.iter_mut().flatten().for_each(|e| *e *= inflate);
        out
    }

    fn new(channels: &[Channel], points: usize, level: &dyn Fn(&Channel) -> Vec<f64>) -> Resampler {
        let level: Vec<Vec<f64>> = channels.iter().map(level).collect();
        let root: Vec<Vec<f64>> = channels.iter().map(|c| c.weights.iter().map(|w| w.sqrt()).collect()).collect();
        let error = (0..channels.len())
            .map(|c| (0..points).map(|t| root[c][t] * (channels[c].values[t] - level[c][t])).map(finite).collect())
            .collect();
        Resampler { level, root, error, points }
    }

    /// Whether points are rotated, not shuffled.
    pub fn rotates(&self) -> bool {
        self.points < LEAST_TO_SHUFFLE
    }

    /// Channels of the right shape and weights for [`Resampler::draw`].
    pub fn blank(&self) -> Vec<Channel> {
        let channel =
            |root: &Vec<f64>| Channel { values: vec![0.0; self.points], weights: root.iter().map(|r| r * r).collect() };
        self.root.iter().map(channel).collect()
    }

    /// One series. With memory φ, errors follow u_t = φ·u_(t−1) + z_t, and the z, found by turning that round,
    /// are what is shuffled; the first is put on the scale of the others by √(1 − φ²).
    pub fn draw(&self, memory: f64, rng: &mut impl Rng, out: &mut [Channel]) {
        let start = (1.0 - memory * memory).sqrt();
        let fresh = |u: &[f64]| -> Vec<f64> {
            (0..u.len()).map(|t| if t == 0 { u[0] * start } else { u[t] - memory * u[t - 1] }).collect()
        };
        let mut z: Vec<Vec<f64>> = self.error.iter().map(|u| fresh(u)).collect();
        if self.rotates() {
            rotate(&mut z, self.points, rng);
        } else {
            for t in (1..self.points).rev() {
                let other = rng.random_range(0..=t);
                z.iter_mut().for_each(|z| z.swap(t, other));
            }
        }
        for (c, z) in z.iter().enumerate() {
            let mut u = 0.0;
            for t in 0..self.points {
                u = if t == 0 { z[0] / start } else { memory * u + z[t] };
                let root = self.root[c][t];
                out[c].values[t] = self.level[c][t] + if root > 0.0 { u / root } else { 0.0 };
            }
        }
    }
}

fn finite(x: f64) -> f64 {
    if x.is_finite() { x } else { 0.0 }
}

fn weighted_mean(c: &Channel, from: usize, to: usize) -> f64 {
    let total: f64 = c.weights[from..to].iter().sum();
    if !(total > 0.0) {
        return 0.0;
    }
    c.weights[from..to].iter().zip(&c.values[from..to]).map(|(w, x)| w * x).sum::<f64>() / total
}

/// Multiplies the points of all channels by one random rotation: normal vectors made orthonormal in turn.
fn rotate(z: &mut [Vec<f64>], n: usize, rng: &mut impl Rng) {
    let mut rows: Vec<Vec<f64>> = vec![];
    while rows.len() < n {
        let mut row: Vec<f64> = (0..n).map(|_| rng.sample(StandardNormal)).collect();
        for _ in 0..2 {
            // twice, so that rounding of the first pass is gone too
            for known in &rows {
                let dot: f64 = row.iter().zip(known).map(|(a, b)| a * b).sum();
                row.iter_mut().zip(known).for_each(|(a, b)| *a -= dot * b);
            }
        }
        let length = row.iter().map(|a| a * a).sum::<f64>().sqrt();
        if length > 1e-8 {
            rows.push(row.into_iter().map(|a| a / length).collect());
        }
    }
    for z in z {
        *z = rows.iter().map(|row| row.iter().zip(z.iter()).map(|(a, b)| a * b).sum()).collect();
    }
}
