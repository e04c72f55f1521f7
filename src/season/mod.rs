//! A season on disk: `season.toml` and readings in, one typed data frame and its findings out.

pub mod config;
pub mod error;
pub mod finding;
pub mod parse;
pub mod template;
