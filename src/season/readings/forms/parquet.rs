//! A Parquet file → text cells; a record's line is its row, from 1.

use std::path::Path;

use polars::prelude::*;

use super::super::ReadError;
use super::super::cell::Comma;
use super::super::records::{Record, Sheet};
use super::super::table::{NEEDED, OPTIONAL, plain_name};

/// The most rows read as text, one by one; a larger file is taken in by mounting.
const MOST_ROWS: usize = 20_000_000;

/// Opens a Parquet file.
///
/// # Errors
/// It is not a Parquet file, or one that is broken, or of columns that can't be written as text.
pub fn sheet(file: &str, path: &Path) -> Result<Sheet<'static>, ReadError> {
    let read = || -> PolarsResult<DataFrame> {
        let mut scan = scan(path)?;
        let names = scan.collect_schema()?;
        let frame = scan.limit(MOST_ROWS as IdxSize).collect_with_engine(Engine::InMemory)?.unwrap_single();
        // columns that hold no part of a reading need not be writable as text
        let known = |name: &str| {
            let plain = plain_name(name);
            NEEDED.contains(&plain.as_str()) || OPTIONAL.contains(&plain.as_str())
        };
        let long = names.iter_names().filter(|name| known(name)).count() >= NEEDED.len();
        let wanted: Vec<_> = names.iter_names().filter(|name| !long || known(name)).cloned().collect();
        frame.select(wanted)
    };
    let frame = quietly(read).map_err(|reason| ReadError::Form {
        file: file.into(),
        what: format!("cannot be read as Parquet: {reason}"),
        hint: "write it again from the program that made it, or as CSV".into(),
    })?;
    let header = Record::new(1, frame.get_column_names().iter().map(|name| name.as_str()).collect::<Vec<_>>().into());
    let texts = frame.columns().iter().map(Texts::of).collect::<PolarsResult<Vec<_>>>();
    let texts = texts.map_err(|source| ReadError::Frame { file: file.into(), source })?;
    let records = (0..frame.height()).map(move |at| {
        let mut cells = csv::StringRecord::new();
        for column in &texts {
            column.write(at, &mut cells);
        }
        Record::new(at + 1, cells)
    });
    let records = records.filter(|record| !record.is_blank());
    Ok(Sheet { header, records: Box::new(records), comma: Comma::Ambiguous, notes: vec![], merged: vec![] })
}

/// The file, to be read when it is asked for rows.
pub fn scan(path: &Path) -> PolarsResult<LazyFrame> {
    // as it is: a `*` in its name is no pattern
    let args = ScanArgsParquet { glob: false, ..Default::default() };
    LazyFrame::scan_parquet(PlRefPath::try_from_path(path)?, args)
}

/// Does work that may fail by panicking inside a library on a broken file; its words are kept off the terminal.
pub fn quietly<T>(work: impl FnOnce() -> PolarsResult<T>) -> Result<T, String> {
    // the words belong to the whole process: one at a time
    static ONE: std::sync::Mutex<()> = std::sync::Mutex::new(());
    let _one = ONE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
    std::panic::set_hook(hook);
    match done {
        Ok(result) => result.map_err(|error| first_line(&error.to_string())),
        Err(_) => Err("it is broken".into()),
    }
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().chars().take(200).collect()
}

/// One row of a frame as text.
///
/// # Errors
/// A column can't be written as text.
pub fn record(frame: &DataFrame, at: usize) -> PolarsResult<Record> {
    let mut cells = csv::StringRecord::new();
    for column in frame.columns() {
        Texts::of(&column.slice(at as i64, 1))?.write(0, &mut cells);
    }
    Ok(Record::new(at + 1, cells))
}

/// A column whose cells can be written as text.
enum Texts {
    Text(StringChunked),
    Wide(Float64Chunked),
    Narrow(Float32Chunked),
}

impl Texts {
    fn of(column: &Column) -> PolarsResult<Texts> {
        Ok(match column.dtype() {
            DataType::String => Texts::Text(column.str()?.rechunk().into_owned()),
            DataType::Float64 => Texts::Wide(column.f64()?.rechunk().into_owned()),
            DataType::Float32 => Texts::Narrow(column.f32()?.rechunk().into_owned()),
            // dates come out as ISO 8601 writes them
            _ => Texts::Text(column.cast(&DataType::String)?.str()?.rechunk().into_owned()),
        })
    }

    fn write(&self, at: usize, cells: &mut csv::StringRecord) {
        match self {
            Texts::Text(texts) => {
                let text = texts.get(at).unwrap_or_default();
                cells.push_field(text.strip_suffix(" 00:00:00.000000").unwrap_or(text));
            }
            // the shortest text that reads back as the number: the digits it was written with
            Texts::Wide(numbers) => cells.push_field(&numbers.get(at).map_or(String::new(), |x| x.to_string())),
            Texts::Narrow(numbers) => cells.push_field(&numbers.get(at).map_or(String::new(), |x| x.to_string())),
        }
    }
}
