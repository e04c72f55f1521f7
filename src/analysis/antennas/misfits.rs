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

/// Fewer readings than this, in visits of two or more, don't say what a usual deviation is.
const LEAST: u32 = 10;

/// Up to this many misfits of one meter in one session are named one by one.
const FEW: usize = 3;

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

/// One reading that does not fit.
struct Misfit {
    file: String,
    line: usize,
    session: String,
    meter: String,
    antenna: String,
    set: String,
    value: String,
    median: String,
}

/// Names the readings of `sets` that do not fit their visit; many of one meter in one session are one
/// finding, since then the session changed rather than the typing slipped.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn misfits(frame: &DataFrame, sets: &[Set]) -> PolarsResult<Vec<Finding>> {
    let found = find(frame, sets)?;
    let mut out = vec![];
    let mut told: Vec<(&str, &str)> = vec![];
    for misfit in &found {
        let occasion = (misfit.meter.as_str(), misfit.session.as_str());
        let together = found.iter().filter(|m| (m.meter.as_str(), m.session.as_str()) == occasion).count();
        if together <= FEW {
            out.push(finding(misfit, slip(misfit), "correct the log if it is a slip, or leave it out on the record"));
        } else if !told.contains(&occasion) {
            told.push(occasion);
            let what = format!(
                "{together} readings of {} in session {} do not fit their visits, the first of them {}",
                misfit.meter,
                misfit.session,
                slip(misfit)
            );
            let action = "if something changed during that session, such as the battery, leave out what it spoiled";
            out.push(finding(misfit, what, action));
        }
    }
    Ok(out)
}

fn slip(m: &Misfit) -> String {
    format!("{} for {} ({}), where its visit's median is {}", m.value, m.antenna, m.set, m.median)
}

fn finding(m: &Misfit, what: String, action: &str) -> Finding {
    let place = Place { file: m.file.clone(), line: Some(m.line), column: Some("value".into()) };
    let why = "one such reading widens every interval of its set, and can hide all its differences";
    Finding::new(Severity::Warning, place, what, why, format!("kept; {action}")).by("misfit")
}

fn find(frame: &DataFrame, sets: &[Set]) -> PolarsResult<Vec<Misfit>> {
    let suspects = frame
        .clone()
        .lazy()
        .with_columns([
            deviation()?,
            col("value").median().over(keys(&VISIT))?.alias("visit_median"),
            len().over(keys(&VISIT))?.alias("visit_readings"),
        ])
        .filter(col("visit_readings").gt_eq(lit(2)))
        .with_columns([usual()?, len().over(keys(&SET))?.alias("set_readings")])
        .filter(col("set_readings").gt_eq(lit(LEAST)))
        .filter(col("deviation").gt(lit(BEYOND) * col("usual")))
        .sort(["file", "line"], SortMultipleOptions::default())
        .collect()?;
    let text = |name: &str| suspects.column(name).and_then(|c| c.str().cloned());
    let number = |name: &str| suspects.column(name).and_then(|c| c.f64().cloned());
    let (quantity, band, meter) = (text("quantity")?, text("band")?, text("meter")?);
    let (file, antenna, session) = (text("file")?, text("antenna")?, text("session")?);
    let (value, median, deviation) = (number("value")?, number("visit_median")?, number("deviation")?);
    let line = suspects.column("line")?.u32()?.clone();
    let mut out = vec![];
    for i in 0..suspects.height() {
        let name = |column: &StringChunked| column.get(i).unwrap_or_default().to_string();
        let fits = |s: &&Set| s.quantity.name == name(&quantity) && s.band == name(&band) && s.meter == name(&meter);
        let (Some(set), Some(value), Some(median)) = (sets.iter().find(fits), value.get(i), median.get(i)) else {
            continue;
        };
        // steady readings have no usual deviation: rounding alone must not make a suspect
        let scale = set.quantity.scale;
        let digit = scale.to_analysis(median).map_or(0.0, |y| set.resolution * scale.slope_at(y));
        if deviation.get(i).unwrap_or(0.0) <= BEYOND * digit {
            continue;
        }
        let decimals = (-set.resolution.log10().floor()).clamp(0.0, 9.0) as usize;
        out.push(Misfit {
            file: name(&file),
            line: line.get(i).unwrap_or(0) as usize,
            session: name(&session),
            meter: name(&meter),
            antenna: name(&antenna),
            set: label(&set.quantity.name, &set.band, &set.meter),
            value: value.to_string(),
            median: format!("{median:.decimals$}"),
        });
    }
    Ok(out)
}
