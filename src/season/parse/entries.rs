//! The entries of `season.toml`, a function a kind; sources, with their shapes, are in [`super::source`].

use std::collections::BTreeMap;

use super::names::{Noun, check_known};
use super::reader::{Field, Table};
use crate::radio::quantity::{Better, Quantity, Scale};
use crate::season::config::{Antenna, Band, Claim, Effort, Known, LeaveOut, Load, Meter, MeterKind, Weight};
use crate::season::error::Kind;

/// Reads every `[[key]]` entry of the file with `read`.
pub(super) fn each<T>(
    top: &Table<'_>,
    key: &'static str,
    keys: &[&str],
    read: impl Fn(&Table<'_>) -> Option<T>,
) -> Vec<T> {
    let tables = top.get(key).map(|field| field.entries(keys)).unwrap_or_default();
    tables.iter().filter_map(read).collect()
}

/// Reads a table keyed by names of a noun, each value with `read`.
fn map_by<'a, T>(
    field: Option<Field<'a>>,
    noun: Noun,
    wanted: &str,
    read: impl Fn(&Field<'a>) -> Option<T>,
) -> BTreeMap<String, T> {
    let entries = field.and_then(|field| field.table_by(noun, wanted)).unwrap_or_default();
    entries.into_iter().filter_map(|(name, value)| Some((name, read(&value)?))).collect()
}

pub(super) fn bands(top: &Table<'_>) -> Vec<Band> {
    each(top, "band", &["name", "frequency_mhz", "channel"], |table| {
        let name = table.need("name", "name = \"2 m\"").and_then(|f| f.name());
        let frequency_mhz = table.get("frequency_mhz").and_then(|f| f.positive());
        let channel = table.get("channel").and_then(|f| f.whole(0));
        Some(Band { name: name?, frequency_mhz, channel, line: table.line() })
    })
}

pub(super) fn meters(top: &Table<'_>) -> Vec<Meter> {
    let kinds = [
        ("in-line", MeterKind::InLine),
        ("analyzer", MeterKind::Analyzer),
        ("field", MeterKind::Field),
        ("listener", MeterKind::Listener),
    ];
    let keys = ["name", "kind", "resolution", "directivity_db", "line_loss_db", "correct"];
    each(top, "meter", &keys, |table| {
        let name = table.need("name", "name = \"inline\"").and_then(|f| f.name());
        let kind = table.get("kind").and_then(|f| f.word(&kinds));
        let wanted = "a table by quantity, as in `{ swr = 0.01 }`";
        let resolution = map_by(table.get("resolution"), Noun::Quantity, wanted, Field::positive);
        let directivity_db = table.get("directivity_db").and_then(|f| f.positive());
        let line_loss_db = line_loss(table.get("line_loss_db"));
        let correct = table.get("correct").and_then(|f| f.flag()).unwrap_or(false);
        Some(Meter { name: name?, kind, resolution, directivity_db, line_loss_db, correct, line: table.line() })
    })
}

/// A loss per band, or one number for every band declared.
fn line_loss(field: Option<Field<'_>>) -> BTreeMap<String, f64> {
    let Some(field) = field.clone().filter(Field::is_number) else {
        return map_by(
            field,
            Noun::Band,
            "a number, or a table by band, as in `{ \"2 m\" = 0.2 }`",
            Field::not_negative,
        );
    };
    if !field.doc.names.any(Noun::Band) {
        let what = "one `line_loss_db` for every band, but no band is declared";
        let hint = "give each band a `[[band]]` entry, or the loss by band: `{ \"2 m\" = 0.2 }`";
        field.doc.report(field.span(), Kind::Conflict, what, |p| p.advise(hint));
    }
    let loss = field.not_negative();
    field.doc.names.of(Noun::Band).filter_map(|band| Some((band.to_string(), loss?))).collect()
}

pub(super) fn antennas(top: &Table<'_>) -> Vec<Antenna> {
    each(top, "antenna", &["name", "price", "length_mm", "gain_dbi", "claims"], |table| {
        let name = table.need("name", "name = \"heron\"").and_then(|f| f.name());
        let price = table.get("price").and_then(|f| f.positive());
        let length_mm = table.get("length_mm").and_then(|f| f.positive());
        let wanted = "a table by band, as in `{ \"70 cm\" = { value = 2.0, standard = 0.5 } }`";
        let gain_dbi = map_by(table.get("gain_dbi"), Noun::Band, wanted, known);
        let wanted = "a list, as in `[ { quantity = \"swr\", at_most = 1.5 } ]`";
        let claims = table.get("claims").and_then(|f| f.list(wanted)).unwrap_or_default();
        let claims = claims.iter().filter_map(claim).collect();
        Some(Antenna { name: name?, price, length_mm, gain_dbi, claims, line: table.line() })
    })
}

fn known(field: &Field<'_>) -> Option<Known> {
    let table = field.table("`gain_dbi`", "`{ value = …, standard = … }`", &["value", "standard"])?;
    let value = table.need("value", "value = 2.0").and_then(|f| f.finite());
    let standard = table.need("standard", "standard = 0.5").and_then(|f| f.positive());
    Some(Known { value: value?, standard: standard? })
}

fn claim(field: &Field<'_>) -> Option<Claim> {
    let keys = ["quantity", "at_most", "at_least", "bands"];
    let table = field.table("a claim", "`{ quantity = …, at_most = … }`", &keys)?;
    let quantity = table.need("quantity", "quantity = \"swr\"").and_then(|f| {
        let name = f.name()?;
        check_known(f.doc, Noun::Quantity, &name, f.span(), Some("gain_dbi"));
        Some(name)
    });
    let limit = |key| table.get(key).map(|f| f.finite());
    let (at_most, at_least) = (limit("at_most"), limit("at_least"));
    if at_most.is_none() && at_least.is_none() {
        let what = "a claim has neither `at_most` nor `at_least`";
        table.doc.report(table.span.clone(), Kind::MissingKey, what, |p| p.advise("for example `at_most = 1.5`"));
    }
    let (at_most, at_least) = (at_most.flatten(), at_least.flatten());
    if let (Some(most), Some(least)) = (at_most, at_least)
        && least > most
    {
        let what = format!("a claim of at least {least} and at most {most} can never be met");
        table.doc.report(table.span.clone(), Kind::Conflict, what, |p| p);
    }
    let bands = table.get("bands").and_then(|f| f.list("a list of bands, as in `[\"2 m\"]`")).unwrap_or_default();
    let bands = bands.iter().filter_map(|f| f.name_of(Noun::Band)).collect();
    Some(Claim { quantity: quantity?, at_most, at_least, bands, line: table.line() })
}

pub(super) fn loads(top: &Table<'_>) -> Vec<Load> {
    each(top, "load", &["name", "resistance_ohm", "tolerance_percent"], |table| {
        let name = table.need("name", "name = \"hundred\"").and_then(|f| f.name());
        let resistance_ohm = table.need("resistance_ohm", "resistance_ohm = 100.0").and_then(|f| f.positive());
        let percent = |x: f64| x > 0.0 && x < 100.0;
        let tolerance_percent =
            table.get("tolerance_percent").and_then(|f| f.number("a number above 0 and below 100", percent));
        Some(Load { name: name?, resistance_ohm: resistance_ohm?, tolerance_percent, line: table.line() })
    })
}

pub(super) fn quantities(top: &Table<'_>) -> Vec<Quantity> {
    let scales = [
        ("as read", Scale::AsRead),
        ("dB of power", Scale::PowerDecibel),
        ("dB of amplitude", Scale::AmplitudeDecibel),
        ("grades", Scale::Ordinal),
    ];
    let ends = [("higher", Better::Higher), ("lower", Better::Lower), ("neither", Better::Neither)];
    each(top, "quantity", &["name", "unit", "scale", "better"], |table| {
        let name = table.need("name", "name = \"noise\"").and_then(|f| f.name());
        let unit = table.need("unit", "unit = \"dB\"").and_then(|f| f.name());
        let scale = table.need("scale", "scale = \"as read\"").and_then(|f| f.word(&scales));
        let better = table.get("better").and_then(|f| f.word(&ends)).unwrap_or(Better::Neither);
        Some(Quantity { name: name?, unit: unit?, scale: scale?, better })
    })
}

/// What measuring costs; what is not said stays as it is guessed.
pub(super) fn effort(top: &Table<'_>) -> Effort {
    let keys = ["session_minutes", "mounting_minutes", "reading_minutes", "check_minutes"];
    let guess = Effort::default();
    let table = top.get("effort").and_then(|f| f.table("[effort]", "a table headed `[effort]`", &keys));
    let Some(table) = table else { return guess };
    let minutes = |key: &'static str, guess: f64| table.get(key).and_then(|f| f.positive()).unwrap_or(guess);
    Effort {
        session_minutes: minutes("session_minutes", guess.session_minutes),
        mounting_minutes: minutes("mounting_minutes", guess.mounting_minutes),
        reading_minutes: minutes("reading_minutes", guess.reading_minutes),
        check_minutes: minutes("check_minutes", guess.check_minutes),
    }
}

pub(super) fn matters(top: &Table<'_>) -> BTreeMap<String, f64> {
    map_by(top.get("matters"), Noun::Quantity, "a table headed `[matters]`", Field::positive)
}

/// A weight for every band of a quantity, or one per band; in the file's order.
pub(super) fn weights(top: &Table<'_>) -> Vec<Weight> {
    let by_quantity = top.get("weights").and_then(|f| f.table_by(Noun::Quantity, "a table headed `[weights]`"));
    let mut weights = Vec::new();
    for (quantity, field) in by_quantity.unwrap_or_default() {
        if field.is_number() {
            weights.extend(field.not_negative().map(|weight| Weight { quantity, band: None, weight }));
            continue;
        }
        let wanted = "a number, or a table by band, as in `{ \"2 m\" = 1.0 }`";
        let by_band = field.table_by(Noun::Band, wanted).unwrap_or_default();
        weights.extend(by_band.into_iter().filter_map(|(band, field)| {
            Some(Weight { quantity: quantity.clone(), band: Some(band), weight: field.not_negative()? })
        }));
    }
    weights
}

pub(super) fn leave_out(top: &Table<'_>) -> Vec<LeaveOut> {
    let matching = ["session", "antenna", "band", "meter", "quantity", "mounting"];
    let keys = [&matching[..], &["reason"]].concat();
    each(top, "leave_out", &keys, |table| {
        let reason = table.need("reason", "reason = \"coupler found loose\"").and_then(|f| f.name());
        if matching.iter().all(|key| table.get(key).is_none()) {
            let what = "[[leave_out]] does not say what to leave out";
            let hint = "add at least one of session, antenna, band, meter, quantity, mounting";
            table.doc.report(table.span.clone(), Kind::MissingKey, what, |p| p.advise(hint));
        }
        let session = table.get("session").and_then(|f| f.session());
        // An antenna of the log need not be declared, so any name will do here.
        let antenna = table.get("antenna").and_then(|f| f.name());
        let band = table.get("band").and_then(|f| f.name_of(Noun::Band));
        let meter = table.get("meter").and_then(|f| f.name_of(Noun::Meter));
        let quantity = table.get("quantity").and_then(|f| f.name_of(Noun::Quantity));
        let mounting = table.get("mounting").and_then(|f| f.whole(1));
        Some(LeaveOut { session, antenna, band, meter, quantity, mounting, reason: reason?, line: table.line() })
    })
}
