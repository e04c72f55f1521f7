//! What the question "which antennas are apart" is answered with: plain data, rendered elsewhere.

use crate::analysis::looks::Look;
use crate::analysis::meters::correction::Correction;
use crate::analysis::next::Step;
use crate::radio::quantity::{Quantity, in_words};
use crate::season::finding::Finding;
use crate::stats::mixed::{Basis, Level, LevelState};

use super::sources::Applied;

/// A range with a lower and an upper end.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What is said of a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The simultaneous interval excludes zero.
    Apart,
    /// It does not, and is wider than what matters.
    Noise,
    /// It lies within what matters.
    Even,
    /// The difference rests on a spread that neither the log nor a declared source gives.
    Unlinked,
}

/// Where a component's size comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// The level.
    pub level: Level,
    /// What the log shows of it.
    pub state: LevelState,
    /// Standard deviation on the analysis scale: estimated, or declared; `None` where neither is had.
    pub sd: Option<f64>,
    /// Degrees of freedom of an estimated one above zero.
    pub df: Option<f64>,
    /// Whether `sd` is a declared source's.
    pub declared: bool,
}

/// One antenna in one set. Numbers are on the analysis scale.
#[derive(Debug, Clone, PartialEq)]
pub struct AntennaResult {
    /// Its name.
    pub antenna: String,
    /// Its mean: or, in a set relative to the reference antenna, its difference from that.
    pub estimate: f64,
    /// Standard uncertainty of `estimate`, sources that don't cancel included; `None` where the log
    /// and the season say too little.
    pub standard_uncertainty: Option<f64>,
    /// Coverage interval of this estimate by itself.
    pub range: Option<Range>,
    /// Visits.
    pub visits: usize,
    /// Mountings.
    pub mountings: usize,
    /// Readings.
    pub readings: f64,
    /// Place by estimate, from 1; `None` where neither end of the quantity is better.
    pub rank: Option<usize>,
    /// Joint confidence set for its rank.
    pub rank_range: Option<(usize, usize)>,
    /// Share of replays in which it takes each rank, first rank first; empty where not compared.
    pub rank_probabilities: Vec<f64>,
}

/// One pair in one set. Numbers are on the analysis scale.
#[derive(Debug, Clone, PartialEq)]
pub struct PairResult {
    /// Index of the first antenna in the set.
    pub first: usize,
    /// Index of the second.
    pub second: usize,
    /// first − second.
    pub difference: f64,
    /// Standard error, declared sources included; `None` for an unlinked pair.
    pub standard_error: Option<f64>,
    /// Its degrees of freedom; infinite where all of it is declared.
    pub df: Option<f64>,
    /// Simultaneous interval.
    pub range: Option<Range>,
    /// p-value adjusted over all pairs of the set.
    pub p_adjusted: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
    /// False for a pair apart by too little to matter; `None` where the season sets no size.
    pub matters: Option<bool>,
    /// Share of the squared standard error that is declared rather than seen as scatter.
    pub share_declared: Option<f64>,
    /// For an unlinked pair of one session: what that day showed.
    pub that_day: Option<Range>,
    /// Whether the two were ever measured in one session.
    pub met: bool,
    /// Whether a chain of sessions joins them, one antenna common to each and the next.
    pub joined: bool,
}

impl PairResult {
    /// A pair of which nothing but its difference and a verdict is known.
    pub fn bare(first: usize, second: usize, difference: f64, verdict: Verdict) -> PairResult {
        PairResult {
            first,
            second,
            difference,
            standard_error: None,
            df: None,
            range: None,
            p_adjusted: None,
            verdict,
            matters: None,
            share_declared: None,
            that_day: None,
            met: true,
            joined: true,
        }
    }
}

/// What a share of the uncertainty comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum ShareOf {
    /// The scatter of a level.
    Scatter(Level),
    /// A declared source, or one the tool made, by name.
    Source(String),
}

/// A share of the variance of a difference, on average over the pairs compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// Of what.
    pub of: ShareOf,
    /// The share.
    pub share: f64,
}

/// One set's answer.
#[derive(Debug, Clone)]
pub struct SetResult {
    /// Quantity.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// The reference antenna, where estimates are differences from it.
    pub relative_to: Option<String>,
    /// Components, outermost first.
    pub components: Vec<Component>,
    /// How the standard errors came about.
    pub basis: Basis,
    /// Antennas, in the season's order.
    pub antennas: Vec<AntennaResult>,
    /// All pairs.
    pub pairs: Vec<PairResult>,
    /// Declared sources and what became of them.
    pub sources: Vec<Applied>,
    /// Where the uncertainty of a difference comes from, largest first.
    pub shares: Vec<Share>,
    /// Correction for line loss that was made to |Γ|; 1 for none.
    pub line_factor: f64,
    /// The meter's offset that was taken out, where the season asks for that.
    pub corrected: Option<Correction>,
    /// The display's last digit used, in the quantity's unit, and whether it was declared.
    pub resolution: (f64, bool),
    /// Sessions in the set.
    pub sessions: usize,
    /// Trials made.
    pub trials: usize,
    /// Replays whose refit did not come to rest.
    pub unsettled: usize,
    /// Whether the log's own fit came to rest.
    pub converged: bool,
    /// The smallest difference that matters, in the unit `[matters]` uses.
    pub matters: Option<f64>,
}

/// One ordinal set's answer.
#[derive(Debug, Clone)]
pub struct OrdinalResult {
    /// Quantity.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Listener.
    pub meter: String,
    /// Antennas: name, sessions, reports, median grade.
    pub antennas: Vec<OrdinalAntenna>,
    /// All pairs.
    pub pairs: Vec<OrdinalPairResult>,
    /// Shufflings made.
    pub permutations: usize,
}

/// One antenna in an ordinal set.
#[derive(Debug, Clone, serde::Serialize)]
pub struct OrdinalAntenna {
    /// Its name.
    pub antenna: String,
    /// Sessions it was heard in.
    pub sessions: usize,
    /// Reports.
    pub reports: usize,
    /// Median grade.
    pub median: f64,
    /// The best rank that the verdicts allow.
    pub rank_low: usize,
    /// The worst.
    pub rank_high: usize,
}

/// One pair in an ordinal set.
#[derive(Debug, Clone, Copy)]
pub struct OrdinalPairResult {
    /// Index of the first antenna.
    pub first: usize,
    /// Index of the second.
    pub second: usize,
    /// Sessions that heard both.
    pub sessions: usize,
    /// P(report on first better) + ½·P(equal), in one session.
    pub probability: Option<f64>,
    /// Adjusted permutation p-value.
    pub p_adjusted: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
}

/// The ranking over all weighted sets.
#[derive(Debug, Clone)]
pub struct Overall {
    /// The sets in it, by index into the sets, with their weights.
    pub weights: Vec<(usize, f64)>,
    /// Antennas with a result in every weighted set, best first.
    pub antennas: Vec<OverallAntenna>,
    /// Antennas left out, for want of a set.
    pub incomplete: Vec<String>,
    /// Pairs apart.
    pub apart: usize,
    /// All pairs.
    pub pairs: usize,
    /// What the antennas are worth for their price, cheapest first; empty where fewer than two have one.
    pub worth: Vec<Worth>,
}

/// One antenna's score against its price.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Worth {
    /// Its name.
    pub antenna: String,
    /// Its price, in the season's currency.
    pub price: f64,
    /// Share of replays in which no antenna that costs as much or less has a higher score.
    pub unbeaten: f64,
    /// Antennas that cost as much or less and are shown to score higher, best first.
    pub beaten_by: Vec<String>,
    /// Antennas that cost more and are shown to score higher, cheapest first.
    pub better_for_more: Vec<String>,
}

/// One antenna's place over all weighted sets.
#[derive(Debug, Clone, serde::Serialize)]
pub struct OverallAntenna {
    /// Its name.
    pub antenna: String,
    /// Weighted mean of its differences from the mean antenna, each in units of what matters there;
    /// larger is better.
    pub score: f64,
    /// Simultaneous interval of the score.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// Place by score.
    pub rank: usize,
    /// Joint confidence set for the rank.
    pub rank_low: usize,
    /// Its upper end.
    pub rank_high: usize,
    /// Share of replays in which it is first.
    pub probability_best: f64,
}

/// Does a good value of one quantity go with a good one of another, across antennas?
#[derive(Debug, Clone)]
pub struct Correlation {
    /// Index of the first set.
    pub first: usize,
    /// Index of the second.
    pub second: usize,
    /// Antennas in both.
    pub antennas: usize,
    /// Spearman's rank correlation of the estimates, each turned so that better is higher.
    pub estimate: f64,
    /// Interval from the replays, or `None` where a set could not be replayed.
    pub range: Option<Range>,
}

/// All of it.
#[derive(Debug, Clone)]
pub struct Antennas {
    /// The season's title.
    pub season: String,
    /// Confidence of every family and interval: at this look, where the season plans several.
    pub confidence: f64,
    /// Which look this is, where the season plans several.
    pub look: Option<Look>,
    /// Seed of the replays.
    pub seed: u64,
    /// The most trials made for a set.
    pub trials: usize,
    /// Sets the question was about, those too large to analyse included.
    pub asked: usize,
    /// Numeric sets.
    pub sets: Vec<SetResult>,
    /// Ordinal sets.
    pub ordinal: Vec<OrdinalResult>,
    /// The ranking over weighted sets, where weights are given.
    pub overall: Option<Overall>,
    /// Rank correlations between sets on one band.
    pub correlations: Vec<Correlation>,
    /// What to measure next, what settles most for its minutes first.
    pub next: Vec<Step>,
    /// Everything found on the way in.
    pub findings: Vec<Finding>,
    /// Defaults that were used for want of a season.toml, and how readings of check loads were kept apart.
    pub assumptions: Vec<String>,
    /// Readings left out on the record: reason and rows.
    pub left_out: Vec<(String, usize)>,
    /// Readings of antennas used.
    pub readings: usize,
    /// Readings of check loads, which are no antenna's and are not compared.
    pub load_readings: usize,
}

impl SetResult {
    /// What the set is called in words: "field strength on 2 m, meter field".
    pub fn label(&self) -> String {
        label(&self.quantity.name, &self.band, &self.meter)
    }

    /// Pairs with that verdict.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.pairs.iter().filter(|p| p.verdict == verdict).count()
    }
}

/// A set in words.
pub fn label(quantity: &str, band: &str, meter: &str) -> String {
    format!("{}, {band}, {meter}", in_words(quantity))
}
