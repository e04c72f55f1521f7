//! Quantiles, also those too far out for the trials there are.
//!
//! With n trials the quantile at 1 − α is read from the order statistics as long as at least ten trials lie beyond it:
//! α·n ≥ 10. Further out the largest trials say too little, and the largest of all, which is what a capped quantile
//! would return, lies too low by any factor. There the tail is carried on as a power:
//!
//! ```text
//! q(1 − α) = q(1 − α₁)·(α₁/α)^γ,    γ = log(q(1 − α₁)/q(1 − α₂))/log(α₂/α₁),    α₁ = 10/n,  α₂ = ½·√(2·α₁)
//! ```
//!
//! with α₂ on the way, in log α, from α₁ to ½. The tails here are those of |t| and of sums of normal and bounded errors,
//! where log q grows ever slower with log 1/α: with the slope γ of the nearer part, the power lies above them. So
//! this errs on the side of width, but for the Monte Carlo error of the two quantiles, which grows with the way from α₁
//! to α where tails are long: who can, holds it against a bound of another kind.
//!
//! # Source
//! Weissman (1978), *Journal of the American Statistical Association* 73:812–815 (from memory); a rougher γ than
//! the usual mean of logarithms, which sees only the tail's end and is no bound.

/// Trials beyond a quantile that is read from them.
pub const BEYOND: f64 = 10.0;

/// The sharpest confidence that so many trials resolve; 0 of ten or fewer.
pub fn resolved(trials: usize) -> f64 {
    (1.0 - BEYOND / trials as f64).max(0.0)
}

/// Whether so many trials resolve the quantile at `confidence`.
pub fn resolves(trials: usize, confidence: f64) -> bool {
    // rounding must not decide: 10/0.05 trials do resolve 0.95
    confidence <= resolved(trials) + 1e-12
}

/// The quantile of `sorted` absolute values at `confidence`: their own where they resolve it, else the power that their
/// tail stays below. 0 of none.
pub fn quantile(sorted: &[f64], confidence: f64) -> f64 {
    let n = sorted.len();
    if resolves(n, confidence) {
        return order_statistic(sorted, confidence);
    }
    if n <= BEYOND as usize {
        return if n == 0 { 0.0 } else { f64::INFINITY };
    }
    let (near, alpha) = (BEYOND / n as f64, 1.0 - confidence);
    let nearer = 0.5 * (2.0 * near).sqrt();
    let (far, mid) = (order_statistic(sorted, 1.0 - near), order_statistic(sorted, 1.0 - nearer));
    if !(far > 0.0) {
        return far;
    }
    if !(mid > 0.0 && alpha > 0.0) {
        return f64::INFINITY;
    }
    let slope = (far / mid).ln() / (nearer / near).ln();
    far * (near / alpha).powf(slope)
}

/// The smallest value that at least that share of the sorted values does not exceed; 0 of none, or of no share at all.
pub fn order_statistic(sorted: &[f64], share: f64) -> f64 {
    let rank = (share * sorted.len() as f64 - 1e-9).ceil() as usize;
    if rank == 0 { 0.0 } else { sorted[rank.min(sorted.len()) - 1] }
}

/// In ascending order, that of [`f64::total_cmp`]: each turned into the whole number that stands where it does, since whole
/// numbers are sorted in two thirds of the time.
pub fn sorted(values: Vec<f64>) -> Vec<f64> {
    let turned = |bits: i64| bits ^ ((bits >> 63) as u64 >> 1) as i64;
    let mut places: Vec<i64> = values.into_iter().map(|v| turned(v.to_bits() as i64)).collect();
    places.sort_unstable();
    places.into_iter().map(|place| f64::from_bits(turned(place) as u64)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_sorted_as_their_total_order_has_them() {
        let values =
            vec![2.5, -0.0, f64::INFINITY, -1e300, 0.0, f64::NAN, -f64::NAN, 5e-324, -5e-324, f64::NEG_INFINITY, 2.5];
        let mut wanted = values.clone();
        wanted.sort_by(f64::total_cmp);
        let bits = |v: &[f64]| v.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&sorted(values)), bits(&wanted));
    }
    use crate::montecarlo::stream::stream;
    use crate::stats::student_t::t_quantile;
    use rand::RngExt;
    use rand_distr::{StandardNormal, StudentT};

    #[test]
    fn order_statistics_never_fall_short() {
        let values: Vec<f64> = (1..=100).map(f64::from).collect();
        assert_eq!(order_statistic(&values, 0.95), 95.0);
        assert_eq!(order_statistic(&values, 1.0), 100.0);
        assert_eq!(order_statistic(&values, 0.0), 0.0);
        assert_eq!(order_statistic(&[], 0.5), 0.0);
    }

    #[test]
    fn what_the_trials_resolve_is_their_own_quantile() {
        let values: Vec<f64> = (1..=1000).map(f64::from).collect();
        assert_eq!(quantile(&values, 0.95), 950.0);
        assert_eq!(quantile(&values, 0.99), 990.0);
        assert!(resolves(200, 0.95) && !resolves(199, 0.95));
    }

    /// Held against the true quantiles: never below but for the Monte Carlo error of the nearest one, which ten trials
    /// know to 1/(df·√10) for t, and which goes into the slope too.
    #[test]
    fn further_out_the_quantile_of_t_and_of_normals_is_not_understated() {
        for df in [1.0, 2.0, 5.0, 20.0, f64::INFINITY] {
            for seed in 0..5 {
                let mut rng = stream(seed, 77, 0);
                let draws = (0..20_000).map(|_| match StudentT::new(df) {
                    Ok(t) if df.is_finite() => rng.sample::<f64, _>(t).abs(),
                    _ => rng.sample::<f64, _>(StandardNormal).abs(),
                });
                let draws = sorted(draws.collect());
                for alpha in [1e-4, 1e-5, 1e-7] {
                    let (own, truth) = (quantile(&draws, 1.0 - alpha), t_quantile(1.0 - alpha / 2.0, df));
                    let (near, far): (f64, f64) = (10.0 / 20_000.0, alpha);
                    let lever = 1.0 + (near / far).ln() / (0.5 * (2.0 * near).sqrt() / near).ln();
                    let error = 3.0 * lever / (df * 10f64.sqrt()) + 0.02;
                    assert!((own / truth).ln() > -error, "df {df}, {alpha}: {own} {truth}");
                    // what a capped quantile would give is below
                    assert!(alpha > 1e-6 || own > order_statistic(&draws, 1.0), "df {df}, {alpha}");
                }
            }
        }
    }

    #[test]
    fn too_few_trials_or_full_confidence_bound_nothing() {
        assert_eq!(quantile(&[], 0.95), 0.0);
        assert_eq!(quantile(&[1.0; 10], 0.95), f64::INFINITY);
        let values: Vec<f64> = (1..=1000).map(f64::from).collect();
        assert_eq!(quantile(&values, 1.0), f64::INFINITY);
        // nothing ever errs
        assert_eq!(quantile(&[0.0; 1000], 0.999_999), 0.0);
    }
}
