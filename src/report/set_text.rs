//! One set in full: its antennas, its pairs, where its scatter lives, and what became of each declared
//! source.

use super::grid::Grid;
use super::number;
use super::pairs_text::pairs;
use super::text::wrap;
use crate::analysis::antennas::intervals::last_digit;
use crate::analysis::antennas::result::{AntennaResult, Component, OrdinalResult, SetResult, Verdict};
use crate::analysis::antennas::shown;
use crate::analysis::antennas::sources::{Applied, Treatment};
use crate::radio::quantity::{Better, Scale};
use crate::stats::mixed::LevelState;

/// A numeric set: antennas, pairs, scatter, sources.
pub(super) fn set(s: &SetResult, confidence: f64) -> String {
    let mut out = vec![antennas(s, confidence).text("")];
    out.push(pairs(s));
    out.extend(rests_on(s).iter().map(|line| wrap(&format!("  {line}"), "    ")));
    out.push(String::new());
    out.join("\n")
}

/// The set's antennas, best first.
pub(super) fn antennas(s: &SetResult, confidence: f64) -> Grid {
    let ranked = s.quantity.better != Better::Neither;
    let unit = unit_words(s);
    let (title, value) = match &s.relative_to {
        Some(reference) => (format!("{}, {unit}", s.label()), format!("over {reference}")),
        None => (s.label(), unit),
    };
    let percent = format!("{} range", number::percent(confidence));
    let mut order: Vec<&AntennaResult> = s.antennas.iter().collect();
    order.sort_by_key(|a| a.rank);
    let rows: Vec<Vec<String>> = order.into_iter().map(|a| antenna_row(a, s, ranked)).collect();
    let mut header =
        vec!["antenna", value.as_str(), percent.as_str(), "rank", "first in", "visits", "mountings", "readings"];
    if !ranked {
        header.drain(3..5);
    }
    let right: Vec<usize> = (1..header.len()).filter(|&i| i != 2).collect();
    Grid::new(title, &header, &right, rows)
}

/// What a set's figures rest on: where its scatter lives, its sources, and what was done to its readings.
pub(super) fn rests_on(s: &SetResult) -> Vec<String> {
    let mut out = vec![format!("Scatter: {}.", components(s))];
    out.extend(basis(s));
    out.extend(never_joined(s));
    out.extend(sources(s));
    if let Some(c) = &s.corrected {
        out.push(format!("{}.", super::meters_text::correction_words(c, &scale_words(s))));
    }
    if s.line_factor > 1.0 {
        let loss = 10.0 * s.line_factor.log10();
        out.push(format!(
            "Moved to the antenna's end of the line: |Γ| read × {:.3}, for {loss:.1} dB each way.",
            s.line_factor
        ));
    }
    if !s.converged {
        out.push("The fit of this set did not come to rest; take its figures with care.".into());
    }
    out
}

/// Pairs with a verdict that no session joins: what it takes for granted.
fn never_joined(s: &SetResult) -> Option<String> {
    let pairs = s.pairs.iter().filter(|p| !p.joined && p.verdict != Verdict::Unlinked);
    let names: Vec<String> =
        pairs.map(|p| format!("{} and {}", s.antennas[p.first].antenna, s.antennas[p.second].antenna)).collect();
    let first = names.first()?;
    let more = match names.len() - 1 {
        0 => String::new(),
        n => format!(", nor {n} more {}", if n == 1 { "pair" } else { "pairs" }),
    };
    Some(format!(
        "No session joins {first}{more}, not even by way of others: their verdicts take it that their days differ as any \
         days do; another place, season or set-up would be laid to the antennas."
    ))
}

/// The unit as a heading: SWR has none, powers are shown as read.
pub(super) fn unit_words(s: &SetResult) -> String {
    match (s.quantity.name.as_str(), s.quantity.unit.as_str()) {
        ("swr", _) => "SWR".into(),
        ("reflection", _) => "|Γ|".into(),
        (_, "ohm") => "Ω".into(),
        (_, "1") => "value".into(),
        (_, unit) => unit.into(),
    }
}

/// The analysis scale in words.
fn scale_words(s: &SetResult) -> String {
    match s.quantity.scale {
        Scale::AsRead => unit_words(s),
        _ => s.quantity.scale.name(&s.quantity.unit),
    }
}

/// |Γ| from which an SWR is no longer written as a number: 40 and above.
const OFF_SCALE: f64 = 0.951;

fn antenna_row(a: &AntennaResult, s: &SetResult, ranked: bool) -> Vec<String> {
    let scale = s.quantity.scale;
    let estimate = scale.to_shown(a.estimate);
    let ends = a.range.map(|r| shown::range(scale, r));
    let (estimate, range) = match ends {
        Some(_) if s.relative_to.as_ref() == Some(&a.antenna) => ("0".into(), "reference".into()),
        Some(r) => {
            // of a lopsided range the shorter side says what the estimate's digits are worth
            let side = (estimate - r.low).min(r.high - estimate).abs();
            let digit = last_digit(if side > 0.0 { side } else { (r.high - r.low) / 2.0 });
            let text = if s.relative_to.is_some() {
                number::signed(estimate, digit)
            } else {
                number::to_digit(estimate, digit)
            };
            let top = if scale.is_reflection() && a.range.is_some_and(|r| r.high >= OFF_SCALE) {
                "off the scale".to_string()
            } else {
                number::to_digit(r.high, digit)
            };
            (text, format!("{} … {top}", number::to_digit(r.low, digit)))
        }
        None => (number::to_digit(estimate, s.resolution.0), "can't tell".into()),
    };
    let mut row = vec![a.antenna.clone(), estimate, range];
    if ranked {
        row.push(a.rank_range.map_or(String::new(), |r| rank_range(r.0, r.1)));
        row.push(a.rank_probabilities.first().map_or("–".into(), |&p| number::share(p)));
    }
    row.extend([a.visits.to_string(), a.mountings.to_string(), format!("{:.0}", a.readings)]);
    row
}

/// "2" or "2–4".
pub(super) fn rank_range(low: usize, high: usize) -> String {
    if low == high { low.to_string() } else { format!("{low}–{high}") }
}

/// Where scatter lives, level by level, and where each figure came from.
fn components(s: &SetResult) -> String {
    let unit = match s.quantity.scale {
        Scale::AsRead => unit_words(s),
        _ => s.quantity.scale.name(&s.quantity.unit),
    };
    let one = |c: &Component| {
        let name = c.level.name();
        match (c.sd, c.state, c.declared) {
            (Some(sd), _, true) => format!("{name} {} (declared, not seen)", significant(sd)),
            (Some(sd), _, false) => match c.df {
                Some(df) if df < 0.95 => format!("{name} {} (< 1 df)", significant(sd)),
                Some(df) => format!("{name} {} ({df:.0} df)", significant(sd)),
                None => format!("{name} 0"),
            },
            (None, LevelState::MergedInto(other), _) => format!("{name} merged with {}", other.name()),
            (None, _, _) => format!("{name} not seen"),
        }
    };
    format!("standard deviation in {unit}: {}", s.components.iter().map(one).collect::<Vec<_>>().join(", "))
}

fn significant(value: f64) -> String {
    number::to_digit(value, last_digit(value))
}

/// Said where a component is zero, or visits count alike: what the errors rest on instead.
fn basis(s: &SetResult) -> Option<String> {
    let mut parts = vec![];
    if let Some(level) = s.basis.collapsed_to {
        parts.push(format!(
            "errors rest on how {}s scatter by themselves, not on the readings inside them",
            level.name()
        ));
    }
    if s.basis.session_fixed {
        parts.push("antennas are compared inside sessions only".to_string());
    }
    let zero = (!parts.is_empty()).then(|| {
        format!("One level scattered no more than what lies inside it explains; to be safe, {}.", parts.join("; "))
    });
    let even = s.basis.even_visits.then(|| {
        "Visits of unequal size count alike: too few of them show how much a larger one is worth.".to_string()
    });
    let said: Vec<String> = zero.into_iter().chain(even).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// Declared sources, by what became of them.
fn sources(s: &SetResult) -> Vec<String> {
    let scale = match s.quantity.scale {
        Scale::AsRead => unit_words(s),
        _ => s.quantity.scale.name(&s.quantity.unit),
    };
    let sized = |a: &Applied| {
        let largest = a.standard.iter().copied().fold(0.0, f64::max);
        format!("{} ({} {scale})", a.name, significant(largest))
    };
    let of = |t: Treatment| -> Vec<String> { s.sources.iter().filter(|a| a.treatment == t).map(sized).collect() };
    let lines = [
        (Treatment::Added, "Declared, not seen in any repeat, and added to every antenna"),
        (Treatment::DeclaredNotSeen, "Declared, not seen: the log does not repeat this level"),
        (Treatment::HeldByData, "Held by the log's own scatter"),
        (Treatment::Cancels, "Cancels between antennas"),
    ];
    lines
        .iter()
        .filter_map(|&(t, words)| Some(of(t)).filter(|l| !l.is_empty()).map(|l| format!("{words}: {}.", l.join("; "))))
        .collect()
}

/// The antennas of an ordinal set, best first.
pub(super) fn ordinal_antennas(s: &OrdinalResult) -> Grid {
    let label = crate::analysis::antennas::result::label(&s.quantity.name, &s.band, &s.meter);
    let rows: Vec<Vec<String>> = s
        .antennas
        .iter()
        .map(|a| {
            vec![
                a.antenna.clone(),
                number::to_digit(a.median, if a.median.fract() == 0.0 { 1.0 } else { 0.1 }),
                rank_range(a.rank_low, a.rank_high),
                a.sessions.to_string(),
                a.reports.to_string(),
            ]
        })
        .collect();
    Grid::new(label, &["antenna", "median", "rank", "sessions", "reports"], &[1, 2, 3, 4], rows)
}

/// An ordinal set: antennas and pairs.
pub(super) fn ordinal(s: &OrdinalResult) -> String {
    let mut out = vec![ordinal_antennas(s).text("")];
    // no break inside a pair
    out.extend(ordinal_pairs(s).iter().map(|line| wrap(&format!("  {line}"), "    ").replace('\u{a0}', " ")));
    out.push(String::new());
    out.join("\n")
}

/// The pairs of an ordinal set, verdict by verdict; blanks inside a pair are not to be broken at.
pub(super) fn ordinal_pairs(s: &OrdinalResult) -> Vec<String> {
    let name = |i: usize| s.antennas[i].antenna.as_str();
    let of = |v: Verdict| -> Vec<String> {
        s.pairs
            .iter()
            .filter(|p| p.verdict == v)
            .map(|p| {
                let (better, other, share) = match p.probability {
                    Some(x) if x < 0.5 => (name(p.second), name(p.first), Some(1.0 - x)),
                    x => (name(p.first), name(p.second), x),
                };
                let text = match (v, share) {
                    (Verdict::Apart, Some(x)) => format!("{better} over {other} ({:.0} %)", x * 100.0),
                    (Verdict::Noise, Some(x)) => format!("{better}–{other} {:.0} %", x * 100.0),
                    _ => format!("{better}–{other}"),
                };
                text.replace(' ', "\u{a0}")
            })
            .collect()
    };
    let mut out = vec![];
    let lines = [
        (Verdict::Apart, "Apart", " (share of report pairs in which the first was the better, ties halved)"),
        (Verdict::Noise, "Inside the noise", ""),
        (Verdict::Unlinked, "Unlinked, heard in fewer than two sessions together", ""),
    ];
    for (v, words, note) in lines {
        let pairs = of(v);
        if !pairs.is_empty() {
            out.push(format!("{words}: {}{note}.", pairs.join(", ")));
        }
    }
    out
}
