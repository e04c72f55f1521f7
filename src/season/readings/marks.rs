//! Marks in a sheet of readings: a row that takes back another, and a row that a crash cut short. `add` leaves
//! them ([`crate::season::append`]); they can be written by hand too.
//!
//! Nothing is ever deleted for a mark:
//!
//! * `takes back`, in the column `mark`, or in one cell more than the header has where the sheet has no such column,
//!   makes a row no reading but the end of one: the nearest row above it (else below) that says the same in every
//!   column that is read is set aside. Any other text in that column means nothing;
//! * a line that begins or ends with [`FILL`] was never finished, nor acknowledged to whoever typed it: its place was
//!   taken, and the rest never came.

use std::collections::HashMap;

use polars::prelude::*;

use super::fault::{Fault, Seen};
use super::table::{NEEDED, OPTIONAL, Table};
use crate::season::finding::Severity;

/// The column.
pub const COLUMN: &str = "mark";

/// The mark that takes back a reading.
pub const TAKES_BACK: &str = "takes back";

/// What a row's place is filled with until the row itself is written over it.
pub const FILL: char = '~';

/// Whether a cell is a mark.
pub fn is_mark(cell: &str) -> bool {
    cell.trim() == TAKES_BACK
}

/// Whether a row's text, with or without its line end, is that of a row never finished.
pub fn is_unfinished(raw: &str) -> bool {
    let line = raw.trim_end_matches(['\r', '\n']);
    line.starts_with(FILL) || line.ends_with(FILL)
}

/// What is said of a row cut short.
pub fn torn() -> Fault {
    Fault {
        kind: "torn",
        severity: Severity::Warning,
        column: None,
        what: "this row was cut short: the program or the machine stopped while it was written".into(),
        why: "it was never acknowledged, so nothing that was is missing; if it was not typed again, one reading is"
            .into(),
        action: "row set aside; read it again if you can".into(),
    }
}

/// Sets aside what is taken back, with what takes it back; rows of marks are no rows of readings.
pub fn settle(table: &mut Table) -> PolarsResult<()> {
    let marks = table.frame.column(COLUMN)?.str()?;
    let takes_back: Vec<bool> = marks.iter().map(|m| m == Some(TAKES_BACK)).collect();
    if !takes_back.contains(&true) {
        return Ok(());
    }
    let read = NEEDED.into_iter().chain(OPTIONAL).filter(|&name| name != COLUMN);
    let columns: Vec<StringChunked> =
        read.map(|name| table.frame.column(name)?.str().cloned()).collect::<PolarsResult<_>>()?;
    let lines: Vec<u32> = table.frame.column("line")?.u32()?.iter().map(Option::unwrap_or_default).collect();
    let says = |row: usize| -> Vec<Option<&str>> { columns.iter().map(|c| c.get(row)).collect() };
    let mut standing: HashMap<Vec<Option<&str>>, Vec<usize>> = HashMap::new();
    (0..lines.len()).filter(|&row| !takes_back[row]).for_each(|row| standing.entry(says(row)).or_default().push(row));
    let mut keep: Vec<bool> = takes_back.iter().map(|marked| !marked).collect();
    for mark in (0..lines.len()).filter(|&row| takes_back[row]) {
        table.rows -= 1;
        let alike = standing.get_mut(&says(mark)).filter(|alike| !alike.is_empty());
        let Some(alike) = alike else {
            table.notes.push(Seen::on_line(lines[mark] as usize, idle()));
            continue;
        };
        let row = alike.remove(alike.partition_point(|&row| row < mark).saturating_sub(1));
        keep[row] = false;
        let value = columns[NEEDED.len() - 1].get(row).unwrap_or("");
        table.broken.push(Seen::on_line(lines[row] as usize, taken_back(value, lines[mark])));
    }
    let keep: BooleanChunked = keep.into_iter().map(Some).collect();
    table.frame = table.frame.filter(&keep)?;
    Ok(())
}

fn taken_back(value: &str, mark: u32) -> Fault {
    Fault {
        kind: "taken back",
        severity: Severity::Note,
        column: Some("value"),
        what: format!("`{value}` was taken back, on line {mark}"),
        why: "whoever read it said that it does not count".into(),
        action: format!("row set aside; remove line {mark} to count it again"),
    }
}

fn idle() -> Fault {
    Fault {
        kind: "idle mark",
        severity: Severity::Warning,
        column: Some(COLUMN),
        what: "this row takes back a reading that is not in this file".into(),
        why: "what it means to take back may still count, changed or elsewhere".into(),
        action: "nothing taken back by it; repeat every cell of the row that is meant, or remove this one".into(),
    }
}
