//! Results in, words, tables and JSON out. Nothing is computed here that a verdict rests on.

pub mod add_json;
pub mod add_text;
pub mod antennas_json;
pub mod antennas_text;
pub mod audit_json;
pub mod audit_text;
pub mod budget_json;
pub mod budget_text;
pub mod claims_json;
pub mod claims_text;
mod claims_words;
pub mod files;
pub mod grid;
pub mod meters_json;
mod meters_tables;
pub mod meters_text;
pub mod number;
pub mod page;
mod pairs_text;
pub mod plan_json;
pub mod plan_text;
pub mod plot;
mod set_text;
pub mod sheet;
mod sweeps_text;
pub mod take_away;
pub mod text;
