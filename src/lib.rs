//! daylight: a statistical measurement-uncertainty analyzer for someone who bench-tests antennas
//! for hand-held radios through a season.
//!
//! The stages, in the order data flows through them; none imports a later one.

pub mod radio; // the trade's arithmetic
pub mod season; // season.toml and readings → one typed data frame and its findings

pub mod cli; // a file a verb: arguments → library call → what to print
