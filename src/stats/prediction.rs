//! What one more observation may be: prediction intervals from mean squares of a nested sample.
//!
//! An observation to come differs from the mean it is held against by a variance that is a sum of mean squares, and lies
//! within
//!
//! ```text
//! centre ± √( Σ t(1 − risk/2; df_k)²·c_k·MS_k ),      c_k ≥ 0, the MS_k independent, each on df_k
//! ```
//!
//! With one mean square and c = 1 + 1/n this is the prediction interval for a single further observation from a
//! normal population of unknown variance, x̄ ± t·s·√(1 + 1/n), which is exact: G. J. Hahn and W. Q. Meeker,
//! *Statistical Intervals* (1991), 4.7; ISO 16269-8:2004 (both from memory). With several, each part answers for its own
//! degrees of freedom, so that one that came out small by luck narrows its own part alone: Graybill & Wang (1980), J. Am.
//! Stat. Assoc. 75:869–873. Welch and Satterthwaite's formula, tried first, called sound readings odd five times as often
//! as stated where the largest part had two degrees of freedom.

use super::student_t::t_quantile;

/// An estimate of a variance with its degrees of freedom; none where `df` is 0.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MeanSquare {
    /// The estimate.
    pub value: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// Fewer degrees of freedom than this say nothing worth saying: t is 127 on one, at a risk of one in 200.
const LEAST_DF: f64 = 2.0;

/// What an observation may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// What is expected.
    pub centre: f64,
    /// Variances that add up, each with its degrees of freedom.
    parts: [MeanSquare; 3],
}

impl Prediction {
    /// From at most three mean squares with their coefficients; one at or below 0 is left out, on the wide side.
    /// `None` where a mean square that is needed has less than two degrees of freedom, or nothing scatters.
    pub fn new(centre: f64, terms: &[(f64, MeanSquare)]) -> Option<Prediction> {
        let mut parts = [MeanSquare::default(); 3];
        for ((c, ms), part) in terms.iter().filter(|(c, _)| *c > 1e-9).zip(&mut parts) {
            if ms.df < LEAST_DF {
                return None;
            }
            *part = MeanSquare { value: c * ms.value, df: ms.df };
        }
        let prediction = Prediction { centre, parts };
        (prediction.variance() > 0.0 && centre.is_finite()).then_some(prediction)
    }

    /// Variance of the observation about what is expected, the doubt about that included.
    pub fn variance(&self) -> f64 {
        self.parts.iter().map(|p| p.value).sum()
    }

    /// Half-width of the interval that a sound observation leaves with probability `risk`.
    pub fn half_width(&self, risk: f64) -> f64 {
        let squared = |p: &MeanSquare| t_quantile(1.0 - risk / 2.0, p.df).powi(2) * p.value;
        self.parts.iter().filter(|p| p.value > 0.0).map(squared).sum::<f64>().sqrt()
    }
}

/// One mounting of a visit: its readings' number, mean and scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nested {
    /// Its visit, by any number.
    pub visit: usize,
    /// Readings, at least 1.
    pub readings: f64,
    /// Their mean.
    pub mean: f64,
    /// Sum of squares about it.
    pub sum_of_squares: f64,
    /// Degrees of freedom of that.
    pub df: f64,
}

/// The two lower strata of a nested sample.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Strata {
    /// Readings about their mounting's mean: estimates σ²_e.
    pub reading: MeanSquare,
    /// Mounting means about their visit's: estimates σ²_m + `reading_share`·σ²_e.
    pub mounting: MeanSquare,
    /// See `mounting`: the mean of 1/n over the mountings, each visit of k weighted by (k − 1)/k.
    pub reading_share: f64,
}

/// The lower strata of a sample; `floor` is the variance of a reading that its display alone makes.
pub fn strata(mountings: &[Nested], floor: f64) -> Strata {
    let df: f64 = mountings.iter().map(|m| m.df).sum();
    let within: f64 = mountings.iter().map(|m| m.sum_of_squares).sum();
    let mut visits: std::collections::BTreeMap<usize, Vec<&Nested>> = std::collections::BTreeMap::new();
    mountings.iter().for_each(|m| visits.entry(m.visit).or_default().push(m));
    let (mut between, mut between_df, mut share) = (0.0, 0.0, 0.0);
    for visit in visits.values().filter(|v| v.len() > 1) {
        let k = visit.len() as f64;
        let mean = visit.iter().map(|m| m.mean).sum::<f64>() / k;
        between += visit.iter().map(|m| (m.mean - mean).powi(2)).sum::<f64>();
        between_df += k - 1.0;
        share += visit.iter().map(|m| 1.0 / m.readings).sum::<f64>() * (1.0 - 1.0 / k);
    }
    let over = |sum: f64, df: f64| if df > 0.0 { sum / df } else { 0.0 };
    let share = if between_df > 0.0 { share / between_df } else { 1.0 };
    let reading = MeanSquare { value: over(within, df).max(floor), df };
    // a mounting's mean scatters at least as its readings' display makes it
    let mounting = MeanSquare { value: over(between, between_df).max(floor * share), df: between_df };
    Strata { reading, mounting, reading_share: share }
}

impl Strata {
    /// The mean of `new` more readings on a mounting that has read `mean` in `readings`.
    pub fn on_same_mounting(&self, mean: f64, readings: f64, new: f64) -> Option<Prediction> {
        Prediction::new(mean, &[(1.0 / new + 1.0 / readings, self.reading)])
    }

    /// The mean of `new` readings on a further mounting of a visit with these.
    pub fn on_new_mounting(&self, others: &[Nested], new: f64) -> Option<Prediction> {
        let k = others.len() as f64;
        let centre = others.iter().map(|m| m.mean).sum::<f64>() / k;
        let own_share = others.iter().map(|m| 1.0 / m.readings).sum::<f64>() / (k * k);
        let mountings = 1.0 + 1.0 / k;
        let readings = 1.0 / new + own_share - mountings * self.reading_share;
        Prediction::new(centre, &[(mountings, self.mounting), (readings, self.reading)])
    }

    /// The mean of `new` readings on the first mounting of a new visit, where visits are expected at `centre` with
    /// variance (1 + `leverage`)·`visit`; `mounting_share` and `reading_share` are the means over the visits behind
    /// `visit` of 1/k and of Σ(1/n)/k², k their mountings.
    pub fn on_new_visit(
        &self,
        centre: f64,
        visit: MeanSquare,
        leverage: f64,
        (mounting_share, reading_share): (f64, f64),
        new: f64,
    ) -> Option<Prediction> {
        let mountings = 1.0 - mounting_share;
        let readings = 1.0 / new - reading_share - mountings * self.reading_share;
        Prediction::new(centre, &[(1.0 + leverage, visit), (mountings, self.mounting), (readings, self.reading)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factors of the two-sided 95 % prediction interval for one further observation after n: Hahn & Meeker (1991),
    /// table A.13, and ISO 16269-8 (both from memory): t(0.975; n − 1)·√(1 + 1/n).
    #[test]
    fn one_sample_gives_the_handbook_factors() {
        for (n, factor) in [(5.0, 3.04), (10.0, 2.37), (20.0, 2.14), (30.0, 2.08)] {
            let s = Strata { reading: MeanSquare { value: 1.0, df: n - 1.0 }, ..Strata::default() };
            let half = s.on_same_mounting(0.0, n, 1.0).unwrap().half_width(0.05);
            assert!((half - factor).abs() < 0.006, "{n}: {half}");
        }
    }

    /// Five specimens, mean 50.10, standard deviation 1.31: the next is in 46.1 to 54.1 with 95 % (Hahn & Meeker
    /// (1991), their example of chapter 4, from memory).
    #[test]
    fn the_handbook_example_is_reproduced() {
        let s = Strata { reading: MeanSquare { value: 1.31 * 1.31, df: 4.0 }, ..Strata::default() };
        let p = s.on_same_mounting(50.10, 5.0, 1.0).unwrap();
        assert!(
            (p.centre - p.half_width(0.05) - 46.1).abs() < 0.05 && (p.centre + p.half_width(0.05) - 54.1).abs() < 0.05
        );
    }

    #[test]
    fn mean_squares_are_those_counted_by_hand() {
        let m = |visit: usize, readings: &[f64]| {
            let n = readings.len() as f64;
            let mean = readings.iter().sum::<f64>() / n;
            let sum_of_squares = readings.iter().map(|y| (y - mean).powi(2)).sum();
            Nested { visit, readings: n, mean, sum_of_squares, df: n - 1.0 }
        };
        let s = strata(&[m(0, &[1.0, 3.0]), m(0, &[5.0, 7.0]), m(1, &[2.0, 2.0])], 0.0);
        // within: 2 + 2 + 0 on 3; between, visit 0: means 2 and 6 about 4
        assert_eq!((s.reading.value, s.reading.df), (4.0 / 3.0, 3.0));
        assert_eq!((s.mounting.value, s.mounting.df, s.reading_share), (8.0, 1.0, 0.5));
        assert_eq!(strata(&[m(0, &[1.0, 1.0])], 0.25).reading.value, 0.25);
    }

    /// Balanced, all coefficients telescope: σ²_m and σ²_e come back whole.
    #[test]
    fn the_variance_of_a_new_reading_is_the_sum_of_its_components() {
        let (sv, sm, se) = (0.7, 0.5, 0.3);
        let (k, n) = (3.0, 2.0);
        let s = Strata {
            reading: MeanSquare { value: se, df: 9.0 },
            mounting: MeanSquare { value: sm + se / n, df: 9.0 },
            reading_share: 1.0 / n,
        };
        let other = Nested { visit: 0, readings: n, mean: 0.0, sum_of_squares: 0.0, df: 1.0 };
        let close = |a: Option<Prediction>, b: f64| assert!((a.unwrap().variance() - b).abs() < 1e-12);
        close(s.on_new_mounting(&[other; 3], 1.0), (sm + se) + (sm + se / n) / k);
        let visit = MeanSquare { value: sv + sm / k + se / (k * n), df: 9.0 };
        let shares = (1.0 / k, 1.0 / (k * n));
        close(s.on_new_visit(0.0, visit, 0.25, shares, 1.0), sv + sm + se + 0.25 * visit.value);
    }
}
