//! Where season, radio and statistics meet: one folder a question.

pub mod add;
pub mod antennas;
pub mod audit;
pub mod budget;
pub mod claims;
pub mod coded;
pub mod looks;
pub mod meters;
pub mod next;
pub mod plan;
pub mod sessions;
pub mod sweeps;
pub mod whole;
