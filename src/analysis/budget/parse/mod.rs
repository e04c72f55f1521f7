//! A budget file, text to [`Config`]: every error in it at once, each with its line and column.

mod correlations;
mod inputs;
mod outputs;

use std::cell::RefCell;
use std::path::Path;

use toml::de::DeTable;

use super::config::Config;
use super::program::Program;
use crate::montecarlo::coverage::IntervalKind;
use crate::season::error::{InputError, Kind};
use crate::season::file::{self, Trouble};
use crate::season::parse::names::Names;
use crate::season::parse::reader::{Document, Table};
use crate::season::parse::syntax;

/// Reads a budget file.
///
/// # Errors
/// The file is not there, can't be read, is not UTF-8, or does not [`parse`].
pub fn read(path: &Path) -> Result<Config, InputError> {
    let bytes = file::read(path, file::LARGEST_SETTINGS).map_err(|trouble| match trouble {
        Trouble::System(error) if error.kind() == std::io::ErrorKind::NotFound => InputError::not_there(path),
        trouble => InputError::trouble(path, &trouble),
    })?;
    let text =
        String::from_utf8(bytes).map_err(|error| InputError::not_utf8(path, error.utf8_error().valid_up_to()))?;
    parse(&text, &path.display().to_string(), path.parent().unwrap_or(Path::new("")))
}

/// Reads the text of a budget file; `file` is what errors call it, `folder` where files of readings that it names are.
///
/// # Errors
/// The text is not TOML (then only that is reported), or says something a budget can't: every such place is a problem
/// of the error.
pub fn parse(text: &str, file: &str, folder: &Path) -> Result<Config, InputError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let (root, broken) = DeTable::parse_recoverable(text);
    if !broken.is_empty() {
        return Err(syntax::problems(text, file, &broken).into());
    }
    let doc = Document { file, text, names: Names::default(), problems: RefCell::default() };
    let config = top(&doc, root.get_ref(), folder);
    let problems = doc.problems.into_inner();
    match config {
        Some(config) if problems.is_empty() => Ok(config),
        _ => Err(problems.into()),
    }
}

const KEYS: [&str; 7] = ["title", "confidence", "digits", "interval", "input", "correlation", "output"];

fn top<'a>(doc: &'a Document<'a>, root: &'a DeTable<'a>, folder: &Path) -> Option<Config> {
    let top = Table::open(doc, "", root, 0..0, &KEYS);
    let title = top.get("title").and_then(|f| f.text()).unwrap_or_default();
    let inside = |x: f64| x > 0.0 && x < 0.9999;
    let confidence =
        top.get("confidence").and_then(|f| f.number("a number above 0 and below 0.9999", inside)).unwrap_or(0.95);
    let digits = top.get("digits").and_then(|f| f.number("1 or 2", |x| x == 1.0 || x == 2.0)).unwrap_or(2.0) as u32;
    let kinds = [("symmetric", IntervalKind::Symmetric), ("shortest", IntervalKind::Shortest)];
    let interval = top.get("interval").and_then(|f| f.word(&kinds)).unwrap_or(IntervalKind::Symmetric);
    let inputs = inputs::inputs(&top, folder);
    // an input that can't be read would be missing in every expression, and be called unknown there
    if !doc.problems.borrow().is_empty() {
        return None;
    }
    let (correlation, groups) = correlations::correlations(&top, &inputs);
    let mut program = Program::default();
    let outputs = outputs::outputs(&top, &inputs, &mut program);
    if !doc.problems.borrow().is_empty() {
        return None;
    }
    for (kind, none) in [("input", inputs.is_empty()), ("output", outputs.is_empty())] {
        if none {
            let example = match kind {
                "input" => "an `[[input]]` says what is known of one quantity: `name`, `shape`, and its sizes",
                _ => "an `[[output]]` says what is wanted: `name`, and an `expression` of the inputs",
            };
            doc.report(0..0, Kind::MissingKey, format!("there is no `[[{kind}]]` here"), |p| p.advise(example));
        }
    }
    let inputs = inputs.into_iter().map(|read| read.input).collect();
    Some(Config {
        file: doc.file.to_string(),
        title,
        confidence,
        digits,
        interval,
        inputs,
        correlation,
        groups,
        program,
        outputs,
    })
}
