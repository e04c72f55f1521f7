//! The functions an expression may use: those of SQL, and the trade's conversions.
//!
//! A conversion is itself an SQL expression in its arguments, read by the same reader: what the table says is what
//! is computed. γ is the modulus of a reflection coefficient, losses and levels are in dB, powers in W,
//! phases in radian.
//!
//! Source of the conversions: transmission-line theory as in any handbook of radio engineering, e.g.
//! D. M. Pozar, *Microwave Engineering*, 4th ed. (2012), sections 2.3 and 2.7 (from memory); free-space loss: ITU-R P.525,
//! equation for isotropic antennas (from memory).

use super::program::{Binary, Unary};

/// What a name in front of brackets stands for.
#[derive(Debug, Clone, Copy)]
pub enum Function {
    /// A function of one value.
    One(Unary),
    /// A function of two values.
    Two(Binary),
    /// The least or greatest of one or more.
    Many(Binary),
    /// A logarithm to a base: LOG(x, base).
    LogarithmToBase,
    /// ROUND(x) or ROUND(x, digits).
    Round,
    /// x times a number.
    Factor(f64),
    /// π.
    Pi,
    /// One of the trade's conversions.
    Conversion(&'static Conversion),
}

/// One of the trade's conversions.
#[derive(Debug)]
pub struct Conversion {
    /// Its name.
    pub name: &'static str,
    /// Names of its arguments.
    pub arguments: &'static [&'static str],
    /// What it stands for.
    pub expression: &'static str,
    /// What it gives, in a few words.
    pub gives: &'static str,
}

/// All conversions.
pub const CONVERSIONS: [Conversion; 16] = [
    Conversion {
        name: "REFLECTION", arguments: &["swr"], expression: "(swr - 1) / (swr + 1)", gives: "|Γ| of an SWR"
    },
    Conversion { name: "SWR", arguments: &["g"], expression: "(1 + g) / (1 - g)", gives: "the SWR of |Γ|" },
    Conversion { name: "RETURN_LOSS", arguments: &["g"], expression: "-20 * LOG10(g)", gives: "dB of |Γ|" },
    Conversion {
        name: "REFLECTION_OF_LOSS",
        arguments: &["return_loss"],
        expression: "POWER(10, -return_loss / 20)",
        gives: "|Γ| of a return loss in dB",
    },
    Conversion {
        name: "MISMATCH_LOSS",
        arguments: &["g"],
        expression: "-10 * LOG10(1 - g * g)",
        gives: "dB not delivered at |Γ|, from a matched source",
    },
    Conversion {
        name: "MISMATCH_ERROR",
        arguments: &["g1", "g2", "phase"],
        expression: "10 * LOG10(1 + g1 * g2 * (g1 * g2 - 2 * COS(phase)))",
        gives: "dB of |1 − Γ₁Γ₂|², the product at that phase",
    },
    Conversion {
        name: "VECTOR_SUM",
        arguments: &["a", "b", "phase"],
        expression: "SQRT(GREATEST(a * a + b * b + 2 * a * b * COS(phase), 0))",
        gives: "|a + b·e^jφ|, two waves added",
    },
    Conversion {
        name: "DIRECTIVITY",
        arguments: &["decibels"],
        expression: "POWER(10, -decibels / 20)",
        gives: "the false wave of a coupler, on |Γ|",
    },
    Conversion {
        name: "BEFORE_LINE",
        arguments: &["g", "loss"],
        expression: "g * POWER(10, -loss / 10)",
        gives: "|Γ| at the near end of a line of that one-way loss",
    },
    Conversion {
        name: "BEYOND_LINE",
        arguments: &["g", "loss"],
        expression: "g * POWER(10, loss / 10)",
        gives: "|Γ| at its far end, from the near one",
    },
    Conversion {
        name: "LOSS_OF_LINE",
        arguments: &["loss", "g"],
        expression: "10 * LOG10((POWER(10, loss / 5) - g * g) / (POWER(10, loss / 10) * (1 - g * g)))",
        gives: "dB lost in a line of that matched loss, |Γ| at its far end",
    },
    Conversion {
        name: "DECIBELS",
        arguments: &["ratio"],
        expression: "10 * LOG10(ratio)",
        gives: "dB of a ratio of powers",
    },
    Conversion {
        name: "RATIO",
        arguments: &["decibels"],
        expression: "POWER(10, decibels / 10)",
        gives: "the ratio of powers of dB",
    },
    Conversion { name: "DBM", arguments: &["watts"], expression: "30 + 10 * LOG10(watts)", gives: "dBm of W" },
    Conversion { name: "WATTS", arguments: &["dbm"], expression: "POWER(10, (dbm - 30) / 10)", gives: "W of dBm" },
    Conversion {
        name: "FREE_SPACE_LOSS",
        arguments: &["megahertz", "metres"],
        expression: "20 * LOG10(4 * PI() * metres * megahertz / 299.792458)",
        gives: "dB between isotropic antennas",
    },
];

const RADIAN: f64 = std::f64::consts::PI / 180.0;

const PLAIN: [(&str, Function); 27] = [
    ("ABS", Function::One(Unary::Absolute)),
    ("SQRT", Function::One(Unary::SquareRoot)),
    ("CBRT", Function::One(Unary::CubeRoot)),
    ("EXP", Function::One(Unary::Exponential)),
    ("LN", Function::One(Unary::Logarithm)),
    ("LOG10", Function::One(Unary::Logarithm10)),
    ("LOG", Function::LogarithmToBase),
    ("SIN", Function::One(Unary::Sine)),
    ("COS", Function::One(Unary::Cosine)),
    ("TAN", Function::One(Unary::Tangent)),
    ("ASIN", Function::One(Unary::ArcSine)),
    ("ACOS", Function::One(Unary::ArcCosine)),
    ("ATAN", Function::One(Unary::ArcTangent)),
    ("SIGN", Function::One(Unary::Sign)),
    ("FLOOR", Function::One(Unary::Floor)),
    ("CEIL", Function::One(Unary::Ceiling)),
    ("CEILING", Function::One(Unary::Ceiling)),
    ("ROUND", Function::Round),
    ("POWER", Function::Two(Binary::Power)),
    ("POW", Function::Two(Binary::Power)),
    ("ATAN2", Function::Two(Binary::ArcTangent2)),
    ("MOD", Function::Two(Binary::Modulo)),
    ("LEAST", Function::Many(Binary::Least)),
    ("GREATEST", Function::Many(Binary::Greatest)),
    ("RADIANS", Function::Factor(RADIAN)),
    ("DEGREES", Function::Factor(1.0 / RADIAN)),
    ("PI", Function::Pi),
];

impl Function {
    /// The function of that name, in any case.
    pub fn named(name: &str) -> Option<Function> {
        let plain = PLAIN.iter().find(|(known, _)| known.eq_ignore_ascii_case(name)).map(|(_, f)| *f);
        let conversion = || CONVERSIONS.iter().find(|c| c.name.eq_ignore_ascii_case(name)).map(Function::Conversion);
        plain.or_else(conversion)
    }

    /// All names.
    pub fn names() -> impl Iterator<Item = &'static str> {
        PLAIN.iter().map(|(name, _)| *name).chain(CONVERSIONS.iter().map(|c| c.name))
    }

    /// The least and greatest number of arguments.
    pub fn arguments(self) -> (usize, usize) {
        match self {
            Function::One(_) | Function::Factor(_) => (1, 1),
            Function::Two(_) | Function::LogarithmToBase => (2, 2),
            Function::Many(_) => (1, usize::MAX),
            Function::Round => (1, 2),
            Function::Pi => (0, 0),
            Function::Conversion(c) => (c.arguments.len(), c.arguments.len()),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::analysis::budget::expression::read;
    use crate::analysis::budget::program::Program;
    use crate::radio::reflection;
    use std::collections::BTreeMap;

    fn value(expression: &str) -> f64 {
        let mut program = Program::default();
        let place = read(&mut program, expression, &BTreeMap::new())
            .unwrap_or_else(|f| panic!("{expression}: {}", f.what))
            .place;
        program.at(&[])[place]
    }

    /// Handbook figures (closed forms): SWR 2 is |Γ| = 1/3, 9.5424 dB, 0.5115 dB; through 1 dB of line 1.72026; SWR 3 and 1 dB of
    /// matched loss lose 1.50385 dB; ITU-R P.525: 32.45 dB at 1 MHz and 1 km.
    #[test]
    fn conversions_give_the_handbook_s_figures_and_those_of_the_trade_s_arithmetic_here() {
        let cases = [
            ("REFLECTION(2)", 1.0 / 3.0),
            ("SWR(REFLECTION(2))", 2.0),
            ("RETURN_LOSS(REFLECTION(2))", 9.542_425_094),
            ("REFLECTION_OF_LOSS(9.542425094)", 1.0 / 3.0),
            ("MISMATCH_LOSS(REFLECTION(2))", 0.511_525_224),
            ("SWR(BEFORE_LINE(REFLECTION(2), 1))", 1.720_26),
            ("SWR(BEYOND_LINE(BEFORE_LINE(REFLECTION(3), 2), 2))", 3.0),
            ("LOSS_OF_LINE(1, REFLECTION(3))", 1.503_85),
            ("LOSS_OF_LINE(1, 0)", 1.0),
            ("MISMATCH_ERROR(1/3, 1/3, 0)", -1.023_05),
            ("MISMATCH_ERROR(1/3, 1/3, PI())", 0.915_15),
            ("VECTOR_SUM(0.3, 0.1, PI())", 0.2),
            ("DIRECTIVITY(20)", 0.1),
            ("DECIBELS(2)", 3.010_299_957),
            ("RATIO(DECIBELS(5))", 5.0),
            ("DBM(WATTS(37))", 37.0),
            ("DBM(5)", 36.989_700_043),
            ("FREE_SPACE_LOSS(1, 1000)", 32.447_78),
            ("FREE_SPACE_LOSS(446, 10)", 45.4),
        ];
        for (expression, wanted) in cases {
            let tolerance = if expression.contains("446") { 0.05 } else { 6e-6 };
            assert!((value(expression) - wanted).abs() < tolerance, "{expression}: {}", value(expression));
        }
        for (expression, wanted) in [
            ("REFLECTION(1.7)", reflection::from_swr(1.7)),
            ("MISMATCH_LOSS(0.4)", reflection::mismatch_loss_db(0.4)),
            ("VECTOR_SUM(0.3, 0.2, 1)", reflection::vector_sum(0.3, 0.2, 1.0)),
            ("DIRECTIVITY(25)", reflection::directivity_error(25.0)),
            ("BEYOND_LINE(0.2, 1.5)", 0.2 * reflection::line_correction(1.5)),
        ] {
            assert!((value(expression) - wanted).abs() < 1e-14, "{expression}");
        }
    }
}
