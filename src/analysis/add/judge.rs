//! A line's rows, held against the reader's rules, the physics, and what was read before.

use polars::prelude::*;

use super::history::{Against, Expected, History, NewReading, ONCE_IN, SetName};
use super::now::{Now, next_mounting};
use super::result::{Range, Refused, Remark, Topic};
use super::{Batch, Bench};
use crate::analysis::audit::edits::retyped;
use crate::analysis::audit::one_mounting;
use crate::radio::quantity::{Quantity, Scale};
use crate::radio::reflection::LARGEST;
use crate::season::Season;
use crate::season::append::Entry;
use crate::season::finding::{Finding, Severity};

/// Mounting of a reading that has no number, as the sets of a season tell it.
const UNNUMBERED: i64 = i64::MIN;

/// A row of a frame as a new reading, with its set.
fn new_reading(frame: &DataFrame, row: usize) -> Option<(SetName, NewReading<'_>)> {
    let text = |column: &str| frame.column(column).ok()?.str().ok()?.get(row);
    let number = |column: &str| frame.column(column).ok()?.f64().ok()?.get(row);
    let set = (text("quantity")?.to_string(), text("band")?.to_string(), text("meter")?.to_string());
    let mounting = frame.column("mounting").ok()?.i64().ok()?.get(row).unwrap_or(UNNUMBERED);
    let new = NewReading {
        session: text("session")?,
        antenna: text("antenna")?,
        mounting,
        y: number("y")?,
        readings: number("readings").unwrap_or(1.0),
        step: number("step").unwrap_or(0.0),
    };
    Some((set, new))
}

/// Takes the rows of a frame out of a history.
pub fn forget(history: &mut History, frame: &DataFrame) {
    for (set, new) in (0..frame.height()).filter_map(|row| new_reading(frame, row)) {
        history.take_back(&set, &new);
    }
}

impl Bench {
    /// A line's rows as a batch, with what is to be said of them; `before` are the session's rows so far.
    pub(super) fn judged(
        &self,
        entries: Vec<Entry>,
        now: Now,
        forced: bool,
        before: &[Entry],
    ) -> Result<Batch, Refused> {
        let mut batch = Batch { expected: vec![], remarks: vec![], history: self.history.clone(), entries, now };
        if batch.entries.is_empty() {
            return Ok(batch);
        }
        let readings = self.read(&batch.entries).map_err(|e| Refused(e.to_string()))?;
        let lines: Vec<usize> = readings
            .frame
            .column("line")
            .and_then(|c| c.u32().cloned())
            .map(|c| c.iter().flatten().map(|l| l as usize).collect())
            .unwrap_or_default();
        let entries = std::mem::take(&mut batch.entries);
        for (i, entry) in entries.iter().enumerate() {
            let line = i + 2;
            let row = lines.iter().position(|l| *l == line);
            let own = readings.findings.iter().filter(|f| f.place.line == Some(line) && f.place.file == self.file);
            for finding in own {
                let refuses = row.is_none() && finding.severity == Severity::Error;
                if refuses && !forced {
                    let all_the_same = "not written (! at the line's end writes it all the same)";
                    return Err(Refused(format!("{}: {}; {all_the_same}", finding.what, finding.why)));
                }
                batch.remarks.push(Remark { topic: Topic::Reader, text: of_reader(finding, row.is_none()) });
            }
            let judged = row.and_then(|row| self.held(&readings.frame, row, entry, &mut batch));
            batch.expected.push(judged);
        }
        batch.remarks.extend(self.mountings(&entries, before));
        batch.remarks.extend(self.impossible(&entries, before));
        batch.entries = entries;
        Ok(batch)
    }

    /// Holds one row against what was read before it, then adds it to that.
    fn held(&self, frame: &DataFrame, row: usize, entry: &Entry, batch: &mut Batch) -> Option<Range> {
        let (set, new) = new_reading(frame, row)?;
        let expected = batch.history.expect(&set, &new);
        let range = expected.and_then(|expected| {
            let quantity = self.config.quantity(&set.0)?;
            let fits = expected.holds(new.y);
            if !fits {
                let reseated = expected.against == Against::Repeats
                    && batch.history.expect_remounted(&set, &new).is_some_and(|e| e.holds(new.y));
                let text = misfit(entry, &quantity, &expected, &new, reseated && self.style.has("mounting"));
                batch.remarks.push(Remark { topic: Topic::Misfit, text });
            }
            let any = quantity.scale.is_reflection() && expected.low <= 0.0 && expected.high >= LARGEST;
            // what every reading fits says nothing
            Some(range(&quantity, &expected, fits)).filter(|_| !any)
        });
        // a frame of one row of the season's own: nothing can fail here that did not above
        let _ = batch.history.extend(&frame.slice(row as i64, 1), &self.config);
        range
    }

    /// Rows whose mounting ended before them: another antenna, or another mounting of theirs, came in between.
    fn mountings(&self, entries: &[Entry], before: &[Entry]) -> Vec<Remark> {
        let mut rows = before.to_vec();
        let mut remarks = vec![];
        for entry in entries {
            let on = |r: &Entry| r.antenna == entry.antenna && r.mounting == entry.mounting;
            let last = rows.iter().rposition(on).filter(|_| !entry.mounting.is_empty());
            if let Some(between) = last.and_then(|last| rows[last + 1..].iter().find(|r| !on(r))) {
                let other = if between.antenna == entry.antenna {
                    format!("mounting {} of it was read", between.mounting)
                } else {
                    format!("{} went on", between.antenna)
                };
                let next = next_mounting(&rows, &entry.antenna);
                remarks.push(Remark {
                    topic: Topic::Mounting,
                    text: format!(
                        "mounting {} of {} ended when {other}: this should be mounting {next} (- takes it back, then #{next} {})",
                        entry.mounting, entry.antenna, entry.value
                    ),
                });
            }
            rows.push(entry.clone());
        }
        remarks.truncate(1);
        remarks
    }

    /// What no antenna has at once, among the readings of the mountings that these rows are on.
    fn impossible(&self, entries: &[Entry], before: &[Entry]) -> Vec<Remark> {
        let key = |e: &Entry| (e.antenna.clone(), e.band.clone(), e.meter.clone(), e.mounting.clone());
        let mut keys: Vec<_> = entries.iter().map(key).collect();
        keys.sort();
        keys.dedup();
        let mut remarks = vec![];
        for wanted in keys {
            let with = |rows: &[Entry]| {
                rows.iter().filter(|e| key(e) == wanted && !e.value.is_empty()).cloned().collect::<Vec<_>>()
            };
            let mut rows = with(before);
            let old = rows.len();
            rows.extend(with(entries));
            if rows.iter().all(|r| r.quantity == rows[0].quantity) {
                continue;
            }
            let Ok(readings) = self.read(&rows) else { continue };
            let title = String::new();
            let season = Season {
                title,
                config: self.config.clone(),
                readings,
                assumptions: vec![],
                sweeps: vec![],
                settings: vec![],
            };
            let found = one_mounting::impossible(&season, &self.scatter).unwrap_or_default();
            let new = |f: &Finding| {
                std::iter::once(&f.place).chain(&f.others).any(|p| p.line.is_some_and(|line| line >= old + 2))
            };
            remarks.extend(
                found.iter().filter(|f| new(f)).map(|f| Remark { topic: Topic::Impossible, text: f.what.clone() }),
            );
        }
        remarks
    }
}

/// A finding of the reader's, said while the row is fresh.
fn of_reader(finding: &Finding, set_aside: bool) -> String {
    if set_aside {
        format!("{}: {}; written, but it counts in no verdict", finding.what, finding.why)
    } else {
        format!("{}: {}", finding.what.replace(" (1 row, the first here)", ""), finding.action)
    }
}

fn range(quantity: &Quantity, expected: &Expected, fits: bool) -> Range {
    let shown = |y: f64| match quantity.scale {
        Scale::ReflectionFromSwr if y >= LARGEST => f64::INFINITY,
        scale => scale.to_shown(y),
    };
    let ends = [expected.low, expected.high].map(shown);
    Range {
        against: expected.against,
        count: expected.count,
        low: ends[0].min(ends[1]),
        high: ends[0].max(ends[1]),
        digit: expected.digit,
        fits,
    }
}

/// A number to the digits of a display.
pub fn to_digits(value: f64, digit: f64) -> String {
    let decimals = (-digit.log10() - 1e-9).ceil().clamp(0.0, 9.0) as usize;
    format!("{value:.decimals$}")
}

/// Both ends of a range, to the digits of a display.
pub fn from_to(low: f64, high: f64, digit: f64) -> String {
    match high.is_finite() {
        true => format!("{} to {}", to_digits(low, digit), to_digits(high, digit)),
        false => format!("{} or more", to_digits(low, digit)),
    }
}

fn misfit(entry: &Entry, quantity: &Quantity, expected: &Expected, new: &NewReading, reseated: bool) -> String {
    let Range { low, high, digit, .. } = range(quantity, expected, false);
    let (antenna, count) = (&entry.antenna, expected.count);
    let several = |one: &str, many: &str| if count == 1 { format!("the {one}") } else { format!("the {count} {many}") };
    let held = match expected.against {
        Against::Repeats => format!("{} before it on this mounting", several("reading", "readings")),
        Against::Mountings => format!("{} of {antenna} before it today", several("mounting", "mountings")),
        Against::Visits => format!("what {antenna} and this session read otherwise"),
        Against::Sessions => format!("{} of {antenna} before", several("session", "sessions")),
    };
    let value = quantity.scale.to_shown(new.y);
    let holds = |v: f64| quantity.scale.to_analysis(v).is_some_and(|y| expected.holds(y));
    let fitting = retyped(value, new.step).into_iter().find(|&(v, _)| holds(v));
    let slip = fitting.map_or(String::new(), |(v, digit)| format!("; {} would fit", to_digits(v, digit)));
    let reseat = if reseated {
        format!("; it would fit a new mounting: if it was taken off, - and then + {}", entry.value)
    } else {
        String::new()
    };
    format!(
        "{} does not fit {held}: {} expected, which a sound reading leaves once in {ONCE_IN}{slip}{reseat}",
        entry.value,
        from_to(low, high, digit)
    )
}
