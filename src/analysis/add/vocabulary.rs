//! The names that a typed line may use, and how they may be written: letter case, blanks, hyphens and underscores are free,
//! and a name may be cut as short as it stays the only one.

use super::words::Word;

/// The columns whose names a line may change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Column {
    /// Antenna or check load.
    Antenna,
    /// Band.
    Band,
    /// Meter.
    Meter,
    /// Quantity.
    Quantity,
}

impl Column {
    /// All four, in the order they are told.
    pub const ALL: [Column; 4] = [Column::Antenna, Column::Band, Column::Meter, Column::Quantity];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Column::Antenna => "antenna",
            Column::Band => "band",
            Column::Meter => "meter",
            Column::Quantity => "quantity",
        }
    }
}

/// A name that a line may use.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub(super) column: Column,
    pub(super) name: String,
    /// Folded spellings; the first is the name's own.
    pub(super) spellings: Vec<String>,
    /// Whether it may be cut short.
    short: bool,
}

impl Known {
    /// What it is, as messages say it.
    pub(super) fn told(&self) -> String {
        format!("{} `{}`", self.column.name(), self.name)
    }
}

/// The names that a line may use.
#[derive(Debug, Clone, Default)]
pub struct Vocabulary {
    known: Vec<Known>,
}

/// The quantities' signs, as the trade writes them.
const SIGNS: [(&str, &str); 7] = [
    ("return_loss", "rl"),
    ("forward_power", "fwd"),
    ("reflected_power", "ref"),
    ("impedance", "z"),
    ("resistance", "r"),
    ("reactance", "x"),
    ("swr", "vswr"),
];

/// A name without letter case, blanks, hyphens and underscores.
pub fn folded(name: &str) -> String {
    let kept = name.chars().filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_'));
    kept.flat_map(char::to_lowercase).collect()
}

impl Vocabulary {
    /// Adds a name, if it is new; one that is not `short` must be written out.
    pub fn add(&mut self, column: Column, name: &str, short: bool) {
        if let Some(known) = self.known.iter_mut().find(|k| k.column == column && k.name == name) {
            known.short |= short;
            return;
        }
        let mut spellings = vec![folded(name)];
        if column == Column::Quantity {
            spellings.extend(SIGNS.iter().filter(|(of, _)| *of == name).map(|(_, sign)| (*sign).to_string()));
        }
        self.known.push(Known { column, name: name.into(), spellings, short });
    }

    /// The names of a column that may be cut short, in the order they were added.
    pub fn names(&self, column: Column) -> impl Iterator<Item = &str> {
        self.known.iter().filter(move |k| k.column == column && k.short).map(|k| k.name.as_str())
    }

    /// All names, cut short or not.
    pub(super) fn all(&self) -> impl Iterator<Item = &str> {
        self.known.iter().map(|k| k.name.as_str())
    }

    /// What a name of the season names.
    pub(super) fn column_of(&self, name: &str) -> Option<Column> {
        self.known.iter().find(|k| k.name == name).map(|k| k.column)
    }

    /// The name of a column that is spelled so.
    pub(super) fn of_column(&self, column: Column, spelled: &str) -> Option<&str> {
        let same = self.known.iter().find(|k| k.column == column && k.spellings[0] == folded(spelled));
        same.map(|k| k.name.as_str())
    }

    /// What a word can name: as it is spelled, else folded, else as a beginning.
    pub(super) fn named(&self, word: &str) -> Vec<&Known> {
        let short = folded(word);
        if short.is_empty() {
            return vec![];
        }
        let pick = |fits: &dyn Fn(&Known) -> bool| self.known.iter().filter(|k| fits(k)).collect::<Vec<_>>();
        let tries: [&dyn Fn(&Known) -> bool; 3] =
            [&|k| k.name == word, &|k| k.spellings[0] == short || (k.short && k.spellings.contains(&short)), &|k| {
                k.short && k.spellings[0].starts_with(&short)
            }];
        tries.into_iter().map(pick).find(|found| !found.is_empty()).unwrap_or_default()
    }

    /// A name written out over this and the next words: how many, and which.
    pub(super) fn spread(&self, words: &[Word]) -> Option<(usize, &Known)> {
        (2..=words.len().min(4)).rev().find_map(|n| {
            let joined: String = words[..n].iter().map(|w| folded(&w.text)).collect();
            let mut fits =
                self.known.iter().filter(|k| k.spellings[0] == joined && k.name.split_whitespace().count() == n);
            Some((n, fits.next()?))
        })
    }
}
