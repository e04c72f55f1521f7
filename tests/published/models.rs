//! Published mixed-model analyses, from their files in `datasets/published` to the program's answer.
//! Where a value is not printed in the source itself, `tests/reference/published.json` (made by lme4,
//! pbkrtest and emmeans) or a closed form from the printed mean squares gives its digits.

use crate::support::{Worst, answer, close, columns, fitted, json, only_set};
use daylight::analysis::antennas::result::{SetResult, Verdict};
use daylight::stats::mixed::LevelState::{MergedInto, Seen};
use daylight::stats::mixed::{Inference, Level};

/// A number of `published.json`.
fn reference(pointer: &str) -> f64 {
    json("tests/reference/published.json").pointer(pointer).unwrap().as_f64().unwrap()
}

/// Restricted log-likelihoods are compared as minus twice them, without log |XᵀX|, as lme4 gives them.
fn criterion_agrees(inference: &Inference, wanted: f64) {
    assert!(inference.converged, "the fit did not come to rest");
    close(inference.criterion, wanted, 1e-9, "criterion");
}

/// Variance of that level in the answer.
fn variance(set: &SetResult, level: Level) -> f64 {
    set.components[level as usize].sd.unwrap().powi(2)
}

#[test]
fn the_data_sets_hold_the_values_of_the_reference_files() {
    let number = |text: &str| text.parse::<f64>().unwrap();
    let readings = |name: &str, column: &str| {
        columns(&format!("datasets/published/{name}/readings.csv"), ["session", "antenna", column, "value"])
    };
    let dyestuff: Vec<_> = columns("tests/reference/dyestuff.csv", ["Batch", "Yield"])
        .into_iter()
        .map(|[batch, value]| (batch, "dyestuff".to_string(), value))
        .collect();
    let pastes: Vec<_> = columns("tests/reference/pastes.csv", ["batch", "cask", "strength"])
        .into_iter()
        .map(|[batch, cask, value]| (format!("{batch}{}", cask.as_bytes()[0] - b'a' + 1), "paste".to_string(), value))
        .collect();
    let penicillin: Vec<_> = columns("tests/reference/penicillin.csv", ["plate", "sample", "diameter"])
        .into_iter()
        .map(|[plate, sample, value]| (format!("plate {plate}"), sample, value))
        .collect();
    let pbib: Vec<_> = columns("tests/reference/pbib.csv", ["Block", "Treatment", "response"])
        .into_iter()
        .map(|[block, treatment, value]| (format!("block {block:0>2}"), format!("T{treatment}"), value))
        .collect();
    let ergostool: Vec<_> = columns("tests/reference/ergostool.csv", ["Subject", "Type", "effort"])
        .into_iter()
        .map(|[subject, stool, value]| (format!("subject {subject}"), stool, value))
        .collect();
    let plain = |name: &str| readings(name, "band").into_iter().map(|[s, a, _, v]| (s, a, v)).collect::<Vec<_>>();
    let casks = readings("pastes", "mounting").into_iter().map(|[s, a, m, v]| (s + &m, a, v)).collect::<Vec<_>>();
    let both = [
        (dyestuff, plain("dyestuff")),
        (pastes, casks),
        (penicillin, plain("penicillin")),
        (pbib, plain("pbib")),
        (ergostool, plain("ergostool")),
    ];
    for (wanted, got) in both {
        let numbers = |rows: Vec<(String, String, String)>| -> Vec<_> {
            rows.into_iter().map(|(session, antenna, value)| (session, antenna, number(&value))).collect()
        };
        assert_eq!(numbers(got), numbers(wanted));
    }
}

/// Davies and Goldsmith, *Statistical Methods in Research and Production*, 4th ed. (1972), 6.4: mean
/// squares 11271.5 on 5 and 2451.25 on 24 degrees of freedom, five yields a batch.
#[test]
fn dyestuff_has_its_batch_and_residual_components() {
    let set = answer("dyestuff", 250);
    let merged = MergedInto(Level::Mounting);
    assert_eq!(set.components.iter().map(|c| c.state).collect::<Vec<_>>(), [merged, merged, Seen, Seen]);
    close(variance(&set, Level::Mounting), (11271.5 - 2451.25) / 5.0, 1e-9, "batch");
    close(variance(&set, Level::Reading), 2451.25, 1e-10, "residual");
    let mean = &set.antennas[0];
    close(mean.estimate, 1527.5, 1e-13, "mean");
    close(mean.standard_uncertainty.unwrap(), (11271.5f64 / 30.0).sqrt(), 1e-9, "standard error of the mean");
    let half = (mean.range.unwrap().high - mean.range.unwrap().low) / 2.0;
    close(half, 2.570_581_835_6 * (11271.5f64 / 30.0).sqrt(), 1e-8, "t of 0.975 on 5 df times that error");
    let inference = fitted("dyestuff").inference;
    criterion_agrees(&inference, reference("/dyestuff/reml_criterion"));
    close(inference.single(0).df, 5.0, 1e-8, "degrees of freedom of the mean");
}

/// The same book, 6.6: mean squares 4.6038647343 (plates, 23), 89.8444444444 (samples, 5) and
/// 0.3024154589 (residual, 115). Published with samples random: the layout is balanced, so with samples
/// fixed the other components are the same, and the samples' is what their means' variance holds
/// beyond its error.
#[test]
fn penicillin_has_its_plate_sample_and_residual_components() {
    let set = answer("penicillin", 250);
    let merged = MergedInto(Level::Reading);
    assert_eq!(set.components.iter().map(|c| c.state).collect::<Vec<_>>(), [Seen, merged, merged, Seen]);
    close(variance(&set, Level::Session), 0.716_908_212_6, 1e-9, "plate");
    close(variance(&set, Level::Reading), 0.302_415_458_9, 1e-9, "residual");
    let mean = set.antennas.iter().map(|a| a.estimate).sum::<f64>() / 6.0;
    close(mean, 22.972_222_222_2, 1e-11, "mean");
    let between = set.antennas.iter().map(|a| (a.estimate - mean).powi(2)).sum::<f64>() / 5.0;
    close(between, 89.844_444_444_4 / 24.0, 1e-11, "variance of the samples' means");
    for pair in &set.pairs {
        let error = pair.standard_error.unwrap();
        close(between - error * error / 2.0, 3.730_917_874_4, 1e-10, "sample");
        close(error, (2.0 * 0.302_415_458_9f64 / 24.0).sqrt(), 1e-9, "standard error of a difference");
        close(pair.df.unwrap(), 115.0, 1e-8, "degrees of freedom of a difference");
    }
}

/// The same book, 6.5: mean squares 27.4891851852 (batches, 9), 17.5453333333 (casks, 20) and 0.678
/// (assays, 30), two assays of each of three casks.
#[test]
fn pastes_has_its_batch_cask_and_assay_components() {
    let set = answer("pastes", 250);
    assert_eq!(
        set.components.iter().map(|c| c.state).collect::<Vec<_>>(),
        [MergedInto(Level::Visit), Seen, Seen, Seen]
    );
    close(variance(&set, Level::Visit), 1.657_308_642_0, 1e-8, "batch");
    close(variance(&set, Level::Mounting), 8.433_666_666_7, 1e-9, "cask");
    close(variance(&set, Level::Reading), 0.678, 1e-10, "assay");
    let mean = &set.antennas[0];
    close(mean.estimate, 60.053_333_333_3, 1e-11, "mean");
    close(mean.standard_uncertainty.unwrap(), (27.489_185_185_2f64 / 60.0).sqrt(), 1e-9, "standard error of the mean");
    let inference = fitted("pastes").inference;
    criterion_agrees(&inference, reference("/pastes/reml_criterion"));
    close(inference.single(0).df, 9.0, 1e-8, "degrees of freedom of the mean");
}

/// Littell, Milliken, Stroup and Wolfinger, *SAS System for Mixed Models* (1996), data set 1.5.1, as fitted
/// by lme4: standard deviations 0.21569 and 0.2925, log-likelihood −25.992, differences from treatment 15
/// with unadjusted standard error 0.22206.
#[test]
fn pbib_has_its_components_and_printed_differences() {
    let fit = fitted("pbib");
    let inference = &fit.inference;
    close(inference.components[0], 0.046_522_022_6, 1e-6, "block, as lme4 ends");
    close(inference.components[0], reference("/pbib/components/Block"), 1e-8, "block");
    close(inference.components[3], reference("/pbib/components/residual"), 1e-8, "residual");
    criterion_agrees(inference, reference("/pbib/reml_criterion"));
    let rounded = |value: f64, digits: i32| (value * 10f64.powi(digits)).round() / 10f64.powi(digits);
    assert_eq!(rounded(inference.components[0].sqrt(), 5), 0.21569);
    assert_eq!(rounded(inference.components[3].sqrt(), 4), 0.2925);
    assert_eq!(rounded(-inference.criterion / 2.0, 3), -25.992);
    assert_eq!(rounded(inference.estimates[14], 4), 2.8592);
    for (treatment, printed) in [(0, -0.0417), (1, -0.4539), (2, -0.4043)] {
        assert_eq!(rounded(inference.estimates[treatment] - inference.estimates[14], 4), printed);
        close(inference.difference(treatment, 14).model, 0.222_060_8, 1e-6, "unadjusted standard error");
    }
}

#[test]
fn all_pairs_of_pbib_have_the_errors_and_degrees_of_freedom_of_kenward_and_roger() {
    let inference = fitted("pbib").inference;
    let antennas = only_set("pbib").antennas;
    let pairs = json("tests/reference/published.json")["pbib"]["pairs"].as_array().unwrap().clone();
    assert_eq!(pairs.len(), 105);
    let (mut difference, mut model, mut adjusted, mut df) =
        (Worst::default(), Worst::default(), Worst::default(), Worst::default());
    for pair in &pairs {
        let place = |key: &str| {
            let name = format!("T{}", pair[key].as_str().unwrap());
            antennas.iter().position(|a| *a == name).unwrap()
        };
        let value = |key: &str| pair[key].as_f64().unwrap();
        let (first, second) = (place("first"), place("second"));
        let got = inference.difference(first, second);
        let name = format!("{} − {}", antennas[first], antennas[second]);
        let off = inference.estimates[first] - inference.estimates[second] - value("difference");
        difference.see(off.abs(), &name);
        model.see_relative(got.model, value("se_model"), &name);
        adjusted.see_relative(got.adjusted, value("se_kr"), &name);
        df.see_relative(got.df, value("df_kr"), &name);
    }
    difference.is_below(1e-8, "differences");
    model.is_below(1e-8, "unadjusted standard errors, relative");
    adjusted.is_below(1e-8, "adjusted standard errors, relative");
    df.is_below(1e-7, "degrees of freedom, relative");
    for (antenna, name) in antennas.iter().enumerate() {
        let wanted = reference(&format!("/pbib/vcov_kr_diag/{}", &name[1..])).sqrt();
        close(inference.single(antenna).adjusted, wanted, 1e-8, "adjusted standard error of a mean");
    }
    close(inference.single(0).df, 44.102_704_4, 1e-6, "degrees of freedom of a mean");
}

/// Pinheiro and Bates, *Mixed-Effects Models in S and S-PLUS* (2000), 1.2.
#[test]
fn ergostool_has_its_components_differences_and_24_degrees_of_freedom() {
    let set = answer("ergostool", 4000);
    close(variance(&set, Level::Session), 1.775_462_963_0, 1e-10, "subject");
    let residual = 1.210_648_148_1;
    close(variance(&set, Level::Reading), residual, 1e-10, "residual");
    for (stool, ninths) in [(1, 35.0), (2, 20.0), (3, 6.0)] {
        close(set.antennas[stool].estimate - set.antennas[0].estimate, ninths / 9.0, 1e-12, "difference from T1");
    }
    for pair in &set.pairs {
        let error = pair.standard_error.unwrap();
        close(error, (2.0 * residual / 9.0f64).sqrt(), 1e-9, "standard error of a difference");
        close(error, 0.518_683_836_7, 1e-8, "standard error of a difference, as lme4 ends");
        close(pair.df.unwrap(), 24.0, 1e-8, "degrees of freedom of a difference");
    }
    let inference = fitted("ergostool").inference;
    criterion_agrees(&inference, reference("/ergostool/reml_criterion"));
    close(inference.single(0).adjusted, 0.576_012_259, 1e-8, "standard error of a mean");
    close(inference.single(0).df, 15.529_808_3, 1e-7, "degrees of freedom of a mean");
    let apart: Vec<(usize, usize)> =
        set.pairs.iter().filter(|p| p.verdict == Verdict::Apart).map(|p| (p.first, p.second)).collect();
    assert_eq!(apart, [(0, 1), (0, 2), (1, 2), (1, 3), (2, 3)]); // all but T1 and T4, as Tukey's p-values say
}

/// JCGM 100:2008, H.5: ten days' means and standard deviations of five observations. The digits are those
/// of the means and deviations printed there, of which the text prints 57 µV, 85 µV and 43 µV.
#[test]
fn gum_h5_has_its_between_day_and_within_day_variances() {
    let set = answer("gum-h5", 250);
    let days = [(172.0, 60.0), (116.0, 77.0), (13.0, 111.0), (144.0, 101.0), (106.0, 67.0)];
    let days = days.into_iter().chain([(31.0, 93.0), (60.0, 80.0), (125.0, 73.0), (163.0, 88.0), (41.0, 86.0)]);
    for (held, (mean, sd)) in only_set("gum-h5").mountings.iter().zip(days) {
        assert_eq!((held.readings, held.df, held.mean, held.sum_of_squares), (5.0, 4.0, mean, 4.0 * sd * sd));
    }
    close(variance(&set, Level::Mounting), 1_818.051_111_111, 1e-8, "between days");
    close(variance(&set, Level::Reading), 7205.8, 1e-10, "within days");
    let mean = &set.antennas[0];
    close(mean.estimate, 97.1, 1e-13, "grand mean");
    close(mean.standard_uncertainty.unwrap(), 18.053_285_3, 1e-8, "standard uncertainty of the grand mean");
    let inference = fitted("gum-h5").inference;
    close(inference.single(0).df, 9.0, 1e-8, "degrees of freedom of the grand mean");
    assert_eq!((mean.visits, mean.readings), (10, 50.0));
}
