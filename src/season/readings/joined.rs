//! Readings that come from other than a table, joined to those that do.

use polars::prelude::*;

use super::{FileCount, Readings, left_out, names};
use crate::season::config::Config;
use crate::season::finding::{Finding, Place};
use crate::season::readings::LeftOut;

/// The rules whose findings are about the readings as a whole.
const OF_ALL: [&str; 2] = ["names", "idle leave_out"];

impl Readings {
    /// No readings yet: the empty frame of those columns.
    pub fn none(columns: &DataFrame, config: &Config) -> Readings {
        Readings {
            frame: columns.clear(),
            left_out_frame: columns.clear(),
            set_aside_frame: columns.clear(),
            findings: vec![],
            left_out: config.leave_out.iter().map(LeftOut::new).collect(),
            files: vec![],
        }
    }

    /// These and the rows of another frame, which has the same columns; what the season leaves out is left out of both.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected of frames with the same columns.
    pub fn joined(
        mut self,
        rows: &DataFrame,
        findings: Vec<Finding>,
        mut files: Vec<FileCount>,
        config: &Config,
    ) -> PolarsResult<Readings> {
        let rows = &in_columns_of(&self.frame, rows)?;
        let mut out = col("line").is_null();
        for (noted, entry) in self.left_out.iter_mut().zip(&config.leave_out) {
            let matched = rows.clone().lazy().filter(left_out::matches(entry)).collect()?;
            let places = places(&matched)?;
            noted.rows += places.len();
            noted.places.extend(places);
            out = out.or(left_out::matches(entry));
        }
        let split = |which: Expr| rows.clone().lazy().filter(which).collect();
        let (used, left) = (split(out.clone().not())?, split(out)?);
        for place in places(&left)? {
            if let Some(file) = files.iter_mut().find(|f| f.name == place.file) {
                (file.used, file.left_out) = (file.used - 1, file.left_out + 1);
            }
        }
        self.frame.vstack_mut(&used)?;
        self.left_out_frame.vstack_mut(&left)?;
        self.frame.rechunk_mut();
        self.left_out_frame.rechunk_mut();
        self.files.extend(files);
        self.findings.retain(|f| !OF_ALL.contains(&f.rule));
        self.findings.extend(findings);
        self.findings.extend(names::odd_names(&self.frame, config)?);
        self.findings.extend(self.left_out.iter().filter_map(LeftOut::idle));
        Ok(self)
    }
}

/// Those columns in that order: nothing where the rows say nothing of one.
fn in_columns_of(frame: &DataFrame, rows: &DataFrame) -> PolarsResult<DataFrame> {
    let column = |like: &Column| match rows.column(like.name()) {
        Ok(own) => own.clone(),
        Err(_) => Column::full_null(like.name().clone(), rows.height(), like.dtype()),
    };
    DataFrame::new(rows.height(), frame.columns().iter().map(column).collect())
}

fn places(frame: &DataFrame) -> PolarsResult<Vec<Place>> {
    let (files, lines) = (frame.column("file")?.str()?, frame.column("line")?.u32()?);
    let place = |(file, line): (Option<&str>, Option<u32>)| Place {
        file: file.unwrap_or_default().into(),
        line: line.map(|l| l as usize),
        column: None,
    };
    Ok(files.iter().zip(lines.iter()).map(place).collect())
}
