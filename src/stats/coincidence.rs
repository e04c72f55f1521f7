//! How often rounded readings agree by chance.

use statrs::distribution::{ContinuousCDF, Normal};

/// The largest chance that two readings of one thing show the same: both normal about one mean with standard
/// deviation `sd`, on a display of last digit `step`.
///
/// q = Σₖ pₖ², pₖ = Φ((k + ½)·step/sd) − Φ((k − ½)·step/sd): the mean lies on a displayed value, where
/// agreement is likeliest. 1 where there is no scatter, 0 where the display has no step.
pub fn agreement(sd: f64, step: f64) -> f64 {
    if !(step > 0.0) {
        return 0.0;
    }
    let a = step / sd;
    if !(a < 20.0) {
        return 1.0;
    }
    if a < 0.3 {
        // several digits wide: the sum as an integral, a·∫(φ + a²φ″/24)²; the next term is of the order of a⁴/1000
        return a * (1.0 - a * a / 24.0) / (2.0 * std::f64::consts::PI.sqrt());
    }
    let normal = Normal::standard();
    // pₖ falls both ways from p₀ alike; each edge is shared by two
    let (mut edge, mut sum, mut k) = (normal.cdf(0.5 * a), (2.0 * normal.cdf(0.5 * a) - 1.0).powi(2), 1.0);
    while k * a < 9.0 {
        let next = normal.cdf((k + 0.5) * a);
        sum += 2.0 * (next - edge).powi(2);
        (edge, k) = (next, k + 1.0);
    }
    sum.min(1.0)
}

/// The chance of at least `count` successes in independent trials with chances `chances` (the upper tail of the
/// Poisson-binomial distribution).
///
/// By convolution, one trial after another; terms far below are summed too, so that a small tail keeps its
/// digits.
pub fn at_least(chances: &[f64], count: usize) -> f64 {
    if count == 0 {
        return 1.0;
    }
    // state k < count: k successes so far; the last state holds all that reached `count`
    let mut state = vec![0.0; count + 1];
    state[0] = 1.0;
    for &q in chances {
        let arrived = state[count] + state[count - 1] * q;
        for k in (1..count).rev() {
            state[k] = state[k] * (1.0 - q) + state[k - 1] * q;
        }
        state[0] *= 1.0 - q;
        state[count] = arrived;
    }
    state[count].min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Binomial, DiscreteCDF};

    #[test]
    fn with_equal_chances_the_tail_is_the_binomials() {
        for (n, q, count) in [(10u64, 0.3, 4u64), (30, 0.05, 9), (3, 0.9, 3)] {
            let tail = Binomial::new(q, n).unwrap().sf(count - 1);
            let ours = at_least(&vec![q; n as usize], count as usize);
            assert!((ours / tail - 1.0).abs() < 1e-9, "{n} {q} {count}: {ours} {tail}");
        }
        assert_eq!(at_least(&[0.2, 0.3], 0), 1.0);
        assert_eq!(at_least(&[0.2, 0.3], 3), 0.0);
        assert!((at_least(&[0.2, 0.3], 1) - (1.0 - 0.8 * 0.7)).abs() < 1e-15);
    }

    #[test]
    fn agreement_runs_from_never_to_always() {
        assert_eq!(agreement(1.0, 0.0), 0.0);
        assert_eq!(agreement(0.0, 1.0), 1.0);
        // a display so coarse that every reading shows its middle digit: (Φ(2.5) − Φ(−2.5))²
        assert!((agreement(0.2, 1.0) - 0.987_580_669_348_448f64.powi(2)).abs() < 1e-4);
        // both formulas meet where one hands over to the other
        let (wide, sum) = (agreement(1.0, 0.299_999), agreement(1.0, 0.300_001));
        assert!((wide / sum - 1.0).abs() < 3e-5, "{wide} {sum}");
    }
}
