//! Exact derivatives of a program at a point: every step's value is carried along with its first and second
//! derivatives, and with those third ones that the second-order terms of JCGM 100:2008, 5.1.2 (note) ask for.
//!
//! Forward-mode automatic differentiation: only the rules for a product and for a function of a function are needed.
//! Symbols: f the step, x the inputs, n their number; g_i = ∂f/∂x_i, h_ij = ∂²f/∂x_i∂x_j, t_ij = ∂³f/∂x_i∂x_j².

use super::program::{Binary, Program, Step, Unary};

/// A value with its derivatives.
#[derive(Debug, Clone, PartialEq)]
pub struct Jet {
    /// f.
    pub value: f64,
    /// g, n long.
    pub first: Vec<f64>,
    /// h, row by row, n·n long.
    pub second: Vec<f64>,
    /// t, row by row, n·n long.
    pub third: Vec<f64>,
}

impl Jet {
    fn constant(n: usize, value: f64) -> Jet {
        Jet { value, first: vec![0.0; n], second: vec![0.0; n * n], third: vec![0.0; n * n] }
    }

    fn input(n: usize, i: usize, value: f64) -> Jet {
        let mut jet = Jet::constant(n, value);
        jet.first[i] = 1.0;
        jet
    }

    fn n(&self) -> usize {
        self.first.len()
    }

    /// a·self + b·other.
    fn combine(&self, a: f64, other: &Jet, b: f64) -> Jet {
        let both = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| a * x + b * y).collect();
        Jet {
            value: a * self.value + b * other.value,
            first: both(&self.first, &other.first),
            second: both(&self.second, &other.second),
            third: both(&self.third, &other.third),
        }
    }

    /// The product rule.
    fn times(&self, other: &Jet) -> Jet {
        let (n, a, b) = (self.n(), self, other);
        let mut out = Jet::constant(n, a.value * b.value);
        for i in 0..n {
            out.first[i] = a.first[i] * b.value + a.value * b.first[i];
            for j in 0..n {
                let (ij, jj) = (i * n + j, j * n + j);
                out.second[ij] =
                    a.second[ij] * b.value + a.first[i] * b.first[j] + a.first[j] * b.first[i] + a.value * b.second[ij];
                out.third[ij] = a.third[ij] * b.value
                    + 2.0 * a.second[ij] * b.first[j]
                    + a.second[jj] * b.first[i]
                    + a.first[i] * b.second[jj]
                    + 2.0 * a.first[j] * b.second[ij]
                    + a.value * b.third[ij];
            }
        }
        out
    }

    /// The chain rule: φ of this, with φ's value and first three derivatives here.
    fn through(&self, [f0, f1, f2, f3]: [f64; 4]) -> Jet {
        let n = self.n();
        let (g, h) = (&self.first, &self.second);
        let mut out = Jet::constant(n, f0);
        for i in 0..n {
            out.first[i] = part(f1, g[i]);
            for j in 0..n {
                let (ij, jj) = (i * n + j, j * n + j);
                out.second[ij] = part(f1, h[ij]) + part(f2, g[i] * g[j]);
                out.third[ij] = part(f1, self.third[ij])
                    + part(f2, 2.0 * h[ij] * g[j] + h[jj] * g[i])
                    + part(f3, g[i] * g[j] * g[j]);
            }
        }
        out
    }

    fn inverse(&self) -> Jet {
        let r = 1.0 / self.value;
        self.through([r, -r * r, 2.0 * r * r * r, -6.0 * r * r * r * r])
    }

    fn logarithm(&self) -> Jet {
        let r = 1.0 / self.value;
        self.through([self.value.ln(), r, -r * r, 2.0 * r * r * r])
    }

    fn exponential(&self) -> Jet {
        self.through([self.value.exp(); 4])
    }

    fn with_value(self, value: f64) -> Jet {
        Jet { value, ..self }
    }

    fn is_constant(&self) -> bool {
        self.first.iter().chain(&self.second).chain(&self.third).all(|d| *d == 0.0)
    }
}

/// A derivative of the outer function times one of the inner: nothing where the inner one does not move, even where the
/// outer one has no finite value.
fn part(outer: f64, inner: f64) -> f64 {
    if inner == 0.0 { 0.0 } else { outer * inner }
}

/// Every step's jet at a point. Derivatives that do not exist there are not finite.
pub fn jets(program: &Program, at: &[f64]) -> Vec<Jet> {
    let n = at.len();
    let mut jets: Vec<Jet> = Vec::with_capacity(program.steps().len());
    for step in program.steps() {
        jets.push(match *step {
            Step::Constant(value) => Jet::constant(n, value),
            Step::Input(input) => Jet::input(n, input, at[input]),
            Step::Unary(f, a) => unary(f, &jets[a]),
            Step::Binary(f, a, b) => binary(f, &jets[a], &jets[b]),
            Step::Choose(a, b, c) => jets[if jets[a].value != 0.0 { b } else { c }].clone(),
        });
    }
    jets
}

fn unary(f: Unary, a: &Jet) -> Jet {
    let x = a.value;
    let y = f.value(x);
    match f {
        Unary::Negate => a.combine(-1.0, a, 0.0),
        Unary::Absolute => a.through([y, if x == 0.0 { f64::NAN } else { x.signum() }, 0.0, 0.0]),
        Unary::SquareRoot => a.through([y, 0.5 / y, -0.25 / (x * y), 0.375 / (x * x * y)]),
        Unary::CubeRoot => a.through([y, y / x / 3.0, -2.0 / 9.0 * y / (x * x), 10.0 / 27.0 * y / (x * x * x)]),
        Unary::Exponential => a.exponential(),
        Unary::Logarithm => a.logarithm(),
        Unary::Logarithm10 => {
            let log = a.logarithm();
            log.combine(std::f64::consts::LOG10_E, &log, 0.0).with_value(y)
        }
        Unary::Sine => a.through([y, x.cos(), -y, -x.cos()]),
        Unary::Cosine => a.through([y, -x.sin(), -y, x.sin()]),
        Unary::Tangent => {
            let s = 1.0 + y * y;
            a.through([y, s, 2.0 * y * s, 2.0 * s * (1.0 + 3.0 * y * y)])
        }
        Unary::ArcSine | Unary::ArcCosine => {
            let sign = if f == Unary::ArcSine { 1.0 } else { -1.0 };
            let w = 1.0 / (1.0 - x * x);
            let r = sign * w.sqrt();
            a.through([y, r, x * w * r, (1.0 + 2.0 * x * x) * w * w * r])
        }
        Unary::ArcTangent => {
            let w = 1.0 / (1.0 + x * x);
            a.through([y, w, -2.0 * x * w * w, (6.0 * x * x - 2.0) * w * w * w])
        }
        Unary::Sign | Unary::Floor | Unary::Ceiling | Unary::Round | Unary::Not => Jet::constant(a.n(), y),
    }
}

fn binary(f: Binary, a: &Jet, b: &Jet) -> Jet {
    let y = f.value(a.value, b.value);
    match f {
        Binary::Add => a.combine(1.0, b, 1.0),
        Binary::Subtract => a.combine(1.0, b, -1.0),
        Binary::Multiply => a.times(b),
        Binary::Divide => a.times(&b.inverse()).with_value(y),
        Binary::Power if b.is_constant() => power(a, b.value),
        Binary::Power => a.logarithm().times(b).exponential().with_value(y),
        Binary::ArcTangent2 => {
            // by whichever quotient stays small: the angle of (b, a), but for a constant
            let quotient = if a.value.abs() <= b.value.abs() {
                unary(Unary::ArcTangent, &a.times(&b.inverse()))
            } else {
                let turned = unary(Unary::ArcTangent, &b.times(&a.inverse()));
                turned.combine(-1.0, &turned, 0.0)
            };
            quotient.with_value(y)
        }
        Binary::Least => if a.value < b.value { a } else { b }.clone(),
        Binary::Greatest => if a.value > b.value { a } else { b }.clone(),
        Binary::Modulo => a.combine(1.0, b, -(a.value / b.value).floor()).with_value(y),
        Binary::Less | Binary::LessOrEqual | Binary::Equal | Binary::And | Binary::Or => Jet::constant(a.n(), y),
    }
}

/// A jet to a constant power k: derivatives k(k − 1)…·aᵏ⁻ᵐ, those of a small whole power being 0 from k + 1 on.
fn power(a: &Jet, k: f64) -> Jet {
    let mut factor = 1.0;
    let mut derivatives = [0.0; 4];
    for (m, derivative) in derivatives.iter_mut().enumerate() {
        *derivative = if factor == 0.0 { 0.0 } else { factor * a.value.powf(k - m as f64) };
        factor *= k - m as f64;
    }
    a.through(derivatives)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::budget::expression::read;
    use std::collections::BTreeMap;

    /// The jet of an expression of x and y.
    fn jet(expression: &str, at: [f64; 2]) -> Jet {
        let mut program = Program::default();
        let names = BTreeMap::from([("x".into(), program.input(0)), ("y".into(), program.input(1))]);
        let read =
            read(&mut program, expression, &names).unwrap_or_else(|fault| panic!("{expression}: {}", fault.what));
        jets(&program, &at)[read.place].clone()
    }

    /// Each derivative against a central difference of the derivative below it: exact for the values of `at`, so that a
    /// wrong rule of any order is off by far more than the difference is.
    #[test]
    fn every_rule_s_derivatives_are_the_slopes_of_those_one_order_below() {
        let cases = [
            "x * y + x / y - 2 * x",
            "-SQRT(x) * EXP(y / 3)",
            "CBRT(x + y) + LN(x * y)",
            "LOG10(x) * SIN(y) + LOG(x, 2)",
            "COS(x * y) + TAN(x / 4)",
            "ASIN(x / 5) * ACOS(y / 5)",
            "ATAN(x * y) - ATAN2(x, y) + ATAN2(5 * x, y)",
            "POWER(x, 3) + POWER(x, 2.5) + POWER(y, -1) + POWER(x, y)",
            "ABS(x - 5) * ABS(y) + GREATEST(x, y) * LEAST(x * x, y)",
            "MOD(7 * x, y) + CASE WHEN x > y THEN x * x ELSE y * y END",
            "SIGN(x) * y + FLOOR(x) * y + ROUND(y, 1) * x",
            "MISMATCH_LOSS(REFLECTION(1 + x)) + VECTOR_SUM(x, y, 1.1) + SWR(x / 9)",
        ];
        let (n, h) = (2, 1e-5);
        for expression in cases {
            let at = [1.3, 2.1];
            let here = jet(expression, at);
            for j in 0..n {
                let moved = |by: f64| {
                    let mut to = at;
                    to[j] += by;
                    jet(expression, to)
                };
                let (up, down) = (moved(h), moved(-h));
                let slope = |f: &dyn Fn(&Jet) -> f64| (f(&up) - f(&down)) / (2.0 * h);
                let close = |what: &str, got: f64, wanted: f64| {
                    assert!((got - wanted).abs() < 1e-7 * (1.0 + wanted.abs()), "{expression}, {what}: {got} {wanted}");
                };
                close("first", here.first[j], slope(&|jet| jet.value));
                for i in 0..n {
                    close("second", here.second[i * n + j], slope(&|jet| jet.first[i]));
                    close("third", here.third[i * n + j], slope(&|jet| jet.second[i * n + j]));
                }
            }
        }
    }

    #[test]
    fn squares_at_zero_have_their_curvature_and_roots_at_zero_no_slope() {
        let square = jet("POWER(x, 2) + x * x", [0.0, 1.0]);
        assert_eq!((square.first[0], square.second[0], square.third[0]), (0.0, 4.0, 0.0));
        assert!(!jet("SQRT(x)", [0.0, 1.0]).first[0].is_finite());
        assert!(!jet("ABS(x)", [0.0, 1.0]).first[0].is_finite());
        // where the root does not move with y, it has no slope in y
        assert_eq!(jet("SQRT(x) + y", [0.0, 1.0]).first[1], 1.0);
    }
}
