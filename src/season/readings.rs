//! Files of readings → one typed data frame and its findings.
//!
//! Each file goes its form ([`forms`]) → text with places ([`records`]) → the long form ([`layout`]) → a frame of text
//! under its header ([`table`]) → typed columns ([`typed`]) → without the
//! rows left out on the record ([`left_out`]) → numbers on the analysis scale ([`measure`]) → without
//! the rows set aside ([`rules`]). Nothing vanishes: a file's rows are those used, set aside (each
//! with a finding) and left out.

pub mod bulk;
mod cell;
mod fault;
mod forms;
mod joined;
mod layout;
mod left_out;
pub mod marks;
mod measure;
mod moment;
mod names;
mod part;
mod records;
mod rules;
mod sheet;
pub mod suggest;
mod table;
mod typed;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use polars::prelude::*;

pub use cell::Cell;
pub use left_out::LeftOut;
pub use moment::{Dated, dated, microseconds};
pub use names::folded;
pub use sheet::{rows_of_session, sheet_style};

use crate::season::config::{Config, Layout};
use crate::season::finding::{Finding, Place, Severity};
use forms::{Form, holds_no_table};
use part::{Part, part_of, read_file, sift};

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
    #[error("no readings in `{file}`: it holds no file of readings (CSV, XLSX, ODS or Parquet)")]
    NoReadings {
        /// The folder.
        file: String,
    },
    /// The file isn't text in the encoding declared for it.
    #[error("`{file}` is not {encoding} text from line {line} on, as its layout says")]
    Encoding {
        /// The file.
        file: String,
        /// The encoding declared.
        encoding: String,
        /// The first line that isn't in it.
        line: usize,
    },
    /// The file is not what its form asks for.
    #[error("`{file}` {what}")]
    Form {
        /// The file.
        file: String,
        /// What is wrong with it.
        what: String,
        /// What to do about it.
        hint: String,
    },
    /// There are sweeps only, and none can be used.
    #[error("no readings but sweeps, and none of these can be used: {what}{}", if *.more > 0 { format!(", and {} more", .more) } else { String::new() })]
    Sweeps {
        /// What is wrong with the first, with its place.
        what: String,
        /// What to do about it.
        hint: String,
        /// How many more there are.
        more: usize,
    },
    /// A layout doesn't fit its file.
    #[error("{what}")]
    Layout {
        /// The file.
        file: String,
        /// Line of the `[[layout]]` entry in season.toml.
        line: usize,
        /// What doesn't fit.
        what: String,
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
    #[error(
        "`{file}` has no column `{column}`{}: its header names {}{}",
        nearest_words(.nearest), listed(.found), title_words(.titled)
    )]
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
        /// A title above the names: it, the line the names stand on, and whether its cells are merged.
        titled: Option<(String, usize, bool)>,
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

fn title_words(titled: &Option<(String, usize, bool)>) -> String {
    titled.as_ref().map_or(String::new(), |(title, line, merged)| {
        let merged = if *merged { ", in merged cells," } else { "" };
        format!("; the title `{title}`{merged} stands in the way of the column names on line {line}")
    })
}

fn listed(names: &[String]) -> String {
    names.iter().filter(|n| !n.is_empty()).map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
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
    /// `mounting`, `when`, `order`, `battery` (V), `squares` (sum of squares about `y` on the analysis scale, of rows
    /// taken in by mounting), `rows` (rows of the log behind this one); all from `sd` on but `step` and `rows` may be null.
    pub frame: DataFrame,
    /// Rows that were left out on the record but could have counted, in the frame's columns.
    pub left_out_frame: DataFrame,
    /// Rows that a rule set aside, in the frame's columns, as far as their cells can be read; records that could not
    /// be laid under the header are not among them.
    pub set_aside_frame: DataFrame,
    /// What is wrong or weak in the files, by file and line; then names; then idle entries.
    pub findings: Vec<Finding>,
    /// What each `[[leave_out]]` entry left out, in the season's order.
    pub left_out: Vec<LeftOut>,
    /// What became of each file's rows.
    pub files: Vec<FileCount>,
}

impl Readings {
    /// Whether some row can't stand as it is.
    pub fn has_error(&self) -> bool {
        self.findings.iter().any(|f| f.severity == Severity::Error)
    }
}

/// Reads every file of readings directly in a season's folder, by name: CSV, XLSX, ODS, Parquet. A file that may
/// hold readings and is not read is a finding.
///
/// # Errors
/// The folder can't be read or holds no such file; else as [`read_files`].
pub fn read_folder(folder: &Path, config: &Config) -> Result<Readings, ReadError> {
    let shown = || folder.display().to_string();
    let unreadable = |error: std::io::Error| ReadError::Unreadable { file: shown(), reason: error.to_string() };
    let (mut files, mut unread) = (Vec::new(), Vec::new());
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        match Form::of(&path) {
            _ if holds_no_table(&path) => {}
            Some(_) if path.is_file() => files.push(path),
            None if path.is_dir() => {}
            _ => unread.push(path),
        }
    }
    files.sort();
    unread.sort();
    if files.is_empty() {
        return Err(ReadError::NoReadings { file: shown() });
    }
    let name = |path: &PathBuf| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let names: Vec<String> = files.iter().map(name).collect();
    let mut readings = read_files(&files, &names, config)?;
    readings.findings.extend(unread.iter().map(|path| not_read(&name(path))));
    readings
        .findings
        .extend(config.layouts.iter().filter(|l| !names.iter().any(|n| layout::fits(&l.file, n))).map(idle));
    Ok(readings)
}

/// A file of the folder that is not read.
fn not_read(file: &str) -> Finding {
    let place = Place { file: file.into(), line: None, column: None };
    let what = "this is not read: its ending is none of csv, tsv, xlsx, ods, parquet, or it is no plain file";
    let action = "if it holds readings, save it in one of those forms; else move it out of the season's folder";
    Finding::new(Severity::Note, place, what, "readings in it count in no verdict", action).by("unread file")
}

/// A layout that no file has.
fn idle(layout: &Layout) -> Finding {
    let place = Place { file: "season.toml".into(), line: Some(layout.line), column: None };
    let what = format!("this `[[layout]]` fits no file: there is no `{}`", layout.file);
    let action = "nothing read by it; correct `file`, or remove the entry";
    Finding::new(Severity::Warning, place, what, "the file it means may be read in another way, or not at all", action)
        .by("idle layout")
}

/// Reads files of readings in the order given; findings name them by the names shown (a path stands in
/// for a name that isn't given).
///
/// # Errors
/// A file that can't be read, isn't what its form asks for, has no header or no rows, lacks a needed column, or
/// names a column twice; a layout that doesn't fit its file; no file at all.
pub fn read_files(files: &[PathBuf], shown_names: &[String], config: &Config) -> Result<Readings, ReadError> {
    read_files_bulky(files, shown_names, config, bulk::FROM_ROWS)
}

/// As [`read_files`], with files of this many rows, all together, taken in by mounting: see [`bulk`].
///
/// # Errors
/// As [`read_files`].
pub fn read_files_bulky(
    files: &[PathBuf],
    shown_names: &[String],
    config: &Config,
    from_rows: usize,
) -> Result<Readings, ReadError> {
    let bulky = files.iter().map(|path| bulk::rows_about(path)).fold(0, usize::saturating_add) >= from_rows;
    let shown = |at: usize| shown_names.get(at).cloned().unwrap_or_else(|| files[at].display().to_string());
    let of_file = |at: usize| part_of(&shown(at), &files[at], config, bulky);
    let parts: Vec<(Part, Vec<LeftOut>)> = match bulky {
        true => (0..files.len()).map(of_file).collect::<Result<_, _>>()?,
        // the first file's trouble is told, whichever was met first
        false => side_by_side(files.len(), of_file).into_iter().collect::<Result<_, _>>()?,
    };
    let mut left_out: Vec<LeftOut> = config.leave_out.iter().map(LeftOut::new).collect();
    let mut taken: Option<(Part, Vec<FileCount>)> = None;
    for (at, (part, of_file)) in parts.into_iter().enumerate() {
        left_out.iter_mut().zip(of_file).for_each(|(all, own)| all.add(own));
        match &mut taken {
            None => taken = Some((part, vec![])),
            Some((all, counts)) => {
                let joined = all
                    .frame
                    .vstack_mut(&part.frame)
                    .and(all.left_out_frame.vstack_mut(&part.left_out_frame))
                    .and(all.set_aside_frame.vstack_mut(&part.set_aside_frame));
                joined.map_err(|source| ReadError::Frame { file: shown(at), source })?;
                all.findings.extend(part.findings);
                counts.push(part.count);
            }
        }
    }
    let Some((Part { mut frame, mut left_out_frame, mut set_aside_frame, mut findings, count }, more)) = taken else {
        return Err(ReadError::NoReadings { file: String::new() });
    };
    let files = [vec![count], more].concat();
    frame.rechunk_mut();
    left_out_frame.rechunk_mut();
    set_aside_frame.rechunk_mut();
    let odd =
        names::odd_names(&frame, config).map_err(|source| ReadError::Frame { file: files[0].name.clone(), source })?;
    findings.extend(odd);
    findings.extend(left_out.iter().filter_map(LeftOut::idle));
    Ok(Readings { frame, left_out_frame, set_aside_frame, findings, left_out, files })
}

/// Does `work` of every number below `count` on as many threads as there are cores, and gives the results in order.
///
/// On threads of no pool: one of a pool takes up other work while it waits for Polars' own pool, here another file with
/// this one's locks still in hand.
fn side_by_side<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(vec![]));
    let one_after_another = || {
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= count {
                break;
            }
            let result = work(at);
            done.lock().unwrap_or_else(PoisonError::into_inner).push((at, result));
        }
    };
    std::thread::scope(|scope| {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        for _ in 1..cores.min(count) {
            // as much stack as this thread has; one that can't be had is done without
            let _ = std::thread::Builder::new().stack_size(8 << 20).spawn_scoped(scope, one_after_another);
        }
        one_after_another();
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Reads the text of one file of readings, under a name of the caller's.
///
/// # Errors
/// As [`read_files`].
pub fn read_text(file: &str, text: &str, config: &Config) -> Result<Readings, ReadError> {
    let mut left_out: Vec<LeftOut> = config.leave_out.iter().map(LeftOut::new).collect();
    let part = read_file(file, Path::new(file), text.as_bytes(), config, &mut left_out)?;
    let Part { frame, left_out_frame, set_aside_frame, mut findings, count } = part;
    // who writes into a sheet keeps to its way of writing numbers
    findings.retain(|f| f.rule != "decimal comma");
    Ok(Readings { frame, left_out_frame, set_aside_frame, findings, left_out, files: vec![count] })
}

/// The name most like a word, if one is like it at all.
pub fn nearest_name<'a>(word: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    names::nearest(word, names, 0.6)
}
