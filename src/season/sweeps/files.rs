//! The files of the `sweeps/` folder.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::touchstone::Fault;
use super::{RULE, set_aside};
use crate::season::config::Config;
use crate::season::file::{self, Trouble};
use crate::season::finding::Finding;

/// How deep folders below `sweeps/` are looked into.
const DEEPEST: usize = 8;
/// How many files are read at most.
const MOST: usize = 100_000;
/// The largest file that is read as a sweep.
const LARGEST: u64 = 64 << 20;

/// One file.
#[derive(Debug)]
pub struct File {
    /// Its path from `sweeps/`, folders separated by `/`.
    pub name: String,
    path: PathBuf,
}

impl File {
    /// Its bytes.
    pub fn read(&self) -> Result<Vec<u8>, Fault> {
        file::read(&self.path, LARGEST).map_err(|trouble| {
            let action = match trouble {
                Trouble::NotAFile => "put the file itself there",
                Trouble::TooLarge(_) => "a sweep is some hundred lines; save it again",
                Trouble::System(_) => "make the file readable",
            };
            Fault { line: 1, what: trouble.to_string(), action: action.into() }
        })
    }
}

/// What the folder holds.
#[derive(Debug, Default)]
pub struct Found {
    /// One-port files by their ending, and those that entries name; by name.
    pub files: Vec<File>,
    /// What can't be looked at, and files of more ports than one.
    pub findings: Vec<Finding>,
}

/// The sweeps in a folder, and in folders below it. Links to folders are not followed: they may lead round.
pub fn found(folder: &Path, config: &Config) -> Found {
    let named: BTreeSet<&str> = config.sweeps.iter().map(|s| s.file.as_str()).collect();
    let mut found = Found::default();
    if folder.is_dir() {
        look(folder, "", 0, &named, &mut found);
    }
    found.files.sort_by(|a, b| a.name.cmp(&b.name));
    found
}

fn look(folder: &Path, prefix: &str, depth: usize, named: &BTreeSet<&str>, found: &mut Found) {
    let shown = |name: &str| format!("{}/{name}", super::FOLDER);
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => {
            let what = format!("this folder can't be read: {}", error.kind());
            let action = "its sweeps are set aside; make it readable".to_string();
            found.findings.push(set_aside(&shown(prefix), None, None, what, action));
            return;
        }
    };
    let mut entries: Vec<_> = entries.flatten().collect();
    entries.sort_by_key(std::fs::DirEntry::file_name);
    for entry in entries {
        let last = entry.file_name().to_string_lossy().into_owned();
        let name = if prefix.is_empty() { last.clone() } else { format!("{prefix}/{last}") };
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        if last.starts_with('.') && !named.contains(name.as_str()) {
            continue;
        }
        if is_folder {
            if depth < DEEPEST {
                look(&entry.path(), &name, depth + 1, named, found);
            } else {
                let what = format!("more than {DEEPEST} folders in one another: this one is not looked into");
                found.findings.push(set_aside(&shown(&name), None, None, what, "move its sweeps up".into()));
            }
        } else if found.files.len() >= MOST {
            if found.findings.iter().all(|f| f.rule != RULE || !f.what.starts_with("more than 100000")) {
                let what = format!("more than {MOST} files: those from here on are set aside");
                found.findings.push(set_aside(&shown(&name), None, None, what, "split the season".into()));
            }
        } else if named.contains(name.as_str()) || is_sweep(&last) {
            found.files.push(File { name, path: entry.path() });
        } else if let Some(ports) = ports(&last) {
            let what = format!("a file of {ports} ports by its name, where an antenna is one");
            let action = "file set aside; save the antenna's port alone, as a one-port (`.s1p`)".to_string();
            found.findings.push(set_aside(&shown(&name), None, None, what, action));
        }
    }
}

fn ending(name: &str) -> Option<String> {
    name.rsplit_once('.').map(|(_, ending)| ending.to_lowercase())
}

fn is_sweep(name: &str) -> bool {
    ending(name).is_some_and(|e| e == "s1p" || e == "ts")
}

/// The number in an ending such as `.s2p`.
fn ports(name: &str) -> Option<u32> {
    ending(name)?.strip_prefix('s')?.strip_suffix('p')?.parse().ok()
}
