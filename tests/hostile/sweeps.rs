//! Touchstone files of any bytes.

use std::path::Path;

use super::{Case, write};

const SETTINGS: &str = "sweep_pattern = '{session}-{antenna}.s1p'\n[[band]]\nname = '2 m'\nfrequency_mhz = 145.5\n";
const HEAD: &str = "# MHz S RI R 50\n";

fn files() -> Vec<(&'static str, Vec<u8>)> {
    let text = |t: String| t.into_bytes();
    let data = |rows: &str| text(format!("{HEAD}{rows}"));
    vec![
        ("nothing", vec![]),
        ("NUL bytes", vec![0; 1000]),
        ("UTF-16", b"\xff\xfe#\0 \0M\0".to_vec()),
        ("0xff", vec![0xff; 1000]),
        ("comments alone", text("! only\n".repeat(10_000))),
        ("a comment that drives a terminal", text(format!("! \u{1b}[2J\u{9b}31m <script>alert(1)</script>\n{HEAD}145 0.1 0.2\n146 0.1 0.1\n"))),
        ("one line of a megabyte", vec![b'1'; 1 << 20]),
        ("an option line of a megabyte", text(format!("# {}\n145 0 0\n", "R ".repeat(1 << 19)))),
        ("a hundred thousand numbers in a line", data(&"1 ".repeat(100_000))),
        ("twenty thousand points", data(&(0..20_000).map(|i| format!("{} 0.1 0.{i}\n", 100.0 + f64::from(i) * 5e-3)).collect::<String>())),
        ("absurd frequencies", data("1e308 0 0\n1e309 0 0\n")),
        ("absurd reflections", data("145 1e308 1e308\n146 -1e308 0\n")),
        ("a perfect match", data("145 0 0\n146 0 0\n")),
        ("a perfect open", data("145 1 0\n146 1 0\n")),
        ("a perfect short", data("145 -1 0\n146 -1 0\n")),
        ("more than all of it", data("145 1.01 0\n146 1.01 0\n")),
        ("one point", data("145.5 0.1 0.2\n")),
        ("points a hair apart", data("145.49999999999997 0.1 0.2\n145.5 0.1 0.2\n145.50000000000003 0.1 0.2\n")),
        ("a resistance of nothing", text("# MHz Z RI R 50\n145 0 0\n146 0 0\n".into())),
        ("minus the reference", text("# MHz Z RI R 50\n145 -1 0\n146 -1 0\n".into())),
        ("an admittance past any", text("# MHz Y RI R 50\n145 1e300 0\n146 1e300 0\n".into())),
        ("a vast reference", text("# MHz S RI R 1e308\n145 0 0\n146 0 0\n".into())),
        ("decibels past any", text("# MHz S DB R 50\n145 1e10 0\n146 -1e10 0\n".into())),
        ("angles past any", text("# MHz S MA R 50\n145 0.1 1e300\n146 0.1 -1e300\n".into())),
        ("two-port data", data("145 1 2 3 4 5 6 7 8\n")),
        ("keywords never closed", text("[Version 2.0\n[[[[\n".into())),
        ("a count past any", text("[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n[Number of Frequencies] 1e300\n[Network Data]\n145 0 0\n[End]\n".into())),
        ("information never ended", text("[Version] 2.0\n# MHz S RI\n[Begin Information]\n145 0 0\n".into())),
        ("a reference that never comes", text("[Version] 2.0\n# MHz S RI\n[Reference]\n[Network Data]\n".into())),
        ("a version of nothing", text("[Version]\n# MHz\n".into())),
    ]
}

fn folder(folder: &Path, name: &str, bytes: &[u8]) {
    write(&folder.join("season.toml"), SETTINGS.as_bytes());
    write(&folder.join("sweeps").join(name), bytes);
    write(&folder.join("sweeps/t-heron.s1p"), b"# MHz S RI R 50\n144 0.1 0.2\n145.5 0 0.1\n147 0.1 0.1\n");
    write(&folder.join("sweeps/t-plover.s1p"), b"# MHz S RI R 50\n144 0.3 0.2\n145.5 0.2 0.1\n147 0.3 0.1\n");
}

pub fn cases() -> Vec<Case> {
    let mut cases = vec![];
    for (name, bytes) in files() {
        cases.push(Case::new(name, move |at| folder(at, "s-heron.s1p", &bytes)));
    }
    let sound = b"# MHz S RI R 50\n144 0.1 0.2\n147 0.1 0.1\n";
    for name in [
        "-.s1p",
        "s-<img src=x>.s1p",
        "s-=1+1.s1p",
        "s-\u{1b}[31m.s1p",
        "s-a\nb.s1p",
        "s-..s1p",
        "s--.s1p",
        "---.s1p",
        "x.s2p",
        "x.s999999999999p",
        ".s1p",
        "a/b/c/d/e/f/g/h/i/j/s-x.s1p",
    ] {
        cases.push(Case::new(format!("a file named {name:?}"), move |at| folder(at, name, sound)));
    }
    cases
}
