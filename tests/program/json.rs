//! The JSON of `antennas`: other programs read it, so its keys are held to the letter.

use assert_cmd::Command;
use serde_json::Value;

fn json(arguments: &[&str]) -> Value {
    let out = Command::cargo_bin("daylight").expect("the program is built").args(arguments).arg("--json").output();
    serde_json::from_slice(&out.expect("it runs").stdout).expect("JSON")
}

fn holds(value: &Value, keys: &str) {
    let object = value.as_object().expect("an object");
    for key in keys.split(' ') {
        assert!(object.contains_key(key), "{key} is missing from {value}");
    }
}

#[test]
fn every_key_of_the_format_is_there() {
    let all = json(&["antennas", "datasets/lowland-search", "--quantity", "swr", "--band", "2 m", "--trials", "250"]);
    assert_eq!(all["format"], "daylight/antennas/1");
    holds(&all, "format season confidence seed trials sets");
    for set in all["sets"].as_array().expect("a list") {
        holds(set, "quantity band meter unit scale better components antennas pairs");
        let levels: Vec<&str> =
            set["components"].as_array().expect("a list").iter().filter_map(|c| c["level"].as_str()).collect();
        assert_eq!(levels, ["session", "visit", "mounting", "reading"]);
        for component in set["components"].as_array().expect("a list") {
            holds(component, "level sd df from");
            assert!(["data", "declared", "merged"].contains(&component["from"].as_str().expect("text")));
        }
        for antenna in set["antennas"].as_array().expect("a list") {
            holds(
                antenna,
                "antenna estimate standard_uncertainty low high visits mountings readings rank rank_low rank_high probability_best shown",
            );
            let (gamma, swr) =
                (antenna["estimate"].as_f64().expect("|Γ|"), antenna["shown"]["estimate"].as_f64().expect("SWR"));
            assert!(((1.0 + gamma) / (1.0 - gamma) - swr).abs() < 1e-9, "shown is the SWR of the estimate");
        }
        for pair in set["pairs"].as_array().expect("a list") {
            holds(
                pair,
                "first second difference standard_error df low high p_adjusted verdict matters share_declared that_day joined",
            );
            assert!(["apart", "noise", "even", "unlinked"].contains(&pair["verdict"].as_str().expect("text")));
        }
    }
}

/// Pinheiro & Bates (2000), section 1.2: SE of a difference √(2·1.210648148/9), 24 degrees of freedom.
#[test]
fn without_declared_sources_the_standard_error_is_kenward_and_rogers() {
    let all = json(&["antennas", "datasets/published/ergostool", "--trials", "250"]);
    let set = &all["sets"][0];
    assert_eq!((set["better"].as_str(), set["antennas"][0]["rank"].is_null()), (Some("neither"), true));
    for pair in set["pairs"].as_array().expect("a list") {
        assert!((pair["standard_error"].as_f64().expect("a number") - 0.518_683_836).abs() < 1e-7);
        assert!((pair["df"].as_f64().expect("a number") - 24.0).abs() < 1e-6);
        assert_eq!(pair["share_declared"], 0.0);
        assert!(pair["matters"].is_null(), "the season sets no size");
    }
}

#[test]
fn an_unlinked_pair_says_what_its_one_day_showed() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut log = "session,antenna,band,meter,quantity,value\n".to_string();
    for (antenna, values) in [("a", ["1.0", "1.2", "1.1"]), ("b", ["3.0", "3.1", "2.9"])] {
        for value in values {
            log += &format!("d,{antenna},2 m,field,field_strength,{value}\n");
        }
    }
    let file = folder.path().join("log.csv");
    std::fs::write(&file, log).expect("it is written");
    let pair = &json(&["antennas", &file.to_string_lossy()])["sets"][0]["pairs"][0];
    assert_eq!(pair["verdict"], "unlinked");
    for key in ["standard_error", "df", "low", "high", "p_adjusted", "share_declared"] {
        assert!(pair[key].is_null(), "{key}");
    }
    let ends = [&pair["that_day"]["low"], &pair["that_day"]["high"]].map(|x| x.as_f64().expect("a number"));
    assert!(ends[0] > -2.5 && ends[0] < -1.9 && ends[1] < -1.3 && ends[1] > -1.9, "{ends:?}");
}
