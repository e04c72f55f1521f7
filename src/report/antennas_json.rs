//! The answer as JSON, format `daylight/antennas/1`. Keys stand in the order given here; a number that
//! is not known, or not finite, is null.

use serde::Serialize;

use crate::analysis::antennas::result::{
    Antennas, Component, Correlation, OrdinalAntenna, OrdinalResult, Overall, OverallAntenna, Range, SetResult,
};
use crate::analysis::antennas::result::{Verdict, label};
use crate::analysis::antennas::shown;
use crate::analysis::antennas::sources::Applied;
use crate::analysis::looks::Look;
use crate::analysis::meters::correction::Correction;
use crate::analysis::next::Step;
use crate::radio::quantity::Better;
use crate::season::finding::Finding;
use crate::stats::mixed::LevelState;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    season: &'a str,
    confidence: f64,
    /// Which look this is, where the season plans several.
    look: Option<Look>,
    seed: u64,
    trials: usize,
    readings: usize,
    load_readings: usize,
    sets: Vec<Set<'a>>,
    ordinal: Vec<Ordinal<'a>>,
    overall: Option<OverallOut<'a>>,
    correlations: Vec<CorrelationOut>,
    next: &'a [Step],
    findings: &'a [Finding],
    left_out: Vec<LeftOut<'a>>,
    assumptions: &'a [String],
}

#[derive(Serialize)]
struct LeftOut<'a> {
    reason: &'a str,
    readings: usize,
}

#[derive(Serialize)]
struct Set<'a> {
    quantity: &'a str,
    band: &'a str,
    meter: &'a str,
    unit: &'a str,
    scale: String,
    better: Better,
    relative_to: Option<&'a str>,
    components: Vec<ComponentOut>,
    antennas: Vec<AntennaOut<'a>>,
    pairs: Vec<PairOut<'a>>,
    sources: Vec<SourceOut<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    corrected: Option<&'a Correction>,
    trials: usize,
    converged: bool,
}

#[derive(Serialize)]
struct ComponentOut {
    level: &'static str,
    sd: Option<f64>,
    df: Option<f64>,
    from: &'static str,
}

#[derive(Serialize)]
struct Shown<'a> {
    unit: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    estimate: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    difference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize)]
struct AntennaOut<'a> {
    antenna: &'a str,
    estimate: f64,
    standard_uncertainty: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    visits: usize,
    mountings: usize,
    readings: u64,
    rank: Option<usize>,
    rank_low: Option<usize>,
    rank_high: Option<usize>,
    probability_best: Option<f64>,
    rank_probabilities: &'a [f64],
    #[serde(skip_serializing_if = "Option::is_none")]
    shown: Option<Shown<'a>>,
}

#[derive(Serialize)]
struct PairOut<'a> {
    first: &'a str,
    second: &'a str,
    difference: f64,
    standard_error: Option<f64>,
    df: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    p_adjusted: Option<f64>,
    verdict: Verdict,
    matters: Option<bool>,
    share_declared: Option<f64>,
    that_day: Option<Range>,
    joined: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    shown: Option<Shown<'a>>,
}

#[derive(Serialize)]
struct SourceOut<'a> {
    source: &'a str,
    shared_by: crate::season::config::Scope,
    treatment: crate::analysis::antennas::sources::Treatment,
    made_by_daylight: bool,
    largest_standard: f64,
}

#[derive(Serialize)]
struct Ordinal<'a> {
    quantity: &'a str,
    band: &'a str,
    meter: &'a str,
    unit: &'a str,
    better: Better,
    permutations: usize,
    antennas: &'a [OrdinalAntenna],
    pairs: Vec<OrdinalPairOut<'a>>,
}

#[derive(Serialize)]
struct OrdinalPairOut<'a> {
    first: &'a str,
    second: &'a str,
    sessions: usize,
    probability_first_better: Option<f64>,
    p_adjusted: Option<f64>,
    verdict: Verdict,
}

#[derive(Serialize)]
struct OverallOut<'a> {
    weights: Vec<WeightOut>,
    antennas: &'a [OverallAntenna],
    incomplete: &'a [String],
}

#[derive(Serialize)]
struct WeightOut {
    set: String,
    weight: f64,
}

#[derive(Serialize)]
struct CorrelationOut {
    first: String,
    second: String,
    antennas: usize,
    rank_correlation: f64,
    low: Option<f64>,
    high: Option<f64>,
}

/// The answer as indented JSON.
///
/// # Errors
/// None is expected: every key is text and every value finite or null.
pub fn render(result: &Antennas) -> serde_json::Result<String> {
    serde_json::to_string_pretty(&Document {
        format: "daylight/antennas/1",
        season: &result.season,
        confidence: result.confidence,
        look: result.look,
        seed: result.seed,
        trials: result.trials,
        readings: result.readings,
        load_readings: result.load_readings,
        sets: result.sets.iter().map(set).collect(),
        ordinal: result.ordinal.iter().map(ordinal).collect(),
        overall: result.overall.as_ref().map(|o| overall(o, &result.sets)),
        correlations: result.correlations.iter().map(|c| correlation(c, &result.sets)).collect(),
        next: &result.next,
        findings: &result.findings,
        left_out: result.left_out.iter().map(|(reason, readings)| LeftOut { reason, readings: *readings }).collect(),
        assumptions: &result.assumptions,
    })
}

fn set(set: &SetResult) -> Set<'_> {
    Set {
        quantity: &set.quantity.name,
        band: &set.band,
        meter: &set.meter,
        unit: &set.quantity.unit,
        scale: set.quantity.scale.name(&set.quantity.unit),
        better: set.quantity.better,
        relative_to: set.relative_to.as_deref(),
        components: set.components.iter().map(component).collect(),
        antennas: antennas(set),
        pairs: pairs(set),
        sources: set.sources.iter().map(source).collect(),
        corrected: set.corrected.as_ref(),
        trials: set.trials,
        converged: set.converged,
    }
}

fn component(c: &Component) -> ComponentOut {
    let from = match (c.declared, c.state) {
        (true, _) => "declared",
        (false, LevelState::Seen) => "data",
        (false, LevelState::MergedInto(_) | LevelState::Unseen) => "merged",
    };
    ComponentOut { level: c.level.name(), sd: c.sd, df: c.df, from }
}

fn antennas(set: &SetResult) -> Vec<AntennaOut<'_>> {
    let scale = set.quantity.scale;
    set.antennas
        .iter()
        .map(|a| AntennaOut {
            antenna: &a.antenna,
            estimate: a.estimate,
            standard_uncertainty: a.standard_uncertainty,
            low: a.range.map(|r| r.low),
            high: a.range.map(|r| r.high),
            visits: a.visits,
            mountings: a.mountings,
            readings: a.readings.round() as u64,
            rank: a.rank,
            rank_low: a.rank_range.map(|r| r.0),
            rank_high: a.rank_range.map(|r| r.1),
            probability_best: a.rank_probabilities.first().copied(),
            rank_probabilities: &a.rank_probabilities,
            shown: shown::is_transformed(scale).then(|| {
                let ends = a.range.map(|r| shown::range(scale, r));
                Shown {
                    unit: &set.quantity.unit,
                    estimate: Some(scale.to_shown(a.estimate)),
                    difference: None,
                    low: ends.map(|r| r.low),
                    high: ends.map(|r| r.high),
                }
            }),
        })
        .collect()
}

fn pairs(set: &SetResult) -> Vec<PairOut<'_>> {
    let scale = set.quantity.scale;
    set.pairs
        .iter()
        .map(|p| {
            let (first, second) = (&set.antennas[p.first], &set.antennas[p.second]);
            let middle = (first.estimate + second.estimate) / 2.0;
            PairOut {
                first: &first.antenna,
                second: &second.antenna,
                difference: p.difference,
                standard_error: p.standard_error,
                df: p.df,
                low: p.range.map(|r| r.low),
                high: p.range.map(|r| r.high),
                p_adjusted: p.p_adjusted,
                verdict: p.verdict,
                matters: p.matters,
                share_declared: p.share_declared,
                that_day: p.that_day,
                joined: p.joined,
                shown: shown::is_transformed(scale).then(|| {
                    let ends = p.range.map(|r| shown::range_of_difference(scale, middle, r));
                    Shown {
                        unit: &set.quantity.unit,
                        estimate: None,
                        difference: Some(shown::difference(scale, middle, p.difference)),
                        low: ends.map(|r| r.low),
                        high: ends.map(|r| r.high),
                    }
                }),
            }
        })
        .collect()
}

fn source(s: &Applied) -> SourceOut<'_> {
    SourceOut {
        source: &s.name,
        shared_by: s.scope,
        treatment: s.treatment,
        made_by_daylight: s.made,
        largest_standard: s.standard.iter().copied().fold(0.0, f64::max),
    }
}

fn ordinal(set: &OrdinalResult) -> Ordinal<'_> {
    let name = |i: usize| set.antennas[i].antenna.as_str();
    Ordinal {
        quantity: &set.quantity.name,
        band: &set.band,
        meter: &set.meter,
        unit: &set.quantity.unit,
        better: set.quantity.better,
        permutations: set.permutations,
        antennas: &set.antennas,
        pairs: set
            .pairs
            .iter()
            .map(|p| OrdinalPairOut {
                first: name(p.first),
                second: name(p.second),
                sessions: p.sessions,
                probability_first_better: p.probability,
                p_adjusted: p.p_adjusted,
                verdict: p.verdict,
            })
            .collect(),
    }
}

fn overall<'a>(o: &'a Overall, sets: &[SetResult]) -> OverallOut<'a> {
    OverallOut {
        weights: o.weights.iter().map(|&(s, weight)| WeightOut { set: sets[s].label(), weight }).collect(),
        antennas: &o.antennas,
        incomplete: &o.incomplete,
    }
}

fn correlation(c: &Correlation, sets: &[SetResult]) -> CorrelationOut {
    let name = |i: usize| label(&sets[i].quantity.name, &sets[i].band, &sets[i].meter);
    CorrelationOut {
        first: name(c.first),
        second: name(c.second),
        antennas: c.antennas,
        rank_correlation: c.estimate,
        low: c.range.map(|r| r.low),
        high: c.range.map(|r| r.high),
    }
}
