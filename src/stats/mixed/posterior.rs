//! What the components, and where the antennas stand, may truly be given a log: draws from their joint posterior.
//! Plans average over it; verdicts never rest on it.
//!
//! The scatter between antennas, τ² on p − 1 degrees of freedom, is one more component: what is known of an antenna by a
//! few scattered readings leans towards the others, as it should where those that look far apart are asked about because
//! they do. Where the log is good against τ, nothing leans.
//!
//! Symbols, beside those of [`super`]: λ_k the mean square that a level's own scatter and all inside it give, as of one
//! of its units, λ_r = σ²_e, λ_m = σ²_m + λ_r/n, λ_v = σ²_v + λ_m/m, λ_s = σ²_s + λ_v/a, λ_A = τ² + λ_v/s, with n, m, a, s
//! the mean numbers of readings of a mounting, mountings of a visit, visits of a session and of an antenna.
//!
//! # Sources
//! The prior, flat in every log λ_k and none where a component would be negative: Tiao & Tan (1965), *Biometrika* 52:37–53;
//! Box & Tiao (1973), *Bayesian Inference in Statistical Analysis*, ch. 5. Drawing: Metropolis et al. (1953), *Journal of
//! Chemical Physics* 21:1087–1092, one log λ at a time. (Cited from memory.)

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;

use super::layout::{Data, Layout};
use super::levels::LevelState;
use super::likelihood::Workspace;
use super::small_matrix::cholesky;
use super::weights::Theta;

/// Sweeps before the first draw, and between two: each moves every log λ once.
const BURN_IN: usize = 300;
const BETWEEN: usize = 8;
/// A log λ strays no further from where it began: where readings do not scatter at all, nothing else would hold it.
const FARTHEST: f64 = 25.0;
/// τ² is no less than this part of what the visits give an antenna's mean.
const LEAST_TAU: f64 = 1e-6;
/// The place of λ_A among the λ, after the four levels.
const ANTENNA: usize = 4;

/// One draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// The components; zero where a level is merged or unseen.
    pub theta: Theta,
    /// Where each antenna stands, on the analysis scale.
    pub antennas: Vec<f64>,
}

/// So many draws, from a chain that begins at `start`, the components as fitted. `None` where the log shows no scatter to
/// begin with.
pub fn draws(
    layout: &Layout,
    data: &Data,
    start: &Theta,
    floor: f64,
    count: usize,
    rng: &mut impl Rng,
) -> Option<Vec<Draw>> {
    let mut chain = Chain::new(layout, data, start, floor)?;
    (0..BURN_IN).for_each(|_| chain.sweep(rng));
    let drawn = (0..count).map(|_| {
        (0..BETWEEN).for_each(|_| chain.sweep(rng));
        chain.draw(rng)
    });
    drawn.collect()
}

/// The numbers of units inside one unit, on the mean.
struct Multiples {
    readings: f64,
    mountings: f64,
    visits: f64,
    visits_of_antenna: f64,
}

impl Multiples {
    fn of(layout: &Layout) -> Multiples {
        let (visits, mountings) = (layout.visits.len() as f64, layout.mountings() as f64);
        Multiples {
            readings: layout.readings() / mountings,
            mountings: mountings / visits,
            visits: visits / layout.sessions() as f64,
            visits_of_antenna: visits / layout.antennas() as f64,
        }
    }

    /// Each level's λ from the components and τ².
    fn lambda(&self, theta: &Theta, tau_squared: f64) -> [f64; 5] {
        let reading = theta[3];
        let mounting = theta[2] + reading / self.readings;
        let visit = theta[1] + mounting / self.mountings;
        [theta[0] + visit / self.visits, visit, mounting, reading, tau_squared + visit / self.visits_of_antenna]
    }

    /// The components and τ² that λ, given for the `free` ones, stands for; the others' components are nothing.
    fn theta(&self, log_lambda: &[f64; 5], free: &[bool; 5]) -> (Theta, f64) {
        let own = |k: usize, inside: f64| if free[k] { log_lambda[k].exp() - inside } else { 0.0 };
        let reading = own(3, 0.0);
        let mounting = own(2, reading / self.readings);
        let inside_visit = (mounting + reading / self.readings) / self.mountings;
        let visit = own(1, inside_visit);
        let lambda = visit + inside_visit;
        let tau_squared = own(ANTENNA, lambda / self.visits_of_antenna);
        ([own(0, lambda / self.visits), visit, mounting, reading], tau_squared)
    }
}

struct Chain<'a> {
    layout: &'a Layout,
    data: &'a Data,
    floor: f64,
    multiples: Multiples,
    free: [bool; 5],
    /// Standard deviation of a proposal for each log λ.
    step: [f64; 5],
    begin: [f64; 5],
    log_lambda: [f64; 5],
    /// −2 × the log posterior density, up to a constant.
    criterion: f64,
    workspace: Workspace,
    scratch: Vec<f64>,
}

impl<'a> Chain<'a> {
    fn new(layout: &'a Layout, data: &'a Data, start: &Theta, floor: f64) -> Option<Chain<'a>> {
        let multiples = Multiples::of(layout);
        let p = layout.antennas();
        let active = layout.active();
        let free: [bool; 5] = std::array::from_fn(|k| if k == ANTENNA { p > 1 } else { active[k] });
        // a component estimated at nothing begins a little above it: an eighth of what lies inside
        let mut theta = [0.0; 4];
        for k in (0..4).rev().filter(|&k| free[k]) {
            theta[k] = start[k].max(multiples.lambda(&theta, 0.0)[k] / 8.0);
        }
        let mut chain = Chain {
            floor,
            free,
            step: steps(layout),
            begin: [0.0; 5],
            log_lambda: [0.0; 5],
            criterion: f64::INFINITY,
            workspace: Workspace::new(layout),
            scratch: vec![0.0; p * p],
            multiples,
            layout,
            data,
        };
        if !chain.workspace.evaluate(layout, data, &theta, floor) {
            return None;
        }
        let beta = chain.workspace.beta();
        let mean = beta.iter().sum::<f64>() / p as f64;
        let spread = beta.iter().map(|b| (b - mean).powi(2)).sum::<f64>() / (p as f64 - 1.0).max(1.0);
        chain.begin = chain.multiples.lambda(&theta, spread.max(f64::MIN_POSITIVE)).map(f64::ln);
        chain.begin[ANTENNA] = chain.begin[ANTENNA].max(chain.begin[1] - chain.multiples.visits_of_antenna.ln() + 0.1);
        chain.log_lambda = chain.begin;
        chain.criterion = chain.criterion_at(&chain.begin.clone())?;
        Some(chain)
    }

    /// −2 × the log posterior density at λ, where it is not nothing. The workspace stands there afterwards.
    fn criterion_at(&mut self, log_lambda: &[f64; 5]) -> Option<f64> {
        let (theta, tau_squared) = self.multiples.theta(log_lambda, &self.free);
        let strayed = log_lambda.iter().zip(&self.begin).any(|(y, begin)| (y - begin).abs() > FARTHEST);
        if strayed || theta.iter().any(|t| *t < 0.0) {
            return None;
        }
        let inside = self.multiples.lambda(&theta, 0.0)[ANTENNA];
        if self.free[ANTENNA] && tau_squared < LEAST_TAU * inside {
            return None;
        }
        if !self.workspace.evaluate(self.layout, self.data, &theta, self.floor) {
            return None;
        }
        let between = if self.free[ANTENNA] { self.between_antennas(tau_squared)? } else { 0.0 };
        Some(self.workspace.criterion + between)
    }

    /// −2 × the log density of β̂ about a common level of which nothing is known, with variance Φ + τ²·I.
    fn between_antennas(&mut self, tau_squared: f64) -> Option<f64> {
        let p = self.layout.antennas();
        self.scratch.copy_from_slice(self.workspace.weights().phi());
        (0..p).for_each(|i| self.scratch[i * p + i] += tau_squared);
        let log_det = cholesky(&mut self.scratch, p)?;
        // u = L⁻¹β̂, v = L⁻¹1
        let (mut u, mut v) = (vec![0.0; p], vec![0.0; p]);
        for i in 0..p {
            let (row, pivot) = (&self.scratch[i * p..i * p + i], self.scratch[i * p + i]);
            let solved = |x: &[f64], right: f64| (right - dot(row, &x[..i])) / pivot;
            let next = (solved(&u, self.workspace.beta()[i]), solved(&v, 1.0));
            (u[i], v[i]) = next;
        }
        let vv = dot(&v, &v);
        Some(log_det + vv.ln() + dot(&u, &u) - dot(&u, &v).powi(2) / vv)
    }

    fn sweep(&mut self, rng: &mut impl Rng) {
        let free = self.free;
        for k in (0..5).filter(|&k| free[k]) {
            let mut proposed = self.log_lambda;
            proposed[k] += self.step[k] * RngExt::sample::<f64, _>(rng, StandardNormal);
            let chance: f64 = rng.random();
            if let Some(criterion) = self.criterion_at(&proposed)
                && chance.ln() < (self.criterion - criterion) / 2.0
            {
                (self.log_lambda, self.criterion) = (proposed, criterion);
            }
        }
    }

    /// The components where the chain stands, and the antennas drawn given them: of precision H + (I − 11ᵀ/p)/τ² about
    /// that times H·β̂.
    fn draw(&mut self, rng: &mut impl Rng) -> Option<Draw> {
        let (theta, tau_squared) = self.multiples.theta(&self.log_lambda, &self.free);
        if !self.workspace.evaluate(self.layout, self.data, &theta, self.floor) {
            return None;
        }
        let p = self.layout.antennas();
        let (factor, beta) = (self.workspace.weights().factor(), self.workspace.beta());
        let shrink = if self.free[ANTENNA] { 1.0 / tau_squared } else { 0.0 };
        let mut antennas = vec![0.0; p];
        for i in 0..p {
            for j in 0..p {
                let h = dot(&factor[i * p..i * p + i.min(j) + 1], &factor[j * p..j * p + i.min(j) + 1]);
                antennas[i] += h * beta[j];
                self.scratch[i * p + j] = h + shrink * (f64::from(i == j) - 1.0 / p as f64);
            }
        }
        cholesky(&mut self.scratch, p)?;
        let l = &self.scratch;
        // forwards: L⁻¹(H·β̂), and a standard normal deviate on each; then back: L⁻ᵀ of the sum
        for i in 0..p {
            antennas[i] = (antennas[i] - dot(&l[i * p..i * p + i], &antennas[..i])) / l[i * p + i];
        }
        antennas.iter_mut().for_each(|x| *x += RngExt::sample::<f64, _>(rng, StandardNormal));
        for i in (0..p).rev() {
            let tail: f64 = (i + 1..p).map(|k| l[k * p + i] * antennas[k]).sum();
            antennas[i] = (antennas[i] - tail) / l[i * p + i];
        }
        antennas.iter_mut().for_each(|x| *x += self.data.centre);
        Some(Draw { theta, antennas })
    }
}

/// Steps that suit a chi-squared on each stratum's degrees of freedom, those of strata merged into it included.
fn steps(layout: &Layout) -> [f64; 5] {
    let (strata, states) = (layout.strata(), layout.states());
    std::array::from_fn(|k| {
        let merged = |j: &usize| matches!(states[*j], LevelState::MergedInto(into) if into as usize == k);
        let df = match k {
            ANTENNA => layout.antennas() as f64 - 1.0,
            _ => strata[k] + (0..4).filter(merged).map(|j| strata[j]).sum::<f64>(),
        };
        2.4 * (2.0 / df.max(1.0)).sqrt()
    })
}

fn dot(x: &[f64], y: &[f64]) -> f64 {
    x.iter().zip(y).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::mixed::{MountingSummary, infer};
    use rand::SeedableRng;
    use statrs::distribution::{ChiSquared, ContinuousCDF};

    fn mounting(session: usize, antenna: usize, mean: f64, readings: f64, sum_of_squares: f64) -> MountingSummary {
        MountingSummary { session, antenna, readings, df: readings - 1.0, mean, sum_of_squares }
    }

    fn drawn(antennas: usize, log: &[MountingSummary], count: usize) -> Vec<Draw> {
        let (layout, data) = Layout::new(antennas, log).unwrap();
        let start = infer(&layout, &data, 0.0).unwrap().components;
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        draws(&layout, &data, &start, 0.0, count, &mut rng).unwrap()
    }

    fn quantile(values: impl Iterator<Item = f64>, level: f64) -> f64 {
        let mut sorted: Vec<f64> = values.collect();
        sorted.sort_by(f64::total_cmp);
        sorted[(level * sorted.len() as f64) as usize]
    }

    /// Antennas far apart, days far apart: no component is held down by the one inside it, and the scatter that is left has
    /// the classical posterior, its sum of squares over a chi-squared.
    #[test]
    fn where_nothing_binds_the_scatter_is_its_sum_of_squares_over_a_chi_squared() {
        let days = [0.0, 400.0, -300.0, 900.0, -700.0, 150.0];
        let off = [0.3, -0.4, 0.5, 0.1, -0.2, -0.3];
        let log: Vec<MountingSummary> = (0..6)
            .flat_map(|s| {
                [mounting(s, 0, days[s] + off[s], 1.0, 0.0), mounting(s, 1, days[s] + 5e3 - off[s], 1.0, 0.0)]
            })
            .collect();
        let draws = drawn(2, &log, 6000);
        // two antennas, ± off: the sum of squares of the residuals is twice that of off about its mean, on 5 df
        let mean = off.iter().sum::<f64>() / 6.0;
        let sum_of_squares = 2.0 * off.iter().map(|o| (o - mean).powi(2)).sum::<f64>();
        let chi = ChiSquared::new(5.0).unwrap();
        for level in [0.1, 0.25, 0.5, 0.75, 0.9] {
            let seen = quantile(draws.iter().map(|d| sum_of_squares / d.theta[1..].iter().sum::<f64>()), level);
            let wanted = chi.inverse_cdf(level);
            // the quantile's own standard error from 6,000 nearly independent draws, four times over
            let error = (level * (1.0 - level) / 6000.0).sqrt() / statrs::distribution::Continuous::pdf(&chi, wanted);
            assert!((seen - wanted).abs() < 5.0 * error, "{level}: {seen} {wanted} ± {error}");
        }
    }

    /// The difference of two such antennas is then a Student t about its estimate.
    #[test]
    fn where_nothing_binds_a_difference_is_a_student_t() {
        let off = [0.3, -0.4, 0.5, 0.1, -0.2, -0.3];
        let log: Vec<MountingSummary> = (0..6)
            .flat_map(|s| {
                let day = 300.0 * (s as f64 - 2.2).powi(2);
                [mounting(s, 0, day + off[s], 1.0, 0.0), mounting(s, 1, day + 5e3 - off[s], 1.0, 0.0)]
            })
            .collect();
        let draws = drawn(2, &log, 6000);
        let mean = off.iter().sum::<f64>() / 6.0;
        let sum_of_squares = 2.0 * off.iter().map(|o| (o - mean).powi(2)).sum::<f64>();
        let standard_error = (2.0 * sum_of_squares / 5.0 / 6.0).sqrt();
        // t on 5 degrees of freedom: quartile 0.7267, 95 % point 2.0150 (tables)
        for (level, wanted) in [(0.25, -0.7267), (0.75, 0.7267), (0.95, 2.0150)] {
            let t = draws.iter().map(|d| (d.antennas[1] - d.antennas[0] - 5e3 + 2.0 * mean) / standard_error);
            let seen = quantile(t, level);
            assert!((seen - wanted).abs() < 0.09, "{level}: {seen} {wanted}");
        }
    }

    #[test]
    fn antennas_that_scatter_no_more_than_their_visits_lean_together_and_others_do_not() {
        let noise = [[0.9, -1.1, 0.2], [-0.6, 0.5, 0.8], [0.1, -0.9, 0.7], [1.2, 0.1, -1.0]];
        let log = |apart: f64| -> Vec<MountingSummary> {
            let of = |s: usize, a: usize| mounting(s, a, noise[s][a] + apart * a as f64, 2.0, 0.1);
            (0..4).flat_map(|s| (0..3).map(move |a| (s, a))).map(|(s, a)| of(s, a)).collect()
        };
        let spread = |draws: &[Draw]| {
            let mean = |a: usize| draws.iter().map(|d| d.antennas[a]).sum::<f64>() / draws.len() as f64;
            mean(2) - mean(0)
        };
        let estimate = |apart: f64| (0..4).map(|s| noise[s][2] - noise[s][0]).sum::<f64>() / 4.0 + 2.0 * apart;
        let near = spread(&drawn(3, &log(0.0), 2000)) / estimate(0.0);
        let far = spread(&drawn(3, &log(20.0), 2000)) / estimate(20.0);
        assert!((0.0..0.7).contains(&near), "{near}");
        assert!((far - 1.0).abs() < 0.01, "{far}");
    }

    #[test]
    fn a_log_without_any_scatter_gives_no_draws() {
        let log: Vec<MountingSummary> =
            (0..3).flat_map(|s| (0..2).map(move |a| mounting(s, a, a as f64, 1.0, 0.0))).collect();
        let (layout, data) = Layout::new(2, &log).unwrap();
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        assert_eq!(draws(&layout, &data, &[0.0; 4], 0.0, 10, &mut rng), None);
    }
}
