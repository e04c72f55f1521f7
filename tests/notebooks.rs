//! README.md and the notebooks, run: every command in a `console` block, its whole output compared.
//!
//! After a change that is meant: `TRYCMD=overwrite cargo test --test notebooks`, then read the diff.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

use std::path::Path;

/// Copies a folder and all in it.
fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), &target).unwrap();
        }
    }
}

/// The commands run where the reader's do, in a folder that holds `datasets/`; it is a copy, so that
/// `start` leaves nothing behind. The only test of this file, as it changes the working folder.
#[test]
fn every_command_on_the_pages_prints_what_the_pages_say() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let home = tempfile::tempdir().unwrap();
    copy(&root.join("datasets"), &home.path().join("datasets"));
    std::env::set_current_dir(home.path()).unwrap();
    trycmd::TestCases::new()
        .default_bin_name("daylight")
        .env("NO_COLOR", "1")
        .case(root.join("README.md"))
        .case(root.join("notebooks-md/*.md"))
        .run();
    // away again before the folder goes
    std::env::set_current_dir(root).unwrap();
}
