//! `[[source]]`: a declared cause of error, and the size and shape of its distribution.

use super::entries::each;
use super::names::Noun;
use super::reader::Table;
use crate::radio::quantity::built_in;
use crate::season::config::{Scope, Shape, Source};
use crate::season::error::Kind;

const KEYS: [&str; 10] =
    ["name", "quantity", "meter", "band", "shape", "half_width", "standard", "top", "unit", "shared_by"];

const SCOPES: [(&str, Scope); 6] = [
    ("season", Scope::Season),
    ("antenna", Scope::Antenna),
    ("session", Scope::Session),
    ("visit", Scope::Visit),
    ("mounting", Scope::Mounting),
    ("reading", Scope::Reading),
];

/// The shapes' words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Normal,
    Rectangular,
    Triangular,
    Trapezoidal,
    Arcsine,
    Vector,
}

const FORMS: [(&str, Form); 6] = [
    ("normal", Form::Normal),
    ("rectangular", Form::Rectangular),
    ("triangular", Form::Triangular),
    ("trapezoidal", Form::Trapezoidal),
    ("arcsine", Form::Arcsine),
    ("vector", Form::Vector),
];

/// A source's size: as its half-width or as its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Size {
    HalfWidth(f64),
    Standard(f64),
}

pub(super) fn sources(top: &Table<'_>) -> Vec<Source> {
    each(top, "source", &KEYS, |table| {
        let name = table.need("name", "name = \"distance to the field meter\"").and_then(|f| f.name());
        let quantity = table.need("quantity", "quantity = \"field_strength\"").and_then(|f| f.name_of(Noun::Quantity));
        let meter = table.get("meter").and_then(|f| f.name_of(Noun::Meter));
        let band = table.get("band").and_then(|f| f.name_of(Noun::Band));
        let unit = table.get("unit").and_then(|f| f.name());
        let shared_by = table.need("shared_by", "shared_by = \"session\"").and_then(|f| f.word(&SCOPES));
        let shape = shape(table, quantity.as_deref());
        let (name, quantity, shape, shared_by) = (name?, quantity?, shape?, shared_by?);
        Some(Source { name, quantity, meter, band, shape, unit, shared_by, line: table.line() })
    })
}

/// The distribution: `shape` says its form, else a half-width alone is rectangular and a standard
/// deviation alone is normal.
fn shape(table: &Table<'_>, quantity: Option<&str>) -> Option<Shape> {
    let size = size(table);
    let stated = table.get("shape");
    let form = match (&stated, size) {
        (Some(field), _) => field.word(&FORMS)?,
        (None, Some(Size::Standard(_))) => Form::Normal,
        (None, _) => Form::Rectangular,
    };
    if let (Form::Normal, Some(Size::HalfWidth(_)), Some(field)) = (form, size, table.get("half_width")) {
        let what = "a `normal` source has no `half_width`";
        let hint = "give its standard deviation as `standard`, or say `shape = \"rectangular\"`";
        table.doc.report(field.span(), Kind::Conflict, what, |p| p.advise(hint));
        return None;
    }
    let top = top(table, form);
    let shape = convert(form, size?, top.unwrap_or(0.0));
    if let (Shape::Vector { half_width }, Some(field)) = (shape, &stated) {
        if quantity.is_some_and(|name| !built_in(name).is_some_and(|q| q.is_reflection())) {
            let what = "a `vector` adds to a reflection, which this quantity is not";
            table.doc.report(field.span(), Kind::Conflict, what, |p| p.want("`swr`, `reflection` or `return_loss`"));
        }
        if half_width > 1.0 && table.get("unit").is_none() {
            let what = format!("a `vector` of half-width {half_width} is longer than any reflection");
            let hint = "its size is a reflection coefficient: a directivity of 20 dB is 0.1";
            table.doc.report(field.span(), Kind::OutOfRange, what, |p| p.want("1 at most").advise(hint));
        }
    }
    Some(shape)
}

/// Exactly one of `half_width` and `standard`.
fn size(table: &Table<'_>) -> Option<Size> {
    match (table.get("half_width"), table.get("standard")) {
        (Some(half_width), None) => half_width.positive().map(Size::HalfWidth),
        (None, Some(standard)) => standard.positive().map(Size::Standard),
        (Some(_), Some(standard)) => {
            let what = "[[source]] gives both `half_width` and `standard`";
            table.doc.report(standard.span(), Kind::Conflict, what, |p| p.advise("keep one of the two"));
            None
        }
        (None, None) => {
            let what = "[[source]] gives neither `half_width` nor `standard`";
            table
                .doc
                .report(table.span.clone(), Kind::MissingKey, what, |p| p.advise("for example `half_width = 0.35`"));
            None
        }
    }
}

/// The trapezoid's top over its base: needed there, and out of place elsewhere.
fn top(table: &Table<'_>, form: Form) -> Option<f64> {
    if form == Form::Trapezoidal {
        let wanted = "a number from 0 (a triangle) to 1 (a rectangle)";
        return table.need("top", "top = 0.5")?.number(wanted, |x| (0.0..=1.0).contains(&x));
    }
    if let Some(field) = table.get("top") {
        let hint = "`top` goes with `shape = \"trapezoidal\"` alone";
        table.doc.report(field.span(), Kind::Conflict, "this shape has no `top`", |p| p.advise(hint));
    }
    None
}

/// The shape of that form and size; `top` counts for a trapezoid only.
///
/// Half-width a from standard deviation s: rectangular s·√3, triangular s·√6, arcsine and vector s·√2,
/// trapezoidal s·√(6/(1 + top²)).
///
/// # Source
/// JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.
fn convert(form: Form, size: Size, top: f64) -> Shape {
    let half_width = |ratio: f64| match size {
        Size::HalfWidth(a) => a,
        Size::Standard(s) => s * ratio,
    };
    match form {
        // A normal source is given by its standard deviation: a half-width was refused above.
        Form::Normal => Shape::Normal { standard: half_width(1.0) },
        Form::Rectangular => Shape::Rectangular { half_width: half_width(3f64.sqrt()) },
        Form::Triangular => Shape::Triangular { half_width: half_width(6f64.sqrt()) },
        Form::Trapezoidal => Shape::Trapezoidal { half_width: half_width((6.0 / (1.0 + top * top)).sqrt()), top },
        Form::Arcsine => Shape::Arcsine { half_width: half_width(2f64.sqrt()) },
        Form::Vector => Shape::Vector { half_width: half_width(2f64.sqrt()) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_standard_deviation_becomes_the_half_width_that_has_it() {
        let s = Size::Standard(2.0);
        let root = |x: f64| 2.0 * x.sqrt();
        assert_eq!(convert(Form::Normal, s, 0.0), Shape::Normal { standard: 2.0 });
        assert_eq!(convert(Form::Rectangular, s, 0.0), Shape::Rectangular { half_width: root(3.0) });
        assert_eq!(convert(Form::Triangular, s, 0.0), Shape::Triangular { half_width: root(6.0) });
        assert_eq!(convert(Form::Arcsine, s, 0.0), Shape::Arcsine { half_width: root(2.0) });
        assert_eq!(convert(Form::Vector, s, 0.0), Shape::Vector { half_width: root(2.0) });
        let Shape::Trapezoidal { half_width, top } = convert(Form::Trapezoidal, s, 0.5) else { panic!() };
        assert_eq!((half_width, top), (root(4.8), 0.5));
    }

    #[test]
    fn a_trapezoid_ends_in_the_triangle_and_the_rectangle() {
        let width = |top| match convert(Form::Trapezoidal, Size::Standard(1.0), top) {
            Shape::Trapezoidal { half_width, .. } => half_width,
            other => panic!("{other:?}"),
        };
        assert!((width(0.0) - 6f64.sqrt()).abs() < 1e-15 && (width(1.0) - 3f64.sqrt()).abs() < 1e-15);
    }
}
