//! A trend along a session's running order: a battery that empties, a meter that warms, a mark that moved.

use std::collections::HashSet;

use super::{Levels, Mounting};
use crate::analysis::audit::log::{Log, MOST_ANTENNAS};
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
/// way the place in the order (time of day, where it is written) is one more column x of the level's least-squares
/// model: change = Σxy/Σx² over residuals, t = change/√(s²/Σx²), s² = (Σy² − change·Σxy)/(df − 1), exact for normal
/// scatter.
pub fn drifts(log: &Log, levels: &Levels, level: f64) -> Vec<Drift> {
    let visits = levels.visits_of(|_| true);
    let inside = Column::inside(levels, &visits);
    let mut between: Option<Column> = None;
    let mut by_session: Vec<Vec<usize>> = vec![vec![]; log.sessions.len()];
    visits.iter().enumerate().for_each(|(v, members)| by_session[levels.mountings[members[0]].session].push(v));
    let mut out = vec![];
    for (session, here) in by_session.iter().enumerate().filter(|(_, here)| !here.is_empty()) {
        let members: Vec<&Mounting> = here.iter().flat_map(|&v| &visits[v]).map(|&i| &levels.mountings[i]).collect();
        let Some(along) = Along::new(&members) else { continue };
        let repeated = here.iter().filter(|&&v| visits[v].len() > 1).count();
        let (column, parts) = if repeated >= LEAST_REPEATED {
            (&inside, along.inside(levels, &visits, here))
        } else if here.len() >= LEAST_VISITS && between_can_be_fitted(levels) {
            let column = between.get_or_insert_with(|| Column::between(levels, &visits, |m| m.mean));
            let x = Column::between(levels, &visits, |m| if m.session == session { along.of(m) } else { 0.0 });
            let parts = (0..visits.len()).map(|v| Part { block: v, x: x.residuals[v], y: column.residuals[v] });
            (&*column, parts.filter(|p| p.x.abs() > 1e-12).collect())
        } else {
            continue;
        };
        if let Some((change, p)) = trend(column, &parts, members.iter().map(|m| m.step).fold(0.0, f64::max), level) {
            let rows = members.iter().flat_map(|m| m.rows.clone()).collect();
            out.push(Drift { session, change, p, rows });
        }
    }
    out
}

/// Whether the visits' antennas are few enough for a fit that takes them out.
fn between_can_be_fitted(levels: &Levels) -> bool {
    levels.mountings.iter().map(|m| m.antenna).collect::<HashSet<_>>().len() <= MOST_ANTENNAS
}

/// What is left of a level's values once its model is taken out.
struct Column {
    residuals: Vec<f64>,
    sum_of_squares: f64,
    df: f64,
}

impl Column {
    fn of(points: &[Point], factors: usize) -> Column {
        let level = departures(points, factors, Pooled::default(), 0, 0.0);
        let sum_of_squares = level.residuals.iter().map(|r| r * r).sum();
        Column { residuals: level.residuals, sum_of_squares, df: level.df }
    }

    /// Mountings about their visit.
    fn inside(levels: &Levels, visits: &[Vec<usize>]) -> Column {
        let of = |(g, v): (usize, &Vec<usize>)| v.iter().map(|&i| point(levels.mountings[i].mean, g, 0)).collect();
        Column::of(&visits.iter().enumerate().flat_map::<Vec<Point>, _>(of).collect::<Vec<_>>(), 0)
    }

    /// Visits about their antenna and session.
    fn between(levels: &Levels, visits: &[Vec<usize>], value: impl Fn(&Mounting) -> f64) -> Column {
        let mut antennas: Vec<usize> = visits.iter().map(|v| levels.mountings[v[0]].antenna).collect();
        antennas.sort_unstable();
        antennas.dedup();
        let of = |v: &Vec<usize>| {
            let mean = v.iter().map(|&i| value(&levels.mountings[i])).sum::<f64>() / v.len() as f64;
            let m = &levels.mountings[v[0]];
            point(mean, m.session, antennas.binary_search(&m.antenna).unwrap_or(0))
        };
        Column::of(&visits.iter().map(of).collect::<Vec<_>>(), antennas.len())
    }
}

fn point(value: f64, group: usize, factor: usize) -> Point {
    Point { value, group, factor, weight: 1.0, step: 0.0, outside: f64::NAN }
}

/// Places in a session's order, from 0 at its first mounting to 1 at its last.
struct Along {
    first: f64,
    range: f64,
}

impl Along {
    /// `None` where a mounting has no place, or all have one.
    fn new(members: &[&Mounting]) -> Option<Along> {
        let places: Vec<f64> = members.iter().map(|m| m.place).collect::<Option<_>>()?;
        let first = places.iter().copied().fold(f64::INFINITY, f64::min);
        let range = places.iter().copied().fold(f64::NEG_INFINITY, f64::max) - first;
        (range > 0.0).then_some(Along { first, range })
    }

    fn of(&self, m: &Mounting) -> f64 {
        (m.place.unwrap_or(self.first) - self.first) / self.range
    }

    /// The session's mountings about their visits, in value and place.
    fn inside(&self, levels: &Levels, visits: &[Vec<usize>], here: &[usize]) -> Vec<Part> {
        let mut parts = vec![];
        for &v in here {
            let count = visits[v].len() as f64;
            let members = || visits[v].iter().map(|&i| &levels.mountings[i]);
            let y = members().map(|m| m.mean).sum::<f64>() / count;
            let x = members().map(|m| self.of(m)).sum::<f64>() / count;
            parts.extend(members().map(|m| Part { block: v, x: self.of(m) - x, y: m.mean - y }));
        }
        parts
    }
}

/// The change from first to last and its p, where it is a trend.
fn trend(column: &Column, parts: &[Part], step: f64, level: f64) -> Option<(f64, f64)> {
    let xx: f64 = parts.iter().map(|p| p.x * p.x).sum();
    let xy: f64 = parts.iter().map(|p| p.x * p.y).sum();
    let df = column.df - 1.0;
    if !(xx > 1e-12) || df < 3.0 {
        return None;
    }
    let change = xy / xx;
    let s2 = ((column.sum_of_squares - xy * change) / df).max(step * step / 12.0);
    let t = (change.abs() - step).max(0.0) / (s2 / xx).sqrt();
    let p = StudentsT::new(0.0, 1.0, df).map_or(1.0, |d| 2.0 * d.sf(t));
    (p <= level && carried_by_all(parts, s2.sqrt(), change.signum())).then_some((change, p))
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
