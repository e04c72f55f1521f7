//! The tables of `meters`.

use super::grid::Grid;
use super::meters_text::range;
use super::number;
use crate::analysis::antennas::intervals::last_digit;
use crate::analysis::meters::lines::{Lines, Method, Relation};
use crate::analysis::meters::offset::Estimate;
use crate::analysis::meters::pairing::Pairing;
use crate::analysis::meters::result::{BandResult, LimitsOut, Meters, PairOfMeters};
use crate::analysis::meters::why::Account;
use crate::radio::quantity::in_words;
use crate::stats::method_comparison::Interval;

/// Bands side by side in a table of sessions.
const BANDS_WIDE: usize = 3;

/// All tables of a pair.
pub(super) fn pair_tables(pair: &PairOfMeters, confidence: f64) -> Vec<String> {
    let mut out = vec![offsets(pair, confidence).text("    "), String::new()];
    out.extend(lines(pair).map(apart).into_iter().flatten());
    let sessions: Vec<String> = session_grids(pair, BANDS_WIDE).iter().map(|grid| grid.text("  ")).collect();
    if !sessions.is_empty() {
        out.extend([sessions.join("\n"), String::new()]);
    }
    out.extend(levels(pair).map(apart).into_iter().flatten());
    out
}

/// A table and an empty line.
pub(super) fn apart(grid: Grid) -> [String; 2] {
    [grid.text("  "), String::new()]
}

fn title(pair: &PairOfMeters) -> String {
    format!("{}, {} − {}", in_words(&pair.quantity), pair.second, pair.first)
}

/// Offsets and limits, band by band.
pub(super) fn offsets(pair: &PairOfMeters, confidence: f64) -> Grid {
    let shown = pair.unit != pair.scale;
    let rows: Vec<Vec<String>> = pair
        .bands
        .iter()
        .map(|b| {
            let offset =
                b.offset.map_or("–".into(), |o| number::plus_minus(o.estimate.value, o.estimate.interval.half()));
            let in_unit = b.offset.map_or("–".into(), |o| range(o.shown_interval));
            let limits =
                |l: &Option<LimitsOut>| l.map_or("–".into(), |l| range(Interval { low: l.low, high: l.high }));
            let paired = match b.pairing {
                Pairing::Mounting => format!("{} mountings", b.units),
                Pairing::Visit => format!("{} visits", b.units),
                Pairing::Unpaired | Pairing::Nothing => "unpaired".into(),
            };
            let mut row = vec![b.band.clone(), paired, offset];
            if shown {
                row.push(in_unit);
            }
            row.push(limits(&b.limits));
            if shown {
                row.push(limits(&b.limits_shown));
            }
            row
        })
        .collect();
    let (offset, unit) = (format!("offset, {}", pair.scale), pair.unit.clone());
    let mut header = vec!["band", "paired", offset.as_str()];
    if shown {
        header.push(unit.as_str());
    }
    header.push("limits");
    let in_unit = format!("in {unit}");
    if shown {
        header.push(&in_unit);
    }
    let title = format!("{}: offset with its {} interval", title(pair), number::percent(confidence));
    Grid::new(title, &header, &[], rows).noted(offset_notes(pair))
}

/// What the offsets rest on, and how well their limits are known.
fn offset_notes(pair: &PairOfMeters) -> Vec<String> {
    let mut rest: Vec<(String, Vec<&str>)> = vec![];
    let mut add = |words: String, band| match rest.iter_mut().find(|r| r.0 == words) {
        Some(known) => known.1.push(band),
        None => rest.push((words, vec![band])),
    };
    for b in pair.bands.iter().filter(|b| b.antennas > 0) {
        let alone = match &b.not_joined[..] {
            [] => String::new(),
            names => format!("; {} left out, in no session with the others", names.join(", ")),
        };
        let count = format!(
            "{} in {}{alone}",
            number::plural(b.antennas, "antenna", "antennas"),
            number::plural(b.sessions, "session", "sessions")
        );
        add(count, b.band.as_str());
    }
    let mut notes: Vec<String> =
        rest.into_iter().map(|(words, bands)| format!("{}: {words}.", bands.join(", "))).collect();
    let limits: Vec<String> = pair
        .bands
        .iter()
        .filter_map(|b| {
            b.limits.map(|l| format!("{} {} and {}", b.band, range(l.low_interval), range(l.high_interval)))
        })
        .collect();
    if !limits.is_empty() {
        notes.push(format!("Where the two limits may lie, {}: {}.", pair.scale, limits.join("; ")));
    }
    notes
}

/// Constant and proportional offset by three methods.
pub(super) fn lines(pair: &PairOfMeters) -> Option<Grid> {
    let mut rows = vec![];
    let name = |m: Method| match m {
        Method::Deming => "Deming",
        Method::York => "York",
        Method::PassingBablok => "Passing–Bablok",
    };
    let cell = |r: Option<&Relation>, constant: bool| match r {
        Some(r) if constant => bounded(r.constant_interval),
        Some(r) => bounded(r.proportional_interval),
        None => "–".into(),
    };
    for b in &pair.bands {
        let of =
            |l: &Option<Lines>, m: Method| l.as_ref().and_then(|l| l.relations.iter().find(|r| r.method == m).copied());
        for method in [Method::Deming, Method::York, Method::PassingBablok] {
            let (scale, unit) = (of(&b.lines, method), of(&b.lines_shown, method));
            if scale.is_none() && unit.is_none() {
                continue;
            }
            let band = if method == Method::Deming { b.band.clone() } else { String::new() };
            rows.push(vec![
                band,
                name(method).into(),
                cell(scale.as_ref(), true),
                cell(scale.as_ref(), false),
                cell(unit.as_ref(), true),
                cell(unit.as_ref(), false),
            ]);
        }
    }
    if rows.is_empty() {
        return None;
    }
    let constant = [format!("constant, {}", pair.scale), format!("constant, {}", pair.unit)];
    let mut header = vec!["band", "method", &constant[0], "times", &constant[1], "times"];
    if pair.unit == pair.scale {
        header.truncate(4);
        rows.iter_mut().for_each(|r| r.truncate(4));
    }
    let mut note =
        format!("{} = constant + times × {}, each antenna a point, both meters err.", pair.second, pair.first);
    let bent: Vec<&str> = pair
        .bands
        .iter()
        .filter(|b| b.lines.as_ref().and_then(|l| l.linear_p).is_some_and(|p| p < 0.05))
        .map(|b| b.band.as_str())
        .collect();
    note += &match bent.len() {
        0 => " No band shows the relation to be bent.".to_string(),
        _ => format!(" On {} the relation is no straight line.", bent.join(", ")),
    };
    if pair.bands.iter().any(|b| b.lines.as_ref().is_some_and(|l| l.variance_ratio.is_none())) {
        note += " No repeats show how the meters' own errors compare: taken as equal.";
    }
    Some(Grid::new(format!("{}: constant and proportional", title(pair)), &header, &[], rows).noted([note]))
}

/// "low … high"; open where few antennas leave it so.
fn bounded(i: Interval) -> String {
    if i.low.is_finite() && i.high.is_finite() { range(i) } else { "too few antennas".into() }
}

/// A slope with its interval, over 30 days or one session.
fn drift(slope: Estimate, dated: bool) -> String {
    let times = if dated { 30.0 } else { 1.0 };
    number::plus_minus(times * slope.value, times * slope.interval.half())
}

/// What such a figure is called.
fn in_time(word: &str, dated: bool) -> String {
    format!("{word} {}", if dated { "in 30 days" } else { "a session" })
}

/// Every session's offset, at most so many bands side by side.
pub(super) fn session_grids(pair: &PairOfMeters, wide: usize) -> Vec<Grid> {
    let used: Vec<&BandResult> = pair.bands.iter().filter(|b| b.by_session.len() > 1).collect();
    if used.is_empty() {
        return vec![];
    }
    let mut names: Vec<(f64, &str)> =
        used.iter().flat_map(|b| b.by_session.iter().map(|s| (s.time, s.session.as_str()))).collect();
    names.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
    names.dedup();
    let mut out = vec![];
    for group in used.chunks(wide) {
        let rows: Vec<Vec<String>> = names
            .iter()
            .map(|(_, name)| {
                let cells = group.iter().map(|b| match b.by_session.iter().find(|s| s.session == *name) {
                    Some(s) => {
                        let mark = if s.out {
                            " *"
                        } else if s.average_out {
                            " ~"
                        } else {
                            ""
                        };
                        format!("{}{mark}", number::plus_minus(s.offset, s.half))
                    }
                    None => String::new(),
                });
                std::iter::once(name.to_string()).chain(cells).collect()
            })
            .collect();
        let header: Vec<&str> = std::iter::once("session").chain(group.iter().map(|b| b.band.as_str())).collect();
        out.push(Grid::new("", &header, &[], rows));
    }
    let slopes: Vec<String> =
        used.iter().filter_map(|b| b.slope.map(|s| format!("{} {}", b.band, drift(s, pair.dated)))).collect();
    let mut note = "± holds a session's own scatter. Outside the control limits of the level before any shift: * by itself, ~ by its moving average.".to_string();
    if !slopes.is_empty() {
        let about = if pair.shifts.is_empty() { "" } else { ", shifts apart" };
        note += &format!(" {}{about}: {}.", in_time("Drift", pair.dated), slopes.join("; "));
    }
    if let Some(first) = out.first_mut() {
        first.title = format!("{}: session by session, {}", title(pair), pair.scale);
    }
    if let Some(last) = out.last_mut() {
        last.notes.push(note);
    }
    out
}

/// What the season declares, held against what was seen, antenna by antenna.
pub(super) fn levels(pair: &PairOfMeters) -> Option<Grid> {
    let mut rows = vec![];
    for b in &pair.bands {
        let Some(why) = b.why.as_ref().filter(|w| w.account != Account::NothingDeclared) else { continue };
        for (i, l) in why.levels.iter().enumerate() {
            rows.push(vec![
                if i == 0 { b.band.clone() } else { String::new() },
                l.antenna.clone(),
                number::to_digit(l.level, 0.01),
                number::signed(l.seen, 0.001),
                number::signed(l.line_loss, 0.001),
                format!("{} … {}", number::to_digit(l.range.low, 0.001), number::to_digit(l.range.high, 0.001)),
                if l.inside { String::new() } else { "beyond".into() },
            ]);
        }
    }
    if rows.is_empty() {
        return None;
    }
    let header = ["band", "antenna", "level", "seen", "line loss", "declared allow", ""];
    let note = "Level: at the antenna. \"Declared allow\": line loss with both meters' false waves at their worst phases, and the last digit.";
    let since = if pair.shifts.is_empty() { "" } else { " since the last shift" };
    let title = format!("{}: what is declared and what was seen{since}, {}", title(pair), pair.scale);
    Some(Grid::new(title, &header, &[2, 3, 4], rows).noted([note.to_string()]))
}

/// Check loads, meter by meter.
pub(super) fn loads_table(m: &Meters) -> Option<Grid> {
    let mut rows = vec![];
    for own in &m.own_errors {
        for l in &own.loads {
            let when = match &l.sessions[..] {
                [one] => one.clone(),
                all => format!("{} sessions from {}", all.len(), all[0]),
            };
            let what = match (l.directivity_db, l.directivity_range_db) {
                (Some(db), Some((low, high))) => {
                    let [db, low] = [db, low].map(|x| number::to_digit(x, 1.0));
                    let range =
                        high.map_or(format!("{low} or more"), |h| format!("{low} to {}", number::to_digit(h, 1.0)));
                    format!("{db} dB ({range})")
                }
                (Some(_), None) => "a perfect match".into(),
                _ => number::plus_minus(l.error.value, l.error.interval.half()),
            };
            let digit = last_digit(l.error.standard_error).min(0.01);
            rows.push(vec![
                format!("{}, {}", in_words(&own.quantity), own.meter),
                own.band.clone(),
                l.load.clone(),
                when,
                number::to_digit(l.known, digit),
                number::to_digit(l.read, digit),
                what,
            ]);
        }
    }
    if rows.is_empty() {
        return None;
    }
    let mut note = "Analysis scale, line loss undone. An error's ± holds its scatter, the load's tolerance and the directivity declared, or else shown by a matched load.".to_string();
    let exact = m.own_errors.iter().flat_map(|o| &o.loads).any(|l| l.tolerance.is_none());
    if exact {
        note += " Loads without a stated tolerance are taken as exact.";
    }
    for own in &m.own_errors {
        if let Some(line) = own.line {
            note += &format!(
                " {} on {}: error {} + ({}) × true value (standard errors {}, {}).",
                own.meter,
                own.band,
                number::signed(line.constant, last_digit(line.constant_error)),
                number::signed(line.proportional, last_digit(line.proportional_error)),
                number::to_digit(line.constant_error, last_digit(line.constant_error)),
                number::to_digit(line.proportional_error, last_digit(line.proportional_error))
            );
        }
    }
    let header = ["meter", "band", "load", "when", "is", "read", "error, directivity"];
    Some(Grid::new("Check loads", &header, &[4, 5], rows).noted([note]))
}

/// Each meter alone, by the reference antenna.
pub(super) fn history_table(m: &Meters) -> Option<Grid> {
    let mut rows = vec![];
    let mut shifted = vec![];
    for h in &m.histories {
        if let Some(search) = h.search.as_ref().filter(|_| h.shifted) {
            shifted.push(format!(
                "{} shifted in {} before {} (p = {})",
                h.meter,
                in_words(&h.quantity),
                search.first_after,
                number::p_value(search.p)
            ));
        }
        for (i, b) in h.bands.iter().enumerate() {
            let drift = b.slope.map_or("–".into(), |s| drift(s, m.dated));
            rows.push(vec![
                if i == 0 { format!("{}, {}", in_words(&h.quantity), h.meter) } else { String::new() },
                b.band.clone(),
                b.sessions.to_string(),
                number::to_digit(b.inside, last_digit(b.inside.max(1e-6))),
                // what is left at its bound is no spread
                if b.between > 1e-6 * b.inside {
                    number::to_digit(b.between, last_digit(b.between))
                } else {
                    "0".into()
                },
                drift,
            ]);
        }
    }
    let first = m.histories.first()?;
    let drift = in_time("drift", m.dated);
    let header = ["meter", "band", "ses.", "inside", "between", drift.as_str()];
    let note = "Standard deviations of mountings inside a session and of sessions beyond that, on the analysis scale. The antenna's own changes are in these too.";
    let said = match shifted.len() {
        0 => "No shift is shown by a meter alone.".to_string(),
        _ => format!("By itself {}.", shifted.join("; ")),
    };
    let note = format!("{note} {said}");
    Some(Grid::new(format!("Each meter alone, by {}", first.antenna), &header, &[2, 3, 4], rows).noted([note]))
}
