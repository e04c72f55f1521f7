//! Which look at the season this is, and how much of the error rate it may spend. The only place that decides.

use polars::prelude::PolarsResult;

use crate::season::Season;
use crate::stats::spending;

/// One of several planned looks: the sessions logged so far count them.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Look {
    /// Which it is, from 1: the sessions in the log.
    pub number: usize,
    /// How many the season plans.
    pub planned: usize,
    /// The chance of a false verdict that all planned looks may spend together.
    pub of: f64,
    /// What this one may spend of it.
    pub level: f64,
    /// What is spent, this one included: at most `of`, unless the plan is overrun.
    pub spent: f64,
}

impl Look {
    /// Look `number` of `planned` at a chance `of` of any false verdict.
    pub fn new(number: usize, planned: usize, of: f64) -> Look {
        let number = number.max(1);
        Look {
            number,
            planned,
            of,
            level: of * spending::share(number, planned),
            spent: of * spending::spent(number, planned),
        }
    }

    /// Whether there have been more looks than were planned.
    pub fn overrun(&self) -> bool {
        self.number > self.planned
    }
}

/// The look a season stands at, `of` being the chance of any false verdict; `None` where it plans none.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame the season made.
pub fn look(season: &Season, of: f64) -> PolarsResult<Option<Look>> {
    let Some(planned) = season.config.looks else { return Ok(None) };
    let frame = &season.readings.frame;
    let sessions = if frame.height() == 0 { 0 } else { frame.column("session")?.n_unique()? };
    Ok(Some(Look::new(sessions, planned, of)))
}
