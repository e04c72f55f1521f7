//! A frame of text → typed columns. A cell that can't be typed becomes null; its text stays beside it,
//! so that the rules can tell a bad cell from an empty one.

use polars::prelude::*;

use super::cell::{self, Comma};
use super::moment;
use super::table::Table;
use crate::radio::quantity;
use crate::season::config::Config;

/// Columns that get a type here.
const TYPED: [&str; 6] = ["mounting", "when", "order", "readings", "sd", "battery"];

/// Types the columns that hold no value of a quantity, and gives each quantity its name's one spelling.
pub fn typed(table: &Table, config: &Config) -> PolarsResult<DataFrame> {
    let texts = TYPED.map(|name| col(name).alias(text_of(name)));
    let comma = table.comma;
    table
        .frame
        .clone()
        .lazy()
        .with_columns(texts)
        .with_columns([
            quantity(config),
            whole("mounting", comma).alias("mounting"),
            count("readings", comma).alias("readings"),
            not_negative("sd", comma).alias("sd"),
            not_negative("battery", comma).alias("battery"),
            number("order", comma).alias("order"),
            moment("when").alias("when"),
        ])
        .collect()
}

/// Name of the column that keeps the text of a typed one.
pub fn text_of(column: &str) -> String {
    format!("{column} text")
}

/// A quantity's name by the one spelling the season uses: `SWR` is `swr`, `forward power` is `forward_power`. `None`
/// for a name of no quantity.
pub fn spelled(written: &str, config: &Config) -> Option<String> {
    let plain = written.to_lowercase().replace([' ', '-'], "_");
    let known =
        |name: &str| config.quantities.iter().any(|q| q.name == name) || quantity::built_in_names().any(|q| q == name);
    [written, plain.as_str()].into_iter().find(|name| known(name)).map(String::from)
}

/// Quantity names by their one spelling; others as they are.
fn quantity(config: &Config) -> Expr {
    let config = config.clone();
    let all = move |texts: Column| {
        // a log holds few quantities, and many rows of each
        let mut last: Option<(String, String)> = None;
        let mut spelled = |written: &str| match &last {
            Some((known, spelling)) if known == written => spelling.clone(),
            _ => {
                let spelling = spelled(written, &config).unwrap_or_else(|| written.to_string());
                last = Some((written.to_string(), spelling.clone()));
                spelling
            }
        };
        let spelled: StringChunked = texts.str()?.iter().map(|t| t.map(&mut spelled)).collect();
        Ok(spelled.with_name(texts.name().clone()).into_column())
    };
    col("quantity").map(all, |_, field| Ok(field.clone()))
}

/// A column of numbers; null where the text is none.
fn number(column: &str, comma: Comma) -> Expr {
    let all = move |texts: Column| {
        let numbers: Float64Chunked = texts.str()?.iter().map(|t| t.and_then(|t| cell::number(t, comma))).collect();
        Ok(numbers.with_name(texts.name().clone()).into_column())
    };
    col(text_of(column)).map(all, |_, field| Ok(Field::new(field.name().clone(), DataType::Float64)))
}

/// Whole numbers from 0.
fn whole(column: &str, comma: Comma) -> Expr {
    let whole = number(column, comma).cast(DataType::Int64);
    let same = whole.clone().cast(DataType::Float64).eq(number(column, comma));
    when(same.and(whole.clone().gt_eq(lit(0)))).then(whole).otherwise(lit(NULL))
}

/// Whole numbers from 1.
fn count(column: &str, comma: Comma) -> Expr {
    let whole = whole(column, comma);
    when(whole.clone().gt_eq(lit(1))).then(whole.cast(DataType::Float64)).otherwise(lit(NULL))
}

fn not_negative(column: &str, comma: Comma) -> Expr {
    when(number(column, comma).gt_eq(lit(0.0))).then(number(column, comma)).otherwise(lit(NULL))
}

/// Dates, or dates and times.
fn moment(column: &str) -> Expr {
    let all = move |texts: Column| {
        let moments: Int64Chunked = texts.str()?.iter().map(|t| t.and_then(moment::microseconds)).collect();
        Ok(moments.with_name(texts.name().clone()).into_column())
    };
    let microseconds = col(text_of(column)).map(all, |_, field| Ok(Field::new(field.name().clone(), DataType::Int64)));
    microseconds.cast(DataType::Datetime(TimeUnit::Microseconds, None))
}
