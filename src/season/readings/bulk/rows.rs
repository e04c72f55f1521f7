//! The rows of a large log that are not plainly readings, judged as a small log's are.

use super::super::cell::Comma;
use super::super::left_out::LeftOut;
use super::super::records::{Record, Sheet};
use super::super::{Part, ReadError, sift, table};
use crate::season::config::Config;

/// Judges records under their header.
///
/// # Errors
/// As for a small file.
pub fn judged(
    file: &str,
    header: Record,
    odd: Vec<Record>,
    comma: Comma,
    config: &Config,
    left_out: &mut [LeftOut],
) -> Result<Part, ReadError> {
    let sheet = Sheet { header, records: Box::new(odd.into_iter()), comma, notes: vec![], merged: vec![] };
    let table = table::table_or_empty(file, sheet, None)?;
    sift(file, table, config, left_out).map_err(|source| ReadError::Frame { file: file.into(), source })
}
