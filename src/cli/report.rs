//! `daylight report SEASON`.

use std::io::Read;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::{Outcome, ReportArgs, on_threads, progress};
use crate::analysis::whole::{Whole, whole};
use crate::report::files::write_all;
use crate::report::page::view::{Input, Run};
use crate::report::page::{markdown, render};
use crate::report::plot::gallery::{files, gallery};
use crate::season::Season;
use crate::season::error::argument;

/// Files to be written: where, and what.
type Files = Vec<(PathBuf, Vec<u8>)>;

/// Takes the season in, asks every question, and writes the page, with plots and a summary where they are wanted.
/// Everything is made before the first file is written.
///
/// # Errors
/// Input that can't be used, or files that can't be written, in words.
pub fn run(args: &ReportArgs) -> Result<Outcome, String> {
    let season = Season::load(&args.season).map_err(|e| e.to_string())?;
    let options = args.replays.options(&season);
    let risk = args.risk.unwrap_or((1.0 - options.confidence) / 2.0);
    let bar = progress::counter(args.replays.quiet, "steps");
    let work = || -> Result<(Whole, Files), String> {
        let (whole, inputs) = rayon::join(|| whole(&season, &options, risk, &|| bar.inc(1)), || inputs(args, &season));
        let whole = whole.map_err(|e| format!("the readings could not be grouped: {e}"))?;
        let origin = Run { version: env!("CARGO_PKG_VERSION").into(), command: command(args), inputs: inputs? };
        let (page, plots) = rayon::join(
            || render(&whole, &origin).map_err(|e| e.to_string()),
            || match &args.plots {
                Some(_) => files(&gallery(&whole)).map_err(|e| e.to_string()),
                None => Ok(vec![]),
            },
        );
        let mut out = vec![];
        if let Some(folder) = &args.plots {
            out.extend(plots?.into_iter().map(|(name, bytes)| (folder.join(name), bytes)));
        }
        if let Some(file) = &args.markdown {
            out.push((file.clone(), markdown::render(&whole, &origin).into_bytes()));
        }
        out.push((args.html.clone(), page?.into_bytes()));
        Ok((whole, out))
    };
    let (whole, out) = on_threads(args.replays.threads, work)??;
    bar.finish_and_clear();
    let mut places: Vec<PathBuf> = inputs_of(args, &season).into_iter().map(|(_, path)| place(&path)).collect();
    let own = places.len();
    for (path, _) in &out {
        let place = place(path);
        let what = match places.iter().position(|p| *p == place) {
            Some(at) if at < own => "this is a file of the season",
            Some(_) => "two of the files would have this name",
            None => {
                places.push(place);
                continue;
            }
        };
        return Err(format!("{}: {what}\nhint: name another; nothing was written", path.display()));
    }
    in_the_way(&args.html, is_page, "no page of this program's")?;
    if let Some(file) = &args.markdown {
        in_the_way(file, is_summary, "no summary of this program's")?;
    }
    if let Some(folder) = &args.plots {
        std::fs::create_dir_all(folder).map_err(|e| {
            format!(
                "{}: this folder can't be made: {e}\nhint: name one in a folder that you may write to",
                folder.display()
            )
        })?;
    }
    write_all(&out).map_err(|e| e.to_string())?;
    let status = u8::from(whole.audit.has_error());
    let mut text = said(args, out.len());
    if args.open {
        text += &open(&args.html);
    }
    Ok(Outcome { text, status })
}

/// An earlier page or summary is replaced; a file of another kind is in the way.
fn in_the_way(path: &Path, is_kind: fn(&Path) -> bool, what: &str) -> Result<(), String> {
    match path.is_file() && !is_kind(path) {
        true => Err(format!(
            "{}: there is a file of this name, and it is {what}\nhint: name another; nothing was written",
            path.display()
        )),
        false => Ok(()),
    }
}

/// Whether a file is empty, or a page of this program's: its head says so.
fn is_page(path: &Path) -> bool {
    holds(path, 1 << 10, "name=\"generator\" content=\"daylight ")
}

/// Whether a file is empty, or a summary of this program's: it says how it was made.
fn is_summary(path: &Path) -> bool {
    holds(path, 1 << 22, "`daylight report ")
}

/// Whether a file is empty, or says that within its first so many bytes.
fn holds(path: &Path, within: u64, words: &str) -> bool {
    let mut start = vec![];
    let read = std::fs::File::open(path).and_then(|file| file.take(within).read_to_end(&mut start));
    read.is_ok() && (start.is_empty() || String::from_utf8_lossy(&start).contains(words))
}

/// What was written, and where.
fn said(args: &ReportArgs, files: usize) -> String {
    let mut lines = vec![format!("The page is {}.", argument(&args.html))];
    if let Some(folder) = &args.plots {
        let plots = files - 1 - usize::from(args.markdown.is_some());
        lines.push(match plots {
            0 => "There is nothing to plot: no difference, offset or claim is known well enough.".into(),
            n => format!("{n} plots, half of them SVG and half PNG, are in {}.", argument(folder)),
        });
    }
    if let Some(file) = &args.markdown {
        lines.push(format!("The summary is {}.", argument(file)));
    }
    lines.join("\n") + "\n"
}

/// Hands the page to the desktop's viewer; says so where there is none.
fn open(page: &Path) -> String {
    let desktop = cfg!(any(target_os = "macos", target_os = "windows"))
        || ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some_and(|v| !v.is_empty()));
    let mut viewer = match () {
        () if cfg!(target_os = "macos") => std::process::Command::new("open"),
        () if cfg!(target_os = "windows") => std::process::Command::new("explorer"),
        () => std::process::Command::new("xdg-open"),
    };
    let null = std::process::Stdio::null;
    viewer.arg(page).stdin(null()).stdout(null()).stderr(null());
    if desktop && viewer.spawn().is_ok() {
        return String::new();
    }
    "There is no desktop here to open it on.\n".into()
}

/// The command as it can be typed again, where the page goes left out.
fn command(args: &ReportArgs) -> String {
    let name = args.season.file_name().map_or_else(|| args.season.clone(), PathBuf::from);
    let mut words = vec!["daylight report".to_string(), argument(&name)];
    let replays = &args.replays;
    words.push(format!("--seed {}", replays.seed));
    words.extend(replays.trials.map(|t| format!("--trials {t}")));
    words.extend(replays.confidence.map(|c| format!("--confidence {c}")));
    words.extend(args.risk.map(|r| format!("--risk {r}")));
    words.join(" ")
}

/// A file's one place, however its path is written: links and detours taken out, whether or not it is there yet.
fn place(path: &Path) -> PathBuf {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let beside = || folder.canonicalize().ok().zip(path.file_name()).map(|(folder, name)| folder.join(name));
    path.canonicalize().ok().or_else(beside).unwrap_or_else(|| path.to_path_buf())
}

/// The files of the season: their names, and where they are.
fn inputs_of(args: &ReportArgs, season: &Season) -> Vec<(String, PathBuf)> {
    let mut names: Vec<(String, PathBuf)> = vec![];
    if args.season.is_dir() {
        names.push(("season.toml".into(), args.season.join("season.toml")));
        names.extend(season.readings.files.iter().map(|f| (f.name.clone(), args.season.join(&f.name))));
    } else {
        let name = args.season.file_name().unwrap_or(args.season.as_os_str()).to_string_lossy().into_owned();
        names.push((name, args.season.clone()));
    }
    names
}

/// The files of the season with their hashes, as they are on the disk now.
fn inputs(args: &ReportArgs, season: &Season) -> Result<Vec<Input>, String> {
    let of = |(name, path): (String, PathBuf)| {
        let (bytes, sha256) =
            hash(&path).map_err(|e| format!("{}: this can't be read: {}", path.display(), e.kind()))?;
        Ok(Input { name, bytes, sha256 })
    };
    inputs_of(args, season).into_iter().map(of).collect()
}

/// Size and SHA-256 of a file, a piece at a time: a log may be larger than what is left of memory.
fn hash(path: &Path) -> std::io::Result<(usize, String)> {
    let mut file = std::fs::File::open(path)?;
    let mut piece = vec![0; 1 << 16];
    let (mut hash, mut bytes) = (Sha256::new(), 0);
    loop {
        match file.read(&mut piece) {
            Ok(0) => break,
            Ok(read) => {
                hash.update(&piece[..read]);
                bytes += read;
            }
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok((bytes, hash.finalize().iter().map(|b| format!("{b:02x}")).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_longer_than_a_piece_has_the_hash_of_the_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long");
        std::fs::write(&path, "a".repeat(1_000_000)).unwrap();
        // FIPS 180-2, B.3: the message of a million letters `a`
        let known = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0";
        assert_eq!(hash(&path).unwrap(), (1_000_000, known.to_string()));
    }
}
