//! Ranks: by estimate, the joint confidence set from the pairs that are apart, and how often each is
//! taken in the replays.

use super::result::{PairResult, Verdict};
use crate::radio::quantity::Better;

/// Places by estimate, best first, from 1; equal estimates share the better place. `None` where neither
/// end is better.
pub fn places(estimates: &[f64], better: Better) -> Option<Vec<usize>> {
    let beats = beats(better)?;
    Some(estimates.iter().map(|&x| 1 + estimates.iter().filter(|&&y| beats(y, x)).count()).collect())
}

/// The joint confidence set of every rank: antenna k lies between 1 + (antennas apart above it) and
/// n − (antennas apart below it), for all k at once.
///
/// # Source
/// Mohamad, Zwinderman & Goeman (2020), arXiv 1812.05507 and Klein, Wright & Wieczorek (2020),
/// J. R. Stat. Soc. A 183:589–606: ranks from simultaneous intervals of all pairwise differences.
pub fn rank_ranges(antennas: usize, pairs: &[PairResult], better: Better) -> Option<Vec<(usize, usize)>> {
    let beats = beats(better)?;
    let mut ranges = vec![(1, antennas); antennas];
    for pair in pairs.iter().filter(|p| p.verdict == Verdict::Apart) {
        let (above, below) =
            if beats(pair.difference, 0.0) { (pair.first, pair.second) } else { (pair.second, pair.first) };
        ranges[below].0 += 1;
        ranges[above].1 -= 1;
    }
    Some(ranges)
}

/// Share of the draws in which each included antenna takes each rank among the included ones; empty for
/// the others. `None` where neither end is better or nothing was drawn.
pub fn rank_probabilities(draws: &[f64], included: &[bool], better: Better) -> Option<Vec<Vec<f64>>> {
    let beats = beats(better)?;
    let p = included.len();
    let chosen: Vec<usize> = (0..p).filter(|&a| included[a]).collect();
    if draws.is_empty() || chosen.len() < 2 {
        return None;
    }
    let trials = draws.len() / p;
    let mut counts = vec![vec![0usize; chosen.len()]; p];
    let mut order = chosen.clone();
    for trial in draws.chunks_exact(p) {
        order.copy_from_slice(&chosen);
        order.sort_by(|&a, &b| {
            if beats(trial[a], trial[b]) {
                std::cmp::Ordering::Less
            } else if beats(trial[b], trial[a]) {
                std::cmp::Ordering::Greater
            } else {
                std::cmp::Ordering::Equal
            }
        });
        for (rank, &a) in order.iter().enumerate() {
            counts[a][rank] += 1;
        }
    }
    let share = |(a, c): (usize, Vec<usize>)| {
        if included[a] { c.into_iter().map(|x| x as f64 / trials as f64).collect() } else { vec![] }
    };
    Some(counts.into_iter().enumerate().map(share).collect())
}

/// Whether the first value beats the second.
fn beats(better: Better) -> Option<fn(f64, f64) -> bool> {
    match better {
        Better::Higher => Some(|a, b| a > b),
        Better::Lower => Some(|a, b| a < b),
        Better::Neither => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Klein, Wright & Wieczorek's rule worked by hand: estimates 10, 10.5, 12, 12.2, 15 with joint
    /// intervals that separate {1, 2}, {3, 4} and {5}.
    #[test]
    fn joint_rank_sets_follow_from_the_pairs_that_are_apart() {
        let x = [10.0, 10.5, 12.0, 12.2, 15.0];
        let mut pairs = vec![];
        for i in 0..5 {
            for j in i + 1..5 {
                if (i, j) != (0, 1) && (i, j) != (2, 3) {
                    pairs.push(PairResult::bare(i, j, x[i] - x[j], Verdict::Apart));
                }
            }
        }
        let ranges = rank_ranges(5, &pairs, Better::Lower).unwrap();
        assert_eq!(ranges, [(1, 2), (1, 2), (3, 4), (3, 4), (5, 5)]);
        let ranges = rank_ranges(5, &pairs, Better::Higher).unwrap();
        assert_eq!(ranges, [(4, 5), (4, 5), (2, 3), (2, 3), (1, 1)]);
        assert!(rank_ranges(5, &pairs, Better::Neither).is_none());
    }

    #[test]
    fn rank_probabilities_count_the_draws() {
        let draws = [1.0, 2.0, 9.0, 2.0, 1.0, 9.0, 1.0, 3.0, 9.0, 1.0, 4.0, 9.0];
        let r = rank_probabilities(&draws, &[true, true, false], Better::Higher).unwrap();
        assert_eq!(r, [vec![0.25, 0.75], vec![0.75, 0.25], vec![]]);
        assert_eq!(places(&[3.0, 1.0, 3.0], Better::Higher).unwrap(), [1, 3, 1]);
    }
}
