//! The weighted ranking over several sets.
//!
//! Sets share visits: two meters on one mounting, or three bands of it, err together. So the sets are first joined visit by
//! visit: each visit's score is the weighted sum of its means in all sets, and these scores are fitted as one set, of one
//! value a visit. What the sets' errors have in common is then in how the scores scatter, whatever it is. Sets with no visit in
//! common, as of one band a day, are joined apart, and their scores, which err independently, added.

use std::collections::{BTreeMap, BTreeSet};

use super::ranks;
use super::result::{Overall, OverallAntenna, PairResult, SetResult, Verdict};
use super::set_analysis::{Options, SetAnalysis};
use super::worth::{Scored, worth};
use crate::montecarlo::replays::{CHUNK, Replays};
use crate::montecarlo::simultaneous::SetFit;
use crate::montecarlo::tail;
use crate::radio::quantity::Better;
use crate::season::config::Config;
use crate::stats::islands::islands;
use crate::stats::mixed::{Layout, MountingSummary};
use crate::stats::student_t::t_quantile;

/// The random stream of the scores' replays, behind those of all sets.
const TASK: u64 = (1 << 20) - 1;

/// Replays of the scores, where no number is asked for.
const TRIALS: usize = 4000;

/// The weighted ranking over all sets that have a weight; `None` where no set does.
///
/// A set's contribution to an antenna's score is its difference from the mean antenna there, turned so
/// that better is higher, in units of what matters in that set (or of the antennas' own spread, where
/// the season sets no size). Meters that read the same quantity on the same band share its weight.
pub fn ranking(sets: &[SetAnalysis], config: &Config, options: &Options) -> Option<Overall> {
    let weights = set_weights(sets, config);
    if weights.is_empty() {
        return None;
    }
    let in_all = |name: &str| {
        weights.iter().all(|&(s, _)| {
            place(&sets[s].result, name).is_some_and(|i| !sets[s].result.antennas[i].rank_probabilities.is_empty())
        })
    };
    let mut names: Vec<String> = vec![];
    let mut incomplete: Vec<String> = vec![];
    for &(s, _) in &weights {
        for a in &sets[s].result.antennas {
            let list = if in_all(&a.antenna) { &mut names } else { &mut incomplete };
            if !list.contains(&a.antenna) {
                list.push(a.antenna.clone());
            }
        }
    }
    let parts = |names: &[String]| -> Vec<Part<'_>> {
        weights.iter().map(|&(s, weight)| Part::new(&sets[s], weight, &weights, names)).collect()
    };
    // an antenna that no visit shows in every set has no score; one that no session joins to the others, none to hold
    // against theirs
    let all = parts(&names);
    let islands: Vec<Vec<usize>> =
        clusters(&all).iter().map(|cluster| largest_island(joined(cluster).into_keys().collect())).collect();
    let scored: Vec<usize> = (0..names.len()).filter(|i| islands.iter().all(|island| island.contains(i))).collect();
    let (names, alone): (Vec<_>, Vec<_>) = names.into_iter().enumerate().partition(|(i, _)| scored.contains(i));
    let names: Vec<String> = names.into_iter().map(|n| n.1).collect();
    incomplete.extend(alone.into_iter().map(|n| n.1));
    let parts = parts(&names);
    match scores(&clusters(&parts), names.len(), options) {
        Some(scores) => Some(summarise(weights, names, incomplete, &scores, config, options.confidence)),
        None => Some(Overall { weights, antennas: vec![], incomplete, apart: 0, pairs: 0, worth: vec![] }),
    }
}

/// A set's part in the scores.
struct Part<'a> {
    set: &'a SetAnalysis,
    /// What its analysis scale is multiplied by.
    factor: f64,
    /// Of each antenna ranked, its place in the set.
    index: Vec<usize>,
}

impl<'a> Part<'a> {
    fn new(set: &'a SetAnalysis, weight: f64, weights: &[(usize, f64)], names: &[String]) -> Part<'a> {
        let index: Vec<usize> = names.iter().filter_map(|name| place(&set.result, name)).collect();
        let sign = if set.result.quantity.better_on_scale() == Better::Lower { -1.0 } else { 1.0 };
        let total: f64 = weights.iter().map(|w| w.1).sum();
        let unit = if index.is_empty() { 1.0 } else { unit(set, &index) };
        Part { set, factor: sign * weight / total / unit, index }
    }

    /// Contributions by session and antenna ranked.
    fn visits(&self) -> Vec<((&'a str, usize), f64)> {
        let ranked = |antenna: usize| self.index.iter().position(|&i| i == antenna);
        let visits = self.set.visits.iter();
        visits.filter_map(|v| Some(((v.session.as_str(), ranked(v.antenna)?), self.factor * v.mean))).collect()
    }
}

/// The most antennas that chains of sessions join.
fn largest_island(visits: Vec<(&str, usize)>) -> Vec<usize> {
    let sessions = visits.chunk_by(|a, b| a.0 == b.0);
    let met = sessions.map(|session| session.iter().map(|visit| visit.1).collect());
    islands(met).into_iter().next().unwrap_or_default()
}

/// The score of each visit that every set holds, by session and antenna ranked.
fn joined<'a>(parts: &[&Part<'a>]) -> BTreeMap<(&'a str, usize), f64> {
    let mut sums: BTreeMap<(&str, usize), (f64, usize)> = BTreeMap::new();
    for (visit, value) in parts.iter().flat_map(|part| part.visits()) {
        let sum = sums.entry(visit).or_default();
        *sum = (sum.0 + value, sum.1 + 1);
    }
    sums.into_iter().filter(|(_, (_, sets))| *sets == parts.len()).map(|(visit, (sum, _))| (visit, sum)).collect()
}

/// Sets that share visits, by chains of them.
fn clusters<'p, 'a>(parts: &'p [Part<'a>]) -> Vec<Vec<&'p Part<'a>>> {
    let mut holders: BTreeMap<(&str, usize), Vec<usize>> = BTreeMap::new();
    for (number, part) in parts.iter().enumerate() {
        part.visits().into_iter().for_each(|(visit, _)| holders.entry(visit).or_default().push(number));
    }
    let alone = (0..parts.len()).map(|number| vec![number]);
    let joined = islands(holders.into_values().collect::<BTreeSet<_>>().into_iter().chain(alone));
    joined.into_iter().map(|cluster| cluster.into_iter().map(|number| &parts[number]).collect()).collect()
}

/// The scores, fitted: what the ranking is read from.
struct Scores {
    /// Sets that share visits, fitted together.
    fits: Vec<(SetFit, Replays)>,
    /// Scores about their mean.
    estimates: Vec<f64>,
    /// Declared errors of the scores, a trial each; empty where nothing is declared.
    declared: Vec<f64>,
}

/// Scores of the visits that every set of a cluster holds, fitted and replayed. `None` with fewer than two antennas, or
/// where too few visits are in every set to show how scores scatter.
fn scores(clusters: &[Vec<&Part>], antennas: usize, options: &Options) -> Option<Scores> {
    if antennas < 2 {
        return None;
    }
    let least = (20.0 / (1.0 - options.confidence)).ceil() as usize;
    let trials = options.trials.unwrap_or(TRIALS).max(least).next_multiple_of(CHUNK);
    let (mut fits, mut estimates) = (vec![], vec![0.0; antennas]);
    for (number, cluster) in clusters.iter().enumerate() {
        let fit = fitted(&joined(cluster), antennas, options.confidence)?;
        let mut replays = Replays::default();
        fit.replay(&mut replays, trials, options.seed, TASK - number as u64, &|| ());
        add_centred(&fit.inference.estimates, 1.0, &mut estimates);
        fits.push((fit, replays));
    }
    let parts: Vec<&Part> = clusters.concat();
    let declared = parts.iter().any(|part| !part.set.declared.is_empty());
    let declared = if declared { declared_errors(&parts, antennas, trials) } else { vec![] };
    Some(Scores { fits, estimates, declared })
}

/// Scores of visits, fitted as a set of one value a visit.
fn fitted(joined: &BTreeMap<(&str, usize), f64>, antennas: usize, confidence: f64) -> Option<SetFit> {
    let mut sessions: Vec<&str> = joined.keys().map(|visit| visit.0).collect();
    sessions.dedup();
    let visits: Vec<MountingSummary> = joined
        .iter()
        .filter_map(|(&(session, antenna), &mean)| {
            let session = sessions.iter().position(|s| *s == session)?;
            Some(MountingSummary { session, antenna, readings: 1.0, df: 0.0, mean, sum_of_squares: 0.0 })
        })
        .collect();
    let (layout, data) = Layout::new(antennas, &visits)?;
    if layout.sessions() < 2 {
        return None;
    }
    SetFit::new(layout, &data, 0.0, confidence)
}

/// Declared errors of the scores about their mean: those of the sets, each from draws of its own.
fn declared_errors(parts: &[&Part], antennas: usize, trials: usize) -> Vec<f64> {
    let mut errors = vec![0.0; antennas * trials];
    for part in parts.iter().filter(|part| !part.set.declared.is_empty()) {
        let p = part.set.result.antennas.len();
        let drawn: Vec<&[f64]> = part.set.declared.chunks_exact(p).collect();
        for (t, out) in errors.chunks_exact_mut(antennas).enumerate() {
            let of_set = drawn[t % drawn.len()];
            let own: Vec<f64> = part.index.iter().map(|&i| of_set[i]).collect();
            add_centred(&own, part.factor, out);
        }
    }
    errors
}

/// Pairs, rank sets, intervals and shares of the scores.
fn summarise(
    weights: Vec<(usize, f64)>,
    names: Vec<String>,
    incomplete: Vec<String>,
    scores: &Scores,
    config: &Config,
    confidence: f64,
) -> Overall {
    let n = names.len();
    let Scores { fits, estimates, declared } = scores;
    let known = Known::new(declared, n, confidence);
    // errors of the scores, trial by trial: what is to be taken off, and what sources may have put on
    let trials = fits.iter().map(|(_, replays)| replays.errors.len() / n).min().unwrap_or(0);
    let error = |t: usize, i: usize| {
        let scatter: f64 = fits.iter().map(|(_, replays)| replays.errors[t * n + i]).sum();
        declared.get(t * n + i).copied().unwrap_or(0.0) - scatter
    };
    let draws: Vec<f64> = (0..trials * n).map(|at| estimates[at % n] + error(at / n, at % n)).collect();
    // half-widths of scatter are joined over the fits, and with those of sources, as a root sum of squares, and widened
    // where the joint draws ask for it: as in a set
    let critical: Vec<f64> =
        fits.iter().map(|(fit, replays)| fit.critical(&tail::sorted(replays.largest.clone()))).collect();
    let mut halves = vec![];
    for (number, pair) in fits[0].0.pairs.iter().enumerate() {
        let of_fit =
            |(k, (fit, _)): (usize, &(SetFit, Replays))| fit.pairs[number].half_width_at(critical[k], confidence);
        let scatter = fits.iter().enumerate().map(of_fit).fold(0.0, f64::hypot);
        halves.push((pair.first, pair.second, scatter.hypot(known.of_pair(pair.first, pair.second))));
    }
    let largest = draws.chunks_exact(n).map(|d| {
        let off = |i: usize, j: usize| (d[i] - d[j]) - (estimates[i] - estimates[j]);
        halves.iter().filter(|h| h.2 > 0.0).map(|&(i, j, half)| off(i, j).abs() / half).fold(0.0, f64::max)
    });
    let widening = tail::quantile(&tail::sorted(largest.collect()), confidence).max(1.0);
    let mut pairs = vec![];
    for &(first, second, half) in &halves {
        let difference = estimates[first] - estimates[second];
        let verdict = if difference.abs() > widening * half { Verdict::Apart } else { Verdict::Noise };
        pairs.push(PairResult::bare(first, second, difference, verdict));
    }
    let places = ranks::places(estimates, Better::Higher).unwrap_or_default();
    let ranges = ranks::rank_ranges(n, &pairs, Better::Higher).unwrap_or_default();
    let included = vec![true; n];
    let probabilities = ranks::rank_probabilities(&draws, &included, Better::Higher).unwrap_or_default();
    // all scores at once: each by its own t at its share of the error rate
    let all: Vec<usize> = (0..n).collect();
    let half = |i: usize| {
        let of_fit = |(fit, _): &(SetFit, Replays)| {
            let error = fit.inference.from_mean(i, &all);
            t_quantile(1.0 - (1.0 - confidence) / (2.0 * n as f64), error.df) * error.adjusted
        };
        fits.iter().map(of_fit).fold(0.0, f64::hypot).hypot(known.of_own(i))
    };
    let mut antennas: Vec<OverallAntenna> = (0..n)
        .map(|i| OverallAntenna {
            antenna: names[i].clone(),
            score: estimates[i],
            low: estimates[i] - half(i),
            high: estimates[i] + half(i),
            rank: places[i],
            rank_low: ranges[i].0,
            rank_high: ranges[i].1,
            probability_best: probabilities.get(i).and_then(|p| p.first()).copied().unwrap_or(0.0),
        })
        .collect();
    antennas.sort_by_key(|a| a.rank);
    let told: Vec<(usize, usize, bool)> =
        pairs.iter().map(|p| (p.first, p.second, p.verdict == Verdict::Apart)).collect();
    let worth = worth(&Scored { names: &names, scores: estimates, draws: &draws, apart: &told }, config);
    let apart = told.iter().filter(|p| p.2).count();
    Overall { weights, antennas, incomplete, apart, pairs: pairs.len(), worth }
}

/// Half-widths of what declared sources do to the scores: all pairs at once, and all scores at once.
struct Known<'a> {
    errors: &'a [f64],
    antennas: usize,
    of_pairs: f64,
    of_own: f64,
}

impl<'a> Known<'a> {
    fn new(errors: &'a [f64], antennas: usize, confidence: f64) -> Known<'a> {
        let mut known = Known { errors, antennas, of_pairs: 0.0, of_own: 0.0 };
        if errors.is_empty() {
            return known;
        }
        let pairs: Vec<(usize, usize, f64)> = (0..antennas)
            .flat_map(|i| (i + 1..antennas).map(move |j| (i, j)))
            .map(|(i, j)| (i, j, known.spread(|e| e[i] - e[j])))
            .collect();
        let own: Vec<f64> = (0..antennas).map(|i| known.spread(|e| e[i])).collect();
        let largest = |of: &dyn Fn(&[f64]) -> f64| {
            let all = errors.chunks_exact(antennas).map(of).collect();
            tail::quantile(&tail::sorted(all), confidence)
        };
        let over = |error: f64, spread: f64| if spread > 0.0 { error.abs() / spread } else { 0.0 };
        known.of_pairs = largest(&|e| pairs.iter().map(|&(i, j, s)| over(e[i] - e[j], s)).fold(0.0, f64::max));
        known.of_own = largest(&|e| own.iter().zip(e).map(|(s, e)| over(*e, *s)).fold(0.0, f64::max));
        known
    }

    fn spread(&self, of: impl Fn(&[f64]) -> f64) -> f64 {
        root_mean_square(self.errors.chunks_exact(self.antennas).map(of))
    }

    fn of_pair(&self, first: usize, second: usize) -> f64 {
        self.of_pairs * self.spread(|e| e[first] - e[second])
    }

    fn of_own(&self, antenna: usize) -> f64 {
        self.of_own * self.spread(|e| e[antenna])
    }
}

/// Each set's weight: what the season gives its quantity and band, shared among the meters that read it.
fn set_weights(sets: &[SetAnalysis], config: &Config) -> Vec<(usize, f64)> {
    let same = |a: &SetResult, b: &SetResult| a.quantity.name == b.quantity.name && a.band == b.band;
    let usable = |s: &SetAnalysis| !s.draws.is_empty() && s.result.quantity.better != Better::Neither;
    sets.iter()
        .enumerate()
        .filter(|(_, set)| usable(set))
        .filter_map(|(i, set)| {
            let of = |w: &&crate::season::config::Weight| {
                w.quantity == set.result.quantity.name && w.band.as_ref().is_none_or(|b| *b == set.result.band)
            };
            // a weight for the band itself goes before one for every band
            let weight = config.weights.iter().filter(of).max_by_key(|w| w.band.is_some())?.weight;
            let meters = sets.iter().filter(|s| usable(s) && same(&s.result, &set.result)).count();
            (weight > 0.0).then_some((i, weight / meters as f64))
        })
        .collect()
}

/// What one unit of score is in a set: the size that matters, moved to the analysis scale at the middle
/// of its antennas; or their own spread.
fn unit(set: &SetAnalysis, index: &[usize]) -> f64 {
    let values: Vec<f64> = index.iter().map(|&i| set.result.antennas[i].estimate).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    match set.result.matters {
        Some(m) => super::shown::matters_on_scale(&set.result.quantity, m, mean, 0.0),
        None => root_mean_square(values.iter().map(|v| v - mean)).max(f64::MIN_POSITIVE),
    }
}

fn add_centred(values: &[f64], factor: f64, out: &mut [f64]) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    for (out, value) in out.iter_mut().zip(values) {
        *out += factor * (value - mean);
    }
}

fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for v in values {
        sum += v * v;
        count += 1.0;
    }
    if count > 0.0 { f64::sqrt(sum / count) } else { 0.0 }
}

/// The place of an antenna in a set.
pub(super) fn place(set: &SetResult, antenna: &str) -> Option<usize> {
    set.antennas.iter().position(|a| a.antenna == antenna)
}
