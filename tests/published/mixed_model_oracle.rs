//! Fits and standard errors of invented seasons against those of lme4, pbkrtest and a dense
//! transcription of Kenward and Roger (1997): `tests/reference/README.md` says how they were made.

use std::collections::BTreeMap;

use crate::support::{Worst, columns, json, mounting, number, relative};
use daylight::stats::mixed::{Data, Inference, Layout, Level, LevelState, infer_weighed};
use serde::Deserialize;

/// A season of `seasons.json`.
#[derive(Deserialize)]
struct Expected {
    id: usize,
    levels: Vec<String>,
    singular: bool,
    bounded: Bounded,
    inference: Ending,
}

/// Components at or above zero.
#[derive(Deserialize)]
struct Bounded {
    components: BTreeMap<String, f64>,
    reml_criterion: f64,
    estimates: BTreeMap<String, f64>,
}

/// What the rule of inference ends in.
#[derive(Deserialize)]
struct Ending {
    basis: String,
    session_fixed: bool,
    pairs: Vec<Pair>,
    vcov_kr_diag: Option<BTreeMap<String, f64>>,
}

#[derive(Deserialize)]
struct Pair {
    first: String,
    second: String,
    difference: f64,
    se_model: f64,
    se_kr: f64,
    df_kr: f64,
}

/// A season as the program sees it, beside what is expected of it.
struct Season {
    expected: Expected,
    antennas: Vec<String>,
    layout: Layout,
    fitted: Inference,
}

impl Season {
    fn antenna(&self, name: &str) -> usize {
        self.antennas.iter().position(|a| a == name).unwrap()
    }

    /// Largest less smallest estimate.
    fn spread(&self) -> f64 {
        let of = |pick: fn(f64, f64) -> f64| self.expected.bounded.estimates.values().copied().reduce(pick).unwrap();
        of(f64::max) - of(f64::min)
    }
}

/// Antennas and mountings of the season with that id, from the rows of `seasons.csv`.
fn layout_of(rows: &[[String; 5]], id: usize) -> (Vec<String>, Layout, Data) {
    let id = id.to_string();
    let (mut sessions, mut antennas) = (vec![], vec![]);
    let mut values: BTreeMap<(usize, usize, &str), Vec<f64>> = BTreeMap::new();
    for [_, session, antenna, mounting, value] in rows.iter().filter(|row| row[0] == id) {
        let key = (number(session, &mut sessions), number(antenna, &mut antennas), mounting.as_str());
        values.entry(key).or_default().push(value.parse().unwrap());
    }
    let mountings: Vec<_> = values.iter().map(|(&(s, a, _), values)| mounting(s, a, values)).collect();
    let (layout, data) = Layout::new(antennas.len(), &mountings).unwrap();
    (antennas, layout, data)
}

fn seasons() -> Vec<Season> {
    let rows = columns("tests/reference/seasons.csv", ["season_id", "session", "antenna", "mounting", "value"]);
    let expected: Vec<Expected> = serde_json::from_value(json("tests/reference/seasons.json")).unwrap();
    assert_eq!(expected.len(), 54);
    expected
        .into_iter()
        .map(|expected| {
            let (antennas, layout, data) = layout_of(&rows, expected.id);
            let fitted = infer_weighed(&layout, &data, 0.0).unwrap();
            Season { expected, antennas, layout, fitted }
        })
        .collect()
}

#[test]
fn levels_the_log_does_not_tell_apart_are_merged_as_the_reference_merges_them() {
    for season in seasons() {
        let seen: Vec<&str> =
            (0..4).filter(|&k| season.layout.states()[k] == LevelState::Seen).map(|k| Level::ALL[k].name()).collect();
        assert_eq!(seen, season.expected.levels, "season {}", season.expected.id);
    }
}

#[test]
fn components_are_those_of_lme4_and_one_at_zero_is_exactly_zero() {
    let mut worst = Worst::default();
    for season in seasons() {
        assert!(season.fitted.converged, "season {}", season.expected.id);
        for (k, level) in Level::ALL.iter().enumerate() {
            let (got, id) = (season.fitted.components[k], season.expected.id);
            match season.expected.bounded.components.get(level.name()) {
                Some(&wanted) if wanted > 0.0 => worst.see_relative(got, wanted, format!("season {id} {level:?}")),
                _ => assert_eq!(got, 0.0, "season {id} {level:?}"),
            }
        }
    }
    worst.is_below(1e-8, "components, relative");
}

#[test]
fn the_reml_criterion_is_that_of_lme4() {
    let mut worst = Worst::default();
    for season in seasons() {
        let off = season.fitted.criterion - season.expected.bounded.reml_criterion;
        worst.see(off.abs(), format!("season {}", season.expected.id));
    }
    worst.is_below(1e-9, "criterion, absolute");
}

/// The estimates are the settled fit's contrasts about the bounded fit's common level: where no
/// component is at zero the two fits are one.
#[test]
fn estimates_are_the_least_squares_means_and_keep_the_bounded_fits_level() {
    let (mut each, mut level) = (Worst::default(), Worst::default());
    for season in seasons() {
        let wanted = &season.expected.bounded.estimates;
        let id = season.expected.id;
        let mean = season.fitted.estimates.iter().sum::<f64>() / wanted.len() as f64;
        level.see((mean - wanted.values().sum::<f64>() / wanted.len() as f64).abs() / season.spread(), id);
        for (name, estimate) in wanted.iter().filter(|_| !season.expected.singular) {
            let off = season.fitted.estimates[season.antenna(name)] - estimate;
            each.see(off.abs() / season.spread(), format!("season {id} {name}"));
        }
    }
    each.is_below(1e-10, "estimates, over their spread");
    level.is_below(1e-10, "level, over the estimates' spread");
}

#[test]
fn the_rule_of_inference_ends_where_the_reference_does() {
    for season in seasons() {
        let basis = match season.fitted.basis.collapsed_to {
            Some(level) => level.name(),
            None if season.expected.singular => "",
            None => "reml",
        };
        let fixed = season.fitted.basis.session_fixed;
        let wanted = &season.expected.inference;
        assert_eq!((basis, fixed), (wanted.basis.as_str(), wanted.session_fixed), "season {}", season.expected.id);
    }
}

#[test]
fn pairs_have_the_errors_and_degrees_of_freedom_of_kenward_and_roger() {
    pairs_agree(false, 1e-8);
}

/// Sessions that act as fixed are given a large variance instead, 10⁷ times a visit's: that moves
/// differences, errors and degrees of freedom by some 10⁻⁷ of themselves.
#[test]
fn pairs_compared_inside_sessions_have_the_errors_of_fixed_sessions() {
    pairs_agree(true, 1e-6);
}

fn pairs_agree(session_fixed: bool, tolerance: f64) {
    let (mut difference, mut model, mut adjusted, mut df) =
        (Worst::default(), Worst::default(), Worst::default(), Worst::default());
    for season in seasons().iter().filter(|s| s.expected.inference.session_fixed == session_fixed) {
        let count = season.antennas.len();
        assert_eq!(season.expected.inference.pairs.len(), count * (count - 1) / 2);
        for pair in &season.expected.inference.pairs {
            let (first, second) = (season.antenna(&pair.first), season.antenna(&pair.second));
            let got = season.fitted.difference(first, second);
            let place = format!("season {}, {} − {}", season.expected.id, pair.first, pair.second);
            let off = season.fitted.estimates[first] - season.fitted.estimates[second] - pair.difference;
            difference.see(off.abs() / season.spread(), &place);
            model.see_relative(got.model, pair.se_model, &place);
            adjusted.see_relative(got.adjusted, pair.se_kr, &place);
            df.see_relative(got.df, pair.df_kr, &place);
        }
    }
    difference.is_below(tolerance, "differences, over the estimates' spread");
    model.is_below(tolerance, "unadjusted standard errors, relative");
    adjusted.is_below(tolerance, "adjusted standard errors, relative");
    df.is_below(tolerance, "degrees of freedom, relative");
}

#[test]
fn an_antennas_own_error_is_that_of_its_least_squares_mean() {
    let mut worst = Worst::default();
    for season in seasons().iter().filter(|s| !s.expected.singular) {
        for (name, variance) in season.expected.inference.vcov_kr_diag.as_ref().unwrap() {
            let got = season.fitted.single(season.antenna(name)).adjusted;
            worst.see(relative(got, variance.sqrt()), format!("season {} {name}", season.expected.id));
        }
    }
    worst.is_below(1e-9, "adjusted standard errors of means, relative");
}
