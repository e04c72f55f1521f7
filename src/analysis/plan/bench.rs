//! What the chances of a plan are simulated on: scatter, sources, estimates, and the sessions to come.

use std::collections::BTreeSet;

use super::Request;
use super::components::Components;
use super::log::Log;
use super::promise::{Asked, Chance, Design, Situation, declared_half_widths};
use super::result::{Alternative, PlannedPair, Target};
use crate::analysis::antennas::fitted::FittedSet;
use crate::analysis::antennas::set_analysis::Options;
use crate::analysis::antennas::sets::Set;
use crate::analysis::antennas::shown::matters_on_scale;
use crate::analysis::antennas::sources::SetSources;
use crate::analysis::looks::Look;
use crate::analysis::next::session::Habit;
use crate::season::Season;
use crate::season::config::Config;
use crate::stats::mixed::{Draw, Layout, MountingSummary};

/// Trials behind each chance, where none are asked for: a chance of 80 % is then known to ± 6 %.
const TRIALS: usize = 200;

/// What the chances of a plan are simulated on.
pub struct Bench {
    pub situation: Situation,
    /// What may truly be: a trial of every design on each.
    pub possible: Vec<Draw>,
    sources: SetSources,
    pub asked: Vec<Asked>,
    pub mountings: usize,
    pub readings: usize,
    meters: usize,
    pub sessions: usize,
    antennas: usize,
    with_reference: bool,
}

impl Bench {
    pub fn new(
        season: &Season,
        request: &Request,
        log: &Log,
        target: &Target,
        options: &Options,
    ) -> Result<Bench, String> {
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
        let situation = Situation {
            antennas: set.antennas.len(),
            log: set.mountings.clone(),
            declared: declared_half_widths(&sources, set.antennas.len(), options.confidence, options.seed),
            estimates,
            components,
            present: present.iter().copied().collect(),
            reference,
            confidence: options.confidence,
            floor: if step.is_finite() { step * step / 12.0 } else { 0.0 },
        };
        Ok(Bench {
            possible: situation.possible(options.trials.unwrap_or(TRIALS), options.seed),
            situation,
            sources,
            asked,
            mountings: habit.mountings,
            readings: habit.readings,
            meters: meters.len().max(1),
            sessions: log.sessions,
            // the running order has it, whether this set knows it or not
            antennas: present.len() + usize::from(config.reference.is_some() && reference.is_none()),
            with_reference: config.reference.is_some(),
        })
    }

    /// The chance of any false verdict that the verdict after so many more sessions is held to: that of the look they
    /// lead to, where the season plans several.
    pub fn level(&self, sessions: usize, look: Option<Look>) -> f64 {
        let then = look.map(|l| Look::new(self.sessions + sessions, l.planned, l.of));
        then.map_or(1.0 - self.situation.confidence, |l| l.level)
    }

    /// The chances after a design, at that level.
    pub fn chances(&self, design: &Design, look: Option<Look>, seed: u64) -> Vec<Chance> {
        let mut situation = self.situation.clone();
        if look.is_some() {
            situation.confidence = 1.0 - self.level(design.sessions, look);
            situation.declared = declared_half_widths(&self.sources, situation.antennas, situation.confidence, seed);
        }
        situation.chances(design, &self.asked, &self.possible, seed, 0)
    }

    /// What a design takes, all its sessions together.
    pub fn minutes(&self, design: &Design, config: &Config) -> f64 {
        let habit = Habit { mountings: design.mountings, readings: design.readings };
        habit.minutes(design.sessions, self.antennas, self.with_reference, self.meters, &config.effort)
    }

    /// Ways to spend so many minutes, likeliest to settle first.
    pub fn alternatives(
        &self,
        minutes: f64,
        look: Option<Look>,
        config: &Config,
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
                let chances = self.chances(&design, look, seed);
                done();
                let usual = (mountings, readings) == (self.mountings, self.readings);
                let level = self.level(sessions, look);
                Some(Alternative { minutes: one * sessions as f64, design, level, chances, usual })
            })
            .collect();
        // those that come within Monte Carlo error of each other: the one that takes fewer minutes first
        let key = |a: &Alternative| ((a.mean() * 25.0).round() as i64, -(a.minutes.round() as i64));
        out.sort_by_key(|a| std::cmp::Reverse(key(a)));
        out
    }

    /// What each pair's interval keeps however often one measures.
    pub fn lasting(&self) -> Vec<f64> {
        let p = self.situation.antennas;
        self.asked.iter().map(|a| self.situation.declared[a.first * p + a.second]).collect()
    }

    pub fn planned(&self, target: &Target, config: &Config) -> Vec<PlannedPair> {
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
