//! What the log and the season say of one absolute value, an antenna's SWR or gain, with all that counts in
//! it: as draws, so that a coupler's false wave near a match acts as it is and not as a ± beside the reading.
//!
//! Two questions are asked of the draws, and the more doubtful answer counts:
//!
//! * *turned about*: of a reading y the true value may be any |y + e − w|, e the additive errors, w the false
//!   wave. The share of draws within the limits is the conformance probability (JCGM 106:2012, 7.2).
//! * *straight on*: were the true value right at the limit, how often would a reading as good as this one
//!   come up? For additive errors it is the same number. Near a match it is not: there the meter always reads
//!   high, so that |Γ| = d is just what a perfect match reads, while turned about it looks like anything
//!   between 0 and 2d. Without this question a perfect match would be called worse than a limit close to 1.

use rand::RngExt;
use rand_distr::{StandardNormal, StudentT};

use super::at_limit::{Crossings, Passing};
use super::shift::Shift;
use crate::analysis::antennas::fitted::{ScatterPart, Shrinks};
use crate::analysis::antennas::sources::OwnError;
use crate::montecarlo::stream::stream;
use crate::montecarlo::tail::sorted;

/// One absolute value and everything uncertain in it, on the analysis scale.
#[derive(Debug, Clone)]
pub struct Absolute {
    /// The estimate y.
    pub estimate: f64,
    /// Standard uncertainty, as `antennas` gives it.
    pub standard_uncertainty: f64,
    /// The scatter's parts.
    pub scatter: Vec<ScatterPart>,
    /// Sessions and visits the parts rest on, for what more of them would do.
    pub basis: Basis,
    /// Declared errors, one a trial.
    pub declared: Vec<OwnError>,
    /// Whether any of them is a false wave.
    pub has_wave: bool,
    /// A step in the meter's readings during the season, which holds for either side.
    pub shift: Option<Shift>,
    /// Declared sources that more sessions don't make smaller: name and standard uncertainty.
    pub lasting: Vec<(String, f64)>,
}

/// How often was measured what a value rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Basis {
    /// Sessions of the antenna's group.
    pub sessions: f64,
    /// Visits of the antenna.
    pub visits: f64,
    /// Visits of the antenna it is compared with, where it is.
    pub other_visits: Option<f64>,
}

impl Basis {
    /// By how much the variance of its own visits' mean falls when `k` more sessions measure all.
    fn gained(&self, k: f64) -> f64 {
        let share = |k: f64| 1.0 / (self.visits + k) + self.other_visits.map_or(0.0, |other| 1.0 / (other + k));
        share(0.0) / share(k)
    }
}

/// A log that goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum More {
    /// So many more sessions with every antenna in them.
    Sessions(u32),
    /// Without end: no scatter is left.
    Forever,
}

/// The errors of a value, drawn: one side of a shift.
struct SideDraws {
    offset: f64,
    additive: Vec<f64>,
}

/// The errors of a value, drawn: ready to be asked.
pub struct Errors {
    sides: Vec<SideDraws>,
    /// Modulus of the false wave and the cosine of its phase; empty where there is none.
    wave: Vec<[f64; 2]>,
    /// Root mean square of the modulus.
    wave_rms: f64,
}

impl Absolute {
    /// Draws the errors, after so many `more` sessions; `seed` and `task` pick the random stream.
    pub fn errors(&self, more: More, seed: u64, task: u64) -> Errors {
        let wave: Vec<[f64; 2]> =
            if self.has_wave { self.declared.iter().map(|d| polar(d.wave)).collect() } else { vec![] };
        let wave_rms = (wave.iter().map(|w| w[0] * w[0]).sum::<f64>() / wave.len().max(1) as f64).sqrt();
        let sides: Vec<SideDraws> = match &self.shift {
            None => vec![self.side(0.0, &self.scatter, more, seed, task)],
            Some(shift) => (0..2)
                .map(|k| {
                    let own = shift.sides[k];
                    let parts: Vec<ScatterPart> = self
                        .scatter
                        .iter()
                        .map(|part| match part.shrinks_with {
                            // the sessions on that side alone say what the level was there
                            Shrinks::GroupSessions => ScatterPart { error: own.error, df: shift.df, ..*part },
                            Shrinks::OwnVisits => *part,
                        })
                        .collect();
                    self.side(own.offset, &parts, more, seed, task)
                })
                .collect(),
        };
        Errors { sides, wave, wave_rms }
    }

    fn side(&self, offset: f64, parts: &[ScatterPart], more: More, seed: u64, task: u64) -> SideDraws {
        let parts: Vec<(f64, f64)> = parts.iter().map(|part| self.grown(part, more)).collect();
        let unseen = match more {
            More::Sessions(k) => 1.0 / self.basis.gained(f64::from(k)).sqrt(),
            More::Forever => 0.0,
        };
        let mut additive: Vec<f64> = self.declared.iter().map(|d| d.fixed + d.season + unseen * d.unseen).collect();
        for (number, (error, df)) in parts.into_iter().enumerate().filter(|(_, part)| part.0 > 0.0) {
            let mut rng = stream(seed, task, number as u64);
            let t = StudentT::new(df).ok().filter(|_| df < 1e6);
            for e in &mut additive {
                *e += error
                    * match t {
                        Some(t) => rng.sample(t),
                        None => rng.sample::<f64, _>(StandardNormal),
                    };
            }
        }
        SideDraws { offset, additive }
    }

    /// A part's standard error and degrees of freedom when the log has gone on.
    fn grown(&self, part: &ScatterPart, more: More) -> (f64, f64) {
        // too few degrees of freedom for an interval of any use: a tenth keeps the draws finite
        let df = if part.df.is_nan() { 0.1 } else { part.df.max(0.1) };
        let More::Sessions(k) = more else { return (0.0, df) };
        let k = f64::from(k);
        match part.shrinks_with {
            Shrinks::GroupSessions => {
                let gained = (self.basis.sessions + k) / self.basis.sessions;
                (part.error / gained.sqrt(), df + k)
            }
            Shrinks::OwnVisits => {
                let gained = self.basis.gained(k);
                (part.error / gained.sqrt(), df * gained)
            }
        }
    }

    /// The largest declared source that stays, however long the log goes on.
    pub fn largest_lasting(&self) -> Option<&str> {
        self.lasting.iter().filter(|s| s.1 > 0.0).max_by(|a, b| a.1.total_cmp(&b.1)).map(|s| s.0.as_str())
    }
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

#[cfg(test)]
mod tests {
    use super::super::at_limit::AtLimit;
    use super::*;
    use crate::stats::student_t::t_quantile;

    fn value(estimate: f64, scatter: Vec<ScatterPart>, declared: Vec<OwnError>, has_wave: bool) -> Absolute {
        Absolute {
            estimate,
            standard_uncertainty: 0.0,
            scatter,
            basis: Basis { sessions: 4.0, visits: 4.0, other_visits: None },
            declared,
            has_wave,
            shift: None,
            lasting: vec![("directivity".into(), 0.1)],
        }
    }

    fn scattered(error: f64, df: f64) -> Absolute {
        let part = ScatterPart { error, df, shrinks_with: Shrinks::GroupSessions };
        value(1.0, vec![part], vec![OwnError::default(); 100_000], false)
    }

    /// A false wave of length d at every phase, evenly.
    fn wave(estimate: f64, d: f64) -> Absolute {
        let n = 20_000;
        let phase = |i: usize| std::f64::consts::TAU * (i as f64 + 0.5) / n as f64;
        let errors = (0..n).map(|i| OwnError { wave: [d * phase(i).cos(), d * phase(i).sin()], ..Default::default() });
        value(estimate, vec![], errors.collect(), true)
    }

    #[test]
    fn scatter_alone_gives_the_t_interval() {
        let now = scattered(0.2, 3.0).errors(More::Sessions(0), 1, 0);
        let (low, high) = now.range(1.0, 0.025);
        let half = t_quantile(0.975, 3.0) * 0.2;
        // 2500 of 100 000 draws lie beyond: two percent of the half-width is four standard errors
        assert!((high - 1.0 - half).abs() < 0.02 * half && (1.0 - low - half).abs() < 0.02 * half, "{low} {high}");
        // a result counts as met when it lies inside its limit by the guard band, here the half-width
        let accepted = AtLimit::new(&now, 2.0).largest_below(0.025).unwrap();
        assert!((2.0 - accepted - (high - 1.0)).abs() < 1e-6, "{accepted}");
        let rejected = AtLimit::new(&now, 2.0).smallest_above(0.025).unwrap();
        assert!((rejected - 2.0 - (1.0 - low)).abs() < 1e-6, "{rejected}");
    }

    #[test]
    fn more_sessions_narrow_what_scatters_and_nothing_else() {
        let half = |more| {
            let (low, high) = scattered(0.2, 3.0).errors(more, 1, 0).range(1.0, 0.025);
            (high - low) / 2.0
        };
        // 4 sessions and 12 more: half the standard error on 15 degrees of freedom
        let wanted = t_quantile(0.975, 15.0) * 0.1;
        assert!((half(More::Sessions(12)) - wanted).abs() < 0.02 * wanted);
        assert!(half(More::Forever) < 1e-9);
        let same = |more| wave(0.3, 0.1).errors(more, 1, 0).range(0.3, 0.025);
        assert_eq!(same(More::Sessions(0)), same(More::Forever));
    }

    #[test]
    fn far_from_a_match_a_false_wave_acts_as_its_part_along_the_reflection() {
        let (d, risk) = (0.01, 0.025);
        let (low, high) = wave(0.5, d).errors(More::Forever, 1, 0).range(0.5, risk);
        // of d·cos φ the share beyond d·cos(πr) is r
        let reach = d * (std::f64::consts::PI * risk).cos();
        assert!((high - 0.5 - reach).abs() < 2e-4 && (0.5 - low - reach).abs() < 2e-4, "{low} {high}");
    }

    /// A perfect match reads |Γ| = d whatever the phase. Turned about, that reading may be anything from 0 to
    /// 2d and seldom is 0; straight on it is exactly what 0 gives.
    #[test]
    fn a_reading_as_large_as_the_false_wave_may_be_a_perfect_match() {
        // a hair below d, so that rounding decides nothing
        let (d, read) = (0.056, 0.055_999);
        let errors = wave(read, d).errors(More::Forever, 1, 0);
        assert_eq!(errors.range(read, 0.025).0, 0.0);
        assert!(errors.risk_below(read, 0.001) > 0.99);
        let seldom = errors.values(read).iter().filter(|v| **v < 0.001).count();
        assert!(seldom < 200, "turned about alone, a perfect match would be ruled out: {seldom}");
        // and what reads far higher is no match
        assert!(errors.risk_below(0.2, 0.1) == 0.0);
    }

    #[test]
    fn the_ends_of_a_range_are_where_the_risks_come_to_it() {
        for errors in [wave(0.1, 0.06).errors(More::Forever, 1, 0), scattered(0.2, 3.0).errors(More::Sessions(0), 1, 0)]
        {
            for y in [0.03, 0.1, 0.4] {
                let (low, high) = errors.range(y, 0.025);
                let a_little = 1e-9;
                assert!(
                    errors.risk_below(y, low - a_little) <= 0.025 && errors.risk_above(y, high + a_little) <= 0.025
                );
                assert!(low <= 0.0 || errors.risk_below(y, low + 1e-4) > 0.02, "{y} {low}");
                assert!(errors.risk_above(y, high - 1e-4) > 0.02, "{y} {high}");
            }
        }
    }

    #[test]
    fn risks_fall_and_rise_with_the_reading_and_the_limit() {
        let errors = wave(0.1, 0.06).errors(More::Forever, 1, 0);
        for step in 0..40 {
            let y = 0.005 * f64::from(step);
            assert!(errors.risk_above(y, 0.1) <= errors.risk_above(y + 0.005, 0.1) + 1e-3, "{y}");
            assert!(errors.risk_below(y, 0.1) + 1e-3 >= errors.risk_below(y + 0.005, 0.1), "{y}");
            assert!(errors.risk_above(0.1, y) + 1e-3 >= errors.risk_above(0.1, y + 0.005), "{y}");
        }
    }
}
