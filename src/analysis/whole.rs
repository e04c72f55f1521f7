//! Every question about a season at once: what its page shows.

use polars::prelude::PolarsResult;

use super::antennas::result::Antennas;
use super::antennas::set_analysis::Options;
use super::antennas::{self, Choice};
use super::audit::{self, Audit};
use super::claims::{self, result::Claims};
use super::meters::{self, result::Meters};
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
}

/// Asks every question; `risk` is the chance allowed of a wrong verdict on a claim. `done` is told, from any
/// thread, of every piece of work that ends.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn whole(season: &Season, options: &Options, risk: f64, done: &(dyn Fn() + Sync)) -> PolarsResult<Whole> {
    let of_meters = meters::Options { confidence: options.confidence, seed: options.seed, shuffles: meters::SHUFFLES };
    let all = Choice::default();
    let (audit, beside) = audit::audited(season)?;
    let of_antennas = || antennas::analyse_beside(season, &all, options, beside.clone(), done);
    let of_claims = || claims::check_beside(season, options, risk, beside.clone(), done);
    let of_pairs = || meters::analyse_beside(season, &all, &of_meters, beside.clone());
    let ((antennas, claims), meters) = rayon::join(|| rayon::join(of_antennas, of_claims), of_pairs);
    Ok(Whole { antennas: antennas?, meters: meters?, claims: claims?, audit })
}
