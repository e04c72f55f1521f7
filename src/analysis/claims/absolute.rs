//! What the log and the season say of one absolute value, an antenna's SWR or gain, with all that counts in
//! it: as draws, so that a coupler's false wave near a match acts as it is and not as a ± beside the reading.

use rand::RngExt;
use rand_distr::{StandardNormal, StudentT};

use super::errors::{Errors, SideDraws};
use super::shift::Shift;
use crate::analysis::antennas::fitted::{ScatterPart, Shrinks};
use crate::analysis::antennas::sources::OwnError;
use crate::montecarlo::stream::stream;

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
    /// Whether anything says how far off the meter may be as a whole.
    pub calibrated: bool,
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

impl Absolute {
    /// Draws the errors, after so many `more` sessions; `seed` and `task` pick the random stream.
    pub fn errors(&self, more: More, seed: u64, task: u64) -> Errors {
        let waves = self.declared.iter().filter(|_| self.has_wave).map(|d| d.wave);
        let sides: Vec<SideDraws> = match &self.shift {
            None => vec![self.side(0.0, &self.scatter, more, seed, task)],
            Some(shift) => (0..2)
                .map(|k| {
                    let own = shift.sides[k];
                    let mut parts: Vec<ScatterPart> = self
                        .scatter
                        .iter()
                        .map(|part| match (part.shrinks_with, shift.borrowed) {
                            // the sessions on that side alone say what the level was there
                            (Shrinks::GroupSessions, None) => ScatterPart { error: own.error, df: shift.df, ..*part },
                            _ => *part,
                        })
                        .collect();
                    let error = shift.borrowed.map_or(0.0, |errors| errors[k]);
                    parts.push(ScatterPart { error, df: shift.df, shrinks_with: Shrinks::GroupSessions });
                    self.side(own.offset, &parts, more, seed, task)
                })
                .collect(),
        };
        Errors::new(sides, waves)
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

#[cfg(test)]
mod tests {
    use super::super::at_limit::AtLimit;
    use super::super::at_reading::AtReading;
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
            calibrated: true,
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
        let (low, high) = AtReading::new(&now, 1.0).range(0.025);
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
            let (low, high) = AtReading::new(&scattered(0.2, 3.0).errors(more, 1, 0), 1.0).range(0.025);
            (high - low) / 2.0
        };
        // 4 sessions and 12 more: half the standard error on 15 degrees of freedom
        let wanted = t_quantile(0.975, 15.0) * 0.1;
        assert!((half(More::Sessions(12)) - wanted).abs() < 0.02 * wanted);
        assert!(half(More::Forever) < 1e-9);
        let same = |more| AtReading::new(&wave(0.3, 0.1).errors(more, 1, 0), 0.3).range(0.025);
        assert_eq!(same(More::Sessions(0)), same(More::Forever));
    }

    #[test]
    fn far_from_a_match_a_false_wave_acts_as_its_part_along_the_reflection() {
        let (d, risk) = (0.01, 0.025);
        let (low, high) = AtReading::new(&wave(0.5, d).errors(More::Forever, 1, 0), 0.5).range(risk);
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
        assert_eq!(AtReading::new(&errors, read).range(0.025).0, 0.0);
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
                let reading = AtReading::new(&errors, y);
                let (low, high) = reading.range(0.025);
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
