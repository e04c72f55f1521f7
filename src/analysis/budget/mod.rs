//! `budget`: the uncertainty of any measurand, from named inputs and an expression.

mod columns;
mod expression;
mod functions;
mod jet;
mod program;
