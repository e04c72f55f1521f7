//! `daylight plan SEASON`.

use std::path::Path;

use super::choice::choice;
use super::{Outcome, PlanArgs, on_threads, progress};
use crate::analysis::plan::result::Plan;
use crate::analysis::plan::{Request, plan};
use crate::report::files::write_all_new;
use crate::report::{plan_json, plan_text, sheet};
use crate::season::Season;
use crate::season::error::argument;

/// Names of the record sheet's files.
const SHEETS: [&str; 2] = ["record-sheet.csv", "record-sheet.html"];

/// Takes the season in, plans the next session, and renders the plan; with `--sheet`, writes its record sheet.
///
/// # Errors
/// Input that can't be used, or a sheet that can't be written, in words.
pub fn run(args: &PlanArgs) -> Result<Outcome, String> {
    let season = Season::load_before_readings(&args.season).map_err(|e| e.to_string())?;
    let options = args.replays.options(&season);
    let request = Request {
        choice: choice(&season, args.quantity.as_ref(), args.band.as_ref(), args.meter.as_ref())
            .map_err(|e| format!("{}: {e}", args.season.display()))?,
        antennas: args.antennas.clone(),
        new: args.new.clone(),
        minutes: args.minutes,
        session: args.session.clone(),
    };
    let bar = progress::counter(args.replays.quiet, "simulations");
    let work = || plan(&season, &request, &options, &|| bar.inc(1));
    let result = on_threads(args.replays.threads, work)?;
    bar.finish_and_clear();
    let result = result.map_err(|e| format!("{}: {e}", args.season.display()))?;
    let mut text = if args.json {
        plan_json::render(&result).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        plan_text::render(&result)
    };
    if let Some(folder) = &args.sheet {
        write_sheet(&result, folder)?;
        if !args.json {
            let [csv, html] = SHEETS.map(|name| argument(&folder.join(name)));
            text += &format!(
                "\nmade {csv}: fill in `value`, and copy it into the season's folder\nmade {html}: to print and write on\n"
            );
        }
    }
    Ok(Outcome { text, status: u8::from(season.readings.has_error()) })
}

/// Writes both sheets; neither where one is there already.
fn write_sheet(result: &Plan, folder: &Path) -> Result<(), String> {
    let fail = |path: &Path, what: &str| format!("{}: {what}\n\nhint: name another folder for --sheet", path.display());
    let contents = [sheet::csv(result)?, sheet::html(result)?];
    std::fs::create_dir_all(folder).map_err(|e| fail(folder, &format!("the folder could not be made: {e}")))?;
    for name in SHEETS {
        let path = folder.join(name);
        if path.symlink_metadata().is_ok() {
            return Err(fail(&path, "this is there already, and is not overwritten"));
        }
    }
    let files: Vec<_> = SHEETS.iter().map(|name| folder.join(name)).zip(contents).collect();
    write_all_new(&files).map_err(|e| e.to_string())
}
