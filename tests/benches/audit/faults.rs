//! Faults, planted one at a time into a clean season, in sizes from hard to easy.
//!
//! To add one: a [`Fault`] in [`FAULTS`]. `plant` spoils a season and says which readings it spoiled (by
//! index); it was found if a finding of one of `rules` points at any of their lines, or, where it names
//! no reading (a whole session, a declaration), if any finding of those rules is there at all.

use daylight::montecarlo::stream::Stream;
use rand::RngExt;
use rand::seq::IndexedRandom;

use super::physical;
use super::season::{Reading, Simulated};
use super::statistical;

/// One kind of fault.
pub struct Fault {
    /// What it is, in a table's cell.
    pub name: &'static str,
    /// Its sizes, from hard to find to easy, and their unit in words.
    pub sizes: &'static [f64],
    /// Unit of the sizes.
    pub unit: &'static str,
    /// Names of the rules that may find it.
    pub rules: &'static [&'static str],
    /// Spoils the season.
    pub plant: fn(&mut Simulated, f64, &mut Stream) -> Vec<usize>,
}

/// Every kind of fault.
pub const FAULTS: &[&Fault] = &[
    &physical::IMPEDANCE,
    &physical::SWR_OF_IMPEDANCE,
    &physical::RESISTANCE,
    &physical::REFLECTED,
    &physical::FORWARD,
    &physical::SWAPPED_POWERS,
    &physical::FIELD_STEP,
    &physical::POWER_STEP,
    &physical::VOLTAGE,
    &physical::WEAK_ANTENNA,
    &physical::MILLIWATTS,
    &physical::COARSE,
    &physical::SHIFTED,
    &statistical::READING,
    &statistical::SWR,
    &statistical::MOUNTING,
    &statistical::VISIT,
    &statistical::REFERENCE,
    &statistical::SESSION,
    &statistical::BATTERY,
    &statistical::DRIFT,
    &statistical::POINT,
    &statistical::SWAPPED,
    &statistical::EXCHANGED,
    &statistical::COPIED,
    &statistical::TWICE,
    &statistical::HALVES,
];

/// A session drawn, by number.
pub fn pick_session(season: &Simulated, rng: &mut Stream) -> usize {
    rng.random_range(0..season.design.sessions)
}

/// A reading drawn from those that fit, by index.
pub fn pick(season: &Simulated, rng: &mut Stream, fits: impl Fn(&Reading) -> bool) -> usize {
    let all: Vec<usize> = (0..season.readings.len()).filter(|&i| fits(&season.readings[i])).collect();
    all.choose(rng).copied().unwrap_or_default()
}
