//! Rules on cells other than the value: each is a Polars filter and the words for the rows it catches.

use polars::prelude::*;

use super::fault::{Fault, Seen};
use super::table::NEEDED;
use super::typed::text_of;
use crate::season::finding::Severity;

/// One rule: the rows it catches, and what it says of them.
pub struct Rule {
    kind: &'static str,
    column: &'static str,
    severity: Severity,
    /// Whether a caught row is set aside.
    pub sets_aside: bool,
    caught: Expr,
    what: fn(&str) -> String,
    why: &'static str,
    action: &'static str,
}

impl Rule {
    /// The rows of the frame this rule catches: those where `caught` says so.
    fn seen(&self, frame: &DataFrame, caught: &BooleanChunked) -> PolarsResult<Vec<Seen>> {
        if !caught.any() {
            return Ok(vec![]);
        }
        let text = if NEEDED.contains(&self.column) { self.column.to_string() } else { text_of(self.column) };
        let caught = frame.select(["row", "line", text.as_str()])?.filter(caught)?;
        let (rows, lines) = (caught.column("row")?.u32()?, caught.column("line")?.u32()?);
        let texts = caught.column(&text)?.str()?;
        let fault = |text: Option<&str>| Fault {
            kind: self.kind,
            severity: self.severity,
            column: Some(self.column),
            what: (self.what)(text.unwrap_or("")),
            why: self.why.into(),
            action: self.action.into(),
        };
        let seen = rows.iter().zip(lines.iter()).zip(texts.iter());
        Ok(seen
            .filter_map(|((row, line), text)| Some(Seen { line: line? as usize, row, fault: fault(text) }))
            .collect())
    }
}

/// Each rule, in the order of the columns, and the rows of the frame it catches.
pub fn judged(frame: &DataFrame) -> PolarsResult<Vec<(Rule, Vec<Seen>)>> {
    let rules = rules();
    // all in one query: most catch nothing, and a query costs more than it asks
    let by_rule = |(number, rule): (usize, &Rule)| rule.caught.clone().alias(number.to_string());
    let caught = frame.clone().lazy().select(rules.iter().enumerate().map(by_rule).collect::<Vec<_>>()).collect()?;
    let seen = |(rule, caught): (Rule, &Column)| rule.seen(frame, caught.bool()?).map(|seen| (rule, seen));
    rules.into_iter().zip(caught.columns()).map(seen).collect()
}

/// All rules, in the order of the columns.
fn rules() -> Vec<Rule> {
    let mut rules = vec![
        empty("session", |_| "the `session` cell is empty".into()),
        empty("antenna", |_| "the `antenna` cell is empty".into()),
        empty("band", |_| "the `band` cell is empty".into()),
        empty("meter", |_| "the `meter` cell is empty".into()),
        empty("quantity", |_| "the `quantity` cell is empty".into()),
    ];
    rules.push(Rule {
        kind: "mounting",
        column: "mounting",
        severity: Severity::Error,
        sets_aside: true,
        caught: untyped("mounting"),
        what: |text| format!("mounting `{text}` is not a whole number"),
        why: "readings of one mounting are repeats of each other, so the row would be a repeat of the wrong ones",
        action: "row set aside; number the mountings of a visit 1, 2, …",
    });
    rules.push(Rule {
        kind: "readings",
        column: "readings",
        severity: Severity::Error,
        sets_aside: true,
        caught: untyped("readings"),
        what: |text| format!("`{text}` is not a number of readings"),
        why: "a mean weighs as much as the readings behind it",
        action: "row set aside; write a whole number of at least 1, or leave the cell empty for one reading",
    });
    rules.push(Rule {
        kind: "sd",
        column: "sd",
        severity: Severity::Error,
        sets_aside: true,
        caught: untyped("sd"),
        what: |text| format!("`{text}` is not a standard deviation"),
        why: "the scatter among the readings behind a mean enters the noise every difference is held against",
        action: "row set aside; write a number of at least 0 in the value's unit, with no unit stuck to it",
    });
    rules.push(Rule {
        kind: "sd of one",
        column: "sd",
        severity: Severity::Warning,
        sets_aside: false,
        // A bad `readings` cell is told by its own rule.
        caught: col("sd").is_not_null().and(single()),
        what: |text| format!("standard deviation `{text}` stands beside a single reading"),
        why: "one reading has no scatter of its own, so the row's count or its standard deviation is wrong",
        action: "row kept as one reading, standard deviation not used; write how many readings it is the mean of",
    });
    rules.push(Rule {
        kind: "when",
        column: "when",
        severity: Severity::Warning,
        sets_aside: false,
        caught: untyped("when"),
        what: |text| format!("`{text}` is not a date or time this program reads"),
        why: "the row cannot take part in the search for drift",
        action: "row kept, its time not used; write 2026-05-02 or 2026-05-02T14:30",
    });
    rules.push(Rule {
        kind: "order",
        column: "order",
        severity: Severity::Warning,
        sets_aside: false,
        caught: untyped("order"),
        what: |text| format!("order `{text}` is not a number"),
        why: "the row cannot take part in the search for drift within its session",
        action: "row kept, its place not used; number the session's readings 1, 2, …",
    });
    rules.push(Rule {
        kind: "battery",
        column: "battery",
        severity: Severity::Warning,
        sets_aside: false,
        caught: untyped("battery"),
        what: |text| format!("battery `{text}` is not a voltage"),
        why: "the row cannot take part in the search for what a weak battery spoiled",
        action: "row kept, its battery not used; write the volts as a plain number, such as 7.6",
    });
    rules
}

/// The rule for an empty cell that no reading can do without. (`value` has its own, in `measure`.)
fn empty(column: &'static str, what: fn(&str) -> String) -> Rule {
    Rule {
        kind: column,
        column,
        severity: Severity::Error,
        sets_aside: true,
        caught: col(column).is_null(),
        what,
        why: "a reading counts only where session, antenna, band, meter and quantity are known",
        action: "row set aside; fill the cell in",
    }
}

/// A cell with text that didn't become what the column holds.
fn untyped(column: &str) -> Expr {
    col(text_of(column)).is_not_null().and(col(column).is_null())
}

/// A row of one reading, stated or by default.
fn single() -> Expr {
    col("readings").eq(lit(1.0)).or(col(text_of("readings")).is_null()).fill_null(lit(false))
}
