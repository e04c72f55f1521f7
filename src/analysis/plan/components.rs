//! What a plan takes the scatter to be: estimated where the log shows it, else declared, else a guess; never better
//! known than it is.

use rand::Rng;
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};

use crate::analysis::antennas::fitted::FittedSet;
use crate::analysis::antennas::sources::SetSources;
use crate::montecarlo::simultaneous::SetFit;
use crate::radio::quantity::{Quantity, Scale};
use crate::season::config::Scope;
use crate::stats::mixed::{Level, LevelState, Theta};

/// Degrees of freedom a guess is taken to be worth: it may well be off by half.
const GUESS_DF: f64 = 4.0;

/// A drawn component is no more than this multiple of its estimate: on one degree of freedom the draws have no mean.
const MOST: f64 = 25.0;

/// Where a component's size comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Estimated from the log.
    Seen,
    /// The log cannot tell it from the level outside it, and it is reckoned there.
    CountedOutside,
    /// Declared in season.toml.
    Declared,
    /// A typical size.
    Guessed,
}

/// The components a plan rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Variances, outermost level first.
    pub theta: Theta,
    /// Where each comes from.
    pub origin: [Origin; 4],
    /// The components as the log's own model has them: what holds two levels at the inner one.
    pub fitted: Theta,
    /// For each level, the one of `fitted` that stands there.
    stands_for: [Option<usize>; 4],
    error: Theta,
}

impl Components {
    /// The components of a set, its declared sources and typical sizes standing in for levels the log does not show.
    /// `None` where such a level is neither declared nor known from other seasons of that quantity.
    pub fn of(fitted: Option<&FittedSet>, sources: &SetSources, quantity: &Quantity) -> Option<Components> {
        let unseen = |k: usize| {
            let scope = [Scope::Session, Scope::Visit, Scope::Mounting, Scope::Reading][k];
            let declared = sources.declared_standard(scope).map(|sd| (sd, Origin::Declared));
            declared.or_else(|| typical(quantity).map(|sd| (sd[k], Origin::Guessed)))
        };
        Components::from_fit(fitted.and_then(|f| f.fit.as_ref()), unseen)
    }

    /// The components of a fit. Where the log cannot tell two levels apart, their common scatter is reckoned at the
    /// outer one: a plan then never promises that repeating the inner one helps. `unseen` gives the standard
    /// deviation of a level that the log does not show, by its place; `None` from it ends in `None`.
    pub fn from_fit(fit: Option<&SetFit>, unseen: impl Fn(usize) -> Option<(f64, Origin)>) -> Option<Components> {
        let states = fit.map_or([LevelState::Unseen; 4], |f| f.layout.states());
        let mut out = Components {
            fitted: fit.map_or([0.0; 4], |f| f.inference.components),
            origin: [Origin::Seen; 4],
            ..Components::known([0.0; 4])
        };
        for k in 0..4 {
            match (states[k], fit.map(|f| &f.inference)) {
                (LevelState::Seen, Some(i)) => {
                    (out.theta[k], out.error[k]) = (i.components[k], i.component_errors[k]);
                    out.stands_for[k] = Some(k);
                }
                (LevelState::MergedInto(_), _) => {}
                _ => {
                    let (sd, origin) = unseen(k)?;
                    (out.theta[k], out.origin[k]) = (sd * sd, origin);
                    out.error[k] = if origin == Origin::Guessed { sd * sd * (2.0 / GUESS_DF).sqrt() } else { 0.0 };
                }
            }
        }
        // outwards, innermost first: what a level holds for one outside it goes there
        for k in [1, 2] {
            if let LevelState::MergedInto(into) = states[k] {
                let from = Level::ALL.iter().position(|l| *l == into).unwrap_or(3);
                if out.origin[from] == Origin::Seen {
                    (out.theta[k], out.error[k]) = (out.theta[from], out.error[from]);
                    (out.theta[from], out.error[from]) = (0.0, 0.0);
                    out.stands_for.swap(k, from);
                    out.origin[from] = Origin::CountedOutside;
                } else {
                    out.origin[k] = Origin::CountedOutside;
                }
            }
        }
        if let LevelState::MergedInto(_) = states[0] {
            out.origin[0] = Origin::CountedOutside;
        }
        Some(out)
    }

    /// The components that are as declared.
    pub fn known(theta: Theta) -> Components {
        Components { theta, origin: [Origin::Declared; 4], fitted: [0.0; 4], stands_for: [None; 4], error: [0.0; 4] }
    }

    /// Components of the log's own model, each at the level it is reckoned at here.
    pub fn outwards(&self, fitted: Theta) -> Theta {
        std::array::from_fn(|k| self.stands_for[k].map_or(0.0, |from| fitted[from]))
    }

    /// One draw of what they may truly be, each by itself: a chi-squared's doubt about each that is above zero, half a normal's
    /// about one estimated at zero.
    pub fn draw(&self, rng: &mut impl Rng) -> Theta {
        std::array::from_fn(|k| {
            let (theta, error) = (self.theta[k], self.error[k]);
            if !(error > 0.0) {
                return theta;
            }
            if !(theta > 0.0) {
                return error * RngExt::sample::<f64, _>(rng, StandardNormal).abs();
            }
            let df = (2.0 * (theta / error).powi(2)).max(1.0);
            let drawn = ChiSquared::new(df).map_or(df, |chi| RngExt::sample(rng, chi));
            theta * (df / drawn).min(MOST)
        })
    }

    /// What share of one reading's scatter inside a session lies between visits, mountings and readings. Sessions
    /// move all antennas alike and are gone from a difference.
    pub fn shares(&self) -> [f64; 3] {
        let inside = &self.theta[1..];
        let sum: f64 = inside.iter().sum();
        std::array::from_fn(|k| if sum > 0.0 { inside[k] / sum } else { 0.0 })
    }

    /// The same of the mean of a visit of so many mountings of so many readings.
    pub fn shares_of_visit(&self, mountings: f64, readings: f64) -> [f64; 3] {
        let parts = [self.theta[1], self.theta[2] / mountings, self.theta[3] / (mountings * readings)];
        let sum: f64 = parts.iter().sum();
        parts.map(|p| if sum > 0.0 { p / sum } else { 0.0 })
    }
}

/// Typical standard deviations on the analysis scale, session, visit, mounting, reading: common practice, no source;
/// to be replaced by the season's own as soon as it has some.
fn typical(quantity: &Quantity) -> Option<[f64; 4]> {
    match quantity.scale {
        Scale::ReflectionFromSwr | Scale::ReflectionFromReturnLoss => Some([0.02, 0.008, 0.012, 0.004]),
        _ if quantity.is_reflection() => Some([0.02, 0.008, 0.012, 0.004]),
        Scale::PowerDecibel => Some([0.3, 0.1, 0.15, 0.05]),
        Scale::AmplitudeDecibel => Some([0.3, 0.15, 0.25, 0.05]),
        Scale::AsRead if quantity.name == "field_strength" => Some([1.0, 0.4, 0.5, 0.2]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;

    #[test]
    fn drawn_components_spread_as_their_degrees_of_freedom_say() {
        let components = Components { error: [0.0, 0.5, 0.3, 0.0], ..Components::known([0.0, 1.0, 0.0, 2.0]) };
        let mut rng = stream(1, 1, 0);
        let draws: Vec<Theta> = (0..20_000).map(|_| components.draw(&mut rng)).collect();
        let mean = |k: usize| draws.iter().map(|t| t[k]).sum::<f64>() / draws.len() as f64;
        // 8 degrees of freedom: the mean of 8/χ²₈ is 8/6
        assert!((mean(1) - 8.0 / 6.0).abs() < 0.02, "{}", mean(1));
        // |N(0, 0.3)| has the mean 0.3·√(2/π)
        assert!((mean(2) - 0.3 * (2.0 / std::f64::consts::PI).sqrt()).abs() < 0.01, "{}", mean(2));
        assert!(draws.iter().all(|t| t[0] == 0.0 && t[3] == 2.0));
    }

    #[test]
    fn shares_of_a_visit_move_outwards_as_one_repeats() {
        let components = Components::known([1.0, 0.2, 0.6, 0.2]);
        assert_eq!(components.shares(), [0.2, 0.6, 0.2].map(|x: f64| x / 1.0));
        let visit = components.shares_of_visit(3.0, 2.0);
        assert!((visit[0] - 0.2 / (0.2 + 0.2 + 0.2 / 6.0)).abs() < 1e-12);
        assert!(visit[2] < 0.1);
    }
}
