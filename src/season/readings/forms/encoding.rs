//! Bytes → text: UTF-8, UTF-16, or Latin-1 (as Windows-1252), declared or told by the bytes.

use encoding_rs::{Encoding as Table, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::super::ReadError;
use super::super::fault::{Fault, Seen};
use crate::season::config::Encoding;
use crate::season::finding::Severity;

/// The text of a file without its byte-order mark, and a note where its encoding is a guess.
///
/// # Errors
/// The encoding is declared and the bytes are not in it.
pub fn decoded(file: &str, bytes: &[u8], declared: Option<Encoding>) -> Result<(String, Vec<Seen>), ReadError> {
    let (table, guessed) = match declared {
        Some(Encoding::Utf8) => (UTF_8, false),
        Some(Encoding::Utf16) => {
            (Table::for_bom(bytes).map_or(by_zeros(bytes).unwrap_or(UTF_16LE), |bom| bom.0), false)
        }
        Some(Encoding::Latin1) => (WINDOWS_1252, false),
        None => told_by(bytes),
    };
    if table == UTF_8 {
        let text = std::str::from_utf8(bytes).map_err(|error| wrong(file, "UTF-8", bytes, error.valid_up_to()))?;
        return Ok((text.strip_prefix('\u{feff}').unwrap_or(text).to_string(), vec![]));
    }
    let (text, _, broken) = table.decode(bytes);
    if broken && declared.is_some() {
        return Err(wrong(file, table.name(), bytes, 0));
    }
    let note = guessed.then(|| {
        let at = std::str::from_utf8(bytes).map_or_else(|error| error.valid_up_to(), |_| 0);
        let fault = Fault {
            kind: "encoding",
            severity: Severity::Warning,
            column: None,
            what: "the file is not UTF-8 from here on, and was read as Latin-1 (Windows-1252)".into(),
            why: "a letter read in the wrong encoding makes a name another name".into(),
            action: "look at the names with accents; then write `encoding = \"latin-1\"` in a `[[layout]]`, or save the file as UTF-8".into(),
        };
        Seen::on_line(line_of(bytes, at), fault)
    });
    Ok((text.into_owned(), note.into_iter().collect()))
}

/// The encoding the bytes tell, and whether that is a guess.
fn told_by(bytes: &[u8]) -> (&'static Table, bool) {
    if let Some((table, _)) = Table::for_bom(bytes) {
        return (table, false);
    }
    if let Some(table) = by_zeros(bytes) {
        return (table, false);
    }
    if std::str::from_utf8(bytes).is_ok() { (UTF_8, false) } else { (WINDOWS_1252, true) }
}

/// UTF-16 without a mark: mostly plain letters, so every other byte is zero.
fn by_zeros(bytes: &[u8]) -> Option<&'static Table> {
    let start = &bytes[..bytes.len().min(1024) & !1];
    let zeros = |odd: usize| start.iter().skip(odd).step_by(2).filter(|&&b| b == 0).count();
    let (even, odd, pairs) = (zeros(0), zeros(1), start.len() / 2);
    match () {
        () if pairs < 4 => None,
        () if odd * 10 > pairs * 9 && even == 0 => Some(UTF_16LE),
        () if even * 10 > pairs * 9 && odd == 0 => Some(UTF_16BE),
        () => None,
    }
}

fn line_of(bytes: &[u8], at: usize) -> usize {
    1 + bytes[..at].iter().filter(|&&b| b == b'\n').count()
}

fn wrong(file: &str, encoding: &str, bytes: &[u8], at: usize) -> ReadError {
    ReadError::Encoding { file: file.into(), encoding: encoding.into(), line: line_of(bytes, at) }
}
