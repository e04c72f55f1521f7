//! Every sampler against its exact distribution function, at ten million draws.
//!
//! Two tests each: the largest distance between the empirical and the exact distribution function over the edges of 4,096
//! cells (Kolmogorov's bound holds for any set of points), and chi-square over the cells. Each is done at a level of 2·10⁻⁸, so
//! that a false alarm of any of them is rarer than one in a million. Seeds are fixed: it either passes or it doesn't.

use daylight::montecarlo::distribution::Distribution;
use daylight::montecarlo::elementary::standard_normals;
use daylight::montecarlo::joint::{Factor, stretches};
use daylight::montecarlo::stream::swift_stream;
use rayon::prelude::*;

const DRAWS: usize = 10_000_000;
const CELLS: usize = 4096;
const LEVEL: f64 = 2e-8;

/// Counts per cell of [low, high], with one below and one above, of draws that `fill` makes chunk by chunk.
fn counts(low: f64, high: f64, fill: impl Fn(u64, &mut [f64]) + Sync) -> Vec<u64> {
    let chunk = 8192;
    let scale = CELLS as f64 / (high - low);
    (0..DRAWS.div_ceil(chunk) as u64)
        .into_par_iter()
        .fold(
            || (vec![0u64; CELLS + 2], vec![0.0; chunk]),
            |(mut counts, mut draws), c| {
                let n = chunk.min(DRAWS - c as usize * chunk);
                fill(c, &mut draws[..n]);
                for x in &draws[..n] {
                    // a value on an edge belongs to the cell below it, as in a distribution function
                    let cell = ((x - low) * scale).ceil().clamp(0.0, CELLS as f64 + 1.0);
                    counts[cell as usize] += 1;
                }
                (counts, draws)
            },
        )
        .map(|(counts, _)| counts)
        .reduce(|| vec![0; CELLS + 2], |a, b| a.iter().zip(&b).map(|(a, b)| a + b).collect())
}

/// Both tests of counts against the distribution function.
fn agree(name: &str, low: f64, high: f64, counts: &[u64], cdf: impl Fn(f64) -> f64) {
    let n = counts.iter().sum::<u64>() as f64;
    assert_eq!(n as usize, DRAWS);
    let edge = |i: usize| low + (high - low) * i as f64 / CELLS as f64;
    let exact: Vec<f64> = (0..=CELLS).map(|i| cdf(edge(i))).chain([1.0]).collect();
    let (mut seen, mut distance) = (0, 0.0f64);
    for (count, p) in counts.iter().zip(&exact) {
        seen += count;
        distance = distance.max((seen as f64 / n - p).abs());
    }
    let bound = ((2.0 / LEVEL).ln() / (2.0 * n)).sqrt();
    assert!(distance < bound, "{name}: distance {distance} above {bound}");
    // cells joined until each expects a hundred
    let (mut chi, mut cells, mut expected, mut observed, mut below) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, (count, p)) in counts.iter().zip(&exact).enumerate() {
        expected += n * (p - below);
        observed += *count as f64;
        below = *p;
        if expected >= 100.0 && n * (1.0 - p) >= 100.0 || i + 1 == exact.len() {
            assert!(expected > 0.0 || observed == 0.0, "{name}: {observed} draws where none can be");
            if expected > 0.0 {
                chi += (observed - expected).powi(2) / expected;
                cells += 1.0;
            }
            (expected, observed) = (0.0, 0.0);
        }
    }
    // Wilson and Hilferty: the cube root of chi-square over its degrees of freedom is nearly normal; z = 5.49 at this level
    let v = 2.0 / (9.0 * (cells - 1.0f64));
    let bound = (cells - 1.0) * (1.0 - v + 5.49 * v.sqrt()).powi(3);
    assert!(cells > 30.0 && chi < bound, "{name}: chi-square {chi} above {bound} with {cells} cells");
}

#[test]
fn every_distribution_of_the_standard_is_drawn_as_its_distribution_function_says() {
    use Distribution::*;
    let cases = [
        (Normal { mean: 2.0, standard: 0.5 }, -1.0, 5.0),
        (Rectangular { low: -3.0, high: 5.0 }, -3.0, 5.0),
        (CurvilinearTrapezoid { low: -1.0, high: 1.0, within: 0.5 }, -1.5, 1.5),
        (CurvilinearTrapezoid { low: -0.05, high: 0.05, within: 0.001 }, -0.051, 0.051),
        (Trapezoidal { low: 0.0, high: 4.0, top: 0.3 }, 0.0, 4.0),
        (Triangular { low: 10.0, high: 11.0 }, 10.0, 11.0),
        (Arcsine { low: -2.0, high: 6.0 }, -2.0, 6.0),
        (StudentT { location: 1.0, scale: 2.0, df: 4.0 }, -60.0, 62.0),
        (StudentT { location: 0.0, scale: 1.0, df: 1.0 }, -100.0, 100.0),
        (Exponential { mean: 3.0 }, 0.0, 50.0),
        (Gamma { shape: 1.0 + 7.0, scale: 1.0 }, 0.0, 40.0),
        (Gamma { shape: 0.6, scale: 2.0 }, 0.0, 30.0),
    ];
    for (number, (distribution, low, high)) in cases.into_iter().enumerate() {
        let fill = |chunk, draws: &mut [f64]| distribution.fill(&mut swift_stream(20, number as u64, chunk), draws);
        agree(&format!("{distribution:?}"), low, high, &counts(low, high, fill), |x| distribution.cdf(x));
    }
}

/// (x − μ)ᵀΣ⁻¹(x − μ) of two joint normals is exponential with mean 2; of two joint t's twice an F of 2 and ν.
#[test]
fn joint_draws_have_the_distances_and_the_directions_they_should() {
    let r = -0.8f64;
    let factor = Factor::new(2, &[1.0, r, r, 1.0]).unwrap();
    let pairs = |chunk: u64, df: Option<f64>, n: usize| {
        let (mut x, mut y) = (vec![0.0; n], vec![0.0; n]);
        standard_normals(&mut swift_stream(21, 0, chunk), &mut x);
        standard_normals(&mut swift_stream(21, 1, chunk), &mut y);
        factor.correlate(&mut [&mut x, &mut y]);
        if let Some(df) = df {
            let mut s = vec![0.0; n];
            stretches(df, &mut swift_stream(21, 2, chunk), &mut s);
            x.iter_mut().zip(&s).for_each(|(z, s)| *z *= s);
            y.iter_mut().zip(&s).for_each(|(z, s)| *z *= s);
        }
        (x, y)
    };
    for df in [None, Some(4.0)] {
        let distance = |chunk: u64, draws: &mut [f64]| {
            let (x, y) = pairs(chunk, df, draws.len());
            for (d, (x, y)) in draws.iter_mut().zip(x.iter().zip(&y)) {
                *d = (x * x - 2.0 * r * x * y + y * y) / (1.0 - r * r);
            }
        };
        let cdf = |d: f64| match df {
            None => -(-d / 2.0).exp_m1(),
            Some(df) => 1.0 - (1.0 + d / df).powf(-df / 2.0),
        };
        agree(&format!("distance {df:?}"), 0.0, 60.0, &counts(0.0, 60.0, distance), cdf);
        // the decorrelated direction is uniform
        let direction = |chunk: u64, draws: &mut [f64]| {
            let (x, y) = pairs(chunk, df, draws.len());
            for (a, (x, y)) in draws.iter_mut().zip(x.iter().zip(&y)) {
                *a = ((y - r * x) / (1.0 - r * r).sqrt()).atan2(*x);
            }
        };
        let pi = std::f64::consts::PI;
        agree(&format!("direction {df:?}"), -pi, pi, &counts(-pi, pi, direction), |a| (a + pi) / (2.0 * pi));
    }
}

/// Closed forms of JCGM 101:2008, table 1, on (−1, 1), and the draws' own moments.
#[test]
fn means_and_standard_deviations_are_those_of_the_draws_and_of_table_1() {
    use Distribution::*;
    let cases = [
        (Rectangular { low: -1.0, high: 1.0 }, 0.0, 1.0 / 3f64.sqrt()),
        (Triangular { low: -1.0, high: 1.0 }, 0.0, 0.408_248_290_464),
        (Trapezoidal { low: -1.0, high: 1.0, top: 0.5 }, 0.0, 0.456_435_464_588),
        (CurvilinearTrapezoid { low: -1.0, high: 1.0, within: 0.5 }, 0.0, 0.600_925_212_577),
        (Arcsine { low: -1.0, high: 1.0 }, 0.0, std::f64::consts::FRAC_1_SQRT_2),
        (StudentT { location: 1.0, scale: 2.0, df: 18.0 }, 1.0, 2.0 * (18.0 / 16.0f64).sqrt()),
        (Exponential { mean: 2.5 }, 2.5, 2.5),
        (Gamma { shape: 8.0, scale: 1.0 }, 8.0, 8f64.sqrt()),
    ];
    let n = 1_000_000;
    for (number, (distribution, mean, sd)) in cases.into_iter().enumerate() {
        assert!((distribution.mean() - mean).abs() < 1e-12, "{distribution:?}");
        assert!((distribution.standard_deviation() - sd).abs() < 1e-11, "{distribution:?}");
        let mut draws = vec![0.0; n];
        distribution.fill(&mut swift_stream(22, number as u64, 0), &mut draws);
        let average = draws.iter().sum::<f64>() / n as f64;
        assert!((average - mean).abs() < 5.5 * sd / (n as f64).sqrt(), "{distribution:?}: {average}");
    }
    assert!(StudentT { location: 0.0, scale: 1.0, df: 2.0 }.standard_deviation().is_infinite());
}
