//! Quantity, value, unit and standard deviation of a row → numbers in the quantity's unit and on its
//! analysis scale, or what keeps the row from having them.

use polars::prelude::*;
use rayon::prelude::*;

use super::cell::{Comma, Reading, reading};
use super::fault::{Fault, Seen};
use super::names::nearest;
use crate::radio::quantity::{Quantity, Scale, built_in_names};
use crate::season::config::Config;
use crate::season::finding::Severity;
use crate::season::units;

/// The last digit a cell is written to: 0.01 for `1.50`, 1 for `3`, 1e-5 for `1.20e-3`; of several
/// numbers (`1:1.5`) the finest.
fn last_digit_written(text: &str) -> f64 {
    let mut finest: f64 = 1.0;
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        rest = &rest[at..];
        let whole = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
        let tail = &rest[whole..];
        let decimals = match tail.chars().next() {
            Some('.' | ',') => tail[1..].chars().take_while(char::is_ascii_digit).count(),
            _ => 0,
        };
        let after = &tail[if decimals > 0 { decimals + 1 } else { 0 }..];
        let digits =
            |s: &str| s.chars().take_while(|c| c.is_ascii_digit() || *c == '-' || *c == '+').collect::<String>();
        let exponent = after.strip_prefix(['e', 'E']).and_then(|s| digits(s).parse::<i32>().ok());
        finest = finest.min(10f64.powi(exponent.unwrap_or(0).clamp(-300, 300) - decimals as i32));
        rest = after;
    }
    finest
}

/// A row's numbers, in the quantity's unit and (`y`) on the analysis scale.
#[derive(Debug, Clone, Copy, Default)]
struct Measured {
    value: Option<f64>,
    y: Option<f64>,
    sd: Option<f64>,
    y_sd: Option<f64>,
    step: Option<f64>,
}

/// The text and numbers of a row that its value depends on.
struct Row<'a> {
    quantity: &'a str,
    value: &'a str,
    unit: Option<&'a str>,
    readings: f64,
    sd: Option<f64>,
}

/// Gives the frame its columns `value`, `y`, `sd`, `y_sd` and `step`, the last digit written, in the
/// quantity's unit: null in a row that is among the faults.
///
/// Rows without a quantity are passed over: the rule for empty cells tells of them.
pub fn measure(mut frame: DataFrame, comma: Comma, config: &Config) -> PolarsResult<(DataFrame, Vec<Seen>)> {
    let rows = frame.column("row")?.u32()?;
    let (lines, quantities) = (frame.column("line")?.u32()?, frame.column("quantity")?.str()?);
    let (values, written_units) = (frame.column("value")?.str()?, frame.column("unit")?.str()?);
    let (readings, sds) = (frame.column("readings")?.f64()?, frame.column("sd")?.f64()?);
    let one = |at: usize| {
        let (Some(line), Some(quantity)) = (lines.get(at), quantities.get(at)) else { return Ok(Measured::default()) };
        let row = Row {
            quantity,
            value: values.get(at).unwrap_or(""),
            unit: written_units.get(at),
            readings: readings.get(at).unwrap_or(1.0),
            sd: sds.get(at),
        };
        row.measured(comma, config).map_err(|fault| Seen { line: line as usize, row: rows.get(at), fault })
    };
    let found: Vec<Result<Measured, Seen>> = (0..frame.height()).into_par_iter().with_min_len(2048).map(one).collect();
    let mut faults = Vec::new();
    let measured: Vec<Measured> =
        found.into_iter().map(|m| m.unwrap_or_else(|seen| set_aside(seen, &mut faults))).collect();
    let column = |name: &str, number: fn(&Measured) -> Option<f64>| {
        Column::new(name.into(), measured.iter().map(number).collect::<Vec<_>>())
    };
    for column in [
        column("value", |m| m.value),
        column("y", |m| m.y),
        column("sd", |m| m.sd),
        column("y_sd", |m| m.y_sd),
        column("step", |m| m.step),
    ] {
        frame.with_column(column)?;
    }
    Ok((frame, faults))
}

/// No numbers for a row whose fault is kept.
fn set_aside(seen: Seen, faults: &mut Vec<Seen>) -> Measured {
    faults.push(seen);
    Measured::default()
}

impl Row<'_> {
    fn measured(&self, comma: Comma, config: &Config) -> Result<Measured, Fault> {
        let quantity = config.quantity(self.quantity).ok_or_else(|| self.unknown_quantity(config))?;
        let (number, stuck) = self.number(comma)?;
        let unit = self.written_unit(&quantity, stuck)?;
        let value = units::convert(&quantity, number, unit).ok_or_else(|| self.foreign_unit(&quantity, stuck))?;
        if number == 0.0 && value == 0.0 && quantity.scale == Scale::PowerDecibel {
            let digit = last_digit_written(self.value);
            let what = format!("`{}` says only that the power lies below its last digit, {digit}", self.value);
            return Err(censored(what));
        }
        if let Some(why) = impossible(&quantity, value) {
            return Err(self.impossible(&quantity, number, value, why));
        }
        let y = quantity.scale.to_analysis(value).ok_or_else(|| {
            self.impossible(&quantity, number, value, "it has no place on the scale the quantity is analysed on")
        })?;
        let sd = self.sd.filter(|_| self.readings > 1.0);
        let sd = sd.and_then(|sd| units::convert_sd(&quantity, number, sd, unit));
        // before conversion: 37.1 dBm is written to a tenth of a dB, whatever its watts look like
        let step = units::convert_sd(&quantity, number, last_digit_written(self.value), unit);
        let y_sd = sd.map(|sd| sd * quantity.scale.slope_at(y));
        Ok(Measured { value: Some(value), y: Some(y), sd, y_sd, step })
    }

    /// The number in the value's cell, and the unit stuck to it.
    fn number(&self, comma: Comma) -> Result<(f64, Option<&str>), Fault> {
        let text = self.value;
        match reading(text, comma) {
            Reading::Number { value, unit } => Ok((value, unit)),
            Reading::Missing => Err(Fault {
                kind: "no reading",
                severity: Severity::Warning,
                column: Some("value"),
                what: if text.is_empty() {
                    "the `value` cell is empty".into()
                } else {
                    format!("`{text}` is no reading")
                },
                why: "without a number the row says nothing of the antenna".into(),
                action: "row set aside; write the reading if there was one".into(),
            }),
            Reading::Censored { above: Some(true), limit } => {
                Err(censored(format!("`{text}` says only that the reading lies above {limit}")))
            }
            Reading::Censored { above: Some(false), limit } => {
                Err(censored(format!("`{text}` says only that the reading lies below {limit}")))
            }
            Reading::Censored { above: None, .. } => {
                Err(censored(format!("`{text}` says only that the reading is out of range")))
            }
            Reading::Ambiguous => Err(Fault {
                kind: "two meanings",
                severity: Severity::Error,
                column: Some("value"),
                what: format!("`{text}` could be {} or {}", text.replacen(',', ".", 1), text.replacen(',', "", 1)),
                why: "the comma may mark decimals or thousands".into(),
                action: "row set aside; write it with a decimal point".into(),
            }),
            Reading::Unreadable if text.starts_with('=') => Err(Fault {
                kind: "unreadable",
                severity: Severity::Error,
                column: Some("value"),
                what: format!("`{text}` is a formula, and the file does not hold what it comes to"),
                why: "a reading that cannot be read counts in no verdict".into(),
                action: "row set aside; open the file in a spreadsheet program and save it, or write the number".into(),
            }),
            Reading::Unreadable => Err(Fault {
                kind: "unreadable",
                severity: Severity::Error,
                column: Some("value"),
                what: format!("`{text}` is not a number"),
                why: "a reading that cannot be read counts in no verdict".into(),
                action: "row set aside; write one number, and its unit in the `unit` column".into(),
            }),
        }
    }

    /// The one unit of the row, where the `unit` column and the unit stuck to the number agree.
    fn written_unit<'a>(&'a self, quantity: &Quantity, stuck: Option<&'a str>) -> Result<&'a str, Fault> {
        match (stuck, self.unit) {
            (Some(stuck), Some(column)) if !units::same_unit(quantity, stuck, column) => {
                // A unit that doesn't belong is the plainer thing to say.
                if units::convert(quantity, 1.0, stuck).is_none() || units::convert(quantity, 1.0, column).is_none() {
                    return Err(self.foreign_unit(quantity, Some(stuck)));
                }
                Err(Fault {
                    kind: "two units",
                    severity: Severity::Error,
                    column: Some("value"),
                    what: format!("`{}` and the `unit` column's `{column}` are different units", self.value),
                    why: "the reading differs by the ratio of the two".into(),
                    action: "row set aside; write one unit".into(),
                })
            }
            (stuck, column) => Ok(stuck.or(column).unwrap_or("")),
        }
    }

    fn unknown_quantity(&self, config: &Config) -> Fault {
        let written = self.quantity;
        let mut known: Vec<&str> = built_in_names().collect();
        known.extend(config.quantities.iter().map(|q| q.name.as_str()));
        let action = match nearest(written, known.into_iter(), 0.5) {
            Some(near) => format!("row set aside; write `{near}` if that is meant, or declare it under `[[quantity]]`"),
            None => "row set aside; declare it with its unit and scale under `[[quantity]]`".into(),
        };
        Fault {
            kind: "unknown quantity",
            severity: Severity::Error,
            column: Some("quantity"),
            what: format!("`{written}` is not a quantity this season knows"),
            why: "without its unit and scale the reading cannot be compared with any other".into(),
            action,
        }
    }

    fn foreign_unit(&self, quantity: &Quantity, stuck: Option<&str>) -> Fault {
        let foreign = |unit: &&str| units::convert(quantity, 1.0, unit).is_none();
        let (column, unit) = match stuck.filter(foreign) {
            Some(unit) => ("value", unit),
            None => ("unit", self.unit.unwrap_or("")),
        };
        let known: Vec<String> = units::known_units(quantity).iter().map(|u| format!("`{u}`")).collect();
        Fault {
            kind: "foreign unit",
            severity: Severity::Error,
            column: Some(column),
            what: format!("unit `{unit}` does not belong to `{}`", quantity.name),
            why: "the number cannot be brought to the quantity's unit".into(),
            action: format!("row set aside; write it in {}", known.join(", ")),
        }
    }

    fn impossible(&self, quantity: &Quantity, number: f64, value: f64, why: &str) -> Fault {
        // The cell as written, and what it came to where a unit changed it.
        let unit = if quantity.unit == "1" { String::new() } else { format!(" {}", quantity.unit) };
        let positive = number < 0.0 && quantity.scale == Scale::ReflectionFromReturnLoss;
        let action = match positive {
            true => {
                format!("row set aside; write it without its sign, `{}`", self.value.trim_start_matches(['-', '−']))
            }
            false => "row set aside; correct it from the notes of that day, or read it again".into(),
        };
        let came_to = if value == number { String::new() } else { format!(", or {value}{unit},") };
        Fault {
            kind: "impossible",
            severity: Severity::Error,
            column: Some("value"),
            what: format!("`{}`{came_to} is impossible for `{}`", self.value, quantity.name),
            why: why.into(),
            action,
        }
    }
}

/// A reading that is a limit and no number.
fn censored(what: String) -> Fault {
    Fault {
        kind: "censored",
        severity: Severity::Warning,
        column: Some("value"),
        what,
        why: "a censored reading is a limit and no number: the fit cannot use it, and without such readings the antenna that \
              has them seems nearer to the others than it is"
            .into(),
        action: "row set aside; read it again on a range that holds it, if one does".into(),
    }
}

/// Why this value can't be one of the quantity, in the quantity's unit.
pub fn impossible(quantity: &Quantity, value: f64) -> Option<&'static str> {
    match quantity.scale {
        _ if !value.is_finite() => Some("it is beyond any number"),
        Scale::ReflectionFromSwr if value < 1.0 => Some("an SWR is at least 1"),
        Scale::ReflectionFromReturnLoss if value <= 0.0 => {
            Some("an antenna returns less than it is given: its return loss is above 0 dB, written without a sign")
        }
        Scale::AsRead if quantity.name == "reflection" && !(0.0..1.0).contains(&value) => {
            Some("an antenna returns less than it is given: |Γ| is at least 0 and below 1")
        }
        Scale::PowerDecibel if value <= 0.0 => {
            Some("a power is above 0: nothing read means it lies below the meter's range")
        }
        Scale::AmplitudeDecibel if value <= 0.0 => Some("a modulus such as |Z| is above 0"),
        Scale::Ordinal if value.fract() != 0.0 => Some("a grade is a whole number: grades are never averaged"),
        Scale::Ordinal if quantity.name == "readability" && !(1.0..=5.0).contains(&value) => {
            Some("readability has the grades 1 to 5")
        }
        _ => None,
    }
}
