//! Statistics that know nothing of radios, paths, clocks or terminals.

pub mod change_point;
pub mod check_standard;
pub mod coincidence;
pub mod conformity;
pub mod control_chart;
pub mod digits;
pub mod islands;
pub mod method_comparison;
pub mod mixed;
pub mod ordinal;
pub mod outliers;
pub mod prediction;
pub mod rank_correlation;
pub mod spending;
pub mod student_t;
