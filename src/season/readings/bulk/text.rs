//! A large text file → chunks of whole records, summed up.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::super::forms::delimited;
use super::super::left_out::LeftOut;
use super::super::marks;
use super::super::records::Record;
use super::super::table::{NEEDED, OPTIONAL, plain_name};
use super::super::{Part, ReadError, layout};
use super::chunk::{Moments, Row, Rules, Summing, Value, plain};
use super::{Summed, Unfit, on_all_threads, part};
use crate::season::config::{Config, Encoding, Layout};

/// Bytes of a chunk.
const CHUNK: usize = 16 << 20;
/// The longest record: past it, a quote was never closed.
const LONGEST: usize = 64 << 20;
/// Bytes of the start in which the header must stand.
const START: usize = 1 << 20;

/// A chunk of whole records.
struct Piece(Vec<u8>);

/// Takes a text file in; `None` where it must go the way of small files: another encoding than UTF-8, lines ended by
/// a lone carriage return, a quote that is never closed.
pub fn read(
    file: &str,
    path: &Path,
    layout: Option<&Layout>,
    config: &Config,
    left_out: &mut [LeftOut],
) -> Result<Option<Part>, ReadError> {
    let unreadable = |error: std::io::Error| ReadError::Unreadable { file: file.into(), reason: error.to_string() };
    if layout.is_some_and(|l| l.encoding.is_some_and(|e| e != Encoding::Utf8)) {
        return Ok(None);
    }
    let mut start = vec![];
    File::open(path).and_then(|f| f.take(START as u64).read_to_end(&mut start)).map_err(unreadable)?;
    // the last character may be cut
    let whole = std::str::from_utf8(&start).map_or_else(|e| e.valid_up_to(), |_| start.len());
    if whole + 4 < start.len() || start.contains(&0) {
        return Ok(None);
    }
    let end = start[..whole].iter().rposition(|&b| b == b'\n').map_or(whole, |at| at + 1);
    let mut text = String::new();
    let sheet = match delimited::opened(file, &start[..end], layout, &mut text) {
        Ok(opened) => opened,
        Err(ReadError::Empty { .. }) => return Ok(None),
        Err(error) => return Err(error),
    };
    let (header, delimiter, body, comma) = (sheet.sheet.header, sheet.delimiter, sheet.body, sheet.sheet.comma);
    let rules = Rules { config, comma };
    let Some(columns) = Columns::find(&header) else { return Ok(None) };
    let point = if layout::point_is_comma(comma) { b',' } else { b'.' };
    let mut values = sheet.sheet.records.map(|r| r.cells.get(columns.value).unwrap_or("").trim().to_string());
    let with_comma =
        values.find(|v| point == b',' && comma.is_guessed() && plain(v.as_bytes(), b',').is_some() && v.contains(','));
    let file_open = File::open(path).map_err(unreadable)?;
    let mut failed = None;
    // the mark at the start is no part of the text the header was found in
    let mark = if start.starts_with(b"\xef\xbb\xbf") { 3 } else { 0 };
    let produce = |hand_out: &dyn Fn(Piece) -> bool| pieces(file_open, body + mark, hand_out, &mut failed);
    let merged = on_all_threads(produce, |piece| summed(&piece.0, delimiter, point, &columns, &rules));
    if let Some(error) = failed {
        return Err(unreadable(error));
    }
    let Ok(mut merged) = merged else { return Ok(None) };
    merged.move_down(line_ends(&start[..(body + mark).min(start.len())]));
    let mut part = part(file, header, merged, &rules, layout, left_out)?;
    if let (Some(part), Some(value)) = (&mut part, with_comma) {
        part.findings.insert(1, super::super::table::decimal_comma(file, &value));
    }
    Ok(part)
}

fn line_ends(bytes: &[u8]) -> usize {
    bytes.iter().filter(|&&b| b == b'\n').count()
}

/// Cuts a file into chunks of whole records, from byte `from` on. A record ends at a line's end outside of quotes.
fn pieces(
    mut file: File,
    from: usize,
    hand_out: &dyn Fn(Piece) -> bool,
    failed: &mut Option<std::io::Error>,
) -> Result<(), Unfit> {
    let mut read = |left: &mut Vec<u8>, size: usize| {
        let more = (&mut file).take(size as u64).read_to_end(left);
        more.map_err(|error| {
            *failed = Some(error);
            Unfit
        })
    };
    read(&mut Vec::new(), from)?;
    let mut left: Vec<u8> = vec![];
    loop {
        let size = CHUNK.saturating_sub(left.len()).max(CHUNK / 4);
        let last = read(&mut left, size)? < size;
        let cut = if last { left.len() } else { whole_records(&left) };
        if cut == 0 && left.len() > LONGEST {
            return Err(Unfit);
        }
        if cut > 0 {
            let rest = left.split_off(cut);
            if !hand_out(Piece(std::mem::replace(&mut left, rest))) {
                return Err(Unfit);
            }
        }
        if last {
            return Ok(());
        }
    }
}

/// Up to where a text holds whole records.
fn whole_records(text: &[u8]) -> usize {
    if !text.contains(&b'"') {
        return text.iter().rposition(|&b| b == b'\n').map_or(0, |at| at + 1);
    }
    let (mut open, mut end) = (false, 0);
    for (at, &b) in text.iter().enumerate() {
        match b {
            b'"' => open = !open,
            b'\n' if !open => end = at + 1,
            _ => {}
        }
    }
    end
}

/// Where a large file's columns stand.
struct Columns {
    width: usize,
    /// Session, antenna, band, meter, quantity, unit.
    names: [Option<usize>; 6],
    value: usize,
    mounting: Option<usize>,
    when: Option<usize>,
    readings: Option<usize>,
    sd: Option<usize>,
    mark: Option<usize>,
    numbers: [Option<usize>; 2],
}

impl Columns {
    /// `None` where the header is one that the way of small files has something to say of.
    fn find(header: &Record) -> Option<Columns> {
        let names: Vec<String> = header.cells.iter().map(plain_name).collect();
        let place = |column: &str| names.iter().position(|name| name == column);
        let twice = |name: &String| names.iter().filter(|n| *n == name).count() > 1;
        let known = |name: &String| NEEDED.contains(&name.as_str()) || OPTIONAL.contains(&name.as_str());
        if NEEDED.iter().any(|column| place(column).is_none()) || names.iter().any(|n| known(n) && twice(n)) {
            return None;
        }
        Some(Columns {
            width: names.len(),
            names: ["session", "antenna", "band", "meter", "quantity", "unit"].map(place),
            value: place("value")?,
            mounting: place("mounting"),
            when: place("when"),
            readings: place("readings"),
            sd: place("sd"),
            mark: place(marks::COLUMN),
            numbers: ["order", "battery"].map(place),
        })
    }
}

/// A mounting's number; an empty cell has none.
pub fn whole(text: &str) -> Result<Option<i64>, ()> {
    if text.is_empty() {
        return Ok(None);
    }
    let digits = text.len() <= 15 && text.bytes().all(|b| b.is_ascii_digit());
    if digits { text.parse().map(Some).map_err(|_| ()) } else { Err(()) }
}

fn summed(text: &[u8], delimiter: u8, point: u8, columns: &Columns, rules: &Rules<'_>) -> Summed {
    let checked = std::str::from_utf8(text).map_err(|_| Unfit)?;
    if text.contains(&b'\r') && text.windows(2).any(|pair| pair[0] == b'\r' && pair[1] != b'\n') {
        return Err(Unfit);
    }
    let quoted = text.contains(&b'"');
    let mut reader = csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).flexible(true).from_reader(text);
    let mut summing = Summing::new(rules, text.len() / 40);
    let (mut record, mut moments) = (csv::StringRecord::new(), Moments::default());
    loop {
        let (from, line_before) = (reader.position().byte() as usize, reader.position().line() as usize);
        // UTF-8 was checked, a slice can't fail to be read, and ragged records are allowed: no error is left
        if !reader.read_record(&mut record).unwrap_or(false) {
            return Ok(summing.summed(line_ends(text)));
        }
        // the reader counts the ends of empty lines before a record to the record
        let blank = || text[from..].iter().take_while(|&&b| b == b'\n' || b == b'\r');
        let line = || line_before + blank().filter(|&&b| b == b'\n').count();
        let cell = |at: Option<usize>| at.and_then(|at| record.get(at)).unwrap_or("").trim();
        let (start, to) = (from + blank().count(), reader.position().byte() as usize);
        let raw = checked.get(start.min(to)..to).unwrap_or("");
        let one_line = !quoted || !raw.trim_end().contains('\n');
        let marked = |at: usize| record.get(at).is_some_and(marks::is_mark);
        if columns.mark.map_or(record.len() == columns.width + 1 && marked(columns.width), marked) {
            return Err(Unfit); // what is taken back must be found among the rows
        }
        if record.len() == columns.width && one_line && !marks::is_unfinished(raw) {
            let number = |at: Option<usize>| plain(cell(at).as_bytes(), point).is_some_and(|w| w.number >= 0.0);
            let names = summing.names();
            let row = Row {
                names: std::array::from_fn(|k| names[k].number(cell(columns.names[k]))),
                value: plain(cell(Some(columns.value)).as_bytes(), point).map(Value::Written),
                mounting: whole(cell(columns.mounting)),
                when: moments.read(cell(columns.when)),
                rest_is_plain: matches!(cell(columns.readings), "" | "1")
                    && cell(columns.sd).is_empty()
                    && columns.numbers.iter().all(|&at| cell(at).is_empty() || number(at)),
            };
            if summing.takes(&row, line) {
                continue;
            }
        }
        let record = Record::new(line(), record.clone());
        if !record.is_blank() {
            summing.keep(delimited::judged(record, raw, to >= text.len(), columns.width, delimiter));
        }
        if summing.is_hopeless() {
            return Err(Unfit);
        }
    }
}
