//! A season on disk: `season.toml` and readings in, one typed data frame and its findings out.

pub mod append; // new readings onto the end of a sheet
pub mod config;
pub mod error;
pub mod file; // the one way a file is read: no pipe, no device, no absurd size
pub mod finding;
pub mod load;
pub mod parse;
pub mod readings; // files of readings → a typed frame
pub mod several; // several seasons taken as one
pub mod sweeps; // Touchstone files → readings and curves
pub mod template;
pub mod units; // written units → the quantity's

pub use load::Season;
