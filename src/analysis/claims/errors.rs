//! The errors of one absolute value, drawn, and what may be asked of them.
//!
//! Two questions are asked of the draws, and the more doubtful answer counts:
//!
//! * *turned about*: of a reading y the true value may be any |y + e − w|, e the additive errors, w the false
//!   wave. The share of draws within the limits is the conformance probability (JCGM 106:2012, 7.2).
//! * *straight on*: were the true value right at the limit, how often would a reading as good as this one
//!   come up? For additive errors it is the same number. Near a match it is not: there the meter always reads
//!   high, so that |Γ| = d is just what a perfect match reads, while turned about it looks like anything
//!   between 0 and 2d. Without this question a perfect match would be called worse than a limit close to 1.

use super::at_limit::{Crossings, Passing};
use crate::montecarlo::tail::sorted;

/// The errors of a value, drawn: one side of a shift.
pub struct SideDraws {
    /// What the side's readings are off by, as estimated.
    pub offset: f64,
    /// Additive errors, one a trial.
    pub additive: Vec<f64>,
}

/// The errors of a value, drawn: ready to be asked.
pub struct Errors {
    sides: Vec<SideDraws>,
    /// Modulus of the false wave and the cosine of its phase; empty where there is none.
    wave: Vec<[f64; 2]>,
    /// Root mean square of the modulus.
    wave_rms: f64,
}

/// Modulus, and cosine of the phase.
fn polar(wave: [f64; 2]) -> [f64; 2] {
    let modulus = wave[0].hypot(wave[1]);
    [modulus, if modulus > 0.0 { wave[0] / modulus } else { 0.0 }]
}

/// |a + w|, w given by modulus and cosine of its phase; a negative `a` is none.
fn with_wave(a: f64, wave: [f64; 2]) -> f64 {
    let a = a.max(0.0);
    (a * a + wave[0] * wave[0] + 2.0 * a * wave[0] * wave[1]).max(0.0).sqrt()
}

impl Errors {
    /// Of the sides, and of the false waves, one a trial as real and imaginary part, where there are any.
    pub fn new(sides: Vec<SideDraws>, waves: impl Iterator<Item = [f64; 2]>) -> Errors {
        let wave: Vec<[f64; 2]> = waves.map(polar).collect();
        let wave_rms = (wave.iter().map(|w| w[0] * w[0]).sum::<f64>() / wave.len().max(1) as f64).sqrt();
        Errors { sides, wave, wave_rms }
    }

    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.sides[0].additive.len()
    }

    /// True values a reading `y` may stand for, on one side.
    fn turned_about<'a>(&'a self, side: &'a SideDraws, y: f64) -> impl Iterator<Item = f64> + 'a {
        let read = y + side.offset;
        side.additive.iter().enumerate().map(move |(i, e)| match self.wave.get(i) {
            Some(&wave) => with_wave(read + e, wave),
            None => read + e,
        })
    }

    /// Readings a true value may give, on one side.
    fn straight_on<'a>(&'a self, side: &'a SideDraws, truth: f64) -> impl Iterator<Item = f64> + 'a {
        side.additive.iter().enumerate().map(move |(i, e)| match self.wave.get(i) {
            Some(&wave) => with_wave(truth, wave) - e - side.offset,
            None => truth - e - side.offset,
        })
    }

    /// True values a reading `y` may stand for, all sides of a shift alike.
    pub fn values(&self, y: f64) -> Vec<f64> {
        self.sides.iter().flat_map(|side| self.turned_about(side, y)).collect()
    }

    /// The risk in saying, on a reading `y`, that the true value is at most `limit`.
    ///
    /// Never falls as y grows, never rises as the limit does.
    pub fn risk_above(&self, y: f64, limit: f64) -> f64 {
        self.worst_side(|side| {
            let turned = share(self.turned_about(side, y), |value| value > limit);
            if self.wave.is_empty() {
                return turned;
            }
            // near a match a value above the limit may give the reading more easily than the limit does
            let easiest = self.easiest(y);
            let as_low = |truth: f64| share(self.straight_on(side, truth), |read| read <= y);
            turned.max(as_low(limit)).max(if easiest > limit { as_low(easiest) } else { 0.0 })
        })
    }

    /// The risk in saying, on a reading `y`, that the true value is at least `limit`.
    ///
    /// Never rises as y grows, never falls as the limit does.
    pub fn risk_below(&self, y: f64, limit: f64) -> f64 {
        self.worst_side(|side| {
            let turned = share(self.turned_about(side, y), |value| value < limit);
            if self.wave.is_empty() {
                return turned;
            }
            if limit <= 0.0 {
                return turned; // no |Γ| is below
            }
            let as_high = |truth: f64| share(self.straight_on(side, truth), |read| read >= y);
            turned.max(as_high(limit)).max(as_high(0.0))
        })
    }

    fn worst_side(&self, risk: impl Fn(&SideDraws) -> f64) -> f64 {
        self.sides.iter().map(risk).fold(0.0, f64::max)
    }

    /// Both ends of the range of true values on a reading `y`: each end is overstepped with a risk of at most
    /// `risk`: where [`Errors::risk_below`] and [`Errors::risk_above`] come to it, with what does not hang on the
    /// limit worked out once.
    pub fn range(&self, y: f64, risk: f64) -> (f64, f64) {
        let turned: Vec<Vec<f64>> =
            self.sides.iter().map(|side| sorted(self.turned_about(side, y).collect())).collect();
        let least = turned.iter().map(|v| v[0]).fold(f64::INFINITY, f64::min);
        let most = turned.iter().map(|v| v[v.len() - 1]).fold(f64::NEG_INFINITY, f64::max);
        let reach = (most - least).max(self.wave_rms);
        let still = self.wave.is_empty();
        let floor = if still { least - reach } else { 0.0 };
        let easiest = self.easiest(y);
        let matched_as_high = |side| share(self.straight_on(side, 0.0), |read| read >= y);
        let straight: Vec<Straight> = self
            .sides
            .iter()
            .filter(|_| !still)
            .enumerate()
            .map(|(k, side)| Straight {
                crossings: Crossings::new(self.passing_straight(side, y)),
                from_match: matched_as_high(side),
                from_easiest: self.as_low(k, easiest, y),
            })
            .collect();
        let low = bisect(floor, most + reach, |limit| {
            turned.iter().all(|v| v.partition_point(|x| *x < limit) as f64 / v.len() as f64 <= risk)
                && (limit <= 0.0
                    || straight.iter().all(|s| s.from_match <= risk && s.crossings.not_under(limit) <= risk))
        });
        let high = bisect(most + reach, floor, |limit| {
            turned.iter().all(|v| (v.len() - v.partition_point(|x| *x <= limit)) as f64 / v.len() as f64 <= risk)
                && straight
                    .iter()
                    .all(|s| (easiest <= limit || s.from_easiest <= risk) && s.crossings.not_over(limit) <= risk)
        });
        (low, high)
    }

    /// The same draws in order, where no false wave goes with each: what is sorted from them later then is in order
    /// already, or in the reverse order.
    pub fn in_order(mut self) -> Errors {
        if self.wave.is_empty() {
            self.sides.iter_mut().for_each(|side| side.additive = sorted(std::mem::take(&mut side.additive)));
        }
        self
    }

    /// Sides of a shift: one where there is none.
    pub fn sides(&self) -> usize {
        self.sides.len()
    }

    /// Whether a false wave is among the errors.
    pub fn has_wave(&self) -> bool {
        !self.wave.is_empty()
    }

    /// How each draw of a side passes a limit as the reading goes up, turned about.
    pub fn passing(&self, side: usize, limit: f64) -> impl Iterator<Item = Passing> {
        let SideDraws { offset, additive } = &self.sides[side];
        let shift = move |e: &f64| offset + e;
        additive.iter().enumerate().map(move |(i, e)| Passing {
            wave: self.wave.get(i).copied(),
            limit,
            shift: shift(e),
        })
    }

    /// How each draw of a side passes a reading as the true value goes up, straight on.
    fn passing_straight(&self, side: &SideDraws, y: f64) -> impl Iterator<Item = Passing> {
        let limit = move |e: &f64| y + e + side.offset;
        let draws = side.additive.iter().enumerate();
        draws.map(move |(i, e)| Passing { wave: self.wave.get(i).copied(), limit: limit(e), shift: 0.0 })
    }

    /// Readings that a true value gives on one side, least first.
    pub fn readings(&self, side: usize, truth: f64) -> Vec<f64> {
        sorted(self.straight_on(&self.sides[side], truth).collect())
    }

    /// The true value that most easily reads as low as `y`: one whose square is short of the false wave's by the
    /// reading's.
    pub fn easiest(&self, y: f64) -> f64 {
        (self.wave_rms * self.wave_rms - y * y).max(0.0).sqrt()
    }

    /// How often a true value reads as low as `y` on one side.
    pub fn as_low(&self, side: usize, truth: f64, y: f64) -> f64 {
        share(self.straight_on(&self.sides[side], truth), |read| read <= y)
    }

    /// Further from a limit than any reading that stands for it.
    pub fn reach(&self, limit: f64) -> f64 {
        let largest = self.values(limit).iter().map(|v| (v - limit).abs()).fold(0.0, f64::max);
        2.0 * (largest + self.wave_rms)
    }
}

/// One side of a shift, straight on, for a reading: where each draw's true value begins to read higher, and how often
/// two true values read as the reading does.
struct Straight {
    crossings: Crossings,
    from_match: f64,
    from_easiest: f64,
}

/// Share of the values that fulfil a condition.
fn share(values: impl Iterator<Item = f64>, condition: impl Fn(f64) -> bool) -> f64 {
    let (mut hits, mut all) = (0usize, 0usize);
    for value in values {
        hits += usize::from(condition(value));
        all += 1;
    }
    hits as f64 / all.max(1) as f64
}

/// Between a point where `holds` and one where it doesn't, the last that does; `holding` itself where it
/// fails nowhere or holds nowhere.
pub fn bisect(holding: f64, failing: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut yes, mut no) = (holding, failing);
    for _ in 0..40 {
        let middle = (yes + no) / 2.0;
        if holds(middle) { yes = middle } else { no = middle }
    }
    yes
}
