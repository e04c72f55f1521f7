//! Declared errors drawn, and their moments: those of a vector, which are not those of its parts, by even steps of its phase.

use rand::Rng;

use super::{Moments, OwnError, SetSources, Term, Treatment};
use crate::montecarlo::shape::Shape;
use crate::radio::reflection::vector_sum;

impl SetSources {
    /// Draws each antenna's declared error into `out`: without sources shared by the season, then, into
    /// `season`, those alone.
    pub fn draw(&self, rng: &mut impl Rng, out: &mut [f64], season: &mut [f64]) {
        out.fill(0.0);
        season.fill(0.0);
        let mut drawn = vec![0.0; out.len()];
        for applied in self.applied.iter().filter(|a| a.treatment != Treatment::HeldByData) {
            let term = &applied.term;
            if applied.treatment == Treatment::Cancels {
                let value = term.shape.draw(rng);
                season.iter_mut().zip(&term.factor).for_each(|(error, factor)| *error += factor * value);
                continue;
            }
            for value in &mut drawn {
                *value = match term.shape {
                    Shape::Vector { .. } => std::f64::consts::TAU * rand::RngExt::random::<f64>(rng),
                    shape => shape.draw(rng),
                };
            }
            for (i, error) in out.iter_mut().enumerate() {
                let value = drawn[term.group[i]];
                *error += match term.shape {
                    Shape::Vector { half_width } => self.vector_error(i, half_width, value),
                    _ => term.factor[i] * value,
                };
            }
        }
    }

    /// Draws the declared errors of all antennas into `out`, each in its parts: as [`SetSources::draw`] does, with
    /// waves kept as waves. A wave is worked out for the antennas that are `wanted` alone; the others' random
    /// numbers are drawn all the same, so that an antenna's errors do not hang on who else is asked about.
    pub fn draw_parts(&self, rng: &mut impl Rng, wanted: &[usize], out: &mut [OwnError]) {
        out.fill(OwnError::default());
        let mut drawn = vec![0.0; out.len()];
        for applied in self.applied.iter().filter(|a| a.treatment != Treatment::HeldByData) {
            let term = &applied.term;
            if let Shape::Vector { half_width } = term.shape {
                for (antenna, error) in out.iter_mut().enumerate() {
                    let phase = std::f64::consts::TAU * rand::RngExt::random::<f64>(rng);
                    if wanted.contains(&antenna) {
                        error.wave[0] += half_width * self.line_factor * phase.cos();
                        error.wave[1] += half_width * self.line_factor * phase.sin();
                    }
                }
                continue;
            }
            drawn.iter_mut().for_each(|value| *value = term.shape.draw(rng));
            for (i, error) in out.iter_mut().enumerate() {
                let value = term.factor[i] * drawn[term.group[i]];
                match applied.treatment {
                    Treatment::Cancels => error.season += value,
                    Treatment::DeclaredNotSeen => error.unseen += value,
                    Treatment::Added | Treatment::HeldByData => error.fixed += value,
                }
            }
        }
    }

    /// Whether a source adds a false wave to the reflection.
    pub fn has_wave(&self) -> bool {
        self.applied
            .iter()
            .any(|a| matches!(a.term.shape, Shape::Vector { .. }) && a.treatment != Treatment::HeldByData)
    }

    /// |Γ − d·e^jφ| − |Γ| at the antenna, for the |Γ| that was read: what the true one may differ by.
    fn vector_error(&self, antenna: usize, length: f64, phase: f64) -> f64 {
        let read = self.values[antenna].max(0.0) / self.line_factor;
        (vector_sum(read, length, phase) - read) * self.line_factor
    }

    pub(super) fn moments(&self, term: &Term, antenna: usize) -> Moments {
        match term.shape {
            Shape::Vector { half_width } => {
                let all = || (0..self.values.len()).map(|a| self.vector_moments(a, half_width)).collect();
                term.moments.get_or_init(all)[antenna]
            }
            shape => Moments { mean: 0.0, variance: (term.factor[antenna] * shape.standard()).powi(2) },
        }
    }

    fn vector_moments(&self, antenna: usize, length: f64) -> Moments {
        let steps = 720; // even steps over a period: exact to rounding for a smooth function
        let errors = (0..steps).map(|s| {
            let phase = std::f64::consts::TAU * (f64::from(s) + 0.5) / f64::from(steps);
            self.vector_error(antenna, length, phase)
        });
        let (mut sum, mut square) = (0.0, 0.0);
        for e in errors {
            sum += e;
            square += e * e;
        }
        let mean = sum / f64::from(steps);
        Moments { mean, variance: square / f64::from(steps) - mean * mean }
    }
}
