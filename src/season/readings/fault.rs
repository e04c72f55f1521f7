//! What is wrong with a row, and the findings made of it.

use std::collections::BTreeMap;

use super::layout::Places;
use crate::season::finding::{Finding, Place, Severity};

/// How many faults of one kind a file tells one by one; the rest are told as a count.
pub const TOLD: usize = 50;

/// What is wrong with a cell or a row.
#[derive(Debug, Clone)]
pub struct Fault {
    /// Faults of one kind are told together when there are many.
    pub kind: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// The column it is in, if it is in one.
    pub column: Option<&'static str>,
    /// What was seen.
    pub what: String,
    /// Why it matters for the verdicts.
    pub why: String,
    /// What was done about it, and what to do.
    pub action: String,
}

/// A fault and where it is.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Line, from 1.
    pub line: usize,
    /// The table's row, from 0, where the fault is one of a row; a line of a wide sheet holds several.
    pub row: Option<u32>,
    /// What is wrong there.
    pub fault: Fault,
}

impl Seen {
    /// A fault of a line as a whole.
    pub fn on_line(line: usize, fault: Fault) -> Seen {
        Seen { line, row: None, fault }
    }
}

/// The findings of one file, in the order of its lines; past [`TOLD`] of a kind, one that counts the rest.
///
/// Each comes with the table's row it is about, where it is about one. `places` knows the columns of a wide sheet.
pub fn findings(file: &str, mut seen: Vec<Seen>, places: Option<&Places>) -> Vec<(Option<u32>, Finding)> {
    seen.sort_by_key(|s| (s.line, s.row));
    let mut told: BTreeMap<&str, usize> = BTreeMap::new();
    let mut rest: Vec<(Seen, usize)> = Vec::new();
    let mut findings = Vec::new();
    for s in seen {
        let times = told.entry(s.fault.kind).or_default();
        *times += 1;
        if *times <= TOLD {
            findings.push(finding(file, s, places));
        } else if let Some((_, more)) = rest.iter_mut().find(|(first, _)| first.fault.kind == s.fault.kind) {
            *more += 1;
        } else {
            rest.push((s, 1));
        }
    }
    findings.extend(rest.into_iter().map(|(first, count)| {
        let what = format!("{count} more of the same kind from this line on, the first: {}", first.fault.what);
        finding(file, Seen { fault: Fault { what, ..first.fault }, ..first }, places)
    }));
    findings
}

fn finding(file: &str, Seen { line, row, fault }: Seen, places: Option<&Places>) -> (Option<u32>, Finding) {
    let column = fault.column.map(|column| places.and_then(|p| p.written(row?, column)).unwrap_or(column).to_string());
    let place = Place { file: file.into(), line: Some(line), column };
    (row, Finding::new(fault.severity, place, fault.what, fault.why, fault.action).by(fault.kind))
}
