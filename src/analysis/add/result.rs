//! What is answered to a line: plain data, rendered elsewhere.

use super::history::Against;
use crate::season::append::Entry;

/// A line that is not written, in words for the person at the bench.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Refused(pub String);

/// What kind of thing a remark is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// A reading does not fit what it repeats.
    Misfit,
    /// The mounting's number should perhaps be another.
    Mounting,
    /// Readings that no antenna has at once.
    Impossible,
    /// What the reader says of a row that it keeps.
    Reader,
    /// The sheet: repaired, or written by others too.
    Sheet,
}

/// Something to be said at once. What it is about is written all the same.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Remark {
    /// What it is about.
    pub topic: Topic,
    /// In words.
    pub text: String,
}

/// What was expected of a reading, in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Range {
    /// What it was held against.
    pub against: Against,
    /// How many of those.
    pub count: usize,
    /// Lower end.
    pub low: f64,
    /// Upper end; infinite, in JSON null, where an SWR of any size would fit.
    pub high: f64,
    /// The digit both are shown to.
    pub digit: f64,
    /// Whether the reading lies inside.
    pub fits: bool,
}

/// A row that is on the disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// Its line, from 1.
    pub line: usize,
    /// Its cells.
    pub entry: Entry,
    /// What was expected, where anything was.
    pub expected: Option<Range>,
}

/// The answer to a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The sheet, as the user would name it.
    pub file: String,
    /// Readings written.
    pub written: Vec<Written>,
    /// A reading taken back, and the line it stands on.
    pub taken_back: Option<(usize, Entry)>,
    /// What is to be said.
    pub remarks: Vec<Remark>,
}
