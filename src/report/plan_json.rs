//! A plan as JSON, format `daylight/plan/1`. Keys stand in the order of the result's fields.

use serde::Serialize;

use crate::analysis::plan::result::Plan;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    plan: &'a Plan,
}

/// The document, indented.
///
/// # Errors
/// None is expected: every key is text.
pub fn render(plan: &Plan) -> serde_json::Result<String> {
    serde_json::to_string_pretty(&Document { format: "daylight/plan/1", plan })
}
