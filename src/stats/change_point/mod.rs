//! Did the level of a series shift, when, and by how much?
//!
//! One or several *channels* run through the same points in time (one meter's offset on several bands, session by
//! session). A shift happens in all of them at once, in each by its own amount, perhaps none. The search goes
//! over all dates, so its p-value comes from searching shuffled series in just the same way. A plain shuffle
//! takes points as exchangeable; points near in time may resemble each other, and a series that only
//! wanders looks like one that shifted. So what is shuffled is what is *new* at each point, with a memory of
//! the point before ([`memory`]); with memory 0 it is the plain permutation test.
//!
//! Symbols: x a channel's values, w their weights (inverse variances up to a factor; 0 where there is no
//! value), k the first point after a shift, T the statistic of [`statistic`], φ the memory.

pub mod memory;
mod resample;
pub mod statistic;

use rand::Rng;

use super::method_comparison::Interval;
use super::student_t::t_quantile;
use resample::Resampler;
use statistic::{Fit, LEAST_SIDE};

/// One channel: a value and a weight at each point in time; weight 0 where there is no value.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Values, in order of time.
    pub values: Vec<f64>,
    /// Weights, each at least 0.
    pub weights: Vec<f64>,
}

impl Channel {
    /// Values that are all as good as each other.
    pub fn alike(values: Vec<f64>) -> Channel {
        Channel { weights: vec![1.0; values.len()], values }
    }
}

/// How a search is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Confidence of intervals; a shift is taken for real where its p-value is at most 1 − confidence.
    pub confidence: f64,
    /// Number of shuffles behind each p-value.
    pub shuffles: usize,
}

/// The likeliest shift of a stretch of the series, real or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// First point after it.
    pub at: usize,
    /// Monte Carlo p-value if neighbouring points resemble each other by `memory`, or not at all: the
    /// larger of the two.
    pub p: f64,
    /// The same if points are exchangeable.
    pub p_exchangeable: f64,
    /// The memory allowed for.
    pub memory: f64,
    /// Whether p-values rest on rotations (normal errors) since too few points can be shuffled.
    pub rotated: bool,
    /// Points any of which may be the first after the shift, at the search's confidence.
    pub from: usize,
    /// The last of these.
    pub to: usize,
    /// Per channel: how much the level rose, with an interval that holds for any date in `from..=to`;
    /// `None` where a side holds no value.
    pub sizes: Vec<Option<Size>>,
}

/// How much a level rose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Mean after − mean before.
    pub estimate: f64,
    /// Its interval.
    pub interval: Interval,
    /// Standard error of the estimate at the likeliest date.
    pub standard_error: f64,
}

/// What a search found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The likeliest shift of the whole series; `None` where it is too short to hold one.
    pub first: Option<Candidate>,
    /// Shifts taken for real, in order of time.
    pub shifts: Vec<Candidate>,
}

/// Fewest points a series may have to be searched.
pub const LEAST_POINTS: usize = 2 * LEAST_SIDE + 1;

/// Searches the whole series, and after each shift found both sides of it, halving the error allowed each
/// time (binary segmentation).
///
/// Channels must have one length. Dates of later shifts are relative to the whole series.
///
/// # Source
/// The statistic and the reference set: Worsley (1986), Biometrika 73:91–104; binary segmentation: Vostrikova
/// (1981), Sov. Math. Dokl. 24:55–59; dates by inverting the likelihood ratio: Siegmund (1988), Int. Stat. Rev.
/// 56:31–48 (titles and pages from memory).
pub fn search(channels: &[Channel], how: &Search, rng: &mut impl Rng) -> Found {
    let n = channels.first().map_or(0, |c| c.values.len());
    let mut shifts = vec![];
    let first = candidate(channels, how, rng);
    let mut open = vec![(0, n, 1.0 - how.confidence, first.clone())];
    while let Some((from, to, risk, best)) = open.pop() {
        let Some(mut best) = best.filter(|b| b.p <= risk) else { continue };
        let at = from + best.at;
        (best.at, best.from, best.to) = (at, from + best.from, from + best.to);
        shifts.push(best);
        for (start, end) in [(from, at), (at, to)] {
            open.push((start, end, risk / 2.0, candidate(&cut(channels, start, end), how, rng)));
        }
    }
    shifts.sort_by_key(|s| s.at);
    Found { first, shifts }
}

fn cut(channels: &[Channel], from: usize, to: usize) -> Vec<Channel> {
    let part = |v: &[f64]| v[from..to].to_vec();
    channels.iter().map(|c| Channel { values: part(&c.values), weights: part(&c.weights) }).collect()
}

/// The likeliest shift, tested and with its intervals; `None` where there are too few points or nothing
/// varies.
fn candidate(channels: &[Channel], how: &Search, rng: &mut impl Rng) -> Option<Candidate> {
    let n = channels.first().map_or(0, |c| c.values.len());
    if n < LEAST_POINTS {
        return None;
    }
    let fit = Fit::of(channels)?;
    let memory = memory::allowed(channels, rng);
    let null = Resampler::of_null(channels);
    let p_exchangeable = p_value(&null, 0.0, fit.largest, how.shuffles, rng);
    let p_memory = p_value(&null, memory, fit.largest, how.shuffles, rng);
    let (from, to) = dates(channels, &fit, memory, how, rng);
    let sizes = (0..channels.len()).map(|c| size(&channels[c], fit.at, from, to, how.confidence)).collect();
    Some(Candidate {
        at: fit.at,
        p: p_memory.max(p_exchangeable),
        p_exchangeable,
        memory,
        rotated: null.rotates(),
        from,
        to,
        sizes,
    })
}

/// (1 + shuffled series with a statistic as large)/(1 + shuffles).
///
/// # Source
/// Phipson & Smyth (2010), Stat. Appl. Genet. Mol. Biol. 9:39.
fn p_value(null: &Resampler, memory: f64, largest: f64, shuffles: usize, rng: &mut impl Rng) -> f64 {
    let mut drawn = null.blank();
    let mut as_large = 0;
    for _ in 0..shuffles {
        null.draw(memory, rng, &mut drawn);
        // ties (the same split of the same points) must count, whatever the rounding
        if statistic::largest(&drawn).is_some_and(|t| t.1 >= largest * (1.0 - 1e-9)) {
            as_large += 1;
        }
    }
    (1 + as_large) as f64 / (1 + shuffles) as f64
}

/// First and last date whose likelihood is near enough to the best: as near as the true date's is in
/// resampled series that shift where this one seems to.
fn dates(channels: &[Channel], fit: &Fit, memory: f64, how: &Search, rng: &mut impl Rng) -> (usize, usize) {
    let model = Resampler::of_shift(channels, fit.at);
    let mut drawn = model.blank();
    let mut short: Vec<f64> = (0..how.shuffles.clamp(200, 2000))
        .filter_map(|_| {
            model.draw(memory, rng, &mut drawn);
            let profile = statistic::profile(&drawn);
            let best = profile.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            best.is_finite().then(|| best - profile[fit.at - LEAST_SIDE])
        })
        .collect();
    short.sort_by(f64::total_cmp);
    let rank = (how.confidence * short.len() as f64).ceil() as usize;
    let allowed = short.get(rank.saturating_sub(1)).copied().unwrap_or(f64::INFINITY);
    let near = |k: &usize| fit.largest - fit.profile[*k] <= allowed;
    let all: Vec<usize> = (0..fit.profile.len()).filter(near).map(|k| k + LEAST_SIDE).collect();
    (all.first().copied().unwrap_or(fit.at).min(fit.at), all.last().copied().unwrap_or(fit.at).max(fit.at))
}

/// Rise of a channel at `at`, its interval the hull of those at every date allowed.
fn size(channel: &Channel, at: usize, from: usize, to: usize, confidence: f64) -> Option<Size> {
    let best = rise(channel, at)?;
    let mut hull = Interval { low: f64::INFINITY, high: f64::NEG_INFINITY };
    for k in from..=to {
        let Some((estimate, error, df)) = rise(channel, k) else { continue };
        let half = t_quantile(0.5 + confidence / 2.0, df) * error;
        hull = Interval { low: hull.low.min(estimate - half), high: hull.high.max(estimate + half) };
    }
    Some(Size { estimate: best.0, interval: hull, standard_error: best.1 })
}

/// Mean after − mean before, its standard error and degrees of freedom.
fn rise(channel: &Channel, at: usize) -> Option<(f64, f64, f64)> {
    let side = |from: usize, to: usize| {
        let w = &channel.weights[from..to];
        let total: f64 = w.iter().sum();
        let mean = w.iter().zip(&channel.values[from..to]).map(|(w, x)| w * x).sum::<f64>() / total;
        let ss: f64 = w.iter().zip(&channel.values[from..to]).map(|(w, x)| w * (x - mean).powi(2)).sum();
        let count = w.iter().filter(|w| **w > 0.0).count();
        (count > 0).then_some((mean, total, ss, count as f64))
    };
    let (before, after) = (side(0, at)?, side(at, channel.values.len())?);
    let df = before.3 + after.3 - 2.0;
    if df < 1.0 {
        return None;
    }
    let unit = (before.2 + after.2) / df; // variance of a value of weight 1
    Some((after.0 - before.0, (unit * (1.0 / before.1 + 1.0 / after.1)).sqrt(), df))
}

#[cfg(test)]
mod tests;
