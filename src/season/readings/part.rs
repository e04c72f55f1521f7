//! One file's way to its share of the readings: form, layout, types, what is left out, numbers, what is set aside.

use std::collections::BTreeSet;
use std::path::Path;

use polars::prelude::*;

use super::left_out::{self, LeftOut};
use super::{FileCount, ReadError, bulk, cell, fault, forms, layout, marks, measure, rules, table, typed};
use crate::season::config::Config;
use crate::season::finding::{Finding, Stake};

/// One file's share of the readings.
pub(super) struct Part {
    /// See [`super::Readings::frame`], and so on.
    pub frame: DataFrame,
    pub left_out_frame: DataFrame,
    pub set_aside_frame: DataFrame,
    pub findings: Vec<Finding>,
    pub count: FileCount,
}

/// Takes in one file: its share of the readings, and of what each entry leaves out.
pub(super) fn part_of(
    file: &str,
    path: &Path,
    config: &Config,
    bulky: bool,
) -> Result<(Part, Vec<LeftOut>), ReadError> {
    let mut left_out: Vec<LeftOut> = config.leave_out.iter().map(LeftOut::new).collect();
    let mounted = if bulky { bulk::read(file, path, config, &mut left_out)? } else { None };
    let part = match mounted {
        Some(part) => part,
        None => {
            let unreadable =
                |error: std::io::Error| ReadError::Unreadable { file: file.into(), reason: error.to_string() };
            let bytes = std::fs::read(path).map_err(unreadable)?;
            read_file(file, path, &bytes, config, &mut left_out)?
        }
    };
    Ok((part, left_out))
}

/// Takes in the text or the bytes of one file.
pub(super) fn read_file(
    file: &str,
    path: &Path,
    bytes: &[u8],
    config: &Config,
    left_out: &mut [LeftOut],
) -> Result<Part, ReadError> {
    let (mut text, layout) = (String::new(), layout::of_file(config, file));
    let sheet = forms::sheet(file, path, bytes, layout, &mut text)?;
    let (sheet, places) = match layout {
        Some(layout) => layout::unfold(file, sheet, layout)?,
        None => (sheet, None),
    };
    let mut table = table::table(file, sheet, places)?;
    marks::settle(&mut table).map_err(|source| ReadError::Frame { file: file.into(), source })?;
    sift(file, table, config, left_out).map_err(|source| ReadError::Frame { file: file.into(), source })
}

/// Separates a file's rows into those left out, set aside and used.
pub(super) fn sift(file: &str, table: table::Table, config: &Config, left_out: &mut [LeftOut]) -> PolarsResult<Part> {
    let typed = typed::typed(&table, config)?;
    for (noted, entry) in left_out.iter_mut().zip(&config.leave_out) {
        noted.note(file, &typed, entry)?;
    }
    let (counted, left) = match config.leave_out.is_empty() {
        true => (typed.clone(), typed.clear()),
        false => {
            let out = config.leave_out.iter().map(left_out::matches).fold(col("line").is_null(), Expr::or);
            let split = |which: Expr| typed.clone().lazy().filter(which).collect();
            (split(out.clone().not())?, split(out)?)
        }
    };
    let left_out_rows = left.height();
    let Judged { frame, aside, faults } = judged(file, counted, table.comma, config)?;
    // what is wrong with a row that is left out is nobody's concern, but a row that is can't be put back
    let left_out_frame =
        if left_out_rows == 0 { frame.clear() } else { judged(file, left, table.comma, config)?.frame };

    let broken = table.broken.len();
    let seen = [table.broken, faults, table.notes].concat();
    let count = FileCount {
        name: file.into(),
        rows: table.rows,
        used: frame.height(),
        set_aside: broken + aside.height(),
        left_out: left_out_rows,
    };
    let findings = fault::findings(file, seen, table.places.as_ref());
    Ok(Part { frame, left_out_frame, set_aside_frame: aside, findings: endangering(findings, &typed)?, count })
}

/// Rows judged by every rule.
struct Judged {
    /// Those that count.
    frame: DataFrame,
    /// Those set aside.
    aside: DataFrame,
    /// What is wrong with any.
    faults: Vec<fault::Seen>,
}

fn judged(file: &str, rows: DataFrame, comma: cell::Comma, config: &Config) -> PolarsResult<Judged> {
    let mut faults = vec![];
    let mut set_aside: BTreeSet<u32> = BTreeSet::new();
    for (rule, caught) in rules::judged(&rows)? {
        if rule.sets_aside {
            set_aside.extend(caught.iter().filter_map(|s| s.row));
        }
        faults.extend(caught);
    }
    let (measured, more) = measure::measure(rows, comma, config)?;
    set_aside.extend(more.iter().filter_map(|s| s.row));
    faults.extend(more);
    let keep: BooleanChunked =
        measured.column("row")?.u32()?.iter().map(|row| row.map(|row| !set_aside.contains(&row))).collect();
    let aside = finished(file, measured.filter(&!&keep)?)?;
    Ok(Judged { frame: finished(file, measured.filter(&keep)?)?, aside, faults })
}

/// Gives each finding about a row the verdicts that the row enters, as far as its names can be read.
fn endangering(findings: Vec<(Option<u32>, Finding)>, typed: &DataFrame) -> PolarsResult<Vec<Finding>> {
    let text = |name: &str| typed.column(name).and_then(|c| c.str().cloned());
    let (quantity, band, meter, antenna) = (text("quantity")?, text("band")?, text("meter")?, text("antenna")?);
    // in order, with gaps where rows were taken back
    let rows: Vec<u32> = typed.column("row")?.u32()?.iter().flatten().collect();
    let stake = |row: u32| {
        let at = rows.binary_search(&row).ok()?;
        Some(Stake {
            quantity: quantity.get(at).map(String::from),
            band: band.get(at).map(String::from),
            meter: meter.get(at).map(String::from),
            antennas: antenna.get(at).map(String::from).into_iter().collect(),
            between: false,
        })
    };
    let endangering = |(row, mut finding): (Option<u32>, Finding)| {
        if finding.endangers.is_empty() {
            finding.endangers.extend(row.and_then(stake));
        }
        finding
    };
    Ok(findings.into_iter().map(endangering).collect())
}

/// The frame's columns in their order.
fn finished(file: &str, used: DataFrame) -> PolarsResult<DataFrame> {
    let names = ["session", "antenna", "band", "meter", "quantity", "value", "y", "readings", "sd", "y_sd", "step"];
    let last = ["mounting", "when", "order", "battery", "squares", "rows"];
    let columns = ["file", "line"].into_iter().chain(names).chain(last);
    used.lazy()
        .with_columns([
            lit(file.to_string()).alias("file"),
            col("readings").fill_null(lit(1.0)),
            lit(NULL).cast(DataType::Float64).alias("squares"),
            lit(1u32).cast(DataType::UInt32).alias("rows"),
        ])
        .select(columns.map(col).collect::<Vec<_>>())
        .collect()
}
