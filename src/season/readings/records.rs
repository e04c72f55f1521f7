//! What every form of file is turned into first: a header and records of text, each with its line.

use super::cell::Comma;
use super::fault::{Fault, Seen};

/// One record of a file, its cells as text.
#[derive(Debug, Clone, Default)]
pub struct Record {
    /// Its cells; an empty one is an empty text.
    pub cells: csv::StringRecord,
    /// Line it starts on, from 1: a text file's line, a sheet's row, a Parquet file's row.
    pub line: usize,
    /// What keeps it from being laid under the header.
    pub fault: Option<Fault>,
    /// The column of a wide sheet that it was made from, by its place in the layout.
    pub place: Option<u32>,
}

impl Record {
    /// A record of cells with nothing wrong.
    pub fn new(line: usize, cells: csv::StringRecord) -> Record {
        Record { cells, line, fault: None, place: None }
    }

    /// Whether no cell says anything.
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.trim().is_empty())
    }
}

/// A file's cells as text, and what reading them as text had to suppose.
pub struct Sheet<'a> {
    /// The line of column names.
    pub header: Record,
    /// The records below it that say anything.
    pub records: Box<dyn Iterator<Item = Record> + 'a>,
    /// What a comma in a number means here.
    pub comma: Comma,
    /// What had to be supposed, or is in the way.
    pub notes: Vec<Seen>,
    /// Lines whose cells are merged over several columns or rows, from the first to the last of each: titles, mostly.
    pub merged: Vec<(usize, usize)>,
}
