//! Reports in grades: which antennas a far listener tells apart.

use super::result::{OrdinalAntenna, OrdinalPairResult, OrdinalResult, Verdict};
use super::set_analysis::Options;
use super::sets::OrdinalSet;
use crate::montecarlo::stream::stream;
use crate::stats::ordinal::{Block, compare};

/// Streams of permutations are numbered apart from the other tasks'.
const PERMUTATION_TASKS: u64 = 1 << 21;

/// Shufflings made: a p-value of 0.05 is then known to ±0.002.
const PERMUTATIONS: usize = 10_000;

/// Compares all antennas of an ordinal set; `number` picks its random stream.
///
/// Without two sessions that heard both, nobody knows what another day would say: unlinked.
pub fn analyse(set: &OrdinalSet, options: &Options, number: u64) -> OrdinalResult {
    let blocks: Vec<Block> = set.sessions.iter().map(|s| s.iter().map(|(&a, r)| (a, r.clone())).collect()).collect();
    let mut rng = stream(options.seed, PERMUTATION_TASKS + number, 0);
    let permutations = options.trials.unwrap_or(PERMUTATIONS);
    let n = set.antennas.len();
    let pairs: Vec<OrdinalPairResult> = compare(n, &blocks, permutations, &mut rng)
        .into_iter()
        .map(|p| OrdinalPairResult {
            first: p.first,
            second: p.second,
            sessions: p.blocks,
            probability: p.probability,
            p_adjusted: p.p_adjusted,
            verdict: match p.p_adjusted {
                None => Verdict::Unlinked,
                Some(p) if p <= 1.0 - options.confidence => Verdict::Apart,
                Some(_) => Verdict::Noise,
            },
        })
        .collect();
    let antennas = (0..n).map(|a| antenna(set, a, n, &pairs)).collect();
    OrdinalResult {
        quantity: set.quantity.clone(),
        band: set.band.clone(),
        meter: set.meter.clone(),
        antennas,
        pairs,
        permutations,
    }
}

fn antenna(set: &OrdinalSet, a: usize, n: usize, pairs: &[OrdinalPairResult]) -> OrdinalAntenna {
    let own: Vec<&Vec<f64>> = set.sessions.iter().filter_map(|s| s.get(&a)).collect();
    let mut grades: Vec<f64> = own.iter().flat_map(|r| r.iter().copied()).collect();
    grades.sort_by(f64::total_cmp);
    let middle = grades.len() / 2;
    let median = if grades.len() % 2 == 1 { grades[middle] } else { (grades[middle - 1] + grades[middle]) / 2.0 };
    let (mut low, mut high) = (1, n);
    for pair in pairs.iter().filter(|p| p.verdict == Verdict::Apart) {
        let first_better = pair.probability.is_some_and(|p| p > 0.5);
        match (pair.first == a, pair.second == a) {
            (true, _) if first_better => high -= 1,
            (true, _) => low += 1,
            (_, true) if first_better => low += 1,
            (_, true) => high -= 1,
            _ => {}
        }
    }
    OrdinalAntenna {
        antenna: set.antennas[a].clone(),
        sessions: own.len(),
        reports: grades.len(),
        median,
        rank_low: low,
        rank_high: high,
    }
}
