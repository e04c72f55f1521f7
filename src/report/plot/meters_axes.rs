//! Axes of the pictures of two meters, with their title and their numbers.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::fit::fold;
use super::{Canvas, Look, Pen, PlotError};

/// Width and height: less high where it is narrow.
pub fn size(look: Look) -> (u32, u32) {
    (look.width, (look.width * 13 / 20).max(270))
}

/// Smallest range that holds the values, widened by a twentieth; never empty.
pub fn span(values: impl Iterator<Item = f64>) -> std::ops::Range<f64> {
    let (low, high) =
        values.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if low > high {
        return 0.0..1.0;
    }
    let margin = ((high - low) * 0.05).max(1e-3 * low.abs().max(1e-2));
    low - margin..high + margin
}

/// A number on an axis, with a typographic minus.
pub fn tick(v: &f64, width: f64) -> String {
    let decimals = (1.0 - width.log10().floor()).clamp(0.0, 6.0) as usize;
    let text = if v.abs() < 1e7 { format!("{:.decimals$}", v.abs()) } else { format!("{:.1e}", v.abs()) };
    if *v < 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') { format!("−{text}") } else { text }
}

/// Writes a title in lines that fit, and says how high they are.
pub fn head<B: DrawingBackend>(canvas: &Canvas<B>, pen: Pen, title: &str, width: u32) -> Result<u32, PlotError> {
    let lines = fold(title, 14, f64::from(width - 28), 3);
    for (k, line) in lines.iter().enumerate() {
        let at = (pen.px(14) as i32, pen.px(16 + 18 * k as u32) as i32);
        canvas.draw_text(line, &pen.text(14).pos(Pos::new(HPos::Left, VPos::Center)), at).map_err(PlotError::new)?;
    }
    Ok(18 * lines.len() as u32)
}

/// Draws axes, below the title if there is one, and hands the chart on.
macro_rules! axes {
    ($canvas:expr, $pen:expr, $look:expr, $title:expr, $x:expr, $y:expr, $xs:expr, $ys:expr) => {{
        let (wide, high) = ($xs.end - $xs.start, $ys.end - $ys.start);
        let above = match &$title {
            Some(title) => $crate::report::plot::meters_axes::head($canvas, $pen, title, $look.width)?,
            None => 0,
        };
        let narrow = $look.width < 500;
        let mut chart = ChartBuilder::on($canvas)
            .margin($pen.px(10))
            .margin_top($pen.px(12 + above))
            .margin_left($pen.px(if narrow { 2 } else { 10 }))
            .margin_right($pen.px(24))
            .x_label_area_size($pen.px(42))
            .y_label_area_size($pen.px(60))
            .build_cartesian_2d($xs.clone(), $ys.clone())
            .map_err(PlotError::new)?;
        chart
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style($pen.line($crate::report::plot::FAINT, 5))
            .axis_style($pen.line($crate::report::plot::INK, 8))
            .x_labels(if narrow { 5 } else { 8 })
            .y_labels(7)
            .x_label_formatter(&|v| $crate::report::plot::meters_axes::tick(v, wide))
            .y_label_formatter(&|v| $crate::report::plot::meters_axes::tick(v, high))
            .label_style($pen.text(11))
            .axis_desc_style($pen.text(12))
            .x_desc($crate::report::plot::fit::fold(&$x, 12, f64::from($look.width) - 100.0, 1).concat())
            .y_desc($y)
            .draw()
            .map_err(PlotError::new)?;
        chart
    }};
}

pub(super) use axes;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_hold_their_values_and_are_never_empty() {
        let s = span([1.0, 3.0, f64::INFINITY].into_iter());
        assert!(s.start < 1.0 && s.end > 3.0 && s.end < 3.2);
        let one = span([0.2].into_iter());
        assert!(one.start < 0.2 && one.end > 0.2);
        assert_eq!(span(std::iter::empty()), 0.0..1.0);
        assert_eq!((tick(&-0.02, 0.1), tick(&-0.001, 10.0)), ("−0.02".to_string(), "0".to_string()));
    }
}
