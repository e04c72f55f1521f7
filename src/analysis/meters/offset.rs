//! How far apart two meters read on one band: the differences as nested data of their own.
//!
//! Differences d = second − first of the units both read follow the model of a set,
//!
//! ```text
//! d = antenna + session + visit + mounting + reading
//! ```
//!
//! with antennas and sessions crossed. An antenna's own difference is not noise of its readings: a false wave meets
//! it at one phase, for good. So the antennas stand for others like them, and the mean offset is
//!
//! ```text
//! μ = mean of β_a over the p antennas that sessions join
//! u² = s²_β/p  +  s²_e/S        on p − 1 and on S − 1 degrees of freedom
//! ```
//!
//! s_β how the antennas' differences β scatter, s_e how the S sessions' effects e do (visits enter both, so u errs on
//! the wide side). Half-widths of the two parts are joined as a root sum of squares, each with its own few
//! degrees of freedom. Source: Graybill & Wang (1980), J. Am. Stat. Assoc. 75:869–873; Howe (1974), ibid. 69:789–794.

use std::collections::{BTreeMap, BTreeSet};

use super::pairing::Unit;
use crate::stats::method_comparison::limits::Part;
use crate::stats::method_comparison::{Interval, mean, sample_variance};
use crate::stats::mixed::{Layout, Level, LevelState, MountingSummary, Theta, infer};
use crate::stats::student_t::t_quantile;

/// The differences of one band, fitted.
#[derive(Debug, Clone)]
pub struct Differences {
    /// Antennas, by their numbers in the log.
    pub antennas: Vec<AntennaOffset>,
    /// Sessions in order of time.
    pub sessions: Vec<SessionOffset>,
    /// Variance components: session, visit, mounting, reading.
    pub theta: Theta,
    /// Which of them the log shows.
    pub states: [LevelState; 4],
    /// Mean of the joined antennas' differences.
    pub offset: f64,
    /// Variance of what visits (and below) leave in a session's or antenna's mean, its degrees of freedom.
    pub visit_df: f64,
}

/// One antenna's own difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AntennaOffset {
    /// The antenna.
    pub item: usize,
    /// Its difference β.
    pub beta: f64,
    /// Variance of β from what visits and below leave.
    pub variance: f64,
    /// Units.
    pub units: usize,
    /// Whether sessions join it to the others: else its difference can't be told from its sessions'.
    pub joined: bool,
    /// Mean of what the first meter read of it, on its units.
    pub first: f64,
    /// Readings behind it, by the first meter and by the second.
    pub readings: (f64, f64),
}

/// One session's difference, all antennas alike: μ + its effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionOffset {
    /// The session.
    pub session: usize,
    /// Its effect e, about the mean offset.
    pub effect: f64,
    /// Variance of e from what visits and below leave.
    pub variance: f64,
    /// Antennas in it.
    pub antennas: usize,
}

/// A mean with what its interval rests on.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Standard error.
    pub standard_error: f64,
    /// Degrees of freedom (Welch–Satterthwaite).
    pub df: f64,
    /// The interval.
    pub interval: Interval,
}

/// A part of an estimate's squared error: u² on so many degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorPart {
    /// u².
    pub variance: f64,
    /// Degrees of freedom.
    pub df: f64,
}

impl Estimate {
    /// From independent parts of its error; each brings a half-width t·u, joined as a root sum of squares.
    pub fn from_parts(value: f64, parts: &[ErrorPart], confidence: f64) -> Estimate {
        let variance: f64 = parts.iter().map(|p| p.variance).sum();
        let fourth: f64 = parts.iter().map(|p| p.variance * p.variance / p.df).sum();
        let half =
            parts.iter().map(|p| p.variance * t_quantile(0.5 + confidence / 2.0, p.df).powi(2)).sum::<f64>().sqrt();
        let df = if fourth > 0.0 { variance * variance / fourth } else { f64::INFINITY };
        Estimate { value, standard_error: variance.sqrt(), df, interval: Interval::around(value, half) }
    }
}

impl Differences {
    /// Fits the differences of some units; `floor` is the variance that rounding alone leaves in a
    /// difference of two readings. `None` of none.
    pub fn fit(units: &[Unit], floor: f64) -> Option<Differences> {
        let items: Vec<usize> = units.iter().map(|u| u.item).collect::<BTreeSet<_>>().into_iter().collect();
        let number = |item: usize| items.iter().position(|i| *i == item).unwrap_or(0);
        let mountings: Vec<MountingSummary> = units.iter().map(|u| summary(u, number(u.item))).collect();
        let (layout, mut data) = Layout::new(items.len(), &mountings)?;
        data.lift_to(&layout, floor);
        let (beta, theta) = match infer(&layout, &data, floor) {
            Some(fit) => (fit.estimates.clone(), fit.components),
            None => (plain_means(units, &items), [0.0, 0.0, 0.0, floor]),
        };
        // without any replication rounding is all that is known of the scatter
        let theta = if theta.iter().sum::<f64>() > 0.0 { theta } else { [0.0, 0.0, 0.0, floor] };
        let joined = largest_group(&layout, items.len(), units, &items);
        let visits = visits(units, &theta);
        let offset = mean(&(0..items.len()).filter(|&a| joined[a]).map(|a| beta[a]).collect::<Vec<_>>());
        let mut antennas: Vec<AntennaOffset> = items
            .iter()
            .enumerate()
            .map(|(a, &item)| {
                let own: Vec<&Unit> = units.iter().filter(|u| u.item == item).collect();
                let weight: f64 = visits.iter().filter(|v| v.0.1 == item).map(|v| 1.0 / v.1.1).sum();
                AntennaOffset {
                    item,
                    beta: beta[a],
                    variance: 1.0 / weight,
                    units: own.len(),
                    joined: joined[a],
                    first: mean(&own.iter().map(|u| u.first.mean).collect::<Vec<_>>()),
                    readings: (own.iter().map(|u| u.first.readings).sum(), own.iter().map(|u| u.second.readings).sum()),
                }
            })
            .collect();
        let mut sessions = sessions(&visits, &antennas);
        // effects are about the mean session, and the antennas' differences are those of such a session
        let centre = mean(&sessions.iter().map(|s| s.effect).collect::<Vec<_>>());
        sessions.iter_mut().for_each(|s| s.effect -= centre);
        antennas.iter_mut().filter(|a| a.joined).for_each(|a| a.beta += centre);
        let offset = offset + centre;
        let visit_df = [Level::Visit, Level::Mounting, Level::Reading]
            .iter()
            .map(|l| layout.strata()[*l as usize])
            .find(|df| *df > 0.0)
            .unwrap_or(0.0);
        Some(Differences { antennas, sessions, theta, states: layout.states(), offset, visit_df })
    }

    fn joined(&self) -> impl Iterator<Item = &AntennaOffset> {
        self.antennas.iter().filter(|a| a.joined)
    }

    /// Number of antennas the offset is a mean of.
    pub fn joined_antennas(&self) -> usize {
        self.joined().count()
    }

    /// The part of the offset's error that antennas bring; `None` of one antenna.
    pub fn antenna_part(&self) -> Option<ErrorPart> {
        let beta: Vec<f64> = self.joined().map(|a| a.beta).collect();
        let p = beta.len() as f64;
        (beta.len() > 1).then(|| ErrorPart { variance: sample_variance(&beta) / p, df: p - 1.0 })
    }

    /// The part that sessions bring, about the levels of the stretches of time that `of` numbers; and how many
    /// sessions each stretch holds. `None` where no stretch has two.
    pub fn session_part(&self, stretch: usize, of: impl Fn(usize) -> usize) -> Option<ErrorPart> {
        let mut by: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        for s in &self.sessions {
            by.entry(of(s.session)).or_default().push(s.effect);
        }
        let own = by.get(&stretch)?.len() as f64;
        let df: f64 = by.values().map(|e| e.len() as f64 - 1.0).sum();
        let ss: f64 = by.values().filter(|e| e.len() > 1).map(|e| sample_variance(e) * (e.len() as f64 - 1.0)).sum();
        (df > 0.0).then(|| ErrorPart { variance: ss / df / own, df })
    }

    /// Mean offset of a stretch of time.
    pub fn estimate(&self, stretch: usize, of: impl Fn(usize) -> usize, confidence: f64) -> Estimate {
        let own: Vec<f64> = self.sessions.iter().filter(|s| of(s.session) == stretch).map(|s| s.effect).collect();
        let value = self.offset + if own.is_empty() { 0.0 } else { mean(&own) };
        let mut parts: Vec<ErrorPart> = self.antenna_part().into_iter().collect();
        match self.session_part(stretch, &of) {
            Some(part) => parts.push(part),
            // one session: what visits leave in it, which several antennas' scatter holds already
            None if parts.is_empty() => parts.push(self.lone_part()),
            None => {}
        }
        Estimate::from_parts(value, &parts, confidence)
    }

    /// Where one antenna met both meters in one session only: the scatter inside that visit.
    fn lone_part(&self) -> ErrorPart {
        let variance = self.sessions.first().map_or(f64::INFINITY, |s| s.variance);
        ErrorPart { variance, df: self.visit_df.max(1.0) }
    }

    /// The variance of a single difference as a sum of mean squares: antennas, sessions, and what is inside a
    /// visit beyond its share in those two.
    pub fn parts_of_one(&self) -> Vec<Part> {
        let beta: Vec<f64> = self.joined().map(|a| a.beta).collect();
        let effects: Vec<f64> = self.sessions.iter().map(|s| s.effect).collect();
        let inside: f64 = self.theta[1..].iter().sum();
        let mut parts = vec![];
        let mut counted = 0.0; // of the variance inside visits, by the two mean squares
        if beta.len() > 1 {
            parts.push(Part { variance: sample_variance(&beta), df: beta.len() as f64 - 1.0 });
            counted += mean(&self.joined().map(|a| a.variance).collect::<Vec<_>>());
        }
        if effects.len() > 1 {
            parts.push(Part { variance: sample_variance(&effects), df: effects.len() as f64 - 1.0 });
            counted += mean(&self.sessions.iter().map(|s| s.variance).collect::<Vec<_>>());
        }
        if inside > counted {
            parts.push(Part { variance: inside - counted, df: self.visit_df.max(1.0) });
        }
        parts
    }
}

/// A unit's difference as a mounting's summary. With n₁ and n₂ readings a side, the mean difference scatters as
/// that of n = 2/(1/n₁ + 1/n₂) differences of one reading each.
fn summary(unit: &Unit, antenna: usize) -> MountingSummary {
    let (a, b) = (unit.first, unit.second);
    let df = a.df.min(b.df);
    let per = |ss: f64, df: f64| if df > 0.0 { ss / df } else { 0.0 };
    MountingSummary {
        session: unit.session,
        antenna,
        readings: (2.0 / (1.0 / a.readings + 1.0 / b.readings)).max(1.0),
        df,
        mean: unit.difference(),
        sum_of_squares: df * (per(a.sum_of_squares, a.df) + per(b.sum_of_squares, b.df)),
    }
}

fn plain_means(units: &[Unit], items: &[usize]) -> Vec<f64> {
    let of = |item: usize| units.iter().filter(|u| u.item == item).map(Unit::difference).collect::<Vec<_>>();
    items.iter().map(|&item| mean(&of(item))).collect()
}

/// The largest group of antennas that sessions join; on equal size, the one with most units.
fn largest_group(layout: &Layout, antennas: usize, units: &[Unit], items: &[usize]) -> Vec<bool> {
    let size = |a: usize| {
        let members = (0..antennas).filter(|&b| layout.linked(a, b));
        let own = |b: usize| units.iter().filter(|u| u.item == items[b]).count();
        (members.clone().count(), members.map(own).sum::<usize>())
    };
    let best = (0..antennas).max_by_key(|&a| (size(a), std::cmp::Reverse(a))).unwrap_or(0);
    (0..antennas).map(|a| layout.linked(a, best)).collect()
}

/// Per visit (session, antenna): the mean difference of its units, and its variance from visits and below.
fn visits(units: &[Unit], theta: &Theta) -> BTreeMap<(usize, usize), (f64, f64)> {
    let mut by: BTreeMap<(usize, usize), Vec<(f64, f64)>> = BTreeMap::new();
    for u in units {
        let n = 2.0 / (1.0 / u.first.readings + 1.0 / u.second.readings);
        by.entry((u.session, u.item)).or_default().push((u.difference(), n));
    }
    by.into_iter()
        .map(|(key, d)| {
            let k = d.len() as f64;
            let inverse = d.iter().map(|d| 1.0 / d.1).sum::<f64>() / k;
            let variance = theta[1] + (theta[2] + theta[3] * inverse) / k;
            (key, (d.iter().map(|d| d.0).sum::<f64>() / k, variance.max(1e-18)))
        })
        .collect()
}

/// Effects of the sessions of joined antennas: visits less their antenna's difference, weighted.
fn sessions(visits: &BTreeMap<(usize, usize), (f64, f64)>, antennas: &[AntennaOffset]) -> Vec<SessionOffset> {
    let mut by: BTreeMap<usize, Vec<(f64, f64)>> = BTreeMap::new();
    for (&(session, item), &(mean, variance)) in visits {
        if let Some(a) = antennas.iter().find(|a| a.item == item && a.joined) {
            by.entry(session).or_default().push((mean - a.beta, 1.0 / variance));
        }
    }
    by.into_iter()
        .map(|(session, r)| {
            let total: f64 = r.iter().map(|r| r.1).sum();
            let effect = r.iter().map(|r| r.0 * r.1).sum::<f64>() / total;
            SessionOffset { session, effect, variance: 1.0 / total, antennas: r.len() }
        })
        .collect()
}
