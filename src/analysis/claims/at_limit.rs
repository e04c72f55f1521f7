//! Readings held against one limit, as often as needed: where each draw passes the limit is found once and put in
//! bins, so that a risk at any reading is a count in one bin and not a walk through all draws.

use super::errors::{Errors, bisect};
use crate::montecarlo::counted::Counted;

/// For each draw, where |x + shift + w| passes a limit as x goes up; w is the draw's false wave, and a negative
/// x + shift counts as none. Without a wave it is x + shift itself that passes.
pub struct Crossings {
    /// Above these the draw is over the limit.
    rising: Counted,
    /// Below these it is, too. A wave longer than the limit alone may be over it, and less so with some x.
    falling: Counted,
    /// Draws over the limit at every x.
    always: usize,
}

/// One draw, on its way past a limit.
pub struct Passing {
    /// Modulus of the false wave and the cosine of its phase.
    pub wave: Option<[f64; 2]>,
    /// The limit.
    pub limit: f64,
    /// What is added to x.
    pub shift: f64,
}

impl Crossings {
    /// Of many draws.
    pub fn new(draws: impl Iterator<Item = Passing>) -> Crossings {
        let (mut rising, mut falling, mut always) = (vec![], vec![], 0);
        for Passing { wave, limit, shift } in draws {
            let Some([length, cosine]) = wave else {
                rising.push(limit - shift);
                continue;
            };
            // a² + 2·a·(w·cos φ) + w² = limit², solved for a ≥ 0
            let along = length * cosine;
            let across = limit * limit - length * length * (1.0 - cosine * cosine);
            if limit >= length {
                rising.push(across.max(0.0).sqrt() - along - shift);
            } else if limit >= 0.0 && along < 0.0 && across > 0.0 {
                rising.push(across.sqrt() - along - shift);
                falling.push(-across.sqrt() - along - shift);
            } else {
                always += 1;
            }
        }
        Crossings { rising: Counted::new(rising), falling: Counted::new(falling), always }
    }

    /// Share of the draws that are over the limit at x.
    pub fn over(&self, x: f64) -> f64 {
        self.share(self.draws_over(x))
    }

    /// Share of the draws that are under it.
    pub fn under(&self, x: f64) -> f64 {
        self.share(self.draws_under(x))
    }

    /// Share of the draws that are over the limit or at it.
    pub fn not_under(&self, x: f64) -> f64 {
        self.share(self.draws() - self.draws_under(x))
    }

    /// Share of the draws that are under the limit or at it.
    pub fn not_over(&self, x: f64) -> f64 {
        self.share(self.draws() - self.draws_over(x))
    }

    fn draws_over(&self, x: f64) -> usize {
        self.rising.below(x) + self.falling.size() - self.falling.up_to(x) + self.always
    }

    fn draws_under(&self, x: f64) -> usize {
        // a draw that falls rises later: under the limit it is past the one and short of the other
        (self.rising.size() - self.rising.up_to(x)) - (self.falling.size() - self.falling.below(x))
    }

    fn draws(&self) -> usize {
        self.rising.size() + self.always
    }

    fn share(&self, hits: usize) -> f64 {
        hits as f64 / self.draws().max(1) as f64
    }
}

/// One side of a shift at the limit.
struct Side {
    turned: Crossings,
    /// Readings that the limit itself gives; none without a false wave, when they say nothing new.
    straight: Counted,
    /// Readings that a perfect match gives; none likewise.
    matched: Counted,
}

/// A value's errors at one limit: what [`Errors::risk_above`] and [`Errors::risk_below`] answer there.
pub struct AtLimit<'a> {
    errors: &'a Errors,
    limit: f64,
    sides: Vec<Side>,
}

impl<'a> AtLimit<'a> {
    /// Of a value with those errors.
    pub fn new(errors: &'a Errors, limit: f64) -> AtLimit<'a> {
        let sides = errors
            .sides()
            .iter()
            .map(|draws| {
                let given = |truth: f64| match errors.has_wave() {
                    true => Counted::new(errors.straight_on(draws, truth).collect()),
                    false => Counted::new(vec![]),
                };
                Side {
                    turned: Crossings::new(errors.passing(draws, limit)),
                    straight: given(limit),
                    matched: if limit > 0.0 { given(0.0) } else { Counted::new(vec![]) },
                }
            })
            .collect();
        AtLimit { errors, limit, sides }
    }

    /// Whether a reading shows, at that risk, that the true value is at most the limit.
    fn shows_below(&self, y: f64, risk: f64) -> bool {
        let easiest = self.errors.easiest(y);
        self.sides.iter().zip(self.errors.sides()).all(|(side, draws)| {
            let as_low = side.straight.up_to(y) as f64 / side.straight.size().max(1) as f64;
            side.turned.over(y) <= risk
                && as_low <= risk
                && (easiest <= self.limit || self.errors.as_low(draws, easiest, y) <= risk)
        })
    }

    /// Whether a reading shows, at that risk, that the true value is at least the limit.
    fn shows_above(&self, y: f64, risk: f64) -> bool {
        let as_high = |given: &Counted| (given.size() - given.below(y)) as f64 / given.size().max(1) as f64 <= risk;
        let still = self.limit <= 0.0; // no |Γ| is below
        self.sides
            .iter()
            .all(|side| side.turned.under(y) <= risk && (still || as_high(&side.straight) && as_high(&side.matched)))
    }

    /// The largest reading that shows, at that risk, a true value of at most the limit; `None` where none does.
    pub fn largest_below(&self, risk: f64) -> Option<f64> {
        self.threshold(-1.0, |y| self.shows_below(y, risk))
    }

    /// The smallest reading that shows, at that risk, a true value of at least the limit; `None` where none does.
    pub fn smallest_above(&self, risk: f64) -> Option<f64> {
        self.threshold(1.0, |y| self.shows_above(y, risk))
    }

    /// Goes from the limit in one direction to where readings begin to `show` what is asked.
    fn threshold(&self, direction: f64, show: impl Fn(f64) -> bool) -> Option<f64> {
        let reach = self.errors.reach(self.limit);
        let mut far = self.limit + direction * reach;
        if self.errors.has_wave() {
            far = far.max(0.0); // no |Γ| reads below
        }
        show(far).then(|| bisect(far, self.limit - direction * reach, show))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_in_bins_answers_as_a_walk_through_all_draws_does() {
        // waves shorter and longer than the limit, at every phase, and shifts that make x + shift negative
        let draws: Vec<([f64; 2], f64)> = (0..2000)
            .map(|i| {
                let phase = f64::from(i) * 0.618_033_988;
                ([0.02 + 0.2 * f64::from(i % 7), phase.cos()], 0.1 * (phase * 3.7).sin())
            })
            .collect();
        for limit in [-0.1, 0.0, 0.05, 0.3, 2.0] {
            let passing = draws.iter().map(|(wave, shift)| Passing { wave: Some(*wave), limit, shift: *shift });
            let crossings = Crossings::new(passing);
            for step in 0..40 {
                let x = 0.0537 * f64::from(step) - 0.2;
                let value = |([w, c], shift): &([f64; 2], f64)| {
                    let a = (x + shift).max(0.0);
                    (a * a + w * w + 2.0 * a * w * c).max(0.0).sqrt()
                };
                let share = |holds: &dyn Fn(f64) -> bool| {
                    draws.iter().filter(|d| holds(value(d))).count() as f64 / draws.len() as f64
                };
                assert_eq!(crossings.over(x), share(&|v| v > limit), "{limit} {x}");
                assert_eq!(crossings.under(x), share(&|v| v < limit), "{limit} {x}");
            }
        }
    }

    #[test]
    fn a_draw_right_at_the_limit_is_neither_over_nor_under() {
        let at = Crossings::new([Passing { wave: None, limit: 2.0, shift: 0.5 }].into_iter());
        assert_eq!((at.over(1.5), at.under(1.5)), (0.0, 0.0));
        assert_eq!((at.over(1.6), at.under(1.4)), (1.0, 1.0));
    }
}
