//! Every question about a season at once: what its page shows.

use polars::prelude::PolarsResult;

use super::antennas::result::Antennas;
use super::antennas::set_analysis::Options;
use super::antennas::{self, Choice};
use super::audit::{self, Audit, Audited};
use super::claims::{self, result::Claims};
use super::meters::{self, result::Meters};
use super::sweeps::{SweptBand, swept};
use crate::season::Season;

/// All answers.
#[derive(Debug)]
pub struct Whole {
    /// Which antennas are apart.
    pub antennas: Antennas,
    /// How far the meters read from each other.
    pub meters: Meters,
    /// Which claims are met.
    pub claims: Claims,
    /// What is wrong or weak in the log.
    pub audit: Audit,
    /// The curves swept about each band.
    pub sweeps: Vec<SweptBand>,
}

/// Asks every question; `risk` is the chance allowed of a wrong verdict on a claim. `done` is told, from any
/// thread, of every piece of work that ends.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn whole(season: &Season, options: &Options, risk: f64, done: &(dyn Fn() + Sync)) -> PolarsResult<Whole> {
    let of_meters = meters::Options { confidence: options.confidence, seed: options.seed, shuffles: meters::SHUFFLES };
    let all = Choice::default();
    let Audited { audit, beside, begun } = audit::audited(season)?;
    let of_antennas = || antennas::analyse_beside(season, &all, options, beside.clone(), &begun, done);
    let of_claims = || claims::check_beside(season, options, risk, beside.clone(), done);
    let of_pairs = || meters::analyse_beside(season, &all, &of_meters, beside.clone());
    let ((antennas, claims), meters) = rayon::join(|| rayon::join(of_antennas, of_claims), of_pairs);
    Ok(Whole { antennas: antennas?, meters: meters?, claims: claims?, audit, sweeps: swept(season) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_analysis_that_goes_on_from_the_audits_replays_says_what_one_by_itself_does() {
        let folder = tempfile::tempdir().unwrap();
        let mut toml =
            String::from("title = \"t\"\n[[leave_out]]\nsession = \"d5\"\nantenna = \"b\"\nreason = \"loose\"\n");
        toml += "[[source]]\nname = \"echoes\"\nquantity = \"field_strength\"\nshape = \"arcsine\"\nhalf_width = 0.4\nshared_by = \"antenna\"\n";
        let mut readings = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for (number, antenna) in ["a", "b", "c"].iter().enumerate() {
            toml += &format!("[[antenna]]\nname = \"{antenna}\"\n");
            for session in 1..=6 {
                for mounting in 1..=2 {
                    let x = number as f64 + 0.1 * f64::from((session * 3 + mounting * 2 + number as i32) % 5);
                    readings += &format!("d{session},{antenna},2 m,field,field_strength,{x:.1},{mounting}\n");
                }
            }
        }
        std::fs::write(folder.path().join("season.toml"), toml).unwrap();
        std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
        let season = Season::load(folder.path()).unwrap();
        let audited = audit::audited(&season).unwrap();
        assert_eq!(audited.begun.len(), 1, "the entry's set was replayed");
        // the audit's seed and confidence; and as many trials as the figures need, which is more than the audit made
        let options = Options { confidence: 0.95, seed: 1, trials: None };
        let whole = whole(&season, &options, 0.025, &|| ()).unwrap();
        let alone = antennas::analyse(&season, &Choice::default(), &options, &|| ()).unwrap();
        assert!(whole.antennas.trials > 2000);
        assert_eq!(format!("{:?}", whole.antennas.sets), format!("{:?}", alone.sets));
    }
}
