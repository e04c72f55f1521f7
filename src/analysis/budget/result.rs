//! A budget's answer as plain data.

use super::propagation::Propagation;
use super::region::{Ellipse, Region};
use crate::montecarlo::coverage::{Interval, IntervalKind};
use crate::season::finding::Finding;

/// The whole answer.
#[derive(Debug, Clone)]
pub struct Budget {
    /// The file's title, or its name.
    pub title: String,
    /// Coverage probability.
    pub confidence: f64,
    /// Significant digits of standard uncertainties.
    pub digits: u32,
    /// The interval that is quoted.
    pub interval: IntervalKind,
    /// Seed of the draws.
    pub seed: u64,
    /// Trials made.
    pub trials: u64,
    /// Trials left out of every figure, for want of a finite result.
    pub lost: u64,
    /// Whether the figures settled.
    pub stable: bool,
    /// Inputs, in the file's order.
    pub inputs: Vec<InputResult>,
    /// Correlations given, each pair once.
    pub correlations: Vec<(usize, usize, f64)>,
    /// Outputs, in the file's order.
    pub outputs: Vec<OutputResult>,
    /// What several outputs are together.
    pub joint: Option<Joint>,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

/// One input.
#[derive(Debug, Clone)]
pub struct InputResult {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// The file's word for its shape.
    pub shape: &'static str,
    /// Best estimate.
    pub estimate: f64,
    /// Standard uncertainty, as the law of propagation uses it.
    pub standard_uncertainty: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// One output.
#[derive(Debug, Clone)]
pub struct OutputResult {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Its expression.
    pub expression: String,
    /// Numbers of the inputs it depends on, rising.
    pub inputs: Vec<usize>,
    /// By the law of propagation; none where a sensitivity has no finite value.
    pub propagation: Option<Propagation>,
    /// By Monte Carlo; none where results are not finite.
    pub simulation: Option<Simulation>,
    /// The first held against the second.
    pub validation: Option<Validation>,
    /// Standard deviation of the output with one input varied at a time, one an input; where the law of propagation
    /// does not hold.
    pub one_at_a_time: Option<Vec<f64>>,
}

/// One output by Monte Carlo.
#[derive(Debug, Clone)]
pub struct Simulation {
    /// Mean; none where there is no standard deviation.
    pub mean: Option<f64>,
    /// Standard deviation; none where an input has none, or where a few far results make it up.
    pub standard_uncertainty: Option<f64>,
    /// Median.
    pub median: f64,
    /// What its figures are rounded by: the standard deviation, or, where there is none, that of the normal with as long
    /// an interval.
    pub scale: f64,
    /// The probabilistically symmetric interval.
    pub symmetric: Interval,
    /// The shortest one.
    pub shortest: Interval,
    /// Counts of results, for a picture.
    pub histogram: Histogram,
}

impl Simulation {
    /// The interval of a kind.
    pub fn interval(&self, kind: IntervalKind) -> Interval {
        match kind {
            IntervalKind::Symmetric => self.symmetric,
            IntervalKind::Shortest => self.shortest,
        }
    }
}

/// Counts in equal bins of the middle 99.8 % of the first results.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Lower edge of the first bin.
    pub low: f64,
    /// Width of a bin.
    pub width: f64,
    /// Share of all results in each.
    pub shares: Vec<f64>,
}

/// The law of propagation held against Monte Carlo (JCGM 101:2008, clause 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Validation {
    /// δ.
    pub tolerance: f64,
    /// |difference| of the lower ends.
    pub low: f64,
    /// |difference| of the upper ends.
    pub high: f64,
}

impl Validation {
    /// Whether neither end is further off than the tolerance.
    pub fn holds(self) -> bool {
        self.low <= self.tolerance && self.high <= self.tolerance
    }
}

/// Several outputs together.
#[derive(Debug, Clone)]
pub struct Joint {
    /// Correlations of the outputs by the law of propagation, row by row; NaN where an output is not to be had.
    pub propagated: Vec<f64>,
    /// The same by Monte Carlo.
    pub simulated: Vec<f64>,
    /// Coverage factors of normal outputs.
    pub normal: Region,
    /// Coverage factors that hold the stated share of the trials.
    pub trials: Option<Region>,
    /// Trials that those rest on.
    pub region_trials: usize,
    /// Of two outputs, the ellipse that holds that share.
    pub ellipse: Option<Ellipse>,
}

/// The figures of an output that are to be quoted, and where they come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Quoted {
    /// The law of propagation, borne out by Monte Carlo: estimate, standard and expanded uncertainty, coverage factor.
    Propagated {
        /// y.
        estimate: f64,
        /// u.
        standard: f64,
        /// U.
        expanded: f64,
        /// k.
        factor: f64,
    },
    /// Monte Carlo: mean, standard deviation, interval.
    Simulated {
        /// Mean, or the median where there is no mean.
        centre: f64,
        /// Standard deviation, where there is one.
        standard: Option<f64>,
        /// What to round by.
        scale: f64,
        /// Interval.
        interval: Interval,
    },
    /// The law of propagation alone, with no trials to bear it out.
    Unchecked {
        /// y.
        estimate: f64,
        /// u.
        standard: f64,
    },
    /// Nothing.
    Nothing,
}

impl OutputResult {
    /// What is to be quoted.
    pub fn quoted(&self, kind: IntervalKind) -> Quoted {
        match (&self.propagation, &self.simulation) {
            (Some(p), Some(_)) if self.validation.is_some_and(Validation::holds) => Quoted::Propagated {
                estimate: p.estimate,
                standard: p.standard_uncertainty,
                expanded: p.expanded,
                factor: p.coverage_factor,
            },
            (_, Some(s)) => Quoted::Simulated {
                centre: s.mean.unwrap_or(s.median),
                standard: s.standard_uncertainty,
                scale: s.scale,
                interval: s.interval(kind),
            },
            (Some(p), None) => Quoted::Unchecked { estimate: p.estimate, standard: p.standard_uncertainty },
            (None, None) => Quoted::Nothing,
        }
    }

    /// Each input's share of the variance, from the way that is quoted: of the law of propagation, or of the sum of
    /// variances with one input varied at a time.
    pub fn shares(&self) -> Option<Vec<f64>> {
        match &self.one_at_a_time {
            Some(alone) => {
                let total: f64 = alone.iter().map(|u| u * u).sum();
                Some(alone.iter().map(|u| u * u / total).collect())
            }
            None => self.propagation.as_ref().map(|p| p.shares.clone()),
        }
    }
}
