//! REML estimates of the variance components, none below zero.
//!
//! Each step solves (information)·step = −gradient/2 over the components that are free to move; a
//! component at zero stays there while the criterion falls towards the negative side. The first steps
//! use the expected information, which lands on the answer at once when the set is balanced; later
//! ones the average information, cheap and quadratic near the optimum. A step that leaves the
//! admissible region or worsens the criterion is halved. Where one component is all there is, V = θ_k·G_k up to
//! sessions that act as fixed, the expected information about it is tr(P·G_k)/(2θ_k), and one step with it ends at the
//! optimum.

use super::kenward_roger::expected;
use super::layout::{Data, Layout};
use super::likelihood::Workspace;
use super::small_matrix::solve_active;
use super::weights::{Theta, Weights};

/// Where a fit ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Variance components, outermost first; 0 where merged, unseen, or estimated at zero.
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
    /// A fit ends when a whole step moves no component by more than this share of its standard error, and gains no more
    /// than its square in the criterion.
    pub tolerance: f64,
    /// A step shorter than this, in the same measure, is not even taken.
    pub negligible: f64,
    /// The most steps it may take.
    pub most_steps: usize,
    /// Steps that use the expected information before the average one takes over.
    pub scoring: usize,
}

impl Precision {
    /// For the fit of the log itself.
    pub const FULL: Precision = Precision { tolerance: 1e-9, negligible: 0.0, most_steps: 200, scoring: 3 };
    /// For a replay: what a step of 10 % of a standard error leaves is a fraction of that, and its effect on a half-width
    /// far below the noise of replays (measured in `notebooks-md/model.md`, 9).
    pub const REPLAY: Precision = Precision { tolerance: 0.1, negligible: 0.01, most_steps: 40, scoring: 0 };
}

/// What is known at a θ without any readings, kept to make the first step of many fits from there.
#[derive(Debug, Clone)]
pub struct Known {
    /// θ.
    pub theta: Theta,
    /// The weights, and the traces with them.
    pub weights: Weights,
    /// The expected information.
    pub information: [[f64; 4]; 4],
}

impl Known {
    /// At θ; `None` where θ is not admissible.
    pub fn at(layout: &Layout, theta: &Theta, floor: f64) -> Option<Known> {
        let mut weights = Weights::at(layout, theta, floor)?;
        // asked once here, it goes with every copy
        weights.trace(layout, theta);
        let information = expected(layout, &weights, theta).information;
        Some(Known { theta: *theta, weights, information })
    }
}

/// Where a fit starts, and with what knowledge.
#[derive(Debug, Clone, Copy)]
pub struct Start<'a> {
    /// Components to start from; those of `free` must be admissible and positive.
    pub theta: &'a Theta,
    /// Components that are estimated; the others stay as they are in `theta`.
    pub free: &'a [bool; 4],
    /// What is known at `theta`: replays all start at one.
    pub known: Option<&'a Known>,
}

impl<'a> Start<'a> {
    /// Nothing known beforehand.
    pub fn at(theta: &'a Theta, free: &'a [bool; 4]) -> Start<'a> {
        Start { theta, free, known: None }
    }

    /// At a θ of which that is known.
    pub fn from(known: &'a Known, free: &'a [bool; 4]) -> Start<'a> {
        Start { theta: &known.theta, free, known: Some(known) }
    }
}

/// Fits the components the layout shows, from a start computed from the data.
///
/// `floor` is the variance display rounding alone gives one reading (0 if none is known); no mean's
/// variance is let below what that implies. The workspace is left evaluated at the result.
/// `None` where nothing can be estimated: no active component, or no scatter and no floor.
pub fn fit(layout: &Layout, data: &Data, floor: f64, workspace: &mut Workspace) -> Option<Fit> {
    let free = layout.active();
    let theta = guess(layout, data, floor, &free)?;
    let start = Start::at(&theta, &free);
    fit_from(layout, data, floor, start, Precision::FULL, workspace)
}

/// A start for the components: the scatter of each kind of mean, crudely split.
fn guess(layout: &Layout, data: &Data, floor: f64, free: &[bool; 4]) -> Option<Theta> {
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

/// Fits from a given start. The workspace is left evaluated at the result; `None` where the start
/// itself is not admissible.
pub fn fit_from(
    layout: &Layout,
    data: &Data,
    floor: f64,
    start: Start,
    precision: Precision,
    workspace: &mut Workspace,
) -> Option<Fit> {
    let mut theta = *start.theta;
    let begun = match start.known {
        Some(known) => workspace.evaluate_with(&known.weights, layout, data, &theta),
        None => workspace.evaluate(layout, data, &theta, floor),
    };
    if !begun {
        return None;
    }
    let mut criterion = workspace.criterion;
    let mut scoring = if start.known.is_some() { precision.scoring.max(1) } else { precision.scoring };
    let mut converged = false;
    let (mut steps, mut idle) = (0, 0);
    while steps < precision.most_steps && !converged {
        let gradient = workspace.gradient(layout, data, &theta);
        let moving: [bool; 4] = std::array::from_fn(|k| start.free[k] && (theta[k] > 0.0 || gradient[k] < 0.0));
        let information = match (scoring > 0, start.known, alone(&theta, &moving)) {
            (true, Some(known), _) if steps == 0 => known.information,
            (_, _, Some(k)) => workspace.weights.information_alone(layout, &theta, k),
            (true, _, _) => expected(layout, &workspace.weights, &theta).information,
            (false, _, _) => workspace.information(layout, data, &theta, &moving),
        };
        let downhill: [f64; 4] = std::array::from_fn(|k| -0.5 * gradient[k]);
        // below its last digits the criterion gains nothing
        let rounding = 1e-12 * criterion.abs().max(1.0);
        // in standard errors; and by what the criterion was still to gain, since far above the optimum the
        // average information is so small that any step looks small against it
        let size = |moved: &Theta| {
            let errors = (0..4).map(|k| moved[k].abs() * information[k][k].max(0.0).sqrt()).fold(0.0, f64::max);
            let gain: f64 = (0..4).map(|k| moved[k] * gradient[k]).sum();
            errors.max((gain.abs() - rounding).max(0.0).sqrt())
        };
        let (from, before) = (theta, criterion);
        let step = solve_active(&information, &downhill, &moving);
        if step.is_some_and(|step| size(&step) < precision.negligible) {
            converged = true;
            break;
        }
        let share = step.and_then(|step| descend(layout, data, floor, &step, &mut theta, &mut criterion, workspace));
        steps += 1;
        let stuck = share.is_none();
        let moved: Theta = std::array::from_fn(|k| theta[k] - from[k]);
        converged = size(&moved) < precision.tolerance * share.unwrap_or(1.0) && !(stuck && scoring == 0);
        // to and fro where the criterion's last digits can't tell the places apart: it is at rest
        idle = if (before - criterion).abs() <= slack(criterion) { idle + 1 } else { 0 };
        converged |= idle == IDLE;
        if stuck {
            workspace.evaluate(layout, data, &theta, floor);
        }
        // an average information that misled hands back to the expected one
        scoring = if stuck && scoring == 0 { 2 } else { scoring.saturating_sub(1) };
    }
    Some(Fit { theta, criterion, steps, converged })
}

/// So many steps without a change of the criterion are enough.
const IDLE: usize = 12;

/// A change of the criterion that rounding may make.
fn slack(criterion: f64) -> f64 {
    1e-10 * criterion.abs().max(1.0)
}

/// The one component that moves, where it is all there is but for sessions that act as fixed.
fn alone(theta: &Theta, moving: &[bool; 4]) -> Option<usize> {
    let k = (0..4).find(|&k| moving[k] && theta[k] > 0.0)?;
    let is_none = |i: usize| !moving[i] && (theta[i] == 0.0 || i == 0);
    (0..4).all(|i| i == k || is_none(i)).then_some(k)
}

/// Moves θ along `step`, stopping components at zero, by the first share (1, ½, ¼, …) that is admissible
/// and does not worsen the criterion: that share. `None`, with θ unmoved, where none does.
fn descend(
    layout: &Layout,
    data: &Data,
    floor: f64,
    step: &Theta,
    theta: &mut Theta,
    criterion: &mut f64,
    workspace: &mut Workspace,
) -> Option<f64> {
    let mut share = 1.0;
    while share > 1e-6 {
        let trial: Theta = std::array::from_fn(|k| (theta[k] + share * step[k]).max(0.0));
        let slack = slack(*criterion);
        if workspace.evaluate(layout, data, &trial, floor) && workspace.criterion <= *criterion + slack {
            *theta = trial;
            *criterion = workspace.criterion;
            return Some(share);
        }
        share *= 0.5;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::layout::MountingSummary;
    use super::*;

    /// Values in a fixed, patternless order: the fractional parts of multiples of the golden ratio.
    fn scrambled(i: usize) -> f64 {
        (i as f64 * 0.618_033_988_749_895).fract() - 0.5
    }

    fn unbalanced() -> (Layout, Data) {
        let mut all = vec![];
        for s in 0..8 {
            // the last two are built as the first two
            let like = s % 6;
            for a in 0..4 {
                if (like + 2 * a) % 5 == 0 {
                    continue;
                }
                for m in 0..1 + (like + a) % 3 {
                    let n = 1.0 + ((like + m) % 3) as f64;
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
        let gradient = w.gradient(&layout, &data, &theta);
        for k in 0..4 {
            let h = 1e-5 * theta[k];
            let at = |x: f64, w: &mut Workspace| {
                let mut t = theta;
                t[k] += x;
                assert!(w.evaluate(&layout, &data, &t, 0.0));
                w.criterion
            };
            let numeric = (at(h, &mut w) - at(-h, &mut w)) / (2.0 * h);
            assert!((gradient[k] - numeric).abs() < 1e-5 * numeric.abs().max(1.0), "{k}: {gradient:?} {numeric}");
        }
    }

    #[test]
    fn the_fit_is_where_the_gradient_vanishes() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        let fit = fit(&layout, &data, 0.0, &mut w).unwrap();
        assert!(fit.converged && fit.steps < 30, "{fit:?}");
        let gradient = w.gradient(&layout, &data, &fit.theta);
        let information = expected(&layout, &w.weights, &fit.theta).information;
        for k in 0..4 {
            assert!(gradient[k].abs() < 1e-6 * information[k][k].sqrt(), "{k} {fit:?} {gradient:?}");
        }
    }

    #[test]
    fn small_tidy_seasons_come_to_rest() {
        for season in 0..400 {
            // three antennas in two to four sessions, two single readings a visit
            let noise = |i: usize| 0.04 * scrambled(1 + season * 97 + i * 13);
            let all: Vec<MountingSummary> = (0..(2 + season % 3) * 6)
                .map(|i| {
                    let (session, antenna) = (i / 6, i % 6 / 2);
                    let mean = 0.13 * (1 + antenna) as f64 + noise(i) + noise(1000 + i / 2);
                    MountingSummary { session, antenna, readings: 1.0, df: 0.0, mean, sum_of_squares: 0.0 }
                })
                .collect();
            let (layout, data) = Layout::new(3, &all).unwrap();
            let fit = fit(&layout, &data, 0.0, &mut Workspace::new(&layout)).unwrap();
            assert!(fit.converged && fit.steps < 60, "{season}: {fit:?}");
        }
    }

    /// Three antennas in two sessions, two mountings of one SWR each: the last steps go to and fro.
    #[test]
    fn steps_that_waver_below_the_criterions_digits_are_at_rest() {
        let swr = [2.64, 2.67, 1.31, 1.24, 1.49, 1.60, 2.23, 2.17, 1.32, 1.31, 1.66, 1.51];
        let mounting = |(i, s): (usize, &f64)| MountingSummary {
            session: i / 6,
            antenna: i % 6 / 2,
            readings: 1.0,
            df: 0.0,
            mean: (s - 1.0) / (s + 1.0),
            sum_of_squares: 0.0,
        };
        let all: Vec<MountingSummary> = swr.iter().enumerate().map(mounting).collect();
        let (layout, data) = Layout::new(3, &all).unwrap();
        let fit = fit(&layout, &data, 1e-6, &mut Workspace::new(&layout)).unwrap();
        assert!(fit.converged && fit.steps < 100, "{fit:?}");
    }

    #[test]
    fn a_component_that_is_all_there_is_has_the_expected_information_of_its_trace() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        for (theta, k) in [([0.0, 0.0, 0.0, 0.3], 3), ([0.0, 0.4, 0.0, 0.0], 1), ([0.0, 0.0, 0.2, 0.0], 2)] {
            let free = std::array::from_fn(|i| i == k);
            assert_eq!(alone(&theta, &free), Some(k));
            // no mean scatters by visits alone: each has one reading's variance of a millionth beside
            let near: Theta = std::array::from_fn(|i| if i == 3 { theta[3].max(theta[k] * 1e-7) } else { theta[i] });
            assert!(w.evaluate(&layout, &data, &near, 0.0));
            let (own, all) = (w.weights.information_alone(&layout, &theta, k), expected(&layout, &w.weights, &near));
            let wanted = all.information[k][k];
            assert!((own[k][k] - wanted).abs() < 1e-4 * wanted, "{k}: {} {wanted}", own[k][k]);
        }
        assert_eq!(alone(&[0.1, 0.0, 0.0, 0.3], &[true, false, false, true]), None);
        assert_eq!(alone(&[1e7, 0.0, 0.0, 0.3], &[false, false, false, true]), Some(3));
        assert_eq!(alone(&[0.0, 0.1, 0.0, 0.3], &[false, false, false, true]), None);
    }

    #[test]
    fn shifting_every_reading_moves_the_means_and_nothing_else() {
        let (layout, data) = unbalanced();
        let mut w = Workspace::new(&layout);
        let first = fit(&layout, &data, 0.0, &mut w).unwrap();
        let beta: Vec<f64> = w.beta().to_vec();
        let mut moved = data.clone();
        moved.cell_mean.iter_mut().for_each(|m| *m += 3.0);
        let again = fit(&layout, &moved, 0.0, &mut w).unwrap();
        for k in 0..4 {
            assert!((first.theta[k] - again.theta[k]).abs() < 1e-8 * (1.0 + first.theta[k].abs()));
        }
        for (a, b) in beta.iter().zip(w.beta()) {
            assert!((b - a - 3.0).abs() < 1e-8);
        }
    }
}
