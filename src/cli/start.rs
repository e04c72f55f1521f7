//! `daylight start DIR`: a new season, commented, ready to fill in.

use std::io::{self, Write};
use std::path::Path;

use tempfile::{NamedTempFile, TempPath};

use crate::season::error::{InputError, argument};
use crate::season::load::input_error;
use crate::season::readings::suggest::suggest;
use crate::season::{parse, template};

/// The log that a new season starts with.
const LOG: &str = "readings.csv";

/// Makes the folder, with those above it, and in it a `season.toml` to fill in and an empty log;
/// returns what to tell the user.
///
/// # Errors
/// Either file, or something that is not a folder, is there already (then nothing is written), or
/// the system does not allow it.
pub fn run(dir: &Path) -> Result<String, InputError> {
    let dir = named(dir);
    let (season, log) = (dir.join(parse::FILE), dir.join(LOG));
    if dir.exists() && !dir.is_dir() {
        return Err(InputError::already_there(dir, "this is a file, not a folder"));
    }
    // Not `exists`, which would look past a link that leads nowhere.
    if let Some(taken) = [&season, &log].into_iter().find(|path| path.symlink_metadata().is_ok()) {
        return Err(taken_by(taken));
    }
    std::fs::create_dir_all(dir).map_err(|error| InputError::unwritable(dir, &error))?;
    // Both are complete on disk before either gets its name.
    let season_ready = ready(dir, template::SEASON)?;
    let log_ready = ready(dir, template::READINGS)?;
    name(season_ready, &season)?;
    if let Err(error) = name(log_ready, &log) {
        // Made a moment ago by this very call: half a season is worse than none.
        let _ = std::fs::remove_file(&season);
        return Err(error);
    }
    Ok(made(dir, &season, &log))
}

fn named(dir: &Path) -> &Path {
    if dir.as_os_str().is_empty() { Path::new(".") } else { dir }
}

/// As [`run`], for a log that is there already: its file is copied into the folder where it isn't in it, and
/// `season.toml` says what its header seems to mean, for the user to correct.
///
/// # Errors
/// As [`run`]; the log can't be read.
pub fn run_from(dir: &Path, from: &Path) -> Result<String, InputError> {
    let dir = named(dir);
    let season = dir.join(parse::FILE);
    if !from.is_file() {
        return Err(InputError::not_there(from));
    }
    if dir.exists() && !dir.is_dir() {
        return Err(InputError::already_there(dir, "this is a file, not a folder"));
    }
    let log = dir.join(from.file_name().unwrap_or_default());
    let is_there = log.canonicalize().is_ok_and(|a| from.canonicalize().is_ok_and(|b| a == b));
    let taken =
        [&season, &log].into_iter().find(|path| path.symlink_metadata().is_ok() && !(is_there && *path == &log));
    if let Some(taken) = taken {
        return Err(taken_by(taken));
    }
    let made = suggest(from).map_err(|error| input_error(error, from.parent().unwrap_or(Path::new(""))))?;
    std::fs::create_dir_all(dir).map_err(|error| InputError::unwritable(dir, &error))?;
    let rule = "-".repeat(70);
    let text = format!("{}\n\n# ---- Found in {} {rule}\n{}", template::SEASON, log_name(from), made.toml);
    let season_ready = ready(dir, &text)?;
    name(season_ready, &season)?;
    let copied = if is_there { None } else { Some(copy(from, dir)) };
    let named = copied.map_or(Ok(()), |copy| {
        copy.map_err(|error| InputError::unwritable(&log, &error)).and_then(|copy| name(copy, &log))
    });
    if let Err(error) = named {
        let _ = std::fs::remove_file(&season);
        return Err(error);
    }
    let mut said = format!("made {}: its end says what {} seems to hold\n", season.display(), log_name(from));
    if !is_there {
        said += &format!("copied the log to {}; yours is left as it is\n", log.display());
    }
    if !made.unsaid.is_empty() {
        said += &format!(
            "no column says the {}: say it under `all`, at the end of {}\n",
            made.unsaid.join(", the "),
            parse::FILE
        );
    }
    if !made.unexplained.is_empty() {
        said += &format!("not understood, and left out: columns {}\n", made.unexplained.join(", "));
    }
    said += &format!("\nnext: correct {}, then run\n  daylight audit {}\n", parse::FILE, argument(dir));
    Ok(said)
}

/// The log's name as it can stand in a line of comment.
fn log_name(from: &Path) -> String {
    let name = from.file_name().unwrap_or_default().to_string_lossy().into_owned();
    name.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// A whole copy of the log in `dir` under a passing name, removed again if it never gets its own.
fn copy(from: &Path, dir: &Path) -> io::Result<TempPath> {
    let whole = write_temporary(dir, "")?;
    std::fs::copy(from, &whole)?;
    Ok(whole)
}

/// A complete file in `dir` under a passing name, removed again if it never gets its own.
fn ready(dir: &Path, content: &str) -> Result<TempPath, InputError> {
    write_temporary(dir, content).map_err(|error| InputError::unwritable(dir, &error))
}

fn write_temporary(dir: &Path, content: &str) -> io::Result<TempPath> {
    let mut builder = tempfile::Builder::new();
    // A passing file is its owner's alone unless told otherwise; this one will be an ordinary file.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file: NamedTempFile = builder.prefix(".daylight-").tempfile_in(dir)?;
    file.write_all(content.as_bytes())?;
    file.as_file().sync_all()?;
    Ok(file.into_temp_path())
}

/// Gives the file its own name, unless something has taken it meanwhile.
fn name(file: TempPath, path: &Path) -> Result<(), InputError> {
    file.persist_noclobber(path).map_err(|failed| match failed.error.kind() {
        io::ErrorKind::AlreadyExists => taken_by(path),
        _ => InputError::unwritable(path, &failed.error),
    })
}

fn taken_by(path: &Path) -> InputError {
    InputError::already_there(path, "this is there already, and is not overwritten")
}

fn made(dir: &Path, season: &Path, log: &Path) -> String {
    format!(
        "made {}: what the season holds; its comments explain every key\n\
         made {}: the log, one reading a row\n\
         \n\
         next: name your bands, meters and antennas in {}, then run\n  \
         daylight plan {dir}\n\
         for the first session's running order, log your readings, and run\n  \
         daylight antennas {dir}\n\
         for what the log can tell\n",
        season.display(),
        log.display(),
        parse::FILE,
        dir = argument(dir)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::error::Kind;

    #[test]
    fn start_makes_the_folders_and_both_files_and_says_so() {
        let home = tempfile::tempdir().unwrap();
        let dir = home.path().join("bench").join("my season");
        let said = run(&dir).unwrap();
        assert_eq!(std::fs::read_to_string(dir.join("season.toml")).unwrap(), template::SEASON);
        assert_eq!(std::fs::read_to_string(dir.join("readings.csv")).unwrap(), template::READINGS);
        assert_eq!(std::fs::read_dir(&dir).unwrap().count(), 2);
        assert!(said.contains(&format!("made {}", dir.join("season.toml").display())), "{said}");
        assert!(said.contains(&format!("\n  daylight antennas \"{}\"\n", dir.display())), "{said}");
        assert!(parse::read(&dir).is_ok());
    }

    #[test]
    fn start_overwrites_neither_file_and_writes_nothing_then() {
        for taken in ["season.toml", "readings.csv"] {
            let home = tempfile::tempdir().unwrap();
            let path = home.path().join(taken);
            std::fs::write(&path, "mine").unwrap();
            let error = run(home.path()).unwrap_err();
            assert_eq!(error.kind(), Some(Kind::AlreadyThere));
            assert_eq!(
                error.to_string(),
                format!(
                    "{}: this is there already, and is not overwritten\n\
                     hint: nothing was written; choose another folder, or move what is there away",
                    path.display()
                )
            );
            assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
            assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
        }
    }

    #[test]
    fn start_refuses_a_file_in_the_folder_s_place() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("season");
        std::fs::write(&path, "").unwrap();
        assert_eq!(run(&path).unwrap_err().kind(), Some(Kind::AlreadyThere));
        assert_eq!(run(&path.join("below")).unwrap_err().kind(), Some(Kind::Unwritable));
    }

    #[test]
    fn start_keeps_other_files_of_the_folder() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("notes.txt"), "mine").unwrap();
        run(home.path()).unwrap();
        assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 3);
    }

    #[cfg(unix)]
    #[test]
    fn start_makes_ordinary_files_and_takes_a_dangling_link_as_taken() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        run(&home.path().join("a")).unwrap();
        std::fs::write(home.path().join("plain"), "").unwrap();
        let mode = |path: std::path::PathBuf| std::fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(home.path().join("a").join("season.toml")), mode(home.path().join("plain")));
        std::fs::create_dir(home.path().join("b")).unwrap();
        std::os::unix::fs::symlink("nowhere", home.path().join("b").join("readings.csv")).unwrap();
        assert_eq!(run(&home.path().join("b")).unwrap_err().kind(), Some(Kind::AlreadyThere));
        assert_eq!(std::fs::read_dir(home.path().join("b")).unwrap().count(), 1);
    }
}
