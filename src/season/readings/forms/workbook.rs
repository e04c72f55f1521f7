//! An XLSX or ODS spreadsheet → text cells: dates as ISO 8601 writes them, formulas by the value last worked out, a
//! record's line the sheet's row.

use std::collections::{BTreeMap, HashMap};
use std::io::Cursor;

use calamine::{Data, Ods, Reader, Xlsx};

use super::super::ReadError;
use super::super::cell::Comma;
use super::super::fault::{Fault, Seen};
use super::super::layout;
use super::super::records::{Record, Sheet};
use super::archive;
use crate::season::config::Layout;
use crate::season::finding::Severity;

/// Cells of one sheet by row and column, from 0; and the rows that merged cells span.
struct Cells {
    rows: BTreeMap<u32, Vec<(u32, String)>>,
    merged: Vec<(usize, usize)>,
}

/// Opens a sheet of a workbook: the one the layout names, or the only one that holds anything.
///
/// # Errors
/// The file is no workbook this program reads, inflates without end, or holds several sheets and none is named.
pub fn sheet(file: &str, bytes: &[u8], layout: Option<&Layout>) -> Result<Sheet<'static>, ReadError> {
    let fail = |what: String, hint: &str| ReadError::Form { file: file.into(), what, hint: hint.into() };
    if bytes.starts_with(b"\xd0\xcf\x11\xe0") {
        return Err(fail(
            "is an old or a locked spreadsheet".into(),
            "take its password off, or save it as XLSX, ODS or CSV",
        ));
    }
    archive::check(bytes)
        .map_err(|what| fail(format!("is not taken in: {what}"), "save it again as XLSX, ODS or CSV"))?;
    let broken = |e: String| fail(format!("cannot be read as a spreadsheet: {e}"), "save it again as XLSX, ODS or CSV");
    let wanted = layout.and_then(|l| l.sheet.as_deref());
    // told apart by their contents, as a file may have been given the other's ending
    let cells = match Ods::new(Cursor::new(bytes)) {
        Ok(mut book) => {
            let sheets = book.worksheets().into_iter().filter(|(_, range)| !range.is_empty()).map(|(name, _)| name);
            let name = chosen(file, wanted, sheets.collect(), book.sheet_names())?;
            let range = book.worksheet_range(&name).map_err(|e| broken(e.to_string()))?;
            let start = range.start().unwrap_or((0, 0));
            let cells = range
                .used_cells()
                .map(|(row, column, data)| (row as u32 + start.0, column as u32 + start.1, data.clone()));
            by_row(cells, vec![])
        }
        Err(calamine::OdsError::FileNotFound("mimetype") | calamine::OdsError::InvalidMime(_)) => {
            let mut book = Xlsx::new(Cursor::new(bytes)).map_err(|e| broken(e.to_string()))?;
            let names = book.sheet_names();
            let name = match (&wanted, names.len()) {
                (None, 2..) => {
                    let full = names.iter().filter(|name| {
                        book.worksheet_cells_reader(name)
                            .is_ok_and(|mut cells| matches!(cells.next_cell(), Ok(Some(_))))
                    });
                    let full = full.cloned().collect();
                    chosen(file, wanted, full, names)?
                }
                _ => chosen(file, wanted, names.clone(), names)?,
            };
            let merged = book.merge_cells_by_sheet_name(&name).unwrap_or_default();
            let merged = merged.iter().map(|m| (m.start.0 as usize + 1, m.end.0 as usize + 1)).collect();
            let mut reader = book.worksheet_cells_reader(&name).map_err(|e| broken(e.to_string()))?;
            let mut cells = vec![];
            while let Some(cell) = reader.next_cell().map_err(|e| broken(e.to_string()))? {
                let (row, column) = cell.get_position();
                cells.push((row, column, Data::from(cell.get_value().clone())));
                if cells.len() as u64 > archive::MOST_CELLS {
                    return Err(broken(format!("the sheet has more than {} cells", archive::MOST_CELLS)));
                }
            }
            drop(reader);
            if cells.iter().any(|cell| cell.2 == Data::Empty) {
                let mut reader = book.worksheet_cells_reader(&name).map_err(|e| broken(e.to_string()))?;
                // a formula that can't be read leaves its cell empty, as it is
                let formulas = std::iter::from_fn(|| reader.next_formula().ok().flatten());
                let formulas: HashMap<(u32, u32), String> = formulas
                    .filter(|f| !f.get_value().is_empty())
                    .map(|f| (f.get_position(), f.get_value().clone()))
                    .collect();
                for (row, column, data) in cells.iter_mut().filter(|cell| cell.2 == Data::Empty) {
                    if let Some(formula) = formulas.get(&(*row, *column)) {
                        *data = Data::String(format!("={formula}"));
                    }
                }
            }
            by_row(cells.into_iter(), merged)
        }
        Err(e) => return Err(broken(e.to_string())),
    };
    laid(file, cells, layout)
}

/// The sheet asked for; else the only one that holds anything.
fn chosen(file: &str, wanted: Option<&str>, full: Vec<String>, all: Vec<String>) -> Result<String, ReadError> {
    let listed = |names: &[String]| names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
    let fail = |what: String, hint: &str| Err(ReadError::Form { file: file.into(), what, hint: hint.into() });
    match (wanted, full.as_slice()) {
        (Some(name), _) if all.iter().any(|n| n == name) => Ok(name.to_string()),
        (Some(name), _) => fail(
            format!("has no sheet `{name}`: its sheets are {}", listed(&all)),
            "correct `sheet` in its `[[layout]]`",
        ),
        (None, [only]) => Ok(only.clone()),
        (None, []) => Err(ReadError::Empty { file: file.into() }),
        (None, several) => fail(
            format!("has several sheets: {}", listed(several)),
            "name the one that holds the readings: `[[layout]]` with `file` and `sheet` in season.toml",
        ),
    }
}

fn by_row(cells: impl Iterator<Item = (u32, u32, Data)>, merged: Vec<(usize, usize)>) -> Cells {
    let mut rows: BTreeMap<u32, Vec<(u32, String)>> = BTreeMap::new();
    for (row, column, data) in cells {
        let text = text(data);
        if !text.trim().is_empty() {
            rows.entry(row).or_default().push((column, text));
        }
    }
    Cells { rows, merged }
}

/// Lays the cells out as records under their header. Rows are as wide as the header, or as their last cell.
fn laid(file: &str, cells: Cells, layout: Option<&Layout>) -> Result<Sheet<'static>, ReadError> {
    let Cells { rows, merged } = cells;
    let first = rows.values().flatten().map(|(column, _)| *column).min().unwrap_or(0);
    let mut records = rows.into_iter().map(move |(row, cells)| {
        let mut record = csv::StringRecord::new();
        for (column, text) in cells {
            let at = (column - first) as usize;
            while record.len() < at {
                record.push_field("");
            }
            if record.len() == at {
                record.push_field(&text);
            }
        }
        Record::new(row as usize + 1, record)
    });
    let header = layout::header(&mut records, layout).ok_or_else(|| ReadError::Empty { file: file.into() })?;
    let (width, line) = (header.cells.len(), header.line);
    let records = records.map(move |mut record| {
        let found = record.cells.len();
        while record.cells.len() < width {
            record.cells.push_field("");
        }
        let fault = (found > width).then(|| Fault {
            kind: "cells",
            severity: Severity::Error,
            column: None,
            what: format!("the row has text in column {found}, and the header names {width}"),
            why: "which column that text belongs to cannot be told".into(),
            action: "row set aside; give the column a name, or move the text".into(),
        });
        Record { fault, ..record }
    });
    let below: Vec<_> = merged.iter().filter(|(from, to)| *from > line && to > from).collect();
    let note = below.first().map(|&&(from, to)| {
        let fault = Fault {
            kind: "merged cells",
            severity: Severity::Warning,
            column: None,
            what: format!(
                "cells are merged over lines {from} to {to}{}",
                if below.len() > 1 { format!(", and in {} more places", below.len() - 1) } else { String::new() }
            ),
            why: "only the first of the merged lines holds their text; to the others it is empty".into(),
            action: "undo the merging, and fill the text in on every line".into(),
        };
        Seen::on_line(from, fault)
    });
    let notes = note.into_iter().collect();
    Ok(Sheet { header, records: Box::new(records), comma: Comma::Ambiguous, notes, merged })
}

/// A cell as the log would write it.
fn text(data: Data) -> String {
    match data {
        Data::Empty => String::new(),
        Data::String(text) => text,
        Data::Int(number) => number.to_string(),
        // the shortest text that reads back as the number: the digits it was typed with
        Data::Float(number) => number.to_string(),
        Data::Bool(flag) => flag.to_string(),
        Data::DateTime(moment) if moment.is_datetime() => {
            let (year, month, day, hours, minutes, seconds, milli) = moment.to_ymd_hms_milli();
            let date = format!("{year:04}-{month:02}-{day:02}");
            let clock = match (seconds, milli) {
                (0, 0) => format!("{hours:02}:{minutes:02}"),
                (_, 0) => format!("{hours:02}:{minutes:02}:{seconds:02}"),
                _ => format!("{hours:02}:{minutes:02}:{seconds:02}.{milli:03}"),
            };
            match moment.as_f64() {
                days if days.fract() == 0.0 => date,
                // a time of day alone counts from day 0
                days if days < 1.0 => clock,
                _ => format!("{date}T{clock}"),
            }
        }
        Data::DateTime(span) => span.as_f64().to_string(),
        Data::DateTimeIso(moment) => moment.strip_suffix("T00:00:00").unwrap_or(&moment).to_string(),
        Data::DurationIso(span) => span,
        Data::Error(error) => error.to_string(),
    }
}
