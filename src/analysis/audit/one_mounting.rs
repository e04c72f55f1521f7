//! What the physics forbids among the readings of one mounting, asked of a few rows while they are taken: the
//! audit's own rules on match and powers, with the scatter that the whole log shows between two moments.

use polars::prelude::*;

use super::Log;
use super::rules::{port, powers};
use super::together::Scatter;
use crate::season::Season;
use crate::season::finding::Finding;

/// How far each quantity moves between two moments, as the log shows it.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn scatter(season: &Season) -> PolarsResult<Scatter> {
    let log = Log::without_levels(season)?;
    Ok(log.together().by_name(&log))
}

/// Contradictions among these readings.
///
/// # Errors
/// As [`scatter`].
pub fn impossible(rows: &Season, scatter: &Scatter) -> PolarsResult<Vec<Finding>> {
    let log = Log::without_levels(rows)?;
    log.knowing(scatter);
    Ok([port::RULE, powers::RULE].iter().flat_map(|rule| (rule.check)(&log)).collect())
}
