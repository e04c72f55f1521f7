//! The program from outside: exit statuses, words, files, and what is left when it is killed.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

mod add;
mod audit;
mod cli;
mod json;
mod report;
