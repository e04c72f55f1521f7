//! Pictures: one struct a plot, results in, drawing out, the same drawing as SVG and as PNG.
//!
//! A plot draws on a canvas in its own pixels and asks [`Pen`] for every size, so that the SVG (drawn
//! four times as large, since its coordinates are whole numbers, and scaled down by its view box) and
//! the PNG (drawn twice as large, for dense screens) look alike. Text is drawn with a font that
//! comes along (see [`glyphs`]), so a machine without fonts gives the same PNG.

pub mod acceptance;
pub mod contributions;
mod encode;
pub mod fit;
pub mod gallery;
pub mod glyphs;
pub mod histogram;
pub mod marks;
pub mod meters;
mod meters_axes;
mod meters_season;
pub mod rows;
pub mod shares;
pub mod standing;
pub mod sweeps;
pub mod worth;

use std::path::Path;
use std::sync::OnceLock;

use plotters::coord::Shift;
use plotters::prelude::*;

use super::files;

/// Ink of axes and text.
pub const INK: RGBColor = RGBColor(34, 34, 34);
/// Ink of grid lines and of what stays in the background.
pub const FAINT: RGBColor = RGBColor(205, 205, 205);
/// Ground of a zone.
pub const SHADE: RGBColor = RGBColor(226, 232, 240);
/// Paper.
pub const PAPER: RGBColor = RGBColor(255, 255, 255);
/// Colours of series: told apart by readers with any common colour blindness (Okabe and Ito, 2008), and
/// never the only mark.
pub const SERIES: [RGBColor; 4] =
    [RGBColor(0, 114, 178), RGBColor(213, 94, 0), RGBColor(0, 158, 115), RGBColor(204, 121, 167)];

/// How a plot is to look: as a file it bears its title; on a page its caption does, and a telephone gets a narrow one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Width in pixels of the page.
    pub width: u32,
    /// Whether the title is drawn.
    pub titled: bool,
}

impl Look {
    /// A file by itself.
    pub const FILE: Look = Look { width: 720, titled: true };
    /// On a page on a desk.
    pub const WIDE: Look = Look { width: 720, titled: false };
    /// On a page in the hand.
    pub const NARROW: Look = Look { width: 328, titled: false };
}

/// Canvas of any kind of file.
pub type Canvas<B> = DrawingArea<B, Shift>;

/// Why a picture could not be made.
#[derive(Debug, thiserror::Error)]
#[error("the plot could not be drawn: {0}")]
pub struct PlotError(String);

impl PlotError {
    /// The same for whatever the backend says went wrong.
    pub fn new(error: impl std::fmt::Display) -> PlotError {
        PlotError(error.to_string())
    }
}

/// A picture that can be drawn on any canvas.
pub trait Plot {
    /// Width and height in pixels of the page.
    fn size(&self) -> (u32, u32);

    /// Draws it.
    ///
    /// # Errors
    /// What the canvas refuses.
    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError>;
}

/// Sizes on the canvas at hand.
#[derive(Debug, Clone, Copy)]
pub struct Pen {
    scale: u32,
}

impl Pen {
    /// A length in pixels of the page.
    pub fn px(self, length: u32) -> u32 {
        length * self.scale
    }

    /// The same for what need not be whole.
    pub fn length(self, length: f64) -> i32 {
        (length * f64::from(self.scale)).round() as i32
    }

    /// Text of a size in pixels of the page, in ink.
    pub fn text<'a>(self, size: u32) -> TextStyle<'a> {
        // the library divides a font's size by 1.24 when it draws
        ("sans-serif", f64::from(size * self.scale) * 1.24).into_font().color(&INK)
    }

    /// A line of a width in tenths of a pixel of the page.
    pub fn line(self, color: RGBColor, tenths: u32) -> ShapeStyle {
        ShapeStyle { color: color.to_rgba(), filled: false, stroke_width: (tenths * self.scale).div_ceil(10) }
    }
}

const SVG_SCALE: u32 = 4;
const PNG_SCALE: u32 = 2;

/// The plot as an SVG document.
///
/// # Errors
/// What the canvas refuses.
pub fn to_svg(plot: &impl Plot) -> Result<String, PlotError> {
    register_font()?;
    let (width, height) = plot.size();
    let (wide, high) = (width * SVG_SCALE, height * SVG_SCALE);
    let mut text = String::new();
    {
        let canvas = SVGBackend::with_string(&mut text, (wide, high)).into_drawing_area();
        canvas.fill(&PAPER).map_err(PlotError::new)?;
        plot.draw(&canvas, Pen { scale: SVG_SCALE })?;
        canvas.present().map_err(PlotError::new)?;
    }
    let large = format!("<svg width=\"{wide}\" height=\"{high}\"");
    Ok(text.replacen(&large, &format!("<svg width=\"{width}\" height=\"{height}\""), 1))
}

/// The plot as a PNG.
///
/// # Errors
/// What the canvas refuses.
pub fn png(plot: &impl Plot) -> Result<Vec<u8>, PlotError> {
    register_font()?;
    let (width, height) = plot.size();
    let (wide, high) = (width * PNG_SCALE, height * PNG_SCALE);
    let mut pixels = vec![255; (wide * high * 3) as usize];
    {
        let bitmap = glyphs::Bitmap(BitMapBackend::with_buffer(&mut pixels, (wide, high)));
        let canvas = bitmap.into_drawing_area();
        canvas.fill(&PAPER).map_err(PlotError::new)?;
        plot.draw(&canvas, Pen { scale: PNG_SCALE })?;
        canvas.present().map_err(PlotError::new)?;
    }
    encode::png(&pixels, wide, high).map_err(PlotError::new)
}

/// Writes the plot to `path` as a PNG, whole or not at all.
///
/// # Errors
/// A folder that can't be written; what the canvas refuses.
pub fn write_png(plot: &impl Plot, path: &Path) -> Result<(), PlotError> {
    files::write(path, &png(plot)?).map_err(PlotError::new)
}

/// Writes the plot to `path` as an SVG, whole or not at all.
///
/// # Errors
/// A folder that can't be written; what the canvas refuses.
pub fn write_svg(plot: &impl Plot, path: &Path) -> Result<(), PlotError> {
    files::write(path, to_svg(plot)?.as_bytes()).map_err(PlotError::new)
}

fn register_font() -> Result<(), PlotError> {
    static DONE: OnceLock<bool> = OnceLock::new();
    let done =
        DONE.get_or_init(|| plotters::style::register_font("sans-serif", FontStyle::Normal, glyphs::FONT).is_ok());
    if *done { Ok(()) } else { Err(PlotError::new("its font can't be read")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Word;

    impl Plot for Word {
        fn size(&self) -> (u32, u32) {
            (120, 40)
        }

        fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
            let at = (pen.px(10) as i32, pen.px(12) as i32);
            canvas.draw_text("|Γ| ± 0,5", &pen.text(14), at).map_err(PlotError::new)
        }
    }

    #[test]
    fn a_plot_is_the_same_picture_as_svg_and_as_png_without_any_font_installed() {
        let svg = to_svg(&Word).unwrap();
        assert!(svg.starts_with("<svg width=\"120\" height=\"40\" viewBox=\"0 0 480 160\""), "{}", &svg[..90]);
        assert!(svg.contains("font-size=\"56\"") && svg.contains("|Γ| ± 0,5"), "{svg}");
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("word.png");
        write_png(&Word, &path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((number(16), number(20)), (240, 80), "width and height in the header");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no part left behind");
    }

    #[test]
    fn a_folder_that_is_not_there_is_an_error_and_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_svg(&Word, &folder.path().join("none/word.svg")).is_err());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
