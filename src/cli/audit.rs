//! `daylight audit SEASON`.

use super::{AuditArgs, Outcome};
use crate::analysis::audit::audit;
use crate::report::{audit_json, audit_text};
use crate::season::Season;

/// Takes the season in, audits it, and renders what was found.
///
/// # Errors
/// Input that can't be used, in words.
pub fn run(args: &AuditArgs) -> Result<Outcome, String> {
    let season = Season::load_all(&args.season).map_err(|e| e.to_string())?;
    let audit = audit(&season).map_err(|e| format!("the readings could not be laid out: {e}"))?;
    let text = if args.json {
        audit_json::render(&audit).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        audit_text::render(&audit)
    };
    Ok(Outcome { text, status: u8::from(audit.has_error()) })
}
