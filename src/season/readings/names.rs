//! Names in the log against those in `season.toml`, and against one another.

use std::collections::HashMap;

use polars::prelude::*;
use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

use super::moment::{Dated, dated};
use crate::season::config::Config;
use crate::season::finding::{Finding, Place, Severity};

/// A name as the log uses it.
struct Used {
    name: String,
    rows: usize,
    place: Place,
}

/// One finding for each distinct name the season doesn't list, where it lists any of that kind, and for
/// each that is another name in a different spelling.
pub fn odd_names(frame: &DataFrame, config: &Config) -> PolarsResult<Vec<Finding>> {
    let antennas = config.antennas.iter().map(|a| &a.name).chain(config.loads.iter().map(|l| &l.name));
    let kinds: [(&str, Vec<&str>); 4] = [
        ("session", Vec::new()),
        ("antenna", antennas.map(String::as_str).collect()),
        ("band", config.bands.iter().map(|b| b.name.as_str()).collect()),
        ("meter", config.meters.iter().map(|m| m.name.as_str()).collect()),
    ];
    let mut findings = Vec::new();
    for (column, listed) in kinds {
        let used = used(frame, column)?;
        if column == "session" {
            findings.extend(dates_of_two_meanings(&used));
        }
        let odd = used.iter().enumerate().filter_map(|(at, name)| match listed.is_empty() {
            true => spelled_twice(column, name, &used[..at]),
            false => not_listed(column, name, &listed),
        });
        findings.extend(odd);
        if column == "antenna" {
            findings.extend(no_such_reference(config, &used));
        }
    }
    Ok(findings)
}

/// A reference antenna that neither the season lists nor the log holds: most likely a slip.
fn no_such_reference(config: &Config, used: &[Used]) -> Option<Finding> {
    let reference = config.reference.as_deref().filter(|_| !used.is_empty())?;
    let names = || used.iter().map(|u| u.name.as_str()).chain(config.antennas.iter().map(|a| a.name.as_str()));
    if names().any(|name| name == reference) {
        return None;
    }
    let what = format!("reference `{reference}` is no antenna of the season, nor of its log");
    let action = match nearest(reference, names(), 0.5) {
        Some(near) => format!("write `{near}` if that is meant, else log readings of it"),
        None => "log readings of it, or name another".into(),
    };
    let place = Place { file: "season.toml".into(), line: None, column: Some("reference".into()) };
    let why = "no difference is told from it, and nothing shows what moved the field between sessions";
    Some(Finding::new(Severity::Warning, place, what, why, action).by("names"))
}

/// Sessions called by dates whose day and month can't be told apart: one finding for all.
fn dates_of_two_meanings(used: &[Used]) -> Option<Finding> {
    let ambiguous = dated(used.iter().map(|u| u.name.as_str())) == Dated::Ambiguous;
    let odd =
        used.iter().find(|u| dated(std::iter::once(u.name.as_str())) == Dated::Ambiguous).filter(|_| ambiguous)?;
    let what = format!("session `{}` can be two dates, and so can all others: day or month first?", odd.name);
    let why =
        "a meter's shifts and drift are looked for in the order of time; until then that of the log stands for it";
    let action = "write year-month-day, as in 2026-05-02";
    Some(Finding::new(Severity::Warning, odd.place.clone(), what, why, action).by("names"))
}

/// The distinct names of a column, in the order of the log.
fn used(frame: &DataFrame, column: &str) -> PolarsResult<Vec<Used>> {
    let (names, files) = (frame.column(column)?.str()?, frame.column("file")?.str()?);
    let (lines, rows) = (frame.column("line")?.u32()?, frame.column("rows")?.u32()?);
    let mut used: Vec<Used> = Vec::new();
    let mut known: HashMap<&str, usize> = HashMap::new();
    for (((name, file), line), rows) in names.iter().zip(files.iter()).zip(lines.iter()).zip(rows.iter()) {
        let (Some(name), Some(file)) = (name, file) else { continue };
        let at = *known.entry(name).or_insert_with(|| {
            let place = Place { file: file.into(), line: line.map(|l| l as usize), column: Some(column.into()) };
            used.push(Used { name: name.into(), rows: 0, place });
            used.len() - 1
        });
        used[at].rows += rows.unwrap_or(1) as usize;
    }
    Ok(used)
}

fn not_listed(column: &str, used: &Used, listed: &[&str]) -> Option<Finding> {
    if listed.contains(&used.name.as_str()) {
        return None;
    }
    let name = &used.name;
    let (what, action) = if let Some(same) = listed.iter().find(|l| folded(l) == folded(name)) {
        (
            format!("{column} `{name}` and the season's `{same}` differ only in case, spaces or accents"),
            format!("accepted as another {column}; write `{same}` if that is meant"),
        )
    } else {
        let hint = match nearest(name, listed.iter().copied(), 0.5) {
            Some(near) => format!("write `{near}` if that is meant, else add it to season.toml"),
            None => "add it to season.toml".to_string(),
        };
        (format!("{column} `{name}` is not in season.toml"), format!("accepted as another {column}; {hint}"))
    };
    Some(finding(used, what, column, action))
}

fn spelled_twice(column: &str, used: &Used, earlier: &[Used]) -> Option<Finding> {
    let same = &earlier.iter().find(|e| folded(&e.name) == folded(&used.name))?.name;
    let what = format!("{column} `{}` and `{same}` differ only in case, spaces or accents", used.name);
    Some(finding(used, what, column, format!("accepted as another {column}; write `{same}` if that is meant")))
}

fn finding(used: &Used, what: String, column: &str, action: String) -> Finding {
    let rows = if used.rows == 1 { "1 row".to_string() } else { format!("{} rows", used.rows) };
    let what = format!("{what} ({rows}, the first here)");
    let why = format!("readings under two names of one {column} are never compared as repeats");
    Finding::new(Severity::Warning, used.place.clone(), what, why, action).by("names")
}

/// A name without letter case, blanks and accents.
pub fn folded(name: &str) -> String {
    name.nfd().filter(|c| !is_combining_mark(*c) && !c.is_whitespace()).flat_map(char::to_lowercase).collect()
}

/// Longer words are no slips of one another: to compare two takes the product of their lengths.
const LONGEST: usize = 500;

/// The candidate most like a word, if any is at least this alike (0 for nothing in common, 1 for equal).
pub fn nearest<'a>(word: &str, candidates: impl Iterator<Item = &'a str>, alike: f64) -> Option<&'a str> {
    let word = word.to_lowercase();
    let length = word.chars().count();
    // what differs in length is at most this like
    let may_be = |c: &&str| {
        let other = c.chars().count();
        length.max(other) <= LONGEST && 1.0 - length.abs_diff(other) as f64 / length.max(other).max(1) as f64 >= alike
    };
    candidates
        .filter(may_be)
        .map(|c| (strsim::normalized_damerau_levenshtein(&word, &c.to_lowercase()), c))
        .filter(|(score, _)| *score >= alike)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folding_forgets_case_blanks_and_accents_alone() {
        assert_eq!(folded("Plóver  II"), folded("plover ii"));
        assert_eq!(folded("2 m"), folded("2M"));
        assert_ne!(folded("heron-1"), folded("heron 1"));
    }

    #[test]
    fn nearest_finds_swapped_letters_and_nothing_for_strangers() {
        assert_eq!(nearest("hreon", ["plover", "heron"].into_iter(), 0.5), Some("heron"));
        assert_eq!(nearest("wxyz", ["plover", "heron"].into_iter(), 0.5), None);
    }
}
