//! Where season, radio and statistics meet: one folder a question.

pub mod antennas;
pub mod meters;
