//! Which antennas are apart, which are inside the noise, and which this log cannot compare.

pub mod intervals;
pub mod ranks;
pub mod result;
pub mod set_analysis;
pub mod sets;
pub mod shown;
pub mod sources;
