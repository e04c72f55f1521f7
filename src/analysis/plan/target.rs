//! What a plan is for: the set, and the pairs in it that are to be settled.

use std::collections::BTreeSet;

use super::Request;
use super::log::Log;
use super::result::Target;
use super::sheet;
use crate::analysis::antennas::result::{PairResult, SetResult, Verdict, label};
use crate::analysis::antennas::sets::Set;
use crate::radio::quantity::Scale;
use crate::season::Season;
use crate::season::config::Config;

/// The set to plan for, and the pairs asked about in it.
pub fn target(season: &Season, request: &Request, log: &Log) -> Result<Target, String> {
    let config = &season.config;
    let found: Vec<(&Set, &SetResult)> = log
        .results
        .iter()
        .filter_map(|r| {
            let same = |s: &&Set| s.quantity == r.quantity && s.band == r.band && s.meter == r.meter;
            Some((log.sets.iter().find(same)?, r))
        })
        .collect();
    let open =
        |r: &SetResult| r.pairs.iter().filter(|p| matches!(p.verdict, Verdict::Noise | Verdict::Unlinked)).count();
    // what matters is known, and most is open; the first of equals
    let best = found.iter().rev().max_by_key(|(_, r)| (r.matters.is_some(), open(r)));
    if let Some((set, result)) = best {
        return of_set(config, request, set, result);
    }
    if season.readings.frame.height() > 0 {
        return Err("no set of readings fits that choice\n\nhint: leave --quantity, --band and --meter out, or name those of the log; grades are not planned for".into());
    }
    if season.readings.files.iter().any(|f| f.rows > 0) {
        return Err("no reading can be used: all were set aside\n\nhint: `daylight audit` says why, row by row".into());
    }
    without_log(config, request)
}

fn of_set(config: &Config, request: &Request, set: &Set, result: &SetResult) -> Result<Target, String> {
    let mut target = Target { set: set.clone(), pairs: vec![], settled: vec![], new: None };
    let place = |name: &str| -> Result<usize, String> {
        set.antennas.iter().position(|a| a == name).ok_or_else(|| {
            format!(
                "`{name}` was never measured in {}\n\nhint: for an antenna that was never measured, use --new; measured are {}",
                label(&set.quantity.name, &set.band, &set.meter),
                set.antennas.join(", ")
            )
        })
    };
    if let Some(new) = &request.new {
        if set.antennas.contains(new) {
            return Err(format!("`{new}` is not new: it was measured already\n\nhint: name it with --antenna"));
        }
        let against = match (&config.reference, request.antennas.first()) {
            (_, Some(named)) => place(named)?,
            (Some(reference), None) => place(reference)?,
            (None, None) => best_three(result).first().copied().unwrap_or(0),
        };
        target.set.antennas.push(new.clone());
        target.pairs = vec![(against, target.set.antennas.len() - 1)];
        target.new = Some(target.set.antennas.len() - 1);
        return Ok(target);
    }
    let named: Vec<usize> = request.antennas.iter().map(|n| place(n)).collect::<Result<_, _>>()?;
    if named.len() == 1 {
        return Err(
            "one antenna alone makes no pair\n\nhint: name two or more with --antenna, or none for the top three"
                .into(),
        );
    }
    let among = if named.is_empty() { best_three(result) } else { named.clone() };
    let inside = |p: &&PairResult| among.contains(&p.first) && among.contains(&p.second);
    let is_open = |p: &&PairResult| matches!(p.verdict, Verdict::Noise | Verdict::Unlinked);
    let mut pairs: Vec<&PairResult> = result.pairs.iter().filter(inside).filter(is_open).collect();
    target.settled = result.pairs.iter().filter(inside).filter(|p| !is_open(p)).map(|p| (p.first, p.second)).collect();
    if pairs.is_empty() && named.is_empty() {
        // the top is settled: what is open elsewhere, widest known first
        pairs = result.pairs.iter().filter(is_open).collect();
        pairs.truncate(3);
    }
    target.pairs = pairs.iter().map(|p| (p.first, p.second)).collect();
    Ok(target)
}

/// The first three by estimate; where neither end is better, of the closest open pairs.
fn best_three(result: &SetResult) -> Vec<usize> {
    let mut ranked: Vec<(usize, usize)> =
        result.antennas.iter().enumerate().filter_map(|(i, a)| Some((a.rank?, i))).collect();
    ranked.sort_unstable();
    if ranked.is_empty() {
        let open = result.pairs.iter().find(|p| p.verdict == Verdict::Noise);
        return open.map_or_else(|| (0..result.antennas.len().min(3)).collect(), |p| vec![p.first, p.second]);
    }
    ranked.into_iter().take(3).map(|(_, i)| i).collect()
}

/// A season that has no readings yet: its first two antennas, or those named, by what it declares.
fn without_log(config: &Config, request: &Request) -> Result<Target, String> {
    let mut names: Vec<String> = request.antennas.clone();
    if names.is_empty() {
        names = config.antennas.iter().map(|a| a.name.clone()).collect();
    }
    names.extend(request.new.clone());
    if let Some(reference) = config.reference.as_ref().filter(|r| !names.contains(r)) {
        names.insert(0, reference.clone());
    }
    let mut seen = BTreeSet::new();
    names.retain(|name| seen.insert(name.clone()));
    if names.len() < 2 {
        return Err("there are no readings yet, and fewer than two antennas to plan for\n\nhint: give each antenna an [[antenna]] entry in season.toml, or name them with --antenna".into());
    }
    let quantity = match &request.choice.quantity {
        Some(name) => name.clone(),
        None => config.matters.keys().next().cloned().unwrap_or_else(|| "field_strength".into()),
    };
    let quantity = config.quantity(&quantity).ok_or_else(|| {
        format!("unknown quantity `{quantity}`\n\nhint: name one of the season's, such as swr or field_strength")
    })?;
    if quantity.scale == Scale::Ordinal {
        return Err(
            "grades are not planned for: how reports scatter is not a size\n\nhint: choose another quantity".into()
        );
    }
    let first = |names: Vec<&String>, asked: &Option<String>, other: &str| {
        asked.clone().or_else(|| names.first().map(|n| (*n).clone())).unwrap_or_else(|| other.into())
    };
    let set = Set {
        moduli: vec![],
        band: first(config.bands.iter().map(|b| &b.name).collect(), &request.choice.band, "any band"),
        meter: first(sheet::meters_for(&quantity.name, config), &request.choice.meter, "any meter"),
        antennas: names,
        sessions: vec![],
        mountings: vec![],
        line_factor: 1.0,
        resolution: 0.0,
        resolution_declared: false,
        correction: None,
        quantity,
    };
    let place = |name: &String| set.antennas.iter().position(|a| a == name);
    let pair = match (request.new.as_ref().and_then(place), request.antennas.as_slice()) {
        // a new one against the reference, or whatever stands first
        (Some(new), _) => {
            let against = config.reference.as_ref().and_then(place).filter(|r| *r != new);
            (against.unwrap_or(usize::from(new == 0)), new)
        }
        (None, [first, second, ..]) => (place(first).unwrap_or(0), place(second).unwrap_or(1)),
        _ => (0, 1),
    };
    Ok(Target { pairs: vec![pair], set, settled: vec![], new: None })
}
