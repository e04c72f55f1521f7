//! Which antennas are apart, which are inside the noise, and which this log cannot compare.

pub mod correlations;
pub mod fitted;
pub mod intervals;
mod moduli;
pub mod overall;
pub mod ranks;
pub mod readability;
pub mod result;
pub mod set_analysis;
pub mod sets;
pub mod shares;
pub mod shown;
pub mod sources;
pub mod worth;

use polars::prelude::{DataFrame, PolarsResult, StringChunked};
use rayon::prelude::*;

use super::audit;
use super::audit::log::MOST_ANTENNAS;
use super::looks;
use super::meters::correction;
use super::next::Questions;
use super::next::session::Habit;
use crate::season::Season;
use crate::season::finding::{Finding, Stake};
use result::Antennas;
use set_analysis::{Begun, Options, SetAnalysis};

/// Which sets are asked about: those that match every name given.
#[derive(Debug, Clone, Default)]
pub struct Choice {
    /// Quantity.
    pub quantity: Option<String>,
    /// Band.
    pub band: Option<String>,
    /// Meter.
    pub meter: Option<String>,
}

impl Choice {
    /// Whether nothing is left aside.
    fn is_all(&self) -> bool {
        self.quantity.is_none() && self.band.is_none() && self.meter.is_none()
    }

    fn takes(&self, quantity: &str, band: &str, meter: &str) -> bool {
        let fits = |wanted: &Option<String>, name: &str| wanted.as_ref().is_none_or(|w| w == name);
        fits(&self.quantity, quantity) && fits(&self.band, band) && fits(&self.meter, meter)
    }
}

/// Analyses a season. `done` is told, from any thread, of every chunk of replays that ends.
///
/// The result depends on the season, the choice and the options alone, not on the number of threads.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn analyse(
    season: &Season,
    choice: &Choice,
    options: &Options,
    done: &(dyn Fn() + Sync),
) -> PolarsResult<Antennas> {
    analyse_beside(season, choice, options, audit::beside_verdicts(season)?, &[], done)
}

/// The same with what the audit's rules found and the replays they made, where that is known already.
///
/// # Errors
/// As [`analyse`].
pub fn analyse_beside(
    season: &Season,
    choice: &Choice,
    options: &Options,
    beside: Vec<Finding>,
    begun: &[Begun],
    done: &(dyn Fn() + Sync),
) -> PolarsResult<Antennas> {
    let config = &season.config;
    let look = looks::look(season, 1.0 - options.confidence)?;
    let options = &Options { confidence: look.map_or(options.confidence, |l| 1.0 - l.level), ..*options };
    let corrected = correction::corrected(season)?;
    let (mut sets, ordinal) = sets::sets_of(&corrected.frame, config)?;
    corrected.attach(&mut sets);
    // numbered before the choice, so that a set's random streams don't depend on it
    let number: Vec<(String, String, String)> = sets.iter().map(key).collect();
    sets.retain(|set| choice.takes(&set.quantity.name, &set.band, &set.meter));
    let mut ordinal: Vec<(usize, sets::OrdinalSet)> = ordinal.into_iter().enumerate().collect();
    ordinal.retain(|(_, set)| choice.takes(&set.quantity.name, &set.band, &set.meter));
    let asked = sets.len() + ordinal.len();
    let mut findings = season.readings.findings.clone();
    let wanted = |s: &Stake| {
        let fits =
            |wanted: &Option<String>, name: &Option<String>| wanted.is_none() || name.is_none() || wanted == name;
        fits(&choice.quantity, &s.quantity) && fits(&choice.band, &s.band) && fits(&choice.meter, &s.meter)
    };
    let beside = beside.into_iter();
    findings.extend(beside.filter(|f| f.endangers.is_empty() || f.endangers.iter().any(wanted)));
    findings.extend(corrected.findings.iter().cloned());
    // collected in the sets' order, each from streams of its own: the same on any number of threads
    let analyses: Vec<SetAnalysis> = sets
        .par_iter()
        .filter(|set| set.antennas.len() <= MOST_ANTENNAS)
        .filter_map(|set| {
            let stream = number.iter().position(|k| *k == key(set))?;
            set_analysis::analyse_begun(set, config, options, stream as u64, begun, done).map(|both| both.0)
        })
        .collect();
    let ordinal: Vec<_> =
        ordinal.par_iter().map(|(number, set)| readability::analyse(set, options, *number as u64)).collect();
    let overall = overall::ranking(&analyses, config, options);
    let correlations = correlations::correlations(&analyses, options.confidence);
    let results: Vec<_> = analyses.into_iter().map(|a| a.result).collect();
    let mut questions = Questions::new(config, Habit::of(&sets));
    questions.pairs(&results, &ordinal, options.confidence);
    let sets = results;
    let numeric: f64 = sets.iter().flat_map(|s| &s.antennas).map(|a| a.readings).sum();
    let reports: usize = ordinal.iter().flat_map(|s| &s.antennas).map(|a| a.reports).sum();
    let readings = numeric.round() as usize + reports;
    Ok(Antennas {
        season: season.title.clone(),
        confidence: options.confidence,
        look,
        seed: options.seed,
        asked,
        trials: sets.iter().map(|s| s.trials).max().unwrap_or(0),
        next: questions.steps(),
        sets,
        ordinal,
        overall,
        correlations,
        findings,
        assumptions: season.assumptions.clone(),
        left_out: if choice.is_all() {
            season.readings.left_out.iter().map(|l| (l.reason.clone(), l.rows)).collect()
        } else {
            vec![] // entries are counted over the season, not over what was chosen of it
        },
        readings,
        load_readings: load_readings(&season.readings.frame, season, choice)?,
    })
}

/// Readings of check loads among those asked about.
fn load_readings(frame: &DataFrame, season: &Season, choice: &Choice) -> PolarsResult<usize> {
    let text = |name: &str| frame.column(name).and_then(|c| c.str().cloned());
    let (antenna, quantity, band, meter) = (text("antenna")?, text("quantity")?, text("band")?, text("meter")?);
    let readings = frame.column("readings")?.f64()?;
    let mut sum = 0.0;
    for i in 0..frame.height() {
        let name = |column: &StringChunked| column.get(i).unwrap_or_default().to_string();
        if season.config.is_load(&name(&antenna)) && choice.takes(&name(&quantity), &name(&band), &name(&meter)) {
            sum += readings.get(i).unwrap_or(0.0);
        }
    }
    Ok(sum.round() as usize)
}

/// What names a set.
fn key(set: &sets::Set) -> (String, String, String) {
    (set.quantity.name.clone(), set.band.clone(), set.meter.clone())
}
