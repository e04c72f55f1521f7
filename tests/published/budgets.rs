//! Published budgets, worked out: by the law of propagation, by Monte Carlo with the seed that the program uses by default, and
//! by Monte Carlo over two hundred seeds.
//!
//! Inputs and printed results of the guides are from memory; that the printed digits come out supports them. "Exact" values
//! are computed by other programs: closed forms, numerical inversion of the distribution, or long simulations
//! (scipy), as each test says.

use std::path::Path;

use daylight::analysis::budget::config::Config;
use daylight::analysis::budget::propagation::Propagation;
use daylight::analysis::budget::result::{Budget, Quoted, Simulation};
use daylight::analysis::budget::simulation::Options;
use daylight::analysis::budget::{analyse, parse};
use daylight::montecarlo::coverage::IntervalKind;
use rayon::prelude::*;

fn read(name: &str) -> Config {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/budgets/published").join(name);
    parse::read(&path).unwrap_or_else(|error| panic!("{error}"))
}

/// A million trials: enough for every digit that is printed, and quicker than until all have settled to a fifth of it.
fn budget(name: &str) -> Budget {
    analyse(&read(name), &Options { seed: 1, trials: Some(1_000_000) }, &|| ())
}

fn propagation(budget: &Budget, i: usize) -> &Propagation {
    budget.outputs[i].propagation.as_ref().unwrap()
}

fn simulation(budget: &Budget, i: usize) -> &Simulation {
    budget.outputs[i].simulation.as_ref().unwrap()
}

#[track_caller]
fn close(got: f64, wanted: f64, tolerance: f64) {
    assert!((got - wanted).abs() <= tolerance, "{got} instead of {wanted}, off by {:e}", got - wanted);
}

/// JCGM 100:2008, H.1: all digits by another program from unrounded inputs; the guide prints 32 nm, ν = 16, 93 nm, 34 nm.
#[test]
fn end_gauge_by_the_law_of_propagation_with_its_second_order_terms() {
    let budget = budget("end-gauge.toml");
    let p = propagation(&budget, 0);
    close(p.estimate, 50_000_838.0, 1e-6);
    close(p.standard_uncertainty, 31.658_160, 1e-6 * 31.7);
    close(p.df, 16.741_149, 2e-5);
    assert_eq!(p.df_used, 16.0);
    close(p.coverage_factor, 2.920_782, 1e-6);
    close(p.expanded, 92.467, 1e-3);
    let part = |name: &str| p.parts[budget.inputs.iter().position(|i| i.name == name).unwrap()].abs();
    close(part("random"), 3.890_170, 1e-5);
    close(part("systematic"), 6.666_667, 1e-5);
    close(part("temperature difference"), 16.599_027, 1e-4);
    close(part("expansion difference"), 2.886_787, 1e-5);
    let second = p.second_order.as_ref().unwrap();
    close(second.standard_uncertainty, 33.801_189, 1e-5);
    // temperature's two parts with the difference of expansion; then expansion with the temperature difference
    let name = |i: usize| budget.inputs[i].name.as_str();
    let with = |what: &str| {
        second.terms.iter().filter(|(i, j, _)| name(*i) == what || name(*j) == what).map(|t| t.2).sum::<f64>()
    };
    close(with("expansion difference").sqrt(), 11.726_186, 1e-3);
    close(with("temperature difference").sqrt(), 1.666_687, 1e-3);
    assert!(budget.findings.iter().any(|f| f.what.contains("second order")));
}

/// JCGM 100:2008, H.2: all digits by another program; the guide prints 127.732, 219.847, 254.260 and 0.071, 0.295, 0.236.
#[test]
fn readings_taken_together_keep_their_correlation_through_three_outputs() {
    let budget = budget("impedance.toml");
    let expected = [(127.732_169_93, 0.071_071_41), (219.846_511_91, 0.295_581_68), (254.259_701_95, 0.236_336_13)];
    for (i, (estimate, u)) in expected.into_iter().enumerate() {
        let p = propagation(&budget, i);
        close(p.estimate, estimate, 1e-8 * estimate);
        close(p.standard_uncertainty, u, 1e-6 * u);
        // one set of five readings: four degrees of freedom
        close(p.df, 4.0, 1e-9);
    }
    let r = |name: (usize, usize)| budget.correlations.iter().find(|(i, j, _)| (*i, *j) == name).unwrap().2;
    close(r((0, 1)), -0.355_311_22, 1e-7);
    close(r((0, 2)), 0.857_624_21, 1e-7);
    close(r((1, 2)), -0.645_111_22, 1e-7);
    let joint = budget.joint.as_ref().unwrap();
    for (k, r) in [(1, -0.588_429_78), (2, -0.485_259_22), (5, 0.992_511_65)] {
        close(joint.propagated[k], r, 1e-7);
        close(joint.simulated[k], r, 0.02);
    }
}

/// JCGM 100:2008, G.4.1 (prints 1.03 %, 19.0, 2.09, 2.2 %): all digits by another program.
#[test]
fn effective_degrees_of_freedom_of_a_product() {
    let budget = budget("product.toml");
    let p = propagation(&budget, 0);
    close(p.standard_uncertainty, 0.010_294_658_8, 1e-11);
    close(p.df, 18.998_742_31, 1e-7);
    assert_eq!(p.df_used, 19.0);
    close(p.coverage_factor, 2.0930, 5e-5);
    close(100.0 * p.expanded, 2.2, 0.05);
}

/// Monte Carlo with the program's own seed and stopping (but for the gauge block, which takes long to settle), against
/// exact values, within the numerical tolerance δ.
fn within_tolerance(name: &str, output: usize, mean: f64, u: f64, kind: IntervalKind, ends: (f64, f64)) -> Budget {
    let options = Options { seed: 1, trials: name.starts_with("gauge").then_some(1_000_000) };
    let budget = analyse(&read(name), &options, &|| ());
    assert!(budget.stable, "{name}");
    let s = simulation(&budget, output);
    let delta = daylight::montecarlo::adaptive::numerical_tolerance(u, 2);
    let interval = s.interval(kind);
    for (what, got, wanted) in [
        ("mean", s.mean.unwrap(), mean),
        ("u", s.standard_uncertainty.unwrap(), u),
        ("low", interval.low, ends.0),
        ("high", interval.high, ends.1),
    ] {
        assert!((got - wanted).abs() <= delta, "{name}: {what} {got} instead of {wanted} ± {delta}");
    }
    budget
}

/// JCGM 101:2008, 9.2.2 to 9.2.4 (prints ±3.92; ±3.88; ±17.0). Exact: the normal; the sum of four uniform variables in closed
/// form; numerical inversion.
#[test]
fn sums_of_four_quantities() {
    let s = IntervalKind::Symmetric;
    let normal = within_tolerance("sum-of-normal.toml", 0, 0.0, 2.0, s, (-3.919_927_969, 3.919_927_969));
    assert!(normal.outputs[0].validation.unwrap().holds());
    let rectangular = within_tolerance("sum-of-rectangular.toml", 0, 0.0, 2.0, s, (-3.879_406_741, 3.879_406_741));
    // 0.04 apart, 0.05 tolerated
    assert!(rectangular.outputs[0].validation.unwrap().holds());
    let wide = within_tolerance("sum-with-one-wide.toml", 0, 0.0, 10.148_891_565, s, (-17.015_814_1, 17.015_814_1));
    assert!(!wide.outputs[0].validation.unwrap().holds());
    assert!(matches!(wide.outputs[0].quoted(s), Quoted::Simulated { .. }));
    close(propagation(&wide, 0).expanded, 19.891_461_955, 1e-6);
}

/// JCGM 101:2008, 9.3, as printed (from memory): Monte Carlo 1.2341, 0.0754, [1.0834, 1.3825]; first order 1.2340, 0.0539,
/// [1.1285, 1.3395]; with second order 1.2340, 0.0750. Not validated.
#[test]
fn calibration_of_a_mass() {
    let budget = budget("mass.toml");
    let s = simulation(&budget, 0);
    close(s.mean.unwrap(), 1.2341, 2e-4);
    // 0.07548 in closed form
    close(s.standard_uncertainty.unwrap(), 0.0754, 2e-4);
    close(s.standard_uncertainty.unwrap(), 0.075_483, 3e-4 * 0.0755 * 5.0);
    // the printed interval is the shortest, whose place is noisy where its length is not
    close(s.shortest.low, 1.0834, 3e-3);
    close(s.shortest.length(), 0.2991, 5e-4);
    close(s.symmetric.length(), 0.2991, 5e-4);
    let p = propagation(&budget, 0);
    close(p.estimate, 1.2340, 5e-5);
    close(p.standard_uncertainty, 0.0539, 5e-5);
    close(p.estimate - p.expanded, 1.1285, 1e-4);
    close(p.estimate + p.expanded, 1.3395, 1e-4);
    close(p.second_order.as_ref().unwrap().standard_uncertainty, 0.0750, 6e-5);
    assert!(!budget.outputs[0].validation.unwrap().holds());
}

/// One row: file, x1, exact mean, standard deviation, shortest 95 %, symmetric 95 %; all in 10⁻⁶.
type Row = (&'static str, f64, f64, f64, (f64, f64), (f64, f64));

/// JCGM 101:2008, 9.4: moments in closed form, intervals by numerical inversion of the exact distribution.
const COMPARISON_LOSS: [Row; 6] = [
    ("comparison-loss-0-uncorrelated.toml", 0.0, 50.0, 50.0, (0.0, 149.787), (1.265_89, 184.444)),
    ("comparison-loss-0010-uncorrelated.toml", 0.01, 150.0, 111.803_40, (0.0, 366.005), (8.546_84, 427.123)),
    ("comparison-loss-0050-uncorrelated.toml", 0.05, 2550.0, 502.493_78, (1593.57, 3548.57), (1638.48, 3603.36)),
    ("comparison-loss-0-correlated.toml", 0.0, 50.0, 67.268_12, (0.0, 185.056), (0.560_978, 241.217)),
    ("comparison-loss-0010-correlated.toml", 0.01, 150.0, 120.519_71, (12.651_6, 397.478_8), (29.081_47, 478.310_7)),
    ("comparison-loss-0050-correlated.toml", 0.05, 2550.0, 504.504_71, (1624.42, 3554.68), (1696.86, 3659.80)),
];

#[test]
fn comparison_loss_in_every_row_and_with_both_correlations() {
    for (name, x1, mean, u, shortest, symmetric) in COMPARISON_LOSS {
        let budget = budget(name);
        let s = simulation(&budget, 0);
        let r = budget.correlations.first().map_or(0.0, |c| c.2);
        // E = x1² + 2u², Var = 4u²x1² + 4u⁴(1 + r²)
        let exact_u = (4.0 * 25e-6 * x1 * x1 + 4.0 * 625e-12 * (1.0 + r * r)).sqrt();
        assert!((exact_u * 1e6 - u).abs() < 1e-4, "{name}: {exact_u}");
        let n = budget.trials as f64;
        close(s.mean.unwrap(), mean * 1e-6, 5.0 * exact_u / n.sqrt());
        close(s.standard_uncertainty.unwrap(), exact_u, 0.02 * exact_u);
        // δ for one digit, and the location of a shortest interval is noisier than its length
        close(s.symmetric.low, symmetric.0 * 1e-6, 0.02 * exact_u);
        close(s.symmetric.high, symmetric.1 * 1e-6, 0.05 * exact_u);
        close(s.shortest.low, shortest.0 * 1e-6, 0.06 * exact_u);
        close(s.shortest.length(), (shortest.1 - shortest.0) * 1e-6, 0.03 * exact_u);
        let p = propagation(&budget, 0);
        // 0, 0; 100, 100; 2500, 500: the correlation does not enter, because x2 is 0
        close(p.estimate, x1 * x1, 1e-15);
        close(p.standard_uncertainty, 0.01 * x1, 1e-15);
        // not even in the last row: the lower ends are 73·10⁻⁶ apart, and 50·10⁻⁶ is tolerated
        assert!(!budget.outputs[0].validation.unwrap().holds(), "{name}");
    }
}

/// JCGM 101:2008, 9.5 (prints 838, 36, [745, 932] and for the law of propagation 838, 32, [745, 931]). Exact: the moments in closed form;
/// the interval by a simulation of 32 million (numpy), ± 0.04.
#[test]
fn gauge_block_with_every_kind_of_shape() {
    let s = IntervalKind::Symmetric;
    let budget = within_tolerance("gauge-block.toml", 0, 838.0, 35.808_078_6, s, (744.32, 931.62));
    let p = propagation(&budget, 0);
    close(p.standard_uncertainty, 32.0, 0.5);
    close(p.estimate - p.expanded, 745.0, 1.0);
    close(p.estimate + p.expanded, 931.0, 1.0);
}

/// JCGM 102:2011, 9.3 (prints 0.013, 0.007, 0.000, 1.744 for the first). Exact: Rice moments; the angle by quadrature.
#[test]
fn modulus_and_angle() {
    let s = IntervalKind::Symmetric;
    let near = budget("modulus-and-angle-0001.toml");
    close(simulation(&near, 0).mean.unwrap(), 0.012_564_454_66, 4e-5);
    close(simulation(&near, 0).standard_uncertainty.unwrap(), 0.006_567_684_45, 4e-5);
    close(simulation(&near, 1).mean.unwrap(), 0.0, 0.01);
    close(simulation(&near, 1).standard_uncertainty.unwrap(), 1.744_127_245, 0.01);
    close(propagation(&near, 1).standard_uncertainty, 10.0, 1e-9);
    assert!(matches!(near.outputs[1].quoted(s), Quoted::Simulated { .. }));
    let far = budget("modulus-and-angle-0100.toml");
    close(simulation(&far, 0).mean.unwrap(), 0.100_501_269_37, 5e-5);
    close(simulation(&far, 1).standard_uncertainty.unwrap(), 0.100_512_661, 5e-4);
    let joint = far.joint.as_ref().unwrap();
    close(joint.simulated[1], 0.0, 0.01);
    // nearly normal and uncorrelated: nearly the factors of normal outputs
    close(joint.trials.unwrap().ellipsoid, 2.4477, 0.02);
}

/// File, output, mean, standard uncertainty, symmetric ends.
type Exact = (&'static str, usize, f64, f64, (f64, f64));

/// Every output of the published Monte Carlo examples whose distribution is known exactly: in closed form or by numerical
/// inversion (comparison loss, gauge block: as above; the mass by quadrature over its three densities; modulus by the Rice
/// distribution, angle by quadrature of its density), with SciPy.
const EXACT: [Exact; 15] = [
    ("sum-of-normal.toml", 0, 0.0, 2.0, (-3.919_927_969, 3.919_927_969)),
    ("sum-of-rectangular.toml", 0, 0.0, 2.0, (-3.879_406_741, 3.879_406_741)),
    ("sum-with-one-wide.toml", 0, 0.0, 10.148_891_565, (-17.015_814_1, 17.015_814_1)),
    ("mass.toml", 0, 1.234, 0.075_480_132, (1.084_433_299, 1.383_566_779)),
    ("comparison-loss-0-uncorrelated.toml", 0, 50e-6, 50e-6, (1.265_89e-6, 184.444e-6)),
    ("comparison-loss-0010-uncorrelated.toml", 0, 150e-6, 111.803_40e-6, (8.546_84e-6, 427.123e-6)),
    ("comparison-loss-0050-uncorrelated.toml", 0, 2550e-6, 502.493_78e-6, (1638.477e-6, 3603.358e-6)),
    ("comparison-loss-0-correlated.toml", 0, 50e-6, 67.268_12e-6, (0.560_978e-6, 241.217e-6)),
    ("comparison-loss-0010-correlated.toml", 0, 150e-6, 120.519_71e-6, (29.081_47e-6, 478.310_68e-6)),
    ("comparison-loss-0050-correlated.toml", 0, 2550e-6, 504.504_71e-6, (1696.86e-6, 3659.80e-6)),
    ("gauge-block.toml", 0, 838.0, 35.808_078_6, (744.32, 931.62)),
    ("modulus-and-angle-0001.toml", 0, 0.012_564_454_66, 0.006_567_684_45, (0.002_255_87, 0.027_229_71)),
    ("modulus-and-angle-0001.toml", 1, 0.0, 1.744_127_245, (-2.963_139_605, 2.963_139_605)),
    ("modulus-and-angle-0100.toml", 0, 0.100_501_269_37, 0.009_974_710_81, (0.080_956_21, 0.120_055_95)),
    ("modulus-and-angle-0100.toml", 1, 0.0, 0.100_512_661_2, (-0.197_273_453_4, 0.197_273_453_4)),
];

/// Over two hundred seeds of twenty thousand trials each: every figure is centred on the exact one, and scatters as theory says.
#[test]
fn over_two_hundred_seeds_figures_scatter_about_the_exact_ones_as_they_should() {
    let trials = 20_000u64;
    for (name, output, mean, u, ends) in EXACT {
        let config = read(name);
        let all: Vec<usize> = (0..config.outputs.len()).collect();
        let seeds: Vec<[f64; 4]> = (1..=200u64)
            .into_par_iter()
            .map(|seed| {
                let options = Options { seed, trials: Some(trials) };
                let t = daylight::analysis::budget::simulation::simulate(&config, &all, &options, &|| ());
                let ordered = t.ordered(output);
                let i = daylight::montecarlo::coverage::interval(&ordered, config.confidence, IntervalKind::Symmetric);
                [t.moments.mean[output], t.moments.standard_deviation(output), i.low, i.high]
            })
            .collect();
        let exact = [mean, u, ends.0, ends.1];
        // the gauge block's exact ends are themselves known to 0.04 only
        let known = if name.starts_with("gauge") { 0.05 } else { 0.0 };
        for k in 0..4 {
            let average = seeds.iter().map(|f| f[k]).sum::<f64>() / 200.0;
            let sd = (seeds.iter().map(|f| (f[k] - average).powi(2)).sum::<f64>() / 199.0).sqrt();
            let off = (average - exact[k]).abs();
            // five standard errors of a mean over 200 seeds, and an order statistic's bias, which is of the order of
            // a hundredth of its scatter
            assert!(
                off < 5.0 * sd / 200f64.sqrt() + 0.05 * sd + known,
                "{name}, output {output}, figure {k}: {average} instead of {}, sd {sd}",
                exact[k]
            );
            let worst = seeds.iter().map(|f| (f[k] - exact[k]).abs()).fold(0.0, f64::max);
            assert!(worst < 5.5 * sd + known, "{name}, output {output}, figure {k}: {worst} against sd {sd}");
            if k == 0 {
                // the standard error of a mean is u/√M, seen to 5 % over 200 seeds
                let ratio = sd / (u / (trials as f64).sqrt());
                assert!((0.78..1.25).contains(&ratio), "{name}, output {output}: {ratio}");
            }
        }
    }
}

/// JCGM 100:2008, H.2 by Monte Carlo: readings taken together as a multivariate t of n − 1 = 4 degrees of freedom, so that each
/// quantity alone is what JCGM 101, 6.4.9 makes of its readings. The outputs are so nearly linear that each is a scaled t about
/// the published value. Over two hundred seeds.
#[test]
fn readings_taken_together_scatter_over_two_hundred_seeds_as_a_t_says() {
    let config = read("impedance.toml");
    let df = config.groups[0].df.unwrap();
    assert_eq!(df, 4.0);
    let all: Vec<usize> = (0..config.outputs.len()).collect();
    let t975 = daylight::stats::student_t::t_quantile(0.975, df);
    for (output, value, u) in [(0, 127.732_169_93, 0.071_071_41), (1, 219.846_511_91, 0.295_581_68)] {
        let ends: Vec<(f64, f64)> = (1..=200u64)
            .into_par_iter()
            .map(|seed| {
                let options = Options { seed, trials: Some(20_000) };
                let t = daylight::analysis::budget::simulation::simulate(&config, &all, &options, &|| ());
                let kind = IntervalKind::Symmetric;
                let i = daylight::montecarlo::coverage::interval(&t.ordered(output), config.confidence, kind);
                (i.low, i.high)
            })
            .collect();
        let half: Vec<f64> = ends.iter().map(|(low, high)| (high - low) / 2.0).collect();
        let mean = half.iter().sum::<f64>() / 200.0;
        let sd = (half.iter().map(|h| (h - mean).powi(2)).sum::<f64>() / 199.0).sqrt();
        let wanted = t975 * u;
        assert!((mean - wanted).abs() < 5.0 * sd / 200f64.sqrt() + 0.002 * wanted, "{output}: {mean}, {wanted}");
        let middle = ends.iter().map(|(low, high)| (high + low) / 2.0).sum::<f64>() / 200.0;
        close(middle, value, 0.02 * u + 0.002 * wanted);
    }
}

/// The bytes do not depend on the number of threads.
#[test]
fn the_answer_is_the_same_bytes_on_any_number_of_threads() {
    let json = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let budget =
            pool.install(|| analyse(&read("impedance.toml"), &Options { seed: 3, trials: Some(1_200_000) }, &|| ()));
        daylight::report::budget_json::render(&budget).unwrap()
    };
    assert_eq!(json(1), json(2));
}

/// Two readings, 3.0 and 3.4: a t of one degree of freedom, whose standard deviation does not exist (JCGM 101:2008,
/// 6.4.9.4: the variance needs three), with ±1 evenly on top. Exact: the distribution function integrated and inverted by
/// scipy 1.17 (quad, brentq). The law of propagation's 1.99 to 4.41 must not pass.
#[test]
fn of_two_readings_the_interval_is_given_and_no_standard_uncertainty() {
    let text = "[[input]]\nname = 'a'\nreadings = [3.0, 3.4]\n\
                [[input]]\nname = 'c'\nshape = 'rectangular'\nvalue = 0\nhalf_width = 1\n\
                [[output]]\nname = 'y'\nexpression = 'a + c'\n";
    let config = parse::parse(text, "b.toml", Path::new("")).unwrap();
    let budget = analyse(&config, &Options { seed: 1, trials: None }, &|| ());
    assert!(budget.stable, "an interval settles where a standard deviation does not exist");
    let s = simulation(&budget, 0);
    assert_eq!((s.mean, s.standard_uncertainty), (None, None));
    // the numerical tolerance for two digits of 1.36, the normal's with as long an interval
    close(s.symmetric.low, 0.529_740, 0.05);
    close(s.symmetric.high, 5.870_260, 0.05);
    close(s.median, 3.2, 0.05);
    assert!(!budget.outputs[0].validation.unwrap().holds());
    let words = daylight::report::budget_text::render(&budget).split_whitespace().collect::<Vec<_>>().join(" ");
    let wanted = "y = 3.2, between 0.5 and 5.9 (95 %); a median, for want of a standard uncertainty. By Monte Carlo";
    assert!(words.contains(wanted), "{words}");
}
