//! Rows a season leaves out on the record.

use polars::prelude::*;

use crate::season::config::LeaveOut;
use crate::season::finding::{Finding, Place, Severity};

/// What one `[[leave_out]]` entry left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Line of the entry in season.toml.
    pub line: usize,
    /// The season's reason.
    pub reason: String,
    /// How many rows it matches; one that two entries match counts with both.
    pub rows: usize,
    /// Where those rows are.
    pub places: Vec<Place>,
}

impl LeftOut {
    /// An entry that has not met any row yet.
    pub fn new(entry: &LeaveOut) -> Self {
        LeftOut { line: entry.line, reason: entry.reason.clone(), rows: 0, places: Vec::new() }
    }

    /// Notes the rows of a file that the entry matches.
    pub fn note(&mut self, file: &str, frame: &DataFrame, entry: &LeaveOut) -> PolarsResult<()> {
        let matched = frame.clone().lazy().filter(matches(entry)).select([col("line")]).collect()?;
        let lines = matched.column("line")?.u32()?;
        self.rows += lines.len();
        let place = |line: u32| Place { file: file.into(), line: Some(line as usize), column: None };
        self.places.extend(lines.iter().flatten().map(place));
        Ok(())
    }

    /// Adds what the entry left out elsewhere.
    pub fn add(&mut self, other: LeftOut) {
        self.rows += other.rows;
        self.places.extend(other.places);
    }

    /// A finding, if the entry met no row.
    pub fn idle(&self) -> Option<Finding> {
        (self.rows == 0).then(|| {
            let place = Place { file: "season.toml".into(), line: Some(self.line), column: None };
            let what = "this `[[leave_out]]` entry matches no row";
            let why = "what it means to leave out may still count";
            let action = "nothing left out by it; correct its keys, or remove it";
            Finding::new(Severity::Warning, place, what, why, action).by("idle leave_out")
        })
    }
}

/// Rows that agree with every key the entry gives.
pub fn matches(entry: &LeaveOut) -> Expr {
    let names = [
        ("session", &entry.session),
        ("antenna", &entry.antenna),
        ("band", &entry.band),
        ("meter", &entry.meter),
        ("quantity", &entry.quantity),
    ];
    let by_name = names.into_iter().filter_map(|(column, name)| Some(col(column).eq(lit(name.clone()?))));
    let by_mounting = entry.mounting.map(|number| col("mounting").eq(lit(number)));
    by_name.chain(by_mounting).fold(col("line").is_not_null(), Expr::and).fill_null(lit(false))
}
