//! A season on disk: `season.toml` and readings in, one typed data frame and its findings out.

pub mod config;
pub mod finding;
pub mod readings; // files of readings → a typed frame
pub mod units; // written units → the quantity's
