//! The same model worked out by Polars' SQL: every budget is checked against it on its first draws.
//!
//! Trials are computed by [`super::columns`], which the same build optimises; here each step is an SQL expression over
//! the columns of earlier steps, read and evaluated by Polars, so that a wrong reading of an operator or a function
//! cannot pass unnoticed.

use polars::prelude::*;
use polars::sql::sql_expr;

use super::columns::Columns;
use super::program::{Binary, Place, Program, Step, Unary};

/// Where the two ways disagree.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// The step, as SQL.
    pub step: String,
    /// By this program.
    pub ours: f64,
    /// By Polars.
    pub theirs: f64,
}

/// Works every step out by Polars, a column of draws an input, and compares it with [`Columns`]: the same to a relative
/// `tolerance`, and not finite in the same trials. The first disagreement, if there is one.
///
/// # Errors
/// What Polars says of a step it can't evaluate.
pub fn disagreement(program: &Program, inputs: &[&[f64]], tolerance: f64) -> PolarsResult<Option<Disagreement>> {
    let trials = inputs.first().map_or(0, |column| column.len());
    let all: Vec<Place> = (0..program.steps().len()).collect();
    let mut values = vec![vec![0.0; trials]; all.len()];
    let mut slices: Vec<&mut [f64]> = values.iter_mut().map(Vec::as_mut_slice).collect();
    Columns::new(program).run(program, inputs, &all, &mut slices);
    // each step from our values of the steps before it, so that rounding does not add up over steps
    let columns = values.iter().enumerate().map(|(place, column)| Column::new(name(place).into(), column)).collect();
    let frame = DataFrame::new(trials, columns)?;
    let computed = all.iter().filter(|p| !matches!(program.steps()[**p], Step::Constant(_) | Step::Input(_)));
    let computed: Vec<Place> = computed.copied().collect();
    let expressions = computed.iter().map(|p| {
        let expression = sql_expr(sql(program.steps()[*p]))?.cast(DataType::Float64);
        Ok(expression.alias(format!("sql{p}")))
    });
    let theirs = frame.lazy().select(expressions.collect::<PolarsResult<Vec<Expr>>>()?).collect()?;
    for &place in &computed {
        let column = theirs.column(&format!("sql{place}"))?.f64()?;
        for (t, theirs) in column.iter().enumerate() {
            let (ours, theirs) = (values[place][t], theirs.unwrap_or(f64::NAN));
            // a remainder is as exact as what it is the remainder of
            let size = match program.steps()[place] {
                Step::Binary(Binary::Modulo, a, _) => values[a][t].abs().max(ours.abs()),
                _ => ours.abs(),
            };
            let same =
                ours == theirs || (ours.is_nan() && theirs.is_nan()) || (ours - theirs).abs() <= tolerance * size;
            if !same {
                return Ok(Some(Disagreement { step: sql(program.steps()[place]), ours, theirs }));
            }
        }
    }
    Ok(None)
}

fn name(place: Place) -> String {
    format!("s{place}")
}

/// The step as SQL over the columns of earlier steps.
fn sql(step: Step) -> String {
    match step {
        Step::Constant(value) => format!("{value}"),
        Step::Input(input) => format!("input {input}"),
        Step::Unary(f, a) => {
            let a = name(a);
            match f {
                Unary::Negate => format!("-{a}"),
                Unary::Not => format!("CASE WHEN {a} = 0 THEN 1.0 ELSE 0.0 END"),
                Unary::Absolute => format!("ABS({a})"),
                Unary::SquareRoot => format!("SQRT({a})"),
                Unary::CubeRoot => format!("CBRT({a})"),
                Unary::Exponential => format!("EXP({a})"),
                Unary::Logarithm => format!("LN({a})"),
                Unary::Logarithm10 => format!("LOG10({a})"),
                Unary::Sine => format!("SIN({a})"),
                Unary::Cosine => format!("COS({a})"),
                Unary::Tangent => format!("TAN({a})"),
                Unary::ArcSine => format!("ASIN({a})"),
                Unary::ArcCosine => format!("ACOS({a})"),
                Unary::ArcTangent => format!("ATAN({a})"),
                Unary::Sign => format!("SIGN({a})"),
                Unary::Floor => format!("FLOOR({a})"),
                Unary::Ceiling => format!("CEIL({a})"),
                Unary::Round => format!("ROUND({a})"),
            }
        }
        Step::Binary(f, a, b) => {
            let (a, b) = (name(a), name(b));
            let truth = |condition: String| format!("CASE WHEN {condition} THEN 1.0 ELSE 0.0 END");
            match f {
                Binary::Add => format!("{a} + {b}"),
                Binary::Subtract => format!("{a} - {b}"),
                Binary::Multiply => format!("{a} * {b}"),
                Binary::Divide => format!("{a} / {b}"),
                Binary::Power => format!("POWER({a}, {b})"),
                Binary::ArcTangent2 => format!("ATAN2({a}, {b})"),
                Binary::Least => format!("LEAST({a}, {b})"),
                Binary::Greatest => format!("GREATEST({a}, {b})"),
                Binary::Modulo => format!("MOD({a}, {b})"),
                Binary::Less => truth(format!("{a} < {b}")),
                Binary::LessOrEqual => truth(format!("{a} <= {b}")),
                Binary::Equal => truth(format!("{a} = {b}")),
                Binary::And => truth(format!("{a} <> 0 AND {b} <> 0")),
                Binary::Or => truth(format!("{a} <> 0 OR {b} <> 0")),
            }
        }
        Step::Choose(a, b, c) => format!("CASE WHEN {} <> 0 THEN {} ELSE {} END", name(a), name(b), name(c)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::budget::expression::read;
    use crate::analysis::budget::functions::CONVERSIONS;
    use crate::montecarlo::distribution::Distribution;
    use crate::montecarlo::stream::stream;
    use std::collections::BTreeMap;

    fn check(expression: &str) {
        let mut program = Program::default();
        let names: BTreeMap<String, Place> =
            ["x", "y", "z"].iter().enumerate().map(|(i, name)| (name.to_string(), program.input(i))).collect();
        read(&mut program, expression, &names).unwrap_or_else(|fault| panic!("{expression}: {}", fault.what));
        let laws = [
            Distribution::Normal { mean: 0.3, standard: 1.0 },
            Distribution::Rectangular { low: -2.0, high: 3.0 },
            Distribution::Rectangular { low: 0.01, high: 0.9 },
        ];
        let columns: Vec<Vec<f64>> = laws
            .iter()
            .enumerate()
            .map(|(i, law)| {
                let mut column = vec![0.0; 3000];
                law.fill(&mut stream(9, i as u64, 0), &mut column);
                column[..6].copy_from_slice(&[0.0, 1.0, -1.0, 2.0, -2.0, 0.5]);
                column
            })
            .collect();
        let slices: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let found = disagreement(&program, &slices, 1e-12).unwrap_or_else(|error| panic!("{expression}: {error}"));
        assert_eq!(found, None, "{expression}");
    }

    /// Every operator and function, where results are numbers and where they are not.
    #[test]
    fn every_function_is_what_polars_sql_makes_of_it() {
        for expression in [
            "x + y - z * x / y",
            "-x % z + MOD(x, y) + MOD(-x, -z)",
            "ABS(x) + SQRT(y) + CBRT(x) + EXP(x) + LN(y) + LOG10(z) + LOG(z, 3)",
            "SIN(x) + COS(y) + TAN(z) + ASIN(x) + ACOS(y) + ATAN(x) + ATAN2(x, y)",
            "SIGN(x) + FLOOR(x) + CEIL(y) + CEILING(z) + ROUND(7 * y) + ROUND(x, 3)",
            "POWER(x, 2) + POW(z, y) + POWER(z, 0.5) + POWER(x, 3) + POWER(y, -1) + POWER(x, -2)",
            "LEAST(x, y, z) * GREATEST(x, y) + RADIANS(x) + DEGREES(y) + PI()",
            "CASE WHEN x < y AND NOT (z >= 0.5) OR x = 0 THEN x WHEN y <= 1 THEN y ELSE z END",
            "CASE WHEN x BETWEEN y AND z THEN 1 WHEN x <> y THEN 2 ELSE 3 END",
        ] {
            check(expression);
        }
        for conversion in &CONVERSIONS {
            let arguments = ["z", "z / 2", "x"].iter().take(conversion.arguments.len());
            check(&format!("{}({})", conversion.name, arguments.copied().collect::<Vec<_>>().join(", ")));
        }
    }
}
