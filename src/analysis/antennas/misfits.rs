//! Readings that fit their own visit so badly that a typing slip is likelier than scatter. They are kept:
//! an outlier is for the practitioner to judge, and it widens the intervals it should not shape. But
//! they are named, because one slip can hide every difference of its set.

use polars::prelude::*;

use super::result::label;
use super::sets::Set;
use crate::season::finding::{Finding, Place, Severity};

/// A reading is named when it lies this many times the set's usual deviation from its visit's median:
/// beyond what even heavy-tailed scatter gives.
const BEYOND: f64 = 10.0;

const VISIT: [&str; 5] = ["quantity", "band", "meter", "session", "antenna"];
const SET: [&str; 3] = ["quantity", "band", "meter"];

fn keys(names: &[&str]) -> Vec<Expr> {
    names.iter().map(|n| col(*n)).collect()
}

/// Distance of a reading from the median of its visit, on the analysis scale.
fn deviation() -> PolarsResult<Expr> {
    Ok((col("y") - col("y").median().over(keys(&VISIT))?).abs().alias("deviation"))
}

/// The set's usual deviation: 1.4826 times the median one estimates a normal standard deviation.
fn usual() -> PolarsResult<Expr> {
    Ok((lit(1.4826) * col("deviation").median().over(keys(&SET))?).alias("usual"))
}

/// Names the readings of `sets` that do not fit their visit.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn misfits(frame: &DataFrame, sets: &[Set]) -> PolarsResult<Vec<Finding>> {
    let suspects = frame
        .clone()
        .lazy()
        .with_columns([deviation()?, col("value").median().over(keys(&VISIT))?.alias("visit_median")])
        .with_columns([usual()?])
        .filter(col("deviation").gt(lit(BEYOND) * col("usual")))
        .sort(["file", "line"], SortMultipleOptions::default())
        .collect()?;
    let text = |name: &str| suspects.column(name).and_then(|c| c.str().cloned());
    let number = |name: &str| suspects.column(name).and_then(|c| c.f64().cloned());
    let (quantity, band, meter) = (text("quantity")?, text("band")?, text("meter")?);
    let (file, antenna) = (text("file")?, text("antenna")?);
    let (value, median, deviation) = (number("value")?, number("visit_median")?, number("deviation")?);
    let line = suspects.column("line")?.u32()?.clone();
    let mut out = vec![];
    for i in 0..suspects.height() {
        let name = |column: &StringChunked| column.get(i).unwrap_or_default().to_string();
        let fits = |s: &&Set| s.quantity.name == name(&quantity) && s.band == name(&band) && s.meter == name(&meter);
        let Some(set) = sets.iter().find(fits) else { continue };
        // steady readings have no usual deviation: rounding alone must not make a suspect
        let digits = set.resolution
            * set.quantity.scale.slope_at(set.quantity.scale.to_analysis(median.get(i).unwrap_or(1.0)).unwrap_or(0.0));
        if deviation.get(i).unwrap_or(0.0) <= BEYOND * digits {
            continue;
        }
        out.push(Finding {
            severity: Severity::Warning,
            place: Place { file: name(&file), line: line.get(i).map(|l| l as usize), column: Some("value".into()) },
            what: format!(
                "{} for {} on {} does not fit its visit, whose median is {}",
                value.get(i).unwrap_or(0.0),
                name(&antenna),
                label(&set.quantity.name, &set.band, &set.meter),
                median.get(i).unwrap_or(0.0)
            ),
            why: "one typing slip widens every interval of its set, and can hide all its differences".into(),
            action: "kept; correct it in the log if it is a slip, or leave it out on the record".into(),
        });
    }
    Ok(out)
}
