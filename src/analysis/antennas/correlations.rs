//! Whether a good value of one quantity goes with a good one of another, across antennas: read from the sets' joint draws.

use super::overall::place;
use super::result::{Correlation, Range, SetResult};
use super::set_analysis::SetAnalysis;
use crate::montecarlo::replays::quantile;
use crate::montecarlo::tail;
use crate::radio::quantity::Better;

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
