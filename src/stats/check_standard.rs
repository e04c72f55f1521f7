//! A check standard: one stable thing measured on many occasions, several readings an occasion.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, sections 2.3.5 (control of bias and short-term
//! variability) and 2.4.4 (level-1, -2 and -3 standard deviations).

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// One occasion: its mean, the standard deviation of its readings, their degrees of freedom and number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Occasion {
    /// Mean of the readings.
    pub mean: f64,
    /// Their standard deviation.
    pub sd: f64,
    /// Degrees of freedom of `sd`.
    pub df: f64,
    /// Number of readings.
    pub readings: f64,
}

/// What a check standard's history says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct History {
    /// Mean of the occasions' means.
    pub mean: f64,
    /// Level 1: pooled standard deviation of readings inside an occasion, and its degrees of freedom.
    pub short_term: (f64, f64),
    /// Level 2: standard deviation of the occasions' means, and its degrees of freedom.
    pub means: (f64, f64),
    /// Variance between occasions beyond what their readings explain, s₂² − s₁²/J; 0 where that is negative.
    pub between: f64,
}

/// From the occasions. `None` for fewer than two.
pub fn history(occasions: &[Occasion]) -> Option<History> {
    let n = occasions.len() as f64;
    if occasions.len() < 2 {
        return None;
    }
    let df: f64 = occasions.iter().map(|o| o.df).sum();
    let ss: f64 = occasions.iter().map(|o| o.df * o.sd * o.sd).sum();
    let inside = if df > 0.0 { ss / df } else { 0.0 };
    let mean = occasions.iter().map(|o| o.mean).sum::<f64>() / n;
    let spread = occasions.iter().map(|o| (o.mean - mean).powi(2)).sum::<f64>() / (n - 1.0);
    // mean of 1/J: where occasions hold different numbers of readings
    let share = occasions.iter().map(|o| 1.0 / o.readings).sum::<f64>() / n;
    Some(History {
        mean,
        short_term: (inside.sqrt(), df),
        means: (spread.sqrt(), n - 1.0),
        between: (spread - inside * share).max(0.0),
    })
}

impl History {
    /// The largest standard deviation of `readings_df` degrees of freedom that is in control: s₁·√F.
    pub fn largest_sd(&self, readings_df: f64, confidence: f64) -> Option<f64> {
        let f = FisherSnedecor::new(readings_df, self.short_term.1).ok()?;
        Some(self.short_term.0 * f.inverse_cdf(confidence).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_that_scatter_less_than_their_readings_say_show_no_variance_between() {
        let occasion = |mean| Occasion { mean, sd: 1.0, df: 1.0, readings: 2.0 };
        let h = history(&[occasion(5.0), occasion(5.1), occasion(4.9)]).unwrap();
        assert_eq!((h.between, h.short_term, h.means.1), (0.0, (1.0, 3.0), 2.0));
        assert!(history(&[occasion(1.0)]).is_none());
    }
}
