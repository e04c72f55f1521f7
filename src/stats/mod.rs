//! Statistics that know nothing of radios, paths, clocks or terminals.

pub mod conformity;
pub mod mixed;
pub mod ordinal;
pub mod rank_correlation;
pub mod student_t;
