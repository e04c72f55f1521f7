//! A sheet in a layout of its own → the long form, one reading a record: wide sheets, with a column for each
//! quantity, band, meter or repeat, and long ones whose columns have other names.

use super::ReadError;
use super::cell::Comma;
use super::fault::{Fault, Seen};
use super::names::nearest;
use super::records::{Record, Sheet};
use super::table::{NEEDED, OPTIONAL, plain_name};
use crate::season::config::{Config, Decimal, Layout, LayoutColumn, Said};
use crate::season::finding::Severity;

/// Which columns of a wide sheet a table's rows and fields come from.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// Names of the sheet's columns of readings.
    pub columns: Vec<String>,
    /// For each row of the table, which of them it is from.
    pub of_row: Vec<u32>,
    /// Fields that come from columns named otherwise.
    renamed: Vec<(&'static str, String)>,
}

impl Places {
    /// The column, as the sheet names it, of a field of a row.
    pub fn written(&self, row: u32, field: &str) -> Option<&str> {
        if field == "value" {
            return self.columns.get(*self.of_row.get(row as usize)? as usize).map(String::as_str);
        }
        self.renamed.iter().find(|(known, _)| *known == field).map(|(_, name)| name.as_str())
    }
}

/// The layout a season gives for a file, if any; the first that fits.
pub fn of_file<'a>(config: &'a Config, file: &str) -> Option<&'a Layout> {
    config.layouts.iter().find(|layout| fits(&layout.file, file))
}

/// Whether a file has a layout's name, in which `*` stands for any characters.
pub fn fits(pattern: &str, file: &str) -> bool {
    match pattern.split_once('*') {
        None => pattern == file,
        Some((start, rest)) => file.strip_prefix(start).is_some_and(|tail| {
            tail.char_indices().map(|(at, _)| at).chain([tail.len()]).any(|at| fits(rest, &tail[at..]))
        }),
    }
}

/// The record that names the columns: the first, or the one on the line the layout says.
pub fn header(records: &mut impl Iterator<Item = Record>, layout: Option<&Layout>) -> Option<Record> {
    let from = layout.and_then(|l| l.header_line).unwrap_or(0);
    records.find(|record| record.line >= from)
}

/// What a comma means, as declared; else as the file suggests.
pub fn comma(layout: Option<&Layout>, otherwise: Comma) -> Comma {
    match layout.and_then(|l| l.decimal) {
        Some(Decimal::Comma) => Comma::Declared,
        Some(Decimal::Point) => Comma::Thousands,
        None => otherwise,
    }
}

/// Whether a plain number with one comma is a decimal one.
pub fn point_is_comma(comma: Comma) -> bool {
    matches!(comma, Comma::Declared | Comma::Decimal)
}

/// Names of the columns a layout refers to.
pub fn headers(layout: &Layout) -> Vec<&str> {
    let said = |said: &'_ Said| matches!(said, Said::Column(_));
    let of = layout.columns.iter().flat_map(|c| c.says.values().chain(layout.says.values()).filter(|s| said(s)));
    let mut names: Vec<&str> =
        of.map(Said::text).chain(layout.says.values().filter(|s| said(s)).map(Said::text)).collect();
    names.extend(layout.columns.iter().map(|c| c.column.as_str()));
    names
}

/// Where a field of a reading is found.
#[derive(Clone)]
enum From {
    Cell(usize),
    Text(String),
    Nowhere,
}

/// One kind of reading a row of the sheet holds: where each field is found, the value's among them.
struct Kind {
    fields: Vec<From>,
    value: usize,
}

/// Lays a sheet out in the long form, as its layout says.
///
/// # Errors
/// The layout names a column that the sheet hasn't, or has twice; a needed field is said nowhere.
pub fn unfold<'a>(file: &str, sheet: Sheet<'a>, layout: &Layout) -> Result<(Sheet<'a>, Option<Places>), ReadError> {
    if layout.columns.is_empty() && layout.says.is_empty() {
        return Ok((sheet, None));
    }
    let Sheet { header, records, comma, mut notes, merged } = sheet;
    let fields: Vec<&'static str> = NEEDED.into_iter().chain(OPTIONAL).collect();
    let names = Names { file, layout, line: header.line, names: header.cells.iter().map(str::trim).collect() };
    let wide = !layout.columns.is_empty();
    let whole = [LayoutColumn { column: "value".into(), says: Default::default() }];
    let columns: &[LayoutColumn] = if wide { &layout.columns } else { &whole };
    let mut kinds = Vec::with_capacity(columns.len());
    for column in columns {
        let mut kind = Kind { fields: Vec::with_capacity(fields.len()), value: 0 };
        for &field in &fields {
            let said = column.says.get(field).or_else(|| layout.says.get(field));
            let from = match said {
                _ if field == "value" && wide => From::Cell(names.place(&column.column)?),
                Some(Said::Value(text)) => From::Text(text.clone()),
                Some(Said::Column(name)) => From::Cell(names.place(name)?),
                None => names.own(field).map_or(From::Nowhere, From::Cell),
            };
            match (&from, field) {
                (From::Cell(at), "value") => kind.value = *at,
                (From::Nowhere, _) if NEEDED.contains(&field) => return Err(names.unsaid(field, &column.column)),
                _ => {}
            }
            kind.fields.push(from);
        }
        kinds.push(kind);
    }
    notes.extend(names.unread(&kinds));
    let renamed = layout.says.iter().filter_map(|(field, said)| match said {
        Said::Column(name) => Some((*field, name.clone())),
        Said::Value(_) => None,
    });
    let titles = kinds.iter().map(|kind| names.names.get(kind.value).unwrap_or(&"").to_string()).collect();
    let places = Places { columns: titles, of_row: vec![], renamed: renamed.collect() };
    let header = Record::new(header.line, csv::StringRecord::from(fields));
    let records = records.flat_map(move |record| readings_of(record, &kinds, wide));
    Ok((Sheet { header, records: Box::new(records), comma, notes, merged }, Some(places)))
}

/// The readings of one row of a sheet; a hole in a wide sheet is no reading.
fn readings_of(record: Record, kinds: &[Kind], wide: bool) -> Vec<Record> {
    if record.fault.is_some() {
        return vec![record];
    }
    let cell = |at: usize| record.cells.get(at).unwrap_or("").trim();
    let taken = kinds.iter().enumerate().filter(|(_, kind)| !wide || !cell(kind.value).is_empty());
    let made = taken.map(|(place, kind)| {
        let text = |from: &From| match from {
            From::Cell(at) => cell(*at).to_string(),
            From::Text(text) => text.clone(),
            From::Nowhere => String::new(),
        };
        let cells: csv::StringRecord = kind.fields.iter().map(text).collect::<Vec<_>>().into();
        Record { place: Some(place as u32), ..Record::new(record.line, cells) }
    });
    let made: Vec<Record> = made.collect();
    if !made.is_empty() {
        return made;
    }
    let fault = Fault {
        kind: "row without readings",
        severity: Severity::Note,
        column: None,
        what: "the row has text, and no reading in any column of the layout".into(),
        why: "nothing of it counts".into(),
        action: "row passed over; if it does hold readings, name their columns in the layout".into(),
    };
    vec![Record { fault: Some(fault), ..record }]
}

/// The sheet's column names, looked up for a layout.
struct Names<'a> {
    file: &'a str,
    layout: &'a Layout,
    line: usize,
    names: Vec<&'a str>,
}

impl Names<'_> {
    /// The column of that name, or of that number where none has it as its name.
    fn place(&self, name: &str) -> Result<usize, ReadError> {
        let fits = |by: &dyn Fn(&str) -> bool| -> Vec<usize> {
            self.names.iter().enumerate().filter(|(_, n)| by(n)).map(|(at, _)| at).collect()
        };
        let mut found = fits(&|n| n == name);
        if found.is_empty() {
            found = fits(&|n| !n.is_empty() && plain_name(n) == plain_name(name));
        }
        let number = name.parse::<usize>().ok().filter(|n| (1..=self.names.len()).contains(n));
        match (found.as_slice(), number) {
            ([at], _) => Ok(*at),
            ([], Some(number)) => Ok(number - 1),
            ([], None) => {
                let near = nearest(name, self.names.iter().copied().filter(|n| !n.is_empty()), 0.5);
                let near = near.map_or(String::new(), |near| format!(" (is `{near}` meant?)"));
                let names = self.names.iter().filter(|n| !n.is_empty()).map(|n| format!("`{n}`")).collect::<Vec<_>>();
                Err(self.error(format!(
                    "the layout names a column `{name}`{near}, and line {} of `{}` names {}",
                    self.line,
                    self.file,
                    names.join(", ")
                )))
            }
            (several, _) => {
                let places = several.iter().map(|at| (at + 1).to_string()).collect::<Vec<_>>().join(", ");
                Err(self.error(format!(
                    "`{}` has {} columns `{name}`: give the one meant by its number, {places}",
                    self.file,
                    several.len()
                )))
            }
        }
    }

    /// The column that has a field's own name.
    fn own(&self, field: &str) -> Option<usize> {
        self.names.iter().position(|name| plain_name(name) == field)
    }

    fn unsaid(&self, field: &str, column: &str) -> ReadError {
        let of = if self.layout.columns.is_empty() { String::new() } else { format!(" of column `{column}`") };
        self.error(format!(
            "nothing says the {field}{of} of `{}`: give it in the column's entry, under `rows` (a column that holds it) or under `all`",
            self.file
        ))
    }

    fn error(&self, what: String) -> ReadError {
        ReadError::Layout { file: self.file.into(), line: self.layout.line, what }
    }

    /// Columns with a name that no part of the layout mentions.
    fn unread(&self, kinds: &[Kind]) -> Option<Seen> {
        let mut read: Vec<usize> = vec![];
        for kind in kinds {
            read.extend(kind.fields.iter().filter_map(|from| match from {
                From::Cell(at) => Some(*at),
                _ => None,
            }));
        }
        let ignored = |name: &str| {
            self.layout.ignore.iter().any(|i| plain_name(i) == plain_name(name)) || plain_name(name) == "note"
        };
        let unread = self.names.iter().enumerate().filter(|(at, n)| !n.is_empty() && !read.contains(at) && !ignored(n));
        let unread: Vec<String> = unread.map(|(_, name)| format!("`{name}`")).collect();
        let (columns, are) = if unread.len() == 1 { ("column", "is") } else { ("columns", "are") };
        let fault = Fault {
            kind: "unread columns",
            severity: Severity::Warning,
            column: None,
            what: format!("{columns} {} {are} not in the layout", unread.join(", ")),
            why: "readings in a column that is not read count in no verdict".into(),
            action: "not read; name it under `columns`, or under `ignore` if it holds no readings".into(),
        };
        (!unread.is_empty()).then(|| Seen::on_line(self.line, fault))
    }
}

#[cfg(test)]
mod tests {
    use super::fits;

    #[test]
    fn a_star_in_a_layouts_file_stands_for_any_characters() {
        assert!(fits("log.csv", "log.csv") && fits("*.csv", "log.csv") && fits("s*-*.csv", "spring-2.csv"));
        assert!(!fits("log.csv", "log2.csv") && !fits("*.csv", "log.csv.bak") && fits("*", ""));
    }
}
