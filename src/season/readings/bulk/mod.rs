//! A large log, taken in by mounting: its readings are never in memory all at once, and what is kept of them is
//! what the fit needs, the count, mean and sum of squares of each mounting.
//!
//! A file is cut into chunks whose size depends on the file alone; each chunk is summed up by itself, on any thread
//! ([`chunk`]), and the chunks are put together in the order of the file ([`merged`]): the same bits on any number of
//! threads. A row that is not plainly a reading (a word where a number should be, a unit that doesn't belong, a name
//! left out) goes the way of the rows of small files, with its line, and is judged by the same rules.

mod chunk;
mod columns;
mod grouping;
mod merged;
mod rows;
mod text;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Mutex, PoisonError};

use polars::prelude::*;

use super::forms::{Form, parquet};
use super::left_out::LeftOut;
use super::records::Record;
use super::{Part, ReadError, layout};
use crate::season::config::{Config, Layout};
use crate::season::finding::{Finding, Place, Severity};
use chunk::{Chunk, Rules};
use merged::Merged;

/// Rows of a season's files, all together, from which on they are taken in by mounting.
pub const FROM_ROWS: usize = 500_000;
/// Bytes of text that make a row, as a guess from a file's size.
const BYTES_A_ROW: u64 = 56;
/// Rows of a Parquet file's chunk.
const CHUNK_ROWS: usize = 1 << 19;

/// About how many rows a file holds; none where it is of a form that never holds many.
pub fn rows_about(path: &Path) -> usize {
    let size = || std::fs::metadata(path).map_or(0, |m| m.len());
    match Form::of(path) {
        Some(Form::Delimited) | None => usize::try_from(size() / BYTES_A_ROW).unwrap_or(usize::MAX),
        Some(Form::Parquet) => parquet::quietly(|| {
            let count = parquet::scan(path)?.select([len()]).collect_with_engine(Engine::InMemory)?.unwrap_single();
            Ok(count.columns()[0].cast(&DataType::UInt64)?.u64()?.get(0).unwrap_or(0) as usize)
        })
        .unwrap_or(0),
        Some(Form::Workbook) => 0,
    }
}

/// Takes a file in by mounting; `None` where its form or layout asks for the way of small files.
///
/// # Errors
/// As for a small file.
pub(super) fn read(
    file: &str,
    path: &Path,
    config: &Config,
    left_out: &mut [LeftOut],
) -> Result<Option<Part>, ReadError> {
    let layout = layout::of_file(config, file);
    if layout.is_some_and(|l| !l.columns.is_empty() || !l.says.is_empty()) {
        return Ok(None);
    }
    let unreadable = |error: std::io::Error| ReadError::Unreadable { file: file.into(), reason: error.to_string() };
    let mut start = [0; 4];
    let mut opened = std::fs::File::open(path).map_err(unreadable)?;
    let read = std::io::Read::read(&mut opened, &mut start).map_err(unreadable)?;
    drop(opened);
    match Form::seen(path, &start[..read]) {
        Form::Workbook => Ok(None),
        Form::Delimited => text::read(file, path, layout, config, left_out),
        Form::Parquet => columns::read(file, path, config, left_out),
    }
}

/// What a chunk of a file comes to, or why the file must go the other way.
type Summed = Result<Chunk, Unfit>;

/// A file, or part of one, that can't be taken in by mounting.
struct Unfit;

/// Sums up chunks on all threads as `produce` hands them out, and puts them together in that order.
fn on_all_threads<T: Send>(
    produce: impl FnOnce(&dyn Fn(T) -> bool) -> Result<(), Unfit>,
    sum_up: impl Fn(T) -> Summed + Sync,
) -> Result<Merged, Unfit> {
    let workers = rayon::current_num_threads().max(1);
    let (send, receive) = sync_channel::<(usize, T)>(workers);
    let receive = Mutex::new(receive);
    let state = Mutex::new(InOrder { merged: Merged::default(), waiting: BTreeMap::new(), next: 0, unfit: false });
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some((number, piece)) = taken(&receive) {
                    let summed = sum_up(piece);
                    let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
                    state.put(number, summed);
                }
            });
        }
        let count = std::cell::Cell::new(0);
        let hand_out = |piece: T| {
            let number = count.replace(count.get() + 1);
            let unfit = state.lock().unwrap_or_else(PoisonError::into_inner).unfit;
            !unfit && send.send((number, piece)).is_ok()
        };
        let produced = produce(&hand_out);
        drop(send);
        produced
    })?;
    let state = state.into_inner().unwrap_or_else(PoisonError::into_inner);
    if state.unfit { Err(Unfit) } else { Ok(state.merged) }
}

fn taken<T>(receive: &Mutex<Receiver<T>>) -> Option<T> {
    receive.lock().unwrap_or_else(PoisonError::into_inner).recv().ok()
}

/// Chunks put together in their order, whatever order they come in.
struct InOrder {
    merged: Merged,
    waiting: BTreeMap<usize, Chunk>,
    next: usize,
    unfit: bool,
}

impl InOrder {
    fn put(&mut self, number: usize, summed: Summed) {
        match summed {
            Err(Unfit) => self.unfit = true,
            Ok(chunk) => {
                self.waiting.insert(number, chunk);
                while let Some(chunk) = self.waiting.remove(&self.next) {
                    self.merged.add(chunk);
                    self.next += 1;
                }
            }
        }
    }
}

/// The file's share of the season: its mountings, and its other rows judged one by one.
fn part(
    file: &str,
    header: Record,
    merged: Merged,
    rules: &Rules<'_>,
    layout: Option<&Layout>,
    left_out: &mut [LeftOut],
) -> Result<Option<Part>, ReadError> {
    let (rows, mountings) = (merged.plain_rows(), merged.count());
    if mountings == 0 {
        return Ok(None); // nothing is plain in it: not a large log, but a broken one
    }
    let failed = |source| ReadError::Frame { file: file.into(), source };
    let comma = layout::comma(layout, rules.comma);
    let frame = merged.frame(file, rules.config).map_err(failed)?;
    let mut part = rows::judged(file, header, merged.into_odd(), comma, rules.config, left_out)?;
    part.frame.vstack_mut(&frame).map_err(failed)?;
    part.frame = part.frame.sort(["line"], SortMultipleOptions::default().with_maintain_order(true)).map_err(failed)?;
    part.count.rows += rows;
    part.count.used += rows;
    part.findings.insert(0, said(file, rows, mountings));
    Ok(Some(part))
}

/// That the rows were taken in by mounting.
fn said(file: &str, rows: usize, mountings: usize) -> Finding {
    let place = Place { file: file.into(), line: None, column: None };
    let what = format!(
        "the log is large: {rows} readings were taken in as {mountings} mountings, by count, mean and standard deviation"
    );
    let why = "verdicts need no more; but what only single readings show (an outlier among repeats, a copied row, drift within a session) is not looked for";
    let action = "to have single readings looked at, audit the log in parts";
    Finding::new(Severity::Note, place, what, why, action).by("taken in by mounting")
}
