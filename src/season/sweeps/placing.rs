//! Whose sweep a file is: an entry says so, or its name does by the season's pattern.

use super::files::Found;
use super::pattern::{Capture, Hole};
use super::{FOLDER, RULE, only_analyzer};
use crate::season::config::Config;
use crate::season::finding::{Finding, Place, Severity};
use crate::season::parse;

/// Whose a sweep is.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Session.
    pub session: String,
    /// Antenna or check load.
    pub antenna: String,
    /// Meter.
    pub meter: String,
    /// Mounting, where one is said.
    pub mounting: Option<i64>,
    /// Place in the running order, where one is said.
    pub order: Option<f64>,
    /// Microseconds since 1970, where a time is said.
    pub when: Option<i64>,
}

/// Why a file is nobody's.
#[derive(Debug)]
pub struct Unplaced {
    /// What is missing.
    pub what: String,
    /// What to do.
    pub action: String,
}

/// Finds whose a file is.
pub fn placed(name: &str, config: &Config) -> Result<Placed, Unplaced> {
    if let Some(entry) = config.sweeps.iter().find(|s| s.file == name) {
        let meter = entry.meter.clone().or_else(|| only_analyzer(config).map(String::from)).ok_or_else(no_meter)?;
        return Ok(Placed {
            session: entry.session.clone(),
            antenna: entry.antenna.clone(),
            meter,
            mounting: entry.mounting,
            order: entry.order,
            when: entry.when,
        });
    }
    let Some(pattern) = &config.sweep_pattern else {
        return Err(unplaced("no `[[sweep]]` entry names this file, and the season states no `sweep_pattern`"));
    };
    let mut ways = pattern.captures(name);
    if ways.is_empty() {
        return Err(unplaced("no `[[sweep]]` entry names this file, and its name does not fit the `sweep_pattern`"));
    }
    if ways.iter().any(|way| all_known(way, config)) {
        ways.retain(|way| all_known(way, config));
    }
    match &ways[..] {
        [way] => by_name(way, config),
        _ => Err(unplaced("by the `sweep_pattern` its name can be read in several ways")),
    }
}

fn unplaced(what: &str) -> Unplaced {
    let action = "sweep set aside; say whose it is in a `[[sweep]]` entry: file, session, antenna, mounting, meter";
    Unplaced { what: what.into(), action: action.into() }
}

fn no_meter() -> Unplaced {
    Unplaced {
        what: "which meter made this sweep is not said, and the season has no single meter of kind \"analyzer\"".into(),
        action: "sweep set aside; give its `[[sweep]]` entry a `meter`, or the pattern a `{meter}`".into(),
    }
}

fn text<'a>(way: &Capture<'a>, wanted: Hole) -> Option<&'a str> {
    way.iter().find(|(hole, _)| *hole == wanted).map(|(_, text)| *text)
}

/// Whether antenna and meter are names the season lists, where it lists any.
fn all_known(way: &Capture<'_>, config: &Config) -> bool {
    let known = |hole: Hole| {
        let Some(text) = text(way, hole) else { return true };
        let names = names(hole, config);
        names.is_empty() || listed(text, &names).is_some()
    };
    known(Hole::Antenna) && known(Hole::Meter)
}

fn names(hole: Hole, config: &Config) -> Vec<&str> {
    if hole == Hole::Meter {
        return config.meters.iter().map(|m| m.name.as_str()).collect();
    }
    let antennas = config.antennas.iter().map(|a| a.name.as_str());
    antennas.chain(config.loads.iter().map(|l| l.name.as_str())).collect()
}

/// The name of the list that a part of a file's name means: itself, or the one that differs in case and marks alone.
fn listed<'a>(text: &str, names: &[&'a str]) -> Option<&'a str> {
    let plain =
        |name: &str| -> String { name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect() };
    let alike = || names.iter().copied().filter(|name| plain(name) == plain(text));
    names.iter().copied().find(|name| *name == text).or_else(|| alike().next().filter(|_| alike().count() == 1))
}

fn by_name(way: &Capture<'_>, config: &Config) -> Result<Placed, Unplaced> {
    let name = |hole: Hole| {
        let text = text(way, hole)?.trim();
        Some(listed(text, &names(hole, config)).unwrap_or(text).to_string()).filter(|name| !name.is_empty())
    };
    let session = text(way, Hole::Session).map(|s| s.trim().to_string()).filter(|s| !s.is_empty());
    let (Some(session), Some(antenna)) = (session, name(Hole::Antenna)) else {
        return Err(unplaced("by the `sweep_pattern` its name holds no session or no antenna"));
    };
    let meter = name(Hole::Meter).or_else(|| only_analyzer(config).map(String::from)).ok_or_else(no_meter)?;
    Ok(Placed {
        session,
        antenna,
        meter,
        mounting: text(way, Hole::Mounting).and_then(|t| t.parse().ok()),
        order: text(way, Hole::Order).and_then(|t| t.parse().ok()),
        when: None,
    })
}

/// A finding for each entry whose file is not there, or that a later one repeats.
pub fn missing(config: &Config, found: &Found) -> Vec<Finding> {
    let told = |line: usize, what: String, action: &str| {
        let place = Place { file: parse::FILE.into(), line: Some(line), column: None };
        Finding::new(Severity::Error, place, what, "what the sweep shows is missing from every verdict", action)
            .by(RULE)
    };
    let mut findings = vec![];
    for (at, entry) in config.sweeps.iter().enumerate() {
        if found.files.iter().all(|f| f.name != entry.file) {
            let what = format!("`{FOLDER}/{}` is not there", entry.file);
            findings.push(told(entry.line, what, "put the file there, or remove the entry"));
        }
        if let Some(first) = config.sweeps[..at].iter().find(|e| e.file == entry.file) {
            let what = format!("`{}` is the file of the entry on line {} already", entry.file, first.line);
            findings.push(told(entry.line, what, "the first entry counts; a file is one sweep of one antenna"));
        }
    }
    findings
}
