//! Values that do not belong with the others: single samples ([`grubbs`], [`esd`]) and the levels of a nested
//! log ([`deletion`]).

pub mod deletion;
pub mod esd;
pub mod grubbs;

pub use deletion::{Departure, Point, departures};
pub use esd::generalized_esd;
pub use grubbs::{Sides, grubbs};
