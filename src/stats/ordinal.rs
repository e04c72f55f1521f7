//! Ordered grades: never averaged, compared by ranks inside blocks.
//!
//! A block is one session: what its reports share (path, noise, the listener's habit) cancels in their
//! ranks. Reports on one antenna in one block are not independent of each other, so the unit that is
//! permuted is the visit (all reports on one antenna in one block), not the report.
//!
//! Sources: Friedman (1937), J. Am. Stat. Assoc. 32:675–701 (ranks in blocks); Phipson & Smyth (2010),
//! Stat. Appl. Genet. Mol. Biol. 9:39 (Monte Carlo p-values); Brunner & Munzel (2000), Biometrical
//! J. 42:17–25 (the probability that one report beats another).

use rand::Rng;
use rand::seq::SliceRandom;

/// One block: for each item seen in it, the item's number and its grades.
pub type Block = Vec<(usize, Vec<f64>)>;

/// Two items compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrdinalPair {
    /// First item.
    pub first: usize,
    /// Second item.
    pub second: usize,
    /// Blocks that hold both.
    pub blocks: usize,
    /// P(first > second) + ½·P(equal) for two grades from one block, averaged over the blocks that hold
    /// both; `None` without such a block.
    pub probability: Option<f64>,
    /// Monte Carlo permutation p-value, adjusted over all pairs; `None` with fewer than two blocks.
    pub p_adjusted: Option<f64>,
}

/// Compares all pairs of `items` items. The p-values come from `permutations` shufflings of the visits'
/// mean ranks among the items of each block, and the largest difference over all pairs in each.
pub fn compare(items: usize, blocks: &[Block], permutations: usize, rng: &mut impl Rng) -> Vec<OrdinalPair> {
    let ranks: Vec<Vec<(usize, f64)>> = blocks.iter().map(mean_ranks).collect();
    let mut pairs: Vec<OrdinalPair> = vec![];
    for first in 0..items {
        for second in first + 1..items {
            let shared: Vec<&Block> = blocks.iter().filter(|b| has(b, first) && has(b, second)).collect();
            let sum: f64 = shared.iter().map(|b| beats(grades(b, first), grades(b, second))).sum();
            pairs.push(OrdinalPair {
                first,
                second,
                blocks: shared.len(),
                probability: (!shared.is_empty()).then(|| sum / shared.len() as f64),
                p_adjusted: None,
            });
        }
    }
    let observed: Vec<f64> = pairs.iter().map(|p| statistic(&ranks, p)).collect();
    let mut beyond = vec![0usize; pairs.len()];
    let mut shuffled = ranks.clone();
    for _ in 0..permutations {
        for block in &mut shuffled {
            let mut values: Vec<f64> = block.iter().map(|x| x.1).collect();
            values.shuffle(rng);
            block.iter_mut().zip(values).for_each(|(x, v)| x.1 = v);
        }
        let largest = pairs.iter().map(|p| statistic(&shuffled, p)).fold(0.0, f64::max);
        for (count, &seen) in beyond.iter_mut().zip(&observed) {
            // a hair of slack: equal sums must count as equal whatever their rounding
            *count += usize::from(largest >= seen - 1e-9);
        }
    }
    for (pair, count) in pairs.iter_mut().zip(beyond) {
        if pair.blocks >= 2 {
            pair.p_adjusted = Some((1 + count) as f64 / (1 + permutations) as f64);
        }
    }
    pairs
}

fn has(block: &Block, item: usize) -> bool {
    block.iter().any(|(i, g)| *i == item && !g.is_empty())
}

fn grades(block: &Block, item: usize) -> &[f64] {
    block.iter().find(|(i, _)| *i == item).map_or(&[], |(_, g)| g)
}

/// P(x > y) + ½·P(x = y) over all pairs of one x and one y.
fn beats(x: &[f64], y: &[f64]) -> f64 {
    let mut sum = 0.0;
    for a in x {
        for b in y {
            sum += if a > b {
                1.0
            } else if a == b {
                0.5
            } else {
                0.0
            };
        }
    }
    sum / (x.len() * y.len()) as f64
}

/// Mid-ranks of all grades of a block, as shares of its count less one half, averaged by item.
fn mean_ranks(block: &Block) -> Vec<(usize, f64)> {
    let all: Vec<f64> = block.iter().flat_map(|(_, g)| g.iter().copied()).collect();
    let rank = |x: f64| {
        let below = all.iter().filter(|&&y| y < x).count() as f64;
        let equal = all.iter().filter(|&&y| y == x).count() as f64;
        (below + equal / 2.0) / all.len() as f64
    };
    block
        .iter()
        .filter(|(_, g)| !g.is_empty())
        .map(|(i, g)| (*i, g.iter().map(|&x| rank(x)).sum::<f64>() / g.len() as f64))
        .collect()
}

/// |Σ over shared blocks of the difference of mean ranks| / √(shared blocks).
fn statistic(ranks: &[Vec<(usize, f64)>], pair: &OrdinalPair) -> f64 {
    if pair.blocks < 2 {
        return 0.0;
    }
    let of = |block: &Vec<(usize, f64)>, item: usize| block.iter().find(|x| x.0 == item).map(|x| x.1);
    let sum: f64 = ranks.iter().filter_map(|b| Some(of(b, pair.first)? - of(b, pair.second)?)).sum();
    sum.abs() / (pair.blocks as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    /// Pain scores, Brunner & Munzel (2000): P(A < B) + ½P(=) = 0.788961.
    #[test]
    fn the_probability_of_a_better_report_is_the_published_one() {
        let a = [1, 2, 1, 1, 1, 1, 1, 1, 1, 1, 2, 4, 1, 1].map(f64::from).to_vec();
        let b = [3, 3, 4, 3, 1, 2, 3, 1, 1, 5, 4].map(f64::from).to_vec();
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let pairs = compare(2, &[vec![(0, b), (1, a)]], 10, &mut rng);
        assert!((pairs[0].probability.unwrap() - 0.788_961_039_0).abs() < 1e-9);
        assert_eq!(pairs[0].p_adjusted, None, "one session says nothing of another");
    }

    /// Two items in six blocks, one always better: of the 2⁶ arrangements two are as far out, p = 1/32.
    #[test]
    fn two_items_are_judged_by_their_sessions_not_by_their_reports() {
        let block = || vec![(0, vec![5.0, 5.0, 5.0, 5.0]), (1, vec![3.0, 3.0, 3.0])];
        let blocks: Vec<Block> = (0..6).map(|_| block()).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let p = compare(2, &blocks, 20_000, &mut rng)[0].p_adjusted.unwrap();
        assert!((p - 1.0 / 32.0).abs() < 4.0 * (1.0 / 32.0 / 20_000f64).sqrt(), "{p}");
    }

    /// Rounding first base (Hollander & Wolfe, table 7.1), 22 runners, 3 methods: Friedman's
    /// chi-squared is 11.143, p = 0.0038; the largest pair must be about as rare.
    #[test]
    fn the_largest_difference_is_about_as_rare_as_friedmans_test_says() {
        let text = include_str!("../../tests/reference/friedman_rounding.csv");
        let blocks: Vec<Block> = text
            .lines()
            .skip(1)
            .map(|line| line.split(',').enumerate().map(|(i, x)| (i, vec![-x.parse::<f64>().unwrap()])).collect())
            .collect();
        assert_eq!(blocks.len(), 22);
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let pairs = compare(3, &blocks, 20_000, &mut rng);
        let smallest = pairs.iter().filter_map(|p| p.p_adjusted).fold(1.0, f64::min);
        assert!(smallest > 0.001 && smallest < 0.01, "{smallest}");
        assert!(pairs.iter().all(|p| p.blocks == 22));
    }

    #[test]
    fn equal_items_are_rarely_called_different() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let mut false_alarms = 0;
        for _ in 0..200 {
            let blocks: Vec<Block> = (0..6)
                .map(|_| {
                    let mut visit = |i: usize| {
                        // reports on one visit share its luck: five equal grades are one observation
                        let grade = f64::from(rand::RngExt::random_range(&mut rng, 1..=5));
                        (i, vec![grade; 5])
                    };
                    (0..4).map(&mut visit).collect()
                })
                .collect();
            let pairs = compare(4, &blocks, 199, &mut rng);
            false_alarms += usize::from(pairs.iter().any(|p| p.p_adjusted.is_some_and(|p| p <= 0.05)));
        }
        assert!(false_alarms <= 22, "{false_alarms} of 200 at 5 %"); // 10 expected, +4 standard errors
    }
}
