//! Claims and results in words: "SWR ≤ 1.5", what is measured, why a claim isn't settled.

use super::number::{self, plural};
use crate::analysis::antennas::intervals::last_digit;
use crate::analysis::antennas::result::Range;
use crate::analysis::antennas::shown;
use crate::analysis::claims::GAIN;
use crate::analysis::claims::result::{Claim, Held, Lasting, Route, Settle, Unheld};
use crate::analysis::next::list;
use crate::radio::quantity::in_words;

/// A result in the claim's unit, to the digits its range supports.
pub(super) struct Measured {
    /// The estimate.
    pub estimate: String,
    /// "1.28 … 1.44".
    pub range: String,
}

pub(super) fn measured(claim: &Claim, held: &Held) -> Measured {
    let digit = digit_of(claim, held.range);
    let estimate = claim.quantity.scale.to_shown(held.estimate);
    Measured { estimate: number::to_digit(estimate, digit), range: range_words(claim, held.range) }
}

/// The last digit of a range's ends, in the claim's unit.
fn digit_of(claim: &Claim, range: Range) -> f64 {
    let ends = shown::range(claim.quantity.scale, range);
    last_digit((ends.high - ends.low) / 2.0)
}

fn range_words(claim: &Claim, range: Range) -> String {
    let (ends, digit) = (shown::range(claim.quantity.scale, range), digit_of(claim, range));
    format!("{} … {}", number::to_digit(ends.low, digit), number::to_digit(ends.high, digit))
}

/// The quantity as one says it.
pub(super) fn quantity_word(claim: &Claim) -> String {
    match claim.quantity.name.as_str() {
        GAIN => "gain".into(),
        other => in_words(other),
    }
}

/// The unit behind a number; nothing for what has none.
pub(super) fn unit_word(claim: &Claim) -> String {
    match claim.quantity.unit.as_str() {
        "1" | "grade" => String::new(),
        "ohm" => " Ω".into(),
        unit => format!(" {unit}"),
    }
}

/// A limit as it was written, with the minus sign of the page.
fn limit_words(x: f64) -> String {
    format!("{x}").replace('-', "−")
}

/// "SWR ≤ 1.5", "gain ≥ 3 dBi".
pub(super) fn claim_words(claim: &Claim) -> String {
    let (name, unit) = (quantity_word(claim), unit_word(claim));
    match (claim.at_least, claim.at_most) {
        (Some(least), Some(most)) => format!("{name} {} to {}{unit}", limit_words(least), limit_words(most)),
        (Some(least), None) => format!("{name} ≥ {}{unit}", limit_words(least)),
        (None, most) => format!("{name} ≤ {}{unit}", limit_words(most.unwrap_or(f64::INFINITY))),
    }
}

/// Why a claim that was held against results is open, and what would settle it.
pub(super) fn gap_words(claim: &Claim) -> String {
    let Some(best) = claim.best() else { return String::new() };
    let by = match (&best.meter, claim.held.len()) {
        (Some(meter), n) if n > 1 => format!("By {meter}, the sharpest, it"),
        _ => "It".into(),
    };
    let route = match &best.route {
        Route::Declared => "Its gain is the one season.toml declares, and no reading bears on that. ".into(),
        Route::Gain { reference, known } => format!(
            "Its gain is {reference}'s, {} ± {} dBi (standard uncertainty), and the difference in field strength. ",
            limit_words(known.value),
            limit_words(known.standard)
        ),
        Route::Level { .. } => String::new(),
    };
    format!(
        "{route}{by} {}; to call it met now would be wrong with a chance of up to {}, missed {}. {}",
        thresholds(claim, best),
        number::chance_at_most(best.risk_if_met),
        number::chance_at_most(best.risk_if_missed),
        settle_words(claim)
    )
}

/// What a result as uncertain as this one would have to be.
fn thresholds(claim: &Claim, held: &Held) -> String {
    let scale = claim.quantity.scale;
    let digit = digit_of(claim, held.range);
    let say = |y: f64| number::to_digit(scale.to_shown(y), digit);
    let turned = scale.to_shown(0.2) > scale.to_shown(0.3);
    let unit = unit_word(claim);
    let (up_to, from) = if turned { ("from", "up to") } else { ("up to", "from") };
    let met = match held.met_within {
        None => "could count as met on no result".to_string(),
        Some(within) => {
            let parts: Vec<String> = [(within.low, from), (within.high, up_to)]
                .iter()
                .filter(|(y, _)| y.is_finite())
                .map(|(y, word)| format!("{word} {}{unit}", say(*y)))
                .collect();
            format!("would count as met {}", parts.join(" "))
        }
    };
    let beyond = [(held.missed_outside.low, up_to), (held.missed_outside.high, from)];
    let parts: Vec<String> =
        beyond.iter().filter(|(y, _)| y.is_finite()).map(|(y, word)| format!("{word} {}{unit}", say(*y))).collect();
    if parts.is_empty() { met } else { format!("{met}, as missed {}", parts.join(" or ")) }
}

/// What would settle it: by the meter that needs the fewest sessions; else what stands in the way of each.
fn settle_words(claim: &Claim) -> String {
    if claim.best().is_some_and(|best| best.route == Route::Declared) {
        return "A better known gain would settle it, no session of this bench.".into();
    }
    let several = claim.held.len() > 1;
    let by = |held: &Held| match (&held.meter, several) {
        (Some(meter), true) => format!(" by {meter}"),
        _ => String::new(),
    };
    let fewest = claim.held.iter().filter_map(|h| match h.settle {
        Settle::Sessions(n) => Some((n, h)),
        _ => None,
    });
    if let Some((n, held)) = fewest.min_by_key(|(n, _)| *n) {
        return format!(
            "About {} would settle it{}, should the result stay where it is.",
            plural(n as usize, "more session", "more sessions"),
            by(held)
        );
    }
    if let Some((n, held)) = claim.held.iter().find_map(|h| match h.settle {
        Settle::MoreThan(n) => Some((n, h)),
        _ => None,
    }) {
        return format!("More than {n} more sessions would be needed{}.", by(held));
    }
    let stays: Vec<String> = claim.held.iter().filter_map(|held| lasting_words(claim, held, several)).collect();
    format!("No number of sessions settles it: {}.", stays.join("; "))
}

/// What would be left of one meter's range after sessions without end.
fn lasting_words(claim: &Claim, held: &Held, several: bool) -> Option<String> {
    let Settle::Never { because, left } = &held.settle else { return None };
    let left = range_words(claim, *left);
    let by =
        if several { format!("{} would still say {left}", meter_of(held)) } else { format!("{left} would be left") };
    Some(match because {
        Lasting::Source(name) => format!("{by}, most of it {name}"),
        Lasting::Shift => format!("{by}, as long as nobody knows which side of its shift is right"),
        Lasting::Nothing => "the result stands right on the limit".into(),
    })
}

fn meter_of(held: &Held) -> &str {
    held.meter.as_deref().unwrap_or("the meter")
}

/// Why nothing could be held against a claim, and what to do.
pub(super) fn unheld_words(claim: &Claim, reason: &Unheld) -> String {
    let (antenna, band) = (&claim.antenna, &claim.band);
    match reason {
        Unheld::BandNeverMeasured => format!("No antenna was ever measured on {band}."),
        Unheld::AntennaNeverMeasured => format!("{antenna} was never measured."),
        Unheld::AntennaNotOnBand => format!("{antenna} was never measured on {band}, only on other bands."),
        Unheld::QuantityNeverMeasured => {
            let what = if claim.quantity.name == GAIN { "field strength".into() } else { quantity_word(claim) };
            format!("No {what} of {antenna} was read on {band}.")
        }
        Unheld::SpreadUnknown { meters } => {
            let meters: Vec<&str> = meters.iter().map(String::as_str).collect();
            format!(
                "It was read ({}), but nothing in this log shows what another day or another mounting would change, and no source is declared for it. Measure {antenna} on another day, taken off and put back in between.",
                list(&meters)
            )
        }
        Unheld::NoKnownGain => format!(
            "Field strengths give differences only, and no antenna's gain is known on {band}. Give the reference antenna `gain_dbi = {{ \"{band}\" = {{ value = …, standard = … }} }}`, or measure beside an antenna whose gain is known."
        ),
        Unheld::ReferenceNotMeasured { reference } => format!(
            "{reference}'s gain is known, but no field meter read both it and {antenna} on {band}. Measure both in the same sessions."
        ),
        Unheld::NotComparable { reference } => format!(
            "This log cannot compare {antenna} with {reference}, whose gain is known: measure both in the same session, on two days at least."
        ),
        Unheld::Grades => {
            "Grades are ordered, not measured on a scale, and are never averaged; no claim on them is checked.".into()
        }
        Unheld::TooManyAntennas => "Its set could not be analysed; see what was found in the log.".into(),
    }
}

/// Steps of meters during the season, one sentence a meter and place.
pub(super) fn shift_words(claims: &[Claim]) -> Vec<String> {
    // meter and sessions; then what each band shows, once
    let mut seen: Vec<([&str; 3], Vec<String>)> = vec![];
    for claim in claims {
        for held in &claim.held {
            let Some(shift) = &held.shift else { continue };
            let unit = claim.quantity.scale.name(&claim.quantity.unit);
            let digit = last_digit(shift.size.abs() / 10.0);
            let unit = if unit == "1" { String::new() } else { format!(" {unit}") };
            let size = format!("{}{unit} on {}", number::signed(shift.size, digit), claim.band);
            let key = [meter_of(held), shift.before.as_str(), shift.after.as_str()];
            match seen.iter_mut().find(|(k, _)| *k == key) {
                Some((_, sizes)) if sizes.contains(&size) => {}
                Some((_, sizes)) => sizes.push(size),
                None => seen.push((key, vec![size])),
            }
        }
    }
    let words = |([meter, before, after], sizes): ([&str; 3], Vec<String>)| {
        let sizes: Vec<&str> = sizes.iter().map(String::as_str).collect();
        format!(
            "A shift: from {after} on, {meter} reads all antennas differently than up to {before} ({}). Which side is right no antenna's reading says, so its results are made to hold for either, and are wider for it. Readings of check loads on both sides tell: `meters` has what this log's show, and `correct = true` takes it out.",
            list(&sizes)
        )
    };
    seen.into_iter().map(words).collect()
}
