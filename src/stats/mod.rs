//! Statistics that know nothing of radios, paths, clocks or terminals.

pub mod coincidence;
pub mod conformity;
pub mod digits;
pub mod mixed;
pub mod ordinal;
pub mod outliers;
pub mod rank_correlation;
pub mod student_t;
