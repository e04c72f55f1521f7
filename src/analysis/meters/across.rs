//! One offset over several bands, and whether the bands differ.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::offset::{Differences, ErrorPart, Estimate};
use super::result::Across;
use crate::stats::method_comparison::mean;

/// Mean of the bands' offsets. An antenna read on several bands, and a session, count once: what each
/// brings to the mean over all bands is summed first, and those sums are what scatters.
///
/// ```text
/// u² = p/(p − 1)·Σ_antenna (Σ_band (β − μ_band)/(k·p_band))²  +  S/(S − 1)·Σ_session (Σ_band e/(k·S_band))²
/// ```
///
/// with k bands; for one band this is the offset's own u². `None` for fewer than two bands.
pub fn across(bands: &[&Differences], confidence: f64) -> Option<Across> {
    if bands.len() < 2 {
        return None;
    }
    let k = bands.len() as f64;
    let (mut antennas, mut sessions): (BTreeMap<usize, f64>, BTreeMap<usize, f64>) = Default::default();
    for d in bands {
        let p = d.joined_antennas() as f64;
        for a in d.antennas.iter().filter(|a| a.joined) {
            *antennas.entry(a.item).or_default() += (a.beta - d.offset) / (k * p);
        }
        for s in &d.sessions {
            *sessions.entry(s.session).or_default() += s.effect / (k * d.sessions.len() as f64);
        }
    }
    let part = |sums: &BTreeMap<usize, f64>| {
        let n = sums.len() as f64;
        (sums.len() > 1)
            .then(|| ErrorPart { variance: n / (n - 1.0) * sums.values().map(|u| u * u).sum::<f64>(), df: n - 1.0 })
    };
    let parts: Vec<ErrorPart> = [part(&antennas), part(&sessions)].into_iter().flatten().collect();
    if parts.is_empty() {
        return None;
    }
    let offset = Estimate::from_parts(mean(&bands.iter().map(|d| d.offset).collect::<Vec<_>>()), &parts, confidence);
    let each: Vec<Estimate> = bands.iter().map(|d| d.estimate(0, |_| 0, confidence)).collect();
    Some(Across { offset, bands_differ_p: welch(&each) })
}

/// Welch's test that several means, each with its own error and degrees of freedom, are one.
///
/// What the bands share, such as a session's cable, is in each band's error and not in their difference: the test
/// errs on the side of no difference.
///
/// # Source
/// Welch (1951), Biometrika 38:330–336.
pub fn welch(means: &[Estimate]) -> Option<f64> {
    let k = means.len() as f64;
    let weight: Vec<f64> = means.iter().map(|m| m.standard_error.powi(-2)).collect();
    let total: f64 = weight.iter().sum();
    if means.len() < 2 || !total.is_finite() || !(total > 0.0) {
        return None;
    }
    let centre = means.iter().zip(&weight).map(|(m, w)| m.value * w).sum::<f64>() / total;
    let between = means.iter().zip(&weight).map(|(m, w)| w * (m.value - centre).powi(2)).sum::<f64>() / (k - 1.0);
    let lambda: f64 = means.iter().zip(&weight).map(|(m, w)| (1.0 - w / total).powi(2) / m.df).sum();
    let f = between / (1.0 + 2.0 * (k - 2.0) / (k * k - 1.0) * lambda);
    let df = if lambda > 0.0 { (k * k - 1.0) / (3.0 * lambda) } else { 1e9 };
    FisherSnedecor::new(k - 1.0, df.min(1e9)).ok().map(|d| d.sf(f))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R 4.2.2, `oneway.test(y ~ g)` on these groups: F = 4.29550 on 2 and 6.6059 degrees of freedom.
    #[test]
    fn welch_s_test_is_r_s() {
        let groups = [vec![5.0, 7.0, 9.0, 6.0], vec![8.0, 12.0, 9.0, 14.0, 10.0], vec![6.0, 6.0, 7.0, 9.0]];
        let means: Vec<Estimate> = groups
            .iter()
            .map(|g| {
                let n = g.len() as f64;
                let variance = crate::stats::method_comparison::sample_variance(g) / n;
                Estimate::from_parts(mean(g), &[ErrorPart { variance, df: n - 1.0 }], 0.95)
            })
            .collect();
        assert!((welch(&means).unwrap() - R_P).abs() < 1e-9, "{:?}", welch(&means));
    }

    const R_P: f64 = 0.063_814_236_968_3;
}
