//! Each declared source held against the scatter seen: too large for it, too small for it, or seen nowhere.
//!
//! The estimate σ̂² of a component with ν degrees of freedom is taken as σ²·χ²_ν/ν, so σ lies within
//! σ̂·√(ν/χ²) of its two quantiles. A level estimated at zero bounds its variance by its standard error.
//! The risk of a false word is split over all comparisons made.
//!
//! A source that explains only part of its level's scatter is not contradicted: other causes live there
//! too. Only all sources of a level together can be too small for it, and then that is worth knowing, no
//! fault.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::super::Rule;
use super::super::log::{Log, LogSet};
use crate::analysis::antennas::fitted::scatter_of_a_reading;
use crate::analysis::antennas::sources::{Applied, SetSources, Treatment};
use crate::season::config::{Scope, Source};
use crate::season::finding::{Finding, Group, Severity, Stake};
use crate::stats::mixed::{Layout, Level, LevelState};

/// The rule.
pub const RULE: Rule = Rule {
    name: "declared sources",
    group: Group::WeakDesign,
    asks: "a declared source larger than the scatter seen at its level, all of a level's together smaller than it, or one that nothing here can show",
    source: "chi-squared limits of a variance component: Satterthwaite (1946), Biometrics Bulletin 2:110–114",
    beside_verdicts: true,
    check,
};

/// One-sided risk of each kind of word over the whole log.
const RISK: f64 = 0.025;

fn check(log: &Log) -> Vec<Finding> {
    let declared = &log.config().sources;
    let acting: Vec<Acting> = log.sets.iter().filter_map(|set| Acting::new(log, set)).collect();
    let comparisons: usize = acting.iter().map(|a| a.seen.iter().filter(|s| s.is_some()).count()).sum();
    let risk = RISK / comparisons.max(1) as f64;
    let mut out = vec![];
    for (number, source) in declared.iter().enumerate() {
        let on: Vec<&Acting> = acting.iter().filter(|a| a.source(number).is_some()).collect();
        if on.is_empty() {
            out.push(idle(log, source));
        } else if let Some(level) = source.shared_by.level() {
            out.extend(too_large(log, source, number, level, &on, risk));
            out.extend(nowhere(log, source, level, &on));
        }
    }
    let scopes = [Scope::Session, Scope::Visit, Scope::Mounting, Scope::Reading];
    out.extend(scopes.iter().filter_map(|&scope| too_small(log, scope, &acting, risk)));
    out
}

/// What one level of a set shows.
#[derive(Clone, Copy)]
struct Seen {
    /// Standard deviation on the analysis scale.
    sd: f64,
    /// Degrees of freedom of its square; none for one estimated at zero.
    df: Option<f64>,
    /// Standard error of its square.
    error: f64,
    /// Whether this level alone is in it.
    alone: bool,
}

impl Seen {
    /// The largest standard deviation it allows.
    fn upper(&self, risk: f64) -> f64 {
        match self.df {
            Some(df) => self.sd * (df / quantile(risk, df)).sqrt(),
            None => (normal_quantile(1.0 - risk) * self.error).sqrt(),
        }
    }

    /// The smallest.
    fn lower(&self, risk: f64) -> f64 {
        self.df.map_or(0.0, |df| self.sd * (df / quantile(1.0 - risk, df)).sqrt())
    }
}

fn quantile(probability: f64, df: f64) -> f64 {
    ChiSquared::new(df.max(1.0)).map_or(df, |c| c.inverse_cdf(probability))
}

fn normal_quantile(probability: f64) -> f64 {
    crate::stats::student_t::t_quantile(probability, f64::INFINITY)
}

/// A set, the sources declared for it, and what it shows of each level.
struct Acting<'a> {
    set: &'a LogSet,
    sources: Vec<(usize, Applied)>,
    seen: [Option<Seen>; 4],
}

impl<'a> Acting<'a> {
    fn new(log: &Log, set: &'a LogSet) -> Option<Acting<'a>> {
        let config = log.config();
        let numbers: Vec<usize> = (0..config.sources.len()).filter(|&k| acts_on(&config.sources[k], set)).collect();
        let Some(fit) = set.fit(config) else {
            // no scatter at any level: what is declared is all there is
            let (layout, _) = Layout::new(set.set.antennas.len(), &set.set.mountings)?;
            let mean = |antenna: usize| {
                let own = set.set.mountings.iter().filter(|m| m.antenna == antenna);
                let (sum, count) = own.fold((0.0, 0.0), |(sum, count), m| (sum + m.mean, count + 1.0));
                sum / count
            };
            let estimates: Vec<f64> = (0..set.set.antennas.len()).map(mean).collect();
            let all = SetSources::new(&set.set, &layout, config, &estimates, scatter_of_a_reading(&set.set)).applied;
            let sources = numbers.into_iter().zip(all.into_iter().filter(|a| !a.made)).collect();
            return Some(Acting { set, sources, seen: [None; 4] });
        };
        let states = fit.layout.states();
        let df = fit.inference.component_df();
        let seen = Level::ALL.map(|level| {
            let held = match states[level as usize] {
                LevelState::Seen => level,
                LevelState::MergedInto(other) => other,
                LevelState::Unseen => return None,
            };
            let k = held as usize;
            let alone = held == level && !states.contains(&LevelState::MergedInto(level));
            let (sd, error) = (fit.inference.components[k].sqrt(), fit.inference.component_errors[k]);
            (df[k].is_some() || error > 0.0).then_some(Seen { sd, df: df[k], error, alone })
        });
        let scatter = scatter_of_a_reading(&set.set);
        let all = SetSources::new(&set.set, &fit.layout, config, &fit.inference.estimates, scatter).applied;
        let sources = numbers.into_iter().zip(all.into_iter().filter(|a| !a.made)).collect();
        Some(Acting { set, sources, seen })
    }

    fn source(&self, number: usize) -> Option<&Applied> {
        self.sources.iter().find(|(n, _)| *n == number).map(|(_, applied)| applied)
    }

    /// Root sum of squares of what is declared at a scope, at the antenna where it is largest.
    fn declared(&self, scope: Scope) -> Option<f64> {
        let mine: Vec<&Applied> = self.sources.iter().map(|(_, a)| a).filter(|a| a.scope == scope).collect();
        let largest = |i: usize| mine.iter().map(|a| a.standard.get(i).map_or(0.0, |s| s * s)).sum::<f64>().sqrt();
        (!mine.is_empty()).then(|| (0..self.set.set.antennas.len()).map(largest).fold(0.0, f64::max))
    }
}

fn acts_on(source: &Source, set: &LogSet) -> bool {
    source.quantity == set.set.quantity.name
        && source.meter.as_ref().is_none_or(|m| *m == set.set.meter)
        && source.band.as_ref().is_none_or(|b| *b == set.set.band)
}

/// The verdicts of all sets a source acts on.
fn stake(source: &Source) -> Vec<Stake> {
    vec![Stake {
        quantity: Some(source.quantity.clone()),
        band: source.band.clone(),
        meter: source.meter.clone(),
        antennas: vec![],
        between: false,
    }]
}

/// "in SWR, 2 m, inline", "in 3 of 6 sets, the first SWR, 2 m, inline".
fn among(some: &[&Acting], of: usize) -> String {
    match some {
        [one] if of == 1 => format!("in {}", one.set.label()),
        [first, ..] => format!("in {} of {of} sets, the first {}", some.len(), first.set.label()),
        [] => String::new(),
    }
}

fn idle(log: &Log, source: &Source) -> Finding {
    log.finding_in_season(
        Severity::Warning,
        Some(source.line),
        format!("`{}` acts on no set of this log", source.name),
        "it is declared for readings that are not here, so it enters no interval",
        "look again at its quantity, meter and band",
    )
}

fn too_large(log: &Log, source: &Source, number: usize, level: Level, on: &[&Acting], risk: f64) -> Option<Finding> {
    let excess = |a: &Acting| {
        let applied = a.source(number).filter(|s| s.treatment == Treatment::HeldByData)?;
        let declared = applied.standard.iter().copied().fold(f64::INFINITY, f64::min);
        let upper = a.seen[level as usize]?.upper(risk);
        (declared > upper).then_some((declared, upper))
    };
    let some: Vec<&Acting> = on.iter().copied().filter(|a| excess(a).is_some()).collect();
    let (declared, upper) = excess(some.first()?)?;
    let what = format!(
        "`{}` is declared larger (standard {declared:.2}) than the scatter this log shows between {}s allows (at most {upper:.2}) {}",
        source.name,
        level.name(),
        among(&some, on.len())
    );
    let stakes = some.iter().map(|a| a.set.stake(&[])).collect();
    let why = "the log replicates this level, so its own scatter is used; the declared size may be wrong elsewhere too";
    let action = "look again at what was declared";
    Some(log.finding_in_season(Severity::Warning, Some(source.line), what, why, action).endangering(stakes))
}

fn nowhere(log: &Log, source: &Source, level: Level, on: &[&Acting]) -> Option<Finding> {
    on.iter().all(|a| a.seen[level as usize].is_none()).then(|| {
        let what = format!("`{}` is declared per {}, and no set shows that level", source.name, level.name());
        let why = "its size is taken on trust, and every interval it enters is as right as it is";
        let action = format!("measure so that {}s repeat an antenna, and the log will show it", level.name());
        log.finding_in_season(Severity::Note, Some(source.line), what, why, action).endangering(stake(source))
    })
}

fn too_small(log: &Log, scope: Scope, acting: &[Acting], risk: f64) -> Option<Finding> {
    let level = scope.level()?;
    let on: Vec<&Acting> = acting.iter().filter(|a| a.declared(scope).is_some()).collect();
    let short = |a: &Acting| {
        let seen = a.seen[level as usize].filter(|s| s.alone)?;
        let declared = a.declared(scope)?;
        (declared < seen.lower(risk)).then_some((declared, seen.sd))
    };
    let some: Vec<&Acting> = on.iter().copied().filter(|a| short(a).is_some()).collect();
    let first = some.first()?;
    let (declared, sd) = short(first)?;
    let sources = log.config().sources.iter().filter(|s| s.shared_by == scope && acts_on(s, first.set));
    let names: Vec<String> = sources.clone().map(|s| format!("`{}`", s.name)).collect();
    let line = sources.map(|s| s.line).next();
    let what = format!(
        "{} ({declared:.2}) {} far below what {}s scatter by ({sd:.2}) {}: something else moves {}s",
        names.join(" and "),
        if names.len() == 1 { "is" } else { "are together" },
        level.name(),
        among(&some, on.len()),
        level.name()
    );
    let why = "the verdicts use the scatter seen, so they stand; a budget made of declared sources alone would not";
    let action = "nothing to mend; if you know the cause, it can be removed or declared";
    let stakes = some.iter().map(|a| a.set.stake(&[])).collect();
    Some(log.finding_in_season(Severity::Note, line, what, why, action).endangering(stakes))
}
