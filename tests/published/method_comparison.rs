//! Published examples of method comparison and control charts, against what was printed and what
//! exact arithmetic gives (`datasets/published/method-comparison/README.md`).

use crate::support::{close, columns};
use daylight::stats::check_standard::{Occasion, history};
use daylight::stats::control_chart::{ewma, individuals};
use daylight::stats::method_comparison::{deming, limits, passing_bablok, york};

fn numbers<const N: usize>(file: &str, names: [&str; N]) -> [Vec<f64>; N] {
    let rows = columns(&format!("datasets/published/method-comparison/{file}"), names);
    std::array::from_fn(|i| rows.iter().map(|row| row[i].parse().unwrap()).collect())
}

/// Agrees with a printed figure to the digits printed.
fn prints(value: f64, printed: f64, digit: f64) {
    assert!((value - printed).abs() <= digit / 2.0 + 1e-9, "{value} is not printed as {printed}");
}

fn minus(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

/// Bland & Altman (1986), Lancet: peak flow. The paper's own interval of a limit uses the standard error √(3/n)·s;
/// here it comes from chi-squared, so the two agree only roughly.
#[test]
fn peak_flow_limits_of_agreement_of_1986() {
    let [w1, w2, m1, m2] = numbers("bland_altman_1986_pefr.csv", ["wright1", "wright2", "mini1", "mini2"]);
    let l = limits::of_single_pairs(&minus(&w1, &m1), 0.95).unwrap();
    close(l.bias, -2.117_647_059, 1e-9, "mean difference");
    close(l.sd, 38.765_129_874, 1e-9, "standard deviation");
    prints(l.bias, -2.1, 0.1);
    prints(l.sd, 38.8, 0.1);
    close(l.bias - 2.0 * l.sd, -79.647_907, 1e-7, "lower limit at 2 sd");
    close(l.bias + 2.0 * l.sd, 75.412_613, 1e-7, "upper limit at 2 sd");
    close(l.low, -78.095_905_5, 1e-8, "lower limit");
    close(l.high, 73.860_611_4, 1e-8, "upper limit");
    close(l.bias_interval.low, -22.048_838, 1e-7, "interval of the mean");
    close(l.bias_interval.high, 17.813_544, 1e-7, "interval of the mean");
    // as printed, −114.3 … −45.1 and 40.9 … 109.9, by the approximation √(3/n)·s: skew is ignored there
    assert!((l.low_interval.low + 114.2).abs() < 20.0 && (l.low_interval.high + 45.1).abs() < 10.0, "{l:?}");
    assert!((l.low_interval.half() / 34.5 - 1.0).abs() < 0.2, "{l:?}");
    // repeatability of each meter
    let (wright, mini) = (limits::repeat_sd(&w1, &w2), limits::repeat_sd(&m1, &m2));
    close(wright, 15.306_669, 1e-6, "Wright within subjects");
    close(mini, 19.910_831, 1e-6, "mini within subjects");
    close(wright * 2f64.sqrt(), 21.646_899, 1e-7, "Wright differences");
    close(mini * 2f64.sqrt() * 2.0, 56.316_334, 1e-7, "mini coefficient of repeatability");
    // means of two readings, and back to single ones
    let mean = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a + b) / 2.0).collect::<Vec<_>>();
    let of_means = limits::of_single_pairs(&minus(&mean(&w1, &w2), &mean(&m1, &m2)), 0.95).unwrap();
    close(of_means.bias, -6.029_412, 1e-6, "mean difference of means");
    close(of_means.sd, 33.204_137, 1e-7, "sd of differences of means");
    let corrected = (of_means.sd.powi(2) + wright * wright / 2.0 + mini * mini / 2.0).sqrt();
    prints(corrected, 37.7, 0.1);
    close(corrected, 37.654_779, 1e-7, "corrected for repeats");
}

#[test]
fn cardiac_output_limits_with_repeats_of_2007() {
    let [subject, rv, ic] = numbers("bland_altman_2007_cardiac.csv", ["subject", "rv", "ic"]);
    let mut items = vec![vec![]; 12];
    for (s, d) in subject.iter().zip(minus(&rv, &ic)) {
        items[*s as usize - 1].push(d);
    }
    let r = limits::of_repeated_pairs(&items, 0.95).unwrap();
    close(r.limits.bias, 0.602_166_666_7, 1e-9, "bias");
    close(r.within_ms, 0.170_713_993_1, 1e-9, "residual mean square");
    close(r.between_ms, 4.209_086_060_6, 1e-9, "subject mean square");
    close(r.divisor, 4.981_818_181_8, 1e-9, "divisor");
    close(r.between, 0.810_622_130_3, 1e-9, "between-subject variance");
    close(r.limits.sd.powi(2), 0.981_336_123_4, 1e-9, "total variance");
    close(r.limits.sd, 0.990_624_108_0, 1e-9, "sd");
    close(r.limits.bias - 1.96 * r.limits.sd, -1.339_456_585_1, 1e-8, "lower limit at 1.96");
    close(r.limits.bias + 1.96 * r.limits.sd, 2.543_789_918_4, 1e-8, "upper limit at 1.96");
    let single = limits::of_single_pairs(&items.concat(), 0.95).unwrap();
    close(single.sd, 0.961_057_136_3, 1e-9, "sd with subjects ignored");
    // subjects, not pairs, are the unit: the bias is known far less well than 60 pairs would have it
    assert!(r.limits.bias_interval.half() > 2.0 * single.bias_interval.half());
    assert!(r.limits.low_interval.holds(r.limits.low) && r.limits.high_interval.holds(r.limits.high));
}

#[test]
fn york_s_line_through_pearson_s_points() {
    let [x, wx, y, wy] = numbers("pearson_york.csv", ["x", "wx", "y", "wy"]);
    let points: Vec<york::Point> = (0..x.len())
        .map(|i| york::Point {
            x: x[i],
            y: y[i],
            x_error: wx[i].powf(-0.5),
            y_error: wy[i].powf(-0.5),
            correlation: 0.0,
        })
        .collect();
    let fit = york::fit(&points).unwrap();
    prints(fit.line.intercept, 5.479_910_22, 1e-8);
    prints(fit.line.slope, -0.480_533_407, 1e-9);
    close(fit.line.intercept, 5.479_910_224_032_8, 1e-9, "a");
    close(fit.line.slope, -0.480_533_407_446_2, 1e-9, "b");
    close(fit.line.intercept_error, 0.294_970_735_5, 1e-7, "error of a");
    close(fit.line.slope_error, 0.057_985_009_0, 1e-7, "error of b");
    close(fit.sum_of_squares, 11.866_353_194_1, 1e-8, "S");
    close(fit.sum_of_squares / fit.df, 1.483_294_149_3, 1e-8, "S/(n − 2)");
    let scaled = fit.scaled();
    close(scaled.intercept_error, 0.359_246_522_6, 1e-7, "scaled error of a");
    close(scaled.slope_error, 0.070_620_269_5, 1e-7, "scaled error of b");
    let correlation = fit.line.covariance / (fit.line.intercept_error * fit.line.slope_error);
    close(correlation, -0.963_088_137_5, 1e-7, "correlation of a and b");
}

#[test]
fn deming_s_line_of_the_blood_test() {
    let [x, y] = numbers("deming_bloodtest.csv", ["x", "y"]);
    assert_eq!(x.len(), 65);
    let (a, b) = deming::coefficients(&x, &y, 1.0).unwrap();
    close(a, -10.798_450_090, 1e-9, "a, λ = 1");
    close(b, 0.356_998_827, 1e-8, "b, λ = 1");
    let j = deming::jackknife(&x, &y, 1.0).unwrap();
    close(j.intercept_error, 1.406_838_419, 1e-8, "jackknife error of a");
    close(j.slope_error, 0.015_107_382, 1e-7, "jackknife error of b");
    let (a, b) = deming::coefficients(&x, &y, 2.0).unwrap();
    close(a, -10.668_554_600, 1e-9, "a, λ = 2");
    close(b, 0.355_593_008, 1e-8, "b, λ = 2");
    // the published estimate, at the ratio of the two variances turned over
    let (a, b) = deming::coefficients(&x, &y, 7.422_578_519).unwrap();
    prints(a, -10.564_15, 1e-5);
    prints(b, 0.354_463, 1e-6);
    let t = deming::analytic(&x, &y, 1.0).unwrap();
    close(t.slope, 0.356_998_827, 1e-8, "York at equal weights");
    assert!((t.slope_error / j.slope_error - 1.0).abs() < 0.25, "{t:?}");
}

#[test]
fn passing_and_bablok_s_line_of_fifty_samples() {
    let [x, y] = numbers("passing_bablok_50.csv", ["x", "y"]);
    let p = passing_bablok::fit(&x, &y, 0.95).unwrap();
    assert_eq!((x.len(), p.slopes, p.shift), (50, 1217, 37));
    close(p.slope, 83.0 / 82.0, 1e-12, "slope");
    close(p.slope_interval.low, 0.977_777_777_8, 1e-9, "slope, lower");
    close(p.slope_interval.high, 1.0625, 1e-12, "slope, upper");
    close(p.intercept, -0.142_682_926_9, 1e-8, "intercept");
    close(p.intercept_interval.low, -0.665_625, 1e-9, "intercept, lower");
    close(p.intercept_interval.high, 0.234_444_444_4, 1e-8, "intercept, upper");
    assert!(p.linear_p > 0.05, "{}", p.linear_p);
}

/// Worked by hand: 21 slopes, none below −1.
#[test]
fn passing_and_bablok_s_line_of_seven_points_by_hand() {
    let x = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
    let y = [1.1, 2.3, 2.8, 4.4, 4.9, 6.6, 6.9];
    let p = passing_bablok::fit(&x, &y, 0.95).unwrap();
    assert_eq!((p.slopes, p.shift), (21, 0));
    close(p.slope, 1.025, 1e-12, "slope");
    close(p.slope_interval.low, 0.833_333_333_3, 1e-9, "slope, lower");
    close(p.slope_interval.high, 1.2, 1e-12, "slope, upper");
    close(p.intercept, 0.075, 1e-9, "intercept");
    close(p.intercept_interval.low, -0.6, 1e-9, "intercept, lower");
    close(p.intercept_interval.high, 0.733_333_333_3, 1e-9, "intercept, upper");
}

/// NIST/SEMATECH e-Handbook, section 6.3.2.4.
#[test]
fn the_handbook_s_moving_average_chart() {
    let x = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ];
    let wanted = [
        50.6000, 49.5200, 50.5640, 50.1848, 50.1594, 49.2116, 49.7481, 49.8537, 50.2576, 50.3303, 50.1112, 49.3578,
        49.5205, 50.0543, 49.3780, 49.9246, 50.7272, 51.2291, 51.9403, 51.9882,
    ];
    let chart = ewma(&x, 50.0, &[2.0539; 20], 0.3, 3.0);
    for (point, wanted) in chart.iter().zip(wanted) {
        prints(point.value, wanted, 1e-4);
        assert!(!point.out());
    }
    for (point, upper) in chart.iter().zip([51.848_510, 52.256_394, 52.431_406]) {
        close(point.high, upper, 1e-7, "start-up limit");
    }
    let long = ewma(&[50.0; 200], 50.0, &[2.0539; 200], 0.3, 3.0);
    close(long[199].high, 52.588_431_738, 1e-9, "upper limit at rest");
    close(long[199].low, 47.411_568_262, 1e-9, "lower limit at rest");
}

/// NIST/SEMATECH e-Handbook, section 2.6.2: wafer 137, probe 2362.
#[test]
fn the_handbook_s_check_standard() {
    let [mean, sd] = numbers("nist_mpc62_check_standard.csv", ["mean", "short_sd"]);
    let occasions: Vec<Occasion> =
        mean.iter().zip(&sd).map(|(&mean, &sd)| Occasion { mean, sd, df: 5.0, readings: 6.0 }).collect();
    let h = history(&occasions).unwrap();
    assert_eq!((h.short_term.1, h.means.1), (125.0, 24.0));
    close(h.short_term.0, 0.061_387_947, 1e-7, "s1");
    prints(h.short_term.0, 0.061_39, 1e-5);
    close(h.means.0, 0.026_798_134, 1e-7, "s2");
    prints(h.means.0, 0.0268, 1e-4);
    prints(h.mean, 97.069_84, 1e-5);
    close(h.between, 9.006_000e-5, 1e-4, "variance between occasions");
    close(h.largest_sd(5.0, 0.95).unwrap(), 0.092_831_297, 1e-7, "largest sd in control");
    let chart = individuals(&mean, h.mean, &[h.means.0; 25], 2.0);
    close(chart[0].low, 97.016_243_73, 1e-9, "lower limit");
    close(chart[0].high, 97.123_436_27, 1e-9, "upper limit");
}

/// NIST/SEMATECH e-Handbook, section 2.4.4.1: wafer 140, probe 2362; two runs of six days.
#[test]
fn the_handbook_s_nested_levels() {
    let [run, mean, sd] = numbers("nist_mpc441.csv", ["run", "mean", "short_sd"]);
    let occasions = |wanted: f64| -> Vec<Occasion> {
        (0..run.len())
            .filter(|&i| run[i] == wanted)
            .map(|i| Occasion { mean: mean[i], sd: sd[i], df: 5.0, readings: 6.0 })
            .collect()
    };
    let runs = [history(&occasions(1.0)).unwrap(), history(&occasions(2.0)).unwrap()];
    close(runs[0].means.0, 0.027_279_345, 1e-6, "run 1");
    close(runs[1].means.0, 0.027_563_067, 1e-6, "run 2");
    let s1 = ((runs[0].short_term.0.powi(2) + runs[1].short_term.0.powi(2)) / 2.0).sqrt();
    let s2 = ((runs[0].means.0.powi(2) + runs[1].means.0.powi(2)) / 2.0).sqrt();
    close(s1, 0.078_714_352, 1e-7, "s1");
    close(s2, 0.027_421_573, 1e-7, "s2");
    // the variance of days comes out at −0.00028: reported as none
    close(s2 * s2 - s1 * s1 / 6.0, -2.807_155e-4, 1e-5, "day variance before it is held at 0");
    assert_eq!((runs[0].between, runs[1].between), (0.0, 0.0));
    // the runs as occasions of six days each
    let of_runs: Vec<Occasion> =
        runs.iter().map(|r| Occasion { mean: r.mean, sd: r.means.0, df: 5.0, readings: 6.0 }).collect();
    let h = history(&of_runs).unwrap();
    close(h.means.0, 0.028_849_957, 1e-6, "s3");
    close(h.between, 7.069_96e-4, 1e-5, "run variance");
}
