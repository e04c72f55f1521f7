//! `[[output]]`: what is wanted, as an expression of the inputs and of the outputs above it.

use std::collections::BTreeMap;
use std::ops::Range;

use super::super::config::{DivisionAt, Output};
use super::super::expression::{self, Fault};
use super::super::program::{Place, Program};
use super::inputs::ReadInput;
use crate::season::error::{Kind, Position};
use crate::season::parse::reader::{Field, Table};

pub(super) fn outputs(top: &Table<'_>, inputs: &[ReadInput], program: &mut Program) -> Vec<Output> {
    let tables =
        top.get("output").map(|field| field.entries(&["name", "unit", "expression", "note"])).unwrap_or_default();
    let mut names: BTreeMap<String, Place> = BTreeMap::new();
    for (i, read) in inputs.iter().enumerate() {
        names.insert(read.input.name.clone(), program.input(i));
    }
    let mut outputs = vec![];
    for table in &tables {
        let name = table.need("name", "name = \"loss\"").and_then(|f| f.name());
        let unit = table.get("unit").and_then(|f| f.text()).unwrap_or_default();
        table.get("note").and_then(|f| f.text());
        let field = table.need("expression", "expression = \"a + b\"");
        let (Some(name), Some(field)) = (name, field) else { continue };
        if names.contains_key(&name) {
            let what = format!("`{name}` is already the name of an input or an output");
            table
                .doc
                .report(table.span.clone(), Kind::DuplicateName, what, |p| p.advise("give this output another name"));
        }
        let Some(text) = field.text() else { continue };
        let inside = Inside::new(&field, &text);
        match expression::read(program, &text, &names) {
            Ok(read) => {
                names.insert(name.clone(), read.place);
                let divisions = read.divisions.into_iter().map(|division| {
                    let at = Position::of(field.doc.text, inside.place(division.span.clone()));
                    let written = text.get(division.span).unwrap_or_default().to_string();
                    DivisionAt { divisor: division.divisor, written, line: at.line(), column: at.column() }
                });
                let divisions = divisions.collect();
                let line = field.doc.line(field.span().start);
                outputs.push(Output { name, unit, expression: text, place: read.place, divisions, line });
            }
            Err(Fault { span, what, hint }) => {
                // so that an output below that uses this one is not told that it is unknown
                names.insert(name, program.constant(f64::NAN));
                field.doc.report(inside.place(span), Kind::Syntax, what, |p| match hint {
                    Some(hint) => p.advise(hint),
                    None => p,
                });
            }
        }
    }
    outputs
}

/// Where a text's bytes stand in the file.
struct Inside {
    whole: Range<usize>,
    /// The first byte's place; none where escapes make text and file differ.
    start: Option<usize>,
}

impl Inside {
    fn new(field: &Field<'_>, text: &str) -> Inside {
        let whole = field.span();
        let raw = field.doc.text.get(whole.clone()).unwrap_or_default();
        let start = if text.is_empty() { None } else { raw.find(text).map(|at| whole.start + at) };
        Inside { whole, start }
    }

    fn place(&self, span: Range<usize>) -> Range<usize> {
        match self.start {
            Some(start) => start + span.start..start + span.end,
            None => self.whole.clone(),
        }
    }
}
