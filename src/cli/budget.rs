//! `daylight budget FILE`.

use std::path::Path;

use super::{BudgetArgs, Outcome, on_threads, progress};
use crate::analysis::budget::result::Budget;
use crate::analysis::budget::simulation::Options;
use crate::analysis::budget::{analyse, parse};
use crate::montecarlo::adaptive::CHUNK;
use crate::report::plot::contributions::Contributions;
use crate::report::plot::histogram::OutputHistogram;
use crate::report::plot::{write_png, write_svg};
use crate::report::{budget_json, budget_text};
use crate::season::finding::Severity;

/// Reads the budget, works it out, and renders the answer.
///
/// # Errors
/// Input that can't be used, or plots that can't be written, in words.
pub fn run(args: &BudgetArgs) -> Result<Outcome, String> {
    let config = parse::read(&args.file).map_err(|e| e.to_string())?;
    let options = Options { seed: args.seed, trials: args.trials.map(u64::from) };
    let bar = progress::counter(args.quiet, "trials");
    let work = || analyse(&config, &options, &|| bar.inc(CHUNK as u64));
    let budget = on_threads(args.threads, work)?;
    bar.finish_and_clear();
    if let Some(folder) = &args.plots {
        draw(&budget, folder)?;
    }
    let text = if args.json {
        budget_json::render(&budget).map_err(|e| format!("the answer could not be written as JSON: {e}"))? + "\n"
    } else {
        budget_text::render(&budget)
    };
    let bad = budget.findings.iter().any(|f| f.severity == Severity::Error);
    Ok(Outcome { text, status: u8::from(bad) })
}

/// Writes both plots of every output, as SVG and as PNG.
fn draw(budget: &Budget, folder: &Path) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|e| format!("{}: this can't be made: {}", folder.display(), e.kind()))?;
    for (number, output) in budget.outputs.iter().enumerate() {
        let stem = file_stem(&output.name, number);
        let path = |what: &str, ending: &str| folder.join(format!("{stem}-{what}.{ending}"));
        if let Some(plot) = OutputHistogram::new(budget, output) {
            write_svg(&plot, &path("histogram", "svg")).map_err(|e| e.to_string())?;
            write_png(&plot, &path("histogram", "png")).map_err(|e| e.to_string())?;
        }
        if let Some(plot) = Contributions::new(budget, output) {
            write_svg(&plot, &path("contributions", "svg")).map_err(|e| e.to_string())?;
            write_png(&plot, &path("contributions", "png")).map_err(|e| e.to_string())?;
        }
    }
    Ok(())
}

/// An output's name as part of a file's: letters and digits, else hyphens; its number where nothing is left or two
/// outputs could meet.
fn file_stem(name: &str, number: usize) -> String {
    let plain: String = name.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).take(40).collect();
    let plain = plain.trim_matches('-').to_string();
    if plain == name { plain } else { format!("{}-{plain}", number + 1).trim_end_matches('-').to_string() }
}
