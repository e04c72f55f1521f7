//! Names across seasons: sessions that two have, names that differ only in spelling, and lines that say of which file they are.

use std::collections::BTreeMap;

use super::Part;
use crate::season::config::Config;

/// Moves every line of a season's settings on, so that it says which season it is of.
pub fn lines_of(config: &mut Config, on: usize) {
    config.bands.iter_mut().for_each(|x| x.line += on);
    config.meters.iter_mut().for_each(|x| x.line += on);
    config.antennas.iter_mut().for_each(|x| {
        x.line += on;
        x.claims.iter_mut().for_each(|c| c.line += on);
    });
    config.loads.iter_mut().for_each(|x| x.line += on);
    config.sources.iter_mut().for_each(|x| x.line += on);
    config.leave_out.iter_mut().for_each(|x| x.line += on);
    config.sweeps.iter_mut().for_each(|x| x.line += on);
    config.layouts.iter_mut().for_each(|x| x.line += on);
}

/// For each season, the new names of its sessions that another season has too: `2026-05-02 (spring)`.
pub fn qualified_sessions(parts: &[Part]) -> Vec<BTreeMap<String, String>> {
    let sessions: Vec<Vec<String>> = parts.iter().map(sessions).collect();
    let labels = labels(parts);
    let renamed = |at: usize| {
        let elsewhere = |name: &String| sessions.iter().enumerate().any(|(i, s)| i != at && s.contains(name));
        let twice = sessions[at].iter().filter(|name| elsewhere(name));
        twice.map(|name| (name.clone(), format!("{name} ({})", labels[at]))).collect()
    };
    (0..parts.len()).map(renamed).collect()
}

/// What tells the seasons apart: the last part of each folder's name, or the whole where two have the same.
fn labels(parts: &[Part]) -> Vec<&str> {
    let last = |folder: &'_ str| -> usize { folder.rfind('/').map_or(0, |at| at + 1) };
    let short: Vec<&str> = parts.iter().map(|p| &p.folder[last(&p.folder)..]).collect();
    let alone = |label: &str| !label.is_empty() && short.iter().filter(|s| **s == label).count() == 1;
    parts.iter().zip(&short).map(|(p, s)| if alone(s) { *s } else { p.folder.as_str() }).collect()
}

fn sessions(part: &Part) -> Vec<String> {
    let readings = &part.season.readings;
    let mut names: Vec<String> = [&readings.frame, &readings.left_out_frame]
        .into_iter()
        .filter_map(|frame| frame.column("session").and_then(|c| c.unique()).ok())
        .filter_map(|column| column.str().ok().cloned())
        .flat_map(|names| names.iter().flatten().map(String::from).collect::<Vec<_>>())
        .collect();
    names.sort();
    names.dedup();
    names
}
