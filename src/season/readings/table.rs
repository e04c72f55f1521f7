//! A file's bytes → a frame of text: one row a record, each with its physical line.
//!
//! Polars counts records, not lines, and fills or cuts ragged ones; so the `csv` crate finds the
//! records here, and Polars types their cells afterwards.

use polars::prelude::*;

use super::ReadError;
use super::cell::Comma;
use super::fault::{Fault, Seen};
use super::marks;
use super::names::nearest;
use crate::season::finding::Severity;

/// Columns no reading can do without.
pub const NEEDED: [&str; 6] = ["session", "antenna", "band", "meter", "quantity", "value"];
/// Columns that may be absent.
pub const OPTIONAL: [&str; 8] = ["unit", "mounting", "when", "order", "readings", "sd", "battery", marks::COLUMN];

/// A file as text.
pub struct Table {
    /// `line`, then every needed and optional column as text: trimmed, null where blank or absent.
    pub frame: DataFrame,
    /// What a comma in a number means in this file.
    pub comma: Comma,
    /// Records that say anything, the broken ones included.
    pub rows: usize,
    /// Records that can't be laid under the header: set aside.
    pub broken: Vec<Seen>,
    /// What the header says that may be meant otherwise.
    pub header: Vec<Seen>,
}

/// What a file's header says.
pub struct Header {
    /// Names of its columns, in lower case.
    pub columns: Vec<String>,
    /// What separates its cells.
    pub delimiter: u8,
    /// What a comma in a number means in it.
    pub comma: Comma,
}

/// A file's header.
///
/// # Errors
/// Text that isn't UTF-8; no header; a needed column missing; a column named twice.
pub fn header(file: &str, bytes: &[u8]) -> Result<Header, ReadError> {
    let text = text(file, bytes)?;
    let delimiter = delimiter(text);
    let header = Records::new(text, delimiter).next().ok_or_else(|| ReadError::Empty { file: file.into() })?;
    let columns = Columns::find(file, &header)?.names;
    Ok(Header { columns, delimiter, comma: comma(delimiter) })
}

fn comma(delimiter: u8) -> Comma {
    if delimiter == b';' { Comma::Decimal } else { Comma::Ambiguous }
}

/// Lays a file's records under its header.
///
/// # Errors
/// Text that isn't UTF-8; no header; a needed column missing; a column named twice; no records.
pub fn table(file: &str, bytes: &[u8]) -> Result<Table, ReadError> {
    let text = text(file, bytes)?;
    let delimiter = delimiter(text);
    let mut records = Records::new(text, delimiter);
    let header = records.next().ok_or_else(|| ReadError::Empty { file: file.into() })?;
    let columns = Columns::find(file, &header)?;

    let mut lines: Vec<u32> = Vec::new();
    let mut builders: Vec<_> = columns.places.iter().map(|c| StringChunkedBuilder::new(c.0.into(), 0)).collect();
    let mut broken = Vec::new();
    for record in records {
        let mark = columns.mark(&record);
        // a mark beyond the header's last column is no cell too many
        let width = mark.map_or(0, |place| place + 1).max(columns.width);
        let torn = marks::is_unfinished(record.raw) && !record.swallows_lines(width, delimiter);
        let fault = if torn { Some(marks::torn()) } else { record.fault(width, delimiter) };
        if let Some(fault) = fault {
            broken.push(Seen { line: record.line, fault });
            continue;
        }
        lines.push(u32::try_from(record.line).unwrap_or(u32::MAX));
        for (builder, &(column, place)) in builders.iter_mut().zip(&columns.places) {
            let place = place.or(mark.filter(|_| column == marks::COLUMN));
            let cell = place.and_then(|at| record.cells.get(at)).map(str::trim);
            builder.append_option(cell.filter(|cell| !cell.is_empty()));
        }
    }
    let rows = lines.len() + broken.len();
    if rows == 0 {
        return Err(ReadError::HeaderOnly { file: file.into() });
    }
    let mut series = vec![Column::new("line".into(), lines)];
    series.extend(builders.into_iter().map(|builder| builder.finish().into_column()));
    let frame = DataFrame::new_infer_height(series).map_err(|source| ReadError::Frame { file: file.into(), source })?;
    Ok(Table { frame, comma: comma(delimiter), rows, broken, header: columns.near_misses(header.line) })
}

/// The text without its byte-order mark.
fn text<'a>(file: &str, bytes: &'a [u8]) -> Result<&'a str, ReadError> {
    let text = std::str::from_utf8(bytes).map_err(|error| ReadError::NotUtf8 {
        file: file.into(),
        line: 1 + bytes[..error.valid_up_to()].iter().filter(|&&b| b == b'\n').count(),
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// The separator under which the header names most of the columns; a comma when none does better.
fn delimiter(text: &str) -> u8 {
    let known = |delimiter: &u8| {
        let header = Records::new(text, *delimiter).next();
        let names = header.iter().flat_map(|h| h.cells.iter()).map(plain_name);
        names.filter(|name| NEEDED.contains(&name.as_str()) || OPTIONAL.contains(&name.as_str())).count()
    };
    // `max_by_key` takes the last of equals.
    b"\t;,".iter().copied().max_by_key(known).unwrap_or(b',')
}

fn plain_name(header: &str) -> String {
    header.trim().to_lowercase()
}

/// Where each column stands in the file.
struct Columns {
    names: Vec<String>,
    places: Vec<(&'static str, Option<usize>)>,
    width: usize,
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
            });
        }
        Ok(Columns { width: names.len(), names, places })
    }

    /// Where a record bears a mark, if it does: in its column, or in one cell more than the header has.
    fn mark(&self, record: &Record) -> Option<usize> {
        let column = self.places.iter().find(|(column, _)| *column == marks::COLUMN).and_then(|(_, place)| *place);
        let at = column.unwrap_or(self.width);
        let marked = record.cells.get(at).is_some_and(marks::is_mark);
        (marked && (column.is_some() || record.cells.len() == self.width + 1)).then_some(at)
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
            .map(|(name, meant)| Seen {
                line,
                fault: Fault {
                    kind: "header",
                    severity: Severity::Warning,
                    column: None,
                    what: format!("column `{name}` is not read, but its name is close to `{meant}`"),
                    why: format!("if `{meant}` is meant, what it says is missing from every verdict"),
                    action: format!("column not used; name it `{meant}` if that is meant"),
                },
            })
            .collect()
    }
}

/// One record that says anything, and where it lies in the text.
pub struct Record<'a> {
    /// Its cells.
    pub cells: csv::StringRecord,
    /// Line it starts on, from 1.
    pub line: usize,
    /// Its own text.
    pub raw: &'a str,
    last: bool,
}

impl Record<'_> {
    /// What keeps the record from being laid under the header.
    fn fault(&self, width: usize, delimiter: u8) -> Option<Fault> {
        let last_line = self.line + line_ends(self.raw.trim_end());
        let (found, swallowed) = (self.cells.len(), self.swallows_lines(width, delimiter));
        let what = match (found == width, swallowed) {
            (true, false) => return None,
            (_, true) => format!("a quote opened on this line runs on to line {last_line}, over what looks like rows"),
            (false, false) if last_line > self.line => {
                format!("the row has {found} cells where the header has {width}, and runs on to line {last_line}")
            }
            (false, false) => format!("the row has {found} cells where the header has {width}"),
        };
        let action = if swallowed {
            "set aside with all it runs over; close the quote where its cell ends"
        } else if found > width {
            "row set aside; put quotes around a cell that holds a separator, a decimal comma too"
        } else {
            "row set aside; give it as many cells as the header, empty ones too"
        };
        Some(Fault {
            kind: "cells",
            severity: Severity::Error,
            column: None,
            what,
            why: "which cell belongs to which column cannot be told".into(),
            action: action.into(),
        })
    }

    /// Whether a stray quote took later rows for text: it is never closed, or a line in a cell has as
    /// many separators as a row.
    fn swallows_lines(&self, width: usize, delimiter: u8) -> bool {
        let body = self.raw.trim_end();
        let unclosed = self.last && self.raw.bytes().filter(|&b| b == b'"').count() % 2 == 1;
        let like_rows = |cell: &str| cell.lines().any(|l| l.bytes().filter(|&b| b == delimiter).count() + 1 >= width);
        line_ends(body) > 0 && (unclosed || self.cells.iter().any(|cell| line_ends(cell) > 0 && like_rows(cell)))
    }
}

/// The records of a text that say anything: lines with no text in any cell are passed over.
pub struct Records<'a> {
    text: &'a str,
    reader: csv::Reader<&'a [u8]>,
    /// Up to where lines are counted, and the line there.
    counted: usize,
    line: usize,
}

impl<'a> Records<'a> {
    /// The records of a text with that separator.
    pub fn new(text: &'a str, delimiter: u8) -> Self {
        let reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        Records { text, reader, counted: 0, line: 1 }
    }

    fn offset(&self) -> usize {
        usize::try_from(self.reader.position().byte()).unwrap_or(self.text.len()).min(self.text.len())
    }
}

impl<'a> Iterator for Records<'a> {
    type Item = Record<'a>;

    fn next(&mut self) -> Option<Record<'a>> {
        let mut cells = csv::StringRecord::new();
        loop {
            let from = self.offset();
            // UTF-8 was checked, a slice can't fail to be read, and ragged records are allowed: no error is left.
            if !self.reader.read_record(&mut cells).ok()? {
                return None;
            }
            let (text, end) = (self.text, self.offset());
            // The reader counts the empty lines before a record to the record.
            let start = end - text[from..end].trim_start_matches(['\r', '\n']).len();
            self.line += line_ends(&text[self.counted..start]);
            self.counted = start;
            if cells.iter().any(|cell| !cell.trim().is_empty()) {
                let last = text[end..].trim().is_empty();
                return Some(Record { cells, line: self.line, raw: &text[start..end], last });
            }
        }
    }
}

/// Ends of line in a text: `\n`, `\r\n` or `\r`.
fn line_ends(text: &str) -> usize {
    let bytes = text.as_bytes();
    let ends = |(at, &byte): (usize, &u8)| byte == b'\n' || (byte == b'\r' && bytes.get(at + 1) != Some(&b'\n'));
    bytes.iter().enumerate().filter(|&pair| ends(pair)).count()
}
