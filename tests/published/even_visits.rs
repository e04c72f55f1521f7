//! Visits of unequal size weighed alike: the classical two-way analysis of visit means, held against its
//! closed form (Scheffé, *The Analysis of Variance*, 1959, ch. 4: a complete two-way layout with one
//! observation a cell).

use daylight::stats::mixed::{Layout, MountingSummary, infer, infer_weighed};

/// Complete: `sessions` × `antennas`; visit (s, a) has `mountings(s, a)` single mountings of two readings.
fn season(
    sessions: usize,
    antennas: usize,
    mountings: impl Fn(usize, usize) -> usize,
    visit_scatter: f64,
) -> Vec<MountingSummary> {
    let mut all = vec![];
    let mut wave = 0.3; // a fixed irregular sequence in (−1, 1)
    let mut next = || {
        wave = (wave * 3.7_f64 + 0.61).sin();
        wave
    };
    for session in 0..sessions {
        let day = 2.0 * next();
        for antenna in 0..antennas {
            let visit = day + visit_scatter * next();
            for _ in 0..mountings(session, antenna) {
                let mean = visit + 0.3 * next();
                all.push(MountingSummary { session, antenna, readings: 2.0, df: 1.0, mean, sum_of_squares: 0.02 });
            }
        }
    }
    all
}

/// Antenna means of the visits' plain means, and MS_residual/sessions of the two-way layout.
fn two_way(all: &[MountingSummary], sessions: usize, antennas: usize) -> (Vec<f64>, f64) {
    let mean = |s: usize, a: usize| {
        let own: Vec<f64> = all.iter().filter(|m| (m.session, m.antenna) == (s, a)).map(|m| m.mean).collect();
        own.iter().sum::<f64>() / own.len() as f64
    };
    let (k, n) = (sessions as f64, antennas as f64);
    let of_antenna = |a: usize| (0..sessions).map(|s| mean(s, a)).sum::<f64>() / k;
    let of_session = |s: usize| (0..antennas).map(|a| mean(s, a)).sum::<f64>() / n;
    let grand = (0..antennas).map(of_antenna).sum::<f64>() / n;
    let mut ss = 0.0;
    for s in 0..sessions {
        for a in 0..antennas {
            ss += (mean(s, a) - of_antenna(a) - of_session(s) + grand).powi(2);
        }
    }
    ((0..antennas).map(of_antenna).collect(), ss / ((k - 1.0) * (n - 1.0)) / k)
}

#[test]
fn unequal_visits_weighed_alike_give_the_two_way_analysis_of_their_means() {
    let (sessions, antennas) = (3, 4);
    let all = season(sessions, antennas, |s, a| 1 + (s + 2 * a) % 3, 0.8);
    let (layout, data) = Layout::new(antennas, &all).unwrap();
    let inference = infer(&layout, &data, 0.0).unwrap();
    assert!(inference.basis.even_visits, "few visits, little to win by weights");
    let (means, square) = two_way(&all, sessions, antennas);
    for a in 1..antennas {
        let error = inference.difference(0, a);
        let difference = inference.estimates[0] - inference.estimates[a];
        assert!((difference - (means[0] - means[a])).abs() < 1e-9, "{difference}");
        let unstretched = error.adjusted / error.stretch;
        assert!((unstretched - (2.0 * square).sqrt()).abs() < 1e-6 * unstretched, "{unstretched}");
        assert!((error.df - 6.0).abs() < 1e-5, "{}", error.df);
        assert!(error.stretch >= 1.0 && error.stretch < 1.2, "{}", error.stretch);
    }
}

#[test]
fn equal_visits_are_left_to_the_fit() {
    let all = season(4, 3, |_, _| 2, 0.5);
    let (layout, data) = Layout::new(3, &all).unwrap();
    let inference = infer(&layout, &data, 0.0).unwrap();
    assert!(!inference.basis.even_visits);
    let weighed = infer_weighed(&layout, &data, 0.0).unwrap();
    assert_eq!(inference.difference(0, 1), weighed.difference(0, 1));
}

#[test]
fn visits_that_differ_much_and_are_many_are_weighed_as_the_fit_has_them() {
    // visits themselves scatter little, so nine mountings count for far more than one
    let all = season(12, 4, |s, a| if (s + a) % 2 == 0 { 1 } else { 9 }, 0.02);
    let (layout, data) = Layout::new(4, &all).unwrap();
    let inference = infer(&layout, &data, 0.0).unwrap();
    assert!(!inference.basis.even_visits, "{:?}", inference.components);
}

#[test]
fn an_antenna_always_measured_with_less_care_has_the_wider_error() {
    // antenna 0: one mounting a visit; the others three
    let all = season(4, 4, |_, a| if a == 0 { 1 } else { 3 }, 0.4);
    let (layout, data) = Layout::new(4, &all).unwrap();
    let inference = infer(&layout, &data, 0.0).unwrap();
    let (with, without) = (inference.difference(0, 1), inference.difference(1, 2));
    assert!(with.adjusted > without.adjusted, "{with:?} {without:?}");
}
