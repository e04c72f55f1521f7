//! Several outliers in one normal sample: the generalised extreme studentized deviate.

use crate::stats::student_t::t_quantile;

/// One step: the value farthest out among those not yet removed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Its place in the sample.
    pub place: usize,
    /// Rᵢ = |x − x̄|/s of what is left.
    pub statistic: f64,
    /// λᵢ, which a clean sample exceeds with probability alpha.
    pub critical: f64,
}

/// All steps, and how many of the first of them are outliers.
#[derive(Debug, Clone, PartialEq)]
pub struct Esd {
    /// Steps in the order of removal.
    pub steps: Vec<Step>,
    /// The largest i with Rᵢ > λᵢ. Earlier steps may fail: outliers hide each other.
    pub outliers: usize,
}

/// Rosner's generalised ESD test for up to `most` outliers.
///
/// λᵢ = (n − i)·t/√((n − i − 1 + t²)(n − i + 1)), t the upper alpha/(2(n − i + 1)) quantile on n − i − 1 degrees of
/// freedom, i from 1.
///
/// # Source
/// Rosner (1983), Technometrics 25:165–172; NIST/SEMATECH e-Handbook, 1.3.5.17.3.
pub fn generalized_esd(values: &[f64], most: usize, alpha: f64) -> Esd {
    let mut left: Vec<usize> = (0..values.len()).collect();
    let mut steps = vec![];
    while steps.len() < most && left.len() >= 3 {
        let n = left.len() as f64;
        let mean = left.iter().map(|&i| values[i]).sum::<f64>() / n;
        let s = (left.iter().map(|&i| (values[i] - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let out = |i: usize| (values[i] - mean).abs();
        let Some(at) = (0..left.len()).max_by(|&a, &b| out(left[a]).total_cmp(&out(left[b]))) else { break };
        if !(s > 0.0) {
            break;
        }
        let t = t_quantile(1.0 - alpha / (2.0 * n), n - 2.0);
        let critical = (n - 1.0) * t / ((n - 2.0 + t * t) * n).sqrt();
        steps.push(Step { place: left[at], statistic: out(left[at]) / s, critical });
        left.remove(at);
    }
    let outliers = steps.iter().rposition(|s| s.statistic > s.critical).map_or(0, |i| i + 1);
    Esd { steps, outliers }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosner's 54 values as in the NIST/SEMATECH e-Handbook, 1.3.5.17.3, whose table of R and λ this is.
    #[test]
    fn the_handbooks_ten_steps_are_reproduced_digit_by_digit() {
        let text = include_str!("../../../tests/reference/rosner54.csv");
        let values: Vec<f64> = text.lines().skip(1).map(|l| l.trim().parse().unwrap()).collect();
        assert_eq!(values.len(), 54);
        let esd = generalized_esd(&values, 10, 0.05);
        let r = [3.118906, 2.942973, 3.179424, 2.810181, 2.815580, 2.848172, 2.279327, 2.310366, 2.101581, 2.067178];
        let lambda =
            [3.158794, 3.151430, 3.143890, 3.136165, 3.128247, 3.120128, 3.111796, 3.103243, 3.094456, 3.085425];
        let removed = [6.01, 5.42, 5.34, 4.64, -0.25, 4.30, 3.68, 3.59, 0.68, 3.30];
        for i in 0..10 {
            assert_eq!(format!("{:.6}", esd.steps[i].statistic), format!("{:.6}", r[i]), "R {i}");
            assert_eq!(format!("{:.6}", esd.steps[i].critical), format!("{:.6}", lambda[i]), "λ {i}");
            assert_eq!(values[esd.steps[i].place], removed[i]);
        }
        assert_eq!(esd.outliers, 3, "the first two steps fail, the third does not: three outliers");
    }

    #[test]
    fn equal_values_hold_no_outlier() {
        assert_eq!(generalized_esd(&[1.0; 9], 3, 0.05).outliers, 0);
    }
}
