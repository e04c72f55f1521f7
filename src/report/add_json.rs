//! Answers to typed lines, as JSON: one object a line, so that a program can read each as it comes.

use serde::Serialize;

use crate::analysis::add::result::{Answer, Range, Remark};
use crate::season::append::Entry;

#[derive(Serialize)]
struct Json<'a> {
    format: &'static str,
    /// Number of the line typed, from 1.
    input: usize,
    session: &'a str,
    file: Option<&'a str>,
    written: Vec<Reading<'a>>,
    taken_back: Option<Reading<'a>>,
    remarks: &'a [Remark],
    refused: Option<&'a str>,
}

#[derive(Serialize)]
struct Reading<'a> {
    line: usize,
    antenna: &'a str,
    band: &'a str,
    meter: &'a str,
    quantity: &'a str,
    value: &'a str,
    unit: Option<&'a str>,
    mounting: Option<i64>,
    expected: Option<Range>,
}

fn reading(line: usize, entry: &Entry, expected: Option<Range>) -> Reading<'_> {
    Reading {
        line,
        antenna: &entry.antenna,
        band: &entry.band,
        meter: &entry.meter,
        quantity: &entry.quantity,
        value: &entry.value,
        unit: Some(entry.unit.as_str()).filter(|u| !u.is_empty()),
        mounting: entry.mounting.parse().ok(),
        expected,
    }
}

/// An answer, on one line.
pub fn answer(session: &str, input: usize, answer: &Answer) -> String {
    line(&Json {
        format: "daylight/add/1",
        input,
        session,
        file: Some(&answer.file),
        written: answer.written.iter().map(|w| reading(w.line, &w.entry, w.expected)).collect(),
        taken_back: answer.taken_back.as_ref().map(|(line, entry)| reading(*line, entry, None)),
        remarks: &answer.remarks,
        refused: None,
    })
}

/// A line that was not written, on one line.
pub fn refused(session: &str, input: usize, why: &str) -> String {
    line(&Json {
        format: "daylight/add/1",
        input,
        session,
        file: None,
        written: vec![],
        taken_back: None,
        remarks: &[],
        refused: Some(why),
    })
}

fn line(json: &Json) -> String {
    // plain data with text for keys: this cannot fail
    serde_json::to_string(json).unwrap_or_default() + "\n"
}
