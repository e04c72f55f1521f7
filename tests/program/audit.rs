//! `audit` from outside: exit status, JSON, width, order, and the page that lists its rules.

use std::path::Path;

use assert_cmd::Command;
use daylight::analysis::audit::rules::RULES;
use serde_json::Value;

fn run(arguments: &[&str]) -> (i32, String) {
    let out = Command::cargo_bin("daylight").unwrap().arg("audit").args(arguments).output().unwrap();
    (out.status.code().unwrap(), String::from_utf8(out.stdout).unwrap())
}

fn json(season: &str) -> Value {
    serde_json::from_str(&run(&[season, "--json"]).1).unwrap()
}

#[test]
fn an_error_makes_the_exit_status_one_and_a_suspect_does_not() {
    assert_eq!(run(&["datasets/record-sheet"]).0, 1);
    assert_eq!(run(&["datasets/one-afternoon"]).0, 0);
    assert_eq!(run(&["datasets/nowhere"]).0, 2);
}

#[test]
fn the_record_sheets_four_contradictions_are_found_at_their_lines_and_nothing_else_is_impossible() {
    let all = json("datasets/record-sheet");
    let found: Vec<(String, u64)> = all["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| f["group"] == "impossible")
        .map(|f| (f["rule"].as_str().unwrap().into(), f["place"]["line"].as_u64().unwrap()))
        .collect();
    let wanted = [("band limits", 5), ("powers and match", 7), ("match and impedance", 16), ("impossible", 19)];
    assert_eq!(found, wanted.map(|(rule, line)| (rule.to_string(), line)));
}

#[test]
fn every_key_of_the_json_is_there_and_findings_stand_in_order() {
    let all = json("datasets/record-sheet");
    assert_eq!(all["format"], "daylight/audit/1");
    for key in ["season", "readings", "sets", "verdicts", "errors", "findings", "rules", "assumptions"] {
        assert!(all.get(key).is_some(), "{key}");
    }
    let groups = ["impossible", "suspect", "weak_design"];
    let severities = ["error", "warning", "note"];
    let place = |list: &[&str], v: &Value| list.iter().position(|g| v == g).unwrap();
    let keys: Vec<(usize, usize, i64)> = all["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| {
            for key in ["rule", "place", "others", "endangers", "what", "why", "action"] {
                assert!(f.get(key).is_some(), "{key}");
            }
            (place(&groups, &f["group"]), place(&severities, &f["severity"]), -f["verdicts"].as_i64().unwrap())
        })
        .collect();
    assert!(keys.is_sorted(), "{keys:?}");
    assert!(all["rules"].as_array().unwrap().iter().all(|r| r["source"].as_str().is_some_and(|s| !s.is_empty())));
}

#[test]
fn no_line_is_wider_than_a_screen() {
    for season in ["datasets/record-sheet", "datasets/one-afternoon", "datasets/lowland-search/spring.csv"] {
        let (_, text) = run(&[season]);
        assert!(text.lines().all(|l| l.chars().count() <= 80), "{season}:\n{text}");
    }
}

/// What the reading of the files finds is in the audit too, once, with the verdicts it endangers; and so is
/// what `antennas` says beside its verdicts.
#[test]
fn findings_of_the_reading_and_of_the_verdicts_are_in_the_audit_once() {
    let all = json("datasets/lowland-search");
    let whats: Vec<&str> = all["findings"].as_array().unwrap().iter().map(|f| f["what"].as_str().unwrap()).collect();
    let mut once = whats.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), whats.len());
    let out = Command::cargo_bin("daylight")
        .unwrap()
        .args(["antennas", "datasets/lowland-search", "--json", "--trials", "250"])
        .output()
        .unwrap();
    let answer: Value = serde_json::from_slice(&out.stdout).unwrap();
    let said = answer["findings"].as_array().unwrap();
    assert!(said.len() >= 3, "{said:#?}");
    for finding in said {
        assert!(whats.contains(&finding["what"].as_str().unwrap()), "{finding:#?}");
    }
    let row = json("datasets/record-sheet");
    let aside = row["findings"].as_array().unwrap().iter().find(|f| f["rule"] == "impossible").unwrap();
    assert_eq!(aside["endangers"][0]["antennas"][0], "heron");
    assert!(aside["verdicts"].as_u64().unwrap() > 0);
}

#[test]
fn the_page_lists_every_rule_in_the_words_of_the_program() {
    let page = std::fs::read_to_string(Path::new("notebooks-md/audit.md")).unwrap();
    for rule in RULES {
        let cell = |text: &str| text.replace('|', "\\|");
        let line = format!("| {} | {} | {} |", rule.name, cell(rule.asks), cell(rule.source));
        assert!(page.contains(&line), "missing from the page: {line}");
    }
    assert_eq!(
        page.lines()
            .filter(|l| l.starts_with("| Impossible |")
                || l.starts_with("| Suspect |")
                || l.starts_with("| Weak design |"))
            .count(),
        RULES.len()
    );
}
