//! What a budget file says, as types. Reading it and its errors are in [`super::parse`].

use super::program::{Place, Program};
use crate::montecarlo::coverage::IntervalKind;
use crate::montecarlo::distribution::Distribution;
use crate::montecarlo::joint::Factor;

/// One input.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Its name in expressions.
    pub name: String,
    /// Its unit, as a label; may be empty.
    pub unit: String,
    /// The file's word for its shape.
    pub shape: &'static str,
    /// What is known of it.
    pub distribution: Distribution,
    /// Degrees of freedom of its standard uncertainty.
    pub df: f64,
    /// Line of its `[[input]]` entry, from 1.
    pub line: usize,
}

/// Inputs that go together, drawn together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Their numbers, rising.
    pub inputs: Vec<usize>,
    /// The factor of their correlation matrix.
    pub factor: Factor,
    /// Degrees of freedom of their joint t; none for a joint normal.
    pub df: Option<f64>,
}

/// A division by what is not a number, and where it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct DivisionAt {
    /// Step of the divisor.
    pub divisor: Place,
    /// The divisor as it is written.
    pub written: String,
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
}

/// One output.
#[derive(Debug, Clone, PartialEq)]
pub struct Output {
    /// Its name.
    pub name: String,
    /// Its unit, as a label; may be empty.
    pub unit: String,
    /// Its expression, as written.
    pub expression: String,
    /// Its step.
    pub place: Place,
    /// Its divisions.
    pub divisions: Vec<DivisionAt>,
    /// Line of its expression, from 1.
    pub line: usize,
}

/// All that a budget file says.
#[derive(Debug, Clone)]
pub struct Config {
    /// The file, as the user would name it.
    pub file: String,
    /// Its title.
    pub title: String,
    /// Coverage probability of every interval, in (0, 1).
    pub confidence: f64,
    /// Significant digits of a standard uncertainty: 1 or 2.
    pub digits: u32,
    /// Which interval is quoted, and held against that of the law of propagation.
    pub interval: IntervalKind,
    /// Inputs, in the file's order.
    pub inputs: Vec<Input>,
    /// Correlation matrix of all inputs, row by row.
    pub correlation: Vec<f64>,
    /// Inputs that go together.
    pub groups: Vec<Group>,
    /// Every output's steps.
    pub program: Program,
    /// Outputs, in the file's order.
    pub outputs: Vec<Output>,
}

impl Config {
    /// The correlation of two inputs.
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.correlation[i * self.inputs.len() + j]
    }

    /// Whether an output has a mean and a standard deviation, as far as its inputs have: a t of two or fewer degrees of
    /// freedom has no standard deviation.
    pub fn has_moments(&self, output: usize) -> bool {
        let joint =
            |i: usize| self.groups.iter().find(|g| g.inputs.contains(&i)).map(|g| g.df.unwrap_or(f64::INFINITY));
        let alone = |i: usize| match self.inputs[i].distribution {
            Distribution::StudentT { df, .. } => df,
            _ => f64::INFINITY,
        };
        let used = self.program.inputs_of(self.outputs[output].place);
        used.into_iter().all(|i| joint(i).unwrap_or_else(|| alone(i)) > 2.0)
    }

    /// The best estimate of every input.
    pub fn estimates(&self) -> Vec<f64> {
        self.inputs.iter().map(|input| input.distribution.mean()).collect()
    }
}
