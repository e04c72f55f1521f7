//! One file a verb: arguments → library call → what to print.

pub mod start;
