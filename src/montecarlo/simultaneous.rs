//! All pairs of a set at once: differences, their errors, and the replays that make the intervals
//! simultaneous.

use super::replays::{PairScale, Replays, Task, extend, start_of_refits};
use super::tail;
use crate::stats::mixed::fit::Known;
use crate::stats::mixed::{ContrastError, Data, Inference, Layout, LevelState, infer};
use crate::stats::student_t::t_quantile;

/// One pair's difference and its own standard errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairDifference {
    /// First antenna.
    pub first: usize,
    /// Second antenna.
    pub second: usize,
    /// Whether a chain of sessions joins them.
    pub linked: bool,
    /// first − second, on the analysis scale.
    pub difference: f64,
    /// Standard errors and degrees of freedom of the difference.
    pub error: ContrastError,
    /// The t quantile its |t| is divided by before the largest over all pairs is taken.
    pub t_scale: f64,
    /// How many pairs the set has.
    pub pairs: f64,
    /// Whether it rests on how sessions scatter, as a level of their own: of pairs that no session joins.
    pub across_days: bool,
}

/// A set, fitted, with all its pairs: ready to be replayed.
#[derive(Debug, Clone)]
pub struct SetFit {
    /// The set's structure.
    pub layout: Layout,
    /// The fit and what the standard errors rest on.
    pub inference: Inference,
    /// All pairs, in order of first and then second antenna.
    pub pairs: Vec<PairDifference>,
    /// What replays are fitted on: sessions built alike are one.
    replayed: Layout,
    start: Known,
    scales: Vec<PairScale>,
    confidence: f64,
}

impl SetFit {
    /// Fits a set and all its pairs; `confidence` is that of the family. `None` where the log shows
    /// no scatter at any level.
    pub fn new(layout: Layout, data: &Data, floor: f64, confidence: f64) -> Option<SetFit> {
        let inference = infer(&layout, data, floor)?;
        let replayed = if inference.even.is_some() { layout.clone() } else { layout.folded() };
        let start = Known::at(&replayed, &start_of_refits(&replayed, &inference.components), floor)?;
        let p = layout.antennas();
        let count = (p * (p.saturating_sub(1)) / 2).max(1) as f64;
        let mut pairs = vec![];
        for first in 0..p {
            for second in first + 1..p {
                let error = inference.difference(first, second);
                pairs.push(PairDifference {
                    first,
                    second,
                    linked: layout.linked(first, second),
                    difference: inference.estimates[first] - inference.estimates[second],
                    error,
                    t_scale: t_quantile(1.0 - (1.0 - confidence) / (2.0 * count), error.df),
                    pairs: count,
                    across_days: !layout.linked(first, second) && layout.states()[0] == LevelState::Seen,
                });
            }
        }
        // The stretch is left out of the replays' scale: theirs then vary in variance as the log's do, and
        // doubt about how much they really vary falls on the wide side.
        let scales = pairs
            .iter()
            .map(|p| PairScale {
                first: p.first,
                second: p.second,
                linked: p.linked,
                scale: p.error.adjusted / (p.error.model * p.error.stretch) * p.t_scale,
            })
            .collect();
        Some(SetFit { layout, inference, pairs, replayed, start, scales, confidence })
    }

    /// Adds replays, the same whatever the number of threads.
    pub fn replay(&self, replays: &mut Replays, trials: usize, seed: u64, number: u64, done: &(dyn Fn() + Sync)) {
        let task = Task {
            layout: &self.replayed,
            theta: &self.inference.components,
            start: &self.start,
            even: self.inference.even.as_ref(),
            factor: &self.inference.factor,
            pairs: &self.scales,
            seed,
            number,
        };
        extend(replays, &task, trials, done);
    }

    /// The critical value of all pairs at once, at the confidence the set was fitted for. `sorted` holds
    /// [`Replays::largest`] in ascending order.
    pub fn critical(&self, sorted: &[f64]) -> f64 {
        critical(sorted, self.confidence)
    }
}

/// The critical value of all pairs at once: what the half-widths are to be multiplied by. `sorted` holds
/// [`Replays::largest`] in ascending order.
///
/// Where the replays do not resolve that confidence, it is what their tail stays below ([`tail::quantile`]), and
/// never less than 1: each pair's own t at its share of the error rate (Bonferroni), which holds
/// whatever the pairs have to do with each other.
pub fn critical(sorted: &[f64], confidence: f64) -> f64 {
    let own = tail::quantile(sorted, confidence);
    if tail::resolves(sorted.len(), confidence) { own } else { own.max(1.0) }
}

impl PairDifference {
    /// |t| over the pair's own t quantile: what [`Replays::largest`] holds the largest of.
    pub fn scaled(&self) -> f64 {
        self.difference.abs() / self.half_width(1.0)
    }

    /// Half-width of the simultaneous interval at a quantile of [`Replays::largest`].
    pub fn half_width(&self, critical: f64) -> f64 {
        critical * self.error.adjusted * self.t_scale
    }

    /// The same where that quantile is the one of this confidence. Replays scatter sessions as the fit has them, which a
    /// few sessions tell badly: a pair that rests on them is no narrower than by its own t at its share of the error
    /// rate (Bonferroni).
    pub fn half_width_at(&self, critical: f64, confidence: f64) -> f64 {
        let replayed = self.half_width(critical);
        if !self.across_days {
            return replayed;
        }
        let alone = t_quantile(1.0 - (1.0 - confidence) / (2.0 * self.pairs), self.error.df);
        replayed.max(alone * self.error.adjusted)
    }
}
