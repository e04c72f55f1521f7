//! A trend along a session's running order: a battery that empties, a meter that warms, a mark that moved.

use super::{Levels, Mounting};
use crate::analysis::audit::log::Log;
use crate::stats::outliers::deletion::Pooled;
use crate::stats::outliers::{Point, departures};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A session that drifts in one set.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Session, an index into the log's.
    pub session: usize,
    /// By how much from its first mounting to its last, on the audit scale, if the drift were steady.
    pub change: f64,
    /// The chance of so strong a trend without a drift, for this session and set alone.
    pub p: f64,
    /// Its readings, by index into the log's rows.
    pub rows: Vec<usize>,
}

/// Visits with more than one mounting that a trend needs, so that none makes it alone.
const LEAST_REPEATED: usize = 3;
/// Visits it needs where each has one mounting.
const LEAST_VISITS: usize = 6;
/// A trend must keep its direction, at this many standard errors, whichever visit is left out: no single one makes
/// it.
const WITHOUT_ANY: f64 = 2.5;

/// The sessions that drift, each tested at false-alarm rate `level`.
///
/// Antennas differ, so a trend is looked for inside visits: between the mountings of one antenna, early and late.
/// Where antennas were mounted once, it is looked for between visits, antennas and sessions taken out. Either
/// way the place in the order (time of day, where it is written) is one more column of the level's least-squares
/// model, and its t is exact for normal scatter.
pub fn drifts(log: &Log, levels: &Levels, level: f64) -> Vec<Drift> {
    (0..log.sessions.len()).filter_map(|session| drift(levels, session, level)).collect()
}

fn drift(levels: &Levels, session: usize, level: f64) -> Option<Drift> {
    let here: Vec<&Mounting> = levels.mountings.iter().filter(|m| m.session == session && m.mean.is_finite()).collect();
    let places: Option<Vec<f64>> = here.iter().map(|m| m.place).collect();
    let places = places?;
    let first = places.iter().copied().fold(f64::INFINITY, f64::min);
    let range = places.iter().copied().fold(f64::NEG_INFINITY, f64::max) - first;
    if !(range > 0.0) {
        return None;
    }
    // from 0 at the session's first mounting to 1 at its last
    let along = |m: &Mounting| if m.session == session { (m.place.unwrap_or(first) - first) / range } else { 0.0 };
    let visits = levels.visits_of(|_| true);
    let repeated = visits.iter().filter(|v| v.len() > 1 && levels.mountings[v[0]].session == session).count();
    let within = repeated >= LEAST_REPEATED;
    let alone = visits.iter().filter(|v| levels.mountings[v[0]].session == session).count();
    if !within && alone < LEAST_VISITS {
        return None;
    }
    let mean = |v: &[usize], of: &dyn Fn(&Mounting) -> f64| {
        v.iter().map(|&i| of(&levels.mountings[i])).sum::<f64>() / v.len() as f64
    };
    let point = |value: f64, group: usize, factor: usize| Point {
        value,
        group,
        factor,
        weight: 1.0,
        step: 0.0,
        outside: f64::NAN,
    };
    // both columns on the same points: y, and the place in the order
    let pairs: Vec<(Point, Point)> = if within {
        let inside = |(g, v): (usize, &Vec<usize>)| {
            let both = |&i: &usize| {
                let m = &levels.mountings[i];
                (point(m.mean, g, 0), point(along(m), g, 0))
            };
            v.iter().map(both).collect::<Vec<_>>()
        };
        visits.iter().enumerate().flat_map(inside).collect()
    } else {
        let both = |v: &Vec<usize>| {
            let m = &levels.mountings[v[0]];
            (point(mean(v, &|m| m.mean), m.session, m.antenna), point(mean(v, &along), m.session, m.antenna))
        };
        visits.iter().map(both).collect()
    };
    let factors = if within { 0 } else { pairs.iter().map(|p| p.0.factor + 1).max().unwrap_or(0) };
    let column = |pick: fn(&(Point, Point)) -> Point| {
        departures(&pairs.iter().map(pick).collect::<Vec<_>>(), factors, Pooled::default(), 0, 0.0)
    };
    let (y, x) = (column(|p| p.0), column(|p| p.1));
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let (xx, xy) = (product(&x.residuals, &x.residuals), product(&x.residuals, &y.residuals));
    let df = y.df - 1.0;
    if !(xx > 1e-12) || df < 3.0 {
        return None;
    }
    let change = xy / xx;
    let step = here.iter().map(|m| m.step).fold(0.0, f64::max);
    let s2 = ((product(&y.residuals, &y.residuals) - xy * change) / df).max(step * step / 12.0);
    let t = (change.abs() - step).max(0.0) / (s2 / xx).sqrt();
    let p = StudentsT::new(0.0, 1.0, df).map_or(1.0, |d| 2.0 * d.sf(t));
    if !(p <= level) {
        return None;
    }
    let carried = (0..pairs.len()).filter(|&i| x.residuals[i].abs() > 1e-12).map(|i| Part {
        block: if within { pairs[i].0.group } else { i },
        x: x.residuals[i],
        y: y.residuals[i],
    });
    if !carried_by_all(&carried.collect::<Vec<_>>(), s2.sqrt(), change.signum()) {
        return None;
    }
    let rows = here.iter().flat_map(|m| m.rows.clone()).collect();
    Some(Drift { session, change, p, rows })
}

/// What one point brings to a trend.
struct Part {
    block: usize,
    x: f64,
    y: f64,
}

/// Whether a trend of that sign stays without any one block, points scattering by `sd`.
fn carried_by_all(parts: &[Part], sd: f64, sign: f64) -> bool {
    let sums = |without: Option<usize>| {
        let left = parts.iter().filter(|p| Some(p.block) != without);
        left.fold((0.0, 0.0), |(xx, xy), p| (xx + p.x * p.x, xy + p.x * p.y))
    };
    parts.iter().all(|part| {
        let (xx, xy) = sums(Some(part.block));
        xx > 0.0 && sign * xy / (sd * xx.sqrt()) >= WITHOUT_ANY
    })
}
