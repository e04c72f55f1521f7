//! Which sheet new readings go into.

use std::path::{Path, PathBuf};

use super::{Entry, Sheet};
use crate::season::error::{InputError, Kind, Problem};
use crate::season::readings::rows_of_session;

/// Where new readings go.
#[derive(Debug, Clone)]
pub enum Target {
    /// Onto the end of a sheet.
    Sheet(Box<Sheet>),
    /// Into a sheet still to be made.
    New(PathBuf),
}

impl Target {
    /// The file.
    pub fn path(&self) -> &Path {
        match self {
            Target::Sheet(sheet) => sheet.path(),
            Target::New(path) => path,
        }
    }
}

/// The sheet for a session's readings, and what it holds of that session already, by line:
///
/// 1. the one named, in the season's folder, made if need be; or the season itself, where that is a CSV file;
/// 2. else the CSV file that holds readings of the session, the last by name if several do;
/// 3. else the only CSV file, where the season has one and readings can stand in it;
/// 4. else `readings-SESSION.csv`, made if need be. So no file of another format is ever written.
///
/// # Errors
/// The season is a file that rows can't be appended to, or the file named is no name of a CSV file.
pub fn place(season: &Path, session: &str, into: Option<&str>) -> Result<(Target, Vec<(usize, Entry)>), InputError> {
    if !season.is_dir() {
        if !is_csv(season) {
            let what = "readings can be added to a CSV file only";
            let hint =
                "`daylight start` makes a season; keep this file in its folder, and what you add stands beside it";
            return Err(Problem::new(Kind::WrongForm, season.display().to_string(), what).advise(hint).into());
        }
        return existing(season, session).map_err(|e| refused(season, &e));
    }
    if let Some(name) = into {
        let path = season.join(name);
        let plain = Path::new(name).file_name().is_some_and(|f| f == name) && is_csv(&path);
        if !plain {
            let what = format!("`{name}` is no name for a sheet of this season");
            let hint = "give a file's name that ends in `.csv`, without a folder";
            return Err(Problem::new(Kind::OutOfRange, season.display().to_string(), what).advise(hint).into());
        }
        return at(path, session);
    }
    let mut sheets: Vec<PathBuf> = std::fs::read_dir(season)
        .map(|entries| entries.filter_map(|e| Some(e.ok()?.path())).filter(|p| p.is_file() && is_csv(p)).collect())
        .unwrap_or_default();
    sheets.sort();
    let only = sheets.len() == 1;
    let mut usable = sheets.iter().rev().filter_map(|path| existing(path, session).ok());
    let found = usable.find(|(_, rows)| only || !rows.is_empty());
    if let Some(found) = found {
        return Ok(found);
    }
    let path = season.join(format!("readings-{}.csv", slug(session)));
    at(path, session)
}

/// The sheet of that path, or a new one.
fn at(path: PathBuf, session: &str) -> Result<(Target, Vec<(usize, Entry)>), InputError> {
    if path.symlink_metadata().is_err() {
        return Ok((Target::New(path), vec![]));
    }
    // a pipe would be waited for
    crate::season::file::is_file(&path).map_err(|trouble| InputError::trouble(&path, &trouble))?;
    existing(&path, session).map_err(|e| refused(&path, &e))
}

fn existing(path: &Path, session: &str) -> Result<(Target, Vec<(usize, Entry)>), crate::season::readings::ReadError> {
    let (sheet, text) = Sheet::open(path)?;
    let rows = rows_of_session(&text, sheet.style(), session);
    Ok((Target::Sheet(Box::new(sheet)), rows))
}

fn refused(path: &Path, error: &crate::season::readings::ReadError) -> InputError {
    let hint = "name another sheet with `--into`, or let one be started";
    Problem::new(Kind::Unreadable, path.display().to_string(), error.to_string()).advise(hint).into()
}

fn is_csv(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"))
}

/// A session's name as part of a file's: letters, digits and hyphens.
fn slug(session: &str) -> String {
    let plain: String = session.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).take(60).collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() { "session".into() } else { plain.to_string() }
}
