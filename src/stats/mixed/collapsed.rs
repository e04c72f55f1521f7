//! A set with the strata below one of its levels dropped: what is left when a component is estimated at zero, or when
//! visits are seen as one mean each.

use super::even_visits::EvenVisits;
use super::layout::{Cell, Class, Data, Layout, Visit};
use super::levels::{Level, LevelState};
use super::likelihood::Workspace;
use super::weights::{Theta, Weights};

/// A set with its lower strata dropped.
#[derive(Debug, Clone)]
pub(super) struct Collapsed {
    pub layout: Layout,
    pub data: Data,
    pub workspace: Workspace,
}

impl Collapsed {
    /// One mean a visit, all weighed alike.
    pub fn evenly(even: &EvenVisits, layout: &Layout, data: &Data) -> Collapsed {
        let workspace = Workspace::new(&even.layout);
        Collapsed { layout: even.layout.clone(), data: even.means(layout, data), workspace }
    }

    /// One observation a visit: its weighted mean, of variance λ/(W·σ²) with λ free and the weights kept.
    pub fn to_visits(layout: &Layout, data: &Data, w: &Weights, theta: &Theta) -> (Collapsed, Theta, [bool; 4]) {
        let unit = if theta[3] > 0.0 { theta[3] } else { theta[2] };
        let mean = |(j, visit): (usize, &Visit)| {
            let cells = visit.cells.clone();
            cells.map(|i| w.weight[i] * data.cell_mean[i]).sum::<f64>() / w.visit_weight[j]
        };
        let means = layout.visits.iter().enumerate().map(mean).collect();
        let readings: Vec<f64> =
            layout.kinds.iter().map(|kind| unit * w.weight[kind.cells.clone()].iter().sum::<f64>()).collect();
        let layout = layout.one_cell_a_visit(&readings);
        let workspace = Workspace::new(&layout);
        let data = Data {
            cell_mean: means,
            class_ss: vec![0.0; layout.classes.len()],
            reading_ss: 0.0,
            folds: data.folds.clone(),
            centre: data.centre,
        };
        let free = layout.active();
        (Collapsed { layout, data, workspace }, [theta[0], 0.0, 0.0, unit], free)
    }

    /// The scatter of readings dropped: mounting means have variance λ/n with λ free.
    pub fn to_mountings(layout: &Layout, data: &Data, theta: &Theta) -> (Collapsed, Theta, [bool; 4]) {
        let layout = layout.without_readings();
        let workspace = Workspace::new(&layout);
        let data = Data { reading_ss: 0.0, ..data.clone() };
        let free = layout.active();
        (Collapsed { layout, data, workspace }, [theta[0], theta[1], 0.0, theta[3]], free)
    }
}

impl Layout {
    /// The same visits with one observation each, of variance λ/readings, given for each kind: the strata below are
    /// dropped.
    pub(super) fn one_cell_a_visit(&self, readings: &[f64]) -> Layout {
        let mut layout = self.clone();
        layout.classes = readings.iter().map(|&readings| Class { readings, df: 0.0 }).collect();
        layout.cells = self.visits.iter().map(|v| Cell::new(1.0, readings[v.kind], v.kind)).collect();
        for (j, visit) in layout.visits.iter_mut().enumerate() {
            visit.cells = j..j + 1;
        }
        for (of_kind, kind) in layout.kinds.iter_mut().enumerate() {
            let first = self.visits.iter().position(|v| v.kind == of_kind).unwrap_or(0);
            (kind.cells, kind.readings) = (first..first + 1, readings[of_kind]);
        }
        layout.df_reading = 0.0;
        layout.mountings = self.visits.len();
        let merged = LevelState::MergedInto(Level::Reading);
        layout.states = [self.states[0], merged, merged, LevelState::Seen];
        layout.criterion_constant = layout.constant();
        layout
    }

    /// The same mountings with the scatter of their readings dropped.
    pub(super) fn without_readings(&self) -> Layout {
        let mut layout = self.clone();
        layout.df_reading = 0.0;
        layout.states[2] = LevelState::MergedInto(Level::Reading);
        layout.criterion_constant = layout.constant();
        layout
    }
}
