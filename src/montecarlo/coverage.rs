//! Coverage intervals from the ordered values of an output.
//!
//! Source: JCGM 101:2008, 7.7: q = pM, or the whole part of pM + ½; the interval [y₍ᵣ₎, y₍ᵣ₊q₎], with r = (M − q)/2 or
//! the whole part of (M − q + 1)/2 for the probabilistically symmetric one, and the r of the least length for the shortest.

use super::sample::Ordered;

/// An interval that holds the output with a stated probability.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Interval {
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}

impl Interval {
    /// high − low.
    pub fn length(self) -> f64 {
        self.high - self.low
    }
}

/// Which of the intervals with the stated probability.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum IntervalKind {
    /// As much probability below as above.
    Symmetric,
    /// The shortest.
    Shortest,
}

/// q of `m` values at coverage probability `p`.
fn inside(m: f64, p: f64) -> f64 {
    (p * m + 0.5).floor().min(m - 1.0)
}

/// r of the probabilistically symmetric interval.
fn first(m: f64, q: f64) -> f64 {
    ((m - q + 1.0) / 2.0).floor().max(1.0)
}

/// The interval of that kind at coverage probability `p`; NaN ends where there are fewer than two values.
pub fn interval(ordered: &Ordered, p: f64, kind: IntervalKind) -> Interval {
    let m = ordered.count();
    if m < 2.0 {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let q = inside(m, p);
    let at = |r: f64| Interval { low: ordered.at_rank(r), high: ordered.at_rank(r + q) };
    match kind {
        IntervalKind::Symmetric => at(first(m, q)),
        IntervalKind::Shortest => {
            let candidates = ordered.starts().take_while(|r| r + q <= m).map(at);
            candidates.fold(at(1.0), |best, next| if next.length() < best.length() { next } else { best })
        }
    }
}

/// The same from one block of values, which are put out of order: only as much is sorted as the interval needs.
pub fn interval_of_block(values: &mut [f64], p: f64, kind: IntervalKind) -> Interval {
    let m = values.len();
    if m < 2 {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let q = inside(m as f64, p) as usize;
    match kind {
        IntervalKind::Symmetric => {
            let r = first(m as f64, q as f64) as usize;
            let (_, high, _) = values.select_nth_unstable_by(r + q - 1, f64::total_cmp);
            let high = *high;
            let (_, low, _) = values[..r + q].select_nth_unstable_by(r - 1, f64::total_cmp);
            Interval { low: *low, high }
        }
        IntervalKind::Shortest => {
            // both ends lie in the lowest and highest m − q values
            let tail = m - q;
            if 2 * tail < m {
                values.select_nth_unstable_by(m - tail, f64::total_cmp);
                let (rest, high) = values.split_at_mut(m - tail);
                high.sort_unstable_by(f64::total_cmp);
                rest.select_nth_unstable_by(tail - 1, f64::total_cmp);
                rest[..tail].sort_unstable_by(f64::total_cmp);
            } else {
                values.sort_unstable_by(f64::total_cmp);
            }
            let at = |r: usize| Interval { low: values[r], high: values[r + q] };
            (0..tail).map(at).fold(at(0), |best, next| if next.length() < best.length() { next } else { best })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::distribution::Distribution;
    use crate::montecarlo::sample::Sample;
    use crate::montecarlo::stream::stream;

    #[test]
    fn ends_are_the_order_statistics_that_the_standard_names() {
        // M = 100, p = 0.95: q = 95, r = (100 − 95 + 1)/2 = 3: y(3) and y(98)
        let ordered = Ordered::of((1..=100).map(f64::from).collect());
        let symmetric = interval(&ordered, 0.95, IntervalKind::Symmetric);
        assert_eq!((symmetric.low, symmetric.high), (3.0, 98.0));
        // M = 1000, p = 0.9: q = 900, r = 50
        let ordered = Ordered::of((1..=1000).map(f64::from).collect());
        let symmetric = interval(&ordered, 0.9, IntervalKind::Symmetric);
        assert_eq!((symmetric.low, symmetric.high), (50.0, 950.0));
        // squares lie closest at the low end
        let ordered = Ordered::of((1..=100).map(|i| f64::from(i * i)).collect());
        let shortest = interval(&ordered, 0.95, IntervalKind::Shortest);
        assert_eq!((shortest.low, shortest.high), (1.0, 96.0 * 96.0));
    }

    #[test]
    fn a_block_s_interval_is_that_of_its_ordered_values() {
        let mut values = vec![0.0; 10_000];
        for seed in 0..20 {
            Distribution::Gamma { shape: 1.5, scale: 2.0 }.fill(&mut stream(seed, 0, 0), &mut values);
            let ordered = Ordered::of(values.clone());
            for kind in [IntervalKind::Symmetric, IntervalKind::Shortest] {
                for p in [0.3, 0.6, 0.95, 0.99] {
                    assert_eq!(interval_of_block(&mut values.clone(), p, kind), interval(&ordered, p, kind));
                }
            }
        }
    }

    #[test]
    fn few_values_and_equal_ones_have_an_interval_too() {
        for kind in [IntervalKind::Symmetric, IntervalKind::Shortest] {
            for n in 2..30 {
                let values: Vec<f64> = (0..n).map(f64::from).collect();
                let interval = interval(&Ordered::of(values.clone()), 0.95, kind);
                assert!(interval.length() > 0.0 && interval.length() < f64::from(n));
                assert_eq!(interval_of_block(&mut values.clone(), 0.95, kind), interval);
            }
            assert_eq!(interval(&Ordered::of(vec![5.0; 9]), 0.95, kind), Interval { low: 5.0, high: 5.0 });
            assert!(interval(&Ordered::of(vec![5.0]), 0.95, kind).low.is_nan());
        }
    }

    /// Exponential of mean 1: shortest 95 % [0, −ln 0.05], symmetric [−ln 0.975, −ln 0.025].
    #[test]
    fn intervals_beyond_the_kept_values_are_those_of_the_distribution() {
        let mut sample = Sample::default();
        let mut values = vec![0.0; 1 << 18];
        for chunk in 0..12 {
            Distribution::Exponential { mean: 1.0 }.fill(&mut stream(5, 0, chunk), &mut values);
            sample.extend(&values);
        }
        let ordered = sample.ordered();
        // five standard errors of a quantile, √(p(1 − p)/M)/density
        let tolerance = |p: f64| 5.0 * (p * (1.0 - p) / sample.len() as f64).sqrt() / p.min(1.0 - p);
        let shortest = interval(&ordered, 0.95, IntervalKind::Shortest);
        assert!(shortest.low < 1e-3 && (shortest.high + 0.05f64.ln()).abs() < tolerance(0.05), "{shortest:?}");
        let symmetric = interval(&ordered, 0.95, IntervalKind::Symmetric);
        assert!(
            (symmetric.low + 0.975f64.ln()).abs() < 1e-3 && (symmetric.high + 0.025f64.ln()).abs() < tolerance(0.025)
        );
    }
}
