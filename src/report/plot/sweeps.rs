//! SWR against frequency about one band: a line a sweep, an antenna told by its line's breaks and by the mark where its
//! SWR is least, and only then by its colour.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::fit::{fold, held, width};
use super::glyphs::writes;
use super::marks::{Mark, color_of, draw_mark};
use super::rows::ticks;
use super::{Canvas, FAINT, INK, Look, Pen, Plot, PlotError};
use crate::analysis::sweeps::{Curve, SweptBand};

/// The plot.
pub struct Sweeps<'a> {
    /// What is drawn.
    pub swept: &'a SweptBand,
    /// How it is to look.
    pub look: Look,
}

/// How an antenna's lines are broken: lengths in pixels of what is drawn and what is left out.
const BREAKS: [&[f64]; 3] = [&[], &[7.0, 4.0], &[2.0, 3.0]];
const MARKS: [Mark; 5] = [Mark::Full, Mark::Open, Mark::Square, Mark::Cross, Mark::Base];

const SIDE: u32 = 14;
const KEY: u32 = 12;
/// Left of the axis: its numbers and its name.
const LEFT: f64 = 62.0;
const HIGH: u32 = 300;
/// An SWR beyond which no antenna is used; what is above is drawn along the upper edge.
const MOST: f64 = 6.0;

impl Sweeps<'_> {
    /// What it shows.
    pub fn title(&self) -> String {
        format!("SWR against frequency about {}, as {} swept it", self.swept.band, self.swept.meter)
    }

    fn title_lines(&self) -> Vec<String> {
        let room = f64::from(self.look.width - 2 * SIDE);
        if self.look.titled { fold(&self.title(), 15, room, 3) } else { vec![] }
    }

    /// The antennas' names in lines that fit, each with its number.
    fn key(&self) -> Vec<Vec<(usize, String)>> {
        let room = f64::from(self.look.width - 2 * SIDE);
        let mut lines: Vec<Vec<(usize, String)>> = vec![];
        let mut used = f64::INFINITY;
        for (number, antenna) in self.swept.antennas.iter().enumerate() {
            let name = &antenna.antenna;
            // a PNG may not hold the name: its number in the table tells it then
            let hard = self.look.titled && !writes(name);
            let name = if hard { format!("no. {}: {name}", number + 1) } else { name.clone() };
            let name = fold(&name, KEY, room - 46.0, 1).concat();
            let wide = width(&name, KEY) + 60.0;
            if used + wide > room {
                lines.push(vec![]);
                used = 0.0;
            }
            used += wide;
            if let Some(line) = lines.last_mut() {
                line.push((number, name));
            }
        }
        lines
    }

    fn head(&self) -> u32 {
        10 + 20 * self.title_lines().len() as u32 + 20 * self.key().len() as u32 + 24
    }

    /// Ends of the axes: all frequencies, and SWR from 1 to a little above the highest, never less than 3.
    fn ends(&self) -> ((f64, f64), f64) {
        let points = || self.swept.curves().flat_map(|c| &c.points);
        let low = points().map(|p| p.0).fold(self.swept.mhz, f64::min);
        let high = points().map(|p| p.0).fold(self.swept.mhz, f64::max);
        let room = ((high - low) * 0.02).max(1e-3);
        let most = points().map(|p| p.1).filter(|s| s.is_finite()).fold(3.0, f64::max);
        ((low - room, high + room), most.min(MOST))
    }
}

impl Plot for Sweeps<'_> {
    fn size(&self) -> (u32, u32) {
        (self.look.width, self.head() + HIGH + 48)
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let ((low, high), most) = self.ends();
        let (left, right) = (f64::from(SIDE) + LEFT, f64::from(self.look.width - SIDE) - 12.0);
        let (top, bottom) = (f64::from(self.head()), f64::from(self.head() + HIGH));
        let at = |mhz: f64, swr: f64| {
            let x = left + (right - left) * (held(mhz, low, high) - low) / (high - low);
            (x, bottom - (bottom - top) * (held(swr, 1.0, most) - 1.0) / (most - 1.0))
        };
        let here = |(x, y): (f64, f64)| (pen.length(x), pen.length(y));
        let line = |points: &[(f64, f64)], style: ShapeStyle| {
            let points: Vec<(i32, i32)> = points.iter().map(|p| here(*p)).collect();
            canvas.draw(&PathElement::new(points, style)).map_err(PlotError::new)
        };
        let words = |text: &str, size: u32, place: (f64, f64), across: HPos| {
            let style = pen.text(size).pos(Pos::new(across, VPos::Center));
            canvas.draw_text(text, &style, here(place)).map_err(PlotError::new)
        };
        for (k, text) in self.title_lines().iter().enumerate() {
            words(text, 15, (f64::from(SIDE), 18.0 + 20.0 * k as f64), HPos::Left)?;
        }
        let (marks, step) = ticks(low, high, (right - left) / 70.0);
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        for mhz in marks {
            let (x, _) = at(mhz, 1.0);
            line(&[(x, top), (x, bottom)], pen.line(FAINT, 7))?;
            words(&format!("{mhz:.decimals$}"), 11, (x, bottom + 13.0), HPos::Center)?;
        }
        for swr in ticks(1.0, most, 6.0).0 {
            let (_, y) = at(low, swr);
            line(&[(left, y), (right, y)], pen.line(FAINT, 7))?;
            words(&format!("{swr:.1}"), 11, (left - 6.0, y), HPos::Right)?;
        }
        line(&[(left, top), (left, bottom), (right, bottom)], pen.line(INK, 10))?;
        words("SWR", 12, (f64::from(SIDE), top - 12.0), HPos::Left)?;
        words("frequency, MHz", 12, ((left + right) / 2.0, bottom + 33.0), HPos::Center)?;
        let band = fold(&format!("{}, {} MHz", self.swept.band, self.swept.mhz), 11, right - left - 40.0, 1).concat();
        let (x, _) = at(self.swept.mhz, 1.0);
        line(&[(x, top - 4.0), (x, bottom)], pen.line(INK, 12))?;
        let half = width(&band, 11) / 2.0;
        words(&band, 11, (held(x, left + half, right - half), top - 12.0), HPos::Center)?;
        let (_, two) = at(low, 2.0);
        dashed(&[(left, two), (right, two)], &[9.0, 5.0], &mut |from, to| line(&[from, to], pen.line(INK, 12)))?;
        // beside the curves, which may run anywhere inside
        words("2:1", 11, (right + 3.0, two), HPos::Left)?;

        for (number, antenna) in self.swept.antennas.iter().enumerate() {
            let (mark, breaks) = look_of(number);
            let style = pen.line(color_of(mark), 14);
            for curve in &antenna.curves {
                for part in under(curve, most) {
                    let points: Vec<(f64, f64)> = part.iter().map(|p| at(p.0, p.1)).collect();
                    dashed(&points, breaks, &mut |from, to| line(&[from, to], style))?;
                }
            }
        }
        // marks over all lines, so that none is struck through
        for (number, antenna) in self.swept.antennas.iter().enumerate() {
            for (mhz, swr) in antenna.curves.iter().filter_map(|c| c.least).filter(|l| l.1 <= most) {
                draw_mark(canvas, pen, look_of(number).0, at(mhz, swr))?;
            }
        }
        let first = 18.0 + 20.0 * self.title_lines().len() as f64;
        for (k, entries) in self.key().iter().enumerate() {
            let (mut x, y) = (f64::from(SIDE), first + 20.0 * k as f64);
            for (number, name) in entries {
                let (mark, breaks) = look_of(*number);
                let style = pen.line(color_of(mark), 14);
                dashed(&[(x, y), (x + 32.0, y)], breaks, &mut |from, to| line(&[from, to], style))?;
                draw_mark(canvas, pen, mark, (x + 16.0, y))?;
                words(name, KEY, (x + 38.0, y), HPos::Left)?;
                x += width(name, KEY) + 60.0;
            }
        }
        Ok(())
    }
}

/// Mark and breaks of an antenna's lines: as many as there are pairs of the two before any comes again.
fn look_of(number: usize) -> (Mark, &'static [f64]) {
    (MARKS[number % MARKS.len()], BREAKS[number % BREAKS.len()])
}

/// The stretches of a curve at or below a limit, with the first point beyond it at either end, so that a line runs out at
/// the edge rather than along it.
fn under(curve: &Curve, most: f64) -> Vec<Vec<(f64, f64)>> {
    let mut parts: Vec<Vec<(f64, f64)>> = vec![];
    let mut open = false;
    for pair in curve.points.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        if a.1 > most && b.1 > most {
            open = false;
            continue;
        }
        let edge = |from: (f64, f64), to: (f64, f64)| {
            let share = (most - from.1) / (to.1 - from.1);
            (from.0 + share * (to.0 - from.0), most)
        };
        let (start, end) = (if a.1 > most { edge(b, a) } else { a }, if b.1 > most { edge(a, b) } else { b });
        if !open {
            parts.push(vec![start]);
        }
        open = b.1 <= most;
        if let Some(part) = parts.last_mut() {
            part.push(end);
        }
    }
    parts
}

/// Draws a line in pieces: `breaks` are lengths drawn and left out, in turn; whole where there are none.
fn dashed(
    points: &[(f64, f64)],
    breaks: &[f64],
    draw: &mut impl FnMut((f64, f64), (f64, f64)) -> Result<(), PlotError>,
) -> Result<(), PlotError> {
    let mut turn = 0;
    let mut left = breaks.first().copied().unwrap_or(f64::INFINITY);
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        loop {
            let long = (to.0 - from.0).hypot(to.1 - from.1);
            let drawn = turn % 2 == 0;
            if long <= left {
                if drawn {
                    draw(from, to)?;
                }
                left -= long;
                break;
            }
            let share = left / long;
            let next = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            if drawn {
                draw(from, next)?;
            }
            from = next;
            turn += 1;
            left = breaks[turn % breaks.len()];
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_of_fifteen_antennas_have_the_same_line_and_mark() {
        let looks: Vec<_> = (0..15).map(look_of).collect();
        for (i, look) in looks.iter().enumerate() {
            assert!(!looks[..i].contains(look), "{i}");
        }
    }

    #[test]
    fn a_curve_ends_at_the_edge_and_comes_back_there() {
        let points = vec![(1.0, 8.0), (2.0, 4.0), (3.0, 2.0), (4.0, 10.0), (5.0, 12.0), (6.0, 2.0)];
        let curve = Curve { points, least: None, under_two: None };
        let parts = under(&curve, 6.0);
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[0], [(1.5, 6.0), (2.0, 4.0), (3.0, 2.0), (3.5, 6.0)]);
        assert_eq!(parts[1], [(5.6, 6.0), (6.0, 2.0)]);
    }

    #[test]
    fn pieces_of_a_broken_line_go_on_round_a_corner() {
        let mut drawn = vec![];
        let corner = [(0.0, 0.0), (5.0, 0.0), (5.0, 5.0)];
        dashed(&corner, &[4.0, 2.0], &mut |from, to| {
            drawn.push((from, to));
            Ok(())
        })
        .unwrap();
        assert_eq!(drawn, [((0.0, 0.0), (4.0, 0.0)), ((5.0, 1.0), (5.0, 5.0))]);
    }
}
