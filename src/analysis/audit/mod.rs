//! What is wrong or weak in this log: read as a sceptical colleague would, before any verdict rests on it.
//!
//! **How to add a rule.** One file in [`rules`], with one `pub const RULE: Rule`: its name, its group, what it
//! asks, the source it rests on, and a `check` from a [`Log`] to findings, with its test below it. Then one
//! line in [`rules::RULES`]. Nothing else: the text, the JSON, the order, and the exit status come from
//! the registry.
//!
//! **What a rule is given.** A [`Log`]: the season (`log.season`, `log.config()`), every reading as a plain
//! [`log::Row`] with file and line (`log.rows`), and the sets (`log.sets`), each with the rows of its mountings in
//! the order of `set.mountings`, and its fit (`log.sets[i].fit(log.config())`), made when a rule first asks and
//! then shared by all.
//!
//! **What it gives back.** Findings, best made by `log.finding(severity, &rows, what, why, action)`, which
//! points at all the lines and names the verdicts they enter, or by `log.finding_in_season(…)` for what a
//! declaration says; then `endangering(…)` where other verdicts are in doubt. Rule name and group are filled
//! in here. Severity: *error* where the log cannot stand as it is (exit status 1), *warning* where something is
//! likely wrong or weak, *note* where it is worth knowing.
//!
//! A rule with `beside_verdicts` also speaks in `daylight antennas`.

pub mod alarms;
pub mod edits;
pub mod levels;
pub mod log;
pub mod one_mounting;
pub mod rules;
pub mod stakes;
pub mod together;

use polars::prelude::PolarsResult;
use rayon::prelude::*;

use crate::analysis::antennas::set_analysis::Begun;
use crate::analysis::antennas::sets::Set;
use crate::analysis::next::session::Habit;
use crate::analysis::next::{Questions, Step};
use crate::season::Season;
use crate::season::finding::{Finding, Group, Severity, Stake};
pub use log::Log;
use log::LogSet;

/// One rule of the audit.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Its name, a few plain words.
    pub name: &'static str,
    /// The kind of trouble it looks for.
    pub group: Group,
    /// What it asks, in a sentence's part: "an SWR read with an |Z| that no antenna has together".
    pub asks: &'static str,
    /// Where it comes from: a standard, a paper, a handbook; "common practice, no source" where there is none.
    pub source: &'static str,
    /// Whether `daylight antennas` says what it finds, too.
    pub beside_verdicts: bool,
    /// Looks for it.
    pub check: fn(&Log) -> Vec<Finding>,
}

/// What the audit found.
#[derive(Debug)]
pub struct Audit {
    /// The season's title.
    pub season: String,
    /// Readings that count, of antennas and check loads.
    pub readings: usize,
    /// Sets of readings.
    pub sets: usize,
    /// Pairs of antennas over all sets: the verdicts there are.
    pub verdicts: usize,
    /// Findings: by group; then the worst, and what puts most verdicts in doubt, first.
    pub findings: Vec<Judged>,
    /// What to do next, what takes most out of doubt for its minutes first.
    pub next: Vec<Step>,
    /// Defaults that hold for want of a `season.toml`.
    pub assumptions: Vec<String>,
}

/// A finding, and how much hangs on it.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The finding.
    pub finding: Finding,
    /// Pairs of antennas, over all sets, whose verdict it puts in doubt.
    pub verdicts: usize,
}

impl Audit {
    /// Findings of a group.
    pub fn of(&self, group: Group) -> impl Iterator<Item = &Judged> {
        self.findings.iter().filter(move |j| j.finding.group == group)
    }

    /// Whether any finding is an error.
    pub fn has_error(&self) -> bool {
        self.findings.iter().any(|j| j.finding.severity == Severity::Error)
    }
}

/// Audits a season by all rules.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn audit(season: &Season) -> PolarsResult<Audit> {
    audited(season).map(|all| all.audit)
}

/// The audit, and what other questions need of it.
#[derive(Debug)]
pub struct Audited {
    /// The audit.
    pub audit: Audit,
    /// What [`beside_verdicts`] says.
    pub beside: Vec<Finding>,
    /// Replays that rules made, from which the analysis of the antennas can go on.
    pub begun: Vec<Begun>,
}

/// The audit with what other questions need of it, every rule being asked once.
///
/// # Errors
/// As [`audit`].
pub fn audited(season: &Season) -> PolarsResult<Audited> {
    let log = Log::new(season)?;
    let by_rules = check(&log, |_| true);
    let speaks = |f: &&Finding| rules::RULES.iter().any(|rule| rule.beside_verdicts && rule.name == f.rule);
    let beside: Vec<Finding> = by_rules.iter().filter(speaks).cloned().collect();
    let mut found = season.readings.findings.clone();
    found.extend(by_rules);
    let mut findings: Vec<Judged> = found
        .into_iter()
        .map(|finding| Judged { verdicts: stakes::verdicts(&log, &finding.endangers), finding })
        .collect();
    findings.sort_by(|a, b| {
        let key = |j: &Judged| (j.finding.group, j.finding.severity, std::cmp::Reverse(j.verdicts));
        key(a).cmp(&key(b)).then_with(|| a.finding.place.cmp(&b.finding.place))
    });
    let sets: Vec<Set> = log.sets.iter().map(|s| s.set.clone()).collect();
    let mut questions = Questions::new(&season.config, Habit::of(&sets));
    questions.findings(&findings.iter().map(|j| (&j.finding, j.verdicts)).collect::<Vec<_>>());
    let audit = Audit {
        next: questions.steps(),
        season: season.title.clone(),
        readings: log.rows.iter().map(|r| r.readings).sum::<f64>().round() as usize,
        sets: log.sets.len() + log.ordinal.len(),
        verdicts: stakes::all(&log),
        findings,
        assumptions: season.assumptions.clone(),
    };
    Ok(Audited { audit, beside, begun: log.sets.into_iter().filter_map(LogSet::into_begun).collect() })
}

/// What the rules that speak beside the verdicts find.
///
/// # Errors
/// As [`audit`].
pub fn beside_verdicts(season: &Season) -> PolarsResult<Vec<Finding>> {
    Ok(check(&Log::new(season)?, |rule| rule.beside_verdicts))
}

/// Those of [`beside_verdicts`] that put a verdict of these sets in doubt, or all verdicts.
pub fn beside_sets(beside: Vec<Finding>, sets: &[Set]) -> Vec<Finding> {
    let fits = |endangered: &Option<String>, name: &str| endangered.as_ref().is_none_or(|e| e == name);
    let of = |stake: &Stake, s: &Set| {
        fits(&stake.quantity, &s.quantity.name) && fits(&stake.band, &s.band) && fits(&stake.meter, &s.meter)
    };
    let touches = |f: &Finding| f.endangers.is_empty() || f.endangers.iter().any(|x| sets.iter().any(|s| of(x, s)));
    beside.into_iter().filter(touches).collect()
}

/// Runs the rules that are wanted, side by side; findings stand in the order of the registry.
fn check(log: &Log, wanted: impl Fn(&Rule) -> bool) -> Vec<Finding> {
    let wanted: Vec<&Rule> = rules::RULES.iter().copied().filter(|rule| wanted(rule)).collect();
    let found: Vec<Vec<Finding>> = wanted.par_iter().map(|rule| (rule.check)(log)).collect();
    let named = found
        .into_iter()
        .zip(wanted)
        .flat_map(|(findings, rule)| findings.into_iter().map(|f| Finding { rule: rule.name, group: rule.group, ..f }));
    named.collect()
}
