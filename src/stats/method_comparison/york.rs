//! Straight line through points that err in both directions, each by its own known amount.
//!
//! Source: York, Evensen, López Martínez & De Basabe Delgado (2004), Am. J. Phys. 72:367–375, equations 13 and
//! the standard errors at the adjusted points (its unified equations).

use super::Line;

/// One point with the standard errors of its coordinates and their correlation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// x.
    pub x: f64,
    /// y.
    pub y: f64,
    /// Standard error of x, above 0.
    pub x_error: f64,
    /// Standard error of y, above 0.
    pub y_error: f64,
    /// Correlation of the two errors, inside (−1, 1).
    pub correlation: f64,
}

/// The fitted line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct York {
    /// The line; its errors are those the points' own errors imply.
    pub line: Line,
    /// Weighted sum of squared distances S; its expectation is n − 2 where the points' errors are right.
    pub sum_of_squares: f64,
    /// n − 2.
    pub df: f64,
}

impl York {
    /// The line with its errors multiplied by √(S/(n − 2)): as if the points' errors were known only
    /// up to one factor.
    pub fn scaled(&self) -> Line {
        self.times((self.sum_of_squares / self.df).sqrt())
    }

    /// The line with its errors multiplied by √(S/(n − 2)) where that is above 1: points that scatter more
    /// than their errors say widen it, points that scatter less do not narrow it.
    pub fn widened(&self) -> Line {
        self.times((self.sum_of_squares / self.df).sqrt().max(1.0))
    }

    fn times(&self, factor: f64) -> Line {
        Line {
            intercept_error: self.line.intercept_error * factor,
            slope_error: self.line.slope_error * factor,
            covariance: self.line.covariance * factor * factor,
            ..self.line
        }
    }
}

/// Fits the line by York's iteration. `None` below three points, for points that share one x, and where the
/// iteration does not come to rest.
pub fn fit(points: &[Point]) -> Option<York> {
    let n = points.len();
    if n < 3 {
        return None;
    }
    let mut slope = first_slope(points)?;
    for _ in 0..500 {
        let step = Step::at(points, slope);
        let (mut top, mut bottom) = (0.0, 0.0);
        for (i, p) in points.iter().enumerate() {
            top += step.weight[i] * step.beta[i] * (p.y - step.mean_y);
            bottom += step.weight[i] * step.beta[i] * (p.x - step.mean_x);
        }
        let next = top / bottom;
        if !next.is_finite() {
            return None;
        }
        let done = (next - slope).abs() <= 1e-15 * next.abs().max(1e-6);
        slope = next;
        if done {
            break;
        }
    }
    let step = Step::at(points, slope);
    let intercept = step.mean_y - slope * step.mean_x;
    // adjusted x, and the errors at them
    let adjusted: Vec<f64> = step.beta.iter().map(|b| step.mean_x + b).collect();
    let total: f64 = step.weight.iter().sum();
    let mean = step.weight.iter().zip(&adjusted).map(|(w, x)| w * x).sum::<f64>() / total;
    let spread: f64 = step.weight.iter().zip(&adjusted).map(|(w, x)| w * (x - mean).powi(2)).sum();
    let slope_variance = 1.0 / spread;
    let sum_of_squares =
        points.iter().zip(&step.weight).map(|(p, w)| w * (p.y - intercept - slope * p.x).powi(2)).sum();
    let line = Line {
        intercept,
        slope,
        intercept_error: (1.0 / total + mean * mean * slope_variance).sqrt(),
        slope_error: slope_variance.sqrt(),
        covariance: -mean * slope_variance,
    };
    let finite = line.slope_error.is_finite() && line.intercept.is_finite();
    finite.then_some(York { line, sum_of_squares, df: n as f64 - 2.0 })
}

/// Slope of y on x by the weights of y alone: a start.
fn first_slope(points: &[Point]) -> Option<f64> {
    let total: f64 = points.iter().map(|p| p.y_error.powi(-2)).sum();
    let weighted = |f: &dyn Fn(&Point) -> f64| points.iter().map(|p| f(p) * p.y_error.powi(-2)).sum::<f64>() / total;
    let (mx, my) = (weighted(&|p| p.x), weighted(&|p| p.y));
    let (sxx, sxy) = (weighted(&|p| (p.x - mx).powi(2)), weighted(&|p| (p.x - mx) * (p.y - my)));
    (sxx > 0.0 && sxy != 0.0).then_some(sxy / sxx)
}

/// The quantities of one pass of the iteration: W_i, the weighted means, β_i.
struct Step {
    weight: Vec<f64>,
    beta: Vec<f64>,
    mean_x: f64,
    mean_y: f64,
}

impl Step {
    fn at(points: &[Point], slope: f64) -> Step {
        let weight: Vec<f64> = points
            .iter()
            .map(|p| {
                let (wx, wy) = (p.x_error.powi(-2), p.y_error.powi(-2));
                let alpha = (wx * wy).sqrt();
                wx * wy / (wx + slope * slope * wy - 2.0 * slope * p.correlation * alpha)
            })
            .collect();
        let total: f64 = weight.iter().sum();
        let mean_x = points.iter().zip(&weight).map(|(p, w)| w * p.x).sum::<f64>() / total;
        let mean_y = points.iter().zip(&weight).map(|(p, w)| w * p.y).sum::<f64>() / total;
        let beta = points
            .iter()
            .zip(&weight)
            .map(|(p, w)| {
                let (wx, wy) = (p.x_error.powi(-2), p.y_error.powi(-2));
                let (u, v) = (p.x - mean_x, p.y - mean_y);
                w * (u / wy + slope * v / wx - (slope * u + v) * p.correlation / (wx * wy).sqrt())
            })
            .collect();
        Step { weight, beta, mean_x, mean_y }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(x: f64, y: f64) -> Point {
        Point { x, y, x_error: 0.1, y_error: 0.1, correlation: 0.0 }
    }

    #[test]
    fn points_on_a_line_give_that_line() {
        let fit = fit(&[point(0.0, 1.0), point(1.0, 3.0), point(2.5, 6.0), point(4.0, 9.0)]).unwrap();
        assert!((fit.line.slope - 2.0).abs() < 1e-12 && (fit.line.intercept - 1.0).abs() < 1e-12);
        assert!(fit.sum_of_squares < 1e-20 && fit.widened() == fit.line);
    }

    #[test]
    fn two_points_or_one_x_have_no_line() {
        assert!(fit(&[point(0.0, 1.0), point(1.0, 3.0)]).is_none());
        assert!(fit(&[point(1.0, 1.0), point(1.0, 3.0), point(1.0, 2.0)]).is_none());
    }

    /// Where x hardly errs, the line and its errors are those of weighted least squares.
    #[test]
    fn without_error_in_x_it_is_weighted_least_squares() {
        let y = [1.1, 2.7, 3.4, 4.9];
        let points: Vec<Point> = (0..4)
            .map(|i| Point { x: f64::from(i), y: y[i as usize], x_error: 1e-9, y_error: 0.5, correlation: 0.0 })
            .collect();
        let fit = fit(&points).unwrap();
        let slope = (-1.5 * 1.1 - 0.5 * 2.7 + 0.5 * 3.4 + 1.5 * 4.9) / 5.0;
        assert!((fit.line.slope - slope).abs() < 1e-9 && (fit.line.slope_error - 0.5 / 5f64.sqrt()).abs() < 1e-9);
    }
}
