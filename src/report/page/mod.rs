//! The page that is shown to others: one HTML file, complete in itself.
//!
//! Results become the plain rows of [`view`], the pictures become SVG inside the page, and `page.html` puts them in
//! their places. Nothing is computed in the template, and every name that comes from the season is escaped there.

mod figure;
pub mod markdown;
mod matrix;
mod sets;
pub mod view;

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, Value, context};

use crate::analysis::whole::Whole;
use view::{Run, View};

/// Why a page could not be made.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// A picture could not be drawn.
    #[error(transparent)]
    Plot(#[from] super::plot::PlotError),
    /// The template and what fills it disagree.
    #[error("the page could not be filled: {0:#}")]
    Template(#[from] minijinja::Error),
}

/// The whole page.
///
/// # Errors
/// What a picture's canvas refuses; none is expected.
pub fn render(whole: &Whole, run: &Run) -> Result<String, PageError> {
    let view = Value::from(Serde(View::new(whole, run)?));
    let mut env = Environment::new();
    env.set_auto_escape_callback(|_| AutoEscape::Html);
    env.add_template("page.html", include_str!("page.html"))?;
    env.add_template("parts.html", include_str!("parts.html"))?;
    let style = include_str!("page.css");
    let script = include_str!("page.js");
    let page = env.get_template("page.html")?.render(context! { view, style, script })?;
    // lines that held nothing but the template's own marks
    Ok(page.lines().filter(|line| !line.trim().is_empty()).map(|line| line.to_string() + "\n").collect())
}
