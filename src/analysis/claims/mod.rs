//! Does each antenna meet its maker's claims? Every claim against the absolute result, with all that does not
//! cancel there.

pub mod absolute;
pub mod at_limit;
pub mod at_reading;
pub mod errors;
pub mod result;
pub mod route;
pub mod shift;
pub mod verdict;

use polars::prelude::{DataFrame, PolarsResult};
use rayon::prelude::*;

use crate::analysis::antennas::fitted::FittedSet;
use crate::analysis::antennas::set_analysis::Options;
use crate::analysis::antennas::sets::{Set, sets_of};
use crate::analysis::audit;
use crate::analysis::audit::log::MOST_ANTENNAS;
use crate::analysis::looks;
use crate::analysis::meters::correction;
use crate::analysis::next::Questions;
use crate::analysis::next::session::Habit;
use crate::radio::quantity::{Better, Quantity, Scale};
use crate::season::Season;
use crate::season::config::{self, Config, Known};
use crate::season::finding::Finding;
use crate::stats::conformity::Limits;
use absolute::Absolute;
use result::{Claim, Claims, Route, Unheld, Verdict};
use route::Draws;
use verdict::{Origin, Rule};

/// The most trials that a small risk by itself asks for.
const MOST_TRIALS: usize = 1_000_000;

/// Trials, where none are asked for: they settle a risk of 2.5 % to ± 0.1 %.
const TRIALS: usize = 40_000;

/// Name of the claim on an antenna's gain; no meter reads it.
pub const GAIN: &str = "gain_dbi";

/// A set with its number among all of the season's, which picks its random streams.
struct Numbered<'a> {
    set: &'a Set,
    number: usize,
    /// `None` where the set could not be fitted, or is not analysed.
    fitted: Option<FittedSet>,
}

/// Checks every claim of a season. `risk` is the chance allowed of being wrong about a claim. `done` is told,
/// from any thread, of every claim that is decided.
///
/// The result depends on the season and the options alone, not on the number of threads.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn check(season: &Season, options: &Options, risk: f64, done: &(dyn Fn() + Sync)) -> PolarsResult<Claims> {
    check_beside(season, options, risk, audit::beside_verdicts(season)?, done)
}

/// The same with what the audit's rules found, where that is known already.
///
/// # Errors
/// As [`check`].
pub fn check_beside(
    season: &Season,
    options: &Options,
    risk: f64,
    beside: Vec<Finding>,
    done: &(dyn Fn() + Sync),
) -> PolarsResult<Claims> {
    let config = &season.config;
    let look = looks::look(season, risk)?;
    let risk = look.map_or(risk, |l| l.level);
    let corrected = correction::corrected(season)?;
    let (mut sets, _) = sets_of(&corrected.frame, config)?;
    corrected.attach(&mut sets);
    let claims = check_sets(config, &sets, read_where(&season.readings.frame)?, options, risk, done);
    let mut findings = season.readings.findings.clone();
    let mut questions = Questions::new(config, Habit::of(&sets));
    questions.claims(&claims);
    let of_claims: Vec<Set> = sets.into_iter().filter(|set| is_claimed(config, set)).collect();
    findings.extend(audit::beside_sets(beside, &of_claims));
    findings.extend(corrected.findings);
    Ok(Claims {
        season: season.title.clone(),
        confidence: options.confidence,
        risk,
        look,
        seed: options.seed,
        trials: trials(options, risk),
        claims,
        next: questions.steps(),
        findings,
        assumptions: season.assumptions.clone(),
        left_out: season.readings.left_out.iter().map(|l| (l.reason.clone(), l.rows)).collect(),
    })
}

/// The claims of a season by its sets; `read` holds the antenna and band of every reading, each pair once.
pub fn check_sets(
    config: &Config,
    sets: &[Set],
    read: Vec<(String, String)>,
    options: &Options,
    risk: f64,
    done: &(dyn Fn() + Sync),
) -> Vec<Claim> {
    let draws = Draws { seed: options.seed, trials: trials(options, risk) };
    let numbered = sets
        .par_iter()
        .enumerate()
        .filter(|(_, set)| is_claimed(config, set))
        .map(|(number, set)| {
            let fitted = (set.antennas.len() <= MOST_ANTENNAS).then(|| FittedSet::new(set, config, options.confidence));
            Numbered { set, number, fitted: fitted.flatten() }
        })
        .collect();
    let log = Log { read, sets: numbered };
    asked(config, &log)
        .par_iter()
        .map(|one| {
            let claim = decide(one, config, &log, draws, risk);
            done();
            claim
        })
        .collect()
}

/// Trials a result: as many as were asked for, but never so few that a quantile is left to chance (twenty
/// beyond it where two limits and two meters share the risk), unless that takes more than [`MOST_TRIALS`].
fn trials(options: &Options, risk: f64) -> usize {
    let least = (20.0 / (risk / 4.0)).ceil() as usize;
    options.trials.unwrap_or(TRIALS).max(least.min(MOST_TRIALS))
}

/// Whether some claim can be held against a set's readings.
fn is_claimed(config: &Config, set: &Set) -> bool {
    config.antennas.iter().flat_map(|a| &a.claims).any(|c| serves(&c.quantity, set))
}

/// The log, as claims need it.
struct Log<'a> {
    /// Antenna and band of every reading, each once.
    read: Vec<(String, String)>,
    sets: Vec<Numbered<'a>>,
}

/// One claim on one band, before it is decided.
struct Asked<'a> {
    antenna: &'a config::Antenna,
    claim: &'a config::Claim,
    band: String,
    quantity: Quantity,
    number: usize,
}

/// Antenna and band of every reading, each pair once, in order.
fn read_where(frame: &DataFrame) -> PolarsResult<Vec<(String, String)>> {
    let (antenna, band) = (frame.column("antenna")?.str()?, frame.column("band")?.str()?);
    let names = antenna.iter().zip(band.iter());
    let mut pairs: Vec<(String, String)> =
        names.map(|(a, b)| (a.unwrap_or_default().to_string(), b.unwrap_or_default().to_string())).collect();
    pairs.sort();
    pairs.dedup();
    Ok(pairs)
}

/// Whether readings of a set can be held against a claim on a quantity. SWR, return loss and |Γ| are one thing
/// under three names.
fn serves(claimed: &str, set: &Set) -> bool {
    match claimed {
        GAIN => set.quantity.name == "field_strength",
        _ => set.quantity.name == claimed || is_reflection(claimed) && set.quantity.is_reflection(),
    }
}

fn is_reflection(name: &str) -> bool {
    crate::radio::quantity::built_in(name).is_some_and(|q| q.is_reflection())
}

/// The quantity a claim is about.
fn quantity(claimed: &str, config: &Config) -> Option<Quantity> {
    if claimed == GAIN {
        let unit = "dBi".to_string();
        return Some(Quantity { name: GAIN.into(), unit, scale: Scale::AsRead, better: Better::Higher });
    }
    config.quantity(claimed)
}

/// Every claim on every band it is made for; one without bands is made for all of the season's.
fn asked<'a>(config: &'a Config, log: &Log) -> Vec<Asked<'a>> {
    let mut all: Vec<String> = config.bands.iter().map(|b| b.name.clone()).collect();
    if all.is_empty() {
        all = log.read.iter().map(|(_, band)| band.clone()).collect();
        all.sort();
        all.dedup();
    }
    let mut out = vec![];
    for antenna in &config.antennas {
        for claim in &antenna.claims {
            let Some(quantity) = quantity(&claim.quantity, config) else { continue };
            let bands = if claim.bands.is_empty() { &all } else { &claim.bands };
            for band in bands {
                out.push(Asked { antenna, claim, band: band.clone(), quantity: quantity.clone(), number: out.len() });
            }
        }
    }
    out
}

/// The limits of a claim on the analysis scale.
pub fn limits_of(claim: &Claim) -> Limits {
    limits(claim.at_least, claim.at_most, claim.quantity.scale)
}

/// Limits on the analysis scale, where a return loss turns over.
fn limits(at_least: Option<f64>, at_most: Option<f64>, scale: Scale) -> Limits {
    let low = at_least.and_then(|x| scale.to_analysis(x));
    let high = at_most.and_then(|x| scale.to_analysis(x));
    let (low, high) = if scale == Scale::ReflectionFromReturnLoss { (high, low) } else { (low, high) };
    Limits { low: low.unwrap_or(f64::NEG_INFINITY), high: high.unwrap_or(f64::INFINITY) }
}

fn decide(asked: &Asked, config: &Config, log: &Log, draws: Draws, risk: f64) -> Claim {
    let mut claim = Claim {
        antenna: asked.antenna.name.clone(),
        quantity: asked.quantity.clone(),
        band: asked.band.clone(),
        at_most: asked.claim.at_most,
        at_least: asked.claim.at_least,
        line: asked.claim.line,
        verdict: Verdict::NotShown,
        held: vec![],
        best: None,
        disagree: None,
        unheld: None,
    };
    match values(asked, config, log, draws) {
        Ok(values) => {
            let limits = limits_of(&claim);
            let rule = Rule { limits, risk, meters: values.len(), seed: draws.seed };
            claim.held = values.into_par_iter().map(|(value, origin)| verdict::hold(&value, origin, &rule)).collect();
            let overall = verdict::overall(&claim.held);
            (claim.verdict, claim.best, claim.disagree) = (overall.verdict, overall.best, overall.disagree);
        }
        Err(reason) => claim.unheld = Some(reason),
    }
    claim
}

/// Every result that can be held against a claim; or why there is none.
fn values(asked: &Asked, config: &Config, log: &Log, draws: Draws) -> Result<Vec<(Absolute, Origin)>, Unheld> {
    let antenna = &asked.antenna.name;
    if asked.quantity.scale == Scale::Ordinal {
        return Err(Unheld::Grades);
    }
    if asked.claim.quantity == GAIN {
        return gains(asked, config, log, draws);
    }
    let here = |n: &&Numbered| serves(&asked.claim.quantity, n.set) && n.set.band == asked.band;
    let own: Vec<(&Numbered, usize)> = log
        .sets
        .iter()
        .filter(here)
        .filter_map(|n| n.set.antennas.iter().position(|a| a == antenna).map(|a| (n, a)))
        .collect();
    if own.is_empty() {
        return Err(unmeasured(asked, config, log));
    }
    let value = |&(numbered, a): &(&Numbered, usize)| {
        let fitted = numbered.fitted.as_ref()?;
        let value = route::level(fitted, a, draws, numbered.number)?;
        let route = Route::Level { quantity: numbered.set.quantity.name.clone() };
        Some((value, origin(numbered, fitted, a, route)))
    };
    let values: Vec<(Absolute, Origin)> = own.par_iter().filter_map(value).collect();
    if !values.is_empty() {
        return Ok(values);
    }
    if own.iter().all(|(n, _)| n.set.antennas.len() > MOST_ANTENNAS) {
        return Err(Unheld::TooManyAntennas);
    }
    Err(Unheld::SpreadUnknown { meters: own.iter().map(|(n, _)| n.set.meter.clone()).collect() })
}

fn origin(numbered: &Numbered, fitted: &FittedSet, antenna: usize, route: Route) -> Origin {
    Origin {
        meter: Some(numbered.set.meter.clone()),
        route,
        visits: fitted.layout.visits_of(antenna),
        sessions: numbered.set.sessions.clone(),
        task: route::task(numbered.number, antenna),
    }
}

/// Why there is no reading to hold a claim against.
fn unmeasured(asked: &Asked, config: &Config, log: &Log) -> Unheld {
    let antenna = &asked.antenna.name;
    let read = |(a, _): &&(String, String)| !config.is_load(a);
    if !log.read.iter().filter(read).any(|(_, band)| *band == asked.band) {
        return Unheld::BandNeverMeasured;
    }
    if !log.read.iter().any(|(a, _)| a == antenna) {
        return Unheld::AntennaNeverMeasured;
    }
    if !log.read.iter().any(|(a, band)| a == antenna && *band == asked.band) {
        return Unheld::AntennaNotOnBand;
    }
    Unheld::QuantityNeverMeasured
}

/// An antenna's gain: as declared where the season knows it; else by its field strength against that of the
/// reference antenna, if that one's gain is known, or of the first antenna whose gain is. The choice looks
/// at no reading's value.
fn gains(asked: &Asked, config: &Config, log: &Log, draws: Draws) -> Result<Vec<(Absolute, Origin)>, Unheld> {
    let name = &asked.antenna.name;
    if let Some(&known) = asked.antenna.gain_dbi.get(&asked.band) {
        // behind the streams of all sets
        let task = route::task(4000 + asked.number % 96, 0);
        let origin = Origin { meter: None, route: Route::Declared, visits: 0, sessions: vec![], task };
        return Ok(vec![(route::declared_gain(known, draws, task), origin)]);
    }
    let here: Vec<&Numbered> =
        log.sets.iter().filter(|n| n.set.quantity.name == "field_strength" && n.set.band == asked.band).collect();
    let own: Vec<(&Numbered, usize)> =
        here.iter().filter_map(|n| n.set.antennas.iter().position(|a| a == name).map(|a| (*n, a))).collect();
    let known = known_gains(config, &asked.band);
    if known.is_empty() {
        return Err(Unheld::NoKnownGain);
    }
    if own.is_empty() {
        return Err(unmeasured(asked, config, log));
    }
    let mut reason = Unheld::ReferenceNotMeasured { reference: known[0].0.clone() };
    let mut values = vec![];
    for (numbered, a) in own {
        let place = |name: &String| numbered.set.antennas.iter().position(|x| x == name);
        let Some((reference, r, gain)) = known.iter().find_map(|(name, gain)| Some((name, place(name)?, *gain))) else {
            continue;
        };
        let Some(fitted) = &numbered.fitted else {
            reason = Unheld::TooManyAntennas;
            continue;
        };
        let Some(value) = route::gain(fitted, a, r, gain, draws, numbered.number) else {
            reason = Unheld::NotComparable { reference: reference.clone() };
            continue;
        };
        let route = Route::Gain { reference: reference.clone(), known: gain };
        values.push((value, origin(numbered, fitted, a, route)));
    }
    if values.is_empty() { Err(reason) } else { Ok(values) }
}

/// Antennas of known gain on a band, the reference antenna first.
fn known_gains(config: &Config, band: &str) -> Vec<(String, Known)> {
    let is_reference = |a: &config::Antenna| config.reference.as_deref() == Some(a.name.as_str());
    let mut known: Vec<(&config::Antenna, Known)> =
        config.antennas.iter().filter_map(|a| a.gain_dbi.get(band).map(|g| (a, *g))).collect();
    known.sort_by_key(|(a, _)| !is_reference(a));
    known.into_iter().map(|(a, g)| (a.name.clone(), g)).collect()
}
