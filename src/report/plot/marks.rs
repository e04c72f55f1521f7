//! Marks of values: told apart by their shape, whatever the colours look like to a reader.

use plotters::prelude::*;

use super::{Canvas, INK, PAPER, Pen, PlotError, SERIES};

/// How a value is marked: shape first, colour second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A filled diamond: what the others are held against.
    Base,
    /// A filled circle.
    Full,
    /// An open circle.
    Open,
    /// A filled square.
    Square,
    /// A cross.
    Cross,
}

/// Its colour.
pub fn color_of(mark: Mark) -> RGBColor {
    match mark {
        Mark::Base => INK,
        Mark::Full => SERIES[0],
        Mark::Open => SERIES[1],
        Mark::Square => SERIES[2],
        Mark::Cross => SERIES[3],
    }
}

/// Draws it about a place in pixels of the page.
///
/// # Errors
/// What the canvas refuses.
pub fn draw_mark<B: DrawingBackend>(
    canvas: &Canvas<B>,
    pen: Pen,
    mark: Mark,
    (x, y): (f64, f64),
) -> Result<(), PlotError> {
    let here = |dx: f64, dy: f64| (pen.length(x + dx), pen.length(y + dy));
    let color = color_of(mark);
    let shape = |points: &[(f64, f64)]| {
        Polygon::new(points.iter().map(|(a, b)| here(*a, *b)).collect::<Vec<_>>(), color.filled())
    };
    let stroke = |points: &[(f64, f64)]| {
        let points: Vec<(i32, i32)> = points.iter().map(|(a, b)| here(*a, *b)).collect();
        canvas.draw(&PathElement::new(points, pen.line(color, 24))).map_err(PlotError::new)
    };
    match mark {
        Mark::Base => canvas.draw(&shape(&[(0.0, -7.0), (7.0, 0.0), (0.0, 7.0), (-7.0, 0.0)])).map_err(PlotError::new),
        Mark::Square => {
            canvas.draw(&shape(&[(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)])).map_err(PlotError::new)
        }
        Mark::Full => {
            canvas.draw(&Circle::new(here(0.0, 0.0), pen.length(5.5), color.filled())).map_err(PlotError::new)
        }
        Mark::Open => {
            let paper = Circle::new(here(0.0, 0.0), pen.length(5.5), PAPER.filled());
            canvas.draw(&paper).map_err(PlotError::new)?;
            canvas.draw(&Circle::new(here(0.0, 0.0), pen.length(5.0), pen.line(color, 22))).map_err(PlotError::new)
        }
        Mark::Cross => {
            stroke(&[(-5.0, -5.0), (5.0, 5.0)])?;
            stroke(&[(-5.0, 5.0), (5.0, -5.0)])
        }
    }
}
