//! Regression where both sides err, with one known ratio of their error variances.
//!
//! Source: Deming, *Statistical Adjustment of Data* (1943), chapter XI; Linnet (1990), Stat. Med. 9:1463–1473,
//! for the jackknife. λ = var(error of y)/var(error of x).

use super::york::{self, Point};
use super::{Line, mean};

/// Intercept and slope at λ > 0. `None` where x and y do not vary together, so that no line is defined.
///
/// ```text
/// b = [S_yy − λS_xx + √((S_yy − λS_xx)² + 4λS_xy²)]/(2S_xy),   a = ȳ − b·x̄
/// ```
pub fn coefficients(x: &[f64], y: &[f64], lambda: f64) -> Option<(f64, f64)> {
    let (mx, my) = (mean(x), mean(y));
    let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0);
    for (x, y) in x.iter().zip(y) {
        sxx += (x - mx) * (x - mx);
        sxy += (x - mx) * (y - my);
        syy += (y - my) * (y - my);
    }
    let difference = syy - lambda * sxx;
    // sxy below the rounding of the sums is a zero: every slope would fit as well
    if !(lambda > 0.0) || !(sxy.abs() > 1e-12 * (sxx * syy).sqrt()) || sxx == 0.0 || syy == 0.0 {
        return None;
    }
    let slope = (difference + difference.hypot(2.0 * lambda.sqrt() * sxy)) / (2.0 * sxy);
    Some((my - slope * mx, slope))
}

/// The line with standard errors by the jackknife: each point left out once. Where points are means of
/// independent items, that is the right unit. `None` below three points.
pub fn jackknife(x: &[f64], y: &[f64], lambda: f64) -> Option<Line> {
    let n = x.len();
    if n < 3 {
        return None;
    }
    let (intercept, slope) = coefficients(x, y, lambda)?;
    let (mut a, mut b) = (vec![], vec![]);
    for out in 0..n {
        let without = |v: &[f64]| v.iter().enumerate().filter(|(i, _)| *i != out).map(|(_, v)| *v).collect::<Vec<_>>();
        let (ai, bi) = coefficients(&without(x), &without(y), lambda)?;
        a.push(ai);
        b.push(bi);
    }
    let (ma, mb) = (mean(&a), mean(&b));
    // pseudo-values n·θ − (n − 1)·θ_(i) scatter (n − 1) times as much as the θ_(i)
    let scale = (n as f64 - 1.0) / n as f64;
    let sum = |f: &dyn Fn(usize) -> f64| scale * (0..n).map(f).sum::<f64>();
    Some(Line {
        intercept,
        slope,
        intercept_error: sum(&|i| (a[i] - ma).powi(2)).sqrt(),
        slope_error: sum(&|i| (b[i] - mb).powi(2)).sqrt(),
        covariance: sum(&|i| (a[i] - ma) * (b[i] - mb)),
    })
}

/// The line with standard errors from theory: York's at equal weights, scaled by the residuals.
/// `None` below three points.
pub fn analytic(x: &[f64], y: &[f64], lambda: f64) -> Option<Line> {
    let points: Vec<Point> = x
        .iter()
        .zip(y)
        .map(|(&x, &y)| Point { x, y, x_error: 1.0, y_error: lambda.sqrt(), correlation: 0.0 })
        .collect();
    let fit = york::fit(&points)?;
    Some(fit.scaled())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exchanging_the_two_turns_the_line_over() {
        let x = [1.0, 2.0, 3.0, 4.2, 5.1];
        let y = [1.3, 1.9, 3.4, 4.0, 5.6];
        let (a, b) = coefficients(&x, &y, 2.0).unwrap();
        let (c, d) = coefficients(&y, &x, 0.5).unwrap();
        assert!((b * d - 1.0).abs() < 1e-12 && (c + a / b).abs() < 1e-12);
    }

    #[test]
    fn a_side_that_does_not_move_has_no_line() {
        assert!(coefficients(&[1.0, 2.0, 3.0], &[1.0, 1.0, 1.0], 1.0).is_none());
        assert!(jackknife(&[1.0, 2.0], &[1.0, 2.0], 1.0).is_none());
    }

    #[test]
    fn theory_and_jackknife_find_one_line_and_like_errors() {
        let x: Vec<f64> = (0..40).map(|i| f64::from(i) / 4.0 + f64::from(i * 7 % 11) / 40.0).collect();
        let y: Vec<f64> = (0..40).map(|i| 1.0 + 0.8 * f64::from(i) / 4.0 + f64::from(i * 5 % 13) / 40.0).collect();
        let (j, t) = (jackknife(&x, &y, 1.0).unwrap(), analytic(&x, &y, 1.0).unwrap());
        assert!((j.slope - t.slope).abs() < 1e-10 && (j.intercept - t.intercept).abs() < 1e-10);
        assert!((j.slope_error / t.slope_error - 1.0).abs() < 0.25, "{j:?} {t:?}");
    }
}
