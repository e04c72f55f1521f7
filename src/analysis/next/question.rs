//! An open question, and the chance that more sessions settle it.

use statrs::distribution::{ContinuousCDF, Normal};

/// One open question: a pair that is neither apart nor even, a claim that is neither met nor missed.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// In words: "heron against plover (SWR, 2 m, analyzer)".
    pub words: String,
    /// What has to be read for it: a meter on a band.
    pub reading: (String, String),
    /// The antennas that have to be measured for it, in one session.
    pub antennas: Vec<String>,
    /// What is known of it.
    pub knowledge: Knowledge,
}

/// What is known of an open question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Knowledge {
    /// How far a result stands from what it is held against, and how sure that is.
    Known(Gap),
    /// Nothing shows how much another day would change.
    Blind,
}

/// How far a result stands from what it is held against. All on the analysis scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// The distance: a pair's difference, or a result less a claim's limit.
    pub distance: f64,
    /// The half-width that more visits make smaller: as it is after `visits`, or, where that is 0, after one.
    pub scatter: f64,
    /// The half-width that stays however often one measures: declared sources.
    pub lasting: f64,
    /// Standard error behind `scatter`.
    pub error: f64,
    /// Visits so far that count: 0 where those so far say nothing, because the two never met.
    pub visits: f64,
    /// Standard error of `distance` where `visits` is 0: two that never met may stand apart only because their
    /// days did.
    pub across_days: f64,
    /// The distance inside which it is settled the other way: what matters.
    pub even_within: Option<f64>,
}

impl Question {
    /// The chance that so many more sessions settle it.
    pub fn chance(&self, sessions: usize) -> f64 {
        match self.knowledge {
            Knowledge::Known(gap) => gap.chance(sessions as f64),
            // even odds once a second day has been seen, and less after the first: a convention, for want of
            // anything to reckon with
            Knowledge::Blind => [0.0, 0.3, 0.5][sessions.min(2)],
        }
    }
}

impl Gap {
    /// The chance that `n` more sessions settle it: the result moves as its standard error lets it, and the
    /// interval narrows with the visits,
    ///
    /// ```text
    /// D ~ N(d, e²·n/(v + n)),   h² = s²·v/(v + n) + l²,   P(|D| > h) + P(|D| < m − h)
    /// ```
    ///
    /// The predictive distribution under a flat prior; that more visits also bring degrees of freedom, which
    /// narrows intervals further, is left out. `plan` reckons the same by simulation.
    ///
    /// # Source
    /// Spiegelhalter, Freedman & Blackburn (1986), *Controlled Clinical Trials* 7:8–17: the predictive chance that
    /// a study, carried on, reaches a verdict.
    pub fn chance(&self, n: f64) -> f64 {
        let (shrunk, moved) = if self.visits > 0.0 {
            (self.visits / (self.visits + n), n / (self.visits + n))
        } else {
            (1.0 / n, 1.0 / n)
        };
        let half = (self.scatter * self.scatter * shrunk + self.lasting * self.lasting).sqrt();
        let unmet = if self.visits > 0.0 { 0.0 } else { self.across_days };
        let (d, sd) = (self.distance.abs(), (self.error * moved.sqrt()).hypot(unmet));
        let even = self.even_within.map_or(0.0, |m| m - half);
        if !(n > 0.0) || !half.is_finite() {
            return 0.0;
        }
        if !(sd > 0.0) {
            return f64::from(d > half || d < even);
        }
        let below = |x: f64| Normal::standard().cdf((x - d) / sd);
        let beyond = 1.0 - below(half) + below(-half);
        let within = if even > 0.0 { below(even.min(half)) - below(-even.min(half)) } else { 0.0 };
        (beyond + within).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GAP: Gap =
        Gap { distance: 1.0, scatter: 1.5, lasting: 0.2, error: 0.5, visits: 4.0, across_days: 0.0, even_within: None };

    #[test]
    fn more_sessions_settle_more_and_none_settle_nothing() {
        assert_eq!(GAP.chance(0.0), 0.0);
        let chances: Vec<f64> = (1..40).map(|n| GAP.chance(f64::from(n))).collect();
        assert!(chances.windows(2).all(|w| w[1] >= w[0]), "{chances:?}");
        // after ever so many the result is d ± e
        assert!((GAP.chance(1e9) - Normal::standard().cdf((1.0 - 0.2) / 0.5)).abs() < 1e-2);
    }

    #[test]
    fn where_the_interval_just_reaches_zero_the_chance_is_one_half() {
        // h² = 1.5²·4/(4 + n) + 0.2² = 1 at n = 4·1.5²/0.96 − 4
        let n = 4.0 * 2.25 / 0.96 - 4.0;
        assert!((GAP.chance(n) - 0.5).abs() < 1e-3, "{}", GAP.chance(n));
    }

    #[test]
    fn what_lasts_is_never_settled_and_a_difference_of_nothing_turns_out_even() {
        assert!(Gap { lasting: 3.0, ..GAP }.chance(1e6) < 1e-4);
        let even = Gap { distance: 0.0, error: 0.3, even_within: Some(1.0), ..GAP };
        assert!(even.chance(2.0) < 0.2 && even.chance(30.0) > 0.9, "{} {}", even.chance(2.0), even.chance(30.0));
    }
}
