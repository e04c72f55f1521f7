//! The trade's arithmetic: quantities and their scales, reflection and losses, what one port can show at
//! once, bands and channels.

pub mod bands;
pub mod feasible;
pub mod quantity;
pub mod reflection;
