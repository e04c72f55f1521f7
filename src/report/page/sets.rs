//! Bands and their sets, as the page shows them.

use rayon::prelude::*;
use serde::Serialize;

use super::figure::{Figure, figure};
use super::matrix::Matrix;
use crate::analysis::antennas::result::{Antennas, OrdinalResult, PairResult, SetResult, Verdict, label};
use crate::analysis::sweeps::SweptBand;
use crate::radio::quantity::Better;
use crate::report::grid::Grid;
use crate::report::plot::PlotError;
use crate::report::plot::gallery::Picture;
use crate::report::plot::standing::standing;
use crate::report::plot::sweeps::Sweeps;
use crate::report::{number, pairs_text, set_text, sweeps_text};

/// A band and its sets.
#[derive(Debug, Clone, Serialize)]
pub struct Band {
    /// Its name.
    pub name: String,
    /// Its place among the bands, from 1.
    pub number: usize,
    /// Its sets.
    pub sets: Vec<Set>,
    /// What was swept about it, a meter each.
    pub sweeps: Vec<Swept>,
}

/// The sweeps of one meter about a band.
#[derive(Debug, Clone, Serialize)]
pub struct Swept {
    /// Their name.
    pub title: String,
    /// Their picture.
    pub figure: Option<Figure>,
    /// Where each antenna's SWR is least.
    pub grid: Grid,
}

/// One set.
#[derive(Debug, Clone, Serialize)]
pub struct Set {
    /// Its name.
    pub title: String,
    /// How many pairs are what.
    pub words: String,
    /// Its picture.
    pub figure: Option<Figure>,
    /// Its antennas.
    pub antennas: Grid,
    /// Its pairs in a square.
    pub matrix: Option<Matrix>,
    /// Its pairs one by one.
    pub pairs: Option<Grid>,
    /// What this log cannot compare, and what its figures rest on.
    pub notes: Vec<String>,
    /// Whether a script may fold it away at first.
    pub folded: bool,
}

/// Sets by band, in the order in which bands first occur.
pub fn bands(antennas: &Antennas, swept: &[SweptBand]) -> Result<Vec<Band>, PlotError> {
    let mut names: Vec<&str> = vec![];
    let all = antennas.sets.iter().map(|s| s.band.as_str()).chain(antennas.ordinal.iter().map(|s| s.band.as_str()));
    for band in all.chain(swept.iter().map(|s| s.band.as_str())) {
        if !names.contains(&band) {
            names.push(band);
        }
    }
    // what an antenna is for comes first, what says least by itself last
    let order = |s: &&SetResult| match s.quantity.name.as_str() {
        "field_strength" => 0,
        "swr" | "reflection" | "return_loss" => 1,
        _ if s.quantity.better != Better::Neither => 2,
        _ => 3,
    };
    names
        .par_iter()
        .enumerate()
        .map(|(i, name)| {
            let mut own: Vec<&SetResult> = antennas.sets.iter().filter(|s| s.band == *name).collect();
            own.sort_by_key(order);
            let sets: Result<Vec<Set>, PlotError> = own.par_iter().map(|s| set(s, antennas.confidence)).collect();
            let mut sets = sets?;
            sets.extend(antennas.ordinal.iter().filter(|s| s.band == *name).map(ordinal));
            sets.iter_mut().skip(1).for_each(|s| s.folded = true);
            let sweeps: Result<Vec<Swept>, PlotError> = swept.iter().filter(|s| s.band == *name).map(sweeps).collect();
            Ok(Band { name: name.to_string(), number: i + 1, sets, sweeps: sweeps? })
        })
        .collect()
}

fn set(s: &SetResult, confidence: f64) -> Result<Set, PlotError> {
    let zone = match s.matters {
        Some(_) => " The shaded zone holds differences too small to matter to you.",
        None => "",
    };
    let note = format!(
        "Each bar is the interval of that one comparison; the intervals of all pairs of the set hold at once.{zone}"
    );
    let mut antennas = set_text::antennas(s, confidence);
    antennas.title = String::new();
    let compared: Vec<&PairResult> = s.pairs.iter().filter(|p| p.verdict != Verdict::Unlinked).collect();
    let mut notes = pairs_text::unlinked_words(s, 10);
    notes.extend(set_text::rests_on(s));
    Ok(Set {
        title: s.label(),
        words: counts(s),
        figure: figure(&note, |look| standing(s, look).map(Picture::Rows))?,
        antennas,
        matrix: Matrix::new(s),
        pairs: (!compared.is_empty()).then(|| pairs_text::pair_table(s, &compared)),
        notes,
        folded: false,
    })
}

/// "Of 36 pairs 19 are apart and 17 inside the noise."
fn counts(s: &SetResult) -> String {
    counted(s.pairs.len(), |v| s.count(v))
}

fn counted(pairs: usize, count: impl Fn(Verdict) -> usize) -> String {
    let words = [
        (Verdict::Apart, "apart"),
        (Verdict::Even, "even"),
        (Verdict::Noise, "inside the noise"),
        (Verdict::Unlinked, "unlinked"),
    ];
    let said: Vec<String> =
        words.iter().map(|(v, w)| (count(*v), w)).filter(|(n, _)| *n > 0).map(|(n, w)| format!("{n} {w}")).collect();
    match pairs {
        0 => "One antenna: nothing to compare it with.".into(),
        n => format!("{}: {}.", number::plural(n, "pair", "pairs"), said.join(", ")),
    }
}

fn ordinal(s: &OrdinalResult) -> Set {
    let mut antennas = set_text::ordinal_antennas(s);
    antennas.title = String::new();
    Set {
        title: label(&s.quantity.name, &s.band, &s.meter),
        words: counted(s.pairs.len(), |v| s.pairs.iter().filter(|p| p.verdict == v).count()),
        figure: None,
        antennas,
        matrix: None,
        pairs: None,
        notes: set_text::ordinal_pairs(s),
        folded: false,
    }
}

fn sweeps(s: &SweptBand) -> Result<Swept, PlotError> {
    let note =
        "The mark on each line is where its SWR is least. As the meter read it: loss in the line is not taken out.";
    Ok(Swept {
        title: sweeps_text::title(s),
        figure: figure(note, |look| Some(Picture::Sweeps(Sweeps { swept: s, look })))?,
        grid: sweeps_text::table(s),
    })
}
