//! The log as a question about meters needs it: every mounting by every meter, check loads' included, and the
//! sessions in order of time.

use std::collections::{BTreeMap, BTreeSet};

use polars::prelude::*;

use crate::analysis::antennas::sets::{quantity_place, rows};
use crate::analysis::coded::Coded;
use crate::analysis::sessions::Sessions;
use crate::radio::quantity::{Quantity, Scale};
use crate::radio::reflection::{directivity_error, line_correction};
use crate::season::Season;

/// All of the log.
#[derive(Debug, Clone)]
pub struct Log {
    /// Sessions in order of time.
    pub sessions: Vec<Session>,
    /// Whether their times are days; the log gives no dates else.
    pub dated: bool,
    /// Antennas, in the season's order and then alphabetical.
    pub antennas: Vec<String>,
    /// What each meter read of one quantity on one band: quantities in the documented order, bands and meters
    /// in the season's.
    pub sets: Vec<MeterSet>,
}

/// A session and when it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its name.
    pub name: String,
    /// Days since the first session; places in the order where the log gives no dates.
    pub time: f64,
}

/// The readings of one quantity on one band by one meter.
#[derive(Debug, Clone)]
pub struct MeterSet {
    /// What was read.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Mountings of antennas.
    pub mountings: Vec<Mounting>,
    /// Mountings of check loads; their `item` counts the season's loads.
    pub loads: Vec<Mounting>,
    /// |Γ| at the antenna over |Γ| at this meter, from the declared line loss; 1 where none is declared.
    pub line_factor: f64,
    /// One-way loss behind it, dB.
    pub line_loss_db: f64,
    /// The false wave of the declared directivity, on |Γ| at the meter; 0 where none is declared.
    pub false_wave: f64,
    /// The display's last digit, in the quantity's unit.
    pub resolution: f64,
}

/// One mounting as one meter read it, on the analysis scale at the meter's plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mounting {
    /// Session, by its place in [`Log::sessions`].
    pub session: usize,
    /// Antenna, by its place in [`Log::antennas`]; or check load.
    pub item: usize,
    /// What tells the visit's mountings apart.
    pub key: i64,
    /// Readings.
    pub readings: f64,
    /// Degrees of freedom of `sum_of_squares`.
    pub df: f64,
    /// Mean.
    pub mean: f64,
    /// Sum of squares about the mean.
    pub sum_of_squares: f64,
}

impl Log {
    /// Takes the season's readings, as `frame` holds them, apart. Grades are never averaged: they stay out.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected on a frame the season made.
    pub fn new(season: &Season, frame: &DataFrame) -> PolarsResult<Log> {
        let config = &season.config;
        let Sessions { coded, days } = Sessions::of(frame, Coded::of(frame, "session")?)?;
        let dated = days.is_some();
        let times = days.unwrap_or_else(|| (0..coded.names.len()).map(|place| place as f64).collect());
        let sessions: Vec<Session> =
            coded.names.into_iter().zip(times).map(|(name, time)| Session { name, time }).collect();
        let rows = rows(frame, config)?;
        let known = |name: &str| config.antennas.iter().position(|a| a.name == name).unwrap_or(usize::MAX);
        let names: BTreeSet<(usize, &str)> = rows
            .iter()
            .filter(|r| !config.is_load(&r.antenna))
            .map(|r| (known(&r.antenna), r.antenna.as_str()))
            .collect();
        let antennas: Vec<String> = names.into_iter().map(|(_, name)| name.to_string()).collect();
        let session_of: BTreeMap<&str, usize> =
            sessions.iter().enumerate().map(|(i, s)| (s.name.as_str(), i)).collect();
        let mut sets: BTreeMap<_, (MeterSet, f64)> = BTreeMap::new();
        for row in &rows {
            let Some(quantity) = config.quantity(&row.quantity).filter(|q| q.scale != Scale::Ordinal) else { continue };
            let band = config.bands.iter().position(|b| b.name == row.band).unwrap_or(usize::MAX);
            let meter = config.meters.iter().position(|m| m.name == row.meter).unwrap_or(usize::MAX);
            let key = (quantity_place(config, &row.quantity), band, row.band.clone(), meter, row.meter.clone());
            let entry =
                sets.entry(key).or_insert_with(|| (empty(season, quantity, &row.band, &row.meter), f64::INFINITY));
            let load = config.loads.iter().position(|l| l.name == row.antenna);
            let item = load.or_else(|| antennas.iter().position(|a| *a == row.antenna)).unwrap_or(0);
            let mounting = Mounting {
                session: session_of.get(row.session.as_str()).copied().unwrap_or(0),
                item,
                key: row.mounting,
                readings: row.summary.readings,
                df: row.summary.df,
                mean: row.summary.mean,
                sum_of_squares: row.summary.sum_of_squares,
            };
            if load.is_some() {
                entry.0.loads.push(mounting)
            } else {
                entry.0.mountings.push(mounting)
            }
            entry.1 = entry.1.min(row.step);
        }
        let finish = |(mut set, finest): (MeterSet, f64)| {
            if set.resolution <= 0.0 {
                set.resolution = if finest.is_finite() { finest } else { 0.0 };
            }
            for mountings in [&mut set.mountings, &mut set.loads] {
                mountings.sort_by_key(|m| (m.session, m.item, m.key));
            }
            set
        };
        let sets = sets.into_values().map(finish).collect();
        Ok(Log { sessions, dated, antennas, sets })
    }
}

impl MeterSet {
    /// The last digit on the analysis scale about `y`.
    pub fn step_at(&self, y: f64) -> f64 {
        self.resolution * self.quantity.scale.slope_at(y)
    }

    /// Pooled variance of one reading about its mounting's mean, and its degrees of freedom; not below what
    /// rounding alone gives.
    pub fn reading_variance(&self) -> (f64, f64) {
        let (mut ss, mut df, mut sum) = (0.0, 0.0, 0.0);
        for m in &self.mountings {
            ss += m.sum_of_squares;
            df += m.df;
            sum += m.mean;
        }
        let step = self.step_at(sum / self.mountings.len().max(1) as f64);
        let seen = if df > 0.0 { ss / df } else { 0.0 };
        (seen.max(step * step / 12.0), df)
    }

    /// The one value this meter shows on everything, where it does: at least three mountings of two antennas, all
    /// alike to the last digit. Such a meter is saturated, not connected, or measures something else.
    pub fn stuck_at(&self) -> Option<f64> {
        let first = self.mountings.first()?;
        let antennas: BTreeSet<usize> = self.mountings.iter().map(|m| m.item).collect();
        let step = self.step_at(first.mean);
        let alike =
            |m: &Mounting| (m.mean - first.mean).abs() <= 0.01 * step && m.sum_of_squares <= 1e-12 + 1e-4 * step * step;
        (antennas.len() > 1 && self.mountings.len() > 2 && self.mountings.iter().all(alike))
            .then(|| self.quantity.scale.to_shown(first.mean))
    }
}

fn empty(season: &Season, quantity: Quantity, band: &str, meter: &str) -> MeterSet {
    let declared = season.config.meter(meter);
    let loss = declared.and_then(|m| m.line_loss_db.get(band)).copied().filter(|_| quantity.is_reflection());
    let directivity = declared.and_then(|m| m.directivity_db).filter(|_| quantity.is_reflection());
    MeterSet {
        line_factor: loss.map_or(1.0, line_correction),
        line_loss_db: loss.unwrap_or(0.0),
        false_wave: directivity.map_or(0.0, directivity_error),
        resolution: declared.and_then(|m| m.resolution.get(&quantity.name)).copied().unwrap_or(0.0),
        quantity,
        band: band.into(),
        meter: meter.into(),
        mountings: vec![],
        loads: vec![],
    }
}
