//! The log as far as it goes: its sets, their verdicts, and who was measured early or late.

use std::collections::BTreeMap;

use polars::prelude::PolarsResult;

use super::Request;
use super::result::Target;
use crate::analysis::antennas;
use crate::analysis::antennas::result::SetResult;
use crate::analysis::antennas::set_analysis::Options;
use crate::analysis::antennas::sets::{Set, sets_of};
use crate::analysis::meters::correction;
use crate::analysis::next::{Kind, Step};
use crate::season::Season;

/// The log as far as it goes.
pub struct Log {
    pub sets: Vec<Set>,
    pub results: Vec<SetResult>,
    pub next: Vec<Step>,
    pub sessions: usize,
}

impl Log {
    pub fn of(season: &Season, request: &Request, options: &Options, done: &(dyn Fn() + Sync)) -> PolarsResult<Log> {
        if season.readings.frame.height() == 0 {
            return Ok(Log { sets: vec![], results: vec![], next: vec![], sessions: 0 });
        }
        let sessions = season.readings.frame.column("session")?.n_unique()?;
        let corrected = correction::corrected(season)?;
        let (mut sets, _) = sets_of(&corrected.frame, &season.config)?;
        corrected.attach(&mut sets);
        // the trials asked for are those of the plan; verdicts have as many replays as they need
        let verdicts = antennas::analyse(season, &request.choice, &Options { trials: None, ..*options }, done)?;
        Ok(Log { sets, results: verdicts.sets, next: verdicts.next, sessions })
    }
}

/// The antennas of the next session: those asked about; else also those that what to measure next takes up first.
pub fn in_session(season: &Season, request: &Request, target: &Target, log: &Log) -> Vec<String> {
    let mut names: Vec<String> = vec![];
    let mut add = |name: &String| {
        if !names.contains(name) {
            names.push(name.clone());
        }
    };
    season.config.reference.iter().for_each(&mut add);
    for &(a, b) in &target.pairs {
        add(&target.set.antennas[a]);
        add(&target.set.antennas[b]);
    }
    request.antennas.iter().for_each(&mut add);
    if request.antennas.is_empty() {
        let step = log.next.iter().find(|s| s.kind == Kind::Sessions);
        step.iter().flat_map(|s| &s.antennas).for_each(&mut add);
        // nothing is open: whoever measures all the same has an order for all of them
        if log.sets.is_empty() || target.pairs.is_empty() {
            target.set.antennas.iter().for_each(&mut add);
        }
    }
    names
}

/// How early or late each antenna was measured so far: the sum over sessions of the mean place of its readings,
/// from −1 (first) to 1 (last).
pub fn history(season: &Season) -> PolarsResult<BTreeMap<String, f64>> {
    let frame = &season.readings.frame;
    let mut sums: BTreeMap<String, f64> = BTreeMap::new();
    if frame.height() == 0 {
        return Ok(sums);
    }
    let (session, antenna) = (frame.column("session")?.str()?, frame.column("antenna")?.str()?);
    let order = frame.column("order")?.cast(&polars::prelude::DataType::Float64)?;
    let order = order.f64()?;
    // (session) → places of every antenna in it
    let mut places: BTreeMap<&str, Vec<(&str, f64)>> = BTreeMap::new();
    for i in 0..frame.height() {
        let Some(place) = order.get(i) else { continue };
        places.entry(session.get(i).unwrap_or_default()).or_default().push((antenna.get(i).unwrap_or_default(), place));
    }
    for all in places.values() {
        let low = all.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let high = all.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        if !(high > low) {
            continue;
        }
        let mut own: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
        for &(name, place) in all {
            let sum = own.entry(name).or_default();
            sum.0 += 2.0 * (place - low) / (high - low) - 1.0;
            sum.1 += 1.0;
        }
        own.into_iter().for_each(|(name, (sum, count))| *sums.entry(name.to_string()).or_default() += sum / count);
    }
    Ok(sums)
}
