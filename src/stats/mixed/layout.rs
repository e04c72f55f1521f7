//! The structure of a set as the model sees it: which mountings belong to which visit and session,
//! how many readings each holds, and which levels the log replicates.
//!
//! Mountings of one visit with equal numbers of readings are interchangeable, so they are kept as one
//! *cell* (their count k, readings n, mean); the scatter of mountings about their cell's mean is
//! pooled over all cells with the same n, a *class*. Structure and data are apart, because each
//! replay has new data on the same structure.

mod built;

use std::ops::Range;

use super::folded::{Fold, Scatter};
use super::levels::LevelState;

/// Sufficient statistics of one mounting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MountingSummary {
    /// Session, from 0.
    pub session: usize,
    /// Antenna, from 0.
    pub antenna: usize,
    /// Number of readings n ≥ 1.
    pub readings: f64,
    /// Degrees of freedom of `sum_of_squares`: n − 1 where every reading was logged; fewer where a
    /// summarised row gave no standard deviation.
    pub df: f64,
    /// Mean of the readings.
    pub mean: f64,
    /// Sum of squares of the readings about their mean.
    pub sum_of_squares: f64,
}

/// k mountings of one visit with n readings each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    /// Number of mountings k.
    pub mountings: f64,
    /// Index of the class of cells with this n.
    pub class: usize,
    /// 1/k: what the cell's mean holds of the mounting's variance, its diagonal of G_m.
    pub mounting_share: f64,
    /// 1/(k·n): its diagonal of G_e.
    pub reading_share: f64,
}

impl Cell {
    pub(super) fn new(mountings: f64, readings: f64, class: usize) -> Cell {
        Cell { mountings, class, mounting_share: 1.0 / mountings, reading_share: 1.0 / (mountings * readings) }
    }
}

/// All cells with the same number of readings a mounting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Class {
    /// Readings a mounting, n.
    pub readings: f64,
    /// Σ(k − 1): degrees of freedom of mountings about their cell.
    pub df: f64,
}

/// One visit: its antenna, its cells, and its kind.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Visit {
    pub antenna: usize,
    pub cells: Range<usize>,
    pub kind: usize,
}

/// All visits with as many mountings of as many readings.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Kind {
    /// The cells of the first of them: the others' are alike, in the same order.
    pub cells: Range<usize>,
    /// Readings in each, Σ k·n.
    pub readings: f64,
    /// How many visits.
    pub visits: f64,
}

/// All sessions with the same antennas, their visits of the same kinds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pattern {
    /// The first of them.
    pub session: usize,
    /// How many.
    pub sessions: f64,
}

/// The structure of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    pub(super) antennas: usize,
    pub(super) sessions: Vec<Range<usize>>,
    /// How many sessions each stands for: 1 but in a folded set.
    pub(super) times: Vec<f64>,
    pub(super) folds: Vec<Fold>,
    pub(super) visits: Vec<Visit>,
    pub(super) cells: Vec<Cell>,
    pub(super) classes: Vec<Class>,
    pub(super) kinds: Vec<Kind>,
    pub(super) patterns: Vec<Pattern>,
    /// Of each session, which pattern it has.
    pub(super) pattern_of: Vec<usize>,
    pub(super) df_reading: f64,
    /// The part of the criterion that no parameter changes: (N − p)·log 2π, and what the change from
    /// readings to means, and from mountings to cells, adds to log|V|.
    pub(super) criterion_constant: f64,
    pub(super) mountings: usize,
    readings: f64,
    groups: Vec<usize>,
    pub(super) states: [LevelState; 4],
    strata: [f64; 4],
}

/// The data on a structure: the mean of each cell, and the two pooled sums of squares.
#[derive(Debug, Clone, PartialEq)]
pub struct Data {
    /// Mean of each cell, about `centre`.
    pub(super) cell_mean: Vec<f64>,
    /// Sum of squares of mounting means about their cell's mean, per class.
    pub(super) class_ss: Vec<f64>,
    /// Sum of squares of readings about their mounting's mean.
    pub(super) reading_ss: f64,
    /// Scatter of sessions that are seen as one, per fold.
    pub(super) folds: Vec<Scatter>,
    /// What was subtracted from every mean, to keep digits where readings sit on a large offset.
    pub centre: f64,
}

impl Data {
    /// Lifts the scatter of readings to what display rounding alone gives: a mean square of readings
    /// below `floor` (a variance) is raised to it.
    pub fn lift_to(&mut self, layout: &Layout, floor: f64) {
        // a hair above, so that the fit's own bound at `floor` is never reached from this side
        self.reading_ss = self.reading_ss.max(layout.df_reading * floor * 1.000_001);
    }
}

impl Layout {
    /// Data of this shape, all zero.
    pub(super) fn zero_data(&self) -> Data {
        Data {
            cell_mean: vec![0.0; self.cells.len()],
            class_ss: vec![0.0; self.classes.len()],
            reading_ss: 0.0,
            folds: vec![[0.0; 2]; self.folds.len()],
            centre: 0.0,
        }
    }

    /// The number of the group of antennas that sessions join this one to.
    pub(super) fn group(&self, antenna: usize) -> usize {
        self.groups[antenna]
    }

    /// Mean of a visit's mountings, about the data's centre.
    pub(super) fn visit_mean(&self, visit: &Visit, data: &Data) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        for i in visit.cells.clone() {
            sum += self.cells[i].mountings * data.cell_mean[i];
            count += self.cells[i].mountings;
        }
        sum / count
    }

    /// Whether a chain of sessions joins all antennas.
    pub fn all_linked(&self) -> bool {
        self.groups.iter().all(|&g| g == self.groups[0])
    }

    /// Number of antennas.
    pub fn antennas(&self) -> usize {
        self.antennas
    }

    /// Number of sessions.
    pub fn sessions(&self) -> usize {
        self.sessions.len()
    }

    /// Number of mountings.
    pub fn mountings(&self) -> usize {
        self.mountings
    }

    /// Number of readings, those behind summarised rows counted one by one.
    pub fn readings(&self) -> f64 {
        self.readings
    }

    /// What the log shows of each level, outermost first.
    pub fn states(&self) -> [LevelState; 4] {
        self.states
    }

    /// Whether each component is estimated, outermost first.
    pub fn active(&self) -> [bool; 4] {
        self.states.map(|s| s == LevelState::Seen)
    }

    /// Degrees of freedom of the strata, fitted in the order antenna, session, visit, mounting,
    /// reading (Henderson's method 3; Searle, Casella & McCulloch, *Variance Components*, 1992, ch. 5).
    pub fn strata(&self) -> [f64; 4] {
        self.strata
    }

    /// Whether a chain of sessions joins two antennas.
    pub fn linked(&self, first: usize, second: usize) -> bool {
        self.groups[first] == self.groups[second]
    }

    /// Number of visits of an antenna.
    pub fn visits_of(&self, antenna: usize) -> usize {
        self.visits.iter().filter(|v| v.antenna == antenna).count()
    }

    /// The first session that holds an antenna.
    pub fn first_session_of(&self, antenna: usize) -> Option<usize> {
        self.sessions.iter().position(|s| self.visits[s.clone()].iter().any(|v| v.antenna == antenna))
    }

    /// Whether some session holds both antennas.
    pub fn share_a_session(&self, first: usize, second: usize) -> bool {
        self.sessions.iter().any(|s| {
            let has = |antenna| self.visits[s.clone()].iter().any(|v| v.antenna == antenna);
            has(first) && has(second)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::levels::Level;
    use super::*;

    fn mounting(session: usize, antenna: usize, readings: f64) -> MountingSummary {
        MountingSummary { session, antenna, readings, df: readings - 1.0, mean: 0.0, sum_of_squares: 0.0 }
    }

    fn complete(sessions: usize, antennas: usize, mountings: usize, readings: f64) -> Layout {
        let mut all = vec![];
        for s in 0..sessions {
            for a in 0..antennas {
                all.extend((0..mountings).map(|_| mounting(s, a, readings)));
            }
        }
        Layout::new(antennas, &all).unwrap().0
    }

    use LevelState::{MergedInto, Seen, Unseen};

    #[test]
    fn a_replicated_season_shows_every_level() {
        let layout = complete(4, 3, 2, 3.0);
        assert_eq!(layout.states(), [Seen; 4]);
        assert_eq!(layout.strata(), [3.0, 6.0, 12.0, 48.0]);
    }

    #[test]
    fn one_mounting_a_visit_merges_the_visit_into_the_mounting() {
        assert_eq!(complete(4, 3, 1, 3.0).states(), [Seen, MergedInto(Level::Mounting), Seen, Seen]);
    }

    #[test]
    fn single_readings_merge_all_below_the_session_into_the_reading() {
        let merged = MergedInto(Level::Reading);
        assert_eq!(complete(4, 3, 1, 1.0).states(), [Seen, merged, merged, Seen]);
        assert_eq!(complete(4, 3, 2, 1.0).states(), [Seen, Seen, merged, Seen]);
    }

    #[test]
    fn one_session_shows_nothing_of_another_day() {
        assert_eq!(complete(1, 3, 2, 3.0).states(), [Unseen, Unseen, Seen, Seen]);
        assert_eq!(complete(1, 3, 1, 3.0).states(), [Unseen, Unseen, Unseen, Seen]);
        assert_eq!(complete(1, 3, 1, 1.0).states(), [Unseen; 4]);
    }

    #[test]
    fn one_antenna_over_days_lays_their_scatter_on_the_visit() {
        // as in the between-day analysis of JCGM 100:2008, H.5
        let merged = MergedInto(Level::Mounting);
        assert_eq!(complete(10, 1, 1, 5.0).states(), [merged, merged, Seen, Seen]);
    }

    #[test]
    fn a_chain_of_sessions_links_antennas_that_never_met() {
        let all = [(0, 0), (0, 1), (1, 1), (1, 2), (2, 3)].map(|(s, a)| mounting(s, a, 2.0));
        let layout = Layout::new(4, &all).unwrap().0;
        assert!(layout.linked(0, 2) && !layout.share_a_session(0, 2));
        assert!(!layout.linked(0, 3));
    }

    #[test]
    fn an_antenna_without_a_mounting_makes_no_layout() {
        assert!(Layout::new(2, &[mounting(0, 0, 1.0)]).is_none());
        assert!(Layout::new(1, &[]).is_none());
    }
}
