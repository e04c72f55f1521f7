//! The sets of a season: all readings of one quantity on one band by one meter, as the sufficient
//! statistics of their mountings.

use std::collections::{BTreeMap, HashMap};

use polars::prelude::*;

use crate::analysis::meters::correction::SetCorrection;
use crate::radio::quantity::{Quantity, Scale};
use crate::radio::reflection;
use crate::season::config::{Config, Repeats};
use crate::stats::mixed::MountingSummary;

/// One set, ready to be fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct Set {
    /// What was read.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Antennas, in the season's order (then alphabetical).
    pub antennas: Vec<String>,
    /// Sessions, in alphabetical order: dates sort in time.
    pub sessions: Vec<String>,
    /// One entry a mounting, on the analysis scale, corrected for declared line loss.
    pub mountings: Vec<MountingSummary>,
    /// What |Γ| read was multiplied by to move it from the meter's plane to the antenna; 1 where no
    /// line is declared or the quantity is no reflection.
    pub line_factor: f64,
    /// The display's last digit in the quantity's unit: declared, or else the finest written.
    pub resolution: f64,
    /// Whether `resolution` was declared.
    pub resolution_declared: bool,
    /// The meter's offset that was taken out of these readings, where the season asks for that.
    pub correction: Option<SetCorrection>,
}

/// One ordinal set: reports in grades, by session and antenna.
#[derive(Debug, Clone)]
pub struct OrdinalSet {
    /// What was reported.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Listener.
    pub meter: String,
    /// Antennas, in the season's order.
    pub antennas: Vec<String>,
    /// Per session: per antenna heard in it, its reports.
    pub sessions: Vec<BTreeMap<usize, Vec<f64>>>,
}

/// One mounting of an antenna or check load, as read.
#[derive(Debug, Clone)]
pub struct Row {
    /// Quantity.
    pub quantity: String,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Session.
    pub session: String,
    /// Antenna or check load.
    pub antenna: String,
    /// What tells the mountings of one visit apart: its number, where the log numbers it.
    pub mounting: i64,
    /// Its readings on the analysis scale, at the meter's own plane; session and antenna not yet numbered.
    pub summary: MountingSummary,
    /// The finest digit written.
    pub step: f64,
    reports: Vec<f64>,
}

/// Groups the readings into sets, by quantity in the documented order, then band in the season's order,
/// then meter. Readings of check loads are no antenna's and stay out.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame made by the season.
pub fn sets_of(frame: &DataFrame, config: &Config) -> PolarsResult<(Vec<Set>, Vec<OrdinalSet>)> {
    let mut grouped: BTreeMap<(usize, usize, String), (Quantity, Vec<Row>)> = BTreeMap::new();
    for row in rows(frame, config)?.into_iter().filter(|row| !config.is_load(&row.antenna)) {
        let Some(quantity) = config.quantity(&row.quantity) else { continue };
        let place = quantity_place(config, &row.quantity);
        let band_place = config.bands.iter().position(|b| b.name == row.band).unwrap_or(usize::MAX);
        let key = (place, band_place, format!("{}\u{0}{}", row.band, row.meter));
        grouped.entry(key).or_insert_with(|| (quantity, vec![])).1.push(row);
    }
    let (mut sets, mut ordinal) = (vec![], vec![]);
    for (quantity, rows) in grouped.into_values() {
        if quantity.scale == Scale::Ordinal {
            ordinal.push(ordinal_set(quantity, rows, config));
        } else {
            sets.push(set(quantity, rows, config));
        }
    }
    Ok((sets, ordinal))
}

/// Place of a quantity in the documented order, declared ones last.
pub fn quantity_place(config: &Config, name: &str) -> usize {
    let declared = config.quantities.iter().position(|q| q.name == name).map(|i| i + 100);
    declared.or_else(|| crate::radio::quantity::built_in_names().position(|q| q == name)).unwrap_or(usize::MAX)
}

/// What tells a row's mounting from others of its visit: its number; for rows without one, one mounting a
/// visit or one a row, as the season says. Numbered and unnumbered rows never share a mounting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum MountingKey {
    Numbered(i64),
    LeftOn,
    Row(usize),
}

impl MountingKey {
    /// As a number: below all that a log can give, where it gives none.
    fn number(self) -> i64 {
        match self {
            MountingKey::Numbered(number) => number,
            MountingKey::LeftOn => i64::MIN,
            MountingKey::Row(row) => i64::MIN + 1 + row as i64,
        }
    }
}

/// Running sums of one mounting's rows, in the order of the log.
struct Sums<'a> {
    names: [&'a str; 5],
    key: MountingKey,
    rows: Vec<usize>,
    step: f64,
}

/// One entry a mounting, check loads' too, in order of first appearance. Plain loops: the grouping of a
/// large log is what reading it in takes longest over.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame made by the season.
pub fn rows(frame: &DataFrame, config: &Config) -> PolarsResult<Vec<Row>> {
    let text = |name: &str| frame.column(name).and_then(|c| c.str().cloned());
    let number = |name: &str| -> PolarsResult<Vec<Option<f64>>> { Ok(frame.column(name)?.f64()?.iter().collect()) };
    let columns = [text("quantity")?, text("band")?, text("meter")?, text("session")?, text("antenna")?];
    let (value, y, readings) = (number("value")?, number("y")?, number("readings")?);
    let (y_sd, step, squares) = (number("y_sd")?, number("step")?, number("squares")?);
    let mounting: Vec<Option<i64>> = frame.column("mounting")?.i64()?.iter().collect();
    let mut place: HashMap<([&str; 5], MountingKey), usize> = HashMap::new();
    let mut mountings: Vec<Sums> = vec![];
    let mut names: [_; 5] = std::array::from_fn(|k| columns[k].iter());
    for i in 0..frame.height() {
        let names: [&str; 5] = std::array::from_fn(|k| names[k].next().flatten().unwrap_or_default());
        let key = match (mounting[i], config.repeats) {
            (Some(number), _) => MountingKey::Numbered(number),
            (None, Repeats::LeftOn) => MountingKey::LeftOn,
            (None, Repeats::Remounted) => MountingKey::Row(i),
        };
        let at = *place.entry((names, key)).or_insert_with(|| {
            mountings.push(Sums { names, key, rows: vec![], step: f64::INFINITY });
            mountings.len() - 1
        });
        mountings[at].rows.push(i);
        mountings[at].step = mountings[at].step.min(step[i].unwrap_or(f64::INFINITY));
    }
    let of = |column: &[Option<f64>], i: usize, default: f64| column[i].unwrap_or(default);
    let summary = |m: &Sums| {
        let n: f64 = m.rows.iter().map(|&i| of(&readings, i, 1.0)).sum();
        let sum = || m.rows.iter().map(|&i| of(&readings, i, 1.0) * of(&y, i, 0.0)).sum::<f64>();
        // one row's mean is its own, to the bit
        let mean = if let [only] = m.rows[..] { of(&y, only, 0.0) } else { sum() / n };
        // scatter of the rows about their mean, and inside summarised rows
        let between = m.rows.iter().map(|&i| of(&readings, i, 1.0) * (of(&y, i, 0.0) - mean).powi(2)).sum::<f64>();
        // a summarised row without a standard deviation brings no degrees of freedom of its own
        let inside = m.rows.iter().filter_map(|&i| {
            let (more, sd) = (of(&readings, i, 1.0) - 1.0, y_sd[i]?);
            Some((more, squares[i].unwrap_or(more * sd * sd)))
        });
        let (df, within) = inside.fold((0.0, 0.0), |(df, ss), (more, squares)| (df + more, ss + squares));
        MountingSummary {
            session: 0,
            antenna: 0,
            readings: n,
            df: df + m.rows.len() as f64 - 1.0,
            mean,
            sum_of_squares: (between + within).max(0.0),
        }
    };
    let made = mountings.iter().map(|m| Row {
        quantity: m.names[0].into(),
        band: m.names[1].into(),
        meter: m.names[2].into(),
        session: m.names[3].into(),
        antenna: m.names[4].into(),
        mounting: m.key.number(),
        summary: summary(m),
        step: m.step,
        reports: m.rows.iter().filter_map(|&i| value[i]).collect(),
    });
    Ok(made.collect())
}

fn antenna_order(rows: &[Row], config: &Config) -> Vec<String> {
    let mut names: Vec<String> = rows.iter().map(|r| r.antenna.clone()).collect();
    names.sort();
    names.dedup();
    names.sort_by_key(|name| config.antennas.iter().position(|a| &a.name == name).unwrap_or(usize::MAX));
    names
}

fn sessions_of(rows: &[Row]) -> Vec<String> {
    let mut names: Vec<String> = rows.iter().map(|r| r.session.clone()).collect();
    names.sort();
    names.dedup();
    names
}

fn set(quantity: Quantity, rows: Vec<Row>, config: &Config) -> Set {
    let (band, meter) = (rows[0].band.clone(), rows[0].meter.clone());
    let (antennas, sessions) = (antenna_order(&rows, config), sessions_of(&rows));
    let declared = config.meter(&meter);
    let loss = declared.and_then(|m| m.line_loss_db.get(&band)).copied().filter(|_| quantity.is_reflection());
    let line_factor = loss.map_or(1.0, reflection::line_correction);
    let resolution = declared.and_then(|m| m.resolution.get(&quantity.name)).copied();
    let written = rows.iter().map(|r| r.step).fold(f64::INFINITY, f64::min);
    let mountings = rows
        .iter()
        .map(|r| MountingSummary {
            session: sessions.binary_search(&r.session).unwrap_or(0),
            antenna: antennas.iter().position(|a| *a == r.antenna).unwrap_or(0),
            mean: r.summary.mean * line_factor,
            sum_of_squares: r.summary.sum_of_squares * line_factor * line_factor,
            ..r.summary
        })
        .collect();
    Set {
        quantity,
        band,
        meter,
        antennas,
        sessions,
        mountings,
        line_factor,
        resolution: resolution.unwrap_or(if written.is_finite() { written } else { 1.0 }),
        resolution_declared: resolution.is_some(),
        correction: None,
    }
}

fn ordinal_set(quantity: Quantity, rows: Vec<Row>, config: &Config) -> OrdinalSet {
    let (antennas, sessions) = (antenna_order(&rows, config), sessions_of(&rows));
    let mut by_session: Vec<BTreeMap<usize, Vec<f64>>> = vec![BTreeMap::new(); sessions.len()];
    for row in &rows {
        let session = sessions.iter().position(|s| *s == row.session).unwrap_or(0);
        let antenna = antennas.iter().position(|a| *a == row.antenna).unwrap_or(0);
        by_session[session].entry(antenna).or_default().extend(&row.reports);
    }
    OrdinalSet { quantity, band: rows[0].band.clone(), meter: rows[0].meter.clone(), antennas, sessions: by_session }
}
