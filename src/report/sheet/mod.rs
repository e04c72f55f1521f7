//! The record sheet of the next session: a CSV that the log is read from once its values are filled in, and a page to
//! print and write on.

use minijinja::value::Serde;
use minijinja::{Environment, Value, context};
use serde::Serialize;

use super::plan_text::{CAUTIONS, headline};
use crate::analysis::plan::result::Plan;
use crate::radio::quantity::in_words;
use crate::season::append::safe;

/// Columns of the CSV, in the order of a log.
const COLUMNS: [&str; 11] =
    ["session", "antenna", "band", "meter", "quantity", "value", "unit", "mounting", "when", "order", "note"];

/// The CSV: one row a reading, `value`, `when` and `note` left empty.
///
/// # Errors
/// None is expected: it is written to memory.
pub fn csv(plan: &Plan) -> Result<String, String> {
    let failed = |e: &dyn std::fmt::Display| format!("the record sheet could not be written: {e}");
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record(COLUMNS).map_err(|e| failed(&e))?;
    for row in &plan.sheet {
        let (mounting, order) = (row.mounting.to_string(), row.order.to_string());
        let record = [
            &row.session,
            &row.antenna,
            &row.band,
            &row.meter,
            &row.quantity,
            "",
            &row.unit,
            &mounting,
            "",
            &order,
            "",
        ];
        let cells = COLUMNS.iter().zip(record).map(|(column, cell)| safe(column, cell));
        writer.write_record(cells).map_err(|e| failed(&e))?;
    }
    let bytes = writer.into_inner().map_err(|e| failed(&e))?;
    String::from_utf8(bytes).map_err(|e| failed(&e))
}

#[derive(Serialize)]
struct Slot {
    place: usize,
    what: String,
    kind: String,
    readings: usize,
    bands: Vec<String>,
    rows: Vec<Line>,
}

#[derive(Serialize)]
struct Line {
    meter: String,
    quantity: String,
    bands: Vec<Boxes>,
}

/// The boxes of one line on one band.
#[derive(Serialize)]
struct Boxes {
    band: String,
    /// One for each reading; false where the meter does not read that there.
    boxes: Vec<bool>,
}

/// The page: self-contained, for paper.
///
/// # Errors
/// None is expected: the template is the program's own.
pub fn html(plan: &Plan) -> Result<String, String> {
    let failed = |e: minijinja::Error| format!("the record sheet could not be laid out: {e}");
    let mut environment = Environment::new();
    environment.add_template("page.html", include_str!("page.html")).map_err(failed)?;
    let slots: Vec<Slot> = plan.order.slots.iter().map(|s| slot(plan, s.place)).collect();
    let page = environment.get_template("page.html").map_err(failed)?;
    page.render(context! { season => &plan.season, session => &plan.session, why => headline(plan), cautions => CAUTIONS, slots => Value::from(Serde(&slots)) })
        .map_err(failed)
}

fn slot(plan: &Plan, place: usize) -> Slot {
    let of = &plan.order.slots[place - 1];
    let rows: Vec<_> = plan.sheet.iter().filter(|r| r.order == place).collect();
    let mut bands: Vec<String> = vec![];
    let mut lines: Vec<(String, String, String)> = vec![];
    for row in &rows {
        if !bands.contains(&row.band) {
            bands.push(row.band.clone());
        }
        let line = (row.meter.clone(), row.quantity.clone(), row.unit.clone());
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    let count = |band: &str, line: &(String, String, String)| {
        rows.iter().filter(|r| r.band == band && r.meter == line.0 && r.quantity == line.1).count()
    };
    let readings =
        bands.iter().flat_map(|b| lines.iter().map(move |l| (b, l))).map(|(b, l)| count(b, l)).max().unwrap_or(1);
    let kind = match (of.is_load, Some(&of.what) == plan.reference.as_ref()) {
        (true, _) => "check load".to_string(),
        (_, true) => format!("reference antenna, mounting {}", of.mounting),
        _ => format!("mounting {}", of.mounting),
    };
    let rows = lines
        .iter()
        .map(|line| Line {
            meter: line.0.clone(),
            quantity: words(&line.1, &line.2),
            bands: bands
                .iter()
                .map(|b| Boxes { band: b.clone(), boxes: (0..readings).map(|i| i < count(b, line)).collect() })
                .collect(),
        })
        .collect();
    Slot { place, what: of.what.clone(), kind, readings, bands, rows }
}

/// "forward power, W".
fn words(quantity: &str, unit: &str) -> String {
    let name = in_words(quantity);
    match unit {
        "" => name,
        "ohm" => format!("{name}, Ω"),
        unit => format!("{name}, {unit}"),
    }
}
