//! Meters that disagree.

use super::{Kind, Questions, Step, list};
use crate::analysis::meters::result::PairOfMeters;
use crate::analysis::meters::why::Account;
use crate::radio::quantity::in_words;

/// What the likeliest check is expected to settle of what is open, and each further one of what is then left: a
/// convention, for want of anything to reckon with.
const EVEN_ODDS: f64 = 0.5;

impl Questions<'_> {
    /// Takes up what `meters` left open between each two meters.
    pub fn meters(&mut self, pairs: &[PairOfMeters]) {
        for pair in pairs {
            let bands = open_bands(pair);
            if bands.is_empty() {
                continue;
            }
            let quantity = in_words(&pair.quantity);
            let mut left = bands.len() as f64;
            for check in &pair.checks {
                let settles = left * EVEN_ODDS;
                left -= settles;
                self.steps.push(Step {
                    kind: Kind::Check,
                    what: format!("Check {check}"),
                    because: format!(
                        "{} and {} disagree on {quantity}, on {}, and nothing declared explains it.",
                        pair.first,
                        pair.second,
                        list(&bands)
                    ),
                    settles,
                    minutes: self.effort.check_minutes,
                    sessions: 0,
                    antennas: vec![],
                });
            }
        }
    }
}

/// Bands on which nobody knows why the two differ.
fn open_bands(pair: &PairOfMeters) -> Vec<&str> {
    let unexplained =
        |account: Account| matches!(account, Account::InPart | Account::NotExplained | Account::NothingDeclared);
    pair.bands
        .iter()
        .filter(|b| {
            let offset = b.offset.as_ref().map(|o| o.estimate.interval);
            let differ = offset.is_some_and(|i| i.low > 0.0 || i.high < 0.0);
            !b.stuck.is_empty()
                || !pair.shifts.is_empty()
                || b.why.as_ref().map_or(differ, |why| differ && unexplained(why.account))
        })
        .map(|b| b.band.as_str())
        .collect()
}
