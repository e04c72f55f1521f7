//! Sessions that are built alike, seen as their mean and their scatter about it: what a replay needs of them.
//!
//! m sessions with the same q antennas, every visit one cell of one kind, have one B, whose eigenvalues are b = a along
//! the differences between visits and b = a·(1 − c·A) along their mean. The sessions' mean and their deviations d from it
//! err independently, and of the deviations the criterion asks for two sums of squares alone, of d's mean over each
//! session's visits (times q), and of what is left:
//!
//! ```text
//! (y − Xβ)ᵀV⁻¹(y − Xβ) = m·r̄ᵀB·r̄ + Σ b·SS        SS = (SS_between, SS_within)
//! yᵀP·G_k·P·y          = m·r̄ᵀB·K_k·B·r̄ + Σ λ_k·b²·SS
//! f_kᵀV⁻¹f_l           = m·f̄_kᵀB·f̄_l + Σ λ_k·λ_l·b³·SS
//! SS_between/(τ + q·σ²_s) ~ χ²(m − 1)                SS_within/τ ~ χ²((m − 1)(q − 1))
//! ```
//!
//! with λ_k what G_k multiplies a vector of that kind by: for sessions q and 0, for visits 1, below them the diagonal of
//! G_k. So a fit takes as long as there are ways to build a session, however many sessions there are, and gives what the
//! fit of all of them gives. (The strata of the analysis of variance of a balanced set are the case of one fold.)

use super::layout::{Layout, Pattern};
use super::weights::Weights;

/// Sessions seen as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fold {
    /// The session that stands for their mean.
    pub session: usize,
    /// How many they are, m.
    pub sessions: f64,
    /// Visits in each, q.
    pub visits: f64,
}

/// The sums of squares of sessions about their mean: between them, and within.
pub(super) type Scatter = [f64; 2];

/// How V⁻¹ and the G_k act on the scatter of a fold, between and within.
#[derive(Debug, Clone, Copy)]
pub(super) struct Eigen {
    /// b.
    pub b: [f64; 2],
    /// λ_k.
    pub lambda: [[f64; 4]; 2],
}

impl Fold {
    /// Where the weights stand.
    pub fn eigen(&self, layout: &Layout, weights: &Weights) -> Eigen {
        let first = layout.sessions[self.session].start;
        let cell = &layout.cells[layout.visits[first].cells.start];
        let (a, shrink) = (weights.a[first], 1.0 - weights.c[self.session] * weights.sum_a[self.session]);
        let inside = [1.0, cell.mounting_share, cell.reading_share];
        let lambda = |session: f64| [session, inside[0], inside[1], inside[2]];
        Eigen { b: [a * shrink, a], lambda: [lambda(self.visits), lambda(0.0)] }
    }

    /// Degrees of freedom of the scatter.
    pub fn df(&self) -> Scatter {
        [self.sessions - 1.0, (self.sessions - 1.0) * (self.visits - 1.0)]
    }
}

impl Layout {
    /// The same with sessions that are built alike seen as one, for fits of new data: its sessions and visits are those
    /// that stand for all.
    pub fn folded(&self) -> Layout {
        debug_assert!(self.folds.is_empty(), "what is folded already has lost its sessions");
        let mut layout = self.clone();
        layout.sessions.clear();
        layout.times.clear();
        layout.visits.clear();
        layout.cells.clear();
        layout.pattern_of.clear();
        let mut first_cell = vec![usize::MAX; self.cells.len()]; // of each visit's first cell, its new place
        for (s, visits) in self.sessions.iter().enumerate() {
            let (pattern, new) = (self.pattern_of[s], layout.sessions.len());
            let Pattern { session: first, sessions } = self.patterns[pattern];
            let own = &self.visits[visits.clone()];
            let one_kind = own.iter().all(|v| v.kind == own[0].kind && v.cells.len() == 1);
            let fold = one_kind && sessions > 1.0;
            if first == s {
                layout.patterns[pattern].session = new;
            } else if fold {
                continue;
            }
            if fold {
                layout.folds.push(Fold { session: new, sessions, visits: own.len() as f64 });
            }
            let start = layout.visits.len();
            for visit in own {
                let from = layout.cells.len();
                first_cell[visit.cells.start] = from;
                layout.cells.extend_from_slice(&self.cells[visit.cells.clone()]);
                let mut visit = visit.clone();
                visit.cells = from..layout.cells.len();
                layout.visits.push(visit);
            }
            layout.sessions.push(start..layout.visits.len());
            layout.times.push(if fold { sessions } else { 1.0 });
            layout.pattern_of.push(pattern);
        }
        // the first visit of a kind is in the first session of a pattern
        for kind in &mut layout.kinds {
            let from = first_cell[kind.cells.start];
            kind.cells = from..from + kind.cells.len();
        }
        layout
    }
}

#[cfg(test)]
mod tests {
    use super::super::kenward_roger::expected;
    use super::super::layout::{Data, MountingSummary};
    use super::super::likelihood::Workspace;
    use super::super::simulate::Simulator;
    use super::*;
    use crate::montecarlo::stream::stream;

    /// Eight sessions: five of all three antennas, one with an odd visit, two of two antennas.
    fn season() -> (Layout, Data) {
        let mut all = vec![];
        let scrambled = |i: usize| (i as f64 * 0.618_033_988_749_895).fract() - 0.5;
        for session in 0..8 {
            for antenna in 0..if session % 4 == 3 { 2 } else { 3 } {
                for mounting in 0..if session == 2 && antenna == 1 { 3 } else { 2 } {
                    let readings = if session == 2 && antenna == 0 && mounting == 1 { 4.0 } else { 3.0 };
                    let id = all.len();
                    all.push(MountingSummary {
                        session,
                        antenna,
                        readings,
                        df: readings - 1.0,
                        mean: antenna as f64 + 2.0 * scrambled(session) + scrambled(40 + session * 3 + antenna)
                            - 0.7 * scrambled(200 + id),
                        sum_of_squares: 0.02 * (1.2 + scrambled(300 + id)),
                    });
                }
            }
        }
        Layout::new(3, &all).unwrap()
    }

    /// The data of all sessions as the folded structure has them.
    fn folded(data: &Data, layout: &Layout, to: &Layout) -> Data {
        let alike = &layout.pattern_of;
        let mut out = Data { class_ss: data.class_ss.clone(), reading_ss: data.reading_ss, ..to.zero_data() };
        let means = |s: usize| -> Vec<f64> {
            let of_visits = layout.visits[layout.sessions[s].clone()].iter();
            of_visits.flat_map(|v| data.cell_mean[v.cells.clone()].to_vec()).collect()
        };
        let first = (0..alike.len()).filter(|&s| !alike[..s].contains(&alike[s]));
        for (new, s) in first.enumerate() {
            let members: Vec<Vec<f64>> = (0..alike.len()).filter(|&i| alike[i] == alike[s]).map(means).collect();
            let m = members.len() as f64;
            let mean: Vec<f64> = (0..members[0].len()).map(|j| members.iter().map(|y| y[j]).sum::<f64>() / m).collect();
            let cells = to.visits[to.sessions[new].start].cells.start..;
            out.cell_mean[cells][..mean.len()].copy_from_slice(&mean);
            if let Some(at) = to.folds.iter().position(|f| f.session == new) {
                let q = mean.len() as f64;
                for y in &members {
                    let d: Vec<f64> = y.iter().zip(&mean).map(|(y, mean)| y - mean).collect();
                    let centre = d.iter().sum::<f64>() / q;
                    out.folds[at][0] += q * centre * centre;
                    out.folds[at][1] += d.iter().map(|d| (d - centre).powi(2)).sum::<f64>();
                }
            }
        }
        out
    }

    #[test]
    fn a_fold_has_the_criterion_gradient_and_information_of_all_its_sessions() {
        let (layout, data) = season();
        let few = layout.folded();
        assert_eq!((layout.sessions.len(), few.sessions.len()), (8, 3));
        assert_eq!(few.folds.iter().map(|f| f.sessions).collect::<Vec<_>>(), [5.0, 2.0]);
        let less = folded(&data, &layout, &few);
        let (mut all, mut seen) = (Workspace::new(&layout), Workspace::new(&few));
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-10 * b.abs().max(1.0), "{a} {b}");
        for theta in [[0.3, 0.1, 0.07, 0.02], [0.0, 0.4, 0.0, 0.05], [1e4, 0.1, 0.2, 0.01]] {
            assert!(all.evaluate(&layout, &data, &theta, 0.0) && seen.evaluate(&few, &less, &theta, 0.0));
            close(seen.criterion, all.criterion);
            seen.beta.iter().zip(&all.beta).for_each(|(a, b)| close(*a, *b));
            let gradients = (seen.gradient(&few, &less, &theta), all.gradient(&layout, &data, &theta));
            let of_few = seen.information(&few, &less, &theta, &[true; 4]);
            let of_all = all.information(&layout, &data, &theta, &[true; 4]);
            let known = (expected(&few, &seen.weights, &theta), expected(&layout, &all.weights, &theta));
            for k in 0..4 {
                close(gradients.0[k], gradients.1[k]);
                for l in 0..4 {
                    close(of_few[k][l], of_all[k][l]);
                    close(known.0.information[k][l], known.1.information[k][l]);
                }
            }
        }
    }

    #[test]
    fn what_is_drawn_of_a_fold_has_the_mean_squares_of_its_strata() {
        let (layout, _) = season();
        let few = layout.folded();
        let theta = [0.3, 0.1, 0.07, 0.02];
        let simulator = Simulator::new(&few, &theta);
        let (mut data, mut rng) = (simulator.blank(), stream(3, 1, 0));
        let n = 20_000;
        let (mut squares, mut mean_square, mut difference) = ([0.0; 2], 0.0, 0.0);
        for _ in 0..n {
            simulator.draw(&mut rng, &mut data);
            squares = [squares[0] + data.folds[0][0], squares[1] + data.folds[0][1]];
            mean_square += data.cell_mean[0] * data.cell_mean[0];
            difference += (data.cell_mean[0] - data.cell_mean[1]).powi(2);
        }
        let tau = 0.1 + 0.07 / 2.0 + 0.02 / 6.0;
        let near = |sum: f64, wanted: f64| assert!((sum / f64::from(n) / wanted - 1.0).abs() < 0.04, "{sum} {wanted}");
        near(squares[0], 4.0 * (tau + 3.0 * 0.3));
        near(squares[1], 8.0 * tau);
        near(mean_square, (0.3 + tau) / 5.0);
        near(difference, 2.0 * tau / 5.0);
    }
}
