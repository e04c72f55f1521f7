//! Which antennas are apart, which are inside the noise, and which this log cannot compare.

pub mod intervals;
pub mod misfits;
pub mod next;
pub mod overall;
pub mod ranks;
pub mod readability;
pub mod result;
pub mod set_analysis;
pub mod sets;
pub mod shown;
pub mod sources;

use crate::analysis::meters::correction;
use polars::prelude::{DataFrame, PolarsResult, StringChunked};
use rayon::prelude::*;

use crate::season::Season;
use crate::season::finding::{Finding, Place, Severity};
use result::Antennas;
use set_analysis::{Options, SetAnalysis};

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

/// The most antennas a set may have.
const MOST_ANTENNAS: usize = 100;

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
    let config = &season.config;
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
    // typing slips are looked for in what was written, not in what a correction made of it
    let mut read =
        if corrected.corrections.is_empty() { sets.clone() } else { sets::sets_of(&season.readings.frame, config)?.0 };
    read.retain(|set| choice.takes(&set.quantity.name, &set.band, &set.meter));
    findings.extend(misfits::misfits(&season.readings.frame, &read)?);
    findings.extend(corrected.findings.iter().cloned());
    findings.extend(too_many(&sets));
    // collected in the sets' order, each from streams of its own: the same on any number of threads
    let analyses: Vec<SetAnalysis> = sets
        .par_iter()
        .filter(|set| set.antennas.len() <= MOST_ANTENNAS)
        .filter_map(|set| {
            let stream = number.iter().position(|k| *k == key(set))?;
            set_analysis::analyse(set, config, options, stream as u64, done)
        })
        .collect();
    let ordinal: Vec<_> =
        ordinal.par_iter().map(|(number, set)| readability::analyse(set, options, *number as u64)).collect();
    let overall = overall::ranking(&analyses, config, options.confidence);
    let correlations = overall::correlations(&analyses, options.confidence);
    let sets: Vec<_> = analyses.into_iter().map(|a| a.result).collect();
    let numeric: f64 = sets.iter().flat_map(|s| &s.antennas).map(|a| a.readings).sum();
    let reports: usize = ordinal.iter().flat_map(|s| &s.antennas).map(|a| a.reports).sum();
    let readings = numeric.round() as usize + reports;
    findings.extend(impossible_reflections(&sets));
    findings.extend(contradicted_sources(&sets));
    Ok(Antennas {
        season: season.title.clone(),
        confidence: options.confidence,
        seed: options.seed,
        asked,
        trials: sets.iter().map(|s| s.trials).max().unwrap_or(0),
        next: next::measure_next(&sets, &ordinal, config.reference.as_deref()),
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

/// Sets of more antennas than can be compared in a time anyone waits for.
fn too_many(sets: &[sets::Set]) -> Vec<Finding> {
    let large = sets.iter().filter(|s| s.antennas.len() > MOST_ANTENNAS);
    large
        .map(|s| Finding {
            severity: Severity::Error,
            place: Place { file: "readings".into(), line: None, column: Some("antenna".into()) },
            what: format!(
                "{} antennas in one set ({}), where at most {MOST_ANTENNAS} can be compared at once",
                s.antennas.len(),
                result::label(&s.quantity.name, &s.band, &s.meter)
            ),
            why: "the work grows with the cube of their number".into(),
            action: "the set is not analysed; is each name an antenna, and not a reading's number or a date?".into(),
        })
        .collect()
}

/// |Γ| of 1 or more after the correction for line loss: more comes back than was sent.
fn impossible_reflections(sets: &[result::SetResult]) -> Vec<Finding> {
    let mut out = vec![];
    for set in sets.iter().filter(|s| s.quantity.is_reflection() && s.line_factor > 1.0) {
        for antenna in set.antennas.iter().filter(|a| a.estimate >= 1.0) {
            out.push(Finding {
                severity: Severity::Warning,
                place: Place { file: "season.toml".into(), line: None, column: Some("line_loss_db".into()) },
                what: format!(
                    "{} on {}: corrected for the declared line loss, more power comes back from {} than was sent",
                    set.meter, set.band, antenna.antenna
                ),
                why: "no passive antenna does that: the declared loss, or the reading, is too high".into(),
                action: "it is shown at the end of the SWR scale; check the line's loss".into(),
            });
        }
    }
    out
}

/// Declared sources at a level the log shows, larger than all the scatter seen there allows.
fn contradicted_sources(sets: &[result::SetResult]) -> Vec<Finding> {
    use crate::stats::mixed::LevelState;
    use sources::Treatment;
    use statrs::distribution::{ChiSquared, ContinuousCDF};
    let mut out: Vec<Finding> = vec![];
    for set in sets {
        for source in set.sources.iter().filter(|s| s.treatment == Treatment::HeldByData) {
            let Some(level) = source.scope.level() else { continue };
            let component = &set.components[level as usize];
            // a merged level's scatter sits in the level that holds it
            let seen = match component.state {
                LevelState::MergedInto(other) => &set.components[other as usize],
                _ => component,
            };
            let (Some(sd), df) = (seen.sd, seen.df.unwrap_or(1.0).max(1.0)) else { continue };
            let declared = source.standard.iter().copied().fold(0.0, f64::max);
            let upper = ChiSquared::new(df).map_or(f64::INFINITY, |c| sd * (df / c.inverse_cdf(0.025)).sqrt());
            if sd > 0.0 && declared > upper {
                out.push(Finding {
                    severity: Severity::Warning,
                    place: Place { file: "season.toml".into(), line: None, column: Some("[[source]]".into()) },
                    what: format!(
                        "`{}` is declared larger ({declared:.2}) than the scatter this log shows between {}s in {} (at most {upper:.2})",
                        source.name,
                        level.name(),
                        set.label()
                    ),
                    why: "the log replicates this level, so its own scatter is used; the declared size may be wrong elsewhere too".into(),
                    action: "look again at what was declared".into(),
                });
            }
        }
    }
    out
}
