//! `daylight claims SEASON`.

use super::{ClaimsArgs, Outcome, on_threads, progress};
use crate::analysis::claims::check;
use crate::report::{claims_json, claims_text};
use crate::season::Season;
use crate::season::finding::Severity;

/// Takes the season in, checks its claims, and renders the answer.
///
/// # Errors
/// Input that can't be used, in words.
pub fn run(args: &ClaimsArgs) -> Result<Outcome, String> {
    let season = Season::load(&args.season).map_err(|e| e.to_string())?;
    let options = args.replays.options(&season);
    // what lies beyond one end of the season's interval
    let risk = args.risk.unwrap_or((1.0 - options.confidence) / 2.0);
    let bar = progress::counter(args.replays.quiet, "claims");
    let work = || check(&season, &options, risk, &|| bar.inc(1));
    let result = on_threads(args.replays.threads, work)?;
    bar.finish_and_clear();
    let result = result.map_err(|e| format!("the readings could not be grouped: {e}"))?;
    let text = if args.json {
        claims_json::render(&result).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        claims_text::render(&result)
    };
    let bad = result.findings.iter().any(|f| f.severity == Severity::Error);
    Ok(Outcome { text, status: u8::from(bad) })
}
