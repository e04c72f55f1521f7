//! Random streams, trials, adaptive stopping, coverage intervals.

pub mod replays;
pub mod shape;
pub mod simultaneous;
pub mod stream;
