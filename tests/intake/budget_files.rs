//! Budget files from outside: what their errors say, word for word where it matters, and what is found in budgets that can be
//! worked out but not trusted.

use std::path::Path;

use daylight::analysis::budget::result::Budget;
use daylight::analysis::budget::simulation::Options;
use daylight::analysis::budget::{analyse, parse};
use daylight::montecarlo::distribution::Distribution;
use daylight::report::budget_text;
use daylight::season::finding::Severity;

fn error(text: &str) -> String {
    parse::parse(text, "b.toml", Path::new("")).expect_err(text).to_string()
}

fn budget(text: &str) -> Budget {
    let config = parse::parse(text, "b.toml", Path::new("")).unwrap_or_else(|error| panic!("{error}"));
    analyse(&config, &Options { seed: 1, trials: Some(100_000) }, &|| ())
}

/// A file with three normal inputs and that expression.
fn of(expression: &str) -> String {
    let mut text = String::new();
    for (name, value) in [("a", 1.0), ("b", 2.0), ("line loss", 3.0)] {
        text += &format!("[[input]]\nname = \"{name}\"\nshape = \"normal\"\nvalue = {value}\nstandard = 0.1\n");
    }
    text + &format!("[[output]]\nname = \"y\"\nexpression = '{expression}'\n")
}

#[test]
fn an_unknown_name_is_pointed_at_with_the_nearest_one() {
    assert_eq!(
        error(&of("a + 2 * aa")),
        "b.toml:18:23: `aa` is not the name of an input, nor of an output above\n   |\n18 | expression = 'a + 2 * aa'\n   \
         |                       ^^\nhint: did you mean `a`?"
    );
    assert!(error(&of("a * lineloss")).contains("did you mean `\"line loss\"`, in double quotes?"));
    assert!(error(&of("a * line loss")).contains("the expression ends before this"));
    assert!(error(&of("a * zebra")).contains("the names are `a`, `b` or `line loss`"));
    assert!(error(&of("a + SQRT")).contains("the function is written `SQRT(…)`"));
}

#[test]
fn what_is_no_arithmetic_is_said_with_what_to_write_instead() {
    let cases = [
        ("a ^ 2", "a power is written `POWER(x, 2)`"),
        ("a ** 2", "a power is written `POWER(x, 2)`"),
        ("SUM(a)", "one value of each input at a time"),
        ("MAX(a)", "`GREATEST(a, b)`"),
        ("SQTR(a)", "did you mean `SQRT`?"),
        ("POWER(a)", "`POWER` takes 2 numbers, and is given 1"),
        ("SWR(a, b)", "SWR(g) gives the SWR of |Γ|"),
        ("a + 1,5", "the decimal mark is a point"),
        ("a < b", "this is true or false, not a number"),
        ("CASE WHEN a > 1 THEN 2 END", "this CASE has no ELSE"),
        ("CASE WHEN a THEN 2 ELSE 1 END", "where a comparison is wanted"),
        ("a / 0", "this divides by zero"),
        ("a / (1 - 1)", "this divides by zero"),
        ("(a + b", "this can't be read as an expression"),
        ("", "this can't be read as an expression"),
        ("a b", "the expression ends before this"),
        ("a + \"text\"", "is not the name of an input"),
        ("COUNT(*)", "is not a function that is known here"),
        ("a; DROP TABLE b", "the expression ends before this"),
        ("(SELECT 1)", "a query has no place in an expression"),
        ("1e999 * a", "is not a number that can be computed with"),
        ("ROUND(a, b)", "that is written out"),
    ];
    for (expression, said) in cases {
        let message = error(&of(expression));
        assert!(message.contains(said), "{expression}: {message}");
        assert!(message.starts_with("b.toml:18:"), "{expression}: {message}");
    }
    assert!(error(&of(&format!("a{}", " + a".repeat(3000)))).contains("longer than 10000 characters"));
    assert!(error(&of(&format!("{}a{}", "(".repeat(200), ")".repeat(200)))).contains("nested too deeply"));
}

#[test]
fn long_sums_small_numbers_and_names_with_spaces_are_read() {
    let sum = budget(&of(&format!("a{}", " + a".repeat(2000))));
    assert!((sum.outputs[0].propagation.as_ref().unwrap().estimate - 2001.0).abs() < 1e-6);
    let small = budget(&of("1e-3 * a + 2.5E+2 * \"line loss\""));
    assert!((small.outputs[0].propagation.as_ref().unwrap().estimate - 750.001).abs() < 1e-9);
}

#[test]
fn an_output_may_use_the_outputs_above_it_and_not_those_below() {
    let text = of("a + b") + "[[output]]\nname = \"z\"\nexpression = \"2 * y\"\n";
    assert_eq!(budget(&text).outputs[1].propagation.as_ref().unwrap().estimate, 6.0);
    assert!(error(&of("2 * z")).contains("`z` is not the name"));
}

fn with_shape(lines: &str) -> String {
    format!("[[input]]\nname = \"a\"\n{lines}\n[[output]]\nname = \"y\"\nexpression = \"a\"\n")
}

#[test]
fn sizes_that_make_no_distribution_are_refused_with_their_place() {
    let cases = [
        (
            "shape = \"rectangular\"\nvalue = 1\nhalf_width = -0.1",
            "b.toml:5:14: `half_width` is -0.1, wanted a number above 0",
        ),
        ("shape = \"rectangular\"\nlow = 2\nhigh = 1", "b.toml:5:8: `high` is 1, wanted a number above `low`, 2"),
        ("shape = \"normal\"\nvalue = 1\nstandard = 0", "`standard` is 0, wanted a number above 0"),
        ("shape = \"trapezoidal\"\nvalue = 1\nhalf_width = 1\ntop = 1.5", "`top` is 1.5, wanted a number from 0 to 1"),
        ("shape = \"curvilinear trapezoid\"\nvalue = 0\nhalf_width = 1\nlimits_within = 1", "below half the width, 1"),
        ("shape = \"rectangle\"\nvalue = 1\nhalf_width = 1", "did you mean `rectangular`?"),
        ("shape = \"normal\"\nvalue = 1\nhalf_width = 1", "`half_width` does not belong to the shape `normal`"),
        ("value = 1\nstandard = 0.1", "`standard` needs a `shape`"),
        ("shape = \"t\"\nvalue = 1\nstandard = 0.1", "has no `df`"),
        ("shape = \"normal\"\nvalue = 1\nexpanded = 2", "has no `coverage_factor`"),
        ("shape = \"normal\"\nvalue = 1\nexpanded = 2\nstandard = 1", "both a standard and an expanded uncertainty"),
        ("shape = \"rectangular\"\nvalue = 1\nhalf_width = 1\nlow = 0\nhigh = 2", "both limits and a value"),
        ("shape = \"rectangular\"\nvalue = 1e20\nhalf_width = 1", "is lost beside a value"),
        ("shape = \"count\"\ncount = -1", "a whole number, 0 or above"),
        ("shape = \"phase\"\nhalf_width = 1", "a phase needs no size"),
        ("readings = [1.0]", "one reading says nothing"),
        ("readings = []", "there are no readings"),
        ("readings = [1.0, 1.0, 1.0]", "all readings agree"),
        ("readings = [1.0, \"x\"]", "wanted a number"),
        ("file = \"none.csv\"\ncolumn = \"v\"", "`none.csv` can't be read: entity not found"),
        ("vlaue = 1", "did you mean `value`?"),
        ("value = nan", "`value` is nan, wanted a number"),
    ];
    for (lines, said) in cases {
        let message = error(&with_shape(lines));
        assert!(message.contains(said), "{lines}: {message}");
    }
    for text in ["", "title = \"x\"", "[[input]]\nname = \"a\"\nvalue = 1\n"] {
        let message = error(text);
        assert!(message.contains("there is no `[["), "{message}");
    }
    assert!(
        error("[[input]]\nname = \"a\"\nvalue = 1\n[[input]]\nname = \"a\"\nvalue = 2\n")
            .contains("already the name of an input")
    );
}

#[test]
fn every_shape_is_read_as_the_distribution_it_names() {
    use Distribution::*;
    let cases = [
        ("value = 3", Exact { value: 3.0 }),
        ("shape = \"normal\"\nvalue = 1\nexpanded = 3\ncoverage_factor = 2", Normal { mean: 1.0, standard: 1.5 }),
        ("shape = \"rectangular\"\nvalue = 1\nhalf_width = 2", Rectangular { low: -1.0, high: 3.0 }),
        ("shape = \"triangular\"\nlow = 1\nhigh = 2", Triangular { low: 1.0, high: 2.0 }),
        ("shape = \"trapezoidal\"\nlow = 1\nhigh = 2\ntop = 0.5", Trapezoidal { low: 1.0, high: 2.0, top: 0.5 }),
        ("shape = \"arcsine\"\nvalue = 0\nhalf_width = 2", Arcsine { low: -2.0, high: 2.0 }),
        (
            "shape = \"curvilinear trapezoid\"\nlow = 1\nhigh = 2\nlimits_within = 0.1",
            CurvilinearTrapezoid { low: 1.0, high: 2.0, within: 0.1 },
        ),
        ("shape = \"t\"\nvalue = 1\nstandard = 2\ndf = 5", StudentT { location: 1.0, scale: 2.0, df: 5.0 }),
        ("shape = \"exponential\"\nvalue = 2", Exponential { mean: 2.0 }),
        ("shape = \"gamma\"\nvalue = 4\nstandard = 2", Gamma { shape: 4.0, scale: 1.0 }),
        // a count of seven in two minutes
        ("shape = \"count\"\ncount = 7\nper = 2", Gamma { shape: 8.0, scale: 0.5 }),
        ("readings = [1, 2, 3]", StudentT { location: 2.0, scale: (1.0f64 / 3.0).sqrt(), df: 2.0 }),
    ];
    for (lines, expected) in cases {
        let config =
            parse::parse(&with_shape(lines), "b.toml", Path::new("")).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(config.inputs[0].distribution, expected, "{lines}");
    }
}

#[test]
fn readings_come_from_a_column_of_a_file_too_and_no_row_of_it_is_dropped() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("log.csv"), "session,value\n1,2.0\n2, 3.0\n3,4.0\n").unwrap();
    let text = |file: &str, column: &str| with_shape(&format!("file = \"{file}\"\ncolumn = \"{column}\""));
    let config = parse::parse(&text("log.csv", "value"), "b.toml", folder.path()).unwrap();
    assert_eq!(
        config.inputs[0].distribution,
        Distribution::StudentT { location: 3.0, scale: (1.0f64 / 3.0).sqrt(), df: 2.0 }
    );
    let error = |text: &str| parse::parse(text, "b.toml", folder.path()).unwrap_err().to_string();
    assert!(error(&text("log.csv", "valu")).contains("did you mean `value`?"));
    std::fs::write(folder.path().join("gap.csv"), "session,value\n1,2.0\n2,\n").unwrap();
    assert!(error(&text("gap.csv", "value")).contains("`gap.csv`, line 3, column value: `` is not a number"));
}

fn correlated(pairs: &[(&str, &str, f64)]) -> String {
    let entry =
        |(a, b, r): &(&str, &str, f64)| format!("[[correlation]]\nbetween = [\"{a}\", \"{b}\"]\ncoefficient = {r}\n");
    of("a + b + \"line loss\"") + &pairs.iter().map(entry).collect::<String>()
}

#[test]
fn correlations_that_cannot_hold_are_refused_and_those_that_can_are_used() {
    let impossible = error(&correlated(&[("a", "b", 0.9), ("b", "line loss", 0.9), ("a", "line loss", -0.9)]));
    assert!(impossible.contains("can't all hold at once: their matrix has an eigenvalue of -0.8"), "{impossible}");
    assert!(impossible.contains("hint: with the other two, that of `a` and `b` must lie from"), "{impossible}");
    assert!(error(&correlated(&[("a", "c", 0.5)])).contains("`c` is not an input of this budget"));
    assert!(error(&correlated(&[("a", "a", 0.5)])).contains("an input goes with itself always"));
    assert!(error(&correlated(&[("a", "b", 1.5)])).contains("wanted a number from −1 to 1"));
    assert!(error(&correlated(&[("a", "b", 0.5), ("b", "a", 0.4)])).contains("is given twice"));
    let shapes = of("a + b").replacen(
        "shape = \"normal\"\nvalue = 1\nstandard = 0.1",
        "shape = \"arcsine\"\nvalue = 1\nhalf_width = 0.1",
        1,
    ) + "[[correlation]]\nbetween = [\"a\", \"b\"]\ncoefficient = 0.5\n";
    assert!(error(&shapes).contains("can't be tied by a correlation"));
    assert!(error(&shapes).contains("make what they share an input of its own"));
    // all the same quantity: three times 0.1
    let same = budget(&correlated(&[("a", "b", 1.0), ("b", "line loss", 1.0), ("a", "line loss", 1.0)]));
    assert!((same.outputs[0].propagation.as_ref().unwrap().standard_uncertainty - 0.3).abs() < 1e-12);
    assert!((same.outputs[0].simulation.as_ref().unwrap().standard_uncertainty.unwrap() - 0.3).abs() < 0.004);
}

#[test]
fn a_result_that_is_no_number_for_some_draws_is_an_error_that_says_how_many_and_where() {
    // ln of a, normal about 1 with 0.1, less 0.9: below zero for 16 %
    let lost = budget(&of("LN(a - 0.9) + b"));
    let finding = lost.findings.iter().find(|f| f.severity == Severity::Error).unwrap();
    assert!(
        finding.what.starts_with("`y` is no finite number for 16 % of the draws: there `a` from 0."),
        "{}",
        finding.what
    );
    assert!(finding.what.contains(" to 0.9000, `b` from 1."), "{}", finding.what);
    assert_eq!(finding.place.line, Some(18));
    assert!(lost.outputs[0].simulation.is_none());
    let words = budget_text::render(&lost).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("no Monte Carlo result bears it out"), "{words}");
    // another output beside it keeps its interval, and both their correlation is not to be had
    let beside = budget(&(of("LN(a - 0.9) + b") + "[[output]]\nname = \"z\"\nexpression = 'a + b'\n"));
    assert!(beside.outputs[0].simulation.is_none());
    let z = beside.outputs[1].simulation.as_ref().unwrap();
    assert!((z.standard_uncertainty.unwrap() - 0.02f64.sqrt()).abs() < 0.001);
    assert!(beside.joint.as_ref().unwrap().simulated.iter().all(|r| r.is_nan()));
    let words = budget_text::render(&beside).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("z = 3.00 ± 0.28 (95 %, k = 1.96)"), "{words}");
}

#[test]
fn a_divisor_on_both_sides_of_zero_is_found_where_it_is_written() {
    let straddling = budget(&of("b / (a - 1.1)"));
    let finding = straddling.findings.iter().find(|f| f.what.contains("both sides of zero")).unwrap();
    assert_eq!((finding.place.line, finding.place.column.as_deref()), (Some(18), Some("20")));
    assert!(finding.what.contains("84 % of draws at or below it"), "{}", finding.what);
    // well away from zero: nothing to say
    assert!(!budget(&of("b / a")).findings.iter().any(|f| f.what.contains("both sides")));
}

#[test]
fn edges_where_the_law_of_propagation_has_nothing_to_say_are_said() {
    let edge =
        budget(&with_shape("shape = \"exponential\"\nvalue = 1").replace("\"a\"\n", "\"SQRT(a - 1)\"\n").replacen(
            "\"SQRT(a - 1)\"",
            "\"a\"",
            1,
        ));
    assert!(edge.findings.iter().any(|f| f.what.contains("no finite derivative")), "{:?}", edge.findings);
    let unused = budget(&of("a"));
    assert_eq!(unused.findings.iter().filter(|f| f.what.ends_with("is in no expression")).count(), 2);
    let few = budget(&with_shape("readings = [1.0, 2.0, 2.5]"));
    assert!(few.findings.iter().any(|f| f.what.contains("has no standard deviation")));
    let flat = budget(&of("FLOOR(a + 0.5) + 0 * b"));
    assert_eq!(flat.outputs[0].propagation.as_ref().unwrap().standard_uncertainty, 0.0);
    budget_text::render(&flat);
}

#[test]
fn no_line_of_an_answer_is_wider_than_the_screen() {
    let long = of("a * b + \"line loss\"")
        .replace("\"line loss\"", "\"the loss of the line between the meter and the antenna, as measured\"");
    let long = long
        .replace("name = \"a\"", "name = \"a\"\nunit = \"furlongs\"")
        .replace("name = \"y\"", "name = \"y\"\nunit = \"furlong dB\"");
    for text in [long, of("a")] {
        let rendered = budget_text::render(&budget(&text));
        assert!(rendered.lines().all(|line| line.chars().count() <= 80), "{rendered}");
    }
}

#[test]
fn any_bytes_are_an_error_and_never_a_panic() {
    let whole = correlated(&[("a", "b", 0.5)]);
    for end in (0..whole.len()).step_by(3) {
        let _ = parse::parse(&whole[..end], "b.toml", Path::new(""));
    }
    for (from, to) in
        [("normal", "t"), ("0.1", "\"x\""), ("[[", "["), ("a + b", "a +"), ("value", "value.x"), ("=", "= = ")]
    {
        let _ = parse::parse(&whole.replace(from, to), "b.toml", Path::new(""));
    }
}
