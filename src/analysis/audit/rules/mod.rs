//! The rules, one a file. To add one, see [`super`].

mod sources;

use super::Rule;

/// Every rule, in the order in which findings of equal weight are told.
pub const RULES: &[&Rule] = &[&sources::RULE];
