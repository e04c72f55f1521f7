//! A program worked out over columns of draws, a few hundred trials at a time, so that every column in use stays in
//! the processor's nearest cache.

use crate::montecarlo::elementary;

use super::program::{Binary, Place, Program, Step, Unary};

/// Trials worked out at once.
const STRIP: usize = 512;

/// Room for one strip of every step.
#[derive(Debug, Clone)]
pub struct Columns {
    strips: Vec<Vec<f64>>,
}

/// Where an operand's values are.
#[derive(Clone, Copy)]
enum Operand<'a> {
    Number(f64),
    Column(&'a [f64]),
}

impl Columns {
    /// Room for that program.
    pub fn new(program: &Program) -> Columns {
        let strip = |step: &Step| match step {
            Step::Constant(_) | Step::Input(_) => vec![],
            _ => vec![0.0; STRIP],
        };
        Columns { strips: program.steps().iter().map(strip).collect() }
    }

    /// Works the program out for every trial, a column of draws an input, and writes the steps in `wanted` to `results`,
    /// a column each, as long as the inputs'.
    pub fn run(&mut self, program: &Program, inputs: &[&[f64]], wanted: &[Place], results: &mut [&mut [f64]]) {
        let trials = results.first().map_or(0, |column| column.len());
        let mut from = 0;
        while from < trials {
            let to = (from + STRIP).min(trials);
            for i in 0..program.steps().len() {
                let (before, here) = self.strips.split_at_mut(i);
                let operand = |p: Place| match program.steps()[p] {
                    Step::Constant(value) => Operand::Number(value),
                    Step::Input(input) => Operand::Column(&inputs[input][from..to]),
                    _ => Operand::Column(&before[p][..to - from]),
                };
                match program.steps()[i] {
                    Step::Constant(_) | Step::Input(_) => {}
                    Step::Unary(f, a) => unary(f, operand(a), &mut here[0][..to - from]),
                    Step::Binary(f, a, b) => binary(f, operand(a), operand(b), &mut here[0][..to - from]),
                    Step::Choose(a, b, c) => choose(operand(a), operand(b), operand(c), &mut here[0][..to - from]),
                }
            }
            for (result, &place) in results.iter_mut().zip(wanted) {
                let result = &mut result[from..to];
                match program.steps()[place] {
                    Step::Constant(value) => result.fill(value),
                    Step::Input(input) => result.copy_from_slice(&inputs[input][from..to]),
                    _ => result.copy_from_slice(&self.strips[place][..to - from]),
                }
            }
            from = to;
        }
    }
}

fn unary(f: Unary, a: Operand<'_>, out: &mut [f64]) {
    /// One loop a function, so that each can be made of the machine's own vector instructions.
    macro_rules! loops {
        ($($name:ident),*) => {
            match f { $(Unary::$name => map(a, out, |x| Unary::$name.value(x)),)* }
        };
    }
    match (f, a) {
        (Unary::Sine, Operand::Column(a)) => return elementary::sine(a, out),
        (Unary::Cosine, Operand::Column(a)) => return elementary::cosine(a, out),
        (Unary::Logarithm, Operand::Column(a)) => return elementary::logarithm(a, out),
        _ => {}
    }
    loops!(
        Negate,
        Absolute,
        SquareRoot,
        CubeRoot,
        Exponential,
        Logarithm,
        Logarithm10,
        Sine,
        Cosine,
        Tangent,
        ArcSine,
        ArcCosine,
        ArcTangent,
        Sign,
        Floor,
        Ceiling,
        Round,
        Not
    );
}

fn binary(f: Binary, a: Operand<'_>, b: Operand<'_>, out: &mut [f64]) {
    macro_rules! loops {
        ($($name:ident),*) => {
            match f { $(Binary::$name => map2(a, b, out, |x, y| Binary::$name.value(x, y)),)* }
        };
    }
    loops!(
        Add,
        Subtract,
        Multiply,
        Divide,
        Power,
        ArcTangent2,
        Least,
        Greatest,
        Modulo,
        Less,
        LessOrEqual,
        Equal,
        And,
        Or
    );
}

#[inline(always)]
fn map(a: Operand<'_>, out: &mut [f64], f: impl Fn(f64) -> f64) {
    match a {
        Operand::Number(x) => out.fill(f(x)),
        Operand::Column(a) => out.iter_mut().zip(a).for_each(|(y, x)| *y = f(*x)),
    }
}

#[inline(always)]
fn map2(a: Operand<'_>, b: Operand<'_>, out: &mut [f64], f: impl Fn(f64, f64) -> f64) {
    match (a, b) {
        (Operand::Number(x), Operand::Number(y)) => out.fill(f(x, y)),
        (Operand::Column(a), Operand::Number(y)) => out.iter_mut().zip(a).for_each(|(z, x)| *z = f(*x, y)),
        (Operand::Number(x), Operand::Column(b)) => out.iter_mut().zip(b).for_each(|(z, y)| *z = f(x, *y)),
        (Operand::Column(a), Operand::Column(b)) => {
            out.iter_mut().zip(a.iter().zip(b)).for_each(|(z, (x, y))| *z = f(*x, *y));
        }
    }
}

fn choose(condition: Operand<'_>, yes: Operand<'_>, no: Operand<'_>, out: &mut [f64]) {
    let at = |operand: Operand<'_>, t: usize| match operand {
        Operand::Number(x) => x,
        Operand::Column(column) => column[t],
    };
    for (t, y) in out.iter_mut().enumerate() {
        *y = if at(condition, t) != 0.0 { at(yes, t) } else { at(no, t) };
    }
}
