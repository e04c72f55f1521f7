//! A long CSV sheet as it is written: its style, and the rows of one session cell by cell, for those who append to
//! it.

use super::ReadError;
use super::cell::Comma;
use super::forms::delimited::{self, Header};
use super::marks;
use super::table;
use crate::season::append::{Entry, Style};

/// How a sheet is written, and the length of its header line in bytes.
///
/// # Errors
/// Text that isn't UTF-8; no header, or one that readings can't stand under.
pub fn sheet_style(file: &str, bytes: &[u8]) -> Result<(Style, usize), ReadError> {
    let Header { columns, delimiter, comma } = delimited::header(file, bytes)?;
    let end = bytes.iter().position(|&b| b == b'\n').map_or(bytes.len(), |at| at + 1);
    let line_end = if bytes[..end].ends_with(b"\r\n") { "\r\n" } else { "\n" };
    let text = String::from_utf8_lossy(bytes);
    let value = columns.iter().position(|c| c == "value");
    // commas in numbers are kept where the sheet has them already
    let decimal_comma = comma == Comma::Decimal
        && records(&text, delimiter)
            .any(|(_, r)| value.and_then(|at| r.get(at)).is_some_and(|cell| cell.contains(',')));
    Ok((Style { columns, delimiter, line_end, decimal_comma }, end))
}

/// The rows of a session, each with its line, that are neither taken back nor cut short, in the order of the
/// sheet. Cells are as written.
pub fn rows_of_session(text: &str, style: &Style, session: &str) -> Vec<(usize, Entry)> {
    let mut rows: Vec<(usize, Entry)> = vec![];
    for (line, record) in records(text, style.delimiter).skip(1) {
        let mut entry = Entry::default();
        for (column, cell) in style.columns.iter().zip(&record) {
            if let Some(own) = entry.cell_mut(column) {
                *own = cell.trim().to_string();
            }
        }
        if !style.has(marks::COLUMN) && record.len() == style.columns.len() + 1 {
            entry.mark = record.get(style.columns.len()).unwrap_or("").trim().to_string();
        }
        if entry.session != session || record.len() < style.columns.len() {
            continue;
        }
        if marks::is_mark(&entry.mark) {
            let same = |other: &Entry| says(other) == says(&entry);
            if let Some(at) = rows.iter().rposition(|(_, other)| same(other)) {
                rows.remove(at);
            }
            continue;
        }
        rows.push((line, entry));
    }
    rows
}

/// What an entry says in the columns that are read.
fn says(entry: &Entry) -> Vec<Option<&str>> {
    table::NEEDED.into_iter().chain(table::OPTIONAL).filter(|c| *c != marks::COLUMN).map(|c| entry.cell(c)).collect()
}

/// The finished records of a text, each with its line.
fn records(text: &str, delimiter: u8) -> impl Iterator<Item = (usize, csv::StringRecord)> + '_ {
    delimited::Records::new(text.strip_prefix('\u{feff}').unwrap_or(text), delimiter)
        .filter(|raw| !marks::is_unfinished(raw.raw))
        .map(|raw| (raw.record.line, raw.record.cells))
}
