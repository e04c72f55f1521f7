//! What is worth checking next, from the shape of a disagreement; and meters that show one value on everything.
//!
//! Which cause leaves which trace is common practice, partly without a source: line loss reads low and grows with SWR;
//! a false wave errs either way, by antenna and band; a detector reads small reflected power low; current on the
//! coax outside changes the antenna itself.

use super::log::{Log, MeterSet};
use super::result::PairOfMeters;
use super::why::Account;
use crate::season::config::{Config, MeterKind};
use crate::season::finding::{Finding, Group, Place, Severity, Stake};
use crate::stats::method_comparison::mean;

/// At most this many suggestions.
const MOST: usize = 3;

/// Suggestions for a pair, likeliest first.
pub fn worth_checking(pair: &PairOfMeters, config: &Config) -> Vec<String> {
    let mut out = vec![];
    if let Some(stuck) = pair.bands.iter().flat_map(|b| &b.stuck).next() {
        return vec![format!(
            "{}: is it connected, switched to the right range and band, and not overloaded? It shows {} whatever is on",
            stuck.meter, stuck.value
        )];
    }
    if let Some(shift) = pair.shifts.first() {
        let who = shift.mover.as_ref().map_or("one of the two".to_string(), |m| m.clone());
        out.push(format!(
            "the shift: what changed at {who} between {} and {} (calibration, its load, an adaptor or cable)? read a check load now",
            shift.after, shift.by
        ));
    }
    let kind = |name: &str| config.meter(name).and_then(|m| m.kind);
    let reflection = pair.bands.iter().any(|b| b.why.is_some());
    if !reflection {
        return out;
    }
    let open: Vec<_> = pair
        .bands
        .iter()
        .filter(|b| {
            b.why.as_ref().is_some_and(|w| {
                matches!(w.account, Account::InPart | Account::NotExplained | Account::NothingDeclared)
            })
        })
        .collect();
    let levels: Vec<_> = pair.bands.iter().filter_map(|b| b.why.as_ref()).flat_map(|w| &w.levels).collect();
    let outside = levels.iter().filter(|l| !l.inside).count();
    let declared = pair.bands.iter().filter_map(|b| b.why.as_ref()).any(|w| w.account != Account::NothingDeclared);
    if declared && outside > 0 && 5 * outside > levels.len() {
        out.push(format!(
            "{outside} of {} antennas differ by more than the declared line loss and directivity allow: hold the coax, or put a ferrite on it, and read again; a reading that moves means the coax has become part of the antenna",
            levels.len()
        ));
    }
    // seen minus predicted, second over first; turned so that it is in-line over analyzer
    let turn = match (kind(&pair.first), kind(&pair.second)) {
        (Some(MeterKind::InLine), Some(MeterKind::Analyzer)) => -1.0,
        (Some(MeterKind::Analyzer), Some(MeterKind::InLine)) => 1.0,
        _ => 0.0,
    };
    let left: Vec<f64> = open
        .iter()
        .filter_map(|b| Some(b.offset?.estimate.value - b.why.as_ref()?.line_loss - b.why.as_ref()?.false_wave))
        .collect();
    if turn != 0.0 && !left.is_empty() && pair.shifts.is_empty() {
        out.push(if turn * mean(&left) < 0.0 {
            "more line loss than declared, or a detector that reads small reflected power low: measure the line with its far end open, and read one antenna at two powers".into()
        } else {
            "the transmitter's harmonics at the in-line meter, or an adaptor put on the analyzer after its calibration: read a good load on both".into()
        });
    }
    if let Some(p) = pair.across.as_ref().and_then(|a| a.bands_differ_p).filter(|p| *p < 0.05) {
        out.push(format!(
            "the bands differ (p = {}): a false wave, a connector or a cable acts by frequency; compare after lengthening the line by an eighth of a wave",
            crate::analysis::antennas::intervals::last_digit(p).max(p * 100.0).round() / 100.0
        ));
    }
    if !declared && reflection {
        out.push("declare `line_loss_db` and `directivity_db` of both meters in season.toml: then this says what they explain".into());
    }
    out.truncate(MOST);
    out
}

/// Findings about meters that show one value on everything.
pub fn stuck(sets: &[&MeterSet], log: &Log) -> Vec<Finding> {
    sets.iter()
        .filter_map(|set| {
            let value = set.stuck_at()?;
            let mut items: Vec<usize> = set.mountings.iter().map(|m| m.item).collect();
            items.sort_unstable();
            items.dedup();
            let names: Vec<&str> = items.iter().filter_map(|i| log.antennas.get(*i)).take(3).map(String::as_str).collect();
            Some(Finding {
                rule: "stuck meter",
                group: Group::Suspect,
                others: vec![],
                endangers: vec![Stake {
                    quantity: Some(set.quantity.name.clone()),
                    band: Some(set.band.clone()),
                    meter: Some(set.meter.clone()),
                    ..Stake::default()
                }],
                severity: Severity::Warning,
                place: Place { file: "readings".into(), line: None, column: Some("value".into()) },
                what: format!(
                    "{} shows {} {value} on {} for every one of {} antennas ({}…)",
                    set.meter,
                    set.quantity.name,
                    set.band,
                    items.len(),
                    names.join(", ")
                ),
                why: "a meter that answers everything alike measures nothing: it is saturated, not connected, or on the wrong range".into(),
                action: "no offset is computed with it; find out why, and leave these readings out on the record".into(),
            })
        })
        .collect()
}
