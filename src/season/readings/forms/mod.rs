//! The forms a log comes in: each file here turns one of them into a [`Sheet`] of text.

pub mod archive;
pub mod delimited;
pub mod encoding;
pub mod parquet;
pub mod workbook;

use std::path::Path;

use super::ReadError;
use super::records::Sheet;
use crate::season::config::Layout;

/// How a file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Text with a separator between cells.
    Delimited,
    /// An XLSX or ODS spreadsheet.
    Workbook,
    /// A Parquet file.
    Parquet,
}

/// Endings of files that may hold readings, with their form.
const ENDINGS: [(&str, Form); 7] = [
    ("csv", Form::Delimited),
    ("tsv", Form::Delimited),
    ("xlsx", Form::Workbook),
    ("xlsm", Form::Workbook),
    ("ods", Form::Workbook),
    ("parquet", Form::Parquet),
    ("pq", Form::Parquet),
];

/// Endings of files that a season's folder may hold and that are no tables: they are passed over in silence.
const NO_TABLES: [&str; 20] = [
    "toml", "md", "rs", "html", "htm", "pdf", "svg", "png", "jpg", "jpeg", "webp", "heic", "gif", "mp4", "wav", "s1p",
    "css", "js", "bak", "lock",
];

impl Form {
    /// The form that a file's ending says it has.
    pub fn of(path: &Path) -> Option<Form> {
        let ending = path.extension()?.to_str()?.to_lowercase();
        ENDINGS.iter().find(|(known, _)| *known == ending).map(|&(_, form)| form)
    }

    /// The form a file has by its first bytes, where they tell; else by its ending; else text.
    pub fn seen(path: &Path, start: &[u8]) -> Form {
        match start {
            _ if start.starts_with(b"PK\x03\x04") || start.starts_with(b"\xd0\xcf\x11\xe0") => Form::Workbook,
            _ if start.starts_with(b"PAR1") => Form::Parquet,
            _ => Form::of(path).unwrap_or(Form::Delimited),
        }
    }
}

/// Whether a file of a season's folder is of a kind that holds no readings: a page, a picture, a hidden or passing file.
pub fn holds_no_table(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or_default().to_lowercase();
    name.starts_with('.') || name.starts_with("~$") || NO_TABLES.contains(&ending.as_str())
}

/// Opens a file's bytes as a sheet of text.
///
/// # Errors
/// The file is not of its form, is empty, or is larger than a table of readings can be.
pub fn sheet<'a>(
    file: &str,
    path: &Path,
    bytes: &'a [u8],
    layout: Option<&Layout>,
    text: &'a mut String,
) -> Result<Sheet<'a>, ReadError> {
    match Form::seen(path, bytes) {
        Form::Delimited => Ok(delimited::opened(file, bytes, layout, text)?.sheet),
        Form::Workbook => workbook::sheet(file, bytes, layout),
        Form::Parquet => parquet::sheet(file, path),
    }
}
