//! What earlier readings say of the next one: each set's mountings, and the prediction interval that a new reading
//! is held against, at the level that it repeats.
//!
//! * another reading on a mounting: the mounting's mean, and how readings scatter about theirs;
//! * the first on a further mounting of a visit: the visit's mountings, and how mountings scatter;
//! * the first of a visit, in a session that has read other antennas: antenna + session, fitted to the means of all
//!   visits by least squares, and how visits scatter about that;
//! * the first of a session: the antenna's earlier visits, and how visits scatter from session to session.
//!
//! Mean squares are pooled over all antennas of the set. Of impedances and of reflected power, whose scatter is each
//! antenna's own, and of check loads, they are that antenna's alone. The intervals are in
//! [`crate::stats::prediction`]; they do not profit from a component estimated below zero, as mean squares are never
//! taken apart.

mod visits;

use std::collections::HashMap;

use polars::prelude::*;

use crate::analysis::antennas::sets::rows;
use crate::radio::quantity::{Quantity, Scale};
use crate::season::config::Config;
use crate::stats::prediction::{Nested, Prediction, Strata, strata};
use visits::{Fitted, Visits};

/// A sound reading is called odd once in so many.
pub const ONCE_IN: u32 = 200;

/// The chance of that.
pub const RISK: f64 = 1.0 / ONCE_IN as f64;

/// The name of a set: quantity, band, meter.
pub type SetName = (String, String, String);

/// A new reading, on the analysis scale at the meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewReading<'a> {
    /// Session.
    pub session: &'a str,
    /// Antenna or check load.
    pub antenna: &'a str,
    /// What tells its mounting from others of the visit.
    pub mounting: i64,
    /// The value; of a summarised row, the mean.
    pub y: f64,
    /// How many readings it is the mean of.
    pub readings: f64,
    /// The last digit written, in the quantity's unit.
    pub step: f64,
}

/// What a reading is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Against {
    /// The readings of its mounting.
    Repeats,
    /// The other mountings of its visit.
    Mountings,
    /// What antenna and session read otherwise.
    Visits,
    /// The antenna's other sessions.
    Sessions,
}

/// What is expected of a reading, on the analysis scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// What it is held against.
    pub against: Against,
    /// How many of those there are.
    pub count: usize,
    /// The prediction.
    pub prediction: Prediction,
    /// Lower end of what a sound reading shows but once in [`ONCE_IN`], a digit of the display included.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// The finest digit the set is read to, in the quantity's unit.
    pub digit: f64,
}

impl Expected {
    /// Whether a value lies inside.
    pub fn holds(&self, y: f64) -> bool {
        y >= self.low && y <= self.high
    }
}

#[derive(Debug, Clone)]
struct Mounting {
    session: String,
    antenna: String,
    key: i64,
    readings: f64,
    df: f64,
    mean: f64,
    sum_of_squares: f64,
    step: f64,
}

/// One set's mountings so far.
#[derive(Debug, Clone)]
struct SetHistory {
    scale: Scale,
    own_scatter: bool,
    mountings: Vec<Mounting>,
}

/// All sets' mountings so far.
#[derive(Debug, Clone, Default)]
pub struct History {
    sets: HashMap<SetName, SetHistory>,
    loads: Vec<String>,
    /// Rows so far that are each a mounting of their own.
    alone: i64,
}

impl History {
    /// Nothing read yet.
    pub fn empty(config: &Config) -> History {
        History { loads: config.loads.iter().map(|l| l.name.clone()).collect(), ..History::default() }
    }

    /// What a frame of readings holds.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected on a frame the season made.
    pub fn new(frame: &DataFrame, config: &Config) -> PolarsResult<History> {
        let mut history = History::empty(config);
        history.extend(frame, config)?;
        Ok(history)
    }

    /// More readings, of mountings known and new.
    ///
    /// # Errors
    /// As [`History::new`].
    pub fn extend(&mut self, frame: &DataFrame, config: &Config) -> PolarsResult<()> {
        for row in rows(frame, config)? {
            let Some(quantity) = config.quantity(&row.quantity) else { continue };
            if quantity.scale == Scale::Ordinal {
                continue;
            }
            let more = row.summary;
            // a mounting of one row is numbered by its place in its own frame alone
            let own = row.mounting > i64::MIN && row.mounting < 0;
            self.alone += i64::from(own);
            let key = if own { i64::MIN + self.alone } else { row.mounting };
            let set = self.set(&quantity, row.band, row.meter);
            set.merge(Mounting {
                session: row.session,
                antenna: row.antenna,
                key,
                readings: more.readings,
                df: more.df,
                mean: more.mean,
                sum_of_squares: more.sum_of_squares,
                step: row.step,
            });
        }
        Ok(())
    }

    /// One more reading.
    pub fn add(&mut self, (quantity, band, meter): &SetName, config: &Config, new: &NewReading) {
        let Some(quantity) = config.quantity(quantity).filter(|q| q.scale != Scale::Ordinal) else { return };
        self.set(&quantity, band.clone(), meter.clone()).merge(Mounting {
            session: new.session.into(),
            antenna: new.antenna.into(),
            key: new.mounting,
            readings: new.readings,
            df: 0.0,
            mean: new.y,
            sum_of_squares: 0.0,
            step: new.step,
        });
    }

    /// Takes one reading out again.
    pub fn take_back(&mut self, name: &SetName, reading: &NewReading) {
        let Some(set) = self.sets.get_mut(name) else { return };
        let Some(at) = set.place(reading) else { return };
        let m = &mut set.mountings[at];
        let left = m.readings - reading.readings;
        if left < 0.5 {
            set.mountings.remove(at);
            return;
        }
        let mean = (m.readings * m.mean - reading.readings * reading.y) / left;
        m.sum_of_squares -= reading.readings * (reading.y - m.mean) * (reading.y - mean);
        m.sum_of_squares = m.sum_of_squares.max(0.0);
        m.df = (m.df - 1.0).max(0.0);
        (m.mean, m.readings) = (mean, left);
    }

    fn set(&mut self, quantity: &Quantity, band: String, meter: String) -> &mut SetHistory {
        let own = ["impedance", "resistance", "reactance", "reflected_power"];
        self.sets.entry((quantity.name.clone(), band, meter)).or_insert_with(|| SetHistory {
            scale: quantity.scale,
            own_scatter: own.contains(&quantity.name.as_str()),
            mountings: vec![],
        })
    }

    /// What is expected of a reading that is not part of the history yet; `None` where nothing tells.
    pub fn expect(&self, name: &SetName, new: &NewReading) -> Option<Expected> {
        let set = self.sets.get(name)?;
        let pool = set.pool(new.antenna, &self.loads);
        match set.place(new) {
            Some(at) => set.on_same_mounting(&pool, at, new),
            None if set.visit(new).next().is_some() => set.on_new_mounting(&pool, new),
            None => set.on_new_visit(&pool, new, &self.loads),
        }
    }

    /// The same, were the antenna taken off and put back for it.
    pub fn expect_remounted(&self, name: &SetName, new: &NewReading) -> Option<Expected> {
        let set = self.sets.get(name)?;
        set.on_new_mounting(&set.pool(new.antenna, &self.loads), new)
    }
}

impl SetHistory {
    fn place(&self, new: &NewReading) -> Option<usize> {
        let same = |m: &Mounting| m.session == new.session && m.antenna == new.antenna && m.key == new.mounting;
        self.mountings.iter().position(same)
    }

    fn visit(&self, new: &NewReading) -> impl Iterator<Item = &Mounting> {
        self.mountings.iter().filter(|m| m.session == new.session && m.antenna == new.antenna)
    }

    fn merge(&mut self, more: Mounting) {
        let same = |m: &&mut Mounting| m.session == more.session && m.antenna == more.antenna && m.key == more.key;
        let Some(m) = self.mountings.iter_mut().find(same) else {
            self.mountings.push(more);
            return;
        };
        // the two together: Chan, Golub & LeVeque (1983), The American Statistician 37:242–247
        let total = m.readings + more.readings;
        let apart = more.mean - m.mean;
        m.sum_of_squares += more.sum_of_squares + apart * apart * m.readings * more.readings / total;
        m.mean += apart * more.readings / total;
        (m.readings, m.df, m.step) = (total, m.df + more.df + 1.0, m.step.min(more.step));
    }

    /// The lower strata of what an antenna's readings scatter like.
    fn pool(&self, antenna: &str, loads: &[String]) -> Strata {
        let alone = self.own_scatter || loads.iter().any(|l| l == antenna);
        let like = |m: &&Mounting| if alone { m.antenna == antenna } else { !loads.contains(&m.antenna) };
        let mut visits: HashMap<(&str, &str), usize> = HashMap::new();
        let mut floor: f64 = f64::INFINITY;
        let nested: Vec<Nested> = self
            .mountings
            .iter()
            .filter(like)
            .map(|m| {
                let next = visits.len();
                let visit = *visits.entry((&m.session, &m.antenna)).or_insert(next);
                floor = floor.min((m.step * self.scale.slope_at(m.mean)).powi(2) / 12.0);
                m.nested(visit)
            })
            .collect();
        strata(&nested, if floor.is_finite() { floor } else { 0.0 })
    }

    fn expected(&self, against: Against, count: usize, prediction: Prediction, new: &NewReading) -> Expected {
        let digit = self.mountings.iter().map(|m| m.step).fold(new.step, f64::min);
        // reading and expectation each stand for half a digit to both sides
        let half = prediction.half_width(RISK) + digit * self.scale.slope_at(prediction.centre);
        let (low, high) = (prediction.centre - half, prediction.centre + half);
        Expected { against, count, prediction, low, high, digit }
    }

    fn on_same_mounting(&self, pool: &Strata, at: usize, new: &NewReading) -> Option<Expected> {
        let m = &self.mountings[at];
        let prediction = pool.on_same_mounting(m.mean, m.readings, new.readings)?;
        Some(self.expected(Against::Repeats, m.readings.round() as usize, prediction, new))
    }

    fn on_new_mounting(&self, pool: &Strata, new: &NewReading) -> Option<Expected> {
        let others: Vec<Nested> = self.visit(new).map(|m| m.nested(0)).collect();
        if others.is_empty() {
            return None;
        }
        let prediction = pool.on_new_mounting(&others, new.readings)?;
        Some(self.expected(Against::Mountings, others.len(), prediction, new))
    }

    fn on_new_visit(&self, pool: &Strata, new: &NewReading, loads: &[String]) -> Option<Expected> {
        let is_load = |name: &str| loads.iter().any(|l| l == name);
        if is_load(new.antenna) {
            return None;
        }
        let visits = Visits::of(self.mountings.iter().filter(|m| !is_load(&m.antenna)));
        let (antenna, session) = (visits.antenna(new.antenna)?, visits.session(new.session));
        let shares = visits.shares();
        if let Some(fitted) = session.and_then(|session| visits.additive(antenna, session)) {
            let Fitted { centre, scatter, leverage } = fitted;
            let prediction = pool.on_new_visit(centre, scatter, leverage, shares, new.readings)?;
            let count = visits.all.iter().filter(|v| v.antenna == antenna).count();
            return Some(self.expected(Against::Visits, count, prediction, new));
        }
        let Fitted { centre, scatter, leverage } = visits.by_antenna(antenna)?;
        let prediction = pool.on_new_visit(centre, scatter, leverage, shares, new.readings)?;
        let count = visits.all.iter().filter(|v| v.antenna == antenna).count();
        Some(self.expected(Against::Sessions, count, prediction, new))
    }
}

impl Mounting {
    fn nested(&self, visit: usize) -> Nested {
        let Mounting { readings, mean, sum_of_squares, df, .. } = *self;
        Nested { visit, readings, mean, sum_of_squares, df }
    }
}
