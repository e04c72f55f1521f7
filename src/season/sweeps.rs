//! Sweeps under a season's `sweeps/` folder → readings at the bands' frequencies, and the curves themselves.
//!
//! Each file goes folder → path ([`files`]) → trace ([`touchstone`]) → whose it is ([`placing`]) → values on every band
//! it covers ([`values`]) → rows of the frame that every reading is in ([`rows`]). A file that can't be used is a
//! finding, and stops no other.

mod files;
pub mod pattern;
mod placing;
mod rows;
pub mod touchstone;
mod values;

use std::path::Path;

use polars::prelude::*;

use crate::season::config::{Config, MeterKind};
use crate::season::finding::{Finding, Place, Severity, Stake};
use crate::season::readings::FileCount;
use placing::Placed;
pub use touchstone::Trace;
use values::Value;
pub use values::{Stretch, bands};

/// The folder, in a season's, that holds sweeps.
pub const FOLDER: &str = "sweeps";

/// The rule every finding here goes by.
const RULE: &str = "sweep";

/// One sweep of one antenna.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// Its file, from the season's folder: `sweeps/heron.s1p`.
    pub file: String,
    /// The session it was made in.
    pub session: String,
    /// The antenna, or check load, swept.
    pub antenna: String,
    /// The meter that made it.
    pub meter: String,
    /// The mounting, where it is numbered.
    pub mounting: Option<i64>,
    /// The curve.
    pub trace: Trace,
}

/// What a season's sweeps give.
#[derive(Debug)]
pub struct Taken {
    /// The curves that were read and are placed, by file.
    pub sweeps: Vec<Sweep>,
    /// Their readings, in the columns of [`crate::season::readings::Readings::frame`].
    pub frame: DataFrame,
    /// What is wrong or odd with any file.
    pub findings: Vec<Finding>,
    /// What became of each file's values.
    pub files: Vec<FileCount>,
}

/// Reads every sweep of a season's folder.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn read_folder(folder: &Path, config: &Config) -> PolarsResult<Taken> {
    let mut taken = Taken { sweeps: vec![], frame: DataFrame::empty(), findings: vec![], files: vec![] };
    let found = files::found(&folder.join(FOLDER), config);
    taken.findings.extend(placing::missing(config, &found));
    taken.findings.extend(found.findings);
    let bands = values::bands(config);
    if !found.files.is_empty() {
        taken.findings.extend(values::without_frequency(config));
    }
    let mut table = rows::Rows::default();
    for file in &found.files {
        let shown = format!("{FOLDER}/{}", file.name);
        let placed = match placing::placed(&file.name, config) {
            Ok(placed) => placed,
            Err(unplaced) => {
                taken.findings.push(set_aside(&shown, None, None, unplaced.what, unplaced.action));
                continue;
            }
        };
        let trace = match file.read().and_then(|bytes| touchstone::read(&bytes)).and_then(values::believable) {
            Ok(trace) => trace,
            Err(fault) => {
                let action = format!("sweep set aside; {}", fault.action);
                taken.findings.push(set_aside(&shown, Some(fault.line), Some(&placed), fault.what, action));
                continue;
            }
        };
        let odd =
            |o: &touchstone::Fault| finding(&shown, Some(o.line), Severity::Warning, Some(&placed), &o.what, &o.action);
        taken.findings.extend(trace.oddities.iter().map(odd));
        let values = values::values(&trace, &bands);
        for unused in &values.unused {
            taken.findings.push(finding(
                &shown,
                unused.line,
                unused.severity,
                Some(&placed),
                &unused.what,
                &unused.action,
            ));
        }
        for value in &values.used {
            table.push(&shown, &placed, value);
        }
        taken.files.push(FileCount {
            name: shown.clone(),
            rows: values.used.len() + values.set_aside,
            used: values.used.len(),
            set_aside: values.set_aside,
            left_out: 0,
        });
        let Placed { session, antenna, meter, mounting, .. } = placed;
        taken.sweeps.push(Sweep { file: shown, session, antenna, meter, mounting, trace });
    }
    taken.frame = table.frame()?;
    Ok(taken)
}

/// The meter that made a sweep nobody names a meter for: the season's one analyzer.
fn only_analyzer(config: &Config) -> Option<&str> {
    let mut analyzers = config.meters.iter().filter(|m| m.kind == Some(MeterKind::Analyzer));
    match (analyzers.next(), analyzers.next()) {
        (Some(one), None) => Some(&one.name),
        _ if config.meters.is_empty() => Some("analyzer"),
        _ => None,
    }
}

fn set_aside(file: &str, line: Option<usize>, placed: Option<&Placed>, what: String, action: String) -> Finding {
    finding(file, line, Severity::Error, placed, &what, &action)
}

fn finding(
    file: &str,
    line: Option<usize>,
    severity: Severity,
    placed: Option<&Placed>,
    what: &str,
    action: &str,
) -> Finding {
    let why = match severity {
        Severity::Error => "what the sweep shows is missing from every verdict",
        Severity::Warning => "what is read from the sweep may be wrong",
        Severity::Note => "one figure fewer is known of this antenna",
    };
    let place = Place { file: file.into(), line, column: None };
    let stakes =
        placed.map(|p| Stake { meter: Some(p.meter.clone()), antennas: vec![p.antenna.clone()], ..Stake::default() });
    Finding::new(severity, place, what, why, action).by(RULE).endangering(stakes.into_iter().collect())
}

/// The parts of a value that a row needs beside whose it is.
impl Value {
    fn y(&self) -> Option<f64> {
        crate::radio::quantity::built_in(self.quantity)?.scale.to_analysis(self.value)
    }
}
