//! Statistics that know nothing of radios, paths, clocks or terminals.

pub mod change_point;
pub mod check_standard;
pub mod control_chart;
pub mod method_comparison;
pub mod mixed;
pub mod ordinal;
pub mod rank_correlation;
pub mod student_t;
