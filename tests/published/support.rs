//! What several of the outside checks need: reference files, mountings from raw values, and the
//! largest disagreement seen.

use std::fmt::Display;
use std::path::PathBuf;

use daylight::analysis::antennas::result::SetResult;
use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::sets::{Set, sets_of};
use daylight::analysis::antennas::{Choice, analyse};
use daylight::montecarlo::simultaneous::SetFit;
use daylight::season::Season;
use daylight::stats::mixed::{Layout, MountingSummary};

/// The largest of many disagreements, and where it was seen.
#[derive(Debug, Default)]
pub struct Worst {
    size: f64,
    place: String,
}

impl Worst {
    /// Takes note of a disagreement; one that is not a number counts as infinite.
    pub fn see(&mut self, size: f64, place: impl Display) {
        let size = if size.is_nan() { f64::INFINITY } else { size };
        if size >= self.size {
            *self = Worst { size, place: place.to_string() };
        }
    }

    /// Takes note of |got − wanted| over |wanted|; of |got| where 0 is wanted.
    pub fn see_relative(&mut self, got: f64, wanted: f64, place: impl Display) {
        self.see(relative(got, wanted), format!("{place}: {got} instead of {wanted}"));
    }

    /// Fails where the largest disagreement is above `limit`; prints it else.
    pub fn is_below(&self, limit: f64, what: &str) {
        assert!(!self.place.is_empty(), "{what}: nothing was compared");
        assert!(self.size <= limit, "{what}: {:.2e} is above {limit:.0e} at {}", self.size, self.place);
        println!("{what}: {:.1e} at most, {limit:.0e} allowed ({})", self.size, self.place);
    }
}

/// |got − wanted| over |wanted|; |got| where 0 is wanted.
pub fn relative(got: f64, wanted: f64) -> f64 {
    (got - wanted).abs() / if wanted == 0.0 { 1.0 } else { wanted.abs() }
}

/// Fails where `got` is not `wanted` to that relative tolerance.
pub fn close(got: f64, wanted: f64, tolerance: f64, what: &str) {
    let off = relative(got, wanted);
    assert!(off <= tolerance, "{what}: {got} instead of {wanted}, off by {off:.1e}");
}

/// The project's root joined with `path`.
pub fn at_root(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Rows of a CSV file, its cells as text in the order of the columns asked for.
pub fn columns<const N: usize>(path: &str, names: [&str; N]) -> Vec<[String; N]> {
    let mut reader = csv::Reader::from_path(at_root(path)).unwrap();
    let header = reader.headers().unwrap().clone();
    let places = names.map(|n| header.iter().position(|h| h == n).unwrap());
    reader.records().map(|row| row.map(|row| places.map(|i| row[i].to_string())).unwrap()).collect()
}

/// A JSON file.
pub fn json(path: &str) -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(at_root(path)).unwrap()).unwrap()
}

/// Place of a name among those seen so far, where a new one goes to the end.
pub fn number(name: &str, seen: &mut Vec<String>) -> usize {
    seen.iter().position(|s| s == name).unwrap_or_else(|| {
        seen.push(name.to_string());
        seen.len() - 1
    })
}

/// One mounting from its readings, mean first and then squares about it.
pub fn mounting(session: usize, antenna: usize, values: &[f64]) -> MountingSummary {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let sum_of_squares = values.iter().map(|v| (v - mean).powi(2)).sum();
    MountingSummary { session, antenna, readings: n, df: n - 1.0, mean, sum_of_squares }
}

/// A one-way layout: each value is a session of its own, so nothing is shared between values.
pub fn one_way(groups: &[Vec<f64>]) -> Vec<MountingSummary> {
    let values = groups.iter().enumerate().flat_map(|(group, values)| values.iter().map(move |&v| (group, v)));
    values.enumerate().map(|(session, (group, value))| mounting(session, group, &[value])).collect()
}

/// A published data set of `datasets/published`.
pub fn published(name: &str) -> Season {
    Season::load(&at_root("datasets/published").join(name)).unwrap()
}

/// The only set of a published data set.
pub fn only_set(name: &str) -> Set {
    let season = published(name);
    let (mut sets, ordinal) = sets_of(&season.readings.frame, &season.config).unwrap();
    assert!(sets.len() == 1 && ordinal.is_empty(), "{name}");
    sets.remove(0)
}

/// A published data set, fitted with all its pairs, from its file; nothing known of display rounding.
pub fn fitted(name: &str) -> SetFit {
    let set = only_set(name);
    let (layout, data) = Layout::new(set.antennas.len(), &set.mountings).unwrap();
    SetFit::new(layout, &data, 0.0, 0.95).unwrap()
}

/// The answer to a published data set, from its file: what `daylight antennas` prints from.
pub fn answer(name: &str, trials: usize) -> SetResult {
    let options = Options { confidence: 0.95, seed: 1, trials: Some(trials) };
    let mut result = analyse(&published(name), &Choice::default(), &options, &|| ()).unwrap();
    assert_eq!(result.sets.len(), 1, "{name}");
    result.sets.remove(0)
}
