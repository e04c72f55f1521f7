//! By which line one meter follows the other, over antennas: three methods that let both sides err.

use super::log::MeterSet;
use super::offset::Differences;
use crate::stats::method_comparison::{Interval, Line, deming, passing_bablok, york};
use crate::stats::student_t::t_quantile;

/// The method of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Deming's, the ratio of error variances from repeated readings; errors by the jackknife over antennas or
    /// by theory, whichever are larger.
    Deming,
    /// York's, each antenna with the errors its readings and the declared directivity give it.
    York,
    /// Passing and Bablok's, which odd antennas cannot move.
    PassingBablok,
}

/// second = constant + proportional × first.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Relation {
    /// How it was found.
    pub method: Method,
    /// The constant part, in the unit of the scale.
    pub constant: f64,
    /// Its interval.
    pub constant_interval: Interval,
    /// The proportional part; 1 where the two keep the same distance at every level.
    pub proportional: f64,
    /// Its interval.
    pub proportional_interval: Interval,
}

/// The lines on one scale.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Lines {
    /// Name of the scale.
    pub scale: String,
    /// One a method that could be used.
    pub relations: Vec<Relation>,
    /// Ratio of the meters' reading variances, second over first; `None` where no repeats show it and 1 was taken.
    pub variance_ratio: Option<f64>,
    /// p-value of the test that the antennas lie along a line.
    pub linear_p: Option<f64>,
    /// First meter's level of each antenna, and second's, as the lines were fitted to them.
    pub points: Vec<[f64; 2]>,
    /// Half-width of the interval of Deming's line at each point of `band_x`.
    pub band_half: Vec<f64>,
    /// Where `band_half` holds.
    pub band_x: Vec<f64>,
}

/// Fewest antennas that a line is drawn through.
pub const LEAST_ANTENNAS: usize = 4;

/// The lines through the antennas' levels, on the analysis scale or in the meters' own unit.
pub fn lines(d: &Differences, first: &MeterSet, second: &MeterSet, shown: bool, confidence: f64) -> Option<Lines> {
    let joined: Vec<_> = d.antennas.iter().filter(|a| a.joined).collect();
    if joined.len() < LEAST_ANTENNAS {
        return None;
    }
    let scale = first.quantity.scale;
    let (vx, dfx) = first.reading_variance();
    let (vy, dfy) = second.reading_variance();
    let seen = dfx > 0.0 && dfy > 0.0 && vx > 0.0 && vy > 0.0;
    let lambda = if seen { vy / vx } else { 1.0 };
    let moved = |y: f64| if shown { (scale.to_shown(y), 1.0 / scale.slope_at(y)) } else { (y, 1.0) };
    let (mut x, mut y, mut points) = (vec![], vec![], vec![]);
    for a in joined {
        let ((px, sx), (py, sy)) = (moved(a.first), moved(a.first + a.beta));
        if !(px.is_finite() && py.is_finite()) {
            return None;
        }
        // a false wave at an unknown phase errs by d/√2; readings average out
        let error = |wave: f64, variance: f64, n: f64, slope: f64| (wave * wave / 2.0 + variance / n).sqrt() * slope;
        points.push(york::Point {
            x: px,
            y: py,
            x_error: error(first.false_wave, vx, a.readings.0, sx).max(1e-12),
            y_error: error(second.false_wave, vy, a.readings.1, sy).max(1e-12),
            correlation: 0.0,
        });
        x.push(px);
        y.push(py);
    }
    let mut relations = vec![];
    let df = x.len() as f64 - 2.0;
    let t = t_quantile(0.5 + confidence / 2.0, df);
    let relation = |method, line: &Line| Relation {
        method,
        constant: line.intercept,
        constant_interval: Interval::around(line.intercept, t * line.intercept_error),
        proportional: line.slope,
        proportional_interval: Interval::around(line.slope, t * line.slope_error),
    };
    // with few antennas the jackknife's error is small by luck now and then, theory's where antennas scatter unevenly
    let wider = |a: Line, b: Line| if a.slope_error > b.slope_error { a } else { b };
    let deming = deming::jackknife(&x, &y, lambda)
        .map(|line| deming::analytic(&x, &y, lambda).map_or(line, |theory| wider(line, theory)));
    relations.extend(deming.iter().map(|line| relation(Method::Deming, line)));
    relations.extend(york::fit(&points).iter().map(|fit| relation(Method::York, &fit.widened())));
    let robust = passing_bablok::fit(&x, &y, confidence);
    relations.extend(robust.iter().map(|p| Relation {
        method: Method::PassingBablok,
        constant: p.intercept,
        constant_interval: p.intercept_interval,
        proportional: p.slope,
        proportional_interval: p.slope_interval,
    }));
    let (low, high) = x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
    let band_x: Vec<f64> = (0..=40).map(|i| low + (high - low) * f64::from(i) / 40.0).collect();
    let band_half = deming.map_or(vec![], |line| band_x.iter().map(|x| t * line.at(*x).1).collect());
    (!relations.is_empty()).then(|| Lines {
        scale: if shown { shown_unit(first) } else { scale.name(&first.quantity.unit) },
        relations,
        variance_ratio: seen.then_some(lambda),
        linear_p: robust.map(|p| p.linear_p),
        points: x.iter().zip(&y).map(|(x, y)| [*x, *y]).collect(),
        band_half,
        band_x,
    })
}

/// The unit readings are shown in, by name.
pub fn shown_unit(set: &MeterSet) -> String {
    match (set.quantity.name.as_str(), set.quantity.unit.as_str()) {
        ("swr", _) => "SWR".into(),
        ("reflection", _) => "|Γ|".into(),
        (_, "ohm") => "Ω".into(),
        (_, unit) => unit.into(),
    }
}
