//! Any bytes as the text of a `season.toml`: a season, or an error whose places lie within the text.
#![no_main]

use daylight::season::parse::parse;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Err(error) = parse(text, "season.toml") {
        assert!(!error.problems().is_empty());
        let said = error.to_string();
        assert!(!said.chars().any(|c| c.is_control() && c != '\n'), "a control character reached the message");
        let lines = text.matches('\n').count() + 1;
        assert!(error.problems().iter().all(|p| p.position().is_none_or(|at| (1..=lines).contains(&at.line()))));
    }
});
