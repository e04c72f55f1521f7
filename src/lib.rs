//! daylight: a statistical measurement-uncertainty analyzer for someone who bench-tests antennas
//! for hand-held radios through a season.
//!
//! The stages, in the order data flows through them; none imports a later one.

pub mod radio; // the trade's arithmetic: quantities and their scales, reflection, losses

pub mod stats; // mixed models, small-sample errors, ordinal data; knows nothing of radios

pub mod montecarlo; // random streams, replays, simultaneous intervals

pub mod season; // season.toml and readings → one typed data frame and its findings

pub mod analysis; // one question a folder: season, radio and statistics meet here

pub mod report; // tables, words and JSON: results in, pages out

pub mod cli; // a file a verb: arguments → library call → what to print
