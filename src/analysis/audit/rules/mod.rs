//! The rules, one a file. To add one, see [`super`].

mod crowd;
mod drift;
mod line_loss;
mod outliers;
mod reference_history;
mod slips;
mod sources;

use super::Rule;

/// Every rule, in the order in which findings of equal weight are told.
pub const RULES: &[&Rule] = &[
    &line_loss::RULE,
    &crowd::RULE,
    &sources::RULE,
    &slips::RULE,
    &outliers::RULE,
    &drift::RULE,
    &reference_history::RULE,
];
