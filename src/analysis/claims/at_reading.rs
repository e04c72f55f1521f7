//! One reading held against limits, as often as needed: what each draw makes of the reading is found once and put in
//! bins, so that a risk at any limit is a count in one bin and not a walk through all draws.

use super::at_limit::Crossings;
use super::errors::{Errors, SideDraws, bisect};
use crate::montecarlo::counted::Counted;
use crate::stats::conformity::Limits;

/// One side of a shift, for the reading.
struct Side {
    /// True values it may stand for.
    turned: Counted,
    /// What comes up straight on; none without a false wave, when it says nothing new.
    straight: Option<Straight>,
}

/// Where each draw's true value begins to read higher than the reading, and how often two true values read as it does.
struct Straight {
    crossings: Crossings,
    from_match: f64,
    from_easiest: f64,
}

/// A value's errors at one reading: what [`Errors::risk_above`] and [`Errors::risk_below`] answer there.
pub struct AtReading<'a> {
    errors: &'a Errors,
    /// The true value that most easily reads as low.
    easiest: f64,
    sides: Vec<Side>,
}

impl<'a> AtReading<'a> {
    /// Of a reading `y` with those errors.
    pub fn new(errors: &'a Errors, y: f64) -> AtReading<'a> {
        let easiest = errors.easiest(y);
        let side = |draws: &SideDraws| Side {
            turned: Counted::new(errors.turned_about(draws, y).collect()),
            straight: errors.has_wave().then(|| Straight {
                crossings: Crossings::new(errors.passing_straight(draws, y)),
                from_match: errors.as_high(draws, 0.0, y),
                from_easiest: errors.as_low(draws, easiest, y),
            }),
        };
        AtReading { errors, easiest, sides: errors.sides().iter().map(side).collect() }
    }

    /// The risk in saying that the true value is at most `limit`: [`Errors::risk_above`].
    pub fn risk_above(&self, limit: f64) -> f64 {
        self.worst_side(|Side { turned, straight }| {
            let above = share(turned.size() - turned.up_to(limit), turned);
            let Some(straight) = straight else { return above };
            let easily = if self.easiest > limit { straight.from_easiest } else { 0.0 };
            above.max(straight.crossings.not_over(limit)).max(easily)
        })
    }

    /// The risk in saying that the true value is at least `limit`: [`Errors::risk_below`].
    pub fn risk_below(&self, limit: f64) -> f64 {
        self.worst_side(|Side { turned, straight }| {
            let below = share(turned.below(limit), turned);
            match straight {
                // no |Γ| is below 0
                Some(straight) if limit > 0.0 => {
                    below.max(straight.crossings.not_under(limit)).max(straight.from_match)
                }
                _ => below,
            }
        })
    }

    fn worst_side(&self, risk: impl Fn(&Side) -> f64) -> f64 {
        self.sides.iter().map(risk).fold(0.0, f64::max)
    }

    /// Share of the true values, all sides of a shift alike, that lie within the limits: the conformance probability
    /// (JCGM 106:2012, 7.1, from draws as JCGM 101:2008, 5.10 has them). A draw right on a limit conforms.
    pub fn within(&self, Limits { low, high }: Limits) -> f64 {
        let all: usize = self.sides.iter().map(|side| side.turned.size()).sum();
        let within = |side: &Side| side.turned.up_to(high) - side.turned.below(low);
        self.sides.iter().map(within).sum::<usize>() as f64 / all as f64
    }

    /// Both ends of the range of true values: each end is overstepped with a risk of at most `risk`.
    pub fn range(&self, risk: f64) -> (f64, f64) {
        let (least, most) = self
            .sides
            .iter()
            .map(|side| side.turned.range())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), side| (least.min(side.0), most.max(side.1)));
        let reach = (most - least).max(self.errors.wave_rms());
        let floor = if self.errors.has_wave() { 0.0 } else { least - reach };
        let low = bisect(floor, most + reach, |limit| self.risk_below(limit) <= risk);
        let high = bisect(most + reach, floor, |limit| self.risk_above(limit) <= risk);
        (low, high)
    }
}

fn share(hits: usize, of: &Counted) -> f64 {
    hits as f64 / of.size().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Errors without a shift: additive ones, and waves of that length where it is not 0, at every phase.
    fn errors(additive: Vec<f64>, offset: f64, wave: f64) -> Errors {
        let phase = |i: usize| i as f64 * 2.399_963;
        let waves: Vec<[f64; 2]> = (0..additive.len())
            .filter(|_| wave > 0.0)
            .map(|i| [wave * phase(i).cos(), wave * phase(i).sin()])
            .collect();
        Errors::new(vec![SideDraws { offset, additive }], waves.into_iter())
    }

    #[test]
    fn what_is_in_bins_answers_as_a_walk_through_all_draws_does() {
        let n = 4000;
        let additive = |i: usize| 0.03 * ((i as f64 * 0.618_033_988).fract() - 0.5) * (1.0 + (i % 5) as f64);
        for wave in [0.0, 0.06] {
            let errors = errors((0..n).map(additive).collect(), 0.01, wave);
            for y in [0.0, 0.03, 0.1, 0.4] {
                let reading = AtReading::new(&errors, y);
                for step in -2..40 {
                    let limit = 0.013 * f64::from(step);
                    // where a draw passes is worked out by a root in the one and not in the other: one may round across
                    let near = |one: f64, other: f64| (one - other).abs() <= 1.01 / n as f64;
                    let (above, below) = (errors.risk_above(y, limit), errors.risk_below(y, limit));
                    assert!(near(reading.risk_above(limit), above), "{wave} {y} {limit}: {above}");
                    assert!(near(reading.risk_below(limit), below), "{wave} {y} {limit}: {below}");
                }
            }
        }
    }

    #[test]
    fn draws_give_the_share_that_conforms() {
        let errors = errors(vec![1.0, 2.0, 3.0, 4.0], 0.0, 0.0);
        let share = |limits| AtReading::new(&errors, 0.0).within(limits);
        assert_eq!(share(Limits::at_most(2.0)), 0.5);
        assert_eq!(share(Limits::at_least(2.0)), 0.75);
        assert_eq!(share(Limits::new(2.0, 3.0).unwrap()), 0.5);
    }
}
