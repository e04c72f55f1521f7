//! New data on an old structure: what a replay's season reads.

use rand::{Rng, RngExt};
use rand_distr::{ChiSquared, StandardNormal};

use super::folded::Fold;
use super::layout::{Data, Layout};
use super::weights::{Theta, Weights};

/// A pooled sum of squares: its variance, and what that is multiplied by; `None` where it has no degree of freedom.
type Pooled = Option<(f64, ChiSquared<f64>)>;

/// Draws the sufficient statistics of a set directly from their distributions, all antennas equal:
/// cell means are normal, pooled sums of squares chi-squared.
#[derive(Debug, Clone)]
pub struct Simulator<'a> {
    layout: &'a Layout,
    session_sd: f64,
    visit_sd: f64,
    cell_sd: Vec<f64>,
    class_scatter: Vec<Pooled>,
    reading_scatter: Pooled,
    /// Per session: what the errors of the mean of those it stands for are multiplied by.
    shrink: Vec<f64>,
    /// Per fold: the scatter of its sessions, between and within.
    folds: Vec<[Pooled; 2]>,
}

impl<'a> Simulator<'a> {
    /// For components θ ≥ 0 (a negative one is taken as 0).
    pub fn new(layout: &'a Layout, theta: &Theta) -> Simulator<'a> {
        let [session, visit, mounting, reading] = theta.map(|t| t.max(0.0));
        let omega = |n: f64| mounting + reading / n;
        let scatter = |variance: f64, df: f64| ChiSquared::new(df).ok().map(|chi| (variance, chi));
        let fold = |fold: &Fold| {
            let cell = &layout.cells[layout.visits[layout.sessions[fold.session].start].cells.start];
            let tau = visit + omega(layout.classes[cell.class].readings) / cell.mountings;
            let df = fold.df();
            [scatter(tau + fold.visits * session, df[0]), scatter(tau, df[1])]
        };
        Simulator {
            folds: layout.folds.iter().map(fold).collect(),
            shrink: layout.times.iter().map(|times| 1.0 / times.sqrt()).collect(),
            layout,
            session_sd: session.sqrt(),
            visit_sd: visit.sqrt(),
            cell_sd: layout
                .cells
                .iter()
                .map(|c| (omega(layout.classes[c.class].readings) / c.mountings).sqrt())
                .collect(),
            class_scatter: layout.classes.iter().map(|c| scatter(omega(c.readings), c.df)).collect(),
            reading_scatter: scatter(reading, layout.df_reading),
        }
    }

    /// An empty data set of the right shape for [`Simulator::draw`].
    pub fn blank(&self) -> Data {
        self.layout.zero_data()
    }

    /// Fills `data` with one simulated season.
    pub fn draw(&self, rng: &mut impl Rng, data: &mut Data) {
        for (session, shrink) in self.layout.sessions.iter().zip(&self.shrink) {
            let session_error: f64 = shrink * self.session_sd * rng.sample::<f64, _>(StandardNormal);
            for visit in &self.layout.visits[session.clone()] {
                let visit_error = session_error + shrink * self.visit_sd * rng.sample::<f64, _>(StandardNormal);
                for cell in visit.cells.clone() {
                    let cell_error = shrink * self.cell_sd[cell] * rng.sample::<f64, _>(StandardNormal);
                    data.cell_mean[cell] = visit_error + cell_error;
                }
            }
        }
        let chi = |scatter: &Pooled, rng: &mut _| match scatter {
            Some((variance, chi)) => variance * RngExt::sample(rng, *chi),
            None => 0.0,
        };
        for (ss, scatter) in data.class_ss.iter_mut().zip(&self.class_scatter) {
            *ss = chi(scatter, rng);
        }
        data.reading_ss = chi(&self.reading_scatter, rng);
        for (fold, scatter) in data.folds.iter_mut().zip(&self.folds) {
            *fold = [chi(&scatter[0], rng), chi(&scatter[1], rng)];
        }
    }
}

/// Draws of what the estimates of a set err by at known components, generalised least squares throughout: normal with
/// covariance Φ = (XᵀV⁻¹X)⁻¹.
#[derive(Debug, Clone)]
pub struct EstimateErrors(Weights);

impl EstimateErrors {
    /// For sets of that structure.
    pub fn new(layout: &Layout) -> EstimateErrors {
        EstimateErrors(Weights::new(layout))
    }

    /// One draw at components θ > 0 for all that the structure shows; `None` where V is not positive definite there.
    pub fn draw(&mut self, layout: &Layout, theta: &Theta, rng: &mut impl Rng) -> Option<Vec<f64>> {
        if !self.0.set(layout, theta, 0.0) {
            return None;
        }
        let p = layout.antennas();
        let factor = self.0.factor();
        let mut x: Vec<f64> = (0..p).map(|_| RngExt::sample(rng, StandardNormal)).collect();
        // x = C⁻ᵀz, so that its covariance is (C·Cᵀ)⁻¹
        for i in (0..p).rev() {
            let tail: f64 = (i + 1..p).map(|k| factor[k * p + i] * x[k]).sum();
            x[i] = (x[i] - tail) / factor[i * p + i];
        }
        Some(x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::MountingSummary;
    use rand::SeedableRng;

    #[test]
    fn drawn_errors_of_a_difference_have_the_variance_of_its_blocks() {
        // 3 sessions, 2 antennas, 2 mountings of 2 readings: Var = 2·(σ²_v + σ²_m/2 + σ²_e/4)/3
        let mountings: Vec<MountingSummary> = (0..12)
            .map(|i| MountingSummary {
                session: i / 4,
                antenna: i / 2 % 2,
                readings: 2.0,
                df: 1.0,
                mean: 0.0,
                sum_of_squares: 0.0,
            })
            .collect();
        let (layout, _) = Layout::new(2, &mountings).unwrap();
        let mut errors = EstimateErrors::new(&layout);
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        let draws: Vec<f64> = (0..20_000)
            .map(|_| errors.draw(&layout, &[4.0, 0.3, 0.2, 0.4], &mut rng).unwrap())
            .map(|e| e[0] - e[1])
            .collect();
        let variance = draws.iter().map(|d| d * d).sum::<f64>() / draws.len() as f64;
        let wanted = 2.0 * (0.3 + 0.2 / 2.0 + 0.4 / 4.0) / 3.0;
        // relative standard error of a variance from 20,000 draws: 1 %
        assert!((variance / wanted - 1.0).abs() < 0.04, "{variance} {wanted}");
    }
}
