//! One set, from its mountings to its verdicts: fit, sources, replays, intervals, ranks.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::fitted::{FittedSet, Links, OwnScatter, own_scatter};
use super::intervals::{Declared, Family};
use super::ranks;
use super::result::{AntennaResult, Component, PairResult, Range, SetResult, Verdict};
use super::sets::Set;
use super::shares::shares;
use super::shown::matters_on_scale;
use super::sources::SetSources;
use crate::montecarlo::replays::CHUNK;
use crate::montecarlo::simultaneous::SetFit;
use crate::montecarlo::stream::stream;
use crate::montecarlo::tail::BEYOND;
use crate::radio::quantity::Better;
use crate::season::config::{Config, Scope};
use crate::stats::mixed::inference::Basis;
use crate::stats::mixed::{Layout, Level, LevelState};

/// How the replays of a run are made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Confidence of every family and interval.
    pub confidence: f64,
    /// Seed.
    pub seed: u64,
    /// A fixed number of trials, or as many as the reported figures need.
    pub trials: Option<usize>,
}

/// Streams of declared errors are numbered apart from those of the replays.
const DECLARED_TASKS: u64 = 1 << 20;

/// The most trials made when figures refuse to settle.
const MOST_TRIALS: usize = 100_000;

/// One set's result, and the joint draws of its antennas' true values that other figures are read from:
/// `antennas` values a trial.
pub struct SetAnalysis {
    /// The result.
    pub result: SetResult,
    /// Draws of each antenna's value, in trial order; empty where the log gives no spread.
    pub draws: Vec<f64>,
    /// Draws of each antenna's declared error, in trial order; empty where no source counts.
    pub declared: Vec<f64>,
    /// The mean of each visit's mountings, on the analysis scale.
    pub visits: Vec<VisitMean>,
}

/// A visit of an antenna.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitMean {
    /// Session.
    pub session: String,
    /// Antenna, by its place in the set.
    pub antenna: usize,
    /// Mean of its mountings, each weighed alike.
    pub mean: f64,
}

/// The visits of a set.
fn visits(set: &Set) -> Vec<VisitMean> {
    let mut sums: BTreeMap<(usize, usize), (f64, f64)> = BTreeMap::new();
    for m in &set.mountings {
        let sum = sums.entry((m.session, m.antenna)).or_default();
        *sum = (sum.0 + m.mean, sum.1 + 1.0);
    }
    let visit = |((session, antenna), (sum, count)): ((usize, usize), (f64, f64))| VisitMean {
        session: set.sessions[session].clone(),
        antenna,
        mean: sum / count,
    };
    sums.into_iter().map(visit).collect()
}

/// The first replays of a set, made for one question and kept for another: the same set's, on the same streams.
#[derive(Debug)]
pub struct Begun {
    set: Set,
    confidence: f64,
    seed: u64,
    number: u64,
    family: Family,
    basis: Option<Basis>,
}

impl Begun {
    /// Whether an analysis would begin with these very replays.
    fn begins(&self, set: &Set, options: &Options, number: u64) -> bool {
        let how = (self.confidence, self.seed, self.number) == (options.confidence, options.seed, number);
        how && self.set == *set
    }

    /// The pairs of a set that differs from this one by a few readings, held to the very critical values found for
    /// this one, so that no verdict is another by the chance of replays alone. `None` where the two differ by so much
    /// that the other needs replays of its own: in their antennas, in what the standard errors rest on, or by more
    /// than a tenth of the mountings.
    pub fn pairs_of(&self, set: &Set, config: &Config) -> Option<Vec<PairResult>> {
        let (own, other) = (self.set.mountings.len(), set.mountings.len());
        if self.set.antennas != set.antennas || 10 * own.abs_diff(other) > own {
            return None;
        }
        let fitted = FittedSet::new(set, config, self.confidence)?;
        let basis = fitted.fit.as_ref().map(|f| f.inference.basis);
        (basis == self.basis).then(|| all_pairs(set, &fitted, &self.family, config))
    }
}

/// Analyses one set; `number` picks its random streams.
pub fn analyse(
    set: &Set,
    config: &Config,
    options: &Options,
    number: u64,
    done: &(dyn Fn() + Sync),
) -> Option<SetAnalysis> {
    analyse_begun(set, config, options, number, &[], done).map(|both| both.0)
}

/// The same, going on from replays that were `begun` before where they are this set's; and its own, for who comes
/// after. The result is the same to the last bit.
pub fn analyse_begun(
    set: &Set,
    config: &Config,
    options: &Options,
    number: u64,
    begun: &[Begun],
    done: &(dyn Fn() + Sync),
) -> Option<(SetAnalysis, Begun)> {
    let p = set.antennas.len();
    let fitted = FittedSet::new(set, config, options.confidence)?;
    let first = begun.iter().find(|b| b.begins(set, options, number));
    let mut family = first.map_or_else(|| Family::new(p, options.confidence), |b| b.family.clone());
    replay(fitted.fit.as_ref(), &fitted.sources, p, options, number, &mut family, done);

    let matters = matters(set, config);
    let pairs = all_pairs(set, &fitted, &family, config);
    let FittedSet { layout, fit, estimates, sources, links } = fitted;
    let better = set.quantity.better_on_scale();
    let draws = family.draws(&estimates, fit.is_some() || sources.any_counts());
    let declared = if sources.any_counts() { family.declared.errors().to_vec() } else { vec![] };
    let relative_to = relative_to(set, config);
    let antennas =
        antennas(set, fit.as_ref(), &sources, &family, &links, &estimates, &pairs, better, &draws, relative_to);
    let shares = shares(&pairs, fit.as_ref(), &sources);
    let result = SetResult {
        quantity: set.quantity.clone(),
        band: set.band.clone(),
        meter: set.meter.clone(),
        relative_to: relative_to.map(|i| set.antennas[i].clone()),
        components: components(&layout, fit.as_ref(), &sources),
        basis: fit.as_ref().map(|f| f.inference.basis).unwrap_or_default(),
        antennas,
        pairs,
        shares,
        line_factor: set.line_factor,
        corrected: set.correction.as_ref().map(|c| c.correction.clone()),
        resolution: (set.resolution, set.resolution_declared),
        sessions: layout.sessions(),
        trials: family.replays.trials(),
        unsettled: family.replays.unsettled,
        converged: fit.as_ref().is_none_or(|f| f.inference.converged),
        matters,
        sources: sources.applied,
    };
    let basis = fit.as_ref().map(|f| f.inference.basis);
    let begun = Begun { basis, set: set.clone(), confidence: options.confidence, seed: options.seed, number, family };
    Some((SetAnalysis { result, draws, declared, visits: visits(set) }, begun))
}

/// Runs replays and declared draws in step, behind those the family holds already, in blocks, until the half-widths are
/// stable to the digits they are reported to (JCGM 101:2008, 7.9: twice the standard deviation of the blocks' mean
/// below half a unit of the last digit).
fn replay(
    fit: Option<&SetFit>,
    sources: &SetSources,
    p: usize,
    options: &Options,
    number: u64,
    family: &mut Family,
    done: &(dyn Fn() + Sync),
) {
    if fit.is_none() && sources.applied.is_empty() {
        return;
    }
    // JCGM 101:2008, 7.9.4: at least 100/(1 − p) trials a block
    let block = ((100.0 / (1.0 - options.confidence)).ceil() as usize).next_multiple_of(CHUNK).min(MOST_TRIALS / 2);
    // with fewer trials beyond a quantile it is left to chance; where that would take too many, it is bounded
    let least = ((BEYOND / (1.0 - options.confidence)).ceil() as usize).min(MOST_TRIALS);
    let fixed = options.trials.map(|t| t.max(least).next_multiple_of(CHUNK));
    let more = fixed.unwrap_or(block);
    if family.blocks != [more] {
        // begun for another length of block: the blocks would not be the ones this analysis makes
        *family = Family::new(p, options.confidence);
    }
    loop {
        if !family.blocks.is_empty() && is_enough(fit, sources, p, fixed, family) {
            break;
        }
        if let Some(fit) = fit {
            fit.replay(&mut family.replays, more, options.seed, number, done);
        }
        let first = family.declared.trials() / CHUNK;
        let chunks: Vec<Declared> = (first..first + more / CHUNK)
            .into_par_iter()
            .map(|chunk| {
                let mut rng = stream(options.seed, DECLARED_TASKS + number, chunk as u64);
                let mut out = Declared::default();
                let mut errors = vec![0.0; p];
                let mut season = vec![0.0; p];
                for _ in 0..CHUNK {
                    sources.draw(&mut rng, &mut errors, &mut season);
                    out.push(&errors, &season);
                }
                out
            })
            .collect();
        chunks.into_iter().for_each(|c| family.declared.append(c));
        family.blocks.push(more);
    }
    family.finish(fit, sources);
}

/// Whether the blocks made so far will do.
fn is_enough(fit: Option<&SetFit>, sources: &SetSources, p: usize, fixed: Option<usize>, family: &Family) -> bool {
    fit.is_none() && !sources.any_counts()
        || fixed.is_some()
        || p < 2
        || family.blocks.len() >= 2 && family.is_stable(fit, sources)
        || family.declared.trials() >= MOST_TRIALS
}

/// Place of the pair first < second among all pairs of `n`.
fn pair_index(first: usize, second: usize, n: usize) -> usize {
    first * (2 * n - first - 1) / 2 + second - first - 1
}

/// The smallest difference that matters in a set, in the quantity's unit.
fn matters(set: &Set, config: &Config) -> Option<f64> {
    config.matters.get(&set.quantity.name).copied()
}

/// Every pair of a set, in order of first and then second antenna.
fn all_pairs(set: &Set, fitted: &FittedSet, family: &Family, config: &Config) -> Vec<PairResult> {
    let FittedSet { layout, fit, estimates, sources, links } = fitted;
    let (p, matters) = (set.antennas.len(), matters(set, config));
    let of = |first: usize, second: usize| {
        pair(first, second, set, layout, fit.as_ref(), sources, family, links, estimates, matters)
    };
    (0..p).flat_map(|first| (first + 1..p).map(move |second| (first, second))).map(|(a, b)| of(a, b)).collect()
}

#[allow(clippy::too_many_arguments)] // everything a verdict rests on, each once
fn pair(
    first: usize,
    second: usize,
    set: &Set,
    layout: &Layout,
    fit: Option<&SetFit>,
    sources: &SetSources,
    family: &Family,
    links: &Links,
    estimates: &[f64],
    matters: Option<f64>,
) -> PairResult {
    let difference = estimates[first] - estimates[second];
    // pairs stand in order of first and then second antenna
    let seen = fit.and_then(|f| f.pairs.get(pair_index(first, second, layout.antennas())));
    let declared = sources.standard_of_difference(first, second);
    let half = family.half_width(seen, declared);
    let (met, joined) = (links.met(first, second), layout.linked(first, second));
    if !links.comparable(first, second) {
        let known =
            half > 0.0 && met && links.reading_known && layout.visits_of(first) == 1 && layout.visits_of(second) == 1;
        return PairResult {
            matters: matters.map(|_| true),
            that_day: known.then_some(Range { low: difference - half, high: difference + half }),
            met,
            joined,
            ..PairResult::bare(first, second, difference, Verdict::Unlinked)
        };
    }
    let scatter = seen.map_or(0.0, |p| p.error.adjusted);
    let variance = scatter * scatter + declared * declared;
    let df = match seen {
        // Welch–Satterthwaite, the declared part with infinite degrees of freedom
        Some(p) => p.error.df * (variance / (scatter * scatter)).powi(2),
        None => f64::INFINITY,
    };
    let range = Range { low: difference - half, high: difference + half };
    let limit = matters.map(|m| matters_on_scale(&set.quantity, m, (estimates[first] + estimates[second]) / 2.0, half));
    let within = limit.map(|l| range.low > -l && range.high < l);
    let apart = range.low > 0.0 || range.high < 0.0;
    let verdict = match (apart, within) {
        (true, _) => Verdict::Apart,
        (false, Some(true)) => Verdict::Even,
        _ => Verdict::Noise,
    };
    PairResult {
        first,
        second,
        difference,
        standard_error: Some(variance.sqrt()),
        df: Some(df),
        range: Some(range),
        p_adjusted: Some(family.p_value(difference.abs(), seen, declared)),
        verdict,
        matters: within.map(|within| !(apart && within)),
        share_declared: Some(if variance > 0.0 { declared * declared / variance } else { 0.0 }),
        that_day: None,
        met,
        joined,
    }
}

/// The reference antenna's index, where the set's estimates are differences from it: a field strength
/// at an arbitrary spot means nothing by itself.
fn relative_to(set: &Set, config: &Config) -> Option<usize> {
    let reference = config.reference.as_ref().filter(|_| set.quantity.name == "field_strength")?;
    set.antennas.iter().position(|a| a == reference)
}

#[allow(clippy::too_many_arguments)] // as for `pair`
fn antennas(
    set: &Set,
    fit: Option<&SetFit>,
    sources: &SetSources,
    family: &Family,
    links: &Links,
    estimates: &[f64],
    pairs: &[PairResult],
    better: Better,
    draws: &[f64],
    relative_to: Option<usize>,
) -> Vec<AntennaResult> {
    let p = set.antennas.len();
    let places = ranks::places(estimates, better);
    let ranges = ranks::rank_ranges(p, pairs, better);
    let comparable = |a: usize| pairs.iter().all(|x| (x.first != a && x.second != a) || x.verdict != Verdict::Unlinked);
    let included: Vec<bool> = (0..p).map(comparable).collect();
    let probabilities = ranks::rank_probabilities(draws, &included, better);
    (0..p)
        .map(|a| {
            let own = set.mountings.iter().filter(|m| m.antenna == a);
            let (estimate, uncertainty) = match relative_to {
                Some(r) if r == a => (0.0, Some((0.0, 0.0))),
                Some(r) => {
                    let seen = fit.and_then(|f| {
                        f.pairs.iter().find(|p| (p.first, p.second) == (a.min(r), a.max(r))).map(|p| p.error)
                    });
                    let known = links.comparable(a, r).then(|| {
                        let declared = sources.standard_of_difference(a, r);
                        let scatter = seen.map_or(0.0, |e| family.t_half_width(e.adjusted, e.df));
                        let half = family.single_half_width(scatter, declared, &family.declared.difference(a, r));
                        (seen.map_or(0.0, |e| e.adjusted).hypot(declared), half)
                    });
                    (estimates[a] - estimates[r], known)
                }
                None => {
                    let known = links.absolute_known().then(|| {
                        let declared = sources.standard_of_result(a);
                        let (error, scatter) = fit.map_or((0.0, 0.0), |f| own_error(&own_scatter(f, a), family));
                        let half = family.single_half_width(scatter, declared, &family.declared.result(a));
                        (error.hypot(declared), half)
                    });
                    (estimates[a], known)
                }
            };
            AntennaResult {
                antenna: set.antennas[a].clone(),
                estimate,
                standard_uncertainty: uncertainty.map(|u| u.0),
                range: uncertainty.map(|u| Range { low: estimate - u.1, high: estimate + u.1 }),
                visits: links.sessions_of[a].len(),
                mountings: own.clone().count(),
                readings: own.map(|m| m.readings).sum(),
                rank: places.as_ref().map(|r| r[a]),
                rank_range: ranges.as_ref().map(|r| r[a]),
                rank_probabilities: probabilities.as_ref().map_or(vec![], |r| r[a].clone()),
            }
        })
        .collect()
}

fn components(layout: &Layout, fit: Option<&SetFit>, sources: &SetSources) -> Vec<Component> {
    let df = fit.map(|f| f.inference.component_df());
    // what a fit leaves at its bound, where every mean is alike, is no spread
    let most = fit.map_or(0.0, |f| f.inference.components.iter().copied().fold(0.0, f64::max));
    let spread = |variance: f64| if variance > 1e-12 * most { variance.sqrt() } else { 0.0 };
    Level::ALL
        .iter()
        .enumerate()
        .map(|(k, &level)| {
            let state = layout.states()[k];
            let scope = [Scope::Session, Scope::Visit, Scope::Mounting, Scope::Reading][k];
            let declared = sources.declared_standard(scope).filter(|_| state == LevelState::Unseen);
            let estimated = fit.filter(|_| state == LevelState::Seen).map(|f| spread(f.inference.components[k]));
            Component {
                level,
                state,
                sd: estimated.or(declared),
                df: estimated.filter(|sd| *sd > 0.0).and(df.as_ref()).and_then(|d| d[k]),
                declared: declared.is_some(),
            }
        })
        .collect()
}

/// Standard error of an antenna's own mean, and the half-width of its interval: its parts' half-widths joined.
fn own_error(scatter: &OwnScatter, family: &Family) -> (f64, f64) {
    let half = scatter.parts.iter().map(|part| family.t_half_width(part.error, part.df)).fold(0.0, f64::hypot);
    (scatter.error, half)
}
