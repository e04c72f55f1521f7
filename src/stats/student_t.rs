//! Quantiles of Student's t at any number of degrees of freedom, small ones and fractions included.

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

/// Beyond this many degrees of freedom t is the normal to every digit printed.
const AS_NORMAL: f64 = 1e8;

/// The quantile of Student's t at `probability` in (0, 1), for `df` > 0 degrees of freedom, infinite for
/// the normal.
///
/// Below a tenth of a degree of freedom no interval means anything: a tenth is used, so that the result
/// stays finite. NaN degrees of freedom give infinity.
///
/// Method: Newton's on log(upper tail) against log t, where the curve is smooth and nearly straight,
/// inside a bracket. The general library's inverse of the incomplete beta function is not used: it
/// does not return for some small degrees of freedom.
pub fn t_quantile(probability: f64, df: f64) -> f64 {
    if df.is_nan() || !(probability > 0.0 && probability < 1.0) {
        return f64::INFINITY;
    }
    if probability < 0.5 {
        return -upper(probability, df.max(0.1));
    }
    upper(1.0 - probability, df.max(0.1))
}

/// The t that is exceeded with probability `tail` ≤ ½.
fn upper(tail: f64, df: f64) -> f64 {
    if tail >= 0.5 {
        return 0.0;
    }
    if df > AS_NORMAL {
        return Normal::standard().inverse_cdf(1.0 - tail);
    }
    let Ok(t) = StudentsT::new(0.0, 1.0, df) else { return f64::INFINITY };
    let (mut low, mut high) = (0.0, 1.0);
    while t.sf(high) > tail {
        low = high;
        high *= 4.0;
        if !(high < 1e300) {
            return f64::INFINITY;
        }
    }
    let mut x: f64 = if low > 0.0 { f64::sqrt(low * high) } else { high / 2.0 };
    for _ in 0..200 {
        let beyond = t.sf(x);
        if beyond > tail {
            low = x
        } else {
            high = x
        }
        // d log(sf) / d log(x) = −x·pdf/sf
        let slope = -x * t.pdf(x) / beyond;
        let next = x * ((tail.ln() - beyond.ln()) / slope).exp();
        let next = if next > low && next < high { next } else { (low + high) / 2.0 };
        if (next - x).abs() <= 1e-13 * x {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, table G.2, with unrounded values: all degrees of freedom, all six probabilities.
    #[test]
    fn the_gums_table_of_t_factors_is_reproduced() {
        let text = include_str!("../../tests/reference/gum_g2_t.csv");
        let probabilities = [0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973];
        let mut rows = 0;
        for line in text.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let df = if cells[0] == "inf" { f64::INFINITY } else { cells[0].parse().unwrap() };
            for (p, cell) in probabilities.iter().zip(&cells[1..]) {
                let expected: f64 = cell.parse().unwrap();
                let t = t_quantile(0.5 + p / 2.0, df);
                assert!((t - expected).abs() < 2e-6 * expected, "{df} {p}: {t} against {expected}");
            }
            rows += 1;
        }
        assert!(rows >= 28);
    }

    #[test]
    fn the_quantile_is_found_at_any_degrees_of_freedom() {
        for step in 0..400 {
            let df = 0.1 * 1.06f64.powi(step);
            for tail in [0.4, 0.1, 0.025, 1e-3, 1e-5] {
                let x = t_quantile(1.0 - tail, df);
                assert!(x.is_finite() && x > 0.0, "{df} {tail} {x}");
                if df < 1e6 {
                    let back = StudentsT::new(0.0, 1.0, df).unwrap().sf(x);
                    assert!((back - tail).abs() < 1e-9 * tail.max(1e-3), "{df} {tail}: {back}");
                }
            }
        }
        assert_eq!(t_quantile(0.3, 5.0), -t_quantile(0.7, 5.0));
        assert_eq!(t_quantile(0.975, f64::NAN), f64::INFINITY);
    }
}
