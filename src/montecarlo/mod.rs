//! Random streams, trials, adaptive stopping, coverage intervals.

pub mod adaptive; // trials until the figures are stable
pub mod counted; // how many of many values lie below a limit
pub mod coverage; // coverage intervals
pub mod distribution; // the distributions of inputs
pub mod elementary; // sine, logarithm and normals by the column
pub mod joint; // inputs that go together
pub mod moments; // means and covariances from chunks
pub mod replays;
pub mod sample; // values of any number of trials in bounded memory
pub mod shape;
pub mod simultaneous;
pub mod stream;
pub mod tail; // quantiles further out than the trials reach
