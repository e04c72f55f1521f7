//! `daylight antennas SEASON`.

use super::choice::choice;
use super::{AntennasArgs, Outcome, on_threads, progress, shown};
use crate::analysis::antennas::analyse;
use crate::montecarlo::replays::CHUNK;
use crate::report::{antennas_json, antennas_text};
use crate::season::Season;
use crate::season::finding::Severity;

/// Takes the season in, analyses it, and renders the answer.
///
/// # Errors
/// Input that can't be used, in words.
pub fn run(args: &AntennasArgs) -> Result<Outcome, String> {
    let season = Season::load_all(&args.season).map_err(|e| e.to_string())?;
    let options = args.replays.options(&season);
    let choice = choice(&season, args.quantity.as_ref(), args.band.as_ref(), args.meter.as_ref())
        .map_err(|e| format!("{}: {e}", shown(&args.season)))?;
    let bar = progress::counter(args.replays.quiet, "replays");
    let work = || analyse(&season, &choice, &options, &|| bar.inc(CHUNK as u64));
    let result = on_threads(args.replays.threads, work)?;
    bar.finish_and_clear();
    let result = result.map_err(|e| format!("the readings could not be grouped: {e}"))?;
    if result.asked == 0 && season.readings.frame.height() > 0 {
        return Err(no_such_set(args));
    }
    let text = if args.json {
        antennas_json::render(&result).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        antennas_text::render(&result)
    };
    let bad = result.findings.iter().any(|f| f.severity == Severity::Error);
    Ok(Outcome { text, status: u8::from(bad) })
}

fn no_such_set(args: &AntennasArgs) -> String {
    let wanted: Vec<String> = [("quantity", &args.quantity), ("band", &args.band), ("meter", &args.meter)]
        .iter()
        .filter_map(|(key, name)| name.as_ref().map(|n| format!("{key} `{n}`")))
        .collect();
    if wanted.is_empty() {
        return format!(
            "{}: no reading of an antenna, only of check loads\nhint: log readings of at least two antennas",
            shown(&args.season)
        );
    }
    format!(
        "{}: no readings with {}\nhint: leave the choice out to see every set there is",
        shown(&args.season),
        wanted.join(", ")
    )
}
