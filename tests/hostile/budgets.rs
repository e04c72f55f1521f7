//! Budget files of any shape and size.

use super::{Case, write};

const INPUTS: &str = "[[input]]\nname = 'a'\nvalue = 1.0\nstandard = 0.1\nshape = 'normal'\n[[input]]\nname = 'b'\nvalue = 2.0\nhalf_width = 0.1\nshape = 'rectangular'\n";

fn expressions() -> Vec<(&'static str, String)> {
    let deep = 100_000;
    vec![
        ("nothing", String::new()),
        ("parentheses", format!("{}a{}", "(".repeat(deep), ")".repeat(deep))),
        ("parentheses never closed", "(".repeat(deep)),
        ("signs", format!("{}a", "-".repeat(deep))),
        ("spaced signs", format!("{}a", "- ".repeat(deep))),
        ("a sum of many", format!("a{}", " + a".repeat(20_000))),
        ("nested calls", format!("{}a{}", "SQRT(".repeat(5000), ")".repeat(5000))),
        ("nested cases", format!("{}a{}", "CASE WHEN a > 0 THEN ".repeat(500), " ELSE b END".repeat(500))),
        ("division by nothing", "a / 0".into()),
        ("division by nothing at the estimate", "1 / (a - 1)".into()),
        ("a root of less than nothing", "SQRT(-a)".into()),
        ("a logarithm of nothing", "LN(a - a)".into()),
        ("past any number", "EXP(EXP(EXP(EXP(a * 10))))".into()),
        ("a statement", "a; DROP TABLE x".into()),
        ("a query", "(SELECT a FROM b)".into()),
        ("an unknown function", "SYSTEM('rm')".into()),
        ("an aggregate", "COUNT(a)".into()),
        ("a long number", "9".repeat(deep)),
        ("a long name", "a".repeat(deep)),
        ("a text", "'a'".into()),
        ("a comment", "a /* never closed".into()),
        ("controls", "a + \u{1b}[31m b".into()),
        ("a constant", "1".into()),
    ]
}

fn files() -> Vec<(&'static str, Vec<u8>)> {
    let text = |t: String| t.into_bytes();
    let one = |input: &str| text(format!("{input}\n[[output]]\nname = 'y'\nexpression = 'a'\n"));
    vec![
        ("a file of nothing", vec![]),
        ("NUL bytes", vec![0; 100]),
        ("not UTF-8", b"title = '\xff'".to_vec()),
        ("deep lists", text(format!("title = {}", "[".repeat(100_000)))),
        ("an absurd estimate", one("[[input]]\nname='a'\nvalue=1e308\nstandard=1e308\nshape='normal'")),
        ("an absurd size", one("[[input]]\nname='a'\nvalue=0\nhalf_width=1e-308\nshape='rectangular'")),
        ("no degree of freedom", one("[[input]]\nname='a'\nvalue=0\nstandard=1\ndf=1e-300\nshape='t'")),
        ("readings in a device", one("[[input]]\nname='a'\nfile='/dev/zero'\ncolumn='x'")),
        ("readings in a folder", one("[[input]]\nname='a'\nfile='.'\ncolumn='x'")),
        ("readings in itself", one("[[input]]\nname='a'\nfile='budget.toml'\ncolumn='x'")),
        ("names that are code", text("title='<script>alert(1)</script>'\n[[input]]\nname='\"<img src=x onerror=alert(1)>\"'\nvalue=1\nstandard=1\nshape='normal'\n[[output]]\nname='../../x'\nexpression='1'\n".into())),
        ("outputs that are paths", text(format!("{INPUTS}[[output]]\nname='../../../escaped'\nexpression='a'\n[[output]]\nname='/etc/x'\nexpression='a*b'\n[[output]]\nname=\"\\u0000\"\nexpression='b'\n"))),
        ("a correlation past one", text(format!("{INPUTS}[[correlation]]\nbetween=['a','b']\nvalue=1.5\n[[output]]\nname='y'\nexpression='a'\n"))),
        ("a correlation of one with itself", text(format!("{INPUTS}[[correlation]]\nbetween=['a','a']\nvalue=1\n[[output]]\nname='y'\nexpression='a'\n"))),
        ("three hundred inputs", text((0..300).map(|i| format!("[[input]]\nname='x{i}'\nvalue=1\nstandard=1\nshape='normal'\n")).collect::<String>() + "[[output]]\nname='y'\nexpression='x1'\n")),
        ("forty outputs", text(INPUTS.to_string() + &(0..40).map(|i| format!("[[output]]\nname='y{i}'\nexpression='a*{i}'\n")).collect::<String>())),
    ]
}

pub fn cases() -> Vec<Case> {
    let mut cases = vec![];
    for (name, expression) in expressions() {
        let toml = format!(
            "{INPUTS}[[output]]\nname = 'y'\nexpression = \"\"\"{}\"\"\"\n",
            expression.replace('\u{1b}', "\\u001b")
        );
        cases.push(Case::new(format!("expression: {name}"), move |folder| {
            write(&folder.join("budget.toml"), toml.as_bytes())
        }));
    }
    for (name, bytes) in files() {
        cases.push(Case::new(name, move |folder| write(&folder.join("budget.toml"), &bytes)));
    }
    cases
}
