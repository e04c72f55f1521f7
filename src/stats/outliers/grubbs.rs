//! One outlier in one normal sample.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::stats::student_t::t_quantile;

/// Which values count as departing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// Only the largest.
    High,
    /// Only the smallest.
    Low,
    /// Whichever lies farther from the mean.
    Both,
}

impl Sides {
    /// Number of tails the chance of a false alarm is split over.
    fn tails(self) -> f64 {
        if self == Sides::Both { 2.0 } else { 1.0 }
    }
}

/// The value that lies farthest out, and how unlikely that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Its place in the sample.
    pub place: usize,
    /// G = |x − x̄|/s, where s is the sample standard deviation (n − 1).
    pub statistic: f64,
    /// Bonferroni's bound on the chance that any value of a clean sample lies so far out.
    pub p: f64,
}

/// Grubbs' test of the farthest value.
///
/// G = max|xᵢ − x̄|/s; with t² = n(n − 2)G²/((n − 1)² − nG²) on n − 2 degrees of freedom, p = n·P(T > t), twice that
/// for both sides, at most 1.
///
/// `None` for fewer than three values, or where they are all equal.
///
/// # Source
/// Grubbs (1969), Technometrics 11:1–21; NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
pub fn grubbs(values: &[f64], sides: Sides) -> Option<Grubbs> {
    let n = values.len() as f64;
    if values.len() < 3 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let s = (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    if !(s > 0.0) {
        return None;
    }
    let out = |x: f64| match sides {
        Sides::High => x - mean,
        Sides::Low => mean - x,
        Sides::Both => (x - mean).abs(),
    };
    let place = (0..values.len()).max_by(|&i, &j| out(values[i]).total_cmp(&out(values[j])))?;
    let statistic = out(values[place]) / s;
    // no sample can exceed (n − 1)/√n: there t is infinite
    let room = (n - 1.0).powi(2) - n * statistic * statistic;
    let t =
        if room > 0.0 { statistic.signum() * (n * (n - 2.0) * statistic.powi(2) / room).sqrt() } else { f64::INFINITY };
    let tail = if t.is_finite() { StudentsT::new(0.0, 1.0, n - 2.0).map_or(1.0, |d| d.sf(t)) } else { 0.0 };
    Some(Grubbs { place, statistic, p: (sides.tails() * n * tail).min(1.0) })
}

/// The G that a clean sample of `n` exceeds with probability at most `alpha`.
///
/// G = (n − 1)/√n · √(t²/(n − 2 + t²)), t the upper alpha/n quantile (alpha/2n for both sides) on n − 2 degrees of
/// freedom. NaN below n = 3.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
pub fn critical_value(n: usize, alpha: f64, sides: Sides) -> f64 {
    if n < 3 {
        return f64::NAN;
    }
    let n = n as f64;
    let t2 = t_quantile(1.0 - alpha / (sides.tails() * n), n - 2.0).powi(2);
    (n - 1.0) / n.sqrt() * (t2 / (n - 2.0 + t2)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, 1.3.5.17.1 (mass spectrometer data); digits beyond the handbook's computed
    /// independently in R.
    const HANDBOOK: [f64; 8] = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];

    #[test]
    fn the_handbooks_example_is_reproduced_digit_by_digit() {
        let high = grubbs(&HANDBOOK, Sides::High).unwrap();
        assert_eq!(high.place, 7);
        assert!((high.statistic - 2.46876461).abs() < 5e-9);
        assert!((high.p / 1.50131934e-7 - 1.0).abs() < 1e-6, "{}", high.p);
        assert_eq!(format!("{:.4}", critical_value(8, 0.05, Sides::High)), "2.0317");
        assert!((critical_value(8, 0.05, Sides::High) - 2.03165200).abs() < 1e-8);
        assert!((critical_value(8, 0.05, Sides::Both) - 2.12664509).abs() < 1e-8);
        let both = grubbs(&HANDBOOK, Sides::Both).unwrap();
        assert!((both.p / (2.0 * high.p) - 1.0).abs() < 1e-12);
    }

    /// Critical values at 0.05, one- and two-sided, computed in R from the handbook's formula.
    #[test]
    fn critical_values_agree_over_sample_sizes() {
        let table = [
            (3, 1.1531, 1.1543),
            (5, 1.6714, 1.7150),
            (6, 1.8221, 1.8871),
            (8, 2.0317, 2.1266),
            (10, 2.1761, 2.2900),
            (20, 2.5566, 2.7082),
            (30, 2.7451, 2.9085),
        ];
        for (n, one, two) in table {
            assert!((critical_value(n, 0.05, Sides::High) - one).abs() < 6e-5, "{n}");
            assert!((critical_value(n, 0.05, Sides::Both) - two).abs() < 6e-5, "{n}");
        }
    }

    #[test]
    fn at_the_critical_value_p_is_alpha() {
        for (n, sides) in [(5, Sides::High), (9, Sides::Both), (30, Sides::Low)] {
            // a sample whose farthest value has exactly that G: bisection on one value over a fixed rest
            let critical = critical_value(n, 0.05, sides);
            let sign = if sides == Sides::Low { -1.0 } else { 1.0 };
            let sample =
                |x: f64| (0..n).map(|i| if i == 0 { sign * x } else { (i as f64 * 0.618).fract() }).collect::<Vec<_>>();
            let (mut low, mut high) = (0.0, 1e3);
            for _ in 0..200 {
                let middle = (low + high) / 2.0;
                let g = grubbs(&sample(middle), sides).unwrap().statistic;
                if g < critical { low = middle } else { high = middle }
            }
            let p = grubbs(&sample(low), sides).unwrap().p;
            assert!((p - 0.05).abs() < 1e-9, "{n} {p}");
        }
    }

    #[test]
    fn nothing_departs_from_too_few_or_from_equal_values() {
        assert_eq!(grubbs(&[1.0, 9.0], Sides::Both), None);
        assert_eq!(grubbs(&[2.0; 6], Sides::Both), None);
        assert_eq!(grubbs(&[1.0, 2.0, 3.0], Sides::Low).unwrap().place, 0);
    }
}
