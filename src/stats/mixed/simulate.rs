//! New data on an old structure: what a replay's season reads.

use rand::{Rng, RngExt};
use rand_distr::{ChiSquared, StandardNormal};

use super::layout::{Data, Layout};
use super::likelihood::Theta;

/// Draws the sufficient statistics of a set directly from their distributions, all antennas equal:
/// cell means are normal, pooled sums of squares chi-squared.
#[derive(Debug, Clone)]
pub struct Simulator<'a> {
    layout: &'a Layout,
    session_sd: f64,
    visit_sd: f64,
    cell_sd: Vec<f64>,
    class_scatter: Vec<Option<(f64, ChiSquared<f64>)>>,
    reading_scatter: Option<(f64, ChiSquared<f64>)>,
}

impl<'a> Simulator<'a> {
    /// For components θ ≥ 0 (a negative one is taken as 0).
    pub fn new(layout: &'a Layout, theta: &Theta) -> Simulator<'a> {
        let [session, visit, mounting, reading] = theta.map(|t| t.max(0.0));
        let omega = |n: f64| mounting + reading / n;
        let scatter = |variance: f64, df: f64| ChiSquared::new(df).ok().map(|chi| (variance, chi));
        Simulator {
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
        for session in &self.layout.sessions {
            let session_error: f64 = self.session_sd * rng.sample::<f64, _>(StandardNormal);
            for visit in &self.layout.visits[session.clone()] {
                let visit_error = session_error + self.visit_sd * rng.sample::<f64, _>(StandardNormal);
                for cell in visit.cells.clone() {
                    data.cell_mean[cell] = visit_error + self.cell_sd[cell] * rng.sample::<f64, _>(StandardNormal);
                }
            }
        }
        let chi = |scatter: &Option<(f64, ChiSquared<f64>)>, rng: &mut _| match scatter {
            Some((variance, chi)) => variance * RngExt::sample(rng, *chi),
            None => 0.0,
        };
        for (ss, scatter) in data.class_ss.iter_mut().zip(&self.class_scatter) {
            *ss = chi(scatter, rng);
        }
        data.reading_ss = chi(&self.reading_scatter, rng);
    }
}
