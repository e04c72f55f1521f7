//! What is wrong with a row, and the findings made of it.

use std::collections::BTreeMap;

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

/// A fault and the line it is on.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong there.
    pub fault: Fault,
}

/// The findings of one file, in the order of its lines; past [`TOLD`] of a kind, one that counts the rest.
pub fn findings(file: &str, mut seen: Vec<Seen>) -> Vec<Finding> {
    seen.sort_by_key(|s| s.line);
    let mut told: BTreeMap<&str, usize> = BTreeMap::new();
    let mut rest: Vec<(Seen, usize)> = Vec::new();
    let mut findings = Vec::new();
    for s in seen {
        let times = told.entry(s.fault.kind).or_default();
        *times += 1;
        if *times <= TOLD {
            findings.push(finding(file, s));
        } else if let Some((_, more)) = rest.iter_mut().find(|(first, _)| first.fault.kind == s.fault.kind) {
            *more += 1;
        } else {
            rest.push((s, 1));
        }
    }
    findings.extend(rest.into_iter().map(|(first, count)| {
        let what = format!("{count} more of the same kind from this line on, the first: {}", first.fault.what);
        finding(file, Seen { line: first.line, fault: Fault { what, ..first.fault } })
    }));
    findings
}

fn finding(file: &str, Seen { line, fault }: Seen) -> Finding {
    let place = Place { file: file.into(), line: Some(line), column: fault.column.map(str::to_string) };
    Finding::new(fault.severity, place, fault.what, fault.why, fault.action).by(fault.kind)
}
