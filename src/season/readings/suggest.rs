//! A sheet's header → a layout to begin with, for the user to correct: what its words say, and nothing they don't.

use std::path::Path;

use super::ReadError;
use super::forms;
use super::records::Record;
use super::table::{NEEDED, plain_name};

/// Records looked through for the line of column names.
const LOOKED_THROUGH: usize = 20;
/// Antennas written into the season.
const MOST_NAMES: usize = 60;

/// What a sheet seems to hold.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Suggestion {
    /// TOML for the season: `[[band]]`, `[[meter]]` and `[[antenna]]` entries found, and the `[[layout]]`, if one is
    /// needed.
    pub toml: String,
    /// Columns that no word of theirs explained.
    pub unexplained: Vec<String>,
    /// Fields that no column gives: the user must.
    pub unsaid: Vec<&'static str>,
}

/// What one column seems to be.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Role {
    /// Says something of the row.
    Of(&'static str),
    /// Holds readings.
    Readings(Column),
    /// Holds words about the row.
    Words,
    Unknown,
}

/// What a column of readings says of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Column {
    quantity: &'static str,
    band: Option<String>,
    meter: Option<&'static str>,
    mounting: Option<u32>,
}

/// Words of a header that tell what a column says of its row.
const ROLES: [(&str, &[&str]); 6] = [
    ("antenna", &["antenna", "aerial", "whip", "ant"]),
    ("session", &["session", "date", "day", "outing"]),
    ("mounting", &["mounting", "mounted", "mount"]),
    ("when", &["when", "time"]),
    ("order", &["order", "nr", "no"]),
    ("battery", &["battery"]),
];

/// Words that tell a quantity, the telling ones first.
const QUANTITIES: [(&str, &[&str]); 10] = [
    ("return_loss", &["return", "rl"]),
    ("reflected_power", &["reflected", "rev", "reverse"]),
    ("swr", &["swr", "vswr"]),
    ("reflection", &["reflection", "gamma", "γ"]),
    ("impedance", &["impedance", "z"]),
    ("resistance", &["resistance", "r"]),
    ("reactance", &["reactance", "x"]),
    ("readability", &["readability", "report", "copy"]),
    ("field_strength", &["field", "strength", "signal"]),
    ("forward_power", &["forward", "fwd", "power", "pwr", "watts"]),
];

const METERS: [(&str, &[&str]); 3] =
    [("analyzer", &["analyzer", "analyser"]), ("inline", &["inline", "in-line"]), ("listener", &["listener"])];

const WORDS: [&str; 6] = ["note", "notes", "remark", "remarks", "comment", "comments"];

/// Looks a sheet over and suggests how it is laid out.
///
/// # Errors
/// The file can't be read, or is not of its form.
pub fn suggest(path: &Path) -> Result<Suggestion, ReadError> {
    let file = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let unreadable = |error: std::io::Error| ReadError::Unreadable { file: file.clone(), reason: error.to_string() };
    let bytes = std::fs::read(path).map_err(unreadable)?;
    let mut text = String::new();
    // any column may turn out to be meant, so the separator is the one that makes most of them
    let sheet = forms::sheet(&file, path, &bytes, None, &mut text)?;
    let records: Vec<Record> = std::iter::once(sheet.header).chain(sheet.records.take(5000)).collect();
    let explained = |record: &Record| record.cells.iter().map(role).filter(|r| *r != Role::Unknown).count();
    let best =
        records.iter().take(LOOKED_THROUGH).enumerate().max_by_key(|(at, r)| (explained(r), std::cmp::Reverse(*at)));
    let (at, header) = best.map(|(at, header)| (at, header.clone())).unwrap_or_default();
    let below = &records[(at + 1).min(records.len())..];
    Ok(suggested(&file, &header, (at > 0).then_some(header.line), below))
}

fn suggested(file: &str, header: &Record, header_line: Option<usize>, below: &[Record]) -> Suggestion {
    let names: Vec<&str> = header.cells.iter().map(str::trim).collect();
    if NEEDED.iter().all(|column| names.iter().any(|name| plain_name(name) == *column)) {
        let mut suggestion = Suggestion { toml: found_names(&names, below, &[], &[]), ..Suggestion::default() };
        if let Some(line) = header_line {
            suggestion.toml += &format!("\n[[layout]]\nfile = {}\nheader_line = {line}\n", quoted(file));
        }
        return suggestion;
    }
    let roles: Vec<Role> = names.iter().map(|name| role(name)).collect();
    let name = |at: usize| match names.iter().filter(|n| **n == names[at]).count() {
        1 => quoted(names[at]),
        // two of one name: by number
        _ => (at + 1).to_string(),
    };
    let mut rows: Vec<(&'static str, usize)> = vec![];
    let (mut columns, mut ignored, mut unexplained) = (vec![], vec![], vec![]);
    for (at, role) in roles.iter().enumerate().filter(|(at, _)| !names[*at].is_empty()) {
        match role {
            Role::Of(field) if !rows.iter().any(|(known, _)| known == field) => rows.push((field, at)),
            Role::Readings(column) => columns.push((at, column.clone())),
            Role::Words => ignored.push(name(at)),
            _ => {
                ignored.push(name(at));
                unexplained.push(names[at].to_string());
            }
        }
    }
    let of_row = |field: &str| rows.iter().any(|(known, _)| *known == field);
    let every = |says: &dyn Fn(&Column) -> bool| !columns.is_empty() && columns.iter().all(|(_, c)| says(c));
    let mut unsaid: Vec<&'static str> = ["session", "antenna"].into_iter().filter(|field| !of_row(field)).collect();
    unsaid.extend((!every(&|c| c.band.is_some())).then_some("band"));
    unsaid.extend((!every(&|c| c.meter.is_some())).then_some("meter"));

    let bands: Vec<String> = distinct(columns.iter().filter_map(|(_, c)| c.band.clone()));
    let meters: Vec<String> = distinct(columns.iter().filter_map(|(_, c)| c.meter.map(String::from)));
    let antenna = rows.iter().find(|(field, _)| *field == "antenna").map(|(_, at)| *at);
    let mut toml = entries(&bands, &meters, &antennas(antenna, below));
    toml += &format!("\n[[layout]]\nfile = {}\n", quoted(file));
    toml += &header_line.map_or(String::new(), |line| format!("header_line = {line}\n"));
    let said = rows.iter().map(|(field, at)| format!("{field} = {}", name(*at))).collect::<Vec<_>>();
    toml += &format!("rows = {{ {} }}\n", said.join(", "));
    if !unsaid.is_empty() {
        let example = unsaid.iter().map(|field| format!("{field} = \"…\"")).collect::<Vec<_>>().join(", ");
        toml += &format!(
            "# No column says the {}. Say it here for the whole sheet, or in the entries below:\n",
            unsaid.join(", the ")
        );
        toml += &format!("#all = {{ {example} }}\n");
    }
    toml += "columns = [\n";
    for (at, column) in &columns {
        let mut entry = format!("  {{ column = {}, quantity = \"{}\"", name(*at), column.quantity);
        entry += &column.band.as_ref().map_or(String::new(), |band| format!(", band = {}", quoted(band)));
        entry += &column.meter.map_or(String::new(), |meter| format!(", meter = \"{meter}\""));
        entry += &column.mounting.map_or(String::new(), |number| format!(", mounting = {number}"));
        toml += &(entry + " },\n");
    }
    toml += "]\n";
    if !unexplained.is_empty() {
        toml += "# Not understood, some of them; move those that hold readings up to `columns`.\n";
    }
    if !ignored.is_empty() {
        toml += &format!("ignore = [{}]\n", ignored.join(", "));
    }
    Suggestion { toml, unexplained, unsaid }
}

/// Entries for the names of a sheet in the long form.
fn found_names(names: &[&str], below: &[Record], bands: &[String], meters: &[String]) -> String {
    let column = |wanted: &str| names.iter().position(|name| plain_name(name) == wanted);
    let of = |wanted: &str| antennas(column(wanted), below);
    let bands = if bands.is_empty() { of("band") } else { bands.to_vec() };
    let meters = if meters.is_empty() { of("meter") } else { meters.to_vec() };
    entries(&bands, &meters, &of("antenna"))
}

fn entries(bands: &[String], meters: &[String], antennas: &[String]) -> String {
    let mut toml = String::new();
    for (key, names) in [("band", bands), ("meter", meters), ("antenna", antennas)] {
        for name in names {
            toml += &format!("\n[[{key}]]\nname = {}\n", quoted(name));
        }
    }
    toml
}

/// The distinct texts of a column, in order; none where there are too many to be names.
fn antennas(column: Option<usize>, below: &[Record]) -> Vec<String> {
    let Some(at) = column else { return vec![] };
    let names = below.iter().filter_map(|r| r.cells.get(at)).map(|name| name.trim().to_string());
    let names = distinct(names.filter(|name| !name.is_empty()));
    if names.len() > MOST_NAMES { vec![] } else { names }
}

fn distinct(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut all: Vec<String> = vec![];
    for name in names {
        if !all.contains(&name) {
            all.push(name);
        }
    }
    all
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

/// What a column's name tells.
fn role(name: &str) -> Role {
    let lower = name.trim().to_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '-')).filter(|w| !w.is_empty()).collect();
    let has = |known: &[&str]| {
        words.iter().any(|word| known.contains(word) || glued(word).is_some_and(|(w, _)| known.contains(&w)))
    };
    let band = band(&words);
    let quantity = QUANTITIES.iter().find(|(_, known)| has(known)).map(|(quantity, _)| *quantity);
    let row = ROLES.iter().find(|(_, known)| has(known)).map(|(field, _)| *field);
    if words.iter().any(|word| WORDS.contains(word)) {
        return Role::Words;
    }
    match (quantity, row) {
        (Some(quantity), None) | (Some(quantity), Some("mounting" | "order")) => {
            let meter = METERS.iter().find(|(_, known)| has(known)).map(|(meter, _)| *meter);
            let after = words.iter().position(|word| ROLES[2].1.contains(word)).and_then(|at| words.get(at + 1));
            Role::Readings(Column { quantity, band, meter, mounting: after.and_then(|number| number.parse().ok()) })
        }
        (_, Some(field)) => Role::Of(field),
        (None, None) => Role::Unknown,
    }
}

/// A word with a number stuck to it: `swr2`.
fn glued(word: &str) -> Option<(&str, &str)> {
    let at = word.find(|c: char| c.is_ascii_digit()).filter(|at| *at > 1)?;
    Some(word.split_at(at))
}

/// A band among words: `2 m`, `70cm`, `145.5 mhz`.
fn band(words: &[&str]) -> Option<String> {
    for (at, word) in words.iter().enumerate() {
        let digits = word.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(word.len());
        let (number, stuck) = word.split_at(digits);
        if number.parse::<f64>().is_err() {
            continue;
        }
        let unit = if stuck.is_empty() { words.get(at + 1).copied().unwrap_or("") } else { stuck };
        match unit {
            "m" | "cm" => return Some(format!("{number} {unit}")),
            "mhz" => return Some(format!("{number} MHz")),
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(quantity: &'static str, band: Option<&str>) -> Role {
        Role::Readings(Column { quantity, band: band.map(String::from), ..Column::default() })
    }

    #[test]
    fn a_columns_words_tell_what_it_holds() {
        assert_eq!(role("SWR 2m"), readings("swr", Some("2 m")));
        assert_eq!(role("70 cm: fwd (W)"), readings("forward_power", Some("70 cm")));
        assert_eq!(role("Return loss, 145.5 MHz"), readings("return_loss", Some("145.5 MHz")));
        assert_eq!(role("Field strength dB"), readings("field_strength", None));
        assert_eq!(role("Whip"), Role::Of("antenna"));
        assert_eq!(role("Date"), Role::Of("session"));
        assert_eq!(role("Remarks"), Role::Words);
        assert_eq!(role("Colour"), Role::Unknown);
        let mounted = role("SWR 2 m mount 2");
        assert!(matches!(mounted, Role::Readings(Column { mounting: Some(2), .. })), "{mounted:?}");
    }

    #[test]
    fn a_suggested_layout_is_a_part_of_a_season_that_parses() {
        let header =
            Record::new(3, vec!["Date", "Antenna", "SWR 2m", "SWR 70cm", "SWR 70cm", "Colour", "Notes"].into());
        let below = [Record::new(4, vec!["2026-05-02", "heron", "1.5", "2", "2.1", "red", ""].into())];
        let made = suggested("my \"sheet\".xlsx", &header, Some(3), &below);
        assert_eq!((made.unsaid, made.unexplained), (vec!["meter"], vec!["Colour".to_string()]));
        let config =
            crate::season::parse::parse(&made.toml, "season.toml").unwrap_or_else(|e| panic!("{e}\n{}", made.toml));
        let layout = &config.layouts[0];
        assert_eq!((layout.file.as_str(), layout.header_line, layout.columns.len()), ("my \"sheet\".xlsx", Some(3), 3));
        assert_eq!(layout.columns[2].column, "5");
        assert_eq!(config.antennas[0].name, "heron");
    }
}
