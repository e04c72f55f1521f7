//! A large Parquet file → chunks of columns, read by Polars' streaming engine, summed up.

use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::mpsc::sync_channel;

use polars::prelude::*;

use super::super::forms::parquet;
use super::super::left_out::LeftOut;
use super::super::marks;
use super::super::records::Record;
use super::super::table::{NEEDED, OPTIONAL, plain_name};
use super::super::{Part, ReadError, cell::Comma};
use super::chunk::{Moments, Row, Rules, Summing, Value, Written, plain};
use super::grouping::{NAMED, NO_NAME};
use super::text::whole;
use super::{CHUNK_ROWS, Summed, Unfit, on_all_threads, part};
use crate::season::config::Config;

/// Takes a Parquet file in; `None` where it must go the way of small files.
///
/// # Errors
/// As for a small file.
pub fn read(file: &str, path: &Path, config: &Config, left_out: &mut [LeftOut]) -> Result<Option<Part>, ReadError> {
    let rules = Rules { config, comma: Comma::Ambiguous };
    let opened = || -> PolarsResult<Option<(LazyFrame, Vec<&'static str>)>> {
        let mut scan = parquet::scan(path)?;
        let schema = scan.collect_schema()?;
        let mut found = vec![];
        let mut chosen = vec![];
        for column in NEEDED.into_iter().chain(OPTIONAL) {
            let mut named = schema.iter_names().filter(|name| plain_name(name) == column);
            match (named.next(), named.next()) {
                (Some(name), None) => {
                    chosen.push(col(name.clone()).alias(column));
                    found.push(column);
                }
                (None, _) if !NEEDED.contains(&column) => {}
                _ => return Ok(None),
            }
        }
        Ok(Some((scan.select(chosen), found)))
    };
    // what is wrong with the file is told on the other way
    let Ok(Some((scan, found))) = parquet::quietly(opened) else { return Ok(None) };
    let produce = |hand_out: &dyn Fn(DataFrame) -> bool| {
        let (send, receive) = sync_channel::<DataFrame>(1);
        // the engine stops once nobody takes its batches
        let stops = move |batch| Ok(send.send(batch).is_err());
        let batches = scan.sink_batches(PlanCallback::new(stops), true, NonZeroUsize::new(CHUNK_ROWS));
        let Ok(batches) = batches else { return Err(Unfit) };
        let engine = std::thread::spawn(move || parquet::quietly(|| batches.collect_with_engine(Engine::Streaming)));
        let all = receive.iter().all(hand_out);
        drop(receive);
        match engine.join() {
            Ok(Ok(_)) if all => Ok(()),
            _ => Err(Unfit),
        }
    };
    let Ok(merged) = on_all_threads(produce, |batch| summed(&batch, &found, &rules)) else { return Ok(None) };
    let header = Record::new(1, found.clone().into());
    part(file, header, merged, &rules, None, left_out)
}

/// A column's cells.
enum Cells<'a> {
    Text(&'a StringChunked),
    Number(&'a Float64Chunked, Option<&'a [f64]>),
    Whole(&'a Int64Chunked, Option<&'a [i64]>),
    Absent,
}

/// One cell.
enum Cell<'a> {
    Empty,
    Text(&'a str),
    Number(f64),
    Whole(i64),
}

impl<'a> Cells<'a> {
    /// Those of the column of that name among those found.
    fn of(columns: &'a [Column], found: &[&str], name: &str) -> PolarsResult<Cells<'a>> {
        let Some(at) = found.iter().position(|f| *f == name) else { return Ok(Cells::Absent) };
        Ok(match columns[at].dtype() {
            DataType::String => Cells::Text(columns[at].str()?),
            DataType::Float64 => columns[at].f64().map(|cells| Cells::Number(cells, cells.cont_slice().ok()))?,
            _ => columns[at].i64().map(|cells| Cells::Whole(cells, cells.cont_slice().ok()))?,
        })
    }

    // asked for ten cells of every row, where a call costs more than the answer
    #[inline(always)]
    fn get(&self, at: usize) -> Cell<'a> {
        match self {
            Cells::Text(texts) => {
                texts.get(at).map(str::trim).filter(|t| !t.is_empty()).map_or(Cell::Empty, Cell::Text)
            }
            // without an empty cell they lie in a row
            Cells::Number(_, Some(all)) => Cell::Number(all[at]),
            Cells::Number(numbers, None) => numbers.get(at).map_or(Cell::Empty, Cell::Number),
            Cells::Whole(_, Some(all)) => Cell::Whole(all[at]),
            Cells::Whole(numbers, None) => numbers.get(at).map_or(Cell::Empty, Cell::Whole),
            Cells::Absent => Cell::Empty,
        }
    }
}

/// A batch's columns in types that few loops can read; moments in microseconds.
fn simple(batch: &DataFrame) -> PolarsResult<Vec<Column>> {
    let of = |column: &Column| match column.dtype() {
        DataType::String | DataType::Float64 | DataType::Int64 => Ok(column.clone()),
        DataType::Float32 => column.cast(&DataType::String),
        kind if kind.is_integer() => column.cast(&DataType::Int64),
        DataType::Date | DataType::Datetime(_, _) if column.name() == "when" => {
            column.cast(&DataType::Datetime(TimeUnit::Microseconds, None))?.cast(&DataType::Int64)
        }
        _ => column.cast(&DataType::String),
    };
    batch.columns().iter().map(|column| Ok(of(column)?.rechunk())).collect()
}

fn summed(batch: &DataFrame, found: &[&'static str], rules: &Rules<'_>) -> Summed {
    taken_in(batch, found, rules).map_err(|_| Unfit)
}

fn taken_in(batch: &DataFrame, found: &[&'static str], rules: &Rules<'_>) -> PolarsResult<super::Chunk> {
    let columns = simple(batch)?;
    let of = |name: &str| Cells::of(&columns, found, name);
    let (values, mountings, whens, readings, sds) =
        (of("value")?, of("mounting")?, of("when")?, of("readings")?, of("sd")?);
    let (others, marked) = ([of("order")?, of("battery")?], of(marks::COLUMN)?);
    let moments_are_numbers =
        found.iter().position(|f| *f == "when").is_some_and(|at| batch.columns()[at].dtype().is_temporal());
    let mut summing = Summing::new(rules, batch.height());
    let mut numbers: [Vec<u32>; NAMED] = Default::default();
    let mut no_text = vec![]; // columns of names that hold none: where they are empty
    let named = ["session", "antenna", "band", "meter", "quantity", "unit"];
    for ((name, names), numbers) in named.iter().zip(summing.names()).zip(&mut numbers) {
        let column = found.iter().position(|f| f == name).map(|at| &columns[at]);
        *numbers = match column {
            Some(column) if column.dtype() == &DataType::String => names.numbers(column.str()?),
            _ => vec![NO_NAME; batch.height()],
        };
        no_text.extend(column.filter(|c| c.dtype() != &DataType::String).map(Column::is_null));
    }
    let mut moments = Moments::default();
    let is_absent = |cells: &Cells| matches!(cells, Cells::Absent);
    // most logs have none of these, and ten million rows to ask about them
    let no_rest = [&readings, &sds, &others[0], &others[1], &marked].into_iter().all(is_absent);
    for at in 0..batch.height() {
        let mut rest_is_plain = no_rest || matches!(sds.get(at), Cell::Empty);
        rest_is_plain &= no_text.iter().all(|empty| empty.get(at) == Some(true));
        let mut names = [NO_NAME; NAMED];
        names.iter_mut().zip(&numbers).for_each(|(name, numbers)| *name = numbers[at]);
        let value = match values.get(at) {
            Cell::Number(number) => Some(Value::Number(number)),
            Cell::Whole(number) => {
                let written = Written { number: number as f64, decimals: 0 };
                Some(Value::Written(written)).filter(|_| number.unsigned_abs() < 1 << 50)
            }
            Cell::Text(text) => plain(text.as_bytes(), b'.').map(Value::Written),
            Cell::Empty => None,
        };
        let mounting = match mountings.get(at) {
            Cell::Whole(number) if number >= 0 => Ok(Some(number)),
            Cell::Empty => Ok(None),
            Cell::Number(number) if number >= 0.0 && number.fract() == 0.0 && number < 1e15 => Ok(Some(number as i64)),
            Cell::Text(text) => whole(text),
            _ => Err(()),
        };
        let when = match whens.get(at) {
            Cell::Whole(moment) if moments_are_numbers => Ok(Some(moment)),
            Cell::Text(text) => moments.read(text),
            Cell::Empty => Ok(None),
            _ => Err(()),
        };
        if !no_rest {
            rest_is_plain &= match readings.get(at) {
                Cell::Empty | Cell::Whole(1) => true,
                Cell::Number(count) => count == 1.0,
                _ => false,
            };
            for cells in &others {
                rest_is_plain &= match cells.get(at) {
                    Cell::Empty | Cell::Whole(_) => true,
                    Cell::Number(number) => number.is_finite() && number >= 0.0,
                    Cell::Text(text) => plain(text.as_bytes(), b'.').is_some_and(|w| w.number >= 0.0),
                };
            }
            if matches!(marked.get(at), Cell::Text(text) if marks::is_mark(text)) {
                polars_bail!(ComputeError: "what is taken back must be found among the rows");
            }
        }
        let row = Row { names, value, mounting, when, rest_is_plain };
        if !summing.takes(&row, || at + 1) {
            let record = parquet::record(batch, at)?;
            if !record.is_blank() {
                summing.keep(Record { line: at + 1, ..record });
            }
            if summing.is_hopeless() {
                polars_bail!(ComputeError: "hardly a plain row");
            }
        }
    }
    Ok(summing.summed(batch.height()))
}
