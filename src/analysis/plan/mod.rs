//! The next session: how many sessions, mountings and readings would settle what is open, which level is worth
//! repeating, the running order, and a sheet to write on.

mod bench;
pub mod components;
mod log;
pub mod order;
pub mod promise;
pub mod reference;
pub mod result;
pub mod sheet;
mod target;

use crate::analysis::antennas::Choice;
use crate::analysis::antennas::result::label;
use crate::analysis::antennas::set_analysis::Options;
use crate::analysis::looks;
use crate::montecarlo::stream::stream;
use crate::season::Season;
use bench::Bench;
use log::Log;
use order::{Wishes, order};
use promise::Design;
use result::{Plan, Stage};

/// Numbers of sessions that are tried, few first.
const SESSIONS: [usize; 6] = [1, 2, 3, 5, 8, 12];

/// The chance that counts as enough.
pub const ENOUGH: f64 = 0.8;

/// Streams of running orders.
const ORDER_TASK: u64 = (1 << 23) + (1 << 20);

/// What a plan is asked for.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// Which set.
    pub choice: Choice,
    /// The antennas to compare, a name given twice counting once; the top three where none are named.
    pub antennas: Vec<String>,
    /// An antenna never measured, to be compared with the reference antenna.
    pub new: Option<String>,
    /// Minutes to be had, all sessions together.
    pub minutes: Option<f64>,
    /// Name of the next session.
    pub session: Option<String>,
}

/// Makes a plan. `done` is told of each design that has been simulated.
///
/// # Errors
/// The season, or what is asked of it, leaves nothing to plan for: in words, with a hint.
pub fn plan(season: &Season, request: &Request, options: &Options, done: &(dyn Fn() + Sync)) -> Result<Plan, String> {
    let failed = |e: polars::prelude::PolarsError| format!("the readings could not be grouped: {e}");
    let config = &season.config;
    let request = &Request { antennas: distinct(&request.antennas), ..request.clone() };
    let log = Log::of(season, request, options, done).map_err(failed)?;
    let target = target::target(season, request, &log)?;
    let look = looks::look(season, 1.0 - options.confidence).map_err(failed)?;
    let bench = Bench::new(season, request, &log, &target, options)?;

    let mut stages: Vec<Stage> = vec![];
    if !bench.asked.is_empty() {
        for sessions in SESSIONS {
            let design = Design { sessions, mountings: bench.mountings, readings: bench.readings };
            let chances = bench.chances(&design, look, options.seed);
            done();
            let minutes = bench.minutes(&design, config);
            let level = bench.level(sessions, look);
            stages.push(Stage { design, minutes, level, chances });
            if stages.last().is_some_and(|s| s.least().chance >= ENOUGH) && stages.len() >= 2 {
                break;
            }
        }
    }
    let enough = stages.iter().position(|s| s.least().chance >= ENOUGH);
    let minutes =
        request.minutes.or_else(|| stages.get(enough.unwrap_or(stages.len().saturating_sub(1))).map(|s| s.minutes));
    let alternatives = match minutes {
        Some(minutes) if !bench.asked.is_empty() => bench.alternatives(minutes, look, config, options.seed, done),
        _ => vec![],
    };
    // the next session follows what the minutes are best spent on
    let mountings = alternatives.first().map_or(bench.mountings, |a| a.design.mountings);
    let readings = alternatives.first().map_or(bench.readings, |a| a.design.readings);
    let antennas = log::in_session(season, request, &target, &log);
    let history = log::history(season).map_err(failed)?;
    let others: Vec<&str> =
        antennas.iter().map(String::as_str).filter(|a| Some(*a) != config.reference.as_deref()).collect();
    let wishes = Wishes {
        history: others.iter().map(|a| history.get(*a).copied().unwrap_or(0.0)).collect(),
        antennas: others,
        mountings,
        reference: config.reference.as_deref(),
        loads: config.loads.iter().map(|l| l.name.as_str()).collect(),
    };
    let order = order(&wishes, &mut stream(options.seed, ORDER_TASK, log.sessions as u64));
    let session = request.session.clone().unwrap_or_else(|| format!("session {}", log.sessions + 1));
    let sheet = sheet::rows(season, &request.choice, &session, &order, readings).map_err(failed)?;
    Ok(Plan {
        season: season.title.clone(),
        set: label(&target.set.quantity.name, &target.set.band, &target.set.meter),
        unit: target.set.quantity.scale.name(&target.set.quantity.unit).to_string(),
        confidence: options.confidence,
        look,
        seed: options.seed,
        trials: bench.possible.len(),
        settled: target.settled.clone(),
        pairs: bench.planned(&target, config),
        components: bench.situation.components.theta.map(f64::sqrt),
        origin: bench.situation.components.origin,
        shares: bench.situation.components.shares(),
        shares_of_visit: bench.situation.components.shares_of_visit(mountings as f64, readings as f64),
        lasting: bench.lasting(),
        enough,
        stages,
        minutes,
        alternatives,
        effort: config.effort,
        next: log.next,
        session,
        order,
        sheet,
        reference: config.reference.clone(),
        assumptions: season.assumptions.clone(),
    })
}

/// Each name once, in the order they were first given.
fn distinct(names: &[String]) -> Vec<String> {
    let mut out: Vec<String> = vec![];
    names.iter().for_each(|name| {
        if !out.contains(name) {
            out.push(name.clone());
        }
    });
    out
}
