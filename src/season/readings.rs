//! Files of readings → one typed data frame and its findings.
//!
//! Each file goes bytes → text under its header ([`table`]) → typed columns ([`typed`]) → without the
//! rows left out on the record ([`left_out`]) → numbers on the analysis scale ([`measure`]) → without
//! the rows set aside ([`rules`]). Nothing vanishes: a file's rows are those used, set aside (each
//! with a finding) and left out.

mod cell;
mod fault;
mod left_out;
pub mod marks;
mod measure;
mod moment;
mod names;
mod rules;
mod sheet;
mod table;
mod typed;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use polars::prelude::*;

pub use cell::Cell;
pub use left_out::LeftOut;
pub use moment::microseconds;
pub use sheet::{rows_of_session, sheet_style};

use crate::season::config::Config;
use crate::season::finding::{Finding, Stake};

/// Readings that can't be taken in at all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file or folder can't be opened or read.
    #[error("`{file}` cannot be read: {reason}")]
    Unreadable {
        /// The file or folder.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// No file of readings.
    #[error("no readings in `{file}`: it holds no file with the ending `.csv`")]
    NoReadings {
        /// The folder.
        file: String,
    },
    /// The file isn't text in UTF-8.
    #[error("`{file}` is not UTF-8 text from line {line} on: save it as CSV in UTF-8")]
    NotUtf8 {
        /// The file.
        file: String,
        /// The first line that isn't.
        line: usize,
    },
    /// The file holds no text.
    #[error("`{file}` is empty: it needs a header line and a reading a row")]
    Empty {
        /// The file.
        file: String,
    },
    /// The file holds a header and no row.
    #[error("`{file}` has a header line and no rows")]
    HeaderOnly {
        /// The file.
        file: String,
    },
    /// A needed column is missing.
    #[error("`{file}` has no column `{column}`{}: its header names {}", nearest_words(.nearest), listed(.found))]
    MissingColumn {
        /// The file.
        file: String,
        /// The header's line.
        line: usize,
        /// The column wanted.
        column: String,
        /// The header's name most like it, if one is.
        nearest: Option<String>,
        /// All the names in the header.
        found: Vec<String>,
    },
    /// Two columns have one name.
    #[error("`{file}` has two columns `{column}`")]
    DuplicateColumn {
        /// The file.
        file: String,
        /// The header's line.
        line: usize,
        /// Their name.
        column: String,
    },
    /// The data frame could not be built.
    #[error("`{file}` could not be laid out as a table: {source}")]
    Frame {
        /// The file.
        file: String,
        /// What Polars says.
        source: PolarsError,
    },
}

fn nearest_words(nearest: &Option<String>) -> String {
    nearest.as_ref().map_or(String::new(), |name| format!(" (is `{name}` meant?)"))
}

fn listed(names: &[String]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

/// What became of a file's rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileCount {
    /// The file, as shown.
    pub name: String,
    /// Rows that say anything: used + set aside + left out.
    pub rows: usize,
    /// Rows in the frame.
    pub used: usize,
    /// Rows set aside, each with a finding.
    pub set_aside: usize,
    /// Rows left out on the record.
    pub left_out: usize,
}

/// A season's readings: one typed frame, and what happened on the way to it.
#[derive(Debug, Clone)]
pub struct Readings {
    /// One row a reading that counts, by file, then line. Columns: `file`, `line`, `session`, `antenna`,
    /// `band`, `meter`, `quantity`, `value` (quantity's unit), `y` (analysis scale), `readings` (1 or
    /// more), `sd` (quantity's unit), `y_sd`, `step` (the last digit written, in the quantity's unit),
    /// `mounting`, `when`, `order`, `battery` (V); all from `sd` on but `step` may be null.
    pub frame: DataFrame,
    /// Rows that were left out on the record but could have counted, in the frame's columns.
    pub left_out_frame: DataFrame,
    /// What is wrong or weak in the files, by file and line; then names; then idle entries.
    pub findings: Vec<Finding>,
    /// What each `[[leave_out]]` entry left out, in the season's order.
    pub left_out: Vec<LeftOut>,
    /// What became of each file's rows.
    pub files: Vec<FileCount>,
}

/// Reads every `.csv` file directly in a season's folder, by name.
///
/// # Errors
/// The folder can't be read or holds no such file; else as [`read_files`].
pub fn read_folder(folder: &Path, config: &Config) -> Result<Readings, ReadError> {
    let shown = || folder.display().to_string();
    let unreadable = |error: std::io::Error| ReadError::Unreadable { file: shown(), reason: error.to_string() };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.is_file() && path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv")) {
            files.push(path);
        }
    }
    files.sort();
    if files.is_empty() {
        return Err(ReadError::NoReadings { file: shown() });
    }
    let name = |path: &PathBuf| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    read_files(&files, &files.iter().map(name).collect::<Vec<_>>(), config)
}

/// Reads files of readings in the order given; findings name them by the names shown (a path stands in
/// for a name that isn't given).
///
/// # Errors
/// A file that can't be read, isn't UTF-8, has no header or no rows, lacks a needed column, or names a
/// column twice; no file at all.
pub fn read_files(files: &[PathBuf], shown_names: &[String], config: &Config) -> Result<Readings, ReadError> {
    let mut left_out: Vec<LeftOut> = config.leave_out.iter().map(LeftOut::new).collect();
    let mut taken: Option<(Part, Vec<FileCount>)> = None;
    for (at, path) in files.iter().enumerate() {
        let file = shown_names.get(at).cloned().unwrap_or_else(|| path.display().to_string());
        let unreadable =
            |error: std::io::Error| ReadError::Unreadable { file: file.clone(), reason: error.to_string() };
        let bytes = std::fs::read(path).map_err(unreadable)?;
        let part = read_file(&file, &bytes, config, &mut left_out)?;
        match &mut taken {
            None => taken = Some((part, vec![])),
            Some((all, counts)) => {
                let joined = all.frame.vstack_mut(&part.frame).and(all.left_out_frame.vstack_mut(&part.left_out_frame));
                joined.map_err(|source| ReadError::Frame { file, source })?;
                all.findings.extend(part.findings);
                counts.push(part.count);
            }
        }
    }
    let Some((Part { mut frame, mut left_out_frame, mut findings, count }, more)) = taken else {
        return Err(ReadError::NoReadings { file: String::new() });
    };
    let files = [vec![count], more].concat();
    frame.rechunk_mut();
    left_out_frame.rechunk_mut();
    let odd =
        names::odd_names(&frame, config).map_err(|source| ReadError::Frame { file: files[0].name.clone(), source })?;
    findings.extend(odd);
    findings.extend(left_out.iter().filter_map(LeftOut::idle));
    Ok(Readings { frame, left_out_frame, findings, left_out, files })
}

/// Reads the text of one file of readings, under a name of the caller's.
///
/// # Errors
/// As [`read_files`].
pub fn read_text(file: &str, text: &str, config: &Config) -> Result<Readings, ReadError> {
    let mut left_out: Vec<LeftOut> = config.leave_out.iter().map(LeftOut::new).collect();
    let Part { frame, left_out_frame, findings, count } = read_file(file, text.as_bytes(), config, &mut left_out)?;
    Ok(Readings { frame, left_out_frame, findings, left_out, files: vec![count] })
}

/// The name most like a word, if one is like it at all.
pub fn nearest_name<'a>(word: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    names::nearest(word, names, 0.6)
}

/// One file's share of the readings.
struct Part {
    frame: DataFrame,
    left_out_frame: DataFrame,
    findings: Vec<Finding>,
    count: FileCount,
}

fn read_file(file: &str, bytes: &[u8], config: &Config, left_out: &mut [LeftOut]) -> Result<Part, ReadError> {
    let mut table = table::table(file, bytes)?;
    marks::settle(&mut table).map_err(|source| ReadError::Frame { file: file.into(), source })?;
    sift(file, table, config, left_out).map_err(|source| ReadError::Frame { file: file.into(), source })
}

/// Separates a file's rows into those left out, set aside and used.
fn sift(file: &str, table: table::Table, config: &Config, left_out: &mut [LeftOut]) -> PolarsResult<Part> {
    let typed = typed::typed(&table, config)?;
    for (noted, entry) in left_out.iter_mut().zip(&config.leave_out) {
        noted.note(file, &typed, entry)?;
    }
    let out = config.leave_out.iter().map(left_out::matches).fold(col("line").is_null(), Expr::or);
    let split = |which: Expr| typed.clone().lazy().filter(which).collect();
    let (counted, left) = (split(out.clone().not())?, split(out)?);
    let left_out_rows = left.height();
    // what is wrong with a row that is left out is nobody's concern, but a row that is can't be put back
    let left_out_frame = judged(file, left, table.comma, config)?.frame;
    let Judged { frame, faults, set_aside } = judged(file, counted, table.comma, config)?;

    let broken = table.broken.len();
    let seen = [table.broken, faults, table.header].concat();
    let count = FileCount {
        name: file.into(),
        rows: table.rows,
        used: frame.height(),
        set_aside: broken + set_aside,
        left_out: left_out_rows,
    };
    let findings = fault::findings(file, seen);
    Ok(Part { frame, left_out_frame, findings: endangering(findings, &typed)?, count })
}

/// Rows judged by every rule.
struct Judged {
    /// Those that count.
    frame: DataFrame,
    /// What is wrong with any.
    faults: Vec<fault::Seen>,
    /// How many are set aside.
    set_aside: usize,
}

fn judged(file: &str, rows: DataFrame, comma: cell::Comma, config: &Config) -> PolarsResult<Judged> {
    let mut faults = vec![];
    let mut set_aside: BTreeSet<usize> = BTreeSet::new();
    for rule in rules::rules() {
        let caught = rule.seen(&rows)?;
        if rule.sets_aside {
            set_aside.extend(caught.iter().map(|s| s.line));
        }
        faults.extend(caught);
    }
    let (measured, more) = measure::measure(rows, comma, config)?;
    set_aside.extend(more.iter().map(|s| s.line));
    faults.extend(more);
    let keep: BooleanChunked =
        measured.column("line")?.u32()?.iter().map(|line| line.map(|l| !set_aside.contains(&(l as usize)))).collect();
    Ok(Judged { frame: finished(file, measured.filter(&keep)?)?, faults, set_aside: set_aside.len() })
}

/// Gives each finding about a row the verdicts that the row enters, as far as its names can be read.
fn endangering(findings: Vec<Finding>, typed: &DataFrame) -> PolarsResult<Vec<Finding>> {
    if findings.is_empty() {
        return Ok(findings);
    }
    let text = |name: &str| typed.column(name).and_then(|c| c.str().cloned());
    let (quantity, band, meter, antenna) = (text("quantity")?, text("band")?, text("meter")?, text("antenna")?);
    let lines = typed.column("line")?.u32()?;
    let at: BTreeMap<usize, usize> =
        lines.iter().enumerate().filter_map(|(i, line)| Some((line? as usize, i))).collect();
    let stake = |row: usize| Stake {
        quantity: quantity.get(row).map(String::from),
        band: band.get(row).map(String::from),
        meter: meter.get(row).map(String::from),
        antennas: antenna.get(row).map(String::from).into_iter().collect(),
        between: false,
    };
    let mut findings = findings;
    for finding in &mut findings {
        let row = finding.place.line.filter(|_| finding.endangers.is_empty()).and_then(|line| at.get(&line));
        finding.endangers.extend(row.map(|&row| stake(row)));
    }
    Ok(findings)
}

/// The frame's columns in their order.
fn finished(file: &str, used: DataFrame) -> PolarsResult<DataFrame> {
    let names = ["session", "antenna", "band", "meter", "quantity", "value", "y", "readings", "sd", "y_sd", "step"];
    let columns = ["file", "line"].into_iter().chain(names).chain(["mounting", "when", "order", "battery"]);
    used.lazy()
        .with_columns([lit(file.to_string()).alias("file"), col("readings").fill_null(lit(1.0))])
        .select(columns.map(col).collect::<Vec<_>>())
        .collect()
}
