//! A model as a list of steps, each worked out from earlier ones: what an SQL expression becomes, what trials are
//! computed with (over columns that stay in cache), and what derivatives are taken of.
//!
//! Equal steps are one step, so a sub-expression that stands in several places is worked out once.

use std::collections::HashMap;

/// A function of one value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unary {
    /// −a.
    Negate,
    /// |a|.
    Absolute,
    /// √a.
    SquareRoot,
    /// ∛a.
    CubeRoot,
    /// eᵃ.
    Exponential,
    /// Natural logarithm.
    Logarithm,
    /// Logarithm to base 10.
    Logarithm10,
    /// Sine.
    Sine,
    /// Cosine.
    Cosine,
    /// Tangent.
    Tangent,
    /// Inverse sine.
    ArcSine,
    /// Inverse cosine.
    ArcCosine,
    /// Inverse tangent.
    ArcTangent,
    /// −1, 0 or 1.
    Sign,
    /// The next whole number at or below.
    Floor,
    /// The next whole number at or above.
    Ceiling,
    /// The nearest whole number, halves to the even one.
    Round,
    /// 1 for 0, else 0.
    Not,
}

/// A function of two values. Comparisons give 1 for true and 0 for false.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Binary {
    /// a + b.
    Add,
    /// a − b.
    Subtract,
    /// a·b.
    Multiply,
    /// a/b.
    Divide,
    /// a to the power b.
    Power,
    /// The angle of the point (b, a).
    ArcTangent2,
    /// The lesser.
    Least,
    /// The greater.
    Greatest,
    /// a − b·⌊a/b⌋.
    Modulo,
    /// a < b.
    Less,
    /// a ≤ b.
    LessOrEqual,
    /// a = b.
    Equal,
    /// Both.
    And,
    /// Either.
    Or,
}

/// Number of a step.
pub type Place = usize;

/// One step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// A number.
    Constant(f64),
    /// The input of that number.
    Input(usize),
    /// A function of an earlier step.
    Unary(Unary, Place),
    /// A function of two earlier steps.
    Binary(Binary, Place, Place),
    /// The second where the first is not 0, else the third.
    Choose(Place, Place, Place),
}

impl Unary {
    /// Its value.
    pub fn value(self, a: f64) -> f64 {
        match self {
            Unary::Negate => -a,
            Unary::Absolute => a.abs(),
            Unary::SquareRoot => a.sqrt(),
            Unary::CubeRoot => a.cbrt(),
            Unary::Exponential => a.exp(),
            Unary::Logarithm => a.ln(),
            Unary::Logarithm10 => a.log10(),
            Unary::Sine => a.sin(),
            Unary::Cosine => a.cos(),
            Unary::Tangent => a.tan(),
            Unary::ArcSine => a.asin(),
            Unary::ArcCosine => a.acos(),
            Unary::ArcTangent => a.atan(),
            Unary::Sign => {
                if a == 0.0 || a.is_nan() {
                    a
                } else {
                    a.signum()
                }
            }
            Unary::Floor => a.floor(),
            Unary::Ceiling => a.ceil(),
            Unary::Round => a.round_ties_even(),
            Unary::Not => truth(a == 0.0),
        }
    }
}

impl Binary {
    /// Its value.
    pub fn value(self, a: f64, b: f64) -> f64 {
        match self {
            Binary::Add => a + b,
            Binary::Subtract => a - b,
            Binary::Multiply => a * b,
            Binary::Divide => a / b,
            Binary::Power => power(a, b),
            Binary::ArcTangent2 => a.atan2(b),
            // unlike the library's, these do not hide a NaN
            Binary::Least => {
                if a < b || a.is_nan() {
                    a
                } else {
                    b
                }
            }
            Binary::Greatest => {
                if a > b || a.is_nan() {
                    a
                } else {
                    b
                }
            }
            Binary::Modulo => a - b * (a / b).floor(),
            Binary::Less => truth(a < b),
            Binary::LessOrEqual => truth(a <= b),
            Binary::Equal => truth(a == b),
            Binary::And => truth(a != 0.0 && b != 0.0),
            Binary::Or => truth(a != 0.0 || b != 0.0),
        }
    }

    fn swaps(self) -> bool {
        matches!(self, Binary::Add | Binary::Multiply | Binary::Equal | Binary::And | Binary::Or)
    }
}

fn truth(holds: bool) -> f64 {
    f64::from(u8::from(holds))
}

/// a to the power b; the exponents people write are multiplied out, which is as exact and many times as fast.
fn power(a: f64, b: f64) -> f64 {
    if b == 2.0 {
        a * a
    } else if b == 3.0 {
        a * a * a
    } else if b == -1.0 {
        1.0 / a
    } else {
        a.powf(b)
    }
}

/// A list of steps. Places never change: a program only grows.
#[derive(Debug, Clone, Default)]
pub struct Program {
    steps: Vec<Step>,
    known: HashMap<Key, Place>,
}

/// A step's identity; of a constant its bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Key {
    Constant(u64),
    Input(usize),
    Unary(Unary, Place),
    Binary(Binary, Place, Place),
    Choose(Place, Place, Place),
}

impl Program {
    /// All steps, in order.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The place of a number.
    pub fn constant(&mut self, value: f64) -> Place {
        self.step(Step::Constant(value), Key::Constant(value.to_bits()))
    }

    /// The place of an input.
    pub fn input(&mut self, input: usize) -> Place {
        self.step(Step::Input(input), Key::Input(input))
    }

    /// The place of a function of one step; of a number, a number.
    pub fn unary(&mut self, function: Unary, a: Place) -> Place {
        match self.steps[a] {
            Step::Constant(value) => self.constant(function.value(value)),
            _ => self.step(Step::Unary(function, a), Key::Unary(function, a)),
        }
    }

    /// The place of a function of two steps; of two numbers, a number.
    pub fn binary(&mut self, function: Binary, a: Place, b: Place) -> Place {
        let (a, b) = if function.swaps() && b < a { (b, a) } else { (a, b) };
        match (self.steps[a], self.steps[b]) {
            (Step::Constant(x), Step::Constant(y)) => self.constant(function.value(x, y)),
            _ => self.step(Step::Binary(function, a, b), Key::Binary(function, a, b)),
        }
    }

    /// The place of a choice.
    pub fn choose(&mut self, condition: Place, yes: Place, no: Place) -> Place {
        self.step(Step::Choose(condition, yes, no), Key::Choose(condition, yes, no))
    }

    fn step(&mut self, step: Step, key: Key) -> Place {
        *self.known.entry(key).or_insert_with(|| {
            self.steps.push(step);
            self.steps.len() - 1
        })
    }

    /// The inputs that a step depends on, rising.
    pub fn inputs_of(&self, place: Place) -> Vec<usize> {
        let mut inputs = vec![];
        let mut wanted = vec![false; place + 1];
        wanted[place] = true;
        for p in (0..=place).rev() {
            if !wanted[p] {
                continue;
            }
            match self.steps[p] {
                Step::Constant(_) => {}
                Step::Input(input) => inputs.push(input),
                Step::Unary(_, a) => wanted[a] = true,
                Step::Binary(_, a, b) => [a, b].into_iter().for_each(|q| wanted[q] = true),
                Step::Choose(a, b, c) => [a, b, c].into_iter().for_each(|q| wanted[q] = true),
            }
        }
        inputs.sort_unstable();
        inputs
    }

    /// All steps at one point.
    pub fn at(&self, inputs: &[f64]) -> Vec<f64> {
        let mut values = Vec::with_capacity(self.steps.len());
        for step in &self.steps {
            values.push(match *step {
                Step::Constant(value) => value,
                Step::Input(input) => inputs[input],
                Step::Unary(f, a) => f.value(values[a]),
                Step::Binary(f, a, b) => f.value(values[a], values[b]),
                Step::Choose(a, b, c) => values[if values[a] != 0.0 { b } else { c }],
            });
        }
        values
    }
}
