//! Several seasons' folders taken as one: names matched, clashes said.
//!
//! Bands, meters, antennas, loads and quantities of one name are one thing, and what the seasons declare of it has to agree,
//! or to leave no doubt what holds: the cautious one of two resolutions, directivities or sizes that matter is used, with a
//! finding; two frequencies, line losses, loads or known gains are an error. A session's name is qualified by its season
//! where two seasons have it.

mod clashes;
mod names;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use polars::prelude::*;

use super::config::{Config, Repeats};
use super::error::{InputError, Kind, Problem};
use super::finding::{Finding, Place, Severity};
use super::load::Season;
use super::parse;
use super::readings::Readings;

/// Which of several `season.toml` a line is of: lines of the i-th stand i times this further on.
const FAR: usize = 1 << 32;

/// The rule every finding here goes by.
const RULE: &str = "several seasons";

/// A season among several.
struct Part {
    /// What its files are called by: its folder, as the user named it.
    folder: String,
    season: Season,
}

impl Season {
    /// Takes in one season, or several folders as one.
    ///
    /// # Errors
    /// As [`Season::load`]; of several: one is a file by itself or stands twice, or what two declare can't both hold.
    pub fn load_all(paths: &[PathBuf]) -> Result<Season, InputError> {
        match paths {
            [] => Err(InputError::not_there(Path::new(""))),
            [one] => Season::load(one),
            several => pooled(several),
        }
    }

    /// The place of a line of the season's settings: of several seasons, in the file it is of.
    pub fn place_in_settings(&self, line: Option<usize>) -> Place {
        let file = self.settings.get(line.map_or(0, |l| l / FAR)).or(self.settings.first());
        let file = file.cloned().unwrap_or_else(|| parse::FILE.into());
        Place { file, line: line.map(|l| l % FAR), column: None }
    }
}

fn pooled(paths: &[PathBuf]) -> Result<Season, InputError> {
    let mut parts: Vec<Part> = vec![];
    let mut seen: BTreeMap<PathBuf, &PathBuf> = BTreeMap::new();
    for path in paths {
        if path.is_file() {
            let hint = "several seasons are several folders; put the file into one beside a `season.toml`";
            let what = "this is one file of readings, not a season's folder";
            return Err(Problem::new(Kind::Conflict, path.display().to_string(), what).advise(hint).into());
        }
        let real = path.canonicalize().unwrap_or_else(|_| path.clone());
        if let Some(first) = seen.insert(real, path) {
            let what =
                format!("this folder is given twice (first as {}): its readings would count twice", first.display());
            return Err(Problem::new(Kind::Conflict, path.display().to_string(), what).advise("give each once").into());
        }
        let mut season = Season::load(path)?;
        names::lines_of(&mut season.config, parts.len() * FAR);
        let shown = path.to_string_lossy();
        parts.push(Part { folder: shown.trim_end_matches('/').to_string(), season });
    }
    let mut findings = vec![];
    let config = clashes::merged(&parts, &mut findings)?;
    let qualified = names::qualified_sessions(&parts);
    let same_repeats = parts.iter().all(|p| p.season.config.repeats == config.repeats);
    let mut readings: Option<Readings> = None;
    let (mut sweeps, mut titles, mut settings) = (vec![], vec![], vec![]);
    for (at, Part { folder, season }) in parts.into_iter().enumerate() {
        settings.push(format!("{folder}/{}", parse::FILE));
        titles.push(season.title);
        let left_on = !same_repeats && season.config.repeats == Repeats::LeftOn;
        let own = in_folder(season.readings, &folder, &qualified[at], left_on).map_err(|e| {
            InputError::from(Problem::new(
                Kind::Unreadable,
                folder.clone(),
                format!("its readings can't be joined: {e}"),
            ))
        })?;
        for mut sweep in season.sweeps {
            sweep.file = format!("{folder}/{}", sweep.file);
            sweep.session = qualified[at].get(&sweep.session).cloned().unwrap_or(sweep.session);
            sweeps.push(sweep);
        }
        readings = Some(match readings {
            None => own,
            Some(all) => joined(all, own).map_err(|e| {
                let what = format!("its readings can't be joined to the others': {e}");
                InputError::from(Problem::new(Kind::Unreadable, folder.clone(), what))
            })?,
        });
    }
    let Some(mut readings) = readings else { return Err(InputError::not_there(Path::new(""))) };
    readings.findings.extend(findings);
    let title = titles.join(" + ");
    Ok(Season {
        title,
        config: Config { title: String::new(), ..config },
        readings,
        assumptions: vec![],
        sweeps,
        settings,
    })
}

/// A season's readings with their files named from where the user stands, and sessions by their qualified names. Rows with no
/// mounting number get one, where "left on" would else be lost among seasons that re-mount.
fn in_folder(
    mut readings: Readings,
    folder: &str,
    qualified: &BTreeMap<String, String>,
    left_on: bool,
) -> PolarsResult<Readings> {
    let file = |name: &str| format!("{folder}/{name}");
    let place = |place: &mut Place| place.file = file(&place.file);
    for frame in [&mut readings.frame, &mut readings.left_out_frame, &mut readings.set_aside_frame] {
        let files: StringChunked = frame.column("file")?.str()?.iter().map(|f| f.map(file)).collect();
        let session = |name: &str| qualified.get(name).map_or(name, String::as_str).to_string();
        let sessions: StringChunked = frame.column("session")?.str()?.iter().map(|s| s.map(session)).collect();
        frame.with_column(files.with_name("file".into()).into_column())?;
        frame.with_column(sessions.with_name("session".into()).into_column())?;
        if left_on {
            // no numbered mounting of the season is taken for it
            let free = frame.column("mounting")?.i64()?.min().unwrap_or(1).min(1) - 1;
            let numbers: Int64Chunked = frame.column("mounting")?.i64()?.iter().map(|m| m.or(Some(free))).collect();
            frame.with_column(numbers.with_name("mounting".into()).into_column())?;
        }
    }
    for finding in &mut readings.findings {
        place(&mut finding.place);
        finding.others.iter_mut().for_each(place);
    }
    for left_out in &mut readings.left_out {
        left_out.places.iter_mut().for_each(place);
    }
    readings.files.iter_mut().for_each(|f| f.name = file(&f.name));
    Ok(readings)
}

fn joined(mut all: Readings, own: Readings) -> PolarsResult<Readings> {
    all.frame.vstack_mut(&own.frame)?;
    all.left_out_frame.vstack_mut(&own.left_out_frame)?;
    all.set_aside_frame.vstack_mut(&own.set_aside_frame)?;
    all.frame.rechunk_mut();
    all.left_out_frame.rechunk_mut();
    all.set_aside_frame.rechunk_mut();
    all.findings.extend(own.findings);
    all.left_out.extend(own.left_out);
    all.files.extend(own.files);
    Ok(all)
}

/// A finding on what two seasons declare.
fn said(severity: Severity, place: Place, what: String, action: &str) -> Finding {
    let why = "the seasons are taken as one, and what is declared has to hold for both";
    Finding::new(severity, place, what, why, action).by(RULE)
}
