//! REML estimates of the variance components.
//!
//! Two fits of one set. The *unbounded* one lets a component be negative wherever V stays positive
//! definite: on balanced data its tests are the classical stratum tests, whatever the sign, so
//! inference rests on it. The *bounded* one keeps components at zero or above: it is what is
//! reported, and what the replays simulate from.
//!
//! Each step solves (information)·step = −gradient/2. The first steps use the expected information,
//! which lands on the answer at once when the set is balanced; later ones the average information,
//! cheap and quadratic near the optimum. A step that leaves the admissible region or worsens the
//! criterion is halved.

use super::kenward_roger::expected;
use super::layout::{Data, Layout};
use super::likelihood::{Theta, Workspace};
use super::small_matrix::solve_active;

/// Where a fit ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Variance components, outermost first; 0 where merged or unseen.
    pub theta: Theta,
    /// −2 × REML log-likelihood there.
    pub criterion: f64,
    /// Steps taken.
    pub steps: usize,
    /// Whether the steps became smaller than the tolerance.
    pub converged: bool,
}

/// How precisely a fit is driven home.
#[derive(Debug, Clone, Copy)]
pub struct Precision {
    /// A fit ends when no component moves by more than this share of its standard error.
    pub tolerance: f64,
    /// The most steps it may take.
    pub most_steps: usize,
}

impl Precision {
    /// For the fit of the log itself.
    pub const FULL: Precision = Precision { tolerance: 1e-9, most_steps: 200 };
    /// For a replay: an error of a thousandth of a standard error in θ is far below the replay's own noise.
    pub const REPLAY: Precision = Precision { tolerance: 1e-3, most_steps: 40 };
}

/// Expected information at a θ, kept to make the first step of many fits from there.
pub type Information = [[f64; 4]; 4];

/// Fits with no bound but positive definiteness, from a start computed from the data.
///
/// `floor` is the variance display rounding alone gives one reading (0 if none is known); no mean's
/// variance is let below what that implies. The workspace is left evaluated at the result.
/// `None` where nothing can be estimated: no active component, or no admissible start.
pub fn fit_unbounded(layout: &Layout, data: &Data, floor: f64, workspace: &mut Workspace) -> Option<Fit> {
    let active = layout.active();
    let start = start(layout, data, floor, &active)?;
    fit_from(layout, data, floor, &start, &active, None, Precision::FULL, workspace)
}

/// Fits with every component at zero or above: the best of the fits over the sets of components held
/// at zero, which is the constrained maximum. The workspace is left evaluated at the result.
pub fn fit_bounded(layout: &Layout, data: &Data, floor: f64, workspace: &mut Workspace) -> Option<Fit> {
    let active = layout.active();
    let first = fit_unbounded(layout, data, floor, workspace)?;
    if first.converged && first.theta.iter().all(|&t| t >= 0.0) {
        return Some(first);
    }
    let innermost = (0..4).rev().find(|&k| active[k])?;
    let mut best: Option<Fit> = None;
    for held in 0u8..8 {
        let holds = |k: usize| k != innermost && k < 3 && held & (1 << k) != 0;
        if (0..3).any(|k| held & (1 << k) != 0 && (!active[k] || k == innermost)) {
            continue;
        }
        let free: [bool; 4] = std::array::from_fn(|k| active[k] && !holds(k));
        let Some(start) = start(layout, data, floor, &free) else { continue };
        let Some(fit) = fit_from(layout, data, floor, &start, &free, None, Precision::FULL, workspace) else { continue };
        let feasible = fit.theta.iter().all(|&t| t >= 0.0);
        if feasible && best.is_none_or(|b: Fit| fit.criterion < b.criterion) {
            best = Some(fit);
        }
    }
    let best = best?;
    workspace.evaluate(layout, data, &best.theta, floor);
    Some(best)
}

/// A start for the components: the scatter of each kind of mean, crudely split.
fn start(layout: &Layout, data: &Data, floor: f64, free: &[bool; 4]) -> Option<Theta> {
    if !free.iter().any(|&f| f) {
        return None;
    }
    let means = data.cell_mean.iter().map(|m| m * m).sum::<f64>() / data.cell_mean.len() as f64;
    let class_df: f64 = layout.classes.iter().map(|c| c.df).sum();
    let between = if class_df > 0.0 { data.class_ss.iter().sum::<f64>() / class_df } else { 0.0 };
    let within = if layout.df_reading > 0.0 { data.reading_ss / layout.df_reading } else { 0.0 };
    let size = within.max(between).max(means * 1e-3).max(floor);
    if !(size > 0.0 && size.is_finite()) {
        return None; // every reading equal, and no display resolution known
    }
    let reading = if within > 0.0 { within } else { size };
    let guess = [size, size, between.max(reading * 0.1).max(size * 0.01), reading.max(1.01 * floor)];
    Some(std::array::from_fn(|k| if free[k] { guess[k] } else { 0.0 }))
}

/// Fits the `free` components from a start. With `first` given, the first step uses that information
/// in place of the expected one at the start: for replays, which all start at the θ they were
/// simulated from. The workspace is left evaluated at the result.
#[allow(clippy::too_many_arguments)] // the fit's inputs and nothing else; a struct would only rename them
pub fn fit_from(
    layout: &Layout,
    data: &Data,
    floor: f64,
    start: &Theta,
    free: &[bool; 4],
    first: Option<&Information>,
    precision: Precision,
    workspace: &mut Workspace,
) -> Option<Fit> {
    let mut theta = *start;
    if !workspace.evaluate(layout, data, &theta, floor) {
        return None;
    }
    let mut criterion = workspace.criterion;
    let mut scoring = 3; // steps that use the expected information before the average one takes over
    for steps in 0..precision.most_steps {
        let slope = workspace.slope(layout, data, &theta);
        let downhill: [f64; 4] = std::array::from_fn(|k| -0.5 * slope.gradient[k]);
        let use_expected = scoring > 0;
        let information = match (use_expected, steps, first) {
            (true, 0, Some(known)) => *known,
            (true, _, None) => expected(layout, workspace, &theta).information,
            _ => slope.information,
        };
        scoring = (scoring - 1).max(0);
        let Some(step) = solve_active(&information, &downhill, free) else {
            if use_expected {
                return Some(Fit { theta, criterion, steps, converged: false });
            }
            scoring = 1;
            continue;
        };
        let size = (0..4).filter(|&k| free[k]).map(|k| step[k].abs() * information[k][k].max(0.0).sqrt()).fold(0.0, f64::max);
        let mut share = 1.0;
        let moved = loop {
            let trial: Theta = std::array::from_fn(|k| theta[k] + share * step[k]);
            if workspace.evaluate(layout, data, &trial, floor) && workspace.criterion <= criterion + 1e-10 * criterion.abs().max(1.0) {
                theta = trial;
                criterion = workspace.criterion;
                break true;
            }
            share *= 0.5;
            if share < 1e-6 {
                break false;
            }
        };
        if size < precision.tolerance {
            if !moved {
                workspace.evaluate(layout, data, &theta, floor);
            }
            return Some(Fit { theta, criterion, steps: steps + 1, converged: true });
        }
        if !moved {
            workspace.evaluate(layout, data, &theta, floor);
            if use_expected {
                return Some(Fit { theta, criterion, steps: steps + 1, converged: false });
            }
            scoring = 2; // the average information misled: go back to the expected one
        }
    }
    Some(Fit { theta, criterion, steps: precision.most_steps, converged: false })
}

#[cfg(test)]
mod tests {
    use super::super::kenward_roger::kenward_roger;
    use super::super::layout::MountingSummary;
    use super::*;

    /// Values in a fixed, patternless order: the fractional parts of multiples of the golden ratio.
    fn scrambled(i: usize) -> f64 {
        (i as f64 * 0.618_033_988_749_895).fract() - 0.5
    }

    fn unbalanced() -> (Layout, Data) {
        let mut all = vec![];
        for s in 0..6 {
            for a in 0..4 {
                if (s + 2 * a) % 5 == 0 {
                    continue;
                }
                for m in 0..1 + (s + a) % 3 {
                    let n = 1.0 + ((s + m) % 3) as f64;
                    let id = all.len();
                    all.push(MountingSummary {
                        session: s,
                        antenna: a,
                        readings: n,
                        df: n - 1.0,
                        mean: a as f64 + 2.0 * scrambled(s) + scrambled(100 + s * 4 + a) + 0.7 * scrambled(300 + id),
                        sum_of_squares: (n - 1.0) * 0.02 * (1.2 + scrambled(500 + id)),
                    });
                }
            }
        }
        Layout::new(4, &all).unwrap()
    }

    #[test]
    fn the_gradient_is_the_derivative_of_the_criterion() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        let theta = [0.3, 0.1, 0.07, 0.02];
        assert!(w.evaluate(&layout, &data, &theta, 0.0));
        let slope = w.slope(&layout, &data, &theta);
        for k in 0..4 {
            let h = 1e-5 * theta[k];
            let at = |x: f64, w: &mut Workspace| {
                let mut t = theta;
                t[k] += x;
                assert!(w.evaluate(&layout, &data, &t, 0.0));
                w.criterion
            };
            let numeric = (at(h, &mut w) - at(-h, &mut w)) / (2.0 * h);
            assert!((slope.gradient[k] - numeric).abs() < 1e-5 * numeric.abs().max(1.0), "{k}: {} {numeric}", slope.gradient[k]);
        }
    }

    #[test]
    fn the_fit_is_where_the_gradient_vanishes() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        let fit = fit_unbounded(&layout, &data, 0.0, &mut w).unwrap();
        assert!(fit.converged && fit.steps < 30, "{fit:?}");
        let slope = w.slope(&layout, &data, &fit.theta);
        let information = expected(&layout, &w, &fit.theta).information;
        for k in 0..4 {
            assert!(slope.gradient[k].abs() < 1e-6 * information[k][k].sqrt(), "{k} {fit:?} {slope:?}");
        }
    }

    #[test]
    fn on_balanced_data_the_pair_test_is_the_stratum_test_even_where_the_component_is_negative() {
        // visits scatter less than their mountings do: the visit component is negative
        let mut all = vec![];
        for s in 0..3 {
            for a in 0..3 {
                for m in 0..2 {
                    let sign = if m == 0 { 1.0 } else { -1.0 };
                    let mean = a as f64 + s as f64 + 0.05 * scrambled(s * 3 + a) + sign * (1.0 + 0.1 * scrambled(40 + s * 3 + a));
                    all.push(MountingSummary { session: s, antenna: a, readings: 2.0, df: 1.0, mean, sum_of_squares: 0.01 });
                }
            }
        }
        let (layout, data) = Layout::new(3, &all).unwrap();
        let mut w = Workspace::new(&layout);
        let fit = fit_unbounded(&layout, &data, 0.0, &mut w).unwrap();
        assert!(fit.theta[1] < 0.0, "{fit:?}");
        let kr = kenward_roger(&layout, &w, &fit.theta).unwrap();
        let pair = kr.difference(0, 1);

        let mean = |s: usize, a: usize| (0..2).map(|m| all[(s * 3 + a) * 2 + m].mean).sum::<f64>() / 2.0;
        let grand = (0..9).map(|i| mean(i / 3, i % 3)).sum::<f64>() / 9.0;
        let mut interaction = 0.0;
        for s in 0..3 {
            for a in 0..3 {
                let row = (0..3).map(|b| mean(s, b)).sum::<f64>() / 3.0;
                let column = (0..3).map(|t| mean(t, a)).sum::<f64>() / 3.0;
                interaction += (mean(s, a) - row - column + grand).powi(2);
            }
        }
        let classical = (2.0 / 3.0 * interaction / 4.0).sqrt();
        assert!((pair.adjusted - classical).abs() < 1e-7 * classical, "{} {classical}", pair.adjusted);
        assert!((pair.df - 4.0).abs() < 1e-6, "{}", pair.df);
        let bounded = fit_bounded(&layout, &data, 0.0, &mut w).unwrap();
        assert!(bounded.theta.iter().all(|&t| t >= 0.0) && bounded.theta[1] == 0.0, "{bounded:?}");
    }

    #[test]
    fn shifting_every_reading_moves_the_means_and_nothing_else() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        let fit = fit_unbounded(&layout, &data, 0.0, &mut w).unwrap();
        let beta: Vec<f64> = w.beta().to_vec();
        let mut moved = data.clone();
        moved.cell_mean.iter_mut().for_each(|m| *m += 3.0);
        let again = fit_unbounded(&layout, &moved, 0.0, &mut w).unwrap();
        for k in 0..4 {
            assert!((fit.theta[k] - again.theta[k]).abs() < 1e-8 * (1.0 + fit.theta[k].abs()));
        }
        for (a, b) in beta.iter().zip(w.beta()) {
            assert!((b - a - 3.0).abs() < 1e-8);
        }
    }
}
