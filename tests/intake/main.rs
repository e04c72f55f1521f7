//! What is read, and how: settings, logs in every form, sweeps, budget files. Every rule, every message, any bytes.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

mod budget_files;
mod bulk;
mod forms;
mod readings;
mod season_toml;
mod season_toml_mangled;
mod several_seasons;
mod sweeps;
