//! How a sheet of readings is written: its columns in their order, its separator, its line ends; and a row in
//! that style.

use crate::season::readings::marks::{self, FILL};

/// A row to be written, cell by cell, as it was typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Entry {
    /// Session.
    pub session: String,
    /// Antenna or check load.
    pub antenna: String,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Quantity.
    pub quantity: String,
    /// The number, to the digits it was typed with.
    pub value: String,
    /// Its unit; empty for the quantity's own.
    pub unit: String,
    /// Number of the mounting within the visit.
    pub mounting: String,
    /// Place in the session's running order.
    pub order: String,
    /// Date, or date and time.
    pub when: String,
    /// Number of readings behind a mean.
    pub readings: String,
    /// Their standard deviation.
    pub sd: String,
    /// Battery voltage.
    pub battery: String,
    /// Anything else.
    pub note: String,
    /// The mark it bears ([`crate::season::readings::marks`]).
    pub mark: String,
}

impl Entry {
    /// The cell of a column; `None` for one that no entry fills.
    pub fn cell(&self, column: &str) -> Option<&str> {
        Some(match column {
            "session" => &self.session,
            "antenna" => &self.antenna,
            "band" => &self.band,
            "meter" => &self.meter,
            "quantity" => &self.quantity,
            "value" => &self.value,
            "unit" => &self.unit,
            "mounting" => &self.mounting,
            "order" => &self.order,
            "when" => &self.when,
            "readings" => &self.readings,
            "sd" => &self.sd,
            "battery" => &self.battery,
            "note" => &self.note,
            marks::COLUMN => &self.mark,
            _ => return None,
        })
    }

    /// The same, to be filled.
    pub fn cell_mut(&mut self, column: &str) -> Option<&mut String> {
        Some(match column {
            "session" => &mut self.session,
            "antenna" => &mut self.antenna,
            "band" => &mut self.band,
            "meter" => &mut self.meter,
            "quantity" => &mut self.quantity,
            "value" => &mut self.value,
            "unit" => &mut self.unit,
            "mounting" => &mut self.mounting,
            "order" => &mut self.order,
            "when" => &mut self.when,
            "readings" => &mut self.readings,
            "sd" => &mut self.sd,
            "battery" => &mut self.battery,
            "note" => &mut self.note,
            marks::COLUMN => &mut self.mark,
            _ => return None,
        })
    }
}

/// Columns that what is typed may need; a unit can stand beside its number, and a place, time or note be left out.
const NEEDS_A_COLUMN: [&str; 4] = ["mounting", "readings", "sd", "battery"];

/// The style of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Style {
    /// Its columns, in lower case, in their order.
    pub columns: Vec<String>,
    /// What separates its cells.
    pub delimiter: u8,
    /// How its lines end.
    pub line_end: &'static str,
    /// Whether its numbers have decimal commas.
    pub decimal_comma: bool,
}

impl Style {
    /// Whether the sheet has that column.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|c| c == column)
    }

    /// The first column that an entry needs and the sheet lacks.
    pub fn lacks(&self, entry: &Entry) -> Option<&'static str> {
        let filled = |c: &&str| entry.cell(c).is_some_and(|cell| !cell.is_empty());
        NEEDS_A_COLUMN.into_iter().find(|c| !self.has(c) && filled(c))
    }

    /// The entry as a line of the sheet, with its line end.
    pub fn line(&self, entry: &Entry) -> String {
        let mut entry = entry.clone();
        if !self.has("unit") && !entry.unit.is_empty() {
            entry.value = format!("{} {}", entry.value, entry.unit);
        }
        if self.decimal_comma {
            entry.value = entry.value.replace('.', ",");
            entry.sd = entry.sd.replace('.', ",");
        }
        let mut cells: Vec<String> =
            self.columns.iter().map(|c| entry.cell(c).map_or(String::new(), |cell| safe(c, cell))).collect();
        if !self.has(marks::COLUMN) && !entry.mark.is_empty() {
            cells.push(entry.mark.clone());
        }
        let plain = self.joined(&cells, csv::QuoteStyle::Necessary);
        // what a fill looks like must not be what a row looks like
        if plain.starts_with(FILL) || plain.ends_with(FILL) {
            return self.joined(&cells, csv::QuoteStyle::Always) + self.line_end;
        }
        plain + self.line_end
    }

    fn joined(&self, cells: &[String], quotes: csv::QuoteStyle) -> String {
        let mut writer = csv::WriterBuilder::new()
            .delimiter(self.delimiter)
            .quote_style(quotes)
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(vec![]);
        // neither can fail: the writer is memory, and cells are text
        let _ = writer.write_record(cells);
        let bytes = writer.into_inner().unwrap_or_default();
        String::from_utf8(bytes).unwrap_or_default().trim_end_matches('\n').to_string()
    }
}

/// Columns of numbers and times, where a sign is part of what was read.
const NUMBERS: [&str; 7] = ["value", "mounting", "when", "order", "readings", "sd", "battery"];

/// A cell as it can stand in any sheet: on one line, with nothing that drives a terminal; and words that begin
/// like a formula kept from being one by a blank before them, which no reader of cells keeps.
pub fn safe(column: &str, cell: &str) -> String {
    let plain: String = cell.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let formula = !NUMBERS.contains(&column) && plain.trim_start().starts_with(['=', '+', '-', '@']);
    if formula { format!(" {}", plain.trim_start()) } else { plain }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn style(columns: &str, delimiter: u8) -> Style {
        let columns = columns.split(',').map(String::from).collect();
        Style { columns, delimiter, line_end: "\r\n", decimal_comma: delimiter == b';' }
    }

    fn entry() -> Entry {
        let of = |text: &str| text.to_string();
        Entry {
            session: of("2026-05-02"),
            antenna: of("heron"),
            band: of("2 m"),
            meter: of("inline"),
            quantity: of("swr"),
            value: of("1.52"),
            mounting: of("2"),
            ..Entry::default()
        }
    }

    #[test]
    fn a_row_follows_the_header_in_order_separator_and_decimal_comma() {
        let sheet = style("value,place,quantity,meter,band,antenna,session,mounting", b';');
        assert_eq!(sheet.line(&entry()), "1,52;;swr;inline;2 m;heron;2026-05-02;2\r\n");
        let power = Entry { value: "4.8".into(), unit: "W".into(), ..entry() };
        assert!(style("value,unit", b',').line(&power).starts_with("4.8,W"));
        assert!(style("value,note", b',').line(&power).starts_with("4.8 W,"));
    }

    #[test]
    fn a_mark_finds_a_place_in_every_sheet() {
        let marked = Entry { mark: marks::TAKES_BACK.into(), ..entry() };
        assert_eq!(style("value,mark", b',').line(&marked), "1.52,takes back\r\n");
        assert_eq!(style("value,note", b',').line(&marked), "1.52,,takes back\r\n");
    }

    #[test]
    fn what_a_sheet_cannot_hold_is_named() {
        assert_eq!(style("value,note", b',').lacks(&entry()), Some("mounting"));
        assert_eq!(style("value,mounting", b',').lacks(&Entry { note: "rain".into(), ..entry() }), None);
    }

    proptest! {
        /// Any note reads back as it was typed, but for blanks at its ends and for control characters; and no row
        /// looks like one that was never finished.
        #[test]
        fn any_note_reads_back_as_typed(note in ".{0,40}", semicolons: bool) {
            let sheet = style("session,value,note", if semicolons { b';' } else { b',' });
            let line = sheet.line(&Entry { note: note.clone(), ..entry() });
            prop_assert!(!marks::is_unfinished(&line));
            let mut reader = csv::ReaderBuilder::new().delimiter(sheet.delimiter).has_headers(false).from_reader(line.as_bytes());
            let record = reader.records().next().unwrap().unwrap();
            let wanted: String = note.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            prop_assert_eq!(record[2].trim(), wanted.trim());
            prop_assert!(reader.records().next().is_none());
        }
    }
}
