//! Figures that span sets: the weighted ranking, and whether a good value of one quantity goes with a
//! good one of another. Both are read from the sets' joint draws.

use super::ranks;
use super::result::{Correlation, Overall, OverallAntenna, PairResult, Range, SetResult, Verdict};
use super::set_analysis::SetAnalysis;
use super::worth::{Scored, worth};
use crate::montecarlo::replays::quantile;
use crate::montecarlo::tail;
use crate::radio::quantity::Better;
use crate::season::config::Config;

/// The weighted ranking over all sets that have a weight; `None` where no set does.
///
/// A set's contribution to an antenna's score is its difference from the mean antenna there, turned so
/// that better is higher, in units of what matters in that set (or of the antennas' own spread, where
/// the season sets no size). Meters that read the same quantity on the same band share its weight.
pub fn ranking(sets: &[SetAnalysis], config: &Config, confidence: f64) -> Option<Overall> {
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
    if names.len() < 2 {
        return Some(Overall { weights, antennas: vec![], incomplete, apart: 0, pairs: 0, worth: vec![] });
    }
    let trials = weights.iter().map(|&(s, _)| trials(&sets[s])).min().unwrap_or(0);
    let n = names.len();
    let mut estimates = vec![0.0; n];
    let mut draws = vec![0.0; n * trials];
    let total: f64 = weights.iter().map(|w| w.1).sum();
    for &(s, weight) in &weights {
        let set = &sets[s];
        let index: Vec<usize> = names.iter().filter_map(|name| place(&set.result, name)).collect();
        let sign = if set.result.quantity.better_on_scale() == Better::Lower { -1.0 } else { 1.0 };
        let factor = sign * weight / total / unit(set, &index);
        let own: Vec<f64> = index.iter().map(|&i| set.result.antennas[i].estimate).collect();
        add_centred(&own, factor, &mut estimates);
        let p = set.result.antennas.len();
        for t in 0..trials {
            let drawn: Vec<f64> = index.iter().map(|&i| set.draws[t * p + i]).collect();
            add_centred(&drawn, factor, &mut draws[t * n..(t + 1) * n]);
        }
    }
    Some(summarise(weights, names, incomplete, &estimates, &draws, config, confidence))
}

fn summarise(
    weights: Vec<(usize, f64)>,
    names: Vec<String>,
    incomplete: Vec<String>,
    estimates: &[f64],
    draws: &[f64],
    config: &Config,
    confidence: f64,
) -> Overall {
    let n = names.len();
    let spread = |f: &dyn Fn(&[f64]) -> f64| root_mean_square(draws.chunks_exact(n).map(f));
    let mut pairs = vec![];
    let mut scales = vec![];
    for i in 0..n {
        for j in i + 1..n {
            let difference = estimates[i] - estimates[j];
            scales.push(spread(&|d: &[f64]| d[i] - d[j] - difference));
            pairs.push(PairResult::bare(i, j, difference, Verdict::Noise));
        }
    }
    let largest: Vec<f64> = draws
        .chunks_exact(n)
        .map(|d| {
            let scaled = pairs.iter().zip(&scales).map(|(p, s)| ((d[p.first] - d[p.second] - p.difference) / s).abs());
            scaled.filter(|x| x.is_finite()).fold(0.0, f64::max)
        })
        .collect();
    let critical = tail::quantile(&tail::sorted(largest), confidence);
    for (pair, scale) in pairs.iter_mut().zip(&scales) {
        if pair.difference.abs() > critical * scale {
            pair.verdict = Verdict::Apart;
        }
    }
    let places = ranks::places(estimates, Better::Higher).unwrap_or_default();
    let ranges = ranks::rank_ranges(n, &pairs, Better::Higher).unwrap_or_default();
    let included = vec![true; n];
    let probabilities = ranks::rank_probabilities(draws, &included, Better::Higher).unwrap_or_default();
    let own: Vec<f64> = (0..n).map(|i| spread(&|d: &[f64]| d[i] - estimates[i])).collect();
    let largest_own: Vec<f64> = draws
        .chunks_exact(n)
        .map(|d| (0..n).map(|i| ((d[i] - estimates[i]) / own[i]).abs()).filter(|x| x.is_finite()).fold(0.0, f64::max))
        .collect();
    let critical_own = tail::quantile(&tail::sorted(largest_own), confidence);
    let mut antennas: Vec<OverallAntenna> = (0..n)
        .map(|i| OverallAntenna {
            antenna: names[i].clone(),
            score: estimates[i],
            low: estimates[i] - critical_own * own[i],
            high: estimates[i] + critical_own * own[i],
            rank: places[i],
            rank_low: ranges[i].0,
            rank_high: ranges[i].1,
            probability_best: probabilities.get(i).and_then(|p| p.first()).copied().unwrap_or(0.0),
        })
        .collect();
    antennas.sort_by_key(|a| a.rank);
    let told: Vec<(usize, usize, bool)> =
        pairs.iter().map(|p| (p.first, p.second, p.verdict == Verdict::Apart)).collect();
    let worth = worth(&Scored { names: &names, scores: estimates, draws, apart: &told }, config);
    let apart = told.iter().filter(|p| p.2).count();
    Overall { weights, antennas, incomplete, apart, pairs: pairs.len(), worth }
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

fn place(set: &SetResult, antenna: &str) -> Option<usize> {
    set.antennas.iter().position(|a| a.antenna == antenna)
}

fn trials(set: &SetAnalysis) -> usize {
    set.draws.len() / set.result.antennas.len().max(1)
}

/// Rank correlations across antennas between every two sets of one band that rank their antennas and
/// measure different quantities; at least four antennas in both.
pub fn correlations(sets: &[SetAnalysis], confidence: f64) -> Vec<Correlation> {
    let mut out = vec![];
    for first in 0..sets.len() {
        for second in first + 1..sets.len() {
            let (a, b) = (&sets[first], &sets[second]);
            let ranked = |s: &SetAnalysis| s.result.quantity.better != Better::Neither;
            if a.result.band != b.result.band
                || a.result.quantity.name == b.result.quantity.name
                || !ranked(a)
                || !ranked(b)
            {
                continue;
            }
            // only antennas that can be compared with the others in both sets
            let compared = |s: &SetResult, i: usize| !s.antennas[i].rank_probabilities.is_empty();
            let shared: Vec<(usize, usize)> = (0..a.result.antennas.len())
                .filter_map(|i| Some((i, place(&b.result, &a.result.antennas[i].antenna)?)))
                .filter(|&(i, j)| compared(&a.result, i) && compared(&b.result, j))
                .collect();
            if shared.len() < 4 {
                continue;
            }
            out.push(correlation(first, second, a, b, &shared, confidence));
        }
    }
    out
}

fn correlation(
    first: usize,
    second: usize,
    a: &SetAnalysis,
    b: &SetAnalysis,
    shared: &[(usize, usize)],
    confidence: f64,
) -> Correlation {
    let sign = |s: &SetAnalysis| if s.result.quantity.better_on_scale() == Better::Lower { -1.0 } else { 1.0 };
    let (sa, sb) = (sign(a), sign(b));
    let estimate = {
        let x: Vec<f64> = shared.iter().map(|&(i, _)| sa * a.result.antennas[i].estimate).collect();
        let y: Vec<f64> = shared.iter().map(|&(_, j)| sb * b.result.antennas[j].estimate).collect();
        crate::stats::rank_correlation::spearman(&x, &y)
    };
    let (pa, pb) = (a.result.antennas.len(), b.result.antennas.len());
    let draws: Vec<f64> = a
        .draws
        .chunks_exact(pa)
        .zip(b.draws.chunks_exact(pb))
        .map(|(x, y)| {
            let x: Vec<f64> = shared.iter().map(|&(i, _)| sa * x[i]).collect();
            let y: Vec<f64> = shared.iter().map(|&(_, j)| sb * y[j]).collect();
            crate::stats::rank_correlation::spearman(&x, &y)
        })
        .collect();
    let beyond = (1.0 - confidence) / 2.0;
    let range = match draws.len() {
        0 => None,
        n if tail::resolves(n, 1.0 - beyond) => {
            Some(Range { low: quantile(&draws, beyond), high: quantile(&draws, 1.0 - beyond) })
        }
        // so sharp a confidence the draws leave open: all that a correlation can be
        _ => Some(Range { low: -1.0, high: 1.0 }),
    };
    Correlation { first, second, antennas: shared.len(), estimate, range }
}
