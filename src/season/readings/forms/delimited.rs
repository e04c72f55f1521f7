//! Delimited text → records, each with its physical line: separators `,` `;` and tab, quotes over several
//! lines, any line ends.
//!
//! Polars counts records, not lines, and fills or cuts ragged ones; so the `csv` crate finds the
//! records here, and Polars types their cells afterwards.

use super::super::ReadError;
use super::super::cell::Comma;
use super::super::fault::Fault;
use super::super::layout;
use super::super::marks;
use super::super::records::{Record, Sheet};
use super::super::table::{self, NEEDED, OPTIONAL, plain_name};
use super::encoding;
use crate::season::config::{Encoding, Layout};
use crate::season::finding::Severity;

/// Delimited text, opened.
pub struct Opened<'a> {
    /// Its sheet.
    pub sheet: Sheet<'a>,
    /// What separates its cells.
    pub delimiter: u8,
    /// Where the records below the header begin, in bytes of the text.
    pub body: usize,
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

/// The header of a file in the long form, for who appends to it.
///
/// # Errors
/// Text in no UTF; no header; a needed column missing; a column named twice.
pub fn header(file: &str, bytes: &[u8]) -> Result<Header, ReadError> {
    let text = encoding::decoded(file, bytes, Some(Encoding::Utf8))?.0;
    let delimiter = delimiter(&text, None);
    let header = Records::new(&text, delimiter).next().ok_or_else(|| ReadError::Empty { file: file.into() })?;
    Ok(Header { columns: table::column_names(file, &header.record)?, delimiter, comma: comma_between(delimiter) })
}

fn comma_between(delimiter: u8) -> Comma {
    if delimiter == b';' { Comma::Decimal } else { Comma::Ambiguous }
}

/// Opens delimited text; `text` keeps what the records are read from.
///
/// # Errors
/// The declared encoding is wrong; there is no header.
pub fn opened<'a>(
    file: &str,
    bytes: &[u8],
    layout: Option<&Layout>,
    text: &'a mut String,
) -> Result<Opened<'a>, ReadError> {
    let (decoded, notes) = encoding::decoded(file, bytes, layout.and_then(|l| l.encoding))?;
    *text = decoded;
    let text: &'a str = text;
    let delimiter = delimiter(text, layout);
    let mut records = Records::new(text, delimiter);
    let header = layout::header(&mut records.by_ref().map(|r| r.record), layout);
    let header = header.ok_or_else(|| ReadError::Empty { file: file.into() })?;
    let (width, body) = (header.cells.len(), records.offset());
    let records = records.map(move |Raw { record, raw, last }| judged(record, raw, last, width, delimiter));
    let comma = layout::comma(layout, comma_between(delimiter));
    let sheet = Sheet { header, records: Box::new(records), comma, notes, merged: vec![] };
    Ok(Opened { sheet, delimiter, body })
}

/// The separator under which the header names most of the columns wanted, then most columns; a comma when none does
/// better.
fn delimiter(text: &str, layout: Option<&Layout>) -> u8 {
    let wanted = layout.map(layout::headers).unwrap_or_default();
    let known = |delimiter: &u8| {
        let mut records = Records::new(text, *delimiter).map(|r| r.record);
        let header = layout::header(&mut records, layout);
        let names = || header.iter().flat_map(|h| h.cells.iter());
        let known = |name: &str| {
            let plain = plain_name(name);
            NEEDED.contains(&plain.as_str()) || OPTIONAL.contains(&plain.as_str()) || wanted.contains(&name.trim())
        };
        (names().filter(|name| known(name)).count(), names().count())
    };
    // `max_by_key` takes the last of equals.
    b"\t;,".iter().copied().max_by_key(known).unwrap_or(b',')
}

/// A record and where it lies in the text.
pub struct Raw<'a> {
    /// The record.
    pub record: Record,
    /// Its own text.
    pub raw: &'a str,
    last: bool,
}

/// A record, of which `raw` is its own text and `last` says whether none follows, with what keeps it from being laid
/// under a header that wide.
pub fn judged(record: Record, raw: &str, last: bool, width: usize, delimiter: u8) -> Record {
    // a mark beyond the header's last column is no cell too many
    let marked = record.cells.len() == width + 1 && record.cells.get(width).is_some_and(marks::is_mark);
    let width = width + usize::from(marked);
    let torn = marks::is_unfinished(raw) && !swallows_lines(&record, raw, last, width, delimiter);
    let fault = if torn { Some(marks::torn()) } else { fault(&record, raw, last, width, delimiter) };
    Record { fault, ..record }
}

fn fault(record: &Record, raw: &str, last: bool, width: usize, delimiter: u8) -> Option<Fault> {
    let line = record.line;
    let last_line = line + line_ends(raw.trim_end());
    let (found, swallowed) = (record.cells.len(), swallows_lines(record, raw, last, width, delimiter));
    let what = match (found == width, swallowed) {
        (true, false) => return None,
        (_, true) => format!("a quote opened on this line runs on to line {last_line}, over what looks like rows"),
        (false, false) if last_line > line => {
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
fn swallows_lines(record: &Record, raw: &str, last: bool, width: usize, delimiter: u8) -> bool {
    let unclosed = last && raw.bytes().filter(|&b| b == b'"').count() % 2 == 1;
    let like_rows = |cell: &str| cell.lines().any(|l| l.bytes().filter(|&b| b == delimiter).count() + 1 >= width);
    line_ends(raw.trim_end()) > 0
        && (unclosed || record.cells.iter().any(|cell| line_ends(cell) > 0 && like_rows(cell)))
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
    type Item = Raw<'a>;

    fn next(&mut self) -> Option<Raw<'a>> {
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
                return Some(Raw { record: Record::new(self.line, cells), raw: &text[start..end], last });
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
