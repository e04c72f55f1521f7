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
use super::chunk::{Moments, Row, Rules, Summing, Written, plain, shortest};
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

/// A column's cells, one after the other.
enum Cells<'a> {
    Text(Box<dyn Iterator<Item = Option<&'a str>> + 'a>),
    Number(Box<dyn Iterator<Item = Option<f64>> + 'a>),
    Whole(Box<dyn Iterator<Item = Option<i64>> + 'a>),
    Absent,
}

/// One cell.
#[derive(Clone, Copy)]
enum Cell<'a> {
    Empty,
    Text(&'a str),
    Number(f64),
    Whole(i64),
}

impl<'a> Iterator for Cells<'a> {
    type Item = Cell<'a>;

    fn next(&mut self) -> Option<Cell<'a>> {
        Some(match self {
            Cells::Text(texts) => {
                texts.next()?.map(str::trim).filter(|t| !t.is_empty()).map_or(Cell::Empty, Cell::Text)
            }
            Cells::Number(numbers) => numbers.next()?.map_or(Cell::Empty, Cell::Number),
            Cells::Whole(numbers) => numbers.next()?.map_or(Cell::Empty, Cell::Whole),
            Cells::Absent => Cell::Empty,
        })
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
    batch.columns().iter().map(of).collect()
}

fn cells<'a>(columns: &'a [Column], found: &[&str], name: &str) -> PolarsResult<Cells<'a>> {
    let Some(at) = found.iter().position(|f| *f == name) else { return Ok(Cells::Absent) };
    Ok(match columns[at].dtype() {
        DataType::String => Cells::Text(Box::new(columns[at].str()?.iter())),
        DataType::Float64 => Cells::Number(Box::new(columns[at].f64()?.iter())),
        _ => Cells::Whole(Box::new(columns[at].i64()?.iter())),
    })
}

fn summed(batch: &DataFrame, found: &[&'static str], rules: &Rules<'_>) -> Summed {
    taken_in(batch, found, rules).map_err(|_| Unfit)
}

fn taken_in(batch: &DataFrame, found: &[&'static str], rules: &Rules<'_>) -> PolarsResult<super::Chunk> {
    let columns = simple(batch)?;
    let of = |name: &str| cells(&columns, found, name);
    let names = ["session", "antenna", "band", "meter", "quantity", "unit"];
    let mut named = [of(names[0])?, of(names[1])?, of(names[2])?, of(names[3])?, of(names[4])?, of(names[5])?];
    let (mut values, mut mountings, mut whens) = (of("value")?, of("mounting")?, of("when")?);
    let (mut readings, mut sds) = (of("readings")?, of("sd")?);
    let (mut numbers, mut marked) = ([of("order")?, of("battery")?], of(marks::COLUMN)?);
    let moments_are_numbers =
        found.iter().position(|f| *f == "when").is_some_and(|at| batch.columns()[at].dtype().is_temporal());
    let mut summing = Summing::new(rules, batch.height());
    let mut moments = Moments::default();
    for at in 0..batch.height() {
        let mut text = true;
        let names: [&str; 6] = std::array::from_fn(|k| match named[k].next() {
            Some(Cell::Text(name)) => name,
            Some(Cell::Empty) | None => "",
            Some(_) => {
                text = false;
                ""
            }
        });
        let value = match values.next() {
            Some(Cell::Number(number)) => shortest(number),
            Some(Cell::Whole(number)) => {
                Some(Written { number: number as f64, decimals: 0 }).filter(|_| number.unsigned_abs() < 1 << 50)
            }
            Some(Cell::Text(text)) => plain(text.as_bytes(), b'.'),
            _ => None,
        };
        let mounting = match mountings.next() {
            Some(Cell::Whole(number)) if number >= 0 => Ok(Some(number)),
            Some(Cell::Empty) | None => Ok(None),
            Some(Cell::Number(number)) if number >= 0.0 && number.fract() == 0.0 && number < 1e15 => {
                Ok(Some(number as i64))
            }
            Some(Cell::Text(text)) => whole(text),
            _ => Err(()),
        };
        let when = match whens.next() {
            Some(Cell::Whole(moment)) if moments_are_numbers => Ok(Some(moment)),
            Some(Cell::Text(text)) => moments.read(text),
            Some(Cell::Empty) | None => Ok(None),
            Some(_) => Err(()),
        };
        let single = match readings.next() {
            Some(Cell::Empty) | None => true,
            Some(Cell::Whole(1)) => true,
            Some(Cell::Number(count)) => count == 1.0,
            _ => false,
        };
        let alone = matches!(sds.next(), Some(Cell::Empty) | None);
        let mut rest = text && single && alone;
        for cells in &mut numbers {
            rest &= match cells.next() {
                Some(Cell::Empty | Cell::Whole(_)) | None => true,
                Some(Cell::Number(number)) => number.is_finite() && number >= 0.0,
                Some(Cell::Text(text)) => plain(text.as_bytes(), b'.').is_some_and(|w| w.number >= 0.0),
            };
        }
        if matches!(marked.next(), Some(Cell::Text(text)) if marks::is_mark(text)) {
            polars_bail!(ComputeError: "what is taken back must be found among the rows");
        }
        let row = Row { names, value, mounting, when, rest_is_plain: rest };
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
