//! One mean a visit, all weighed alike: for sets whose visits hold unequal numbers of mountings or
//! readings, but too few of them to learn how much that matters.
//!
//! Generalised least squares weighs each visit by 1/τ, and τ depends on components estimated from few
//! visits. Weights that err cost more than they win where visits differ little. So both estimators'
//! expected mean square errors at the fitted θ are compared, the weighed one's with what estimating
//! θ adds (Kenward and Roger's Φ_A), and the better one is taken.
//!
//! Equal weights with visits of unequal variance τ_j: with B the inverse of V if every visit had the mean
//! variance τ̄, Φ = (XᵀBX)⁻¹ and b_j the j-th column of XᵀB,
//!
//! ```text
//! S = Φ + Φ·[Σ_j (τ_j − τ̄)·b_j·b_jᵀ]·Φ
//! ```
//!
//! is the covariance of β̂ = ΦXᵀBy (White 1980, Econometrica 48:817–838, the variances taken from the
//! fit and not from single residuals). Standard errors from the equal fit are stretched by √(LᵀSL/LᵀΦL)
//! where that is above 1; they are never shrunk, since the τ_j are uncertain.

use super::fit::Known;
use super::kenward_roger::KenwardRoger;
use super::layout::{Data, Layout};
use super::small_matrix::multiply;
use super::weights::{Theta, Weights};

/// A set seen as one mean a visit.
#[derive(Debug, Clone)]
pub struct EvenVisits {
    /// The visits with one observation each.
    pub(super) layout: Layout,
    /// Where fits start.
    pub(super) start: Known,
    /// Per cell: its share in its visit's mean.
    share: Vec<f64>,
    /// Per visit: τ_j/τ̄ − 1.
    excess: Vec<f64>,
}

impl EvenVisits {
    /// Equal weights, where they are expected to err less than the fit's own at the bounded estimate θ; `weighed` is
    /// its adjustment with every component the log shows.
    pub(super) fn if_better(
        layout: &Layout,
        weights: &Weights,
        theta: &Theta,
        weighed: &KenwardRoger,
    ) -> Option<EvenVisits> {
        let even = EvenVisits::new(layout, weights, theta)?;
        let p = layout.antennas();
        let mean_square = |covariance: &[f64]| -> f64 {
            let at = |i: usize, j: usize| covariance[i * p + j];
            let pairs = (0..p).flat_map(|i| (i + 1..p).map(move |j| (i, j)));
            pairs.filter(|&(i, j)| layout.linked(i, j)).map(|(i, j)| at(i, i) + at(j, j) - 2.0 * at(i, j)).sum()
        };
        let better = mean_square(&even.covariance(&even.start.weights)) < mean_square(weighed.adjusted_covariance());
        better.then_some(even)
    }

    /// `None` where all visits weigh the same anyway, or a visit's scatter shows nowhere.
    fn new(layout: &Layout, weights: &Weights, theta: &Theta) -> Option<EvenVisits> {
        let visits = layout.visits.len() as f64;
        let tau: Vec<f64> = weights.a.iter().map(|a| 1.0 / a).collect();
        let mean = tau.iter().sum::<f64>() / visits;
        let excess: Vec<f64> = tau.iter().map(|t| t / mean - 1.0).collect();
        if layout.strata()[1] < 1.0 || excess.iter().all(|e| e.abs() < 1e-9) {
            return None;
        }
        // harmonic mean of the readings a visit holds: what display rounding leaves in a mean visit
        let common = visits / layout.kinds.iter().map(|kind| kind.visits / kind.readings).sum::<f64>();
        let mut share = weights.weight.clone();
        for (visit, total) in layout.visits.iter().zip(&weights.visit_weight) {
            share[visit.cells.clone()].iter_mut().for_each(|w| *w /= total);
        }
        let layout = layout.one_cell_a_visit(&vec![common; layout.kinds.len()]);
        // no floor: what the fit allowed for its visits, it allows for their mean
        let start = Known::at(&layout, &[theta[0], 0.0, 0.0, mean * common], 0.0)?;
        Some(EvenVisits { layout, start, share, excess })
    }

    /// The visits' means.
    pub(super) fn means(&self, layout: &Layout, data: &Data) -> Data {
        let mean = |cells: std::ops::Range<usize>| cells.map(|i| self.share[i] * data.cell_mean[i]).sum();
        Data {
            cell_mean: layout.visits.iter().map(|v| mean(v.cells.clone())).collect(),
            centre: data.centre,
            ..self.layout.zero_data()
        }
    }

    /// S at the θ of the weights, p×p.
    pub(super) fn covariance(&self, weights: &Weights) -> Vec<f64> {
        let p = self.layout.antennas();
        let mut inner = vec![0.0; p * p];
        for (s, visits) in self.layout.sessions.iter().enumerate() {
            for j in visits.clone() {
                let tau = 1.0 / weights.a[j];
                // column j of B = diag(a) − c·a·aᵀ
                let column = |i: usize| {
                    let own = if i == j { weights.a[j] } else { 0.0 };
                    own - weights.c[s] * weights.a[i] * weights.a[j]
                };
                for i in visits.clone() {
                    for k in visits.clone() {
                        let at = self.layout.visits[i].antenna * p + self.layout.visits[k].antenna;
                        inner[at] += self.excess[j] * tau * column(i) * column(k);
                    }
                }
            }
        }
        let (mut half, mut out) = (vec![0.0; p * p], vec![0.0; p * p]);
        multiply(&weights.phi, &inner, p, &mut half);
        multiply(&half, &weights.phi, p, &mut out);
        out.iter_mut().zip(&weights.phi).for_each(|(x, phi)| *x += phi);
        out
    }
}
