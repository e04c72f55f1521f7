//! Every verb on one case, watched.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::{Duration, SystemTime};

use clap::{CommandFactory, Parser};
use daylight::cli::{Cli, run};

use super::Case;

/// The longest one command may take here: what hangs takes for ever, and what is slow on a busy machine does not.
const LONGEST: Duration = Duration::from_secs(300);

/// Makes the case, runs every verb on it and looks at what it did; the number of commands run.
pub fn every_verb_answers(kind: &str, case: &Case) -> usize {
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("season");
    std::fs::create_dir(&folder).expect("a folder");
    (case.make)(&folder);
    let before = listed(home.path());
    let commands = commands(kind, &folder, home.path());
    for command in &commands {
        let start = std::time::Instant::now();
        let said = watched(&format!("{kind}: {}", case.name), command);
        if start.elapsed() > Duration::from_secs(1) {
            println!("{kind}: {}: {:.1} s: {command:?}", case.name, start.elapsed().as_secs_f64());
        }
        let printed = match &said {
            Ok(text) | Err(text) => text,
        };
        let acts = |c: char| (c.is_control() && c != '\n') || ('\u{202a}'..='\u{202e}').contains(&c);
        assert!(!printed.contains(acts), "{}: {command:?} printed a control character:\n{printed:?}", case.name);
        if command.iter().any(|a| a == "--json")
            && let Ok(text) = &said
        {
            let json = serde_json::from_str::<serde_json::Value>(text);
            assert!(json.is_ok(), "{}: {command:?} printed what is not JSON: {json:?}", case.name);
        }
        if let Err(text) = &said {
            assert!(!text.trim().is_empty(), "{}: {command:?} failed without a word", case.name);
        }
    }
    let after = listed(home.path());
    assert_eq!(before, after, "{kind}: {}: files changed", case.name);
    let copy = home.path().join("out/copy");
    for path in files(&home.path().join("out")).into_iter().filter(|path| !path.starts_with(&copy)) {
        harmless_file(&case.name, &path);
    }
    // a folder without its permissions could not be removed again
    #[cfg(unix)]
    restore(&folder);
    commands.len()
}

/// The commands: each verb the program has, on this folder. A verb not known here is given the folder alone. Pictures are
/// drawn where names are the danger, and budgets read where there are any: the rest has to be quick.
fn commands(kind: &str, folder: &Path, home: &Path) -> Vec<Vec<String>> {
    let (draws, budgets) = (kind == "names", kind == "budgets" || kind == "places");
    let season = folder.display().to_string();
    let out = home.join("out");
    let into = |name: &str| out.join(name).display().to_string();
    let budget = folder.join("budget.toml");
    let budget =
        if budget.symlink_metadata().is_ok() { budget } else { folder.join("season.toml") }.display().to_string();
    let log = folder.join("log.csv").display().to_string();
    let fast = ["--trials", "20", "--quiet", "--threads", "1"];
    let with =
        |verb: &str, more: &[&str]| -> Vec<String> { [verb].iter().chain(more).map(ToString::to_string).collect() };
    let mut all = vec![];
    let seasons = kind != "budgets";
    for verb in Cli::command().get_subcommands().map(|c| c.get_name().to_string()) {
        match verb.as_str() {
            verb if verb != "budget" && !seasons => {}
            "start" => {
                all.push(with("start", &[&into("started")]));
                // a season there is already: refused, and left as it is
                if folder.join("season.toml").symlink_metadata().is_ok() {
                    all.push(with("start", &[&season]));
                }
            }
            "antennas" | "claims" | "meters" => {
                all.push(with(&verb, &[&[season.as_str()][..], &fast].concat()));
                all.push(with(&verb, &[&[season.as_str(), "--json"][..], &fast].concat()));
                if verb == "antennas" {
                    all.push(with(&verb, &[&[log.as_str()][..], &fast].concat()));
                }
                if verb == "meters" && draws {
                    all.push(with(&verb, &[&[season.as_str(), "--plots", &into("plots")][..], &fast].concat()));
                }
            }
            "audit" => {
                all.push(with("audit", &[&season]));
                all.push(with("audit", &[&season, "--json"]));
                all.push(with("audit", &[&season, &season]));
            }
            "budget" if !budgets => {}
            "budget" => {
                let fast = ["--trials", "1000", "--quiet", "--threads", "1"];
                all.push(with("budget", &[&[budget.as_str()][..], &fast].concat()));
                all.push(with(
                    "budget",
                    &[&[budget.as_str(), "--json", "--plots", &into("budget")][..], &fast].concat(),
                ));
            }
            "plan" => {
                all.push(with("plan", &[&[season.as_str(), "--json"][..], &fast].concat()));
                all.push(with("plan", &[&[season.as_str(), "--sheet", &into("sheet")][..], &fast].concat()));
            }
            "report" if !draws => {
                all.push(with("report", &[&[season.as_str(), "--html", &into("page.html")][..], &fast].concat()))
            }
            "report" => {
                let into = ["--html", &into("page.html"), "--markdown", &into("page.md"), "--plots", &into("page")];
                all.push(with("report", &[&[season.as_str()][..], &into, &fast].concat()));
            }
            "export" => {
                all.push(with("export", &[&[season.as_str(), &into("csv")][..], &fast].concat()));
                all.push(with(
                    "export",
                    &[&[season.as_str(), &into("parquet"), "--form", "parquet"][..], &fast].concat(),
                ));
            }
            // it writes into the season, as it is asked to: a copy is made for it
            "add" => {
                let copy = home.join("out/copy");
                copied(folder, &copy);
                let copy = copy.display().to_string();
                all.push(with("add", &[&copy, "heron", "2 m", "inline", "swr", "1.5", "--session", "x"]));
            }
            _ => all.push(with(&verb, &[&season])),
        }
    }
    all
}

/// A season's plain files, copied; what is no plain file, or too large, stays behind.
fn copied(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).into_iter().flatten().flatten() {
        let known = entry.path().symlink_metadata();
        if known.is_ok_and(|k| k.is_file() && k.len() < 1 << 24) {
            let _ = std::fs::copy(entry.path(), to.join(entry.file_name()));
        }
    }
}

/// Runs a command as the program would; panics where it panics, or takes longer than it may.
fn watched(case: &str, command: &[String]) -> Result<String, String> {
    let words = std::iter::once("daylight".to_string()).chain(command.iter().cloned()).collect::<Vec<_>>();
    let (say, hear) = mpsc::channel();
    // the stack of a program's first thread
    let thread = std::thread::Builder::new().stack_size(8 << 20).spawn(move || {
        let said = match Cli::try_parse_from(words) {
            Ok(cli) => run(&cli).map(|outcome| outcome.text),
            // what a wrong command says is not this test's concern
            Err(_) => Err("not a command".into()),
        };
        let _ = say.send(());
        said
    });
    let thread = thread.expect("a thread");
    if hear.recv_timeout(LONGEST) == Err(mpsc::RecvTimeoutError::Timeout) {
        panic!("{case}: {command:?} is not done after {LONGEST:?}");
    }
    match thread.join() {
        Ok(said) => said,
        Err(panic) => {
            let words = panic.downcast_ref::<String>().cloned();
            panic!("{case}: {command:?} panicked: {}", words.unwrap_or_else(|| format!("{panic:?}")))
        }
    }
}

/// Every file outside `out`, with its size and when it was changed.
fn listed(home: &Path) -> BTreeMap<PathBuf, (u64, Option<SystemTime>)> {
    let out = home.join("out");
    files(home)
        .into_iter()
        .filter(|path| !path.starts_with(&out))
        .filter_map(|path| {
            let known = path.symlink_metadata().ok()?;
            Some((path, (known.len(), known.modified().ok())))
        })
        .collect()
}

/// Everything below a folder that is no folder; links are not followed.
fn files(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return vec![] };
    let below = |path: PathBuf| match path.symlink_metadata() {
        Ok(known) if known.is_dir() => files(&path),
        _ => vec![path],
    };
    entries.flatten().flat_map(|entry| below(entry.path())).collect()
}

/// A written file holds no name that the program which opens it would act on.
fn harmless_file(case: &str, path: &Path) {
    let Ok(text) = std::fs::read_to_string(path) else { return };
    let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    if ["html", "svg", "md"].contains(&ending.as_str()) {
        for raw in ["<script>alert", "<img src=x", "\" onerror=alert", "' onerror=alert"] {
            let escaped = ending == "svg" && !text.contains("<script>") && !text.contains("<img");
            assert!(escaped || !text.contains(raw), "{case}: {} holds {raw}", path.display());
        }
    }
    if ending == "csv" {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        for cell in reader.records().flatten().flat_map(|r| r.iter().map(String::from).collect::<Vec<_>>()) {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
            assert!(!formula, "{case}: {} holds the formula {cell:?}", path.display());
        }
    }
}

#[cfg(unix)]
fn restore(folder: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        if entry.path().symlink_metadata().is_ok_and(|m| m.is_dir()) {
            let _ = std::fs::set_permissions(entry.path(), std::fs::Permissions::from_mode(0o755));
            restore(&entry.path());
        }
    }
}
