//! How much better two levels fit than one.

use super::Channel;

/// Fewest points on either side of a shift: one odd point is no shift.
pub const LEAST_SIDE: usize = 2;

/// The best split of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// First point after it.
    pub at: usize,
    /// T there.
    pub largest: f64,
    /// T at each possible `at`, from [`LEAST_SIDE`] on.
    pub profile: Vec<f64>,
}

impl Fit {
    /// `None` where nothing varies.
    pub fn of(channels: &[Channel]) -> Option<Fit> {
        let profile = profile(channels);
        let (at, largest) = best(&profile)?;
        Some(Fit { at, largest, profile })
    }
}

/// The best split and its T.
pub fn largest(channels: &[Channel]) -> Option<(usize, f64)> {
    best(&profile(channels))
}

fn best(profile: &[f64]) -> Option<(usize, f64)> {
    let mut out: Option<(usize, f64)> = None;
    for (k, &t) in profile.iter().enumerate() {
        if t > out.map_or(0.0, |o| o.1) {
            out = Some((k + LEAST_SIDE, t));
        }
    }
    out
}

/// Twice the log likelihood ratio of two levels against one, at each split, summed over channels:
///
/// ```text
/// T_k = Σ_channels −n·log(1 − R²_k),    R²_k = W_l·W_r/W·(x̄_l − x̄_r)²/SST
/// ```
///
/// n values with weight, W their weights' sum, left and right of the split; SST the weighted sum of squares
/// about one level. Every channel has a variance of its own, so that none outweighs the others.
pub fn profile(channels: &[Channel]) -> Vec<f64> {
    let n = channels.first().map_or(0, |c| c.values.len());
    let mut out = vec![0.0; (n + 1).saturating_sub(2 * LEAST_SIDE)];
    for channel in channels {
        let (w, x) = (&channel.weights, &channel.values);
        let total: f64 = w.iter().sum();
        let count = w.iter().filter(|w| **w > 0.0).count();
        if count < 2 * LEAST_SIDE {
            continue;
        }
        let mean = w.iter().zip(x).map(|(w, x)| w * x).sum::<f64>() / total;
        let sst: f64 = w.iter().zip(x).map(|(w, x)| w * (x - mean).powi(2)).sum();
        let scale: f64 = w.iter().zip(x).map(|(w, x)| w * x * x).sum();
        if !(sst > 1e-24 * scale) {
            continue; // all alike, to rounding
        }
        let (mut weight, mut sum) = (0.0, 0.0);
        for k in 0..n.saturating_sub(LEAST_SIDE) {
            weight += w[k];
            sum += w[k] * (x[k] - mean);
            if k + 1 < LEAST_SIDE || weight <= 0.0 || weight >= total {
                continue;
            }
            let between = sum * sum * total / (weight * (total - weight));
            out[k + 1 - LEAST_SIDE] += -(count as f64) * (1.0 - (between / sst).min(1.0 - 1e-12)).ln();
        }
    }
    out
}
