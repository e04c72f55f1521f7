//! A small reader over the spanned TOML document: it knows the keys each table may hold, and turns
//! every value that can't be used into a problem that points at it.
//!
//! A getter returns `None` both for what is absent and for what is wrong; what is wrong has then
//! been reported, and a document with any report yields no season.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::names::{Names, Noun, check_known};
use super::nearest::{list, nearest};
use crate::season::error::{Kind, Position, Problem};

/// The text being read, the names it declares, and what was found wrong so far.
pub(crate) struct Document<'a> {
    pub(crate) file: &'a str,
    pub(crate) text: &'a str,
    pub(crate) names: Names,
    pub(crate) problems: RefCell<Vec<Problem>>,
}

impl Document<'_> {
    /// Notes a problem at a byte range; `finish` adds what was wanted or a hint.
    pub(crate) fn report(
        &self,
        span: Range<usize>,
        kind: Kind,
        what: impl Into<String>,
        finish: impl FnOnce(Problem) -> Problem,
    ) {
        let problem = Problem::new(kind, self.file, what).at(Position::of(self.text, span));
        self.problems.borrow_mut().push(finish(problem));
    }

    /// The line, from 1, of a byte of the text.
    pub(crate) fn line(&self, at: usize) -> usize {
        Position::of(self.text, at..at).line()
    }
}

/// The keys of the top of the file; a table that holds one of them by mistake is told so.
pub(crate) const TOP_KEYS: [&str; 7] =
    ["title", "reference", "region", "confidence", "repeats", "looks", "sweep_pattern"];

/// One table of the file, its keys checked against those it may hold.
pub(crate) struct Table<'a> {
    pub(crate) doc: &'a Document<'a>,
    /// How messages name it: `[[band]]`, `[matters]`; empty for the file's top level.
    label: String,
    entries: &'a DeTable<'a>,
    pub(crate) span: Range<usize>,
}

impl<'a> Table<'a> {
    /// Opens a table, reporting every key that is not in `keys`.
    pub(crate) fn open(
        doc: &'a Document<'a>,
        label: impl Into<String>,
        entries: &'a DeTable<'a>,
        span: Range<usize>,
        keys: &[&str],
    ) -> Self {
        let table = Table { doc, label: label.into(), entries, span };
        for key in entries.keys().filter(|key| !keys.contains(&key.get_ref().as_ref())) {
            table.report_unknown(key.get_ref(), key.span(), keys);
        }
        table
    }

    fn report_unknown(&self, key: &str, span: Range<usize>, keys: &[&str]) {
        let inside = if self.label.is_empty() { String::new() } else { format!(" in {}", self.label) };
        self.doc.report(span, Kind::UnknownKey, format!("unknown key `{key}`{inside}"), |problem| {
            match nearest(key, keys.iter().copied()) {
                // The trap of the format: a key under a table's header is that table's.
                _ if !self.label.is_empty() && TOP_KEYS.contains(&key) => {
                    problem.advise(format!("`{key}` belongs at the top of the file, above the first line in brackets"))
                }
                Some(near) => problem.advise(format!("did you mean `{near}`?")),
                None => problem.want(list(keys.iter().copied())),
            }
        });
    }

    /// The value of a key that may be absent.
    pub(crate) fn get(&self, key: &'static str) -> Option<Field<'a>> {
        let (_, value) = self.entries.iter().find(|(k, _)| k.get_ref().as_ref() == key)?;
        Some(Field { doc: self.doc, key: key.to_string(), value })
    }

    /// The value of a key that must be there; `example` shows how it is written.
    pub(crate) fn need(&self, key: &'static str, example: &str) -> Option<Field<'a>> {
        let field = self.get(key);
        if field.is_none() {
            let what = format!("{} has no `{key}`", self.label);
            self.doc
                .report(self.span.clone(), Kind::MissingKey, what, |p| p.advise(format!("for example `{example}`")));
        }
        field
    }

    /// The keys that stand in the table, in the file's order.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &str> {
        let mut keys: Vec<_> = self.entries.keys().collect();
        keys.sort_by_key(|key| key.span().start);
        keys.into_iter().map(|key| key.get_ref().as_ref())
    }

    /// Where a key stands.
    pub(crate) fn key_span(&self, key: &str) -> Option<Range<usize>> {
        self.entries.keys().find(|k| k.get_ref().as_ref() == key).map(|k| k.span())
    }

    /// Line of the table's header, from 1.
    pub(crate) fn line(&self) -> usize {
        self.doc.line(self.span.start)
    }
}

/// The value of one key.
#[derive(Clone)]
pub(crate) struct Field<'a> {
    pub(crate) doc: &'a Document<'a>,
    key: String,
    value: &'a Spanned<DeValue<'a>>,
}

impl<'a> Field<'a> {
    pub(crate) fn span(&self) -> Range<usize> {
        self.value.span()
    }

    /// Reports the value, quoted, as unfit for its key.
    fn refuse(&self, kind: Kind, wanted: &str) -> Problem {
        let what = format!("`{}` is {}", self.key, describe(self.value.get_ref()));
        Problem::new(kind, self.doc.file, what).at(Position::of(self.doc.text, self.span())).want(wanted)
    }

    fn note(&self, problem: Problem) {
        self.doc.problems.borrow_mut().push(problem);
    }

    /// A text of any content.
    pub(crate) fn text(&self) -> Option<String> {
        if let DeValue::String(text) = self.value.get_ref() {
            return Some(text.to_string());
        }
        let problem = self.refuse(Kind::WrongType, "a text in quotes");
        self.note(match self.value.get_ref() {
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) | DeValue::Datetime(_) => {
                problem.advise(format!("write it in quotes: `\"{}\"`", self.raw()))
            }
            _ => problem,
        });
        None
    }

    /// The value as it stands in the file.
    fn raw(&self) -> &str {
        self.doc.text.get(self.span()).unwrap_or_default()
    }

    /// A text that is not empty and neither begins nor ends with a space, as names are.
    pub(crate) fn name(&self) -> Option<String> {
        let text = self.text()?;
        if text.trim().is_empty() {
            self.note(self.refuse(Kind::OutOfRange, "a text that is not empty"));
        } else if text.trim() != text {
            self.note(self.refuse(Kind::OutOfRange, "a text with no space at either end"));
        } else {
            return Some(text);
        }
        None
    }

    /// The name of a session: a text, or a date written without quotes.
    pub(crate) fn session(&self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::Datetime(date) if date.time.is_none() && date.offset.is_none() => Some(date.to_string()),
            _ => self.name(),
        }
    }

    /// A text, or a number or date as it is written: what a cell of a sheet may hold.
    pub(crate) fn cell(&self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Datetime(_) => Some(self.raw().to_string()),
            _ => self.name(),
        }
    }

    /// A date or time as written, in quotes or not.
    pub(crate) fn moment_text(&self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::Datetime(date) => Some(date.to_string()),
            _ => self.name(),
        }
    }

    /// The name of something the season declares.
    pub(crate) fn name_of(&self, noun: Noun) -> Option<String> {
        let name = self.name()?;
        check_known(self.doc, noun, &name, self.span(), None);
        Some(name)
    }

    /// A finite number that passes a test; `wanted` says which do.
    pub(crate) fn number(&self, wanted: &str, allowed: impl Fn(f64) -> bool) -> Option<f64> {
        let number = match self.value.get_ref() {
            DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).map_or(f64::NAN, |i| i as f64),
            DeValue::Float(x) => x.as_str().parse().unwrap_or(f64::NAN),
            DeValue::String(text) => {
                let problem = self.refuse(Kind::WrongType, wanted);
                let bare = text.trim().parse::<f64>().is_ok();
                self.note(if bare { problem.advise("write it without quotes") } else { problem });
                return None;
            }
            _ => {
                self.note(self.refuse(Kind::WrongType, wanted));
                return None;
            }
        };
        if number.is_finite() && allowed(number) {
            return Some(number);
        }
        self.note(self.refuse(Kind::OutOfRange, wanted));
        None
    }

    /// A finite number above 0.
    pub(crate) fn positive(&self) -> Option<f64> {
        self.number("a number above 0", |x| x > 0.0)
    }

    /// A finite number, at least 0.
    pub(crate) fn not_negative(&self) -> Option<f64> {
        self.number("a number, 0 or above", |x| x >= 0.0)
    }

    /// A finite number of either sign.
    pub(crate) fn finite(&self) -> Option<f64> {
        self.number("a number", |_| true)
    }

    /// A whole number, at least `least`.
    pub(crate) fn whole(&self, least: i64) -> Option<i64> {
        let wanted = format!("a whole number, {least} or above");
        let DeValue::Integer(digits) = self.value.get_ref() else {
            self.note(self.refuse(Kind::WrongType, &wanted));
            return None;
        };
        match i64::from_str_radix(digits.as_str(), digits.radix()) {
            Ok(number) if number >= least => Some(number),
            _ => {
                self.note(self.refuse(Kind::OutOfRange, &wanted));
                None
            }
        }
    }

    /// `true` or `false`.
    pub(crate) fn flag(&self) -> Option<bool> {
        if let DeValue::Boolean(flag) = self.value.get_ref() {
            return Some(*flag);
        }
        self.note(self.refuse(Kind::WrongType, "`true` or `false`"));
        None
    }

    /// One of a few words, each standing for a value.
    pub(crate) fn word<T: Copy>(&self, words: &[(&str, T)]) -> Option<T> {
        let known = || words.iter().map(|(word, _)| *word);
        let DeValue::String(text) = self.value.get_ref() else {
            self.note(self.refuse(Kind::WrongType, &list(known())));
            return None;
        };
        let found = words.iter().find(|(word, _)| *word == text.as_ref()).map(|(_, value)| *value);
        if found.is_none() {
            let problem = self.refuse(Kind::UnknownWord, &list(known()));
            self.note(match nearest(text, known()) {
                Some(near) => problem.advise(format!("did you mean `{near}`?")),
                None => problem,
            });
        }
        found
    }

    /// Whether the value is a plain number.
    pub(crate) fn is_number(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::Integer(_) | DeValue::Float(_))
    }

    /// The elements of a list, which go by the list's key.
    pub(crate) fn list(&self, wanted: &str) -> Option<Vec<Field<'a>>> {
        let DeValue::Array(values) = self.value.get_ref() else {
            self.note(self.refuse(Kind::WrongType, wanted));
            return None;
        };
        Some(values.iter().map(|value| Field { value, ..self.clone() }).collect())
    }

    /// A table with those keys.
    pub(crate) fn table(&self, label: &str, wanted: &str, keys: &[&str]) -> Option<Table<'a>> {
        let DeValue::Table(entries) = self.value.get_ref() else {
            self.note(self.refuse(Kind::WrongType, wanted));
            return None;
        };
        Some(Table::open(self.doc, label, entries, self.span(), keys))
    }

    /// A table whose keys are names of that noun: each name with its value, in the file's order.
    pub(crate) fn table_by(&self, noun: Noun, wanted: &str) -> Option<Vec<(String, Field<'a>)>> {
        let DeValue::Table(entries) = self.value.get_ref() else {
            self.note(self.refuse(Kind::WrongType, wanted));
            return None;
        };
        // The document keeps keys sorted by name; their places give the order they were written in.
        let mut entries: Vec<_> = entries.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        let mut fields = Vec::with_capacity(entries.len());
        for (key, value) in entries {
            let name = key.get_ref().to_string();
            check_known(self.doc, noun, &name, key.span(), None);
            fields.push((name.clone(), Field { doc: self.doc, key: name, value }));
        }
        Some(fields)
    }

    /// The entries of a `[[key]]`, each opened as a table with those keys.
    pub(crate) fn entries(&self, keys: &[&str]) -> Vec<Table<'a>> {
        let label = format!("[[{}]]", self.key);
        let DeValue::Array(values) = self.value.get_ref() else {
            let problem = self.refuse(Kind::WrongType, &format!("entries headed `{label}`"));
            self.note(problem.advise(format!("head each entry with `{label}`, in double brackets")));
            return Vec::new();
        };
        let wanted = format!("entries headed `{label}`");
        let element = |value| Field { value, ..self.clone() }.table(&label, &wanted, keys);
        values.iter().filter_map(element).collect()
    }
}

/// A value in a few words, as found in the file.
fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{}\"", shortened(text)),
        DeValue::Integer(i) => i.to_string(),
        DeValue::Float(x) => x.as_str().to_string(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(date) => format!("the date or time {date}"),
        DeValue::Array(_) => "a list".to_string(),
        DeValue::Table(_) => "a table".to_string(),
    }
}

/// The text's beginning: a message is no place for a paragraph.
fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_string(),
    }
}
