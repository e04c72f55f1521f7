//! From a path to a season: a folder with its `season.toml`, or one file of readings by itself.

use std::path::Path;

use polars::prelude::DataFrame;

use super::config::{Config, Repeats};
use super::error::{InputError, Kind, Problem};
use super::file;
use super::parse;
use super::readings::{ReadError, Readings, read_files, read_folder};
use super::sweeps::{self, Sweep};
use super::units;

/// A season, taken in.
#[derive(Debug)]
pub struct Season {
    /// Its title; the path's last name where it has none.
    pub title: String,
    /// What `season.toml` says, or the defaults.
    pub config: Config,
    /// The readings and their findings.
    pub readings: Readings,
    /// The defaults that hold for want of a `season.toml`.
    pub assumptions: Vec<String>,
    /// The curves under its `sweeps` folder that were read; their values at the bands are among the readings.
    pub sweeps: Vec<Sweep>,
    /// Its `season.toml`, as findings name it; of several seasons, each one's; empty for a file by itself.
    pub settings: Vec<String>,
}

impl Season {
    /// Takes in a folder with a `season.toml`, or one file of readings by itself.
    ///
    /// # Errors
    /// The path is not there, the folder has no `season.toml`, the file can't be read, or holds no
    /// row: everything in it that is wrong, each with its place.
    pub fn load(path: &Path) -> Result<Season, InputError> {
        if !path.exists() {
            return Err(InputError::not_there(path));
        }
        let name = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
        let (config, readings, assumptions, sweeps) = if path.is_dir() {
            let config = parse::read(path)?;
            check(&config, &path.join(parse::FILE))?;
            let (readings, sweeps) = of_folder(path, &config).map_err(|e| input_error(e, path))?;
            (config, readings, vec![], sweeps)
        } else {
            file::is_file(path).map_err(|trouble| InputError::trouble(path, &trouble))?;
            if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
                return Err(InputError::settings_alone(path));
            }
            let config = Config::default();
            let readings = read_files(&[path.to_path_buf()], std::slice::from_ref(&name), &config);
            let readings = readings.map_err(|e| input_error(e, path.parent().unwrap_or(Path::new(""))))?;
            let assumptions = defaults(&config);
            (config, readings, assumptions, vec![])
        };
        let title = if config.title.is_empty() { name } else { config.title.clone() };
        let settings = if assumptions.is_empty() { vec![parse::FILE.into()] } else { vec![] };
        Ok(Season { title, config, readings, assumptions, sweeps, settings })
    }

    /// Takes in a season that need not have any readings yet: then what its `season.toml` says, and an empty frame.
    ///
    /// # Errors
    /// As [`Season::load`], but for a folder without a single row.
    pub fn load_before_readings(path: &Path) -> Result<Season, InputError> {
        match Season::load(path) {
            Err(error) if error.kind() == Some(Kind::NoReadings) && path.is_dir() && holds_no_row(path) => {
                let config = parse::read(path)?;
                check(&config, &path.join(parse::FILE))?;
                let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
                let title = if config.title.is_empty() { name } else { config.title.clone() };
                let readings = Readings {
                    frame: DataFrame::empty(),
                    left_out_frame: DataFrame::empty(),
                    set_aside_frame: DataFrame::empty(),
                    findings: vec![],
                    left_out: vec![],
                    files: vec![],
                };
                let settings = vec![parse::FILE.into()];
                Ok(Season { title, config, readings, assumptions: vec![], sweeps: vec![], settings })
            }
            other => other,
        }
    }
}

/// Whether no file of the folder with readings has more than a header line: a log with rows that can't be used is never
/// taken for one without.
fn holds_no_row(folder: &Path) -> bool {
    let Ok(entries) = std::fs::read_dir(folder) else { return false };
    let no_row = |text: &[u8]| text.split(|b| *b == b'\n').filter(|line| !line.trim_ascii().is_empty()).count() <= 1;
    entries.flatten().all(|entry| {
        let path = entry.path();
        let ends = |ending: &str| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(ending));
        if ["xlsx", "ods", "parquet"].into_iter().any(ends) || entry.file_name() == sweeps::FOLDER {
            return false;
        }
        // by `file`, which waits for no pipe
        !["csv", "tsv"].into_iter().any(ends) || file::read(&path, LONGEST_HEADER).is_ok_and(|text| no_row(&text))
    })
}

/// No header line is longer than this.
const LONGEST_HEADER: u64 = 1 << 20;

/// The readings of a folder, those of its sweeps among them.
fn of_folder(folder: &Path, config: &Config) -> Result<(Readings, Vec<Sweep>), ReadError> {
    let frame = |source| ReadError::Frame { file: sweeps::FOLDER.into(), source };
    let taken = sweeps::read_folder(folder, config).map_err(frame)?;
    let readings = match read_folder(folder, config) {
        Err(ReadError::NoReadings { .. }) if taken.frame.height() == 0 && !taken.findings.is_empty() => {
            let finding = &taken.findings[0];
            let what = format!("{}: {}", finding.place, finding.what);
            return Err(ReadError::Sweeps { what, hint: finding.action.clone(), more: taken.findings.len() - 1 });
        }
        // a season may hold nothing but sweeps
        Err(ReadError::NoReadings { .. }) if taken.frame.height() > 0 => Readings::none(&taken.frame, config),
        readings => readings?,
    };
    let none = taken.frame.height() == 0 && taken.findings.is_empty();
    let readings = if none {
        readings
    } else {
        readings.joined(&taken.frame, taken.findings, taken.files, config).map_err(frame)?
    };
    Ok((readings, taken.sweeps))
}

/// What can only be judged once the whole of `season.toml` is known: whether a source's unit is one of its
/// quantity's, and whether a claim's limit is a value the quantity can have.
fn check(config: &Config, file: &Path) -> Result<(), InputError> {
    let at = |line: usize| format!("{}:{line}", file.display());
    let mut problems = vec![];
    for source in &config.sources {
        let (Some(unit), Some(quantity)) = (&source.unit, config.quantity(&source.quantity)) else { continue };
        let scale = quantity.scale.name(&quantity.unit);
        // any value the quantity can have serves to ask whether the unit belongs
        let some = quantity.scale.to_shown(0.2);
        if *unit != scale && units::convert_sd(&quantity, some, 1.0, unit).is_none() {
            let known = units::known_units(&quantity).iter().map(|u| format!("`{u}`")).collect::<Vec<_>>().join(", ");
            problems.push(
                Problem::new(
                    Kind::UnknownWord,
                    at(source.line),
                    format!("source `{}` is in `{unit}`, no unit of `{}`", source.name, quantity.name),
                )
                .want(format!("`{scale}`, the analysis scale, or one of {known}")),
            );
        }
    }
    for claim in config.antennas.iter().flat_map(|a| &a.claims) {
        let Some(quantity) = config.quantity(&claim.quantity) else { continue };
        for limit in [claim.at_least, claim.at_most].into_iter().flatten() {
            if quantity.scale.to_analysis(limit).is_none() {
                let what = format!("a claim limits `{}` at {limit}, a value it never has", quantity.name);
                problems.push(Problem::new(Kind::Conflict, at(claim.line), what));
            }
        }
    }
    if problems.is_empty() { Ok(()) } else { Err(problems.into()) }
}

fn defaults(config: &Config) -> Vec<String> {
    let repeats = match config.repeats {
        Repeats::LeftOn => "rows with no mounting number are one mounting per visit",
        Repeats::Remounted => "each row with no mounting number is a mounting of its own",
    };
    vec![
        "a file by itself, without a season.toml, so defaults hold:".to_string(),
        format!("{:.0} % confidence", config.confidence * 100.0),
        repeats.to_string(),
        "no reference antenna, no check load, no declared source of error, nothing known of the meters".to_string(),
        "the display's last digit is taken to be the finest one written".to_string(),
        "no size is set that matters, so no pair can be shown even".to_string(),
    ]
}

/// A reading error with its place, named as the user would name it from where they stand.
pub(crate) fn input_error(error: ReadError, folder: &Path) -> InputError {
    let within = |file: &str| {
        let path = folder.join(file);
        if path.exists() { path.display().to_string() } else { file.to_string() }
    };
    let problem = match &error {
        ReadError::Unreadable { file, .. } => Problem::new(Kind::Unreadable, within(file), error.to_string()),
        ReadError::NoReadings { .. } => Problem::new(Kind::NoReadings, folder.display().to_string(), error.to_string())
            .advise(
                "put the readings in a file ending in csv, xlsx, ods or parquet beside `season.toml`, a reading a row, or sweeps into its folder `sweeps`",
            ),
        ReadError::Encoding { file, .. } => Problem::new(Kind::Unreadable, within(file), error.to_string())
            .advise("correct `encoding` in its `[[layout]]`, or leave it out"),
        ReadError::Form { file, hint, .. } => {
            Problem::new(Kind::Unreadable, within(file), error.to_string()).advise(hint.clone())
        }
        ReadError::Sweeps { hint, .. } => {
            Problem::new(Kind::Unreadable, folder.display().to_string(), error.to_string()).advise(hint.clone())
        }
        ReadError::Layout { line, .. } => {
            Problem::new(Kind::Conflict, format!("{}:{line}", within(parse::FILE)), error.to_string())
        }
        ReadError::MissingColumn { file, line, titled: Some((_, names, _)), .. } => Problem::new(
            Kind::Syntax,
            format!("{}:{line}", within(file)),
            error.to_string(),
        )
        .advise(format!(
            "delete the lines above the column names, or write `header_line = {names}` in a `[[layout]]` for this file"
        )),
        ReadError::Empty { file } | ReadError::HeaderOnly { file } => {
            Problem::new(Kind::NoReadings, within(file), error.to_string())
                .advise("a row is one reading: session, antenna, band, meter, quantity, value")
        }
        ReadError::MissingColumn { file, line, .. } | ReadError::DuplicateColumn { file, line, .. } => Problem::new(
            Kind::Syntax,
            format!("{}:{line}", within(file)),
            error.to_string(),
        )
        .advise(
            "columns needed: session, antenna, band, meter, quantity, value; more may follow, in any order; a sheet \
                     laid out otherwise comes in by a `[[layout]]`, which `daylight start DIR --from FILE` suggests",
        ),
        _ => Problem::new(Kind::Unreadable, folder.display().to_string(), error.to_string()),
    };
    problem.into()
}
