//! Answers against a known truth: invented seasons against what they were made from, plans against reruns, samplers against
//! their distributions.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

#[allow(dead_code)] // its `main` is for the command line
#[path = "../../datasets/lowland-search/generate.rs"]
mod generate;

mod claims;
mod demo_faults;
mod demo_season;
mod meters;
mod overall;
mod plan;
mod samplers;
