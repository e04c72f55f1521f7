//! Any bytes as the text of a budget file: a budget, or an error whose places lie within the text. A very small budget is
//! worked out too; a larger one would take the time of a thousand readings of text.
#![no_main]

use std::path::Path;

use daylight::analysis::budget::simulation::Options;
use daylight::analysis::budget::{analyse, parse::parse};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match parse(text, "budget.toml", Path::new("/nonexistent")) {
        Ok(config) => {
            if config.inputs.len() <= 2 && config.outputs.len() == 1 && text.len() < 600 {
                analyse(&config, &Options { seed: 1, trials: Some(1000) }, &|| ());
            }
        }
        Err(error) => {
            assert!(!error.problems().is_empty());
            let lines = text.matches('\n').count() + 1;
            assert!(error.problems().iter().all(|p| p.position().is_none_or(|at| (1..=lines).contains(&at.line()))));
        }
    }
});
