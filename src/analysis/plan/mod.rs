//! The next session: how many sessions, mountings and readings would settle what is open, which level is worth
//! repeating, the running order, and a sheet to write on.

pub mod components;
pub mod order;
pub mod promise;
pub mod result;
pub mod sheet;

use std::collections::{BTreeMap, BTreeSet};

use polars::prelude::PolarsResult;

use crate::analysis::antennas::fitted::FittedSet;
use crate::analysis::antennas::result::{PairResult, SetResult, Verdict, label};
use crate::analysis::antennas::set_analysis::Options;
use crate::analysis::antennas::sets::{Set, sets_of};
use crate::analysis::antennas::shown::matters_on_scale;
use crate::analysis::antennas::sources::SetSources;
use crate::analysis::antennas::{self, Choice};
use crate::analysis::looks::{self, Look};
use crate::analysis::meters::correction;
use crate::analysis::next::session::Habit;
use crate::analysis::next::{Kind, Step};
use crate::montecarlo::stream::stream;
use crate::radio::quantity::Scale;
use crate::season::Season;
use crate::season::config::Config;
use crate::stats::mixed::{Layout, MountingSummary};
use components::Components;
use order::{Wishes, order};
use promise::{Asked, Design, Situation, declared_half_widths};
use result::{Alternative, Plan, PlannedPair, Stage, Target};

/// Numbers of sessions that are tried, few first.
const SESSIONS: [usize; 6] = [1, 2, 3, 5, 8, 12];

/// Trials behind each chance, where none are asked for: a chance of 80 % is then known to ± 3 %.
const TRIALS: usize = 200;

/// The chance that counts as enough.
pub const ENOUGH: f64 = 0.8;

/// Streams of running orders.
const ORDER_TASK: u64 = (1 << 23) + (1 << 20);

/// What a plan is asked for.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// Which set.
    pub choice: Choice,
    /// The antennas to compare; the top three where none are named.
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
    let log = Log::of(season, request, options, done).map_err(failed)?;
    let target = target(season, request, &log)?;
    let look = looks::look(season, 1.0 - options.confidence).map_err(failed)?;
    let trials = options.trials.unwrap_or(TRIALS);
    let bench = Bench::new(season, request, &log, &target, options)?;

    let mut stages: Vec<Stage> = vec![];
    if !bench.asked.is_empty() {
        for sessions in SESSIONS {
            let design = Design { sessions, mountings: bench.mountings, readings: bench.readings };
            let chances = bench.chances(&design, look, trials, options.seed);
            done();
            let minutes = bench.minutes(&design, config);
            stages.push(Stage { design, minutes, chances });
            if stages.last().is_some_and(|s| s.least() >= ENOUGH) && stages.len() >= 2 {
                break;
            }
        }
    }
    let enough = stages.iter().position(|s| s.least() >= ENOUGH);
    let minutes =
        request.minutes.or_else(|| stages.get(enough.unwrap_or(stages.len().saturating_sub(1))).map(|s| s.minutes));
    let alternatives = match minutes {
        Some(minutes) if !bench.asked.is_empty() => {
            bench.alternatives(minutes, look, config, trials, options.seed, done)
        }
        _ => vec![],
    };
    // the next session follows what the minutes are best spent on
    let mountings = alternatives.first().map_or(bench.mountings, |a| a.design.mountings);
    let readings = alternatives.first().map_or(bench.readings, |a| a.design.readings);
    let antennas = in_session(season, request, &target, &log);
    let history = history(season).map_err(failed)?;
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
        trials,
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

/// The log as far as it goes.
struct Log {
    sets: Vec<Set>,
    results: Vec<SetResult>,
    next: Vec<Step>,
    sessions: usize,
}

impl Log {
    fn of(season: &Season, request: &Request, options: &Options, done: &(dyn Fn() + Sync)) -> PolarsResult<Log> {
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

/// The set to plan for, and the pairs asked about in it.
fn target(season: &Season, request: &Request, log: &Log) -> Result<Target, String> {
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
        (None, [first, second, ..]) if first != second => (place(first).unwrap_or(0), place(second).unwrap_or(1)),
        _ => (0, 1),
    };
    Ok(Target { pairs: vec![pair], set, settled: vec![], new: None })
}

/// What the chances of a plan are simulated on.
struct Bench {
    situation: Situation,
    sources: SetSources,
    asked: Vec<Asked>,
    mountings: usize,
    readings: usize,
    meters: usize,
    sessions: usize,
}

impl Bench {
    fn new(season: &Season, request: &Request, log: &Log, target: &Target, options: &Options) -> Result<Bench, String> {
        let (config, set) = (&season.config, &target.set);
        let measured = set.antennas.len() - usize::from(target.new.is_some());
        let of_log = Set { antennas: set.antennas[..measured].to_vec(), ..set.clone() };
        let fitted = if set.mountings.is_empty() { None } else { FittedSet::new(&of_log, config, options.confidence) };
        let mut estimates = fitted.as_ref().map_or_else(|| vec![usual_level(set); measured], |f| f.estimates.clone());
        if let Some(new) = target.new {
            let against = target.pairs.first().map_or(0, |p| p.0);
            estimates.insert(new, estimates[against]);
        }
        let sources = sources(set, config, &estimates);
        let Some(components) = Components::of(fitted.as_ref(), &sources, &set.quantity) else {
            return Err(format!(
                "nothing is known of how {} scatters\n\nhint: declare it under [[source]] in season.toml, shared by session, visit, mounting and reading; or log two sessions first",
                set.quantity.name
            ));
        };
        let matters = config.matters.get(&set.quantity.name).copied();
        let on_scale = |a: usize, b: usize| {
            matters.map(|m| matters_on_scale(&set.quantity, m, (estimates[a] + estimates[b]) / 2.0, 0.0))
        };
        let asked: Vec<Asked> = target
            .pairs
            .iter()
            .map(|&(first, second)| Asked {
                first,
                second,
                matters: on_scale(first, second),
                measured: fitted.is_some() && target.new.is_none_or(|n| n != first && n != second),
            })
            .collect();
        if asked.iter().any(|a| !a.measured && a.matters.is_none()) {
            return Err(format!(
                "nothing says which difference in {} would matter, so there is nothing to plan for\n\nhint: say so in season.toml, as in `[matters]` and `{} = 1.0`",
                set.quantity.name, set.quantity.name
            ));
        }
        let habit = Habit::of(if log.sets.is_empty() { std::slice::from_ref(set) } else { &log.sets });
        let mut present: BTreeSet<usize> = target.pairs.iter().flat_map(|p| [p.0, p.1]).collect();
        let reference = config.reference.as_ref().and_then(|r| set.antennas.iter().position(|a| a == r));
        present.extend(reference);
        if set.mountings.is_empty() {
            // no session before this one holds the others
            present.extend(0..set.antennas.len());
        }
        let step = set.resolution * set.quantity.scale.slope_at(estimates.first().copied().unwrap_or(0.0));
        let chosen = |s: &&Set| {
            let fits = |wanted: &Option<String>, name: &str| wanted.as_ref().is_none_or(|w| w == name);
            fits(&request.choice.quantity, &s.quantity.name)
                && fits(&request.choice.band, &s.band)
                && fits(&request.choice.meter, &s.meter)
        };
        let meters: BTreeSet<(&str, &str)> =
            log.sets.iter().filter(chosen).map(|s| (s.band.as_str(), s.meter.as_str())).collect();
        Ok(Bench {
            situation: Situation {
                antennas: set.antennas.len(),
                log: set.mountings.clone(),
                declared: declared_half_widths(&sources, set.antennas.len(), options.confidence, options.seed),
                estimates,
                components,
                present: present.into_iter().collect(),
                reference,
                confidence: options.confidence,
                floor: if step.is_finite() { step * step / 12.0 } else { 0.0 },
            },
            sources,
            asked,
            mountings: habit.mountings as usize,
            readings: habit.readings as usize,
            meters: meters.len().max(1),
            sessions: log.sessions,
        })
    }

    /// The chances after a design, at the look it leads to where the season plans several.
    fn chances(&self, design: &Design, look: Option<Look>, trials: usize, seed: u64) -> Vec<promise::Chance> {
        let then = look.map(|l| Look::new(self.sessions + design.sessions, l.planned, l.of));
        let confidence = then.map_or(self.situation.confidence, |l| 1.0 - l.level);
        let mut situation = Situation { confidence, ..self.situation.clone() };
        if then.is_some() {
            situation.declared = declared_half_widths(&self.sources, situation.antennas, confidence, seed);
        }
        situation.chances(design, &self.asked, trials, seed, 0)
    }

    fn minutes(&self, design: &Design, config: &Config) -> f64 {
        let habit = Habit { mountings: design.mountings as f64, readings: design.readings as f64 };
        let with_reference = self.situation.reference.is_some();
        habit.minutes(design.sessions, self.situation.present.len(), with_reference, self.meters, &config.effort)
    }

    /// Ways to spend so many minutes, likeliest to settle first.
    fn alternatives(
        &self,
        minutes: f64,
        look: Option<Look>,
        config: &Config,
        trials: usize,
        seed: u64,
        done: &(dyn Fn() + Sync),
    ) -> Vec<Alternative> {
        let mut ways: Vec<(usize, usize)> = vec![];
        for mountings in [1, 2, 4] {
            for readings in [1, 3] {
                ways.push((mountings, readings));
            }
        }
        if !ways.contains(&(self.mountings, self.readings)) {
            ways.push((self.mountings, self.readings));
        }
        let mut out: Vec<Alternative> = ways
            .into_iter()
            .filter_map(|(mountings, readings)| {
                let one = self.minutes(&Design { sessions: 1, mountings, readings }, config);
                let sessions = ((minutes * 1.001) / one).floor() as usize;
                if sessions == 0 || sessions > 30 {
                    return None;
                }
                let design = Design { sessions, mountings, readings };
                let chances = self.chances(&design, look, trials, seed);
                done();
                let usual = (mountings, readings) == (self.mountings, self.readings);
                Some(Alternative { minutes: one * sessions as f64, design, chances, usual })
            })
            .collect();
        // those that come within Monte Carlo error of each other: the one that takes fewer minutes first
        let key = |a: &Alternative| ((a.mean() * 25.0).round() as i64, -(a.minutes.round() as i64));
        out.sort_by_key(|a| std::cmp::Reverse(key(a)));
        out
    }

    /// What each pair's interval keeps however often one measures.
    fn lasting(&self) -> Vec<f64> {
        let p = self.situation.antennas;
        self.asked.iter().map(|a| self.situation.declared[a.first * p + a.second]).collect()
    }

    fn planned(&self, target: &Target, config: &Config) -> Vec<PlannedPair> {
        let name = |i: usize| target.set.antennas[i].clone();
        let matters = config.matters.get(&target.set.quantity.name).copied();
        self.asked
            .iter()
            .map(|a| PlannedPair { first: name(a.first), second: name(a.second), matters, measured: a.measured })
            .collect()
    }
}

/// A level that an antenna never measured may well have: an SWR of 1.5; else nothing.
fn usual_level(set: &Set) -> f64 {
    if set.quantity.is_reflection() { 0.2 } else { 0.0 }
}

/// The sources on a set, with or without readings of its own.
fn sources(set: &Set, config: &Config, estimates: &[f64]) -> SetSources {
    let blank = |session: usize, antenna: usize| MountingSummary {
        session,
        antenna,
        readings: 2.0,
        df: 1.0,
        mean: estimates[antenna],
        sum_of_squares: 0.0,
    };
    let mut mountings = set.mountings.clone();
    let missing: Vec<usize> = (0..set.antennas.len()).filter(|&a| !mountings.iter().any(|m| m.antenna == a)).collect();
    let first = mountings.iter().map(|m| m.session).max().unwrap_or(0);
    mountings.extend(missing.iter().map(|&a| blank(first, a)));
    let scatter = if set.mountings.is_empty() {
        f64::INFINITY
    } else {
        crate::analysis::antennas::fitted::scatter_of_a_reading(set)
    };
    match Layout::new(set.antennas.len(), &mountings) {
        Some((layout, _)) => SetSources::new(set, &layout, config, estimates, scatter),
        // an antenna without a mounting: there is none, they were just given one
        None => SetSources::none(estimates),
    }
}

/// The antennas of the next session: those asked about; else also those that what to measure next takes up first.
fn in_session(season: &Season, request: &Request, target: &Target, log: &Log) -> Vec<String> {
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
    if request.antennas.is_empty() {
        let step = log.next.iter().find(|s| s.kind == Kind::Sessions);
        step.iter().flat_map(|s| &s.antennas).for_each(&mut add);
        if log.sets.is_empty() {
            target.set.antennas.iter().for_each(&mut add);
        }
    }
    names
}

/// How early or late each antenna was measured so far: the sum over sessions of the mean place of its readings,
/// from −1 (first) to 1 (last).
fn history(season: &Season) -> PolarsResult<BTreeMap<String, f64>> {
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
