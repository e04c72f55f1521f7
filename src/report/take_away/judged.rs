//! What `meters` and `claims` answer, as tables.

use polars::prelude::*;

use super::rows::Rows;
use crate::analysis::antennas::result::Range;
use crate::analysis::antennas::shown;
use crate::analysis::claims::result::{Claims, Verdict};
use crate::analysis::meters::offset::Estimate;
use crate::analysis::meters::result::Meters;

/// Offset and limits of agreement of every pair of meters on every band, over the whole log and for each stretch
/// between shifts; `meter` is the second of the two, and differences are second − first.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn offsets(answer: &Meters) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(
        &["against", "scale", "from", "to"],
        &[
            "offset",
            "standard_error",
            "df",
            "low",
            "high",
            "shown",
            "shown_low",
            "shown_high",
            "limit_low",
            "limit_high",
            "antennas",
            "visits",
            "sessions",
        ],
    );
    for pair in &answer.pairs {
        for band in &pair.bands {
            let set = [&pair.quantity[..], &band.band, &pair.second];
            let texts = |from: Option<&String>, to: Option<&String>| {
                [Some(pair.first.clone()), Some(pair.scale.clone()), from.cloned(), to.cloned()]
            };
            let numbers = |e: &Estimate| {
                let finite = |x: f64| Some(x).filter(|x| x.is_finite());
                [Some(e.value), finite(e.standard_error), finite(e.df), finite(e.interval.low), finite(e.interval.high)]
            };
            if let Some(offset) = &band.offset {
                let limits = band.limits.as_ref();
                let more = [
                    Some(offset.shown),
                    Some(offset.shown_interval.low),
                    Some(offset.shown_interval.high),
                    limits.map(|l| l.low),
                    limits.map(|l| l.high),
                    Some(band.antennas as f64),
                    Some(band.visits as f64),
                    Some(band.sessions as f64),
                ];
                rows.push(set, &texts(None, None), &[&numbers(&offset.estimate)[..], &more].concat());
            }
            for part in &band.stretches {
                let shown = &part.offset;
                let more = [
                    Some(shown.shown),
                    Some(shown.shown_interval.low),
                    Some(shown.shown_interval.high),
                    None,
                    None,
                    None,
                    None,
                    Some(part.sessions as f64),
                ];
                let texts = texts(Some(&part.from), Some(&part.to));
                rows.push(set, &texts, &[&numbers(&shown.estimate)[..], &more].concat());
            }
        }
    }
    rows.table()
}

/// Shifts of every pair of meters: after which session and by which, and the rise on each band.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn shifts(answer: &Meters) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(&["against", "scale", "after", "by", "moved"], &["rise", "low", "high", "shown", "p"]);
    for pair in &answer.pairs {
        for shift in &pair.shifts {
            for size in &shift.sizes {
                rows.push(
                    [&pair.quantity, &size.band, &pair.second],
                    &[
                        Some(pair.first.clone()),
                        Some(pair.scale.clone()),
                        Some(shift.after.clone()),
                        Some(shift.by.clone()),
                        shift.mover.clone(),
                    ],
                    &[
                        Some(size.rise),
                        Some(size.interval.low),
                        Some(size.interval.high),
                        Some(size.shown),
                        Some(shift.found.p),
                    ],
                );
            }
        }
    }
    rows.table()
}

/// Every claim against every meter's result, in the quantity's unit; one row without a meter where nothing could be
/// held against it.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn claims(answer: &Claims) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(
        &["antenna", "unit", "verdict", "verdict_of_meter"],
        &[
            "at_most",
            "at_least",
            "shown",
            "shown_low",
            "shown_high",
            "standard_uncertainty",
            "probability",
            "risk_if_met",
            "risk_if_missed",
        ],
    );
    let word = |verdict: Verdict| {
        Some(match verdict {
            Verdict::Met => "met".to_string(),
            Verdict::Missed => "missed".to_string(),
            Verdict::NotShown => "not shown".to_string(),
        })
    };
    for c in &answer.claims {
        let scale = c.quantity.scale;
        let texts = |own: Option<Verdict>| {
            [Some(c.antenna.clone()), Some(c.quantity.unit.clone()), word(c.verdict), own.and_then(word)]
        };
        if c.held.is_empty() {
            let limits = [c.at_most, c.at_least, None, None, None, None, None, None, None];
            rows.push([&c.quantity.name, &c.band, ""], &texts(None), &limits);
        }
        for held in &c.held {
            let range = shown::range(scale, Range { low: held.range.low, high: held.range.high });
            rows.push(
                [&c.quantity.name, &c.band, held.meter.as_deref().unwrap_or("")],
                &texts(Some(held.verdict)),
                &[
                    c.at_most,
                    c.at_least,
                    Some(scale.to_shown(held.estimate)),
                    Some(range.low),
                    Some(range.high),
                    Some(held.standard_uncertainty),
                    Some(held.probability),
                    Some(held.risk_if_met),
                    Some(held.risk_if_missed),
                ],
            );
        }
    }
    rows.table()
}
