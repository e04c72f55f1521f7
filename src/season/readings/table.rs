//! A sheet of text → a frame of text: one row a record, each with its place in the file.

use polars::prelude::*;

use super::ReadError;
use super::cell::{self, Comma};
use super::fault::{Fault, Seen};
use super::layout::Places;
use super::marks;
use super::names::nearest;
use super::records::{Record, Sheet};
use crate::season::finding::{Finding, Place, Severity};

/// Columns no reading can do without.
pub const NEEDED: [&str; 6] = ["session", "antenna", "band", "meter", "quantity", "value"];
/// Columns that may be absent.
pub const OPTIONAL: [&str; 8] = ["unit", "mounting", "when", "order", "readings", "sd", "battery", marks::COLUMN];

/// A file as text.
pub struct Table {
    /// `row` (from 0) and `line`, then every needed and optional column as text: trimmed, null where blank or absent.
    pub frame: DataFrame,
    /// What a comma in a number means in this file.
    pub comma: Comma,
    /// Records that say anything, the broken ones included.
    pub rows: usize,
    /// Records that can't be laid under the header: set aside.
    pub broken: Vec<Seen>,
    /// What the file as a whole says that may be meant otherwise.
    pub notes: Vec<Seen>,
    /// The columns of a wide sheet that the rows were made from.
    pub places: Option<Places>,
}

/// Lays a sheet's records under its header. A wide sheet comes with the `places` of its columns.
///
/// # Errors
/// A needed column missing; a column named twice; no records.
pub fn table(file: &str, sheet: Sheet<'_>, places: Option<Places>) -> Result<Table, ReadError> {
    let table = table_or_empty(file, sheet, places)?;
    if table.rows == 0 { Err(ReadError::HeaderOnly { file: file.into() }) } else { Ok(table) }
}

/// As [`table`], but no record is no error.
///
/// # Errors
/// A needed column missing; a column named twice.
pub fn table_or_empty(file: &str, sheet: Sheet<'_>, mut places: Option<Places>) -> Result<Table, ReadError> {
    let Sheet { header, mut records, comma, mut notes, merged } = sheet;
    let columns = match Columns::find(file, &header) {
        Ok(columns) => columns,
        Err(ReadError::MissingColumn { file, line, column, nearest, found, .. }) => {
            let titled = below_titles(&header, &mut records, &merged);
            return Err(ReadError::MissingColumn { file, line, column, nearest, found, titled });
        }
        Err(error) => return Err(error),
    };
    let value = columns.place("value");
    let mut lines: Vec<u32> = Vec::new();
    let mut builders: Vec<_> = columns.places.iter().map(|c| StringChunkedBuilder::new(c.0.into(), 0)).collect();
    let mut broken = Vec::new();
    let mut commas = Commas::default();
    for record in records {
        if let Some(fault) = record.fault {
            broken.push(Seen::on_line(record.line, fault));
            continue;
        }
        commas.see(record.line, value.and_then(|at| record.cells.get(at)).unwrap_or(""), comma);
        lines.push(u32::try_from(record.line).unwrap_or(u32::MAX));
        if let (Some(places), Some(place)) = (&mut places, record.place) {
            places.of_row.push(place);
        }
        let beyond = record.cells.len() == columns.names.len() + 1;
        for (builder, &(column, place)) in builders.iter_mut().zip(&columns.places) {
            // a mark may stand beyond the header's last column
            let place = place.or((beyond && column == marks::COLUMN).then_some(columns.names.len()));
            let cell = place.and_then(|at| record.cells.get(at)).map(str::trim);
            builder.append_option(cell.filter(|cell| !cell.is_empty()));
        }
    }
    let rows = lines.len() + broken.len();
    let count = u32::try_from(lines.len()).unwrap_or(u32::MAX);
    let mut series = vec![Column::new("row".into(), (0..count).collect::<Vec<_>>()), Column::new("line".into(), lines)];
    series.extend(builders.into_iter().map(|builder| builder.finish().into_column()));
    let frame = DataFrame::new_infer_height(series).map_err(|source| ReadError::Frame { file: file.into(), source })?;
    notes.extend(columns.near_misses(header.line));
    notes.extend(commas.note());
    Ok(Table { frame, comma, rows, broken, notes, places })
}

/// A column's name in small letters, without blanks around it.
pub fn plain_name(header: &str) -> String {
    header.trim().to_lowercase()
}

/// How many of the columns that a reading may have a line names.
fn known_names(record: &Record) -> usize {
    let known = |name: &String| NEEDED.contains(&name.as_str()) || OPTIONAL.contains(&name.as_str());
    record.cells.iter().map(plain_name).filter(known).count()
}

/// Where a title stands above the column names: the title, the line of the names, and whether its cells are merged.
fn below_titles(
    header: &Record,
    records: &mut dyn Iterator<Item = Record>,
    merged: &[(usize, usize)],
) -> Option<(String, usize, bool)> {
    let names = records.take(50).find(|record| known_names(record) >= 4)?;
    let title = header.cells.iter().find(|cell| !cell.trim().is_empty())?;
    let merged = merged.iter().any(|&(from, to)| (from..=to).contains(&header.line));
    Some((title.trim().chars().take(60).collect(), names.line, merged))
}

/// Names of a header's columns, in lower case, of which none that a reading needs is missing, and none is there twice.
///
/// # Errors
/// One is.
pub fn column_names(file: &str, header: &Record) -> Result<Vec<String>, ReadError> {
    Ok(Columns::find(file, header)?.names)
}

/// Decimal commas that nobody declared.
#[derive(Default)]
struct Commas {
    first: Option<(usize, String)>,
    count: usize,
}

impl Commas {
    fn see(&mut self, line: usize, cell: &str, comma: Comma) {
        if !cell.contains(',') || !comma.is_guessed() || cell::number_before_unit(cell, comma).is_none() {
            return;
        }
        self.count += 1;
        self.first.get_or_insert_with(|| (line, cell.trim().into()));
    }

    fn note(self) -> Option<Seen> {
        let (line, cell) = self.first?;
        let cells = if self.count == 1 { "1 cell".to_string() } else { format!("{} cells", self.count) };
        let fault = Fault {
            kind: "decimal comma",
            severity: Severity::Note,
            column: Some("value"),
            what: format!("`{cell}` was read with a decimal comma, like {cells} in all"),
            why: COMMA_WHY.into(),
            action: COMMA_ACTION.into(),
        };
        Some(Seen::on_line(line, fault))
    }
}

/// The note on decimal commas of a large file, of which `value` is the first.
pub fn decimal_comma(file: &str, value: &str) -> Finding {
    let place = Place { file: file.into(), line: None, column: Some("value".into()) };
    let what = format!("`{value}` and values like it were read with a decimal comma");
    Finding::new(Severity::Note, place, what, COMMA_WHY, COMMA_ACTION).by("decimal comma")
}

const COMMA_WHY: &str = "a comma that groups thousands instead would make the value a thousandth";
const COMMA_ACTION: &str = "write `decimal = \",\"` in a `[[layout]]` for this file, and it is no longer a guess";

/// Where each column stands in the file.
struct Columns {
    names: Vec<String>,
    places: Vec<(&'static str, Option<usize>)>,
}

impl Columns {
    fn find(file: &str, header: &Record) -> Result<Columns, ReadError> {
        let names: Vec<String> = header.cells.iter().map(plain_name).collect();
        if let Some((_, name)) = names.iter().enumerate().find(|(at, n)| !n.is_empty() && names[..*at].contains(n)) {
            return Err(ReadError::DuplicateColumn { file: file.into(), line: header.line, column: name.clone() });
        }
        let place = |column: &'static str| (column, names.iter().position(|name| name == column));
        let places: Vec<_> = NEEDED.into_iter().chain(OPTIONAL).map(place).collect();
        if let Some((missing, _)) = places[..NEEDED.len()].iter().find(|(_, place)| place.is_none()) {
            let spare = names.iter().map(String::as_str).filter(|n| !NEEDED.contains(n) && !OPTIONAL.contains(n));
            return Err(ReadError::MissingColumn {
                file: file.into(),
                line: header.line,
                column: (*missing).into(),
                nearest: nearest(missing, spare, 0.5).map(str::to_string),
                found: names,
                titled: None,
            });
        }
        Ok(Columns { names, places })
    }

    fn place(&self, column: &str) -> Option<usize> {
        self.places.iter().find(|(name, _)| *name == column).and_then(|(_, place)| *place)
    }

    /// Unread columns whose name is nearly that of an absent optional one: a slip would go unseen.
    fn near_misses(&self, line: usize) -> Vec<Seen> {
        let absent = || {
            let places = self.places.iter().filter(|(column, place)| place.is_none() && *column != marks::COLUMN);
            places.map(|&(column, _)| column)
        };
        let unread = self.names.iter().filter(|n| !NEEDED.contains(&n.as_str()) && !OPTIONAL.contains(&n.as_str()));
        unread
            .filter_map(|name| nearest(name, absent(), 0.7).map(|meant| (name, meant)))
            .map(|(name, meant)| {
                let fault = Fault {
                    kind: "header",
                    severity: Severity::Warning,
                    column: None,
                    what: format!("column `{name}` is not read, but its name is close to `{meant}`"),
                    why: format!("if `{meant}` is meant, what it says is missing from every verdict"),
                    action: format!("column not used; name it `{meant}` if that is meant"),
                };
                Seen::on_line(line, fault)
            })
            .collect()
    }
}
