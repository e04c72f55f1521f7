//! What is expected of a visit from all visits of a set: antenna + session by least squares, or else the antenna's other sessions.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use super::Mounting;
use crate::stats::prediction::MeanSquare;

/// A visit: its mountings' mean, each weighted alike.
pub(super) struct Visit {
    pub(super) antenna: usize,
    session: usize,
    mean: f64,
    /// 1/k and Σ(1/n)/k² of its k mountings.
    shares: (f64, f64),
}

/// All visits, their antennas and sessions numbered as they come.
pub(super) struct Visits<'a> {
    antennas: Vec<&'a str>,
    sessions: Vec<&'a str>,
    pub(super) all: Vec<Visit>,
}

/// What is expected of a visit, how visits scatter about that, and how well it is known.
pub(super) struct Fitted {
    pub(super) centre: f64,
    pub(super) scatter: MeanSquare,
    pub(super) leverage: f64,
}

fn index<'a>(names: &mut Vec<&'a str>, name: &'a str) -> usize {
    names.iter().position(|n| *n == name).unwrap_or_else(|| {
        names.push(name);
        names.len() - 1
    })
}

impl<'a> Visits<'a> {
    /// The visits that these mountings make.
    pub(super) fn of(mountings: impl Iterator<Item = &'a Mounting>) -> Visits<'a> {
        let (mut antennas, mut sessions) = (vec![], vec![]);
        let mut groups: BTreeMap<(usize, usize), Vec<&Mounting>> = BTreeMap::new();
        for m in mountings {
            let key = (index(&mut antennas, &m.antenna), index(&mut sessions, &m.session));
            groups.entry(key).or_default().push(m);
        }
        let visit = |((antenna, session), members): ((usize, usize), Vec<&Mounting>)| {
            let k = members.len() as f64;
            let mean = members.iter().map(|m| m.mean).sum::<f64>() / k;
            let readings = members.iter().map(|m| 1.0 / m.readings).sum::<f64>() / (k * k);
            Visit { antenna, session, mean, shares: (1.0 / k, readings) }
        };
        let all = groups.into_iter().map(visit).collect();
        Visits { antennas, sessions, all }
    }

    /// The number of an antenna that was visited.
    pub(super) fn antenna(&self, name: &str) -> Option<usize> {
        self.antennas.iter().position(|n| *n == name)
    }

    /// The number of a session with a visit.
    pub(super) fn session(&self, name: &str) -> Option<usize> {
        self.sessions.iter().position(|n| *n == name)
    }

    /// 1/k and Σ(1/n)/k², mean over all visits.
    pub(super) fn shares(&self) -> (f64, f64) {
        let n = self.all.len() as f64;
        let sum = self.all.iter().fold((0.0, 0.0), |s, v| (s.0 + v.shares.0, s.1 + v.shares.1));
        (sum.0 / n, sum.1 / n)
    }

    /// antenna + session, by least squares over the visits that chains of them join to this session.
    pub(super) fn additive(&self, antenna: usize, session: usize) -> Option<Fitted> {
        let mut joined = vec![false; self.sessions.len()];
        joined[session] = true;
        let mut known = vec![false; self.antennas.len()];
        loop {
            let more: Vec<&Visit> = self.all.iter().filter(|v| joined[v.session] != known[v.antenna]).collect();
            if more.is_empty() {
                break;
            }
            more.iter().for_each(|v| (joined[v.session], known[v.antenna]) = (true, true));
        }
        if !known[antenna] {
            return None;
        }
        // one column an antenna, one a session but the first: full rank, as all are joined
        let visits: Vec<&Visit> = self.all.iter().filter(|v| joined[v.session]).collect();
        let mut columns = 0;
        let mut number = |wanted: &[bool]| -> Vec<Option<usize>> {
            let next = |w: &bool| {
                w.then(|| {
                    columns += 1;
                    columns - 1
                })
            };
            wanted.iter().map(next).collect()
        };
        let of_antenna = number(&known);
        let first = joined.iter().position(|j| *j)?;
        joined[first] = false;
        let of_session = number(&joined);
        if visits.len() <= columns {
            return None;
        }
        let row = |antenna: usize, session: usize| {
            let mut x = DVector::zeros(columns);
            [of_antenna[antenna], of_session[session]].into_iter().flatten().for_each(|c| x[c] = 1.0);
            x
        };
        let mut xtx = DMatrix::zeros(columns, columns);
        let mut xty = DVector::zeros(columns);
        for v in &visits {
            let x = row(v.antenna, v.session);
            xty += &x * v.mean;
            xtx += &x * x.transpose();
        }
        let factor = xtx.cholesky()?;
        let beta = factor.solve(&xty);
        let squares = visits.iter().map(|v| (v.mean - row(v.antenna, v.session).dot(&beta)).powi(2));
        let df = (visits.len() - columns) as f64;
        let x = row(antenna, session);
        let leverage = x.dot(&factor.solve(&x));
        Some(Fitted { centre: x.dot(&beta), scatter: MeanSquare { value: squares.sum::<f64>() / df, df }, leverage })
    }

    /// An antenna's visits about their mean, in sessions that all antennas share: whole sessions move
    /// together, so there are no more degrees of freedom than sessions allow.
    pub(super) fn by_antenna(&self, antenna: usize) -> Option<Fitted> {
        let mean_of = |a: usize| {
            let own: Vec<f64> = self.all.iter().filter(|v| v.antenna == a).map(|v| v.mean).collect();
            (own.iter().sum::<f64>() / own.len() as f64, own.len() as f64)
        };
        let means: Vec<(f64, f64)> = (0..self.antennas.len()).map(mean_of).collect();
        let squares: f64 = self.all.iter().map(|v| (v.mean - means[v.antenna].0).powi(2)).sum();
        let over = (self.all.len() - self.antennas.len()) as f64;
        let df = over.min(self.sessions.len() as f64 - 1.0);
        let scatter = MeanSquare { value: if over > 0.0 { squares / over } else { 0.0 }, df };
        let (centre, visits) = means[antenna];
        Some(Fitted { centre, scatter, leverage: 1.0 / visits })
    }
}
