//! Replays: the same seed gives the same bits on any number of threads, and where theory knows the
//! answer they give it.

use crate::support::{at_root, close, fitted, mounting};
use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::montecarlo::replays::{CHUNK, Replays};
use daylight::montecarlo::simultaneous::SetFit;
use daylight::montecarlo::stream::stream;
use daylight::report::antennas_json;
use daylight::season::Season;
use daylight::stats::mixed::{Layout, Level, Simulator, Workspace, fit};

/// Runs `f` in a pool of that many threads.
fn on_threads<T: Send>(threads: usize, f: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(f)
}

fn replayed(fit: &SetFit, trials: usize, seed: u64, number: u64) -> Replays {
    let mut replays = Replays::default();
    fit.replay(&mut replays, trials, seed, number, &|| ());
    replays
}

/// Every bit of them.
fn bits(replays: &Replays) -> (Vec<u64>, Vec<u64>, usize) {
    let of = |values: &[f64]| values.iter().map(|v| v.to_bits()).collect();
    (of(&replays.largest), of(&replays.errors), replays.unsettled)
}

#[test]
fn the_same_seed_gives_the_same_replays_on_any_number_of_threads() {
    for name in ["pbib", "ergostool", "pastes"] {
        let fit = fitted(name);
        let run = |threads| bits(&on_threads(threads, || replayed(&fit, 13 * CHUNK, 42, 3)));
        let one = run(1);
        assert_eq!(one.0.len(), 13 * CHUNK);
        assert_eq!(one.1.len(), 13 * CHUNK * fit.layout.antennas());
        assert!(one == run(2) && one == run(3), "{name}");
    }
}

#[test]
fn other_seeds_and_other_sets_have_other_replays() {
    let fit = fitted("pbib");
    let first = replayed(&fit, 2 * CHUNK, 1, 0);
    let same = |other: &Replays| first.largest.iter().zip(&other.largest).filter(|(a, b)| a == b).count();
    assert_eq!(same(&replayed(&fit, 2 * CHUNK, 1, 0)), 2 * CHUNK);
    assert_eq!(same(&replayed(&fit, 2 * CHUNK, 2, 0)), 0);
    assert_eq!(same(&replayed(&fit, 2 * CHUNK, 1, 1)), 0);
    let (early, late) = first.largest.split_at(CHUNK);
    assert!(early.iter().all(|x| !late.contains(x)), "two chunks share a stream");
}

#[test]
fn more_replays_begin_with_the_ones_already_made() {
    let fit = fitted("pbib");
    let mut in_two_goes = replayed(&fit, 2 * CHUNK, 5, 0);
    fit.replay(&mut in_two_goes, 3 * CHUNK, 5, 0, &|| ());
    assert!(bits(&in_two_goes) == bits(&replayed(&fit, 5 * CHUNK, 5, 0)));
}

/// The answer for one band: all of it, or one quantity.
fn answer_in_json(season: &Season, quantity: Option<&str>, seed: u64, trials: Option<usize>, threads: usize) -> String {
    let choice = Choice { band: Some("2 m".into()), quantity: quantity.map(String::from), meter: None };
    let options = Options { confidence: 0.95, seed, trials };
    let result = on_threads(threads, || analyse(season, &choice, &options, &|| ()).unwrap());
    antennas_json::render(&result).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_answer_to_the_byte_on_any_number_of_threads() {
    let season = Season::load(&at_root("datasets/lowland-search")).unwrap();
    let one = answer_in_json(&season, None, 1, Some(2000), 1);
    assert!(one.contains("p_adjusted") && one.contains("probability_first_better"));
    for threads in [2, 3] {
        assert!(one == answer_in_json(&season, None, 1, Some(2000), threads), "{threads} threads");
    }
    assert!(one != answer_in_json(&season, None, 2, Some(2000), 1), "the seed changes nothing");
}

/// Without a fixed number of trials the figures decide when to stop: by blocks, not by threads.
#[test]
fn trials_stop_at_the_same_place_on_any_number_of_threads() {
    let season = Season::load(&at_root("datasets/lowland-search")).unwrap();
    let one = answer_in_json(&season, Some("field_strength"), 1, None, 1);
    assert!(one.contains("p_adjusted") && one == answer_in_json(&season, Some("field_strength"), 1, None, 3));
}

/// A complete season, every visit with two mountings of three readings. `sizes` scale the scatter of
/// each level, which runs through the fractional parts of multiples of the golden ratio; mountings lie
/// evenly about their visit, so that they add nothing to the scatter of visits.
fn complete(sessions: usize, antennas: usize, sizes: [f64; 4]) -> SetFit {
    let scrambled = |i: usize| (i as f64 * 0.618_033_988_749_895).fract() - 0.5;
    let mut mountings = vec![];
    for s in 0..sessions {
        for a in 0..antennas {
            let visit = s * antennas + a;
            for m in 0..2 {
                let at = sizes[0] * scrambled(s + 1)
                    + sizes[1] * scrambled(7 * visit + 50)
                    + sizes[2] * scrambled(11 * visit + 400) * [1.0, -1.0][m];
                let reading = |r: usize| at + sizes[3] * scrambled(13 * (6 * visit + 3 * m + r) + 1000);
                mountings.push(mounting(s, a, &[reading(0), reading(1), reading(2)]));
            }
        }
    }
    let (layout, data) = Layout::new(antennas, &mountings).unwrap();
    SetFit::new(layout, &data, 0.0, 0.95).unwrap()
}

/// REML is unbiased in a complete balanced season unless a component comes out at zero, which these
/// sizes leave no room for.
#[test]
fn simulated_seasons_have_on_average_the_components_they_were_drawn_from() {
    let layout = complete(12, 4, [2.0, 1.0, 0.5, 0.3]).layout;
    let theta = [4.0, 2.0, 1.0, 1.0];
    let simulator = Simulator::new(&layout, &theta);
    let (mut data, mut workspace, mut rng) = (simulator.blank(), Workspace::new(&layout), stream(3, 0, 0));
    let mut fits = vec![];
    for _ in 0..2000 {
        simulator.draw(&mut rng, &mut data);
        fits.push(fit(&layout, &data, 0.0, &mut workspace).unwrap().theta);
    }
    let n = fits.len() as f64;
    for (k, wanted) in theta.into_iter().enumerate() {
        let mean = fits.iter().map(|t| t[k]).sum::<f64>() / n;
        let variance = fits.iter().map(|t| (t[k] - mean).powi(2)).sum::<f64>() / (n - 1.0);
        let error = (variance / n).sqrt();
        println!("{:?}: {mean} ± {error}, drawn from {wanted}", Level::ALL[k]);
        assert!((mean - wanted).abs() < 4.0 * error, "{:?}: {mean} ± {error}, drawn from {wanted}", Level::ALL[k]);
    }
}

/// Trials for the comparison with theory.
const TRIALS: usize = 40_000;

/// In a complete balanced season the largest |t| of all pairs is the studentized range over √2, on the
/// degrees of freedom of the visits' stratum, whatever component is at zero in the log or in a replay.
///
/// `exact` is the range's 0.95 quantile, `density` its density there (R's qtukey, and ptukey by central
/// difference). The share of trials below the exact quantile is binomial; a quantile read from n trials
/// has standard error √(p(1 − p)/n) over the density. Four standard errors are allowed.
fn largest_is_the_studentized_range(fit: &SetFit, df: f64, exact: f64, density: f64) {
    let replays = replayed(fit, TRIALS, 11, 0);
    assert_eq!((replays.trials(), replays.unsettled), (TRIALS, 0));
    let scale = fit.pairs[0].t_scale;
    for pair in &fit.pairs {
        close(pair.error.df, df, 1e-6, "degrees of freedom");
        close(pair.t_scale, scale, 1e-6, "t quantile");
    }
    let error = (0.95 * 0.05 / TRIALS as f64).sqrt();
    let wanted = exact / 2f64.sqrt();
    let below = replays.largest.iter().filter(|&&x| x * scale <= wanted).count() as f64 / TRIALS as f64;
    let quantile = replays.quantile(0.95) * scale;
    println!("{df} df: {below} below; quantile {quantile} instead of {wanted}");
    assert!((below - 0.95).abs() < 4.0 * error, "{below} below the exact quantile");
    // the density of q/√2 is √2 times that of q
    assert!((quantile - wanted).abs() < 4.0 * error / (density * 2f64.sqrt()), "{quantile} instead of {wanted}");

    // the joint errors: multivariate t to a hundredth of a probability, not exactly, because a replay
    // that finds another ratio of components is turned a little against the log
    let range = |e: &[f64]| e.iter().fold(0f64, |m, x| e.iter().fold(m, |m, y| m.max((x - y).abs())));
    let drawn = replays.errors.chunks_exact(fit.layout.antennas());
    let inside = drawn.filter(|e| range(e) <= wanted * fit.pairs[0].error.model).count() as f64 / TRIALS as f64;
    println!("{df} df: {inside} of the joint errors inside");
    assert!((inside - 0.95).abs() < 0.01, "{inside} of the joint errors inside");
}

#[test]
fn one_way_groups_have_the_studentized_range_of_their_residual() {
    largest_is_the_studentized_range(&fitted("handbook-oneway"), 16.0, 4.046_093_037, 0.067_779_7);
}

#[test]
fn balanced_blocks_have_the_studentized_range_of_their_residual() {
    largest_is_the_studentized_range(&fitted("ergostool"), 24.0, 3.901_261_960, 0.075_404_4);
}

#[test]
fn complete_seasons_have_the_studentized_range_of_their_visits() {
    let fit = complete(9, 4, [2.0, 1.0, 0.5, 0.3]);
    assert!(fit.inference.components.iter().all(|&c| c > 0.0));
    largest_is_the_studentized_range(&fit, 24.0, 3.901_261_960, 0.075_404_4);
}

#[test]
fn complete_seasons_with_components_at_zero_have_the_studentized_range_of_their_visits() {
    let fit = complete(9, 4, [1.0, 0.0, 2.0, 0.3]);
    assert_eq!(fit.inference.basis.collapsed_to, Some(Level::Visit), "{:?}", fit.inference.components);
    largest_is_the_studentized_range(&fit, 24.0, 3.901_261_960, 0.075_404_4);
    let fit = complete(9, 4, [0.0, 2.0, 1.0, 0.3]);
    assert!(fit.inference.basis.session_fixed, "{:?}", fit.inference.components);
    largest_is_the_studentized_range(&fit, 24.0, 3.901_261_960, 0.075_404_4);
}
