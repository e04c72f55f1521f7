//! The sets of a season: all readings of one quantity on one band by one meter, as the sufficient
//! statistics of their mountings.

use std::collections::BTreeMap;

use polars::prelude::*;

use crate::analysis::meters::correction::SetCorrection;
use crate::radio::quantity::{Quantity, Scale};
use crate::radio::reflection;
use crate::season::config::{Config, Repeats};
use crate::stats::mixed::MountingSummary;

/// One set, ready to be fitted.
#[derive(Debug, Clone)]
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

/// What one row of the group-by holds: one mounting of an antenna or check load, as read.
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

/// A row's mounting: its number; for rows without one, one mounting a visit or one a row, as the
/// season says. Numbered and unnumbered rows never share a mounting.
fn mounting_key(repeats: Repeats) -> Expr {
    let unnumbered = match repeats {
        Repeats::LeftOn => lit(i64::MIN),
        Repeats::Remounted => lit(i64::MIN) + col("row").cast(DataType::Int64),
    };
    when(col("mounting").is_null()).then(unnumbered).otherwise(col("mounting")).alias("mounting_key")
}

fn weighted_mean() -> Expr {
    (col("readings") * col("y")).sum() / col("readings").sum()
}

/// Scatter of a mounting's rows about its mean, and inside summarised rows.
fn sum_of_squares() -> Expr {
    let between = (col("readings") * (col("y") - weighted_mean()).pow(2)).sum();
    let inside = ((col("readings") - lit(1.0)) * col("y_sd").pow(2)).fill_null(lit(0.0)).sum();
    (between + inside).alias("sum_of_squares")
}

/// Degrees of freedom of that scatter: a summarised row without a standard deviation brings none of its own.
fn degrees_of_freedom() -> Expr {
    let inside = when(col("y_sd").is_null()).then(lit(0.0)).otherwise(col("readings") - lit(1.0)).sum();
    (inside + (col("y").count().cast(DataType::Float64) - lit(1.0))).alias("df")
}

/// Every mounting in the log, check loads' too.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame made by the season.
pub fn rows(frame: &DataFrame, config: &Config) -> PolarsResult<Vec<Row>> {
    let keys = ["quantity", "band", "meter", "session", "antenna"];
    let by: Vec<Expr> = keys.iter().map(|k| col(*k)).chain([col("mounting_key")]).collect();
    let grouped = frame
        .clone()
        .lazy()
        .with_row_index("row", None)
        .with_columns([mounting_key(config.repeats)])
        .group_by_stable(by)
        .agg([
            col("readings").sum().alias("n"),
            weighted_mean().alias("mean"),
            sum_of_squares(),
            degrees_of_freedom(),
            col("step").min(),
            col("value"),
        ])
        .collect()?;
    let text = |name: &str| grouped.column(name).and_then(|c| c.str().cloned());
    let number = |name: &str| grouped.column(name).and_then(|c| c.f64().cloned());
    let (quantity, band, meter) = (text("quantity")?, text("band")?, text("meter")?);
    let (session, antenna) = (text("session")?, text("antenna")?);
    let step = number("step")?;
    let mounting = grouped.column("mounting_key")?.i64()?.clone();
    let (n, mean, ss, df) = (number("n")?, number("mean")?, number("sum_of_squares")?, number("df")?);
    let values = grouped.column("value")?.list()?.clone();
    let mut out = Vec::with_capacity(grouped.height());
    for i in 0..grouped.height() {
        let antenna = antenna.get(i).unwrap_or_default();
        let reports: Vec<f64> = match values.get_as_series(i) {
            Some(series) => series.f64()?.into_no_null_iter().collect(),
            None => vec![],
        };
        out.push(Row {
            quantity: quantity.get(i).unwrap_or_default().into(),
            band: band.get(i).unwrap_or_default().into(),
            meter: meter.get(i).unwrap_or_default().into(),
            session: session.get(i).unwrap_or_default().into(),
            antenna: antenna.into(),
            mounting: mounting.get(i).unwrap_or(i64::MIN),
            summary: MountingSummary {
                session: 0,
                antenna: 0,
                readings: n.get(i).unwrap_or(1.0),
                df: df.get(i).unwrap_or(0.0),
                mean: mean.get(i).unwrap_or(0.0),
                sum_of_squares: ss.get(i).unwrap_or(0.0).max(0.0),
            },
            step: step.get(i).unwrap_or(f64::INFINITY),
            reports,
        });
    }
    Ok(out)
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
            session: sessions.iter().position(|s| *s == r.session).unwrap_or(0),
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
