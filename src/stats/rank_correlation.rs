//! Spearman's rank correlation.

/// The product-moment correlation of mid-ranks; 0 where either side has no spread.
///
/// `x` and `y` have the same length, at least 2.
///
/// # Source
/// Spearman (1904), Am. J. Psychol. 15:72–101; ties by mid-ranks, Kendall & Gibbons (1990), chapter 3.
pub fn spearman(x: &[f64], y: &[f64]) -> f64 {
    let (rx, ry) = (mid_ranks(x), mid_ranks(y));
    let middle = (x.len() as f64 + 1.0) / 2.0;
    let (mut xy, mut xx, mut yy) = (0.0, 0.0, 0.0);
    for (a, b) in rx.iter().zip(&ry) {
        xy += (a - middle) * (b - middle);
        xx += (a - middle).powi(2);
        yy += (b - middle).powi(2);
    }
    if xx > 0.0 && yy > 0.0 { xy / (xx * yy).sqrt() } else { 0.0 }
}

fn mid_ranks(values: &[f64]) -> Vec<f64> {
    let rank = |v: f64| {
        let below = values.iter().filter(|&&w| w < v).count() as f64;
        let equal = values.iter().filter(|&&w| w == v).count() as f64;
        below + (equal + 1.0) / 2.0
    };
    values.iter().map(|&v| rank(v)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tuna lightness, Hollander & Wolfe (1973), p. 187: Spearman's rho is 0.6.
    #[test]
    fn the_published_example_has_rho_of_six_tenths() {
        let x = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1];
        let y = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8];
        assert!((spearman(&x, &y) - 0.6).abs() < 1e-12);
    }

    #[test]
    fn order_alone_counts_and_no_spread_means_no_correlation() {
        assert_eq!(spearman(&[1.0, 2.0, 3.0], &[1.0, 10.0, 1000.0]), 1.0);
        assert_eq!(spearman(&[1.0, 2.0, 3.0], &[5.0, 5.0, 5.0]), 0.0);
    }
}
