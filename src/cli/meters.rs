//! `daylight meters SEASON`.

use std::path::Path;

use super::choice::choice;
use super::{MetersArgs, Outcome, on_threads, shown};
use crate::analysis::meters::{Options, SHUFFLES, analyse, result::Meters};
use crate::report::{meters_json, meters_text, plot};
use crate::season::Season;
use crate::season::finding::Severity;

/// Takes the season in, compares its meters, and renders the answer; with `--plots`, draws it too.
///
/// # Errors
/// Input that can't be used, or plots that can't be written, in words.
pub fn run(args: &MetersArgs) -> Result<Outcome, String> {
    let season = Season::load_all(&args.season).map_err(|e| e.to_string())?;
    let options = Options {
        confidence: args.replays.confidence.unwrap_or(season.config.confidence),
        seed: args.replays.seed,
        shuffles: args.replays.trials.map_or(SHUFFLES, |t| t as usize),
    };
    let choice = choice(&season, args.quantity.as_ref(), args.band.as_ref(), args.meter.as_ref())
        .map_err(|e| format!("{}: {e}", shown(&args.season)))?;
    let work = || analyse(&season, &choice, &options);
    let result = on_threads(args.replays.threads, work)?;
    let result = result.map_err(|e| format!("the readings could not be grouped: {e}"))?;
    let text = if args.json {
        meters_json::render(&result).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        meters_text::render(&result)
    };
    if let Some(folder) = &args.plots {
        draw(&result, folder)?;
    }
    let bad = result.findings.iter().any(|f| f.severity == Severity::Error);
    Ok(Outcome { text, status: u8::from(bad) })
}

/// Writes every plot as SVG and PNG.
fn draw(result: &Meters, folder: &Path) -> Result<(), String> {
    let fail = |what: String| format!("{}: {what}\nhint: name a folder that can be written to", folder.display());
    std::fs::create_dir_all(folder).map_err(|e| fail(format!("the folder could not be made: {e}")))?;
    plot::gallery::write_pairs(&result.pairs, folder).map_err(|e| fail(e.to_string()))
}
