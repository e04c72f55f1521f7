//! SQL scalar expressions, text to steps of a [`Program`], with the place of whatever can't be read.

use std::collections::BTreeMap;
use std::ops::Range;

use sqlparser::ast::{
    BinaryOperator, CaseWhen, CeilFloorKind, DateTimeField, Expr, FunctionArg, FunctionArgExpr, FunctionArguments,
    Spanned, UnaryOperator, Value,
};

use super::functions::Function;
use super::program::{Binary, Place, Program, Unary};
use super::syntax::{byte, parse, word_end};
use crate::season::parse::nearest::{list, nearest};

/// The longest expression that is read, in characters.
const LONGEST: usize = 10_000;

/// Names of aggregates, which have no meaning for a value at a time.
const AGGREGATES: [&str; 12] =
    ["count", "sum", "avg", "mean", "min", "max", "median", "stddev", "variance", "first", "last", "var"];

/// An expression that can't be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where in the expression, in bytes.
    pub span: Range<usize>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: Option<String>,
}

/// A division of an expression: where the divisor is, as a step and in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Division {
    /// Step of the divisor.
    pub divisor: Place,
    /// Where the divisor is written, in bytes.
    pub span: Range<usize>,
}

/// An expression read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Read {
    /// Its step.
    pub place: Place,
    /// Its divisions by what is not a number.
    pub divisions: Vec<Division>,
}

/// Reads an expression into `program`. `names` says which step a name stands for.
///
/// # Errors
/// Text that is no expression; a name that is not in `names`; a function that is not known, or is given another number
/// of arguments; anything that is no arithmetic of numbers.
pub fn read(program: &mut Program, text: &str, names: &BTreeMap<String, Place>) -> Result<Read, Fault> {
    if text.chars().count() > LONGEST {
        let hint = "split it: an output may use the outputs above it".to_string();
        let what = format!("this expression is longer than {LONGEST} characters");
        return Err(Fault { span: 0..text.len(), what, hint: Some(hint) });
    }
    let expression = parse(text)?;
    let mut reader = Reader { program, text, names, divisions: vec![] };
    let place = reader.number(&expression)?;
    Ok(Read { place, divisions: reader.divisions })
}

struct Reader<'a> {
    program: &'a mut Program,
    text: &'a str,
    names: &'a BTreeMap<String, Place>,
    divisions: Vec<Division>,
}

/// Whether a step is a number or a yes or no.
type Condition = bool;

impl Reader<'_> {
    fn span(&self, expression: &Expr) -> Range<usize> {
        let span = expression.span();
        if span.start.line == 0 {
            return 0..self.text.len();
        }
        let start = byte(self.text, span.start);
        // ends are exclusive, but for a last quote or bracket that some kinds leave out
        start..byte(self.text, span.end).max(word_end(self.text, start))
    }

    fn fault<T>(&self, expression: &Expr, what: impl Into<String>, hint: Option<&str>) -> Result<T, Fault> {
        Err(Fault { span: self.span(expression), what: what.into(), hint: hint.map(str::to_string) })
    }

    /// The step of an expression that is a number.
    fn number(&mut self, expression: &Expr) -> Result<Place, Fault> {
        match self.step(expression)? {
            (place, false) => Ok(place),
            (_, true) => {
                let hint = "`CASE WHEN … THEN 1 ELSE 0 END` makes a number of it";
                self.fault(expression, "this is true or false, not a number", Some(hint))
            }
        }
    }

    /// The step of an expression that is true or false.
    fn condition(&mut self, expression: &Expr) -> Result<Place, Fault> {
        match self.step(expression)? {
            (place, true) => Ok(place),
            (_, false) => self.fault(expression, "this is a number, where a comparison is wanted", None),
        }
    }

    fn step(&mut self, expression: &Expr) -> Result<(Place, Condition), Fault> {
        match expression {
            Expr::Nested(inner) => self.step(inner),
            Expr::Identifier(name) => Ok((self.named(expression, &name.value)?, false)),
            Expr::Value(value) => match &value.value {
                Value::Number(digits, false) => match digits.parse::<f64>() {
                    Ok(number) if number.is_finite() => Ok((self.program.constant(number), false)),
                    _ => self.fault(expression, format!("`{digits}` is not a number that can be computed with"), None),
                },
                Value::SingleQuotedString(_) => self.fault(
                    expression,
                    "a text has no place in arithmetic",
                    Some("names with spaces go in double quotes"),
                ),
                other => self.fault(expression, format!("`{other}` has no place in arithmetic"), None),
            },
            Expr::UnaryOp { op: UnaryOperator::Plus, expr } => Ok((self.number(expr)?, false)),
            Expr::UnaryOp { op: UnaryOperator::Minus, expr } => {
                let a = self.number(expr)?;
                Ok((self.program.unary(Unary::Negate, a), false))
            }
            Expr::UnaryOp { op: UnaryOperator::Not, expr } => {
                let a = self.condition(expr)?;
                Ok((self.program.unary(Unary::Not, a), true))
            }
            Expr::BinaryOp { .. } => self.chain(expression),
            Expr::Between { expr, negated, low, high } => {
                let (x, low, high) = (self.number(expr)?, self.number(low)?, self.number(high)?);
                let above = self.program.binary(Binary::LessOrEqual, low, x);
                let below = self.program.binary(Binary::LessOrEqual, x, high);
                let within = self.program.binary(Binary::And, above, below);
                Ok((if *negated { self.program.unary(Unary::Not, within) } else { within }, true))
            }
            Expr::Case { operand: None, conditions, else_result, .. } => {
                self.case(expression, conditions, else_result.as_deref())
            }
            Expr::Floor { expr, field: CeilFloorKind::DateTimeField(DateTimeField::NoDateTime) } => {
                let a = self.number(expr)?;
                Ok((self.program.unary(Unary::Floor, a), false))
            }
            Expr::Ceil { expr, field: CeilFloorKind::DateTimeField(DateTimeField::NoDateTime) } => {
                let a = self.number(expr)?;
                Ok((self.program.unary(Unary::Ceiling, a), false))
            }
            Expr::Function(function) => Ok((self.call(expression, function)?, false)),
            Expr::Wildcard(_) | Expr::QualifiedWildcard(..) => {
                self.fault(expression, "`*` stands for nothing here", None)
            }
            Expr::Subquery(_) | Expr::Exists { .. } | Expr::InSubquery { .. } => {
                self.fault(expression, "a query has no place in an expression", None)
            }
            _ => self.fault(
                expression,
                "this is no arithmetic of numbers",
                Some("use + − * /, comparisons in CASE, and functions"),
            ),
        }
    }

    fn named(&mut self, expression: &Expr, name: &str) -> Result<Place, Fault> {
        if let Some(place) = self.names.get(name) {
            return Ok(*place);
        }
        let what = format!("`{name}` is not the name of an input, nor of an output above");
        if Function::named(name).is_some() {
            return self.fault(expression, what, Some(&format!("the function is written `{name}(…)`")));
        }
        let known = || self.names.keys().map(String::as_str);
        let hint = match nearest(name, known()) {
            Some(near) if near.chars().all(|c| c.is_alphanumeric() || c == '_') => format!("did you mean `{near}`?"),
            Some(near) => format!("did you mean `\"{near}\"`, in double quotes?"),
            None => format!("the names are {}", list(known())),
        };
        self.fault(expression, what, Some(&hint))
    }

    /// A chain of operators, down its left side in a loop: a sum may have thousands of terms.
    fn chain(&mut self, expression: &Expr) -> Result<(Place, Condition), Fault> {
        let mut links = vec![];
        let mut first = expression;
        while let Expr::BinaryOp { left, op, right } = first {
            links.push((op, left.as_ref(), right.as_ref()));
            first = left;
        }
        let mut so_far = self.step(first)?;
        for (op, left, right) in links.into_iter().rev() {
            so_far = self.operator(op, (left, so_far), right)?;
        }
        Ok(so_far)
    }

    fn operator(
        &mut self,
        op: &BinaryOperator,
        (left, (a, a_condition)): (&Expr, (Place, Condition)),
        right: &Expr,
    ) -> Result<(Place, Condition), Fault> {
        let logical = match op {
            BinaryOperator::And => Some(Binary::And),
            BinaryOperator::Or => Some(Binary::Or),
            _ => None,
        };
        if let Some(logical) = logical {
            if !a_condition {
                return self.fault(left, "this is a number, where a comparison is wanted", None);
            }
            let b = self.condition(right)?;
            return Ok((self.program.binary(logical, a, b), true));
        }
        if a_condition {
            return self.fault(left, "this is true or false, not a number", None);
        }
        let b = self.number(right)?;
        let arithmetic = match op {
            BinaryOperator::Plus => Some(Binary::Add),
            BinaryOperator::Minus => Some(Binary::Subtract),
            BinaryOperator::Multiply => Some(Binary::Multiply),
            BinaryOperator::Divide => Some(Binary::Divide),
            BinaryOperator::Modulo => Some(Binary::Modulo),
            _ => None,
        };
        if let Some(arithmetic) = arithmetic {
            if arithmetic == Binary::Divide {
                self.divide_by(b, right)?;
            }
            return Ok((self.program.binary(arithmetic, a, b), false));
        }
        let p = &mut self.program;
        Ok((
            match op {
                BinaryOperator::Lt => p.binary(Binary::Less, a, b),
                BinaryOperator::LtEq => p.binary(Binary::LessOrEqual, a, b),
                BinaryOperator::Gt => p.binary(Binary::Less, b, a),
                BinaryOperator::GtEq => p.binary(Binary::LessOrEqual, b, a),
                BinaryOperator::Eq => p.binary(Binary::Equal, a, b),
                BinaryOperator::NotEq => {
                    let equal = p.binary(Binary::Equal, a, b);
                    p.unary(Unary::Not, equal)
                }
                other => {
                    let span = self.span(left).start..self.span(right).end;
                    let hint = match other {
                        BinaryOperator::BitwiseXor | BinaryOperator::PGExp => {
                            Some("a power is written `POWER(x, 2)`".into())
                        }
                        _ => Some("use + − * /, comparisons in CASE, and functions".into()),
                    };
                    return Err(Fault { span, what: format!("`{other}` is no arithmetic of numbers"), hint });
                }
            },
            true,
        ))
    }

    fn divide_by(&mut self, divisor: Place, written: &Expr) -> Result<(), Fault> {
        let span = self.span(written);
        match self.program.steps()[divisor] {
            super::program::Step::Constant(0.0) => self.fault(written, "this divides by zero", None),
            super::program::Step::Constant(_) => Ok(()),
            _ => {
                self.divisions.push(Division { divisor, span });
                Ok(())
            }
        }
    }

    fn case(
        &mut self,
        expression: &Expr,
        conditions: &[CaseWhen],
        otherwise: Option<&Expr>,
    ) -> Result<(Place, Condition), Fault> {
        let Some(otherwise) = otherwise else {
            return self.fault(expression, "this CASE has no ELSE", Some("say what holds when no WHEN does"));
        };
        let mut place = self.number(otherwise)?;
        for when in conditions.iter().rev() {
            let (condition, yes) = (self.condition(&when.condition)?, self.number(&when.result)?);
            place = self.program.choose(condition, yes, place);
        }
        Ok((place, false))
    }

    fn call(&mut self, expression: &Expr, function: &sqlparser::ast::Function) -> Result<Place, Fault> {
        let name = function.name.to_string();
        let Some(known) = Function::named(&name) else {
            let what = format!("`{name}` is not a function that is known here");
            let lower = name.to_lowercase();
            let hint = match lower.as_str() {
                "min" => "the least of several values is `LEAST(a, b)`".to_string(),
                "max" => "the greatest of several values is `GREATEST(a, b)`".to_string(),
                _ if AGGREGATES.contains(&lower.as_str()) => {
                    "an expression works on one value of each input at a time: nothing can be gathered over many".into()
                }
                _ => match nearest(&name, Function::names()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("the functions are {}", list(Function::names())),
                },
            };
            return self.fault(expression, what, Some(&hint));
        };
        let plain = function.over.is_none()
            && function.filter.is_none()
            && function.within_group.is_empty()
            && matches!(function.parameters, FunctionArguments::None);
        let arguments = match &function.args {
            FunctionArguments::List(list) if plain && list.duplicate_treatment.is_none() && list.clauses.is_empty() => {
                list.args.iter().map(|argument| match argument {
                    FunctionArg::Unnamed(FunctionArgExpr::Expr(inner)) => self.number(inner),
                    _ => self.fault(expression, format!("`{name}` takes numbers, set apart by commas"), None),
                })
            }
            _ => {
                return self.fault(
                    expression,
                    format!("`{name}` is written `{name}(…)`, with numbers in the brackets"),
                    None,
                );
            }
        };
        let arguments = arguments.collect::<Result<Vec<Place>, Fault>>()?;
        let (least, most) = known.arguments();
        if arguments.len() < least || arguments.len() > most {
            let wanted = match (least, most) {
                (0, 0) => "nothing in its brackets".to_string(),
                (1, 1) => "one number".to_string(),
                (1, 2) => "one number, or two".to_string(),
                (n, m) if n == m => format!("{n} numbers"),
                (n, _) => format!("{n} or more numbers"),
            };
            let what = format!("`{name}` takes {wanted}, and is given {}", arguments.len());
            let hint = match known {
                Function::LogarithmToBase => {
                    Some("the natural logarithm is `LN(x)`, the decimal one `LOG10(x)`".to_string())
                }
                Function::Conversion(c) => Some(format!("{}({}) gives {}", c.name, c.arguments.join(", "), c.gives)),
                _ => None,
            };
            return self.fault(expression, what, hint.as_deref());
        }
        self.apply(expression, known, &arguments)
    }

    fn apply(&mut self, expression: &Expr, function: Function, arguments: &[Place]) -> Result<Place, Fault> {
        let p = &mut *self.program;
        Ok(match (function, arguments) {
            (Function::One(f), [a]) => p.unary(f, *a),
            (Function::Two(f), [a, b]) => p.binary(f, *a, *b),
            (Function::Many(f), [first, rest @ ..]) => rest.iter().fold(*first, |a, b| p.binary(f, a, *b)),
            (Function::Factor(factor), [a]) => {
                let factor = p.constant(factor);
                p.binary(Binary::Multiply, *a, factor)
            }
            (Function::Pi, []) => p.constant(std::f64::consts::PI),
            (Function::LogarithmToBase, [a, base]) => {
                let (a, base) = (p.unary(Unary::Logarithm, *a), p.unary(Unary::Logarithm, *base));
                p.binary(Binary::Divide, a, base)
            }
            (Function::Round, [a]) => p.unary(Unary::Round, *a),
            (Function::Round, [a, digits]) => {
                let super::program::Step::Constant(digits) = p.steps()[*digits] else {
                    return self.fault(expression, "`ROUND` rounds to a number of digits that is written out", None);
                };
                let scale = p.constant(10f64.powf(digits));
                let up = p.binary(Binary::Multiply, *a, scale);
                let whole = p.unary(Unary::Round, up);
                p.binary(Binary::Divide, whole, scale)
            }
            (Function::Conversion(conversion), arguments) => {
                let names = conversion.arguments.iter().map(|name| name.to_string());
                let names: BTreeMap<String, Place> = names.zip(arguments.iter().copied()).collect();
                let read = read(p, conversion.expression, &names).map_err(|fault| Fault {
                    span: self.span(expression),
                    what: format!("`{}`: {}", conversion.name, fault.what),
                    hint: None,
                })?;
                let span = self.span(expression);
                let divisions = read.divisions.into_iter().map(|d| Division { span: span.clone(), ..d });
                self.divisions.extend(divisions);
                read.place
            }
            _ => return self.fault(expression, "this function is given other arguments than it takes", None),
        })
    }
}
