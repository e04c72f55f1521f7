//! A season with known truth: its readings' sufficient statistics, and the truth behind them.

use daylight::montecarlo::stream::{Stream, stream};
use daylight::radio::reflection::{directivity_error, vector_sum};
use daylight::season::config::Scope;
use daylight::stats::mixed::MountingSummary;
use rand::RngExt;
use rand_distr::{Exp1, StandardNormal, StudentT};

use crate::design::{Design, Errors, Plan};

/// Streams of the simulated seasons, apart from those of the program's own replays.
const SEASON_TASK: u64 = 1 << 22;

/// One simulated season.
pub struct Season {
    /// Mountings, numbered as the program numbers them.
    pub mountings: Vec<MountingSummary>,
    /// True value of each antenna.
    pub truth: Vec<f64>,
}

struct Draws<'a> {
    rng: Stream,
    design: &'a Design,
}

impl Draws<'_> {
    fn error(&mut self, sd: f64) -> f64 {
        let unit = match self.design.errors {
            Errors::Normal => self.rng.sample(StandardNormal),
            Errors::Skewed => self.rng.sample::<f64, _>(Exp1) - 1.0,
            Errors::Heavy => {
                let t = StudentT::new(4.0).expect("positive degrees of freedom");
                self.rng.sample(t) / 2f64.sqrt()
            }
        };
        sd * unit
    }

    fn source(&mut self, scope: Scope) -> f64 {
        let shapes: Vec<_> = self.design.sources.iter().filter(|s| s.0 == scope).map(|s| s.1).collect();
        shapes.into_iter().map(|shape| shape.draw(&mut self.rng)).sum()
    }
}

/// Simulates season `id` of a design.
pub fn simulate(design: &Design, id: u64) -> Season {
    let mut draws = Draws { rng: stream(id, SEASON_TASK, 0), design };
    let truth = truth(design);
    let present = visits(design, &mut draws);
    let season_error = draws.source(Scope::Season);
    let own: Vec<f64> = truth
        .iter()
        .map(|&t| {
            let value = t + draws.source(Scope::Antenna) + season_error;
            match design.directivity {
                None => value,
                Some(d) => vector_sum(value, directivity_error(d), std::f64::consts::TAU * draws.rng.random::<f64>()),
            }
        })
        .collect();
    let mut mountings = vec![];
    for session in 0..design.sessions {
        let day = draws.error(design.sd[0]) + draws.source(Scope::Session);
        for antenna in 0..design.antennas {
            if !present[session][antenna] {
                continue;
            }
            let visit = own[antenna] + day + draws.error(design.sd[1]) + draws.source(Scope::Visit);
            let uneven = design.plan == Plan::Uneven;
            let count = if uneven { 1 + draws.rng.random_range(0..design.mountings) } else { design.mountings };
            for _ in 0..count {
                let mounting = visit + draws.error(design.sd[2]) + draws.source(Scope::Mounting);
                let n = if uneven { 1 + draws.rng.random_range(0..design.readings) } else { design.readings };
                let readings: Vec<f64> = (0..n)
                    .map(|_| {
                        let y = mounting + draws.error(design.sd[3]) + draws.source(Scope::Reading);
                        let y = if design.directivity.is_some() { y.max(0.0) } else { y };
                        if design.step > 0.0 { (y / design.step).round() * design.step } else { y }
                    })
                    .collect();
                mountings.push(summary(session, antenna, &readings));
            }
        }
    }
    Season { mountings, truth }
}

/// What the antennas truly are: all alike where the truth can be shifted afterwards; else half of them a
/// little apart, placed where rounding or the match makes trouble.
fn truth(design: &Design) -> Vec<f64> {
    (0..design.antennas)
        .map(|a| match design.directivity {
            Some(d) => directivity_error(d) * [0.3, 0.3, 1.0, 1.0, 3.0, 3.0][a % 6],
            None => 0.37 * design.step,
        })
        .collect()
}

/// Which visits take place: drawn again until every antenna has one.
fn visits(design: &Design, draws: &mut Draws) -> Vec<Vec<bool>> {
    loop {
        let mut present = vec![vec![false; design.antennas]; design.sessions];
        for (session, row) in present.iter_mut().enumerate() {
            for (antenna, cell) in row.iter_mut().enumerate() {
                *cell = match design.plan {
                    Plan::Complete | Plan::Uneven => true,
                    Plan::Missing(p) => draws.rng.random::<f64>() < p,
                    Plan::Linked(times) => {
                        antenna == 0 || (0..times).any(|t| (antenna + t) % design.sessions == session)
                    }
                };
            }
        }
        if (0..design.antennas).all(|a| present.iter().any(|row| row[a])) {
            return present;
        }
    }
}

fn summary(session: usize, antenna: usize, readings: &[f64]) -> MountingSummary {
    let n = readings.len() as f64;
    let mean = readings.iter().sum::<f64>() / n;
    MountingSummary {
        session,
        antenna,
        readings: n,
        df: n - 1.0,
        mean,
        sum_of_squares: readings.iter().map(|y| (y - mean).powi(2)).sum(),
    }
}
