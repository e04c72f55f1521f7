//! Two meters' readings of the same thing: on the same mounting, else on the same visit.

use std::collections::{BTreeMap, BTreeSet};

use super::log::{MeterSet, Mounting};

/// What the two meters' readings have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Pairing {
    /// Both read the same mountings.
    Mounting,
    /// Some visits only have mountings that one of the two read: there, visit means are paired.
    Visit,
    /// They read no visit together, but the same antennas.
    Unpaired,
    /// They have no antenna in common.
    Nothing,
}

/// One mounting (or visit) read by both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Session.
    pub session: usize,
    /// Antenna.
    pub item: usize,
    /// What the first meter read of it.
    pub first: Side,
    /// What the second did.
    pub second: Side,
}

/// One meter's share of a unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// Readings.
    pub readings: f64,
    /// Degrees of freedom of `sum_of_squares`.
    pub df: f64,
    /// Mean.
    pub mean: f64,
    /// Sum of squares about the mean.
    pub sum_of_squares: f64,
}

impl Unit {
    /// second − first.
    pub fn difference(&self) -> f64 {
        self.second.mean - self.first.mean
    }

    /// The same with both sides moved by a function of a reading; squares by its slope.
    pub fn moved(&self, first: impl Fn(f64) -> (f64, f64), second: impl Fn(f64) -> (f64, f64)) -> Unit {
        let side =
            |s: &Side, (mean, slope): (f64, f64)| Side { mean, sum_of_squares: s.sum_of_squares * slope * slope, ..*s };
        Unit {
            first: side(&self.first, first(self.first.mean)),
            second: side(&self.second, second(self.second.mean)),
            ..*self
        }
    }
}

/// Pairs two sets. Readings of mountings or visits that only one meter read stay out.
pub fn pair(first: &MeterSet, second: &MeterSet) -> (Pairing, Vec<Unit>) {
    let visits = |set: &MeterSet| -> BTreeMap<(usize, usize), Vec<Mounting>> {
        let mut out: BTreeMap<_, Vec<Mounting>> = BTreeMap::new();
        for m in &set.mountings {
            out.entry((m.session, m.item)).or_default().push(*m);
        }
        out
    };
    let (a, b) = (visits(first), visits(second));
    let mut units = vec![];
    let mut pairing = Pairing::Mounting;
    for (&(session, item), own) in &a {
        let Some(other) = b.get(&(session, item)) else { continue };
        let common: Vec<(&Mounting, &Mounting)> =
            own.iter().filter_map(|m| other.iter().find(|o| o.key == m.key).map(|o| (m, o))).collect();
        if common.is_empty() {
            pairing = Pairing::Visit;
            units.push(Unit { session, item, first: whole(own), second: whole(other) });
        } else {
            units.extend(common.iter().map(|(m, o)| Unit { session, item, first: side(m), second: side(o) }));
        }
    }
    if units.is_empty() {
        let items = |set: &MeterSet| set.mountings.iter().map(|m| m.item).collect::<BTreeSet<_>>();
        pairing = if items(first).is_disjoint(&items(second)) { Pairing::Nothing } else { Pairing::Unpaired };
    }
    (pairing, units)
}

fn side(m: &Mounting) -> Side {
    Side { readings: m.readings, df: m.df, mean: m.mean, sum_of_squares: m.sum_of_squares }
}

/// A visit as one: the mean of its mountings. Their scatter is no scatter of readings and stays out.
fn whole(mountings: &[Mounting]) -> Side {
    let k = mountings.len() as f64;
    let sum = |f: fn(&Mounting) -> f64| mountings.iter().map(f).sum::<f64>();
    Side {
        readings: sum(|m| m.readings),
        df: sum(|m| m.df),
        mean: sum(|m| m.mean) / k,
        sum_of_squares: sum(|m| m.sum_of_squares),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radio::quantity::built_in;

    fn set(mountings: &[(usize, usize, i64)]) -> MeterSet {
        MeterSet {
            quantity: built_in("swr").unwrap(),
            band: "2 m".into(),
            meter: "m".into(),
            mountings: mountings
                .iter()
                .map(|&(session, item, key)| Mounting {
                    session,
                    item,
                    key,
                    readings: 1.0,
                    df: 0.0,
                    mean: key as f64,
                    sum_of_squares: 0.0,
                })
                .collect(),
            loads: vec![],
            line_factor: 1.0,
            line_loss_db: 0.0,
            false_wave: 0.0,
            resolution: 0.01,
        }
    }

    #[test]
    fn mountings_are_paired_by_number_and_visits_where_no_number_is_shared() {
        let (p, units) = pair(&set(&[(0, 0, 1), (0, 0, 2), (1, 0, 1)]), &set(&[(0, 0, 2), (1, 0, 1), (2, 0, 1)]));
        assert_eq!((p, units.len()), (Pairing::Mounting, 2));
        let (p, units) = pair(&set(&[(0, 0, 1), (0, 0, 2), (1, 0, 5)]), &set(&[(0, 0, 4), (1, 0, 5)]));
        assert_eq!((p, units.len()), (Pairing::Visit, 2));
        assert_eq!(units[0].first.mean, 1.5);
        assert_eq!(units[0].difference(), 2.5);
    }

    #[test]
    fn meters_that_share_no_visit_are_unpaired_and_without_an_antenna_nothing() {
        assert_eq!(pair(&set(&[(0, 0, 1)]), &set(&[(1, 0, 1)])).0, Pairing::Unpaired);
        assert_eq!(pair(&set(&[(0, 0, 1)]), &set(&[(0, 1, 1)])).0, Pairing::Nothing);
    }
}
