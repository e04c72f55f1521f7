//! Claims against the truth of the invented season, and against seasons where something is missing.

use std::path::{Path, PathBuf};

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::claims::check;
use daylight::analysis::claims::result::{Claim, Claims, Route, Unheld, Verdict};
use daylight::report::{claims_json, claims_text};
use daylight::season::Season;

use crate::generate;

fn dataset(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets").join(name)
}

fn checked(path: &Path, seed: u64) -> Claims {
    let season = Season::load(path).unwrap_or_else(|e| panic!("{e}"));
    let options = Options { confidence: 0.95, seed, trials: Some(8000) };
    check(&season, &options, 0.025, &|| ()).unwrap()
}

/// A season of its own: `season.toml` and one file of readings.
fn season(toml: &str, rows: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("season.toml"), toml).unwrap();
    let head = "session,antenna,band,meter,quantity,value,mounting\n";
    std::fs::write(dir.path().join("log.csv"), head.to_string() + rows).unwrap();
    dir
}

/// Rows of one reading a mounting, two mountings a session.
fn rows(antenna: &str, band: &str, meter: &str, quantity: &str, sessions: &[[f64; 2]]) -> String {
    let mut out = String::new();
    for (s, values) in sessions.iter().enumerate() {
        for (m, value) in values.iter().enumerate() {
            out += &format!("day {s},{antenna},{band},{meter},{quantity},{value},{}\n", m + 1);
        }
    }
    out
}

/// Whether a claim of the invented season is true.
fn is_true(claim: &Claim) -> bool {
    let truth = generate::ANTENNAS.iter().find(|t| t.name == claim.antenna).unwrap();
    let band = generate::BANDS.iter().position(|b| *b == claim.band).unwrap();
    // heron's true gain on 70 cm is 2.0 dBi
    let value = if claim.quantity.name == "gain_dbi" { 2.0 + truth.field_db[band] } else { truth.swr[band] };
    claim.at_most.is_none_or(|most| value <= most) && claim.at_least.is_none_or(|least| value >= least)
}

fn named(claim: &Claim) -> String {
    format!("{}, {}, {}", claim.antenna, claim.band, claim.quantity.name)
}

#[test]
fn no_true_claim_is_missed_and_no_false_one_met_and_the_close_ones_are_not_shown() {
    for seed in 1..=4 {
        let answer = checked(&dataset("lowland-search"), seed);
        assert_eq!(answer.claims.len(), 18);
        let mut open = vec![];
        for claim in &answer.claims {
            match claim.verdict {
                Verdict::Met => assert!(is_true(claim), "seed {seed}: {claim:?}"),
                Verdict::Missed => assert!(!is_true(claim), "seed {seed}: {claim:?}"),
                Verdict::NotShown => open.push(named(claim)),
            }
        }
        let close = ["heron, 70 cm, gain_dbi", "plover, 70 cm, gain_dbi", "dunlin, 70 cm, swr", "snipe, 2 m, swr"];
        assert_eq!(open, close, "seed {seed}");
    }
}

#[test]
fn the_in_line_meter_alone_does_not_show_herons_match_and_the_analyzer_does() {
    let answer = checked(&dataset("lowland-search"), 1);
    let heron = answer.claims.iter().find(|c| named(c) == "heron, 2 m, swr").unwrap();
    let alone = |meter: &str| heron.held.iter().find(|h| h.meter.as_deref() == Some(meter)).unwrap();
    assert_eq!((alone("inline").verdict, alone("analyzer").verdict), (Verdict::NotShown, Verdict::Met));
    // the analyzer shifted between these sessions, and its results hold for both sides
    let shift = alone("analyzer").shift.as_ref().unwrap();
    assert_eq!((shift.before.as_str(), shift.after.as_str()), ("2026-05-30", "2026-06-13"));
    assert!((shift.size - 0.03).abs() < 0.01, "{}", shift.size);
    assert_eq!(alone("inline").shift, None);
    for claim in &answer.claims {
        let truth = generate::ANTENNAS.iter().find(|t| t.name == claim.antenna).unwrap();
        let band = generate::BANDS.iter().position(|b| *b == claim.band).unwrap();
        let swr = truth.swr[band];
        for held in claim.held.iter().filter(|h| matches!(h.route, Route::Level { .. })) {
            let rho = (swr - 1.0) / (swr + 1.0);
            assert!(held.range.low <= rho && rho <= held.range.high, "{} {rho} {held:?}", named(claim));
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| claims_json::render(&checked(&dataset("lowland-search"), 3)).unwrap())
    };
    assert_eq!(on(1), on(3));
}

const HEAD: &str = "reference = \"wren\"\n[[band]]\nname = \"2 m\"\n[[band]]\nname = \"70 cm\"\n";

#[test]
fn what_cannot_be_held_against_a_result_says_why() {
    let toml = format!(
        "{HEAD}[[meter]]\nname = \"inline\"\n[[meter]]\nname = \"field\"\n[[antenna]]\nname = \"wren\"\nclaims = [ {{ quantity = \"swr\", at_most = 1.5 }}, {{ quantity = \"gain_dbi\", at_least = 1.0, bands = [\"2 m\"] }}, {{ quantity = \"readability\", at_least = 4, bands = [\"2 m\"] }}, {{ quantity = \"return_loss\", at_least = 10.0, bands = [\"2 m\"] }}, {{ quantity = \"impedance\", at_most = 80, bands = [\"2 m\"] }} ]\n[[antenna]]\nname = \"robin\"\nclaims = [ {{ quantity = \"swr\", at_most = 1.5, bands = [\"2 m\"] }} ]\n"
    );
    let dir = season(&toml, &rows("wren", "2 m", "inline", "swr", &[[1.2, 1.22], [1.21, 1.19], [1.2, 1.21]]));
    let answer = checked(dir.path(), 1);
    let why: Vec<Option<Unheld>> = answer.claims.iter().map(|c| c.unheld.clone()).collect();
    let wanted = [
        None,                            // SWR on 2 m
        Some(Unheld::BandNeverMeasured), // SWR on 70 cm
        Some(Unheld::NoKnownGain),
        Some(Unheld::Grades),
        None, // return loss, from the SWR readings
        Some(Unheld::QuantityNeverMeasured),
        Some(Unheld::AntennaNeverMeasured),
    ];
    assert_eq!(why, wanted);
    assert_eq!((answer.claims[0].verdict, answer.claims[4].verdict), (Verdict::Met, Verdict::Met));
    let text = claims_text::render(&answer);
    for words in
        ["No antenna was ever measured on 70 cm", "robin was never measured", "no antenna's gain is known on 2 m"]
    {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn a_return_loss_and_its_swr_are_judged_alike() {
    let toml = format!(
        "{HEAD}[[meter]]\nname = \"inline\"\ndirectivity_db = 30.0\n[[antenna]]\nname = \"wren\"\nclaims = [ {{ quantity = \"swr\", at_most = 1.5, bands = [\"2 m\"] }}, {{ quantity = \"return_loss\", at_least = 13.979400086720377, bands = [\"2 m\"] }} ]\n"
    );
    let dir = season(&toml, &rows("wren", "2 m", "inline", "swr", &[[1.41, 1.44], [1.43, 1.40], [1.39, 1.45]]));
    let answer = checked(dir.path(), 1);
    let (swr, loss) = (&answer.claims[0].held[0], &answer.claims[1].held[0]);
    assert!((swr.risk_if_met - loss.risk_if_met).abs() < 1e-3, "{swr:?} {loss:?}");
    assert!((swr.met_within.unwrap().high - loss.met_within.unwrap().high).abs() < 1e-9);
    let json: serde_json::Value = serde_json::from_str(&claims_json::render(&answer).unwrap()).unwrap();
    assert_eq!(json["format"], "daylight/claims/1");
    let results = |i: usize| &json["claims"][i]["results"][0];
    let (within, beyond) = (results(1)["met_within"]["low"].as_f64(), results(1)["missed_outside"]["low"].as_f64());
    assert!(within > Some(13.98) && beyond < Some(13.98), "{within:?} {beyond:?}");
    assert_eq!(results(1)["met_within"]["high"], serde_json::Value::Null);
    assert!(results(0)["guard_band"]["at_most"].as_f64() > Some(0.0));
}

#[test]
fn a_gain_holds_the_known_gain_and_the_difference_and_not_the_meters_calibration() {
    let toml = format!(
        "{HEAD}[[meter]]\nname = \"field\"\n[[antenna]]\nname = \"wren\"\ngain_dbi = {{ \"2 m\" = {{ value = 2.0, standard = 0.1 }} }}\n[[antenna]]\nname = \"robin\"\nclaims = [ {{ quantity = \"gain_dbi\", at_least = 3.0, bands = [\"2 m\"] }} ]\n[[source]]\nname = \"calibration\"\nquantity = \"field_strength\"\nshape = \"normal\"\nstandard = 9.0\nshared_by = \"season\"\n"
    );
    let wren = [[-30.0, -30.1], [-33.0, -32.9], [-31.0, -31.1], [-29.5, -29.4]];
    let robin = wren.map(|day| day.map(|y| y + 4.0));
    let log = rows("wren", "2 m", "field", "field_strength", &wren)
        + &rows("robin", "2 m", "field", "field_strength", &robin);
    let answer = checked(season(&toml, &log).path(), 1);
    let held = &answer.claims[0].held[0];
    assert!((held.estimate - 6.0).abs() < 1e-9 && held.standard_uncertainty < 0.3, "{held:?}");
    assert_eq!(answer.claims[0].verdict, Verdict::Met);
}

#[test]
fn meters_that_contradict_each_other_leave_a_claim_open() {
    let toml = format!(
        "{HEAD}[[meter]]\nname = \"one\"\n[[meter]]\nname = \"two\"\n[[antenna]]\nname = \"wren\"\nclaims = [ {{ quantity = \"swr\", at_most = 1.5, bands = [\"2 m\"] }} ]\n"
    );
    let log = rows("wren", "2 m", "one", "swr", &[[1.2, 1.22], [1.21, 1.19], [1.2, 1.21]])
        + &rows("wren", "2 m", "two", "swr", &[[1.82, 1.80], [1.81, 1.79], [1.80, 1.82]]);
    let answer = checked(season(&toml, &log).path(), 1);
    let claim = &answer.claims[0];
    assert_eq!((claim.held[0].verdict, claim.held[1].verdict), (Verdict::Met, Verdict::Missed));
    assert_eq!((claim.verdict, claim.disagree), (Verdict::NotShown, Some([0, 1])));
    assert!(claims_text::render(&answer).contains("contradict"));
}

#[test]
fn a_limit_the_quantity_never_has_is_an_error_with_its_line() {
    let toml = format!("{HEAD}[[antenna]]\nname = \"wren\"\nclaims = [ {{ quantity = \"swr\", at_most = 0.8 }} ]\n");
    let dir = season(&toml, "day 1,wren,2 m,inline,swr,1.2,1\n");
    let error = Season::load(dir.path()).unwrap_err().to_string();
    assert!(error.contains("season.toml:8") && error.contains("`swr` at 0.8"), "{error}");
}

#[test]
fn one_visit_shows_nothing_of_another_day_and_a_season_without_claims_says_so() {
    let toml = format!(
        "{HEAD}[[antenna]]\nname = \"wren\"\nclaims = [ {{ quantity = \"swr\", at_most = 1.5, bands = [\"2 m\"] }} ]\n"
    );
    let one = checked(season(&toml, "day 1,wren,2 m,inline,swr,1.2,1\nday 1,wren,2 m,inline,swr,1.3,2\n").path(), 1);
    assert_eq!(one.claims[0].unheld, Some(Unheld::SpreadUnknown { meters: vec!["inline".into()] }));
    let none = checked(season(HEAD, "day 1,wren,2 m,inline,swr,1.2,1\n").path(), 1);
    assert!(none.claims.is_empty() && claims_text::render(&none).contains("no claim to check"));
}
