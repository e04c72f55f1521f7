//! A row a thing: its name, what is said of it, and its value with a range below. Every plot of the page that holds
//! ranges is one of these, so they all look alike.

use std::borrow::Cow;

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::fit::{fold, held, width};
use super::glyphs::writes;
use super::marks::{Mark, color_of, draw_mark};
use super::{Canvas, FAINT, INK, Look, Pen, Plot, PlotError, SHADE};
use crate::analysis::antennas::result::Range;

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it is.
    pub label: String,
    /// What is said of it, at the right.
    pub said: String,
    /// Its mark.
    pub mark: Mark,
    /// Its value; none where nothing can be drawn.
    pub value: Option<f64>,
    /// Its range.
    pub range: Option<Range>,
    /// A limit on this row, drawn across it.
    pub limit: Option<f64>,
    /// The part of the axis that is shaded on this row, each end perhaps endless.
    pub shaded: Option<Range>,
    /// Parts laid end to end from zero: name and size.
    pub parts: Vec<(String, f64)>,
}

impl Row {
    /// A row with a value and its range.
    pub fn new(label: String, said: String, mark: Mark, value: Option<f64>, range: Option<Range>) -> Row {
        Row { label, said, mark, value, range, limit: None, shaded: None, parts: vec![] }
    }
}

/// The plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Rows {
    /// What it shows.
    pub title: String,
    /// The axis with its unit.
    pub axis: String,
    /// What the line at zero is; no line where empty.
    pub zero: Option<String>,
    /// The zone shaded through all rows.
    pub zone: Option<Range>,
    /// The rows, top to bottom.
    pub rows: Vec<Row>,
    /// What the marks mean.
    pub key: Vec<(Mark, String)>,
    /// How wide it is, and whether it bears its title.
    pub look: Look,
}

const SIDE: u32 = 14;
const NAME: u32 = 13;
const SAID: u32 = 12;
const LINE: u32 = 17;
const BAR: u32 = 20;
const AXIS: u32 = 46;
/// The least a bar needs beside its name.
const BAR_ROOM: f64 = 120.0;
/// What is larger is nonsense of some file, and is not drawn.
const LARGEST: f64 = 1e12;

/// Where a row stands.
struct Placed<'a> {
    row: &'a Row,
    lines: Vec<String>,
    /// Where the middle of its name's first line is.
    top: u32,
    /// Where the middle of its bar is.
    bar: u32,
    /// Where it ends.
    end: u32,
}

/// The columns: where there is room, name, bar and what is said stand side by side; else the bar stands below.
struct Columns {
    beside: bool,
    left: f64,
    right: f64,
    /// Room for a name.
    names: f64,
}

impl Rows {
    fn inner(&self) -> u32 {
        self.look.width - 2 * SIDE
    }

    fn title_lines(&self) -> Vec<String> {
        if self.look.titled { fold(&self.title, 15, f64::from(self.inner()), 3) } else { vec![] }
    }

    /// The key in lines that fit.
    fn key_lines(&self) -> Vec<Vec<(Mark, String)>> {
        let mut lines: Vec<Vec<(Mark, String)>> = vec![];
        let mut used = f64::INFINITY;
        for (mark, words) in &self.key {
            let wide = width(words, SAID) + 34.0;
            if used + wide > f64::from(self.inner()) {
                lines.push(vec![]);
                used = 0.0;
            }
            used += wide;
            if let Some(line) = lines.last_mut() {
                line.push((*mark, words.clone()));
            }
        }
        lines
    }

    fn head(&self) -> u32 {
        let title = self.title_lines().len() as u32;
        10 + 20 * title + 20 * self.key_lines().len() as u32 + if self.key.is_empty() { 0 } else { 6 }
    }

    fn columns(&self) -> Columns {
        let (left, right) = (f64::from(SIDE), f64::from(self.look.width - SIDE));
        if self.look.width < 500 {
            return Columns { beside: false, left, right, names: right - left };
        }
        let names = (0..self.rows.len()).map(|i| width(&self.name(i), NAME)).fold(0.0, f64::max);
        let names = names.min(0.32 * (right - left));
        let said = self.rows.iter().map(|r| width(&r.said, SAID)).fold(0.0, f64::max);
        let gap = |x: f64| if x > 0.0 { x + 16.0 } else { x };
        let (from, to) = (left + gap(names), right - gap(said));
        if to - from < BAR_ROOM {
            return Columns { beside: false, left, right, names: right - left };
        }
        Columns { beside: true, left: from, right: to, names }
    }

    /// A row's name; in a file by itself with its number in the table before it, where a PNG may not hold the name.
    fn name(&self, row: usize) -> Cow<'_, str> {
        let label = &self.rows[row].label;
        if self.look.titled && !writes(label) {
            return Cow::Owned(format!("no. {}: {label}", row + 1));
        }
        Cow::Borrowed(label)
    }

    fn placed(&self) -> Vec<Placed<'_>> {
        let columns = self.columns();
        let mut y = self.head();
        self.rows
            .iter()
            .enumerate()
            .map(|(i, row)| {
                let said = if columns.beside || row.said.is_empty() { 0.0 } else { width(&row.said, SAID) + 14.0 };
                let lines = fold(&self.name(i), NAME, (columns.names - said).max(90.0), 3);
                let high = LINE * lines.len() as u32;
                let placed = if columns.beside {
                    let middle = y + (high + 9) / 2;
                    Placed { row, lines, top: middle + LINE / 2 - high / 2, bar: middle, end: y + high + 9 }
                } else {
                    Placed { row, lines, top: y + 9, bar: y + high + BAR / 2, end: y + high + BAR + 8 }
                };
                y = placed.end;
                placed
            })
            .collect()
    }

    fn axis_lines(&self) -> Vec<String> {
        let Columns { left, right, .. } = self.columns();
        fold(&self.axis, 12, right - left, 3)
    }

    /// Ends of the axis: every value and every range that is not far beyond all others.
    fn span(&self) -> (f64, f64) {
        let mut values: Vec<f64> = self.rows.iter().filter_map(|r| r.value).collect();
        values.extend(self.rows.iter().filter_map(|r| r.limit));
        let stacked = self.rows.iter().filter(|r| !r.parts.is_empty());
        values.extend(stacked.flat_map(|r| [0.0, r.parts.iter().map(|p| p.1).sum()]));
        values.extend(self.zero.as_ref().map(|_| 0.0));
        values.extend(self.zone.iter().flat_map(|z| [z.low, z.high]));
        values.retain(|x| x.abs() < LARGEST);
        let (mut low, mut high) = ends(&values);
        let mut halves: Vec<f64> = self
            .rows
            .iter()
            .filter_map(|r| r.range)
            .map(|r| (r.high - r.low) / 2.0)
            .filter(|h| *h > 0.0 && *h < LARGEST)
            .collect();
        halves.sort_by(f64::total_cmp);
        let usual = halves.get(halves.len() / 2).copied().unwrap_or(0.0);
        // one range without end must not squeeze all the others together
        let (least, most) = (low - 4.0 * usual, high + 4.0 * usual);
        for r in self.rows.iter().filter_map(|r| r.range) {
            low = low.min(r.low.max(least));
            high = high.max(r.high.min(most));
        }
        let room = (high - low).max(1e-9) * 0.03;
        (low - room, high + room)
    }
}

fn ends(values: &[f64]) -> (f64, f64) {
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if low > high { (0.0, 1.0) } else { (low, high) }
}

/// Round numbers inside the ends, about so many, and their step.
pub fn ticks(low: f64, high: f64, about: f64) -> (Vec<f64>, f64) {
    let raw = ((high - low) / about.max(1.0)).max(1e-12);
    let power = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|s| *s >= raw * 0.999).unwrap_or(10.0 * power);
    let first = (low / step).ceil() as i64;
    let last = (high / step).floor() as i64;
    ((first..=last.min(first + 40)).map(|k| k as f64 * step).collect(), step)
}

impl Plot for Rows {
    fn size(&self) -> (u32, u32) {
        let end = self.placed().last().map_or(self.head(), |p| p.end);
        (self.look.width, end + AXIS + 15 * (self.axis_lines().len() as u32 - 1))
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let (low, high) = self.span();
        let Columns { beside, left, right, .. } = self.columns();
        let (side, far) = (f64::from(SIDE), f64::from(self.look.width - SIDE));
        let at = |x: f64| left + (right - left) * (x - low) / (high - low);
        let inside = |x: f64| held(x, low, high);
        let here = |x: f64, y: f64| (pen.length(x), pen.length(y));
        let line = |from: (f64, f64), to: (f64, f64), style: ShapeStyle| {
            canvas.draw(&PathElement::new([here(from.0, from.1), here(to.0, to.1)], style)).map_err(PlotError::new)
        };
        let area = |from: (f64, f64), to: (f64, f64), style: ShapeStyle| {
            canvas.draw(&Rectangle::new([here(from.0, from.1), here(to.0, to.1)], style)).map_err(PlotError::new)
        };
        let words = |text: &str, size: u32, x: f64, y: f64, across: HPos| {
            let style = pen.text(size).pos(Pos::new(across, VPos::Center));
            canvas.draw_text(text, &style, here(x, y)).map_err(PlotError::new)
        };
        let placed = self.placed();
        let top = f64::from(self.head());
        let bottom = placed.last().map_or(top, |p| f64::from(p.end)) + 2.0;
        if let Some(zone) = self.zone {
            area((at(inside(zone.low)), top - 4.0), (at(inside(zone.high)), bottom), SHADE.filled())?;
        }
        for p in &placed {
            let y = f64::from(p.bar);
            if let Some(shaded) = p.row.shaded {
                let (from, to) = (at(inside(shaded.low)), at(inside(shaded.high)));
                area((from, y - 9.0), (to, y + 9.0), SHADE.filled())?;
            }
        }
        let (marks, step) = ticks(low, high, (right - left) / 60.0);
        for x in &marks {
            line((at(*x), top), (at(*x), bottom), pen.line(FAINT, 7))?;
        }
        if self.zero.is_some() {
            line((at(0.0), top - 4.0), (at(0.0), bottom), pen.line(INK, 12))?;
        }
        for (k, text) in self.title_lines().iter().enumerate() {
            words(text, 15, side, 18.0 + 20.0 * k as f64, HPos::Left)?;
        }
        let first = 20.0 * self.title_lines().len() as f64 + 18.0;
        for (k, entries) in self.key_lines().iter().enumerate() {
            let y = first + 20.0 * k as f64;
            let mut x = side + 6.0;
            for (mark, text) in entries {
                draw_mark(canvas, pen, *mark, (x, y))?;
                words(text, SAID, x + 12.0, y, HPos::Left)?;
                x += width(text, SAID) + 34.0;
            }
        }
        for p in &placed {
            for (k, text) in p.lines.iter().enumerate() {
                words(text, NAME, side, f64::from(p.top + LINE * k as u32), HPos::Left)?;
            }
            words(&p.row.said, SAID, far, f64::from(if beside { p.bar } else { p.top }), HPos::Right)?;
            draw_parts(canvas, pen, p, &at)?;
            draw_value(canvas, pen, p, &at, (low, high))?;
        }
        line((left, bottom), (right, bottom), pen.line(INK, 10))?;
        let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
        for x in &marks {
            line((at(*x), bottom), (at(*x), bottom + 5.0), pen.line(INK, 10))?;
            let text = if x.abs() < 1e7 { format!("{:.decimals$}", x.abs()) } else { format!("{:.1e}", x.abs()) };
            let sign = if *x < -step / 2.0 { "−" } else { "" };
            let text = format!("{sign}{text}");
            let half = width(&text, 11) / 2.0;
            words(&text, 11, held(at(*x), left + half, right - half), bottom + 13.0, HPos::Center)?;
        }
        for (k, text) in self.axis_lines().iter().enumerate() {
            words(text, 12, (left + right) / 2.0, bottom + 31.0 + 15.0 * k as f64, HPos::Center)?;
        }
        Ok(())
    }
}

fn draw_value<B: DrawingBackend>(
    canvas: &Canvas<B>,
    pen: Pen,
    p: &Placed,
    at: &dyn Fn(f64) -> f64,
    (low, high): (f64, f64),
) -> Result<(), PlotError> {
    let y = f64::from(p.bar);
    let here = |x: f64, y: f64| (pen.length(x), pen.length(y));
    let stroke = |points: &[(f64, f64)], style: ShapeStyle| {
        let points: Vec<(i32, i32)> = points.iter().map(|(x, y)| here(*x, *y)).collect();
        canvas.draw(&PathElement::new(points, style)).map_err(PlotError::new)
    };
    let color = color_of(p.row.mark);
    if let Some(limit) = p.row.limit {
        let x = at(held(limit, low, high));
        stroke(&[(x, y - 10.0), (x, y + 10.0)], pen.line(INK, 25))?;
    }
    if let Some(range) = p.row.range {
        let (from, to) = (held(range.low, low, high), held(range.high, low, high));
        stroke(&[(at(from), y), (at(to), y)], pen.line(color, 24))?;
        // an end that is cut off is an arrow, not a tick
        for (end, shown, way) in [(range.low, from, 1.0), (range.high, to, -1.0)] {
            let x = at(shown);
            if end == shown {
                stroke(&[(x, y - 5.0), (x, y + 5.0)], pen.line(color, 20))?;
            } else {
                stroke(&[(x + 7.0 * way, y - 5.0), (x, y), (x + 7.0 * way, y + 5.0)], pen.line(color, 20))?;
            }
        }
    }
    match p.row.value {
        Some(value) if value.is_finite() => draw_mark(canvas, pen, p.row.mark, (at(held(value, low, high)), y)),
        _ => Ok(()),
    }
}

/// Parts end to end: framed and named, so that no colour is needed; a name that doesn't fit is left to its initial, or
/// out.
fn draw_parts<B: DrawingBackend>(
    canvas: &Canvas<B>,
    pen: Pen,
    p: &Placed,
    at: &dyn Fn(f64) -> f64,
) -> Result<(), PlotError> {
    let y = f64::from(p.bar);
    let mut from = 0.0;
    for (k, (name, size)) in p.row.parts.iter().enumerate() {
        let (a, b) = (at(from), at(from + size));
        from += size;
        let corners = [(pen.length(a), pen.length(y - 9.0)), (pen.length(b), pen.length(y + 9.0))];
        if k % 2 == 0 {
            canvas.draw(&Rectangle::new(corners, SHADE.filled())).map_err(PlotError::new)?;
        }
        canvas.draw(&Rectangle::new(corners, pen.line(INK, 7))).map_err(PlotError::new)?;
        let initial: String = name.chars().take(1).collect();
        let fits = [name.as_str(), initial.as_str()].into_iter().find(|text| width(text, 11) + 6.0 <= b - a);
        if let Some(text) = fits {
            let style = pen.text(11).pos(Pos::new(HPos::Center, VPos::Center));
            canvas.draw_text(text, &style, (pen.length((a + b) / 2.0), pen.length(y))).map_err(PlotError::new)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_numbers_inside_the_ends() {
        let (marks, step) = ticks(-0.31, 1.24, 6.0);
        assert!((step - 0.5).abs() < 1e-12);
        assert_eq!(marks, [0.0, 0.5, 1.0]);
        assert!(ticks(3.0, 3.0 + 1e-15, 5.0).0.len() < 50);
    }

    #[test]
    fn a_range_without_end_does_not_squeeze_the_others() {
        let row = |value: f64, half: f64| {
            let range = Range { low: value - half, high: value + half };
            Row::new("heron".into(), String::new(), Mark::Full, Some(value), Some(range))
        };
        let plot = Rows {
            title: "t".into(),
            axis: "dB".into(),
            zero: Some("leader".into()),
            zone: None,
            rows: vec![row(0.0, 1.0), row(2.0, 1.0), row(3.0, f64::INFINITY)],
            key: vec![],
            look: Look::WIDE,
        };
        let (low, high) = plot.span();
        assert!(low > -5.0 && high < 8.0, "{low} {high}");
        assert!(super::super::to_svg(&plot).is_ok());
    }

    #[test]
    fn values_no_meter_shows_are_drawn_without_a_fault() {
        for (value, limit) in [(1.3, 1e300), (1e300, -1e300), (f64::NAN, f64::INFINITY), (1e11, -1e11)] {
            let range = Range { low: value - 1e299, high: value };
            let row = Row::new("heron".into(), "9".repeat(300), Mark::Full, Some(value), Some(range));
            let plot = Rows {
                title: "t".into(),
                axis: "dB".into(),
                zero: None,
                zone: Some(Range { low: -1e300, high: 1e300 }),
                rows: vec![Row { limit: Some(limit), ..row }],
                key: vec![],
                look: Look::WIDE,
            };
            assert!(super::super::to_svg(&plot).is_ok());
        }
    }
}
