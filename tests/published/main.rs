//! Values from outside the project: published analyses, certified data sets, guides, an open specification, and other
//! people's programs.
//!
//! A file a subject. All are one program, as every program of the tests takes a copy of Polars: a third of a gigabyte.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

mod budgets;
mod certified_one_way;
mod even_visits;
mod method_comparison;
mod mixed_model_oracle;
mod models;
mod replays;
mod support;
mod touchstone;
