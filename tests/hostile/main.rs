//! Whatever lies where a season should, every verb answers: no panic, no hang, nothing written outside the place asked for,
//! and no name acted on.
//!
//! A case is a folder made by a generator. Every verb is run on it, with and without `--json`, in this process, on a thread
//! with a program's usual stack; what it prints may not hold a control character, and all files but those asked for have to
//! be as they were.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

mod archives;
mod budgets;
mod names;
mod places;
mod settings;
mod sweeps;
mod tables;
mod verbs;

use std::path::Path;

/// One hostile folder.
pub struct Case {
    /// What it is, for the message when it fails.
    pub name: String,
    /// Makes it, in an empty folder.
    pub make: Box<dyn Fn(&Path) + Send + Sync>,
}

impl Case {
    /// A case by its name and what makes it.
    pub fn new(name: impl Into<String>, make: impl Fn(&Path) + Send + Sync + 'static) -> Case {
        Case { name: name.into(), make: Box::new(make) }
    }
}

/// A season's folder of these settings and this one log.
pub fn season(folder: &Path, settings: &[u8], log: &[u8]) {
    write(&folder.join("season.toml"), settings);
    write(&folder.join("log.csv"), log);
}

/// A file of these bytes, its folders made.
pub fn write(path: &Path, bytes: &[u8]) {
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    std::fs::write(path, bytes).expect("a file");
}

/// A log that is in order: two antennas, two sessions, two mountings, two meters.
pub fn sound_log() -> String {
    let mut log = "session,antenna,band,meter,quantity,value,mounting\n".to_string();
    for session in ["2026-05-02", "2026-05-09"] {
        for (antenna, swr) in [("heron", 1.3), ("plover", 1.8)] {
            for mounting in 1..=2 {
                for (meter, off) in [("inline", 0.1), ("analyzer", 0.0)] {
                    let value = swr + off + 0.02 * f64::from(mounting);
                    log += &format!("{session},{antenna},2 m,{meter},swr,{value:.2},{mounting}\n");
                }
            }
        }
    }
    log
}

/// Settings that are in order.
pub const SOUND: &str = "[[band]]\nname = '2 m'\nfrequency_mhz = 145.5\n";

fn all(kind: &str, cases: Vec<Case>) {
    let runs: usize = cases.iter().map(|case| verbs::every_verb_answers(kind, case)).sum();
    println!("{kind}: {} cases, {runs} commands, all answered", cases.len());
}

#[test]
fn names_that_are_code_are_shown_and_not_acted_on() {
    all("names", names::cases());
}

#[test]
fn tables_of_any_bytes_are_answered() {
    all("tables", tables::cases());
}

#[test]
fn damaged_spreadsheets_and_parquet_files_are_answered() {
    all("archives", archives::cases());
}

#[test]
fn settings_of_any_shape_are_answered() {
    all("settings", settings::cases());
}

#[test]
fn whatever_stands_in_a_file_s_place_is_answered() {
    all("places", places::cases());
}

#[test]
fn sweeps_of_any_bytes_are_answered() {
    all("sweeps", sweeps::cases());
}

#[test]
fn budgets_of_any_shape_are_answered() {
    all("budgets", budgets::cases());
}

#[test]
fn a_log_that_changes_while_it_is_read_is_answered() {
    places::changing_log();
}
