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

use super::at_limit::Passing;

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

    /// The sides of a shift; one where there is none.
    pub fn sides(&self) -> &[SideDraws] {
        &self.sides
    }

    /// True values a reading `y` may stand for, on one side.
    pub fn turned_about<'a>(&'a self, side: &'a SideDraws, y: f64) -> impl Iterator<Item = f64> + 'a {
        let read = y + side.offset;
        side.additive.iter().enumerate().map(move |(i, e)| match self.wave.get(i) {
            Some(&wave) => with_wave(read + e, wave),
            None => read + e,
        })
    }

    /// Readings a true value may give, on one side.
    pub fn straight_on<'a>(&'a self, side: &'a SideDraws, truth: f64) -> impl Iterator<Item = f64> + 'a {
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
            let as_low = |truth: f64| self.as_low(side, truth, y);
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
            turned.max(self.as_high(side, limit, y)).max(self.as_high(side, 0.0, y))
        })
    }

    fn worst_side(&self, risk: impl Fn(&SideDraws) -> f64) -> f64 {
        self.sides.iter().map(risk).fold(0.0, f64::max)
    }

    /// Whether a false wave is among the errors.
    pub fn has_wave(&self) -> bool {
        !self.wave.is_empty()
    }

    /// How each draw of a side passes a limit as the reading goes up, turned about.
    pub fn passing<'a>(&'a self, side: &'a SideDraws, limit: f64) -> impl Iterator<Item = Passing> + 'a {
        let SideDraws { offset, additive } = side;
        let shift = move |e: &f64| offset + e;
        additive.iter().enumerate().map(move |(i, e)| Passing {
            wave: self.wave.get(i).copied(),
            limit,
            shift: shift(e),
        })
    }

    /// How each draw of a side passes a reading as the true value goes up, straight on.
    pub fn passing_straight<'a>(&'a self, side: &'a SideDraws, y: f64) -> impl Iterator<Item = Passing> + 'a {
        let limit = move |e: &f64| y + e + side.offset;
        let draws = side.additive.iter().enumerate();
        draws.map(move |(i, e)| Passing { wave: self.wave.get(i).copied(), limit: limit(e), shift: 0.0 })
    }

    /// The true value that most easily reads as low as `y`: one whose square is short of the false wave's by the
    /// reading's.
    pub fn easiest(&self, y: f64) -> f64 {
        (self.wave_rms * self.wave_rms - y * y).max(0.0).sqrt()
    }

    /// How often a true value reads as low as `y` on one side.
    pub fn as_low(&self, side: &SideDraws, truth: f64, y: f64) -> f64 {
        share(self.straight_on(side, truth), |read| read <= y)
    }

    /// How often it reads as high.
    pub fn as_high(&self, side: &SideDraws, truth: f64, y: f64) -> f64 {
        share(self.straight_on(side, truth), |read| read >= y)
    }

    /// Root mean square of the false wave's modulus; 0 where there is none.
    pub fn wave_rms(&self) -> f64 {
        self.wave_rms
    }

    /// Further from a limit than any reading that stands for it.
    pub fn reach(&self, limit: f64) -> f64 {
        let largest = self.values(limit).iter().map(|v| (v - limit).abs()).fold(0.0, f64::max);
        2.0 * (largest + self.wave_rms)
    }
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
