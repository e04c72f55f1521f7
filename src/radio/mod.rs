//! The trade's arithmetic: quantities and their scales, reflection and losses.

pub mod quantity;
pub mod reflection;
