//! The answer of `meters` in words first, then in tables.

use super::antennas_text::findings;
use super::meters_tables::{apart, history_table, loads_table, pair_tables};
use super::number::{self, plural};
use super::text::{assumptions, next, wrap};
use crate::analysis::antennas::intervals::last_digit;
use crate::analysis::meters::correction::{Against, Correction};
use crate::analysis::meters::pairing::Pairing;
use crate::analysis::meters::result::{BandResult, Meters, Offset, PairOfMeters, Scope, ShiftResult, Stretch};
use crate::analysis::meters::why::Account;
use crate::analysis::next::list;
use crate::radio::quantity::in_words;
use crate::stats::method_comparison::Interval;

/// The whole answer. Ends with a newline.
pub fn render(m: &Meters) -> String {
    let mut out = vec![m.season.clone(), String::new()];
    out.extend(assumptions(&m.assumptions));
    if m.pairs.is_empty() {
        out.push(wrap("No quantity was read by two meters on one band, so no two meters can be compared.", ""));
        out.push(String::new());
    }
    for pair in &m.pairs {
        out.push(pair_name(pair));
        for (words, hang) in pair_words(pair, m.confidence) {
            out.push(wrap(&format!("  {words}"), hang));
        }
        out.push(String::new());
    }
    // one pair's own checks stand with it, in this order
    if m.pairs.iter().filter(|p| !p.checks.is_empty()).count() > 1 {
        out.extend(next("First of all: ", m.next.get(..1).unwrap_or_default()));
    }
    if let Some(words) = own_error_words(m) {
        out.extend([wrap(&words, ""), String::new()]);
    }
    let corrections: Vec<String> = correction_list(m).iter().map(|words| wrap(words, "  ")).collect();
    if !corrections.is_empty() {
        out.extend(corrections);
        out.push(String::new());
    }
    out.extend(findings(&m.findings));
    for pair in &m.pairs {
        out.extend(pair_tables(pair, m.confidence));
    }
    out.extend(loads_table(m).into_iter().chain(history_table(m)).flat_map(apart));
    out.push(wrap(&method(m), ""));
    let mut text = out.join("\n");
    text.push('\n');
    text
}

/// "low … high" to the digits its width supports.
pub(super) fn range(i: Interval) -> String {
    let digit = last_digit(i.half());
    format!("{} … {}", number::to_digit(i.low, digit), number::to_digit(i.high, digit))
}

/// The unit behind a number; nothing for what has none.
fn unit_of(pair: &PairOfMeters) -> String {
    if pair.unit == "1" { String::new() } else { format!(" {}", pair.unit) }
}

/// "SWR: analyzer against inline".
pub(super) fn pair_name(pair: &PairOfMeters) -> String {
    format!("{}: {} against {}", in_words(&pair.quantity), pair.second, pair.first)
}

/// What matters most of a pair, in short: its shifts, and the bands on which an offset is shown.
pub(super) fn headline(pair: &PairOfMeters) -> Vec<String> {
    let quantity = in_words(&pair.quantity);
    let moved: Vec<String> = pair
        .shifts
        .iter()
        .map(|s| {
            let who = match &s.mover {
                Some(mover) => format!("by the reference antenna it was {mover} that moved"),
                None => "which of the two moved is not shown".into(),
            };
            format!(
                "{} and {} shifted against each other in {quantity} between {} and {}: {who}.",
                pair.first, pair.second, s.after, s.by
            )
        })
        .collect();
    if !moved.is_empty() {
        return moved;
    }
    let shown = |b: &&BandResult| b.offset.is_some_and(|o| !o.estimate.interval.holds(0.0));
    let bands: Vec<&str> = pair.bands.iter().filter(shown).map(|b| b.band.as_str()).collect();
    let known = pair.bands.iter().any(|b| b.offset.is_some());
    vec![match (bands.len(), known) {
        (0, true) => format!("No offset between {} and {} in {quantity} is shown.", pair.first, pair.second),
        (0, false) => format!("{} and {} can't be compared in {quantity}.", pair.first, pair.second),
        _ => format!("{} and {} read {quantity} differently on {}.", pair.first, pair.second, list(&bands)),
    }]
}

/// What is said of a pair, a sentence or two at a time, with what a terminal's lines after the first begin with.
pub(super) fn pair_words(pair: &PairOfMeters, confidence: f64) -> Vec<(String, &'static str)> {
    let mut out: Vec<String> = pair.bands.iter().map(|b| band_words(pair, b)).collect();
    out.extend(pair.shifts.iter().map(|s| shift_words(pair, s)));
    if let Some(search) = pair.search.as_ref().filter(|_| pair.shifts.is_empty()) {
        let risk = 1.0 - confidence;
        out.push(if search.p_exchangeable <= risk {
            format!(
                "Perhaps a shift between {} and {}: p = {} if no session resembles the one before it, but {} if neighbours do (a memory of {:.1}); more sessions would tell.",
                search.last_before,
                search.first_after,
                number::p_value(search.p_exchangeable),
                number::p_value(search.p),
                search.memory
            )
        } else {
            format!(
                "No shift is shown (the likeliest, before {}, has p = {}).",
                search.first_after,
                number::p_value(search.p)
            )
        });
    } else if pair.search.is_none() && pair.bands.iter().any(|b| b.sessions > 0) {
        out.push("Too few sessions hold both meters to look for a shift: five are needed.".into());
    }
    if let Some(across) = &pair.across {
        let differ = match across.bands_differ_p {
            Some(p) if p <= 1.0 - confidence => format!("; the bands differ (p = {})", number::p_value(p)),
            Some(p) => format!("; that the bands differ is not shown (p = {})", number::p_value(p)),
            None => String::new(),
        };
        out.push(format!(
            "Over all bands {} {}{differ}.",
            number::plus_minus(across.offset.value, across.offset.interval.half()),
            pair.scale
        ));
    }
    let checks = pair.checks.iter().enumerate();
    let checks = checks.map(|(i, c)| (format!("{} {c}.", if i == 0 { "Check:" } else { "Or:" }), "    "));
    out.into_iter().map(|words| (words, "  ")).chain(checks).collect()
}

fn band_words(pair: &PairOfMeters, b: &BandResult) -> String {
    let (first, second, unit) = (&pair.first, &pair.second, unit_of(pair));
    if let Some(stuck) = b.stuck.first() {
        let value = number::to_digit(stuck.value, if stuck.value.abs() < 10.0 { 0.01 } else { 0.1 });
        return format!(
            "On {} {} shows {value}{unit} on everything: it tells no antenna from another, so it is the one not to believe, and no offset is computed.",
            b.band, stuck.meter
        );
    }
    let Some(offset) = &b.offset else {
        return match b.pairing {
            Pairing::Nothing => format!("On {} the two read no antenna in common: they can't be compared.", b.band),
            _ => format!(
                "On {} the two never read one visit together, and too little shows how days scatter: they can't be compared. Read both on the same mountings.",
                b.band
            ),
        };
    };
    let level = number::to_digit(b.level_shown, if b.level_shown.abs() < 10.0 { 0.1 } else { 1.0 });
    let at = if pair.scale == "dB" && pair.unit == "dB" { String::new() } else { format!(" at around {level}") };
    let how = |o: &Offset| {
        let digit = last_digit(o.shown_interval.half());
        let size = number::to_digit(o.shown.abs(), digit);
        let way = if o.shown < 0.0 { "below" } else { "above" };
        (format!("{size}{unit} {way}"), format!("({})", range(o.shown_interval)))
    };
    let mut text = match &b.stretches[..] {
        [] => {
            let (size, ends) = how(offset);
            let known = !offset.estimate.interval.holds(0.0);
            match (known, offset.scope) {
                (_, Scope::Unpaired) => format!(
                    "On {} the two never read one visit together; on different days {second} reads {size} {first}{at} {ends}, days and mountings included.",
                    b.band
                ),
                (true, _) => format!("On {} {second} reads {size} {first}{at} {ends}.", b.band),
                (false, _) => format!("On {} no offset is shown: {second} reads {size} {first}{at} {ends}.", b.band),
            }
        }
        stretches => {
            let last = stretches.len() - 1;
            let one = |i: usize, s: &Stretch| {
                let (size, ends) = how(&s.offset);
                format!("{size}{} {ends}", if i == 0 { format!(" {first}") } else { String::new() })
            };
            let parts: Vec<String> = stretches
                .iter()
                .enumerate()
                .map(|(i, s)| match i {
                    0 => format!("{} until {}", one(i, s), s.to),
                    i if i == last => format!("{} since {}", one(i, s), s.from),
                    _ => format!("{} from {} to {}", one(i, s), s.from, s.to),
                })
                .collect();
            let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
            format!("On {}{at} {second} read {}.", b.band, list(&parts))
        }
    };
    let scope = match offset.scope {
        // measured: `notebooks-md/meters-promise.md`
        Scope::AntennasAndDays if b.antennas < 5 => Some(
            "On so few antennas the true offset lies outside such a range rather more often than it should: read others with both meters.",
        ),
        Scope::AntennasAndDays | Scope::Unpaired => None,
        Scope::OneDay => Some("One session only: whether another day agrees, this log can't tell."),
        Scope::OneAntenna => Some("One antenna only: another meets each meter's false wave at another phase."),
        Scope::OneVisit => Some(
            "One visit only: what they did on that visit; another antenna or day may differ, and one more common visit would begin to tell.",
        ),
    };
    if let Some(scope) = scope {
        text = format!("{text} {scope}");
    }
    match why_words(b) {
        Some(why) => format!("{text} {why}"),
        None => text,
    }
}

fn why_words(b: &BandResult) -> Option<String> {
    let why = b.why.as_ref()?;
    let now = if b.stretches.is_empty() { "" } else { " since then" };
    let mut parts = vec![];
    if why.line_loss.abs() > 1e-9 {
        parts.push("line loss");
    }
    if why.false_wave.abs() > 1e-9 {
        parts.push("directivity");
    }
    let what = if parts.is_empty() { "what the season declares".to_string() } else { list(&parts) };
    Some(match why.account {
        Account::NothingToExplain => return None,
        Account::NothingDeclared => {
            "The season declares neither line loss nor directivity that could explain it.".into()
        }
        Account::Explained if why.share > 0.05 => {
            format!(
                "The declared {what} explain{} {}{now}; the rest is inside what errs anyway.",
                if parts.len() == 1 { "s" } else { "" },
                fraction(why.share)
            )
        }
        Account::Explained => format!("It{now} is inside what the declared directivity leaves open."),
        Account::InPart => format!(
            "The declared {what} explain{} {}{now}, not the rest.",
            if parts.len() == 1 { "s" } else { "" },
            fraction(why.share)
        ),
        Account::NotExplained => format!("Nothing the season declares explains it{now}."),
    })
}

fn fraction(share: f64) -> String {
    let words = [
        (0.15, "a tenth"),
        (0.29, "a quarter"),
        (0.41, "a third"),
        (0.58, "half"),
        (0.7, "two thirds"),
        (0.87, "three quarters"),
        (0.96, "nine tenths"),
    ];
    words.iter().find(|w| share < w.0).map_or("all of it", |w| w.1).to_string()
}

fn shift_words(pair: &PairOfMeters, s: &ShiftResult) -> String {
    let sizes: Vec<String> = s
        .sizes
        .iter()
        .map(|z| {
            let digit = last_digit(z.interval.half());
            format!("{} on {}", number::signed(z.rise, digit), z.band)
        })
        .collect();
    let sizes: Vec<&str> = sizes.iter().map(String::as_str).collect();
    let date = if s.after == s.found.last_before && s.by == s.found.first_after {
        format!("between {} and {}", s.after, s.by)
    } else {
        format!("between {} and {}, likeliest just before {}", s.after, s.by, s.found.first_after)
    };
    let rotated =
        if s.found.rotated { ", taking errors as normal since so few sessions can't be shuffled" } else { "" };
    let who = match &s.mover {
        Some(mover) => {
            let each: Vec<String> = s
                .moved
                .iter()
                .map(|m| format!("{} by {}", m.meter, number::plus_minus(m.rise.value, m.rise.interval.half())))
                .collect();
            format!(" By the reference antenna it was {mover} that moved ({}).", each.join(", "))
        }
        None if !s.moved.is_empty() => " The reference antenna doesn't tell which of the two moved.".into(),
        None => " Without a reference antenna on both sides, which of the two moved can't be told.".into(),
    };
    format!(
        "The difference shifted {date}, in {} by {} (p = {}{rotated}{}).{who}",
        pair.scale,
        list(&sizes),
        number::p_value(s.found.p),
        if s.found.memory > 0.25 {
            format!("; {} if no session resembles the one before", number::p_value(s.found.p_exchangeable))
        } else {
            String::new()
        }
    )
}

/// Which of the meters is off, by the check loads.
pub(super) fn own_error_words(m: &Meters) -> Option<String> {
    let mut lines = vec![];
    for own in &m.own_errors {
        let unmatched: Vec<_> = own.loads.iter().filter(|l| l.directivity_db.is_none()).collect();
        for l in unmatched.iter().filter(|l| !l.error.interval.holds(0.0)) {
            lines.push(format!(
                "{} reads {} {} on {} by {} against {} ({})",
                own.meter,
                number::to_digit(l.error.value.abs(), last_digit(l.error.interval.half())),
                if l.error.value < 0.0 { "low" } else { "high" },
                own.band,
                in_words(&own.quantity),
                l.load,
                l.sessions.join(", ")
            ));
        }
    }
    if m.own_errors.is_empty() {
        return None;
    }
    Some(if lines.is_empty() {
        "Check loads that reflect show no meter to be off: every error's interval holds zero.".to_string()
    } else {
        format!(
            "Check loads, on the analysis scale: {}. The others that reflect show no error; what matched loads show is a directivity, told beside them.",
            lines.join("; ")
        )
    })
}

/// Every correction that was made, in words.
pub(super) fn correction_list(m: &Meters) -> Vec<String> {
    m.corrections
        .iter()
        .map(|c| {
            let scale = m.pairs.iter().find(|p| p.quantity == c.quantity).map_or(String::new(), |p| p.scale.clone());
            format!("{} ({}, {}).", correction_words(c, &scale), in_words(&c.quantity), c.band)
        })
        .collect()
}

/// What a correction took out, and relative to what.
pub(super) fn correction_words(c: &Correction, scale: &str) -> String {
    let against = match &c.against {
        Against::Loads(names) => format!("check load {}", list(&names.iter().map(String::as_str).collect::<Vec<_>>())),
        Against::Meters(names) => list(&names.iter().map(String::as_str).collect::<Vec<_>>()),
    };
    let size = |s: &crate::analysis::meters::correction::Step| {
        let digit = last_digit(s.standard_uncertainty);
        format!("{} ({})", number::signed(s.offset, digit), number::to_digit(s.standard_uncertainty, digit))
    };
    let steps: Vec<String> = match &c.steps[..] {
        [one] => vec![size(one)],
        several => several.iter().map(|s| format!("{} from {} to {}", size(s), s.from, s.to)).collect(),
    };
    let steps: Vec<&str> = steps.iter().map(String::as_str).collect();
    format!(
        "Corrected: {}'s offset from {against}, {} {scale}, was taken out (standard uncertainty in brackets)",
        c.meter,
        list(&steps)
    )
}

/// How the figures came about.
pub(super) fn method(m: &Meters) -> String {
    let shuffles = plural(m.shuffles, "shuffle", "shuffles");
    let order = match m.dated || m.pairs.is_empty() {
        true => "",
        false => {
            " Sessions are not called by dates such as 2026-05-02, nor is there a time `when` for each: they stand in the log's order."
        }
    };
    format!(
        "Offsets are second meter less first, as read, with {} intervals whose units are antennas and sessions; \"limits\" hold {} of single differences. A shift counts where its p-value, over all dates searched and allowing for sessions that resemble the one before, is at most {}.{order} {shuffles}, seed {}.",
        number::percent(m.confidence),
        number::percent(crate::stats::method_comparison::limits::SHARE),
        number::to_digit(1.0 - m.confidence, last_digit(1.0 - m.confidence)),
        m.seed
    )
}
