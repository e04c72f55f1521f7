//! Declared sources of error on one set: which cancel between two antennas, which the log's own
//! scatter already holds, and which must be added because no repeat shows them.
//!
//! * season: one value for all, cancels in a difference, counts against a claim;
//! * antenna: stays put through every repeat, so no scatter shows it and no averaging removes it;
//!   always added. The tool makes two of its own: a coupler's directivity, and what is left of display
//!   rounding where the readings scatter too little to average it out;
//! * session, visit, mounting, reading: held by the data where the log shows that level; where it
//!   doesn't, the declared size is used.

mod drawn;
mod rounding;

use std::sync::OnceLock;

use super::sets::Set;
use crate::analysis::meters::correction::{SetCorrection, Step};
use crate::montecarlo::shape::Shape;
use crate::radio::reflection::directivity_error;
use crate::season::config::{Config, Scope, Source};
use crate::season::units;
use crate::stats::mixed::{Layout, LevelState};

pub use rounding::rounding_bias;

/// What became of a source in a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Treatment {
    /// Shared by all antennas: gone from every difference.
    Cancels,
    /// Added: no scatter shows it.
    Added,
    /// The log shows this level; its scatter already holds the source.
    HeldByData,
    /// The log doesn't show this level: the declared size stands in.
    DeclaredNotSeen,
}

/// One source as it acts on a set.
#[derive(Debug, Clone)]
pub struct Applied {
    /// Its name.
    pub name: String,
    /// What shares one value of it.
    pub scope: Scope,
    /// What became of it.
    pub treatment: Treatment,
    /// Standard uncertainty on the analysis scale, per antenna.
    pub standard: Vec<f64>,
    /// Whether the tool made it, from a meter's directivity or resolution.
    pub made: bool,
    term: Term,
}

/// How a source is drawn: one value for each group of antennas, times each antenna's factor.
#[derive(Debug, Clone)]
struct Term {
    shape: Shape,
    factor: Vec<f64>,
    group: Vec<usize>,
    /// Of a vector: moments of each antenna's error, worked out when first asked for.
    moments: OnceLock<Vec<Moments>>,
}

impl Term {
    fn new(shape: Shape, factor: Vec<f64>, group: Vec<usize>) -> Term {
        Term { shape, factor, group, moments: OnceLock::new() }
    }
}

/// What declared sources may have done to an antenna's own result in one trial, in parts that act differently.
/// All on the analysis scale, at the antenna's end of the line; the value is what was read plus an error.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OwnError {
    /// The false wave added to the reflection: its part in phase, its part across.
    pub wave: [f64; 2],
    /// What no repeat makes smaller and no difference cancels.
    pub fixed: f64,
    /// What is shared by the season: gone from a difference.
    pub season: f64,
    /// What is declared at a level the log doesn't show yet: repeats would average it.
    pub unseen: f64,
}

/// Mean and variance of one antenna's error from one source.
#[derive(Debug, Clone, Copy)]
struct Moments {
    mean: f64,
    variance: f64,
}

/// All sources on a set.
#[derive(Debug, Clone)]
pub struct SetSources {
    /// The sources, declared ones first.
    pub applied: Vec<Applied>,
    /// Estimates on the analysis scale, per antenna: the vectors are added to these.
    values: Vec<f64>,
    line_factor: f64,
    /// Whether anything says how far off the meter may be as a whole: a directivity, an offset taken out, or a
    /// declared source that repeats don't show.
    pub calibrated: bool,
}

impl SetSources {
    /// Gathers the sources of a set whose antennas' estimates are `values`. `scatter` is the standard
    /// deviation of a single reading about its antenna's mean, at its lower limit.
    pub fn new(set: &Set, layout: &Layout, config: &Config, values: &[f64], scatter: f64) -> SetSources {
        let mut sources = SetSources { line_factor: set.line_factor, ..SetSources::none(values) };
        for source in config.sources.iter().filter(|s| acts_on(s, set)) {
            sources.applied.push(declared(source, set, layout, values));
        }
        if let Some(d) = config.meter(&set.meter).and_then(|m| m.directivity_db)
            && set.quantity.is_reflection()
        {
            let shape = Shape::Vector { half_width: directivity_error(d) };
            let name = format!("directivity of {}, {d} dB", set.meter);
            sources.add_made(name, shape, vec![1.0; values.len()]);
        }
        if let Some((name, factor)) = directivity_on_impedance(set, config, values) {
            sources.add_made(name, Shape::Arcsine { half_width: 1.0 }, factor);
        }
        if let Some(made) = &set.correction {
            sources.add_correction(set, made);
        }
        sources.calibrated = sources.applied.iter().any(|a| matches!(a.scope, Scope::Season | Scope::Antenna));
        let factor: Vec<f64> = values
            .iter()
            .map(|&y| {
                let step = set.resolution * set.quantity.scale.slope_at(y / set.line_factor) * set.line_factor;
                rounding_bias(step, scatter) * 3f64.sqrt()
            })
            .collect();
        // below a hundredth of the last digit nothing that is printed changes
        let step = set.resolution * set.quantity.scale.slope_at(mean(values) / set.line_factor) * set.line_factor;
        if factor.iter().any(|f| *f > 0.01 * step) {
            let name = format!("display of {}, last digit {}", set.meter, set.resolution);
            sources.add_made(name, Shape::Rectangular { half_width: 1.0 }, factor);
        }
        sources
    }

    /// No source on antennas whose estimates are `values`.
    pub fn none(values: &[f64]) -> SetSources {
        SetSources { applied: vec![], values: values.to_vec(), line_factor: 1.0, calibrated: false }
    }

    fn add_made(&mut self, name: String, shape: Shape, factor: Vec<f64>) {
        let group = (0..factor.len()).collect();
        let term = Term::new(shape, factor, group);
        let standard = (0..term.factor.len()).map(|i| self.moments(&term, i).variance.sqrt()).collect();
        self.applied.push(Applied {
            name,
            scope: Scope::Antenna,
            treatment: Treatment::Added,
            standard,
            made: true,
            term,
        });
    }

    /// What stays uncertain of an offset that was taken out: common to the season, so that it cancels between
    /// antennas and counts in full in an antenna's own result; but what each stretch of time has of its own cancels
    /// only as far as two antennas were measured in the same stretches.
    fn add_correction(&mut self, set: &Set, made: &SetCorrection) {
        let steps = &made.correction.steps;
        let several = steps.len() > 1;
        let common = |s: &Step| {
            let own = if several { s.own_uncertainty } else { 0.0 };
            (s.standard_uncertainty.powi(2) - own * own).max(0.0).sqrt()
        };
        let antennas = self.values.len();
        let mut add = |name: String, treatment: Treatment, factor: Vec<f64>| {
            let standard: Vec<f64> = factor.clone();
            let term = Term::new(Shape::Normal { standard: 1.0 }, factor, vec![0; antennas]);
            self.applied.push(Applied { name, scope: Scope::Season, treatment, standard, made: true, term });
        };
        let largest = steps.iter().map(common).fold(0.0, f64::max);
        add(format!("offset of {}, corrected", set.meter), Treatment::Cancels, vec![largest; antennas]);
        for (k, step) in steps.iter().enumerate().filter(|_| several) {
            let factor = made.shares.iter().map(|share| step.own_uncertainty * share[k]).collect();
            let name = format!("offset of {} from {} to {}, corrected", set.meter, step.from, step.to);
            add(name, Treatment::Added, factor);
        }
    }

    /// Sources that count in a difference of two antennas.
    fn counting(&self) -> impl Iterator<Item = &Applied> {
        self.applied.iter().filter(|a| matches!(a.treatment, Treatment::Added | Treatment::DeclaredNotSeen))
    }

    /// Whether any source counts in a difference.
    pub fn any_counts(&self) -> bool {
        self.counting().next().is_some()
    }

    /// Whether a source is declared at that scope.
    pub fn declares(&self, scope: Scope) -> bool {
        self.applied.iter().any(|a| a.scope == scope && !a.made)
    }

    /// Root sum of squares, over the sources declared at that scope, of their mean standard uncertainty.
    pub fn declared_standard(&self, scope: Scope) -> Option<f64> {
        let squares: Vec<f64> = self
            .applied
            .iter()
            .filter(|a| a.scope == scope && !a.made)
            .map(|a| a.standard.iter().map(|s| s * s).sum::<f64>() / a.standard.len() as f64)
            .collect();
        (!squares.is_empty()).then(|| squares.iter().sum::<f64>().sqrt())
    }

    /// Root mean square of the declared error of `first − second`.
    pub fn standard_of_difference(&self, first: usize, second: usize) -> f64 {
        let (mut mean, mut variance) = (0.0, 0.0);
        for applied in self.counting() {
            let of = self.of_difference(applied, first, second);
            mean += of.mean;
            variance += of.variance;
        }
        (variance + mean * mean).sqrt()
    }

    /// Mean square that each counting source by itself adds to `first − second`, by place in `applied`.
    pub fn parts_of_difference(&self, first: usize, second: usize) -> Vec<(usize, f64)> {
        let counts = |t: Treatment| matches!(t, Treatment::Added | Treatment::DeclaredNotSeen);
        let counting = self.applied.iter().enumerate().filter(|(_, a)| counts(a.treatment));
        counting
            .map(|(i, applied)| {
                let of = self.of_difference(applied, first, second);
                (i, of.variance + of.mean * of.mean)
            })
            .collect()
    }

    /// Mean and variance of one source's error of `first − second`.
    fn of_difference(&self, applied: &Applied, first: usize, second: usize) -> Moments {
        let term = &applied.term;
        if term.group[first] == term.group[second] {
            let shared = term.factor[first] - term.factor[second];
            return Moments { mean: 0.0, variance: (shared * term.shape.standard()).powi(2) };
        }
        let (a, b) = (self.moments(term, first), self.moments(term, second));
        Moments { mean: a.mean - b.mean, variance: a.variance + b.variance }
    }

    /// Root mean square of the declared error of an antenna's own result: season-wide sources count.
    pub fn standard_of_result(&self, antenna: usize) -> f64 {
        let (mut mean, mut variance) = (0.0, 0.0);
        for applied in self.applied.iter().filter(|a| a.treatment != Treatment::HeldByData) {
            let m = self.moments(&applied.term, antenna);
            mean += m.mean;
            variance += m.variance;
        }
        (variance + mean * mean).sqrt()
    }
}

/// A coupler's directivity in what is computed from Γ: Z = Z0·(1 + Γ)/(1 − Γ), so a false wave of size d
/// moves Z by at most d·|Z + Z0|²/(2·Z0) in a direction nobody knows. |Z + Z0| is taken as |Z| + Z0, its
/// largest; |Z| of a resistance or reactance as what other readings on the band allow ([`Set::moduli`]), and as no less
/// than Z0 where there are none. Half-widths on the analysis scale, one an antenna.
fn directivity_on_impedance(set: &Set, config: &Config, values: &[f64]) -> Option<(String, Vec<f64>)> {
    const Z0: f64 = 50.0;
    let directivity = config.meter(&set.meter)?.directivity_db?;
    let whole = set.quantity.name == "impedance";
    if !whole && !["resistance", "reactance"].contains(&set.quantity.name.as_str()) {
        return None;
    }
    let d = directivity_error(directivity);
    let half_widths = values.iter().enumerate().map(|(antenna, &y)| {
        let shown = set.quantity.scale.to_shown(y).abs();
        let modulus = match set.moduli.get(antenna) {
            _ if whole => shown,
            Some(&beside) if beside > 0.0 => shown.max(beside),
            _ => shown.max(Z0),
        };
        d * (modulus + Z0).powi(2) / (2.0 * Z0) * set.quantity.scale.slope_at(y)
    });
    Some((format!("directivity of {}, {directivity} dB", set.meter), half_widths.collect()))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

fn acts_on(source: &Source, set: &Set) -> bool {
    source.quantity == set.quantity.name
        && source.meter.as_ref().is_none_or(|m| *m == set.meter)
        && source.band.as_ref().is_none_or(|b| *b == set.band)
}

/// A declared source on this set: its sizes moved to the analysis scale at each antenna's value, and to
/// the antenna's end of the line, and what becomes of it.
///
/// A vector meets each antenna's reflection at that antenna's own phase, so that one wave shared by the
/// season or by a session still errs by antenna: such a source is added to each, like a directivity.
fn declared(source: &Source, set: &Set, layout: &Layout, values: &[f64]) -> Applied {
    let vector = matches!(source.shape, Shape::Vector { .. });
    let factor: Vec<f64> = values.iter().map(|&y| unit_factor(source, set, y)).collect();
    let level = source.shared_by.level();
    let seen = level.is_some_and(|l| layout.states()[l as usize] != LevelState::Unseen);
    let treatment = match (source.shared_by, seen) {
        (Scope::Season, _) if !vector => Treatment::Cancels,
        (Scope::Season | Scope::Antenna, _) => Treatment::Added,
        (_, true) => Treatment::HeldByData,
        (_, false) => Treatment::DeclaredNotSeen,
    };
    let group = match source.shared_by {
        Scope::Season if !vector => vec![0; values.len()],
        Scope::Session if !vector => (0..values.len()).map(|a| layout.first_session_of(a).unwrap_or(a)).collect(),
        _ => (0..values.len()).collect(),
    };
    let term = Term::new(source.shape, factor, group);
    let standard = term.factor.iter().map(|f| f * source.shape.standard()).collect();
    Applied { name: source.name.clone(), scope: source.shared_by, treatment, standard, made: false, term }
}

/// What one unit of a source's size is on the analysis scale, for an antenna at `y`. Sizes are at the
/// meter: on a reflection the line's correction acts on them too.
fn unit_factor(source: &Source, set: &Set, y: f64) -> f64 {
    let (quantity, line) = (&set.quantity, if set.quantity.is_reflection() { set.line_factor } else { 1.0 });
    let at_meter = y / line;
    let own = source.unit.as_deref().filter(|u| *u != quantity.scale.name(&quantity.unit));
    let size = own.and_then(|unit| units::convert_sd(quantity, quantity.scale.to_shown(at_meter), 1.0, unit));
    line * size.map_or(1.0, |size| size * quantity.scale.slope_at(at_meter))
}
