#![allow(clippy::unwrap_used)]

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::*;

const HOW: Search = Search { confidence: 0.95, shuffles: 999 };

fn channel(values: &[f64]) -> Channel {
    Channel { values: values.to_vec(), weights: vec![1.0; values.len()] }
}

fn rng() -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(7)
}

/// T by its definition, from the two sums of squares.
#[test]
fn the_statistic_is_the_log_likelihood_ratio() {
    let x = [1.0, 2.0, 4.0, 3.0, 7.0, 6.0];
    let ss = |x: &[f64]| {
        let m = x.iter().sum::<f64>() / x.len() as f64;
        x.iter().map(|x| (x - m).powi(2)).sum::<f64>()
    };
    let profile = statistic::profile(&[channel(&x)]);
    assert_eq!(profile.len(), 3);
    for (k, t) in profile.iter().enumerate() {
        let at = k + LEAST_SIDE;
        let wanted = 6.0 * (ss(&x) / (ss(&x[..at]) + ss(&x[at..]))).ln();
        assert!((t - wanted).abs() < 1e-12, "{k}: {t} {wanted}");
    }
}

#[test]
fn a_value_without_weight_changes_nothing() {
    let x = [0.1, -0.2, 0.3, 0.0, 1.1, 0.9, 1.2, 1.0, 0.8];
    let mut with = channel(&x);
    with.values.insert(3, 99.0);
    with.weights.insert(3, 0.0);
    let (a, b) = (statistic::largest(&[channel(&x)]).unwrap(), statistic::largest(&[with]).unwrap());
    assert!((a.1 - b.1).abs() < 1e-12 && a.0 + 1 == b.0);
}

/// Of all orders of eight points, those with the four large ones together at either end are 2·4!·4! of 8!.
#[test]
fn the_exchangeable_p_value_is_the_share_of_orders_as_extreme() {
    let x = [0.0, 0.1, -0.1, 0.05, 9.0, 9.1, 8.9, 9.05];
    let null = Resampler::of_null(&[channel(&x)]);
    let p = p_value(&null, 0.0, statistic::largest(&[channel(&x)]).unwrap().1, 20_000, &mut rng());
    let exact = 2.0 * 24.0 * 24.0 / 40_320.0;
    assert!((p - exact).abs() < 4.0 * (exact / 20_000.0).sqrt(), "{p} against {exact}");
}

#[test]
fn a_plain_shift_is_found_with_its_date_and_size_in_every_channel_that_moved() {
    let noise = [0.1, -0.1, 0.2, 0.0, -0.2, 0.15, -0.05, 0.1, -0.15, 0.05, 0.0, -0.1];
    let first: Vec<f64> = (0..12).map(|t| noise[t] + if t >= 7 { 2.0 } else { 0.0 }).collect();
    let second: Vec<f64> = (0..12).map(|t| 5.0 - noise[(t + 5) % 12]).collect();
    let found = search(&[channel(&first), channel(&second)], &HOW, &mut rng());
    assert_eq!(found.shifts.len(), 1, "{found:?}");
    let shift = &found.shifts[0];
    assert_eq!((shift.at, shift.from, shift.to), (7, 7, 7));
    assert!(shift.p <= 0.01 && !shift.rotated);
    let sizes: Vec<Size> = shift.sizes.iter().map(|s| s.unwrap()).collect();
    assert!(sizes[0].interval.holds(2.0) && !sizes[0].interval.holds(0.0), "{sizes:?}");
    assert!(sizes[1].interval.holds(0.0), "{sizes:?}");
}

#[test]
fn two_shifts_are_both_found() {
    let noise = [0.1, -0.1, 0.2, 0.0, -0.2, 0.15, -0.05, 0.1, -0.15, 0.05];
    let x: Vec<f64> = (0..30).map(|t| noise[t % 10] + [0.0, 3.0, 1.0][t / 10]).collect();
    let found = search(&[channel(&x)], &Search { shuffles: 1999, ..HOW }, &mut rng());
    assert_eq!(found.shifts.iter().map(|s| s.at).collect::<Vec<_>>(), [10, 20], "{:?}", found.first);
}

#[test]
fn too_few_points_or_points_all_alike_are_not_searched() {
    assert_eq!(search(&[channel(&[1.0, 2.0, 9.0, 9.0])], &HOW, &mut rng()).first, None);
    assert_eq!(search(&[channel(&[0.1; 12])], &HOW, &mut rng()).first, None);
    assert_eq!(search(&[], &HOW, &mut rng()).first, None);
}

#[test]
fn five_points_are_rotated_and_a_glaring_shift_is_found() {
    let found = search(&[channel(&[0.0, 0.1, 20.0, 20.1, 19.9])], &HOW, &mut rng());
    let first = found.first.unwrap();
    assert!(first.rotated && first.at == 2, "{first:?}");
    assert!(first.p_exchangeable < 0.05, "{first:?}");
}

/// Shift and scale of the values change neither date nor p-value.
#[test]
fn units_do_not_matter() {
    let x = [0.3, -0.2, 0.1, 0.4, 1.0, 0.7, 1.3, 0.9, 1.1];
    let y: Vec<f64> = x.iter().map(|x| 100.0 - 3.0 * x).collect();
    let (a, b) = (search(&[channel(&x)], &HOW, &mut rng()), search(&[channel(&y)], &HOW, &mut rng()));
    let (a, b) = (a.first.unwrap(), b.first.unwrap());
    assert_eq!((a.at, a.p, a.from, a.to), (b.at, b.p, b.from, b.to));
}
