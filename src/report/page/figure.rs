//! A picture inside the page: drawn once for a desk and once for a hand, of which the reader's screen shows one.

use serde::Serialize;

use crate::report::plot::gallery::Picture;
use crate::report::plot::{Look, PlotError, to_svg};

/// A picture with its caption.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// Its caption.
    pub caption: String,
    /// What a reader who can't see it is told.
    pub alternative: String,
    /// The wide drawing, SVG.
    pub wide: String,
    /// The narrow one; none where the wide one is small enough for a hand.
    pub narrow: Option<String>,
}

/// Draws a picture for the page; `None` where there is nothing to draw.
///
/// # Errors
/// What the canvas refuses.
pub fn figure<'a>(note: &str, picture: impl Fn(Look) -> Option<Picture<'a>>) -> Result<Option<Figure>, PlotError> {
    drawn(note, picture(Look::WIDE), picture(Look::NARROW))
}

/// The same for a picture that is small on any screen, several of which stand side by side on a desk.
///
/// # Errors
/// What the canvas refuses.
pub fn small(picture: Picture) -> Result<Option<Figure>, PlotError> {
    drawn("", Some(picture), None)
}

fn drawn(note: &str, wide: Option<Picture>, narrow: Option<Picture>) -> Result<Option<Figure>, PlotError> {
    let Some(wide) = wide else { return Ok(None) };
    let title = wide.title();
    Ok(Some(Figure {
        caption: if note.is_empty() { format!("{title}.") } else { format!("{title}. {note}") },
        alternative: format!("{title}. The figures are in the tables of this section."),
        wide: inside(to_svg(&wide)?),
        narrow: narrow.map(|p| to_svg(&p)).transpose()?.map(inside),
    }))
}

/// As part of a page: without what only a file by itself needs, and hidden from a screen reader, which is given the
/// words of the figure around it.
fn inside(svg: String) -> String {
    let svg = svg.replace(" xmlns=\"http://www.w3.org/2000/svg\"", "").replace(" opacity=\"1\"", "");
    svg.replacen("<svg ", "<svg aria-hidden=\"true\" focusable=\"false\" ", 1).replace(">\n", ">")
}
