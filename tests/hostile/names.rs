//! Names that are markup, formulas, commands, escapes and paths, wherever a name can stand.

use super::{Case, season, write};

/// Names as an ill-willed or unlucky person writes them.
const NAMES: [&str; 26] = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "\"><svg onload=alert(1)>",
    "&lt;b&gt; &amp; &#x41;",
    "]]>--><!--",
    "{{ 7 * 7 }}{% raw %}",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "=HYPERLINK(\"http://invalid.invalid\")",
    "../../../etc/passwd",
    "/etc/passwd",
    "..\\..\\windows",
    "C:\\con",
    "$(touch /tmp/x)`id`;rm -rf .|cat",
    "%s%n%x{}{0}",
    "name\u{202e}txt.exe",
    "a\u{200b}\u{feff}b",
    "\u{1f4e1}\u{1f1e9}\u{1f1ea} e\u{301}\u{301}\u{301}\u{301}",
    "|*_[a](javascript:alert(1))_*|",
    "NaN",
    "null",
    "'; DROP TABLE x; --",
    "--json",
    "𝕳𝖊𝖗𝖔𝖓",
];

/// Characters that CSV and TOML carry only in quotes or escapes.
const CONTROLS: [(&str, &str); 6] = [
    ("an escape sequence", "\u{1b}[2J\u{1b}]0;title\u{7}"),
    ("a C1 control", "\u{9b}31mred"),
    ("a bell and a backspace", "a\u{7}\u{8}\u{8}b"),
    ("a line break", "two\nlines"),
    ("a carriage return", "over\rwritten"),
    ("a NUL", "nul\0byte"),
];

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// A log whose every name is this one with a letter after it.
fn log(name: &str) -> String {
    let mut log = "session,antenna,band,meter,quantity,value,mounting,note\n".to_string();
    for session in ["s", "t"] {
        for (antenna, swr) in [("a", 1.3), ("b", 1.8)] {
            for mounting in 1..=2 {
                for meter in ["m", "n"] {
                    let cells = [session, antenna, "band", meter].map(|tail| quoted(&format!("{name}{tail}")));
                    let value = swr + 0.02 * f64::from(mounting);
                    log += &format!("{},swr,{value:.2},{mounting},{}\n", cells.join(","), quoted(name));
                }
            }
        }
    }
    log
}

fn escaped(text: &str) -> String {
    let one = |c: char| match c {
        '"' | '\\' => format!("\\{c}"),
        c if c.is_control() => format!("\\u{:04x}", u32::from(c)),
        c => c.to_string(),
    };
    format!("\"{}\"", text.chars().map(one).collect::<String>())
}

/// Settings that declare, claim and leave out by those names.
fn settings(name: &str) -> String {
    let own = |tail: &str| escaped(&format!("{name}{tail}"));
    format!(
        "title = {title}\nreference = {a}\n[[band]]\nname = {band}\nfrequency_mhz = 145.5\n\
         [[meter]]\nname = {m}\nkind = 'analyzer'\nresolution = {{ swr = 0.01 }}\n[[meter]]\nname = {n}\nkind = 'in-line'\n\
         [[antenna]]\nname = {a}\nprice = 20\nclaims = [ {{ quantity = 'swr', at_most = 1.5, bands = [{band}] }} ]\n\
         [[antenna]]\nname = {b}\n[[source]]\nname = {title}\nquantity = 'swr'\nshape = 'rectangular'\nhalf_width = 0.01\n\
         shared_by = 'session'\n[[leave_out]]\nantenna = {a}\nmounting = 9\nreason = {title}\n",
        title = escaped(name),
        a = own("a"),
        b = own("b"),
        band = own("band"),
        m = own("m"),
        n = own("n"),
    )
}

pub fn cases() -> Vec<Case> {
    let named = NAMES.iter().map(|n| (n.to_string(), n.to_string()));
    let controls = CONTROLS.iter().map(|(what, n)| (what.to_string(), n.to_string()));
    let long = [("ten thousand letters".to_string(), "long ".repeat(2000))];
    let mut cases = vec![];
    for (at, (what, name)) in named.chain(controls).chain(long).enumerate() {
        let (declared, bare) = (name.clone(), name.clone());
        cases.push(Case::new(format!("declared and logged: {what}"), move |folder| {
            season(folder, settings(&declared).as_bytes(), log(&declared).as_bytes());
        }));
        if at % 4 == 0 {
            cases.push(Case::new(format!("logged alone: {what}"), move |folder| {
                season(folder, b"", log(&bare).as_bytes());
            }));
        }
    }
    for name in ["=1+1.csv", "<b>.csv", "-rf.csv", "\u{1b}[31m.csv", "a\nb.csv", "$(id).csv", " .csv", "{}.csv"] {
        cases.push(Case::new(format!("a file named {name:?}"), move |folder| {
            write(&folder.join("season.toml"), b"");
            write(&folder.join(name), log("x").replace("1.3", "?").as_bytes());
        }));
    }
    cases
}
