//! One set, fitted, with its sources: what the questions about pairs and about an antenna's own result both
//! start from.

use std::collections::BTreeSet;

use super::sets::Set;
use super::sources::SetSources;
use crate::montecarlo::simultaneous::SetFit;
use crate::season::config::{Config, Scope};
use crate::stats::mixed::{Layout, Level, LevelState};

/// A set, fitted.
pub struct FittedSet {
    /// Its structure.
    pub layout: Layout,
    /// The fit; `None` where the log shows no scatter at any level.
    pub fit: Option<SetFit>,
    /// Each antenna's estimate on the analysis scale, at the antenna's end of the line. Every correction of
    /// readings is already in it: one of line loss is made by `sets_of`, and one of a meter's own offset
    /// would be too, with the offset's uncertainty among `sources`, shared by the season.
    pub estimates: Vec<f64>,
    /// The sources that act on it.
    pub sources: SetSources,
    /// What joins its antennas.
    pub links: Links,
}

impl FittedSet {
    /// Fits a set; `confidence` is that of the family of its pairs. `None` where it holds nothing to fit.
    pub fn new(set: &Set, config: &Config, confidence: f64) -> Option<FittedSet> {
        let (layout, _) = Layout::new(set.antennas.len(), &set.mountings)?;
        let fit = fit(set, confidence);
        let estimates = match &fit {
            Some(fit) => fit.inference.estimates.clone(),
            None => plain_means(set, &layout),
        };
        let sources = SetSources::new(set, &layout, config, &estimates, scatter_of_a_reading(set));
        let links = Links::new(set, &layout, fit.is_some(), &sources);
        Some(FittedSet { layout, fit, estimates, sources, links })
    }
}

/// What the scatter leaves uncertain in an antenna's own mean.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnScatter {
    /// Standard error, all of it.
    pub error: f64,
    /// The parts that err independently, each with its degrees of freedom.
    pub parts: Vec<ScatterPart>,
}

/// One part of an estimate's scatter: error/√(χ²_ν/ν) about it has Student's t distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScatterPart {
    /// Standard error.
    pub error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// What it gets smaller with.
    pub shrinks_with: Shrinks,
}

/// What more of makes a part of the scatter smaller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shrinks {
    /// Sessions of the antenna's group: the common level.
    GroupSessions,
    /// The antenna's own visits.
    OwnVisits,
}

/// Scatter of an antenna's own mean, sessions and all: the level its group of linked antennas shares and its
/// difference from that, or both in one where a single session measured the group.
pub fn own_scatter(fit: &SetFit, antenna: usize) -> OwnScatter {
    let adjusted = fit.inference.single(antenna);
    let part = |error: f64, df: f64, shrinks_with: Shrinks| ScatterPart { error, df, shrinks_with };
    match fit.inference.level_and_difference(antenna) {
        Some((level, difference)) => {
            let session_at_zero =
                fit.layout.states()[Level::Session as usize] == LevelState::Seen && fit.inference.components[0] == 0.0;
            let error = if session_at_zero { level.error.hypot(difference.adjusted) } else { adjusted.adjusted };
            let level = part(level.error, level.df, Shrinks::GroupSessions);
            OwnScatter { error, parts: vec![level, part(difference.adjusted, difference.df, Shrinks::OwnVisits)] }
        }
        None => OwnScatter {
            error: adjusted.adjusted,
            parts: vec![part(adjusted.adjusted, adjusted.df, Shrinks::OwnVisits)],
        },
    }
}

/// What joins the antennas of a set, and what is known of the spreads that don't show.
pub struct Links {
    /// Whether the scatter of readings is seen or declared.
    pub reading_known: bool,
    visit_known: bool,
    session_known: bool,
    /// Sessions each antenna was measured in.
    pub sessions_of: Vec<BTreeSet<usize>>,
}

impl Links {
    fn new(set: &Set, layout: &Layout, fitted: bool, sources: &SetSources) -> Links {
        // a level is seen only if its scatter could be fitted
        let unseen = |level: Level| !fitted || layout.states()[level as usize] == LevelState::Unseen;
        let mut sessions_of = vec![BTreeSet::new(); set.antennas.len()];
        for m in &set.mountings {
            sessions_of[m.antenna].insert(m.session);
        }
        let declares = |scope: Scope| sources.declares(scope);
        Links {
            reading_known: !unseen(Level::Reading) || declares(Scope::Reading) || declares(Scope::Mounting),
            // a declared visit holds what changes with the mounting too: each visit mounts anew
            visit_known: !unseen(Level::Visit) || declares(Scope::Visit),
            session_known: !unseen(Level::Session) || declares(Scope::Session),
            sessions_of,
        }
    }

    /// Whether a session measured both.
    pub fn met(&self, first: usize, second: usize) -> bool {
        !self.sessions_of[first].is_disjoint(&self.sessions_of[second])
    }

    /// Whether the difference rests only on spreads that are known.
    pub fn comparable(&self, first: usize, second: usize) -> bool {
        self.reading_known && self.visit_known && (self.session_known || self.met(first, second))
    }

    /// Whether an antenna's own result does.
    pub fn absolute_known(&self) -> bool {
        self.reading_known && self.visit_known && self.session_known
    }
}

/// The set's fit and all its pairs, `confidence` being that of the family; `None` where the log shows no
/// scatter at any level.
pub fn fit(set: &Set, confidence: f64) -> Option<SetFit> {
    let (layout, mut data) = Layout::new(set.antennas.len(), &set.mountings)?;
    let step = step_on_scale(set);
    let floor = step * step / 12.0;
    data.lift_to(&layout, floor);
    SetFit::new(layout, &data, floor, confidence)
}

/// The display's last digit on the analysis scale, at the middle of the set.
fn step_on_scale(set: &Set) -> f64 {
    let middle = set.mountings.iter().map(|m| m.mean).sum::<f64>() / set.mountings.len() as f64;
    set.resolution * set.quantity.scale.slope_at(middle / set.line_factor) * set.line_factor
}

/// Mean of each antenna's mountings: the estimate where the log shows no scatter to weigh them by.
fn plain_means(set: &Set, layout: &Layout) -> Vec<f64> {
    (0..layout.antennas())
        .map(|a| {
            let own: Vec<f64> = set.mountings.iter().filter(|m| m.antenna == a).map(|m| m.mean).collect();
            own.iter().sum::<f64>() / own.len() as f64
        })
        .collect()
}

/// Standard deviation of one reading about its antenna's mean, at the lower end of what the log allows
/// (one-sided 95 %, visits as the independent units): too small a scatter makes too much of display
/// rounding, never too little.
pub fn scatter_of_a_reading(set: &Set) -> f64 {
    let (mut ss, mut readings) = (0.0, 0.0);
    let mut visits = BTreeSet::new();
    for a in 0..set.antennas.len() {
        let own = || set.mountings.iter().filter(move |m| m.antenna == a);
        let n: f64 = own().map(|m| m.readings).sum();
        let mean = own().map(|m| m.readings * m.mean).sum::<f64>() / n;
        ss += own().map(|m| m.sum_of_squares + m.readings * (m.mean - mean).powi(2)).sum::<f64>();
        readings += n - 1.0;
        visits.extend(own().map(|m| (m.session, m.antenna)));
    }
    if !(readings > 0.0) {
        return 0.0;
    }
    let df = (visits.len() - set.antennas.len()).max(1) as f64;
    (ss / readings * df / chi_squared_quantile(0.95, df)).sqrt()
}

fn chi_squared_quantile(probability: f64, df: f64) -> f64 {
    use statrs::distribution::{ChiSquared, ContinuousCDF};
    ChiSquared::new(df).map_or(df, |chi| chi.inverse_cdf(probability))
}
