//! What the font that comes along can write: Latin, Greek, Cyrillic, Armenian and Georgian letters, and the signs of
//! mathematics. Other scripts need shaping, or more glyphs than a program should carry: an SVG leaves them to the
//! reader's own fonts, and a PNG writes `…` for them, with a row's number before it.

use std::borrow::Cow;
use std::sync::OnceLock;

use ab_glyph::{Font, FontRef};
use plotters::prelude::{BitMapBackend, DrawingBackend};
use plotters_backend::{BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingErrorKind};

/// The font: a subset of DejaVu Sans; its licence stands in its name table and in `sans-licence.txt`.
pub const FONT: &[u8] = include_bytes!("sans.ttf");

/// Whether the font has a letter for every character.
pub fn writes(text: &str) -> bool {
    text.chars().all(has_glyph)
}

/// A text with `…` for each run of characters that the font has no letter for, with what stands between two runs.
fn written(text: &str) -> Cow<'_, str> {
    if writes(text) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if has_glyph(c) && c != '…' {
            out.push(c);
            continue;
        }
        // only blanks and points since the last mark: the same run goes on
        let so_far = out.trim_end_matches(|c: char| c == ' ' || c.is_ascii_punctuation());
        if so_far.ends_with('…') {
            out.truncate(so_far.len());
        } else {
            out.push('…');
        }
    }
    Cow::Owned(out)
}

fn has_glyph(c: char) -> bool {
    font().is_some_and(|font| font.glyph_id(c).0 != 0)
}

/// How wide a character is in the font, in parts of the font's size; `None` where it has no letter for it.
pub fn advance(c: char) -> Option<f64> {
    let font = font()?;
    let glyph = font.glyph_id(c);
    let em = f64::from(font.units_per_em()?);
    (glyph.0 != 0).then(|| f64::from(font.h_advance_unscaled(glyph)) / em)
}

fn font() -> Option<&'static FontRef<'static>> {
    static OF: OnceLock<Option<FontRef<'static>>> = OnceLock::new();
    OF.get_or_init(|| FontRef::try_from_slice(FONT).ok()).as_ref()
}

/// A bitmap on which a character without a letter is no empty box.
pub struct Bitmap<'a>(pub BitMapBackend<'a>);

type Done<'a> = Result<(), DrawingErrorKind<<BitMapBackend<'a> as DrawingBackend>::ErrorType>>;

impl<'a> DrawingBackend for Bitmap<'a> {
    type ErrorType = <BitMapBackend<'a> as DrawingBackend>::ErrorType;

    fn get_size(&self) -> (u32, u32) {
        self.0.get_size()
    }

    fn ensure_prepared(&mut self) -> Done<'a> {
        self.0.ensure_prepared()
    }

    fn present(&mut self) -> Done<'a> {
        self.0.present()
    }

    fn draw_pixel(&mut self, point: BackendCoord, color: BackendColor) -> Done<'a> {
        self.0.draw_pixel(point, color)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Done<'a> {
        self.0.draw_line(from, to, style)
    }

    fn draw_rect<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S, fill: bool) -> Done<'a> {
        self.0.draw_rect(from, to, style, fill)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Done<'a> {
        self.0.draw_path(path, style)
    }

    fn draw_circle<S: BackendStyle>(&mut self, at: BackendCoord, radius: u32, style: &S, fill: bool) -> Done<'a> {
        self.0.draw_circle(at, radius, style, fill)
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Done<'a> {
        self.0.fill_polygon(path, style)
    }

    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, at: BackendCoord) -> Done<'a> {
        self.0.draw_text(&written(text), style, at)
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Self::ErrorType>> {
        self.0.estimate_text_size(&written(text), style)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_of_these_scripts_are_written_and_others_are_one_mark_a_run() {
        for text in ["Łódź ěščř ĳ ơ", "Ελληνικά ἀρχή", "Цапля ҐЇ", "Հայերեն", "ქართული", "≤ ± Ω µ − … ▲ "]
        {
            assert_eq!(written(text), text);
        }
        assert_eq!(written("whip 鷺鷺 2"), "whip … 2");
        assert_eq!(written("no. 4: מוט, ארוך … 2"), "no. 4: … 2");
    }
}
