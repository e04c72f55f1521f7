//! `daylight export SEASON DIR`: readings, findings and results as plain tables.

use std::io::Write;
use std::path::Path;

use polars::prelude::*;

use super::{ExportArgs, Outcome, TableForm, on_threads};
use crate::analysis::whole::whole;
use crate::report::files::part_beside;
use crate::report::take_away;
use crate::season::Season;
use crate::season::error::InputError;

/// Writes the tables into the folder, and says which.
///
/// # Errors
/// Input that can't be used; a file that is there already, or a folder that is the season's own: then nothing is
/// written.
pub fn run(args: &ExportArgs) -> Result<Outcome, String> {
    let season = Season::load(&args.season).map_err(|e| e.to_string())?;
    let ending = match args.form {
        TableForm::Csv => "csv",
        TableForm::Parquet => "parquet",
    };
    let is = |a: &Path, b: &Path| a.canonicalize().is_ok_and(|a| b.canonicalize().is_ok_and(|b| a == b));
    // the folder of a file named without one is the one we are in
    let own = |file: &Path| file.canonicalize().ok().and_then(|f| f.parent().map(Path::to_path_buf));
    if is(&args.season, &args.dir)
        || (args.season.is_file() && own(&args.season).is_some_and(|folder| is(&folder, &args.dir)))
    {
        let what = "the season's own folder would take these tables for readings";
        return Err(InputError::already_there(&args.dir, what).to_string());
    }
    let options = args.replays.options(&season);
    let risk = (1.0 - options.confidence) / 2.0;
    let work = || take_away::tables(&season, &whole(&season, &options, risk, &|| ())?);
    let tables =
        on_threads(args.replays.threads, work)?.map_err(|e| format!("the tables could not be laid out: {e}"))?;
    let path = |name: &str| args.dir.join(format!("{name}.{ending}"));
    // Not `exists`, which would look past a link that leads nowhere.
    if let Some(taken) = tables.iter().map(|t| path(t.name)).find(|path| path.symlink_metadata().is_ok()) {
        return Err(InputError::already_there(&taken, "this is there already, and is not overwritten").to_string());
    }
    let unwritable = |error: std::io::Error| InputError::unwritable(&args.dir, &error).to_string();
    std::fs::create_dir_all(&args.dir).map_err(unwritable)?;
    let mut text = String::new();
    for table in tables {
        let mut file = part_beside(&path(table.name)).map_err(unwritable)?;
        let height = table.table.height();
        written(table.table, args.form, file.as_file_mut())
            .map_err(|e| format!("{}: {e}", path(table.name).display()))?;
        file.as_file().sync_all().map_err(unwritable)?;
        file.persist_noclobber(path(table.name)).map_err(|failed| unwritable(failed.error))?;
        let rows = if height == 1 { "row" } else { "rows" };
        text += &format!("wrote {}: {height} {rows}\n", path(table.name).display());
    }
    Ok(Outcome { text, status: u8::from(season.readings.has_error()) })
}

fn written(mut table: DataFrame, form: TableForm, file: &mut impl Write) -> PolarsResult<()> {
    match form {
        TableForm::Csv => {
            let mut tame = take_away::without_formulas(&table)?;
            CsvWriter::new(file).with_datetime_format(Some("%Y-%m-%dT%H:%M:%S%.f".into())).finish(&mut tame)
        }
        TableForm::Parquet => ParquetWriter::new(file).finish(&mut table).map(|_| ()),
    }
}
