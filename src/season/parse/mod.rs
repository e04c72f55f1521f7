//! `season.toml`, text to [`Config`]: every error in it at once, each with its line and column.

mod entries;
mod layout;
pub(crate) mod names;
pub(crate) mod nearest;
pub(crate) mod reader;
mod source;
mod sweep;
pub(crate) mod syntax;

use std::cell::RefCell;
use std::path::Path;

use toml::de::DeTable;

use crate::radio::bands::REGIONS;
use crate::season::config::{Config, Repeats};
use crate::season::error::InputError;
use crate::season::file::{self, Trouble};
use names::{Names, Noun, check_duplicates};
use reader::{Document, TOP_KEYS, Table};

/// The file that makes a folder a season.
pub const FILE: &str = "season.toml";

/// Reads the `season.toml` of a season's folder.
///
/// # Errors
/// The folder or the file is not there, can't be read, is not UTF-8, or does not [`parse`].
pub fn read(folder: &Path) -> Result<Config, InputError> {
    if !folder.exists() {
        return Err(InputError::not_there(folder));
    }
    let path = folder.join(FILE);
    let bytes = file::read(&path, file::LARGEST_SETTINGS).map_err(|trouble| match trouble {
        Trouble::System(error) if error.kind() == std::io::ErrorKind::NotFound => InputError::no_season(folder),
        trouble => InputError::trouble(&path, &trouble),
    })?;
    let text =
        String::from_utf8(bytes).map_err(|error| InputError::not_utf8(&path, error.utf8_error().valid_up_to()))?;
    parse(&text, &path.display().to_string())
}

/// Reads the text of a `season.toml`; `file` is what errors call it.
///
/// # Errors
/// The text is not TOML (then only that is reported), or says something a season can't: every such
/// place is a problem of the error.
pub fn parse(text: &str, file: &str) -> Result<Config, InputError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let (root, broken) = DeTable::parse_recoverable(text);
    if !broken.is_empty() {
        return Err(syntax::problems(text, file, &broken).into());
    }
    let names = Names::gather(root.get_ref());
    let doc = Document { file, text, names, problems: RefCell::default() };
    check_duplicates(&doc);
    let config = top(&doc, root.get_ref());
    let problems = doc.problems.into_inner();
    if problems.is_empty() { Ok(config) } else { Err(problems.into()) }
}

/// The tables of the file, beside the keys of its top.
const TABLES: [&str; 12] = [
    "band",
    "meter",
    "antenna",
    "load",
    "quantity",
    "source",
    "matters",
    "weights",
    "effort",
    "leave_out",
    "layout",
    "sweep",
];

/// The most looks a season may plan: one a week for a year. Many more would leave each with a level that replays
/// can't settle.
const MOST_LOOKS: f64 = 52.0;

fn top<'a>(doc: &'a Document<'a>, root: &'a DeTable<'a>) -> Config {
    let keys = [TOP_KEYS.as_slice(), &TABLES].concat();
    let top = Table::open(doc, "", root, 0..0, &keys);
    let defaults = Config::default();
    let above_half = |x: f64| x > 0.5 && x <= 0.999;
    let looks = |x: f64| x.fract() == 0.0 && (1.0..=MOST_LOOKS).contains(&x);
    let repeats = [("left on", Repeats::LeftOn), ("remounted", Repeats::Remounted)];
    Config {
        title: top.get("title").and_then(|f| f.text()).unwrap_or(defaults.title),
        region: top.get("region").and_then(|f| f.word(&REGIONS)),
        reference: top.get("reference").and_then(|f| f.name_of(Noun::Antenna)),
        confidence: top
            .get("confidence")
            .and_then(|f| f.number("a number above 0.5 and at most 0.999", above_half))
            .unwrap_or(defaults.confidence),
        repeats: top.get("repeats").and_then(|f| f.word(&repeats)).unwrap_or(defaults.repeats),
        looks: top.get("looks").and_then(|f| f.number("a whole number from 1 to 52", looks)).map(|n| n as usize),
        effort: entries::effort(&top),
        bands: entries::bands(&top),
        meters: entries::meters(&top),
        antennas: entries::antennas(&top),
        loads: entries::loads(&top),
        quantities: entries::quantities(&top),
        sources: source::sources(&top),
        matters: entries::matters(&top),
        weights: entries::weights(&top),
        leave_out: entries::leave_out(&top),
        layouts: layout::layouts(&top),
        sweeps: sweep::sweeps(&top),
        sweep_pattern: top.get("sweep_pattern").and_then(|f| sweep::pattern(&f)),
    }
}
