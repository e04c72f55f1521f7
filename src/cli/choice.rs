//! `--quantity`, `--band` and `--meter`: the names of the log that are meant.

use crate::analysis::add::vocabulary::folded;
use crate::analysis::antennas::Choice;
use crate::season::Season;

/// Most names that a message lists.
const LISTED: usize = 12;

/// The sets asked about. A name may be written as it is spoken: letter case, blanks, hyphens and underscores are free.
/// A season without readings takes names as they are.
///
/// # Errors
/// A name that the log doesn't hold, with those it does: to be told after the season's name.
pub fn choice(
    season: &Season,
    quantity: Option<&String>,
    band: Option<&String>,
    meter: Option<&String>,
) -> Result<Choice, String> {
    let named = |column: &str, wanted: Option<&String>| -> Result<Option<String>, String> {
        let Some(wanted) = wanted else { return Ok(None) };
        let names = names(season, column);
        let found = names.iter().find(|n| *n == wanted).or_else(|| names.iter().find(|n| folded(n) == folded(wanted)));
        match found {
            Some(name) => Ok(Some(name.clone())),
            None if names.is_empty() => Ok(Some(wanted.clone())),
            None => {
                let more = if names.len() > LISTED { ", …" } else { "" };
                let listed: Vec<String> = names.iter().take(LISTED).map(|n| format!("`{n}`")).collect();
                Err(format!("no readings with {column} `{wanted}`\nhint: the log has {}{more}", listed.join(", ")))
            }
        }
    };
    Ok(Choice { quantity: named("quantity", quantity)?, band: named("band", band)?, meter: named("meter", meter)? })
}

/// The names of a column, in the order of the log.
fn names(season: &Season, column: &str) -> Vec<String> {
    let unique = season.readings.frame.column(column).and_then(|c| c.as_materialized_series().unique_stable());
    let Ok(unique) = unique else { return vec![] };
    unique.str().map_or(vec![], |c| c.iter().flatten().map(String::from).collect())
}
