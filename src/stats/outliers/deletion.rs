//! Values that do not fit their level of a nested log: each held against what the others predict for it, with
//! the spread that the others show.
//!
//! A level's values carry a *group* (the mounting of a reading, the visit of a mounting, the session of a visit) and
//! may carry a *factor* (the visit's antenna). The model of a level is
//!
//! ```text
//! value = group + factor + error,     var(error) = σ²/w
//! ```
//!
//! with group and factor fixed, so that nothing above the level matters. On balanced data these are the
//! strata of the mixed model (`notebooks-md/model.md`), and the t below is exact.
//!
//! Symbols: w weight; e residual of the least-squares fit, h its leverage; RSS = Σwe²; d = e/(1 − h) the residual
//! of a value from a fit without it; s² the variance without it.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// One value of a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The value.
    pub value: f64,
    /// Its group, from 0.
    pub group: usize,
    /// Its factor, from 0; ignored where the level has none.
    pub factor: usize,
    /// Its weight w > 0.
    pub weight: f64,
    /// The last digit of the display, on the value's scale: 0 if none is known.
    pub step: f64,
    /// What is expected of it from outside its group; NaN where nothing is.
    pub outside: f64,
}

/// A value that does not fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Departure {
    /// Its place among the points.
    pub place: usize,
    /// What the others of its group predict for it; where none are left, what is expected from outside.
    pub expected: f64,
    /// The value less `expected`.
    pub deviation: f64,
    /// Bonferroni's bound on the chance that any value of a clean level lies so far out.
    pub p: f64,
}

/// A level without its departures.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Values that do not fit, in the order of removal.
    pub departures: Vec<Departure>,
    /// Standard deviation σ of a value of weight 1, from what is left; 0 where nothing says.
    pub sd: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// Residual of each value from the fit without the departures.
    pub residuals: Vec<f64>,
    /// Leverage of each value in that fit; 0 for a departure.
    pub leverages: Vec<f64>,
    /// Level of each group, at the factors' mean effect; NaN where it has no value left.
    pub groups: Vec<f64>,
    /// Effect of each factor; empty where there is none.
    pub factors: Vec<f64>,
}

/// Scatter seen elsewhere, to be pooled with the level's own: inside summarised values.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pooled {
    /// Sum of squares, of weight 1.
    pub sum_of_squares: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// Finds the values that do not fit their level at false-alarm rate `level`, at most `most` of them.
///
/// The value with the largest t is removed, the rest fitted again, and so on: as in the generalised
/// extreme studentized deviate, all values up to the last step with p ≤ `level` depart, so that they cannot hide
/// each other.
///
/// ```text
/// t = (|d| − step) / √(s²/(w(1 − h))),   s² = (RSS − we²/(1 − h))/(df − 1)     p = n·P(|T| > t), df − 1
/// ```
///
/// *Rounding.* A value and the mean of its others are each off by up to half a step: a distance of
/// one step says nothing, so it is taken off; and the standard deviation of a value is never less than that of
/// rounding, step/√12. Without this, where six of eight readings are equal, the other two would depart.
///
/// *Which one.* Of two values in a group, both have the same t; of three, two that are wrong alike outvote
/// the third. Where something is expected from outside the group, the one farther from it is removed.
///
/// # Source
/// Deleted residuals: Cook & Weisberg (1982), *Residuals and Influence in Regression*, 2.2.1. Steps: Rosner (1983),
/// Technometrics 25:165–172. The allowance for rounding is our own.
pub fn departures(points: &[Point], factors: usize, pooled: Pooled, most: usize, level: f64) -> Level {
    let mut active = vec![true; points.len()];
    let mut removed: Vec<(usize, f64)> = vec![];
    while removed.len() < most {
        let fit = Fit::new(points, &active, factors, pooled);
        let Some((place, p)) = fit.farthest(points, &active) else { break };
        let culprit = culprit(points, &active, place);
        removed.push((culprit, p));
        active[culprit] = false;
    }
    let kept = removed.iter().rposition(|&(_, p)| p <= level).map_or(0, |i| i + 1);
    for &(place, _) in &removed[kept..] {
        active[place] = true;
    }
    removed.truncate(kept);
    let fit = Fit::new(points, &active, factors, pooled);
    // one that hid behind others is as unlikely as what showed when they were gone
    let mut p_below = 1.0f64;
    let mut departures: Vec<Departure> = removed
        .iter()
        .rev()
        .map(|&(place, p)| {
            p_below = p_below.min(p);
            let inside = fit.expected(&points[place]);
            let expected = if inside.is_nan() { points[place].outside } else { inside };
            Departure { place, expected, deviation: points[place].value - expected, p: p_below }
        })
        .collect();
    departures.reverse();
    let sd = if fit.df > 0.0 { (fit.rss / fit.df).max(0.0).sqrt() } else { 0.0 };
    let residuals = points.iter().map(|p| p.value - fit.expected(p)).collect();
    Level { departures, sd, df: fit.df, residuals, leverages: fit.leverage, groups: fit.groups, factors: fit.effects }
}

/// Whose fault it is that `place` does not fit.
fn culprit(points: &[Point], active: &[bool], place: usize) -> usize {
    let own = &points[place];
    if own.outside.is_nan() {
        return place;
    }
    let others = || (0..points.len()).filter(|&i| active[i] && i != place && points[i].group == own.group);
    let count = others().count();
    let weight: f64 = others().map(|i| points[i].weight).sum();
    let mean = others().map(|i| points[i].weight * points[i].value).sum::<f64>() / weight;
    // two are even; more outvote one, unless it stands much nearer to what is expected
    let odds = if count == 1 { 1.0 } else { 4.0 };
    if count == 0 || (own.value - own.outside).abs() * odds >= (mean - own.outside).abs() {
        return place;
    }
    let distance = |i: usize| (points[i].value - own.outside).abs();
    others().max_by(|&i, &j| distance(i).total_cmp(&distance(j))).unwrap_or(place)
}

/// A least-squares fit of the active points, groups absorbed.
struct Fit {
    residual: Vec<f64>,
    leverage: Vec<f64>,
    rss: f64,
    df: f64,
    groups: Vec<f64>,
    effects: Vec<f64>,
}

/// Below this share of a value's variance its own others say nothing of it.
const NOTHING: f64 = 1e-9;

impl Fit {
    fn new(points: &[Point], active: &[bool], factors: usize, pooled: Pooled) -> Fit {
        let groups = points.iter().map(|p| p.group + 1).max().unwrap_or(0);
        let (mut weight, mut mean) = (vec![0.0; groups], vec![0.0; groups]);
        for (p, _) in points.iter().zip(active).filter(|(_, a)| **a) {
            weight[p.group] += p.weight;
            mean[p.group] += p.weight * p.value;
        }
        mean.iter_mut().zip(&weight).for_each(|(m, w)| *m /= w); // an empty group's is NaN
        let mut fit = Fit {
            residual: vec![0.0; points.len()],
            leverage: vec![0.0; points.len()],
            rss: pooled.sum_of_squares,
            df: pooled.df - weight.iter().filter(|w| **w > 0.0).count() as f64,
            groups: mean,
            effects: vec![],
        };
        let factor = (factors > 0).then(|| Factor::new(points, active, factors, &weight, &fit.groups));
        if let Some(f) = &factor {
            fit.df -= f.rank as f64;
            for (g, mean) in fit.groups.iter_mut().enumerate() {
                *mean -= f.mean_effect[g];
            }
            fit.effects = f.effects.as_slice().to_vec();
        }
        for i in (0..points.len()).filter(|&i| active[i]) {
            let p = &points[i];
            fit.residual[i] = p.value - fit.expected(p);
            let spread = factor.as_ref().map_or(0.0, |f| f.spread(p));
            fit.leverage[i] = p.weight * (1.0 / weight[p.group] + spread);
            fit.rss += p.weight * fit.residual[i].powi(2);
            fit.df += 1.0;
        }
        fit
    }

    fn expected(&self, point: &Point) -> f64 {
        self.groups[point.group] + self.effects.get(point.factor).copied().unwrap_or(0.0)
    }

    /// The active point with the largest t, and its p; `None` where none can be tested.
    fn farthest(&self, points: &[Point], active: &[bool]) -> Option<(usize, f64)> {
        let df = self.df - 1.0;
        if df < 1.0 {
            return None;
        }
        let mut count = 0.0;
        let (mut best, mut largest) = (None, 0.0);
        for i in (0..points.len()).filter(|&i| active[i] && 1.0 - self.leverage[i] > NOTHING) {
            count += 1.0;
            let (p, e, room) = (&points[i], self.residual[i], 1.0 - self.leverage[i]);
            let s2 = ((self.rss - p.weight * e * e / room) / df).max(0.0);
            let variance = (s2 / p.weight).max(p.step * p.step / 12.0) / room;
            let t = ((e / room).abs() - p.step).max(0.0) / variance.sqrt();
            // equal values on an unknown display: any departure from them is infinitely far
            if t > largest {
                (best, largest) = (Some(i), t);
            }
        }
        let tail = if largest.is_finite() { StudentsT::new(0.0, 1.0, df).map_or(1.0, |d| d.sf(largest)) } else { 0.0 };
        best.map(|i| (i, (2.0 * count * tail).min(1.0)))
    }
}

/// The factor's effects, groups taken out.
struct Factor {
    effects: DVector<f64>,
    rank: usize,
    /// A generalised inverse of the factor's normal matrix N.
    inverse: DMatrix<f64>,
    /// N⁻·c of each group, c the shares of the factors in it, and cᵀN⁻c.
    shares: Vec<(DVector<f64>, f64)>,
    /// cᵀ·effects of each group.
    mean_effect: Vec<f64>,
}

impl Factor {
    fn new(points: &[Point], active: &[bool], factors: usize, weight: &[f64], mean: &[f64]) -> Factor {
        let mut c = vec![DVector::zeros(factors); weight.len()];
        let mut normal = DMatrix::zeros(factors, factors);
        let mut right = DVector::zeros(factors);
        for (p, _) in points.iter().zip(active).filter(|(_, a)| **a) {
            c[p.group][p.factor] += p.weight / weight[p.group];
            normal[(p.factor, p.factor)] += p.weight;
            right[p.factor] += p.weight * (p.value - mean[p.group]);
        }
        for (c, w) in c.iter().zip(weight).filter(|(_, w)| **w > 0.0) {
            normal.ger(-w, c, c, 1.0);
        }
        let eigen = normal.symmetric_eigen();
        let smallest = 1e-9 * eigen.eigenvalues.amax();
        let inverted = eigen.eigenvalues.map(|l| if l > smallest { 1.0 / l } else { 0.0 });
        let rank = inverted.iter().filter(|l| **l > 0.0).count();
        let inverse = &eigen.eigenvectors * DMatrix::from_diagonal(&inverted) * eigen.eigenvectors.transpose();
        let effects = &inverse * right;
        let shares = c
            .iter()
            .map(|c| {
                let product = &inverse * c;
                let spread = c.dot(&product);
                (product, spread)
            })
            .collect();
        let mean_effect = c.iter().map(|c| c.dot(&effects)).collect();
        Factor { effects, rank, inverse, shares, mean_effect }
    }

    /// What the factor adds to the variance of a fitted value, over σ².
    fn spread(&self, point: &Point) -> f64 {
        let (product, spread) = &self.shares[point.group];
        self.inverse[(point.factor, point.factor)] - 2.0 * product[point.factor] + spread
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;
    use rand::RngExt;
    use rand_distr::StandardNormal;

    fn point(value: f64, group: usize) -> Point {
        Point { value, group, factor: 0, weight: 1.0, step: 0.0, outside: f64::NAN }
    }

    fn places(level: &Level) -> Vec<usize> {
        level.departures.iter().map(|d| d.place).collect()
    }

    /// `rstudent(lm(y ~ factor(group) + factor(factor), weights = w))` of R 4 on eleven values:
    /// `tests/reference/rstudent.R`.
    #[test]
    fn deleted_residuals_agree_with_those_of_r() {
        let text = include_str!("../../../tests/reference/rstudent.csv");
        let rows: Vec<Vec<f64>> =
            text.lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect();
        let points: Vec<Point> = rows
            .iter()
            .map(|r| Point { group: r[1] as usize, factor: r[2] as usize, weight: r[3], ..point(r[0], 0) })
            .collect();
        let active = vec![true; points.len()];
        let fit = Fit::new(&points, &active, 4, Pooled::default());
        for (i, row) in rows.iter().enumerate() {
            let room = 1.0 - fit.leverage[i];
            let s2 = (fit.rss - points[i].weight * fit.residual[i].powi(2) / room) / (fit.df - 1.0);
            let t = fit.residual[i] * (points[i].weight / (s2 * room)).sqrt();
            assert!((t - row[4]).abs() < 1e-9 * row[4].abs().max(1.0), "{i}: {t} against {}", row[4]);
        }
    }

    #[test]
    fn one_group_without_rounding_is_grubbs_test() {
        let values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
        let points: Vec<Point> = values.iter().map(|&v| point(v, 0)).collect();
        let level = departures(&points, 0, Pooled::default(), 1, 0.05);
        let grubbs = crate::stats::outliers::grubbs(&values, crate::stats::outliers::Sides::Both).unwrap();
        assert_eq!(places(&level), [7]);
        assert!((level.departures[0].p / grubbs.p - 1.0).abs() < 1e-9);
        assert!((level.departures[0].expected - 200.842857142857).abs() < 1e-9);
    }

    #[test]
    fn six_equal_of_eight_do_not_make_the_other_two_outliers() {
        let eight = [1.0, 1.0, 1.1, 1.0, 1.0, 0.9, 1.0, 1.0];
        let points: Vec<Point> = eight.iter().map(|&v| Point { step: 0.1, ..point(v, 0) }).collect();
        assert_eq!(places(&departures(&points, 0, Pooled::default(), 3, 0.05)), [] as [usize; 0]);
        // but one far beyond what rounding does is one
        let mut far = points.clone();
        far[2].value = 2.1;
        assert_eq!(places(&departures(&far, 0, Pooled::default(), 3, 0.05)), [2]);
    }

    #[test]
    fn two_alike_in_one_mounting_do_not_hide_each_other() {
        let mut rng = stream(5, 0, 0);
        let mut points: Vec<Point> = vec![];
        for group in 0..20 {
            for _ in 0..3 {
                let noise: f64 = rng.sample(StandardNormal);
                points.push(Point { outside: group as f64, ..point(group as f64 + 0.1 * noise, group) });
            }
        }
        points[30].value += 5.0;
        points[31].value += 5.1;
        let mut found = places(&departures(&points, 0, Pooled::default(), 6, 0.001));
        found.sort_unstable();
        assert_eq!(found, [30, 31], "the two that stand where nothing else of their antenna does");
        // with no word from outside, the majority of the mounting is believed
        points.iter_mut().for_each(|p| p.outside = f64::NAN);
        assert_eq!(places(&departures(&points, 0, Pooled::default(), 6, 0.001)), [32]);
    }

    #[test]
    fn of_two_readings_the_one_farther_from_the_rest_of_the_visit_departs() {
        let mut points: Vec<Point> =
            (0..40).map(|i| Point { outside: 0.0, ..point(((i * 7) % 5) as f64 * 0.1, i / 2) }).collect();
        points[12].value = 9.0;
        let level = departures(&points, 0, Pooled::default(), 4, 0.001);
        assert_eq!(places(&level), [12]);
        assert!((level.departures[0].expected - points[13].value).abs() < 1e-12);
        points[12].value = 0.1;
        points[13].value = 9.0;
        assert_eq!(places(&departures(&points, 0, Pooled::default(), 4, 0.001)), [13]);
    }

    /// A clean level alarms at its stated rate: 2000 levels of 12 visits in 4 sessions, a binomial's 1 − 10⁻⁴ interval.
    #[test]
    fn a_clean_level_alarms_no_more_often_than_stated() {
        let mut alarms = 0;
        for trial in 0..2000 {
            let mut rng = stream(9, 1, trial);
            let points: Vec<Point> = (0..12)
                .map(|i| Point { factor: i % 3, ..point(rng.sample::<f64, _>(StandardNormal), i / 3) })
                .collect();
            alarms += usize::from(!departures(&points, 3, Pooled::default(), 1, 0.05).departures.is_empty());
        }
        assert!((52..=145).contains(&alarms), "{alarms} of 2000 at 0.05");
    }

    #[test]
    fn nothing_can_depart_where_nothing_is_left_to_compare_with() {
        let alone: Vec<Point> = (0..5).map(|i| point(i as f64, i)).collect();
        assert!(departures(&alone, 0, Pooled::default(), 3, 0.05).departures.is_empty());
        assert!(departures(&[], 0, Pooled::default(), 3, 0.05).departures.is_empty());
        let equal: Vec<Point> = (0..6).map(|i| point(2.0, i / 3)).collect();
        assert!(departures(&equal, 0, Pooled::default(), 3, 0.05).departures.is_empty());
    }
}
