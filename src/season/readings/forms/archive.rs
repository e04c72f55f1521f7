//! What a spreadsheet's archive may inflate to, checked before anything is made of it: a small file can hold
//! any number of zeros, or say that one cell stands for millions.

use std::io::{BufRead, BufReader, Cursor, Read};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// The most bytes an archive's parts may come to, inflated.
const MOST_BYTES: u64 = 1 << 30;
/// The most cells a sheet may spread over: twenty for each of a sheet's million rows.
pub const MOST_CELLS: u64 = 20_000_000;
/// Columns of the widest sheet.
const MOST_COLUMNS: u64 = 16_384;

/// Reads an archive through once, keeping nothing.
///
/// # Errors
/// In words: it is no archive, is broken, or comes to more than a spreadsheet of readings can.
pub fn check(bytes: &[u8]) -> Result<(), String> {
    check_within(bytes, MOST_BYTES)
}

fn check_within(bytes: &[u8], most: u64) -> Result<(), String> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| format!("its archive is broken: {e}"))?;
    let mut left = most;
    for at in 0..archive.len() {
        let part = archive.by_index(at).map_err(|e| format!("its archive is broken: {e}"))?;
        let name = part.name().map_or_else(|_| String::new(), |name| name.into_owned());
        let mut part = BufReader::new(part.take(left + 1));
        let read = if name == "content.xml" {
            sheets(part)?
        } else if name.ends_with("sharedStrings.xml") {
            let start = part.fill_buf().map_err(|e| format!("its archive is broken: {e}"))?;
            strings(start, bytes.len() as u64)?;
            drain(part)?
        } else {
            drain(part)?
        };
        left = left.checked_sub(read).ok_or_else(|| format!("it inflates to more than {} MiB", most >> 20))?;
    }
    Ok(())
}

fn drain(mut part: impl Read) -> Result<u64, String> {
    std::io::copy(&mut part, &mut std::io::sink()).map_err(|e| format!("its archive is broken: {e}"))
}

/// The count of texts that a sheet's list of texts begins with is reserved at once by who believes it: no more than
/// a thousand a byte of the file.
fn strings(start: &[u8], size: u64) -> Result<(), String> {
    let text = String::from_utf8_lossy(start);
    let claimed = text.split("uniqueCount=").nth(1).and_then(|rest| {
        let digits: String = rest.trim_start_matches(['"', '\'']).chars().take_while(char::is_ascii_digit).collect();
        digits.parse::<f64>().ok()
    });
    if claimed.unwrap_or(0.0) > 1000.0 * size as f64 {
        return Err("it claims more texts than it can hold".into());
    }
    Ok(())
}

/// Cells that the tables of an ODS file's content spread over; returns the bytes read.
fn sheets(part: impl BufRead) -> Result<u64, String> {
    let mut reader = Reader::from_reader(part);
    reader.config_mut().check_end_names = false;
    let mut buffer = vec![];
    let (mut stored, mut rows, mut extent, mut widest) = (0u64, 0u64, 0u64, 0u64);
    let (mut repeats, mut width, mut empty_after) = (1u64, 0u64, 0u64);
    loop {
        let event = reader.read_event_into(&mut buffer).map_err(|e| format!("its content is broken: {e}"))?;
        match &event {
            Event::Eof => break,
            Event::Start(e) if e.name().as_ref() == "table:table" => (rows, extent, widest) = (0, 0, 0),
            Event::Start(e) if e.name().as_ref() == "table:table-row" => {
                (repeats, width, empty_after) = (repeated(e, "rows"), 0, 0);
            }
            Event::Start(e) | Event::Empty(e) if is_cell(e) => {
                let times = repeated(e, "columns").min(MOST_COLUMNS);
                let full =
                    e.attributes().flatten().any(|a| matches!(a.key.as_ref(), "office:value-type" | "table:formula"));
                if full {
                    width = width.saturating_add(empty_after).saturating_add(times).min(MOST_COLUMNS);
                    empty_after = 0;
                } else {
                    empty_after = empty_after.saturating_add(times);
                }
            }
            Event::End(e) if e.name().as_ref() == "table:table-row" => {
                stored = stored.saturating_add(width);
                rows = rows.saturating_add(repeats);
                if width > 0 {
                    extent = rows;
                    widest = widest.max(width);
                }
                if stored.max(extent.saturating_mul(widest)) > MOST_CELLS {
                    return Err(format!("a sheet of it spreads over more than {MOST_CELLS} cells"));
                }
            }
            _ => {}
        }
        buffer.clear();
    }
    Ok(reader.buffer_position())
}

fn is_cell(e: &BytesStart<'_>) -> bool {
    matches!(e.name().as_ref(), "table:table-cell" | "table:covered-table-cell")
}

/// How often a row or cell stands for itself.
fn repeated(e: &BytesStart<'_>, what: &str) -> u64 {
    let key = format!("table:number-{what}-repeated");
    let attribute = e.attributes().flatten().find(|a| a.key.as_ref() == key);
    attribute.map_or(1, |a| a.value.trim().parse().unwrap_or(u64::MAX))
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
        let mut writer = zip::ZipWriter::new(Cursor::new(vec![]));
        for (name, content) in parts {
            writer.start_file(*name, zip::write::SimpleFileOptions::default()).expect("a part");
            writer.write_all(content).expect("room");
        }
        writer.finish().expect("an archive").into_inner()
    }

    #[test]
    fn an_archive_is_believed_up_to_what_it_inflates_to_over_all_its_parts() {
        let half = vec![b' '; 600 << 10];
        let small = archive(&[("xl/worksheets/sheet1.xml", &half)]);
        assert!(small.len() < 10_000, "a small file");
        assert_eq!(check_within(&small, 1 << 20), Ok(()));
        let two = archive(&[("xl/worksheets/sheet1.xml", &half), ("xl/styles.xml", &half)]);
        assert_eq!(check_within(&two, 1 << 20), Err("it inflates to more than 1 MiB".into()));
    }

    #[test]
    fn cells_repeated_beyond_any_season_and_texts_claimed_beyond_the_file_are_refused() {
        let row = "<table:table-row table:number-rows-repeated=\"1000000\"><table:table-cell office:value-type=\"string\" \
                   table:number-columns-repeated=\"1000\"><text:p>x</text:p></table:table-cell></table:table-row>";
        let ods = format!("<office:document-content><table:table>{row}</table:table></office:document-content>");
        assert!(check(&archive(&[("content.xml", ods.as_bytes())])).unwrap_err().contains("cells"));
        let texts = b"<sst uniqueCount=\"99999999999\">";
        assert!(check(&archive(&[("xl/sharedStrings.xml", texts)])).unwrap_err().contains("texts"));
        assert!(check(b"PK\x03\x04 not a zip").is_err());
    }
}
