//! The answer of `meters` as JSON, format `daylight/meters/1`. Keys stand in the order of the result's fields; a number
//! that is not known, or not finite, is null. Differences are second − first.

use serde::Serialize;

use crate::analysis::meters::result::Meters;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    meters: &'a Meters,
}

/// The document, indented.
///
/// # Errors
/// None is expected: every key is text.
pub fn render(meters: &Meters) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(&Document { format: "daylight/meters/1", meters })
}
