//! The record sheet: a row for every reading of the next session, in the long form that the log is read in.

use polars::prelude::PolarsResult;

use super::order::Order;
use crate::analysis::antennas::Choice;
use crate::analysis::antennas::sets::quantity_place;
use crate::season::Season;
use crate::season::config::{Config, MeterKind};

/// One reading to take.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Row {
    /// Session.
    pub session: String,
    /// Antenna or check load.
    pub antenna: String,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Quantity.
    pub quantity: String,
    /// Its unit, empty where it has none.
    pub unit: String,
    /// Mounting within the session.
    pub mounting: usize,
    /// Place in the running order.
    pub order: usize,
}

/// What is read on one mounting: band, meter, quantity.
type Reading = (String, String, String);

/// The rows of a session, by running order, then band, meter, quantity, then repeat.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn rows(season: &Season, choice: &Choice, session: &str, order: &Order, readings: usize) -> PolarsResult<Vec<Row>> {
    let config = &season.config;
    let on_antennas = usual(season, choice, false)?;
    let on_loads = usual(season, choice, true)?;
    let mut rows = vec![];
    for slot in &order.slots {
        let (what, times) = if slot.is_load { (&on_loads, 1) } else { (&on_antennas, readings.max(1)) };
        for (band, meter, quantity) in what {
            let unit =
                config.quantity(quantity).map_or(String::new(), |q| if q.unit == "1" { String::new() } else { q.unit });
            for _ in 0..times {
                rows.push(Row {
                    session: session.to_string(),
                    antenna: slot.what.clone(),
                    band: band.clone(),
                    meter: meter.clone(),
                    quantity: quantity.clone(),
                    unit: unit.clone(),
                    mounting: slot.mounting,
                    order: slot.place,
                });
            }
        }
    }
    Ok(rows)
}

/// What this season reads on its antennas, or on its check loads; where it has not read any, what its meters show.
fn usual(season: &Season, choice: &Choice, loads: bool) -> PolarsResult<Vec<Reading>> {
    let (config, frame) = (&season.config, &season.readings.frame);
    let mut found: Vec<Reading> = vec![];
    if frame.height() > 0 {
        let text = |name: &str| frame.column(name).and_then(|c| c.str().cloned());
        let (antenna, band, meter, quantity) = (text("antenna")?, text("band")?, text("meter")?, text("quantity")?);
        for i in 0..frame.height() {
            if config.is_load(antenna.get(i).unwrap_or_default()) == loads {
                let of = |c: &polars::prelude::StringChunked| c.get(i).unwrap_or_default().to_string();
                found.push((of(&band), of(&meter), of(&quantity)));
            }
        }
    }
    if found.is_empty() {
        for band in &config.bands {
            for meter in &config.meters {
                let shown = shows(meter.kind).iter().filter(|q| !loads || **q == "swr" || **q == "impedance");
                found.extend(shown.map(|q| (band.name.clone(), meter.name.clone(), (*q).to_string())));
            }
        }
    }
    let fits = |wanted: &Option<String>, name: &str| wanted.as_ref().is_none_or(|w| w == name);
    found.retain(|(b, m, q)| fits(&choice.band, b) && fits(&choice.meter, m) && fits(&choice.quantity, q));
    let place = |names: Vec<&String>, name: &str| names.iter().position(|n| *n == name).unwrap_or(usize::MAX);
    found.sort_by_cached_key(|(b, m, q)| {
        (
            place(config.bands.iter().map(|b| &b.name).collect(), b),
            b.clone(),
            place(config.meters.iter().map(|m| &m.name).collect(), m),
            m.clone(),
            quantity_place(config, q),
        )
    });
    found.dedup();
    Ok(found)
}

/// What an instrument of that kind shows.
fn shows(kind: Option<MeterKind>) -> &'static [&'static str] {
    match kind {
        Some(MeterKind::InLine) => &["swr", "forward_power"],
        Some(MeterKind::Analyzer) => &["swr", "impedance"],
        Some(MeterKind::Field) => &["field_strength"],
        Some(MeterKind::Listener) => &["readability"],
        None => &[],
    }
}

/// The meters that show a quantity, by their kinds.
pub(super) fn meters_for<'a>(quantity: &str, config: &'a Config) -> Vec<&'a String> {
    config.meters.iter().filter(|m| shows(m.kind).contains(&quantity)).map(|m| &m.name).collect()
}
