//! A trend along an order, by permutation.

use rand::Rng;
use rand::seq::SliceRandom;

/// A value at its place in the order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Place in the order: a number or a time.
    pub x: f64,
    /// The value.
    pub y: f64,
    /// Values are exchangeable within a block.
    pub block: usize,
}

/// The chance that shuffling the values inside their blocks gives a trend as strong, either way.
///
/// The strength is |Σ(x − x̄)(y − ȳ)|, means by block. `trials` shuffles; p = (1 + as strong)/(1 + trials), so that
/// it is never below what the trials can show. 1 where no block has two places.
///
/// # Source
/// Phipson & Smyth (2010), Stat. Appl. Genet. Mol. Biol. 9:39, for the one added above and below.
pub fn trend_p(values: &[Placed], trials: usize, rng: &mut impl Rng) -> f64 {
    let blocks = values.iter().map(|v| v.block + 1).max().unwrap_or(0);
    let (mut xs, mut ys) = (vec![vec![]; blocks], vec![vec![]; blocks]);
    for v in values {
        xs[v.block].push(v.x);
        ys[v.block].push(v.y);
    }
    for list in xs.iter_mut().chain(&mut ys).filter(|l| !l.is_empty()) {
        let mean = list.iter().sum::<f64>() / list.len() as f64;
        list.iter_mut().for_each(|v: &mut f64| *v -= mean);
    }
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let seen: f64 = xs.iter().zip(&ys).map(|(x, y)| product(x, y)).sum::<f64>().abs();
    let mut as_strong = 0;
    for _ in 0..trials {
        let mut sum = 0.0;
        for (x, y) in xs.iter().zip(&mut ys) {
            y.shuffle(rng);
            sum += product(x, y);
        }
        // sums of the same terms in another order must count as equal
        as_strong += usize::from(sum.abs() >= seen * (1.0 - 1e-9));
    }
    (1 + as_strong) as f64 / (1 + trials) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;
    use rand::RngExt;

    #[test]
    fn a_steady_fall_is_as_rare_as_its_orders() {
        // one block of five in order: 2 of 5! = 120 orders are as strong
        let falling: Vec<Placed> = (0..5).map(|i| Placed { x: i as f64, y: -(i as f64), block: 0 }).collect();
        let p = trend_p(&falling, 20_000, &mut stream(1, 0, 0));
        assert!((p - 2.0 / 120.0).abs() < 4e-3, "{p}");
    }

    #[test]
    fn levels_of_blocks_make_no_trend() {
        let level: Vec<Placed> = (0..12)
            .map(|i| Placed { x: i as f64, y: (i / 2) as f64 * 10.0 + [0.0, 0.1][(i / 2 + i) % 2], block: i / 2 })
            .collect();
        assert!(trend_p(&level, 2000, &mut stream(1, 0, 1)) > 0.1);
        assert_eq!(trend_p(&[], 10, &mut stream(1, 0, 1)), 1.0);
    }

    #[test]
    fn without_a_trend_p_is_uniform() {
        let mut small = 0;
        for trial in 0..1000 {
            let mut rng = stream(2, 0, trial);
            let values: Vec<Placed> =
                (0..12).map(|i| Placed { x: i as f64, y: rng.random::<f64>(), block: i / 4 }).collect();
            small += usize::from(trend_p(&values, 199, &mut rng) <= 0.05);
        }
        // a binomial's 1 − 10⁻⁴ interval about 50 of 1000
        assert!((26..=79).contains(&small), "{small}");
    }
}
