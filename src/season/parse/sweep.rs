//! Whose the sweeps are: `[[sweep]]` entries and `sweep_pattern`.

use std::path::{Component, Path};

use super::entries::each;
use super::names::Noun;
use super::reader::{Field, Table};
use crate::season::config::SweepEntry;
use crate::season::error::Kind;
use crate::season::readings::microseconds;
use crate::season::sweeps::{FOLDER, pattern::Pattern};

pub(super) fn sweeps(top: &Table<'_>) -> Vec<SweepEntry> {
    let keys = ["file", "session", "antenna", "meter", "mounting", "order", "when"];
    each(top, "sweep", &keys, |table| {
        let file = table.need("file", "file = \"heron-1.s1p\"").and_then(|f| file(&f));
        let session = table.need("session", "session = \"2026-05-02\"").and_then(|f| f.session());
        // an antenna of the log need not be declared, so any name will do here
        let antenna = table.need("antenna", "antenna = \"heron\"").and_then(|f| f.name());
        let meter = table.get("meter").and_then(|f| f.name_of(Noun::Meter));
        let mounting = table.get("mounting").and_then(|f| f.whole(0));
        let order = table.get("order").and_then(|f| f.finite());
        let when = table.get("when").and_then(|f| moment(&f));
        let line = table.line();
        Some(SweepEntry { file: file?, session: session?, antenna: antenna?, meter, mounting, order, when, line })
    })
}

/// A file below `sweeps`, by plain folders: nothing leads out of it.
fn file(field: &Field<'_>) -> Option<String> {
    let text = field.name()?.replace('\\', "/");
    let name = text.strip_prefix(FOLDER).and_then(|rest| rest.strip_prefix('/')).unwrap_or(&text).to_string();
    let plain = Path::new(&name).components().all(|c| matches!(c, Component::Normal(_)));
    if plain && !name.is_empty() && !name.contains('\0') {
        return Some(name);
    }
    let hint = format!("a sweep is a file in the season's `{FOLDER}` folder, named from there, as in \"heron-1.s1p\"");
    field.doc.report(field.span(), Kind::OutOfRange, "this is no file of that folder", |p| p.advise(hint));
    None
}

/// A date or time, in quotes or not, as microseconds since 1970.
fn moment(field: &Field<'_>) -> Option<i64> {
    let text = field.moment_text()?;
    let moment = microseconds(&text);
    if moment.is_none() {
        let what = "this is not a date or time this program reads";
        field.doc.report(field.span(), Kind::OutOfRange, what, |p| p.want("2026-05-02 or 2026-05-02T14:30"));
    }
    moment
}

pub(super) fn pattern(field: &Field<'_>) -> Option<Pattern> {
    let text = field.name()?;
    match Pattern::new(&text) {
        Ok(pattern) => Some(pattern),
        Err(what) => {
            let hint = "for example `sweep_pattern = \"{session}/{antenna}-{mounting}.s1p\"`";
            field.doc.report(field.span(), Kind::OutOfRange, what, |p| p.advise(hint));
            None
        }
    }
}
