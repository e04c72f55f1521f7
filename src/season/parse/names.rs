//! The names a season declares, gathered before anything that refers to them is read.

use toml::de::{DeTable, DeValue};

use super::nearest::{list, nearest};
use super::reader::Document;
use crate::radio::quantity;
use crate::season::error::{Kind, Problem};

/// What a name can be the name of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Noun {
    Band,
    Meter,
    Antenna,
    Load,
    Quantity,
}

impl Noun {
    pub(crate) const ALL: [Noun; 5] = [Noun::Band, Noun::Meter, Noun::Antenna, Noun::Load, Noun::Quantity];

    /// The key of its entries in `season.toml`, which is also its word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Noun::Band => "band",
            Noun::Meter => "meter",
            Noun::Antenna => "antenna",
            Noun::Load => "load",
            Noun::Quantity => "quantity",
        }
    }

    fn with_article(self) -> &'static str {
        match self {
            Noun::Band => "a band",
            Noun::Meter => "a meter",
            Noun::Antenna => "an antenna",
            Noun::Load => "a load",
            Noun::Quantity => "a quantity",
        }
    }
}

/// One declared name and where it stands.
#[derive(Debug)]
struct Declared {
    noun: Noun,
    name: String,
    span: std::ops::Range<usize>,
}

/// All declared names, in the file's order within each noun.
#[derive(Debug, Default)]
pub(crate) struct Names(Vec<Declared>);

impl Names {
    /// Gathers the `name` of every entry; entries without one are met again when they are read.
    pub(crate) fn gather(root: &DeTable<'_>) -> Self {
        let mut names = Vec::new();
        for noun in Noun::ALL {
            let Some(DeValue::Array(entries)) = root.get(noun.word()).map(|entry| entry.get_ref()) else { continue };
            for entry in entries.iter() {
                let Some(value) = entry.get_ref().get("name") else { continue };
                if let Some(name) = value.get_ref().as_str() {
                    names.push(Declared { noun, name: name.to_string(), span: value.span() });
                }
            }
        }
        Names(names)
    }

    /// Whether the season declares anything of that noun.
    pub(crate) fn any(&self, noun: Noun) -> bool {
        self.of(noun).next().is_some()
    }

    /// The names declared of that noun.
    pub(crate) fn of(&self, noun: Noun) -> impl Iterator<Item = &str> {
        self.0.iter().filter(move |d| d.noun == noun).map(|d| d.name.as_str())
    }

    /// The names of that noun a season may refer to: those declared, and the built-in quantities.
    pub(crate) fn known(&self, noun: Noun) -> impl Iterator<Item = &str> {
        let built_in = quantity::built_in_names().filter(move |_| noun == Noun::Quantity);
        built_in.map(|name| -> &str { name }).chain(self.of(noun))
    }
}

/// Reports names given twice: within a noun, to an antenna and a load (they share a column of the
/// log), and to a quantity that is built in.
pub(crate) fn check_duplicates(doc: &Document<'_>) {
    let Names(names) = &doc.names;
    let column = |noun| if noun == Noun::Load { Noun::Antenna } else { noun };
    for (i, later) in names.iter().enumerate() {
        let same = |earlier: &&Declared| earlier.name == later.name && column(earlier.noun) == column(later.noun);
        if let Some(earlier) = names[..i].iter().find(same) {
            let what = format!("`{}` is already the name of {}", later.name, earlier.noun.with_article());
            let hint = format!("the first stands on line {}", doc.line(earlier.span.start));
            doc.report(later.span.clone(), Kind::DuplicateName, what, |p| p.advise(hint));
        }
        let reserved = later.name == "gain_dbi" || quantity::built_in(&later.name).is_some();
        if later.noun == Noun::Quantity && reserved {
            let what = format!("`{}` is a quantity already built in", later.name);
            doc.report(later.span.clone(), Kind::DuplicateName, what, |p| p.advise("give this one another name"));
        }
    }
}

/// Reports a name that nothing of that noun has, unless the season declares nothing of it at all.
/// `extra` is one more name that is allowed there.
pub(crate) fn check_known(
    doc: &Document<'_>,
    noun: Noun,
    name: &str,
    span: std::ops::Range<usize>,
    extra: Option<&str>,
) {
    let known = || doc.names.known(noun).chain(extra);
    if known().next().is_none() || known().any(|k| k == name) {
        return;
    }
    let what = match noun {
        Noun::Quantity => format!("`{name}` is not a quantity this season knows"),
        _ => format!("`{name}` is not {} of this season", noun.with_article()),
    };
    doc.report(span, Kind::UnknownName, what, |problem: Problem| match nearest(name, known()) {
        Some(near) => problem.advise(format!("did you mean `{near}`?")),
        None => problem.want(list(known())),
    });
}
