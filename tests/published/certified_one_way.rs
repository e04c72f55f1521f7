//! One-way analyses of variance with certified or printed results. Each value is a session of its own,
//! so one component is left, and the fit must be the pooled mean square.

use crate::support::{answer, close, fitted, one_way, only_set, relative};
use daylight::analysis::antennas::result::{SetResult, Verdict};
use daylight::montecarlo::replays::Replays;
use daylight::montecarlo::simultaneous::SetFit;
use daylight::stats::mixed::LevelState::{MergedInto, Seen};
use daylight::stats::mixed::{Inference, Layout, Level, MountingSummary, infer};

/// Residual standard deviation and F, from the reading component and the estimates.
struct OneWay {
    residual: f64,
    f: f64,
}

impl OneWay {
    fn new(counts: &[f64], estimates: &[f64], within: f64) -> OneWay {
        // about the first estimate, so that a large offset costs no more digits here
        let deviations: Vec<f64> = estimates.iter().map(|e| e - estimates[0]).collect();
        let total: f64 = counts.iter().sum();
        let mean = counts.iter().zip(&deviations).map(|(n, d)| n * d).sum::<f64>() / total;
        let between: f64 = counts.iter().zip(&deviations).map(|(n, d)| n * (d - mean).powi(2)).sum();
        OneWay { residual: within.sqrt(), f: between / (counts.len() - 1) as f64 / within }
    }

    fn of_fit(counts: &[f64], fit: &Inference) -> OneWay {
        assert!(fit.converged);
        OneWay::new(counts, &fit.estimates, fit.components[3])
    }

    fn of_answer(set: &SetResult) -> OneWay {
        let counts: Vec<f64> = set.antennas.iter().map(|a| a.readings).collect();
        let estimates: Vec<f64> = set.antennas.iter().map(|a| a.estimate).collect();
        let merged = MergedInto(Level::Reading);
        assert_eq!(set.components.iter().map(|c| c.state).collect::<Vec<_>>(), [merged, merged, merged, Seen]);
        OneWay::new(&counts, &estimates, set.components[3].sd.unwrap().powi(2))
    }

    fn is(&self, residual: f64, f: f64, tolerance: f64) {
        close(self.residual, residual, tolerance, "residual standard deviation");
        close(self.f, f, tolerance, "F");
    }
}

/// The pattern of SmLs01 to SmLs09: nine groups about offset + 0.4, 0.3 or 0.5, each its centre and then
/// a tenth below and above it in turn. Values are the f64 nearest to the decimal text.
fn smls(offset: u64, each: usize) -> Vec<Vec<f64>> {
    let value = |tenth: usize| format!("{offset}.{tenth}").parse().unwrap();
    let centre = |group: usize| if group == 1 { 4 } else { 3 + 2 * (group % 2) };
    let tenth = |c: usize, i: usize| if i == 0 { c } else { c + 1 - 2 * (i % 2) };
    (1..=9).map(|group| (0..each).map(|i| value(tenth(centre(group), i))).collect()).collect()
}

fn fit_of(mountings: &[MountingSummary], groups: usize) -> Inference {
    let (layout, data) = Layout::new(groups, mountings).unwrap();
    infer(&layout, &data, 0.0).unwrap()
}

/// NIST Statistical Reference Datasets, analysis of variance: SiRstv.
#[test]
fn sirstv_has_its_certified_residual_and_f() {
    let wanted = (0.104_076_068_334_656, 1.180_462_374_402_55);
    OneWay::of_answer(&answer("sirstv", 250)).is(wanted.0, wanted.1, 1e-12);
    let inference = fitted("sirstv").inference;
    OneWay::of_fit(&[5.0; 5], &inference).is(wanted.0, wanted.1, 1e-12);
    close(inference.difference(0, 4).df, 20.0, 1e-12, "degrees of freedom");
}

/// NIST Statistical Reference Datasets: SmLs01 to SmLs03, F = 21, 201, 2001.
#[test]
fn smls_01_to_03_have_their_certified_residual_and_f() {
    for (each, f) in [(21, 21.0), (201, 201.0), (2001, 2001.0)] {
        let fit = fit_of(&one_way(&smls(1, each)), 9);
        let got = OneWay::of_fit(&[each as f64; 9], &fit);
        println!("n = {each}: s off by {:.1e}, F by {:.1e}", relative(got.residual, 0.1), relative(got.f, f));
        got.is(0.1, f, 1e-12);
        close(fit.difference(0, 1).df, 9.0 * (each as f64 - 1.0), 1e-11, "degrees of freedom");
    }
    OneWay::of_answer(&answer("smls01", 250)).is(0.1, 21.0, 1e-12);
}

/// NIST Statistical Reference Datasets: SmLs04 to SmLs06, the same on an offset of 10⁶. An f64 there is
/// 10⁻¹⁰ coarse, a billionth of the scatter.
#[test]
fn smls_04_to_06_keep_eight_digits_on_an_offset_of_a_million() {
    for (each, f) in [(21, 21.0), (201, 201.0), (2001, 2001.0)] {
        let got = OneWay::of_fit(&[each as f64; 9], &fit_of(&one_way(&smls(1_000_000, each)), 9));
        println!("n = {each}: s off by {:.1e}, F by {:.1e}", relative(got.residual, 0.1), relative(got.f, f));
        got.is(0.1, f, 1e-8);
    }
    OneWay::of_answer(&answer("smls04", 250)).is(0.1, 21.0, 1e-8);
}

/// NIST Statistical Reference Datasets: SmLs07 to SmLs09, on an offset of 10¹². An f64 there is 1.2·10⁻⁴
/// coarse, so 10¹² + 0.4 is held as 10¹² + 0.400024 and the certified values can be met to some 10⁻³
/// only. The scatter of the values as held is met to ten digits: nothing more is lost on the way.
#[test]
fn smls_07_to_09_lose_no_more_than_an_f64_loses_on_an_offset_of_a_trillion() {
    for (each, f) in [(21, 21.0), (201, 201.0), (2001, 2001.0)] {
        let groups = smls(1_000_000_000_000, each);
        let got = OneWay::of_fit(&[each as f64; 9], &fit_of(&one_way(&groups), 9));
        let held: Vec<Vec<f64>> = groups.iter().map(|g| g.iter().map(|v| v - 1e12).collect()).collect();
        let exact = OneWay::of_fit(&[each as f64; 9], &fit_of(&one_way(&held), 9));
        let of_held = relative(got.residual, exact.residual);
        println!("n = {each}: s off by {:.1e}, F by {:.1e}", relative(got.residual, 0.1), relative(got.f, f));
        println!("n = {each}: s of the values as held off by {of_held:.1e}");
        got.is(0.1, f, 1e-3);
        assert!(of_held < 1e-10, "{of_held:.1e}");
    }
}

/// The files hold the pattern to the last digit.
#[test]
fn the_smls_data_sets_hold_the_pattern() {
    for (name, offset) in [("smls01", 1), ("smls04", 1_000_000)] {
        let mut held = vec![vec![]; 9];
        let set = only_set(name);
        for m in &set.mountings {
            held[m.antenna].push(m.mean);
        }
        let names: Vec<String> = (1..=9).map(|g| format!("T{g}")).collect();
        assert_eq!(set.antennas, names);
        assert_eq!(held, smls(offset, 21), "{name}");
    }
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7: the four groups, as printed.
const HANDBOOK: [[f64; 5]; 4] =
    [[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3], [5.8, 3.8, 6.1, 5.6, 6.2]];

const MEAN_SQUARE: f64 = 1.33075;

#[test]
fn the_handbooks_groups_have_their_mean_square_and_16_degrees_of_freedom() {
    let set = answer("handbook-oneway", 250);
    OneWay::of_answer(&set).is(MEAN_SQUARE.sqrt(), 9.723_839_94, 1e-9);
    for pair in &set.pairs {
        close(pair.df.unwrap(), 16.0, 1e-10, "degrees of freedom");
        close(pair.standard_error.unwrap(), (2.0 * MEAN_SQUARE / 5.0).sqrt(), 1e-10, "standard error");
    }
    let fit = fit_of(&one_way(&HANDBOOK.map(Vec::from)), 4);
    let file = fitted("handbook-oneway").inference;
    assert_eq!((fit.components, &fit.estimates), (file.components, &file.estimates));
}

/// Trials for the simultaneous figures below.
const TRIALS: usize = 100_000;

/// A quantile read from n trials has standard error √(p(1 − p)/n)/f, where f is the density of what is
/// read. Here the half-width is q·s/√5 with q the studentized range of 4 means on 16 degrees of freedom,
/// whose density at its 0.95 quantile is 0.0677797 (R's ptukey, by central difference).
#[test]
fn simultaneous_intervals_are_the_handbooks_tukey_intervals() {
    let set = answer("handbook-oneway", TRIALS);
    let unit = (MEAN_SQUARE / 5.0).sqrt();
    let error = unit * (0.95 * 0.05 / TRIALS as f64).sqrt() / 0.067_779_7;
    let printed = [((0, 1), -4.47, -0.29), ((0, 2), -5.31, -1.13), ((0, 3), -2.25, 1.93), ((1, 2), -2.93, 1.25)]
        .into_iter()
        .chain([((1, 3), 0.13, 4.31), ((2, 3), 0.97, 5.15)]);
    for (pair, (both, low, high)) in set.pairs.iter().zip(printed) {
        assert_eq!((pair.first, pair.second), both);
        let range = pair.range.unwrap();
        let half = (range.high - range.low) / 2.0;
        assert!((half - 2.087_368_39).abs() < 4.0 * error, "{half} ± {error}");
        // the handbook prints two decimals
        let off = (range.low - low).abs().max((range.high - high).abs());
        assert!(off < 0.005 + 4.0 * error, "{both:?} {range:?}");
        assert_eq!(pair.verdict == Verdict::Apart, low > 0.0 || high < 0.0, "{both:?}");
    }
}

/// Whether a p-value of `TRIALS` replays is the exact one, within four standard errors and the one trial
/// that is added so that it is never 0.
fn p_value_agrees(replays: &Replays, fit: &SetFit, pair: usize, exact: f64) {
    let got = replays.p_value(fit.pairs[pair].scaled());
    let n = TRIALS as f64;
    let allowed = 4.0 * (exact * (1.0 - exact) / n).sqrt() + 1.0 / (1.0 + n);
    assert!((got - exact).abs() < allowed, "{got} instead of {exact}, {allowed:.1e} allowed");
}

fn replayed(fit: &SetFit) -> Replays {
    let mut replays = Replays::default();
    fit.replay(&mut replays, TRIALS, 7, 0, &|| ());
    assert_eq!((replays.trials(), replays.unsettled), (TRIALS, 0));
    replays
}

/// Exact p-values of the studentized range for the handbook's differences.
#[test]
fn p_values_of_the_handbooks_pairs_are_tukeys() {
    let fit = fitted("handbook-oneway");
    let replays = replayed(&fit);
    let exact =
        [0.022_793_380_01, 0.002_210_821_92, 0.996_121_079_6, 0.664_464_902_4, 0.035_154_479_04, 0.003_450_556_19];
    for (pair, exact) in exact.into_iter().enumerate() {
        p_value_agrees(&replays, &fit, pair, exact);
    }
}

/// Pinheiro and Bates (2000), 1.2, the stools; exact p-values of the studentized range on 24 degrees of
/// freedom. Some replays find the subjects' component at zero: the rule then still gives these.
#[test]
fn p_values_of_the_stools_are_tukeys() {
    let fit = fitted("ergostool");
    let replays = replayed(&fit);
    let exact = [5.612_536_99e-7, 0.001_370_922_35, 0.580_750_819, 0.018_203_670_8, 1.148_887_74e-5, 0.029_582_193];
    for (pair, exact) in exact.into_iter().enumerate() {
        p_value_agrees(&replays, &fit, pair, exact);
    }
}

/// Littell et al. (1996), data set 1.5.1: incomplete blocks. Tukey's p-values (of 15 means, each pair on its
/// Kenward–Roger degrees of freedom) err on the high side there, by little. Four standard errors are 0.006.
#[test]
fn p_values_of_incomplete_blocks_are_a_little_below_tukeys() {
    let fit = fitted("pbib");
    let replays = replayed(&fit);
    for (first, second, tukey) in [(1, 11, 0.293_618_348), (2, 11, 0.372_702_045), (0, 1, 0.871_407_523)] {
        let pair = fit.pairs.iter().find(|p| (p.first, p.second) == (first, second)).unwrap();
        let got = replays.p_value(pair.scaled());
        println!("T{} − T{}: {got} beside {tukey}", first + 1, second + 1);
        assert!(got < tukey + 0.006 && got > tukey - 0.02, "{got} {tukey}");
    }
}
