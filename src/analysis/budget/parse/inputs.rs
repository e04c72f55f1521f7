//! `[[input]]`: a name, and what is known of its value.

use std::path::Path;

use super::super::config::Input;
use crate::montecarlo::distribution::Distribution;
use crate::season::error::Kind;
use crate::season::file::{self, Trouble};
use crate::season::parse::nearest::{list, nearest};
use crate::season::parse::reader::{Field, Table};

/// An input, and its readings where it was given by readings.
pub(super) struct ReadInput {
    pub input: Input,
    pub readings: Option<Vec<f64>>,
}

/// Keys of any input.
const COMMON: [&str; 5] = ["name", "unit", "shape", "df", "note"];

/// Each shape's word and the keys of its sizes.
const SHAPES: [(&str, &[&str]); 11] = [
    ("normal", &["value", "standard", "expanded", "coverage_factor"]),
    ("rectangular", &["value", "half_width", "low", "high"]),
    ("triangular", &["value", "half_width", "low", "high"]),
    ("trapezoidal", &["value", "half_width", "low", "high", "top"]),
    ("curvilinear trapezoid", &["value", "half_width", "low", "high", "limits_within"]),
    ("arcsine", &["value", "half_width", "low", "high"]),
    ("phase", &[]),
    ("t", &["value", "standard", "expanded", "coverage_factor"]),
    ("exponential", &["value"]),
    ("gamma", &["value", "standard"]),
    ("count", &["count", "per"]),
];

/// Keys of an input given by readings, or as exact.
const READINGS: (&str, &[&str]) = ("readings", &["readings", "file", "column"]);
const EXACT: (&str, &[&str]) = ("exact", &["value"]);

pub(super) fn inputs(top: &Table<'_>, folder: &Path) -> Vec<ReadInput> {
    let sizes = SHAPES.iter().chain([&READINGS, &EXACT]).flat_map(|(_, keys)| keys.iter().copied());
    let mut keys: Vec<&str> = COMMON.into_iter().chain(sizes).collect();
    keys.sort_unstable();
    keys.dedup();
    let tables = top.get("input").map(|field| field.entries(&keys)).unwrap_or_default();
    let mut inputs: Vec<ReadInput> = vec![];
    for table in &tables {
        let Some(read) = input(table, folder) else { continue };
        if let Some(first) = inputs.iter().find(|other| other.input.name == read.input.name) {
            let what = format!("`{}` is already the name of an input", read.input.name);
            let hint = format!("the first stands on line {}", first.input.line);
            table.doc.report(table.span.clone(), Kind::DuplicateName, what, |p| p.advise(hint));
        }
        inputs.push(read);
    }
    inputs
}

fn input(table: &Table<'_>, folder: &Path) -> Option<ReadInput> {
    let name = table.need("name", "name = \"line_loss\"").and_then(|f| f.name());
    let unit = table.get("unit").and_then(|f| f.text()).unwrap_or_default();
    table.get("note").and_then(|f| f.text());
    let df = table.get("df").map(|f| f.positive());
    let (shape, allowed) = match table.get("shape") {
        Some(field) => shape(&field)?,
        None if table.get("readings").is_some() || table.get("file").is_some() => READINGS,
        None => EXACT,
    };
    for key in table.keys().filter(|key| !COMMON.contains(key) && !allowed.contains(key)) {
        // what is unknown altogether has been reported already
        let Some(place) = table.key_span(key) else { continue };
        if !SHAPES.iter().chain([&READINGS, &EXACT]).any(|(_, keys)| keys.contains(&key)) {
            continue;
        }
        let what = match shape {
            "exact" => format!("`{key}` needs a `shape`"),
            "readings" => format!("`{key}` does not go with readings, whose scatter says how sure their mean is"),
            _ => format!("`{key}` does not belong to the shape `{shape}`"),
        };
        let hint = match shape {
            "exact" => format!("the shapes are {}", list(SHAPES.iter().map(|(word, _)| *word))),
            _ if allowed.is_empty() => "a phase needs no size: it is anywhere in a full turn".to_string(),
            _ => format!("its keys are {}", list(allowed.iter().copied())),
        };
        table.doc.report(place, Kind::Conflict, what, |p| p.advise(hint));
    }
    let mut readings = None;
    let distribution = match shape {
        "readings" => {
            let (values, all_agree) = of_readings(table, folder)?;
            let distribution = Distribution::of_readings(&values)?;
            if all_agree {
                let what = "all readings agree, so their scatter says nothing of how sure their mean is";
                let hint = "give the display's last digit an input of its own, `rectangular` with half of it as `half_width`, \
                            and this one as `value` alone";
                table.doc.report(table.span.clone(), Kind::Conflict, what, |p| p.advise(hint));
            }
            readings = Some(values);
            Some(distribution)
        }
        "exact" => {
            table.need("value", "value = 1.0").and_then(|f| f.finite()).map(|value| Distribution::Exact { value })
        }
        _ => sized(table, shape, df),
    };
    let (name, distribution) = (name?, distribution?);
    let df = match df {
        Some(df) => df?,
        None => distribution.df(),
    };
    Some(ReadInput { input: Input { name, unit, shape, distribution, df, line: table.line() }, readings })
}

fn shape(field: &Field<'_>) -> Option<(&'static str, &'static [&'static str])> {
    let words = SHAPES.map(|(word, keys)| (word, (word, keys)));
    field.word(&words)
}

/// The distribution of a shape from its sizes.
fn sized(table: &Table<'_>, shape: &str, df: Option<Option<f64>>) -> Option<Distribution> {
    match shape {
        "normal" => {
            let (mean, standard) = (value(table), standard(table));
            Some(Distribution::Normal { mean: mean?, standard: standard? })
        }
        "t" => {
            let (location, scale) = (value(table), standard(table));
            if df.is_none() {
                table.need("df", "df = 9");
            }
            Some(Distribution::StudentT { location: location?, scale: scale?, df: df?? })
        }
        "exponential" => {
            let mean = table.need("value", "value = 2.0").and_then(|f| f.positive());
            Some(Distribution::Exponential { mean: mean? })
        }
        "gamma" => {
            let mean = table.need("value", "value = 2.0").and_then(|f| f.positive());
            let standard = table.need("standard", "standard = 0.5").and_then(|f| f.positive());
            let (mean, standard) = (mean?, standard?);
            Some(Distribution::Gamma { shape: (mean / standard).powi(2), scale: standard * standard / mean })
        }
        "count" => {
            let count = table.need("count", "count = 12").and_then(|f| f.whole(0));
            let per = table.get("per").map_or(Some(1.0), |f| f.positive());
            Some(Distribution::Gamma { shape: count? as f64 + 1.0, scale: 1.0 / per? })
        }
        "phase" => Some(Distribution::Rectangular { low: -std::f64::consts::PI, high: std::f64::consts::PI }),
        _ => between(table, shape),
    }
}

/// A shape between two limits.
fn between(table: &Table<'_>, shape: &str) -> Option<Distribution> {
    let (low, high) = limits(table)?;
    match shape {
        "rectangular" => Some(Distribution::Rectangular { low, high }),
        "triangular" => Some(Distribution::Triangular { low, high }),
        "arcsine" => Some(Distribution::Arcsine { low, high }),
        "trapezoidal" => {
            let share = |x: f64| (0.0..=1.0).contains(&x);
            let top =
                table.need("top", "top = 0.5").and_then(|f| f.number("a number from 0 to 1: top over base", share));
            Some(Distribution::Trapezoidal { low, high, top: top? })
        }
        _ => {
            let half = (high - low) / 2.0;
            let narrow = |x: f64| x > 0.0 && x < half;
            let wanted = format!("a number above 0 and below half the width, {half}");
            let within = table.need("limits_within", "limits_within = 0.1").and_then(|f| f.number(&wanted, narrow));
            Some(Distribution::CurvilinearTrapezoid { low, high, within: within? })
        }
    }
}

/// Both limits: from `value` and `half_width`, or given as `low` and `high`.
fn limits(table: &Table<'_>) -> Option<(f64, f64)> {
    let given = |keys: &[&'static str]| keys.iter().any(|key| table.get(key).is_some());
    if given(&["low", "high"]) {
        if given(&["value", "half_width"]) {
            let what = "both limits and a value with its half-width are given";
            let hint = "keep `low` and `high`, or `value` and `half_width`";
            table.doc.report(table.span.clone(), Kind::Conflict, what, |p| p.advise(hint));
            return None;
        }
        let low = table.need("low", "low = 0.9").and_then(|f| f.finite());
        let high_field = table.need("high", "high = 1.1");
        let (low, high) = (low?, high_field.as_ref().and_then(|f| f.finite())?);
        return high_field?
            .number(&format!("a number above `low`, {low}"), |x| x > low && (x - low).is_finite())
            .map(|_| (low, high));
    }
    let value = value(table);
    let half = table.need("half_width", "half_width = 0.1").and_then(|f| f.positive());
    let (value, half) = (value?, half?);
    let (low, high) = (value - half, value + half);
    if low < value && value < high {
        return Some((low, high));
    }
    let what = format!("a half-width of {half} is lost beside a value of {value}");
    table.doc.report(table.span.clone(), Kind::OutOfRange, what, |p| {
        p.advise("give the difference from a round number as the input")
    });
    None
}

fn value(table: &Table<'_>) -> Option<f64> {
    table.need("value", "value = 1.0").and_then(|f| f.finite())
}

/// A standard uncertainty: given, or an expanded one over its coverage factor.
fn standard(table: &Table<'_>) -> Option<f64> {
    let (standard, expanded) = (table.get("standard"), table.get("expanded"));
    if let (Some(_), Some(expanded)) = (&standard, &expanded) {
        let what = "both a standard and an expanded uncertainty are given";
        expanded.doc.report(expanded.span(), Kind::Conflict, what, |p| p.advise("keep one of them"));
        return None;
    }
    if let Some(expanded) = expanded {
        let factor = table.need("coverage_factor", "coverage_factor = 2").and_then(|f| f.positive());
        return Some(expanded.positive()? / factor?);
    }
    if let Some(factor) = table.get("coverage_factor") {
        let what = "a `coverage_factor` without an `expanded` uncertainty";
        factor.doc.report(factor.span(), Kind::Conflict, what, |p| p.advise("`expanded = …` is what it divides"));
    }
    table.need("standard", "standard = 0.1").and_then(|f| f.positive())
}

/// Readings from a list, or from a column of a CSV file; whether all agree.
fn of_readings(table: &Table<'_>, folder: &Path) -> Option<(Vec<f64>, bool)> {
    let values = match (table.get("readings"), table.get("file")) {
        (Some(list), None) => {
            if let Some(column) = table.get("column") {
                column.doc.report(column.span(), Kind::Conflict, "a `column` without a `file`", |p| {
                    p.advise("name the `file` that it is in")
                });
            }
            let fields = list.list("a list of numbers, as in `[1.2, 1.3, 1.2]`")?;
            let values: Vec<Option<f64>> = fields.iter().map(|f| f.finite()).collect();
            values.into_iter().collect::<Option<Vec<f64>>>()?
        }
        (None, Some(file)) => of_file(table, &file, folder)?,
        _ => {
            let what = "readings are given both here and in a file";
            table.doc.report(table.span.clone(), Kind::Conflict, what, |p| {
                p.advise("keep `readings`, or `file` and `column`")
            });
            return None;
        }
    };
    if values.len() < 2 {
        let what = match values.len() {
            0 => "there are no readings".to_string(),
            _ => "one reading says nothing of how much readings scatter".to_string(),
        };
        let hint = "take at least two, or say what else is known: a `value` with a `shape`";
        table.doc.report(table.span.clone(), Kind::OutOfRange, what, |p| p.advise(hint));
        return None;
    }
    let all_agree = values.iter().all(|v| *v == values[0]);
    Some((values, all_agree))
}

/// The largest file of readings that a budget's input is read from.
const LARGEST_COLUMN: u64 = 1 << 30;

/// A column of a CSV file with a header line.
fn of_file(table: &Table<'_>, field: &Field<'_>, folder: &Path) -> Option<Vec<f64>> {
    let name = field.name();
    let column = table.need("column", "column = \"value\"").and_then(|f| f.name());
    let (name, column) = (name?, column?);
    let refuse = |what: String, hint: Option<String>| {
        field.doc.report(field.span(), Kind::Unreadable, what, |p| match hint {
            Some(hint) => p.advise(hint),
            None => p,
        });
    };
    let bytes = match file::read(&folder.join(&name), LARGEST_COLUMN) {
        Ok(bytes) => bytes,
        Err(trouble) => {
            let why = match trouble {
                Trouble::System(error) => error.kind().to_string(),
                other => other.to_string(),
            };
            refuse(
                format!("`{name}` can't be read: {why}"),
                Some("its place is given from the budget's own folder".into()),
            );
            return None;
        }
    };
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes.as_slice());
    let header: Vec<String> = match reader.headers() {
        Ok(header) => header.iter().map(|h| h.trim_start_matches('\u{feff}').to_string()).collect(),
        Err(error) => {
            refuse(format!("`{name}` can't be read: {error}"), None);
            return None;
        }
    };
    let Some(at) = header.iter().position(|h| *h == column) else {
        let known = || header.iter().map(String::as_str);
        let hint = match nearest(&column, known()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("its columns are {}", list(known())),
        };
        refuse(format!("`{name}` has no column `{column}`"), Some(hint));
        return None;
    };
    let mut values = vec![];
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                refuse(format!("`{name}` can't be read: {error}"), None);
                return None;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        let cell = record.get(at).unwrap_or_default();
        match cell.parse::<f64>() {
            Ok(value) if value.is_finite() => values.push(value),
            _ => {
                let hint = "every row counts: correct it, or keep it out of this file".to_string();
                refuse(format!("`{name}`, line {line}, column {column}: `{cell}` is not a number"), Some(hint));
                return None;
            }
        }
    }
    Some(values)
}
