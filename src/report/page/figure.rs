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
    /// The narrow one.
    pub narrow: String,
}

/// Draws a picture for the page; `None` where there is nothing to draw.
///
/// # Errors
/// What the canvas refuses.
pub fn figure<'a>(note: &str, picture: impl Fn(Look) -> Option<Picture<'a>>) -> Result<Option<Figure>, PlotError> {
    let (Some(wide), Some(narrow)) = (picture(Look::WIDE), picture(Look::NARROW)) else { return Ok(None) };
    let title = wide.title();
    Ok(Some(Figure {
        caption: if note.is_empty() { format!("{title}.") } else { format!("{title}. {note}") },
        alternative: format!("{title}. The figures are in the tables of this section."),
        wide: inside(to_svg(&wide)?),
        narrow: inside(to_svg(&narrow)?),
    }))
}

/// As part of a page: without what only a file by itself needs, and hidden from a screen reader, which is given the
/// words of the figure around it.
fn inside(svg: String) -> String {
    let svg = svg.replace(" xmlns=\"http://www.w3.org/2000/svg\"", "").replace(" opacity=\"1\"", "");
    svg.replacen("<svg ", "<svg aria-hidden=\"true\" focusable=\"false\" ", 1).replace(">\n", ">")
}
