//! The command from outside: bad input word for word, and clear answers where little can be said.

use std::path::Path;

use assert_cmd::Command;

const HEADER: &str = "session,antenna,band,meter,quantity,value";

/// The command, run in a folder of its own.
struct Bench {
    home: tempfile::TempDir,
}

/// What a run gave.
struct Ran {
    status: i32,
    out: String,
    err: String,
}

impl Bench {
    fn new() -> Bench {
        Bench { home: tempfile::tempdir().expect("a folder") }
    }

    fn file(self, name: &str, content: impl AsRef<[u8]>) -> Bench {
        let path = self.home.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        std::fs::write(path, content).expect("a file");
        self
    }

    /// A file `log.csv` of field strengths: session, antenna, value.
    fn log(self, rows: &[(&str, &str, &str)]) -> Bench {
        let rows = rows.iter().map(|(s, a, v)| format!("{s},{a},2 m,field,field_strength,{v}\n"));
        let text = format!("{HEADER}\n{}", rows.collect::<String>());
        self.file("log.csv", text)
    }

    fn run(&self, arguments: &[&str]) -> Ran {
        let output = Command::cargo_bin("daylight")
            .expect("the program")
            .current_dir(self.home.path())
            .env("NO_COLOR", "1")
            .args(arguments)
            .output()
            .expect("a run");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
        Ran { status: output.status.code().expect("no signal"), out: text(output.stdout), err: text(output.stderr) }
    }

    fn antennas(&self) -> Ran {
        self.run(&["antennas", "log.csv"])
    }

    fn json(&self) -> serde_json::Value {
        let ran = self.run(&["antennas", "log.csv", "--json"]);
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err))
    }
}

/// Nothing on standard output, exit status 2, and these words.
fn refused(ran: &Ran, words: &str) {
    assert_eq!((ran.status, ran.out.as_str(), ran.err.as_str()), (2, "", words));
}

#[test]
fn a_pair_apart_that_no_session_joins_is_said_to_rest_on_days() {
    let rows: Vec<(&str, &str, &str)> = vec![
        ("2026-05-02", "heron", "-29.0"),
        ("2026-05-02", "heron", "-29.1"),
        ("2026-05-09", "heron", "-29.2"),
        ("2026-05-09", "heron", "-29.0"),
        ("2026-05-16", "plover", "-35.0"),
        ("2026-05-16", "plover", "-35.2"),
        ("2026-05-23", "plover", "-35.1"),
        ("2026-05-23", "plover", "-35.1"),
    ];
    let text = Bench::new().log(&rows).antennas().out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("apart"), "{text}");
    assert!(text.contains("Of the pairs apart, 1 is joined by no session, nor by a chain of them"), "{text}");
    assert!(text.contains("No session joins heron and plover, not even by way of others"), "{text}");
    // a third antenna met on both days joins them
    let joined: Vec<(&str, &str, &str)> =
        rows.iter().copied().chain(rows.iter().map(|&(day, _, _)| (day, "teal", "-31.0"))).collect();
    let text = Bench::new().log(&joined).antennas().out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!text.contains("joined by no session") && !text.contains("No session joins"), "{text}");
}

#[test]
fn a_name_asked_for_may_be_written_as_it_is_spoken() {
    let bench = Bench::new().log(&[("d", "a", "1.0"), ("d", "b", "2.0")]);
    let asked = bench.run(&["antennas", "log.csv", "--quantity", "Field strength", "--band", "2M", "--meter", "field"]);
    assert_eq!(asked.out, bench.antennas().out);
    refused(
        &bench.run(&["plan", "log.csv", "--band", "6 m"]),
        "log.csv: no readings with band `6 m`\nhint: the log has `2 m`\n",
    );
}

#[test]
fn plan_and_export_end_with_one_where_rows_were_set_aside() {
    let bench = Bench::new().log(&[("d", "a", "1.0"), ("d", "b", "2.0"), ("e", "a", "1.1"), ("e", "b", "x")]);
    assert_eq!(bench.run(&["plan", "log.csv", "--trials", "100"]).status, 1);
    assert_eq!(bench.run(&["export", "log.csv", "out", "--trials", "100"]).status, 1);
    let none = Bench::new().log(&[("d", "a", "x"), ("d", "b", "y")]);
    let ran = none.run(&["plan", "log.csv"]);
    assert!(ran.status == 2 && ran.err.contains("no reading can be used: all were set aside"), "{}", ran.err);
}

#[test]
fn settings_in_place_of_their_folder_are_told() {
    let bench = Bench::new().file("s/season.toml", "").file("s/log.csv", format!("{HEADER}\n"));
    refused(
        &bench.run(&["antennas", "s/season.toml"]),
        "s/season.toml: these are settings, not readings\nhint: name the season's folder, s\n",
    );
}

#[test]
fn input_that_cannot_be_used_is_named_with_what_to_do() {
    let bench = Bench::new()
        .file("bare/notes.txt", "")
        .file("unread/season.toml", "")
        .file("empty.csv", "")
        .file("header.csv", format!("{HEADER}\n"))
        .file("folder.csv/x", "")
        .file("short.csv", "session,antenna,value\nd,a,1\n")
        .file("latin.csv", b"session,antenna,band,meter,quantity,value\nd,caf\xe9,2 m,field,field_strength,1\n");
    let cases = [
        (
            "nowhere",
            "nowhere: there is no such file or folder\nhint: `daylight start nowhere` makes a new season there\n",
        ),
        ("nowhere.csv", "nowhere.csv: there is no such file or folder\n"),
        ("bare", "bare: this folder holds no `season.toml`\nhint: run `daylight start bare` to make one\n"),
        (
            "unread",
            "unread: no readings in `unread`: it holds no file of readings (CSV, XLSX, ODS or Parquet)\n\
             hint: put the readings in a file ending in csv, xlsx, ods or parquet beside `season.toml`, a reading a row, or sweeps into its folder `sweeps`\n",
        ),
        (
            "empty.csv",
            "empty.csv: `empty.csv` is empty: it needs a header line and a reading a row\n\
             hint: a row is one reading: session, antenna, band, meter, quantity, value\n",
        ),
        (
            "header.csv",
            "header.csv: `header.csv` has a header line and no rows\n\
             hint: a row is one reading: session, antenna, band, meter, quantity, value\n",
        ),
        (
            "folder.csv",
            "folder.csv: this folder holds no `season.toml`\nhint: run `daylight start folder.csv` to make one\n",
        ),
    ];
    for (path, words) in cases {
        refused(&bench.run(&["antennas", path]), words);
    }
    let short = bench.run(&["antennas", "short.csv"]);
    assert_eq!((short.status, short.out.as_str()), (2, ""), "{}", short.err);
    assert!(short.err.starts_with("short.csv") && short.err.contains("\nhint: "), "{}", short.err);
    // another encoding is no error, but said
    let latin = bench.run(&["antennas", "latin.csv"]);
    assert!(latin.status == 0 && latin.out.contains("café") && latin.out.contains("not UTF-8"), "{}", latin.out);
}

#[test]
fn a_command_that_cannot_be_used_says_which_part() {
    let bench = Bench::new().log(&[("d", "a", "1.0"), ("d", "b", "2.0")]);
    refused(
        &bench.run(&["antennas", "log.csv", "--quantity", "swr"]),
        "log.csv: no readings with quantity `swr`\nhint: the log has `field_strength`\n",
    );
    for (option, value, words) in [
        ("--confidence", "0.3", "wanted a number above 0.5 and at most 0.999, such as 0.95"),
        ("--confidence", "1", "wanted a number above 0.5 and at most 0.999, such as 0.95"),
        ("--confidence", "high", "wanted a number above 0.5 and at most 0.999, such as 0.95"),
        ("--trials", "0", "0 is not in 1..=10000000"),
        ("--threads", "0", "0 is not in 1..=1024"),
        ("--seed", "-1", ""),
    ] {
        let ran = bench.run(&["antennas", "log.csv", &format!("{option}={value}")]);
        assert_eq!((ran.status, ran.out.as_str()), (2, ""));
        assert!(ran.err.contains(option) && ran.err.contains(words), "{}", ran.err);
    }
    assert_eq!(bench.run(&["antennas"]).status, 2);
    assert_eq!(bench.run(&["rank", "log.csv"]).status, 2);
    assert_eq!(bench.run(&[]).status, 2);
}

#[test]
fn start_overwrites_nothing() {
    let bench = Bench::new().file("mine/readings.csv", "mine").file("plain", "");
    refused(
        &bench.run(&["start", "mine"]),
        "mine/readings.csv: this is there already, and is not overwritten\n\
         hint: nothing was written; choose another folder, or move what is there away\n",
    );
    assert_eq!(std::fs::read_dir(bench.home.path().join("mine")).expect("a folder").count(), 1);
    refused(
        &bench.run(&["start", "plain"]),
        "plain: this is a file, not a folder\n\
         hint: nothing was written; choose another folder, or move what is there away\n",
    );
    assert_eq!(bench.run(&["start", "new"]).status, 0);
    assert_eq!(bench.run(&["start", "new"]).status, 2);
    // a season without a reading has nothing to answer with
    let ran = bench.run(&["antennas", "new"]);
    assert_eq!((ran.status, ran.out.as_str()), (2, ""));
    assert!(ran.err.starts_with(&Path::new("new").join("readings.csv").display().to_string()), "{}", ran.err);
}

#[test]
fn one_antenna_and_one_reading_are_answered() {
    let ran = Bench::new().log(&[("d", "a", "1.5")]).antennas();
    assert_eq!(ran.status, 0);
    assert!(ran.out.contains("1 reading in 1 set, of one antenna each: nothing to compare."), "{}", ran.out);
    assert!(ran.out.contains("can't tell"), "{}", ran.out);
    let ran =
        Bench::new().log(&[("d", "a", "1.5"), ("d", "a", "1.7"), ("e", "a", "1.2"), ("e", "a", "1.3")]).antennas();
    assert_eq!(ran.status, 0);
    assert!(ran.out.contains("One antenna: nothing to compare it with."), "{}", ran.out);
}

#[test]
fn readings_all_alike_leave_the_uncertainty_of_the_display() {
    let mut rows = vec![];
    for session in ["d", "e", "f"] {
        for antenna in ["a", "b"] {
            rows.extend([(session, antenna, "3.1"); 3]);
        }
    }
    let bench = Bench::new().log(&rows);
    assert_eq!(bench.antennas().status, 0);
    let pair = &bench.json()["sets"][0]["pairs"][0];
    assert_eq!((pair["verdict"].as_str(), pair["difference"].as_f64()), (Some("noise"), Some(0.0)));
    // a display of last digit 0.1 cannot show two antennas equal to better than a few hundredths
    let half = pair["high"].as_f64().expect("a number");
    assert!(half > 0.02 && half < 0.5, "{half}");
}

#[test]
fn rows_that_are_all_bad_are_findings_and_exit_status_1() {
    let bench = Bench::new().file("log.csv", format!("{HEADER}\nd,a,2 m,m,field_strength,abc\nd,b,2 m,m,swr,0.5\n"));
    let ran = bench.antennas();
    assert_eq!((ran.status, ran.err.as_str()), (1, ""));
    assert!(ran.out.contains("No reading could be used, so there is nothing to compare."), "{}", ran.out);
    assert!(ran.out.contains("Found in the log: 2 errors"), "{}", ran.out);
    for place in ["log.csv:2, column value: `abc`", "log.csv:3, column value: `0.5`"] {
        assert!(ran.out.contains(place), "{}", ran.out);
    }
}

#[test]
fn a_name_may_be_any_text_and_cannot_break_the_page() {
    let long = "x".repeat(300);
    let names =
        ["\u{1f4fb}", "\u{647}\u{648}\u{627}\u{626}\u{64a}", &long, "\"two\nlines\"", "e\u{301}", "\"\u{1b}[31m\""];
    let mut rows = vec![];
    for session in ["d", "e", "f"] {
        rows.extend(names.iter().zip(["1.0", "2.1", "3.3", "3.9", "5.2", "5.9"]).map(|(n, v)| (session, *n, v)));
    }
    let bench = Bench::new().log(&rows);
    let ran = bench.antennas();
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("two\u{fffd}lines"), "a line break inside a name is shown as a mark");
    assert!(!ran.out.contains('\u{1b}'), "a name cannot drive the terminal");
    let json = bench.json();
    let kept: Vec<_> = json["sets"][0]["antennas"].as_array().expect("a list").iter().map(|a| &a["antenna"]).collect();
    for name in ["\u{1f4fb}", names[1], &long, "two\nlines"] {
        assert!(kept.iter().any(|k| *k == name), "{name:?} {kept:?}");
    }
}

#[test]
fn huge_and_tiny_values_neither_panic_nor_reach_the_json_as_anything_but_numbers() {
    // a number no instrument shows is set aside, and said to be
    for (values, status) in
        [(["1e308", "-1e308"], 1), (["1e-308", "3e-308"], 0), (["1e-308", "3e307"], 1), (["1e11", "1e-15"], 0)]
    {
        let mut rows = vec![];
        for session in ["d", "e", "f"] {
            rows.extend([(session, "a", values[0]), (session, "b", values[1])]);
        }
        let bench = Bench::new().log(&rows);
        let ran = bench.antennas();
        assert_eq!(ran.status, status, "{values:?}");
        assert_eq!(ran.out.contains("is impossible for `field_strength`"), status == 1, "{}", ran.out);
        assert!(!ran.out.contains('∞'), "{}", ran.out);
        assert_eq!(bench.json()["format"], "daylight/antennas/1", "{values:?}");
    }
}

#[test]
fn more_than_a_hundred_antennas_in_a_set_are_refused_with_the_reason() {
    let names: Vec<String> = (0..101).map(|i| format!("antenna {i}")).collect();
    let mut rows = vec![];
    for session in ["d", "e"] {
        rows.extend(names.iter().map(|n| (session, n.as_str(), "1.5")));
    }
    let ran = Bench::new().log(&rows).antennas();
    assert_eq!(ran.status, 1);
    assert!(ran.out.contains("101 antennas in one set"), "{}", ran.out);
}

#[test]
fn many_antennas_are_answered_in_reasonable_time() {
    let names: Vec<String> = (0..40).map(|i| format!("antenna {i}")).collect();
    let value = |s: usize, a: usize| format!("{:.1}", ((s * 31 + a * 17) % 23) as f64 / 10.0);
    let mut text = format!("{HEADER}\n");
    for s in 0..3 {
        for (a, name) in names.iter().enumerate() {
            text += &format!("d{s},{name},2 m,field,field_strength,{}\n", value(s, a));
        }
    }
    let bench = Bench::new().file("log.csv", text);
    let begun = std::time::Instant::now();
    let ran = bench.run(&["antennas", "log.csv", "--trials", "250"]);
    assert_eq!(ran.status, 0);
    assert!(ran.out.contains("Of 780 pairs of antennas in 1 set"), "{}", &ran.out[..400]);
    assert!(begun.elapsed().as_secs() < 60);
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let mut rows = vec![];
    for (session, day) in [("d", 0.3), ("e", -0.4), ("f", 0.2)] {
        for (i, antenna) in ["a", "b", "c"].iter().enumerate() {
            for r in 0..3 {
                rows.push((session, *antenna, format!("{:.1}", day + i as f64 + [0.2, -0.3, 0.1][(r + i) % 3])));
            }
        }
    }
    let rows: Vec<(&str, &str, &str)> = rows.iter().map(|(s, a, v)| (*s, *a, v.as_str())).collect();
    let bench = Bench::new().log(&rows);
    let run = |more: &[&str]| bench.run(&[&["antennas", "log.csv", "--json"], more].concat()).out;
    let one = run(&["--threads", "1"]);
    assert_eq!(one, run(&["--threads", "2"]));
    assert_eq!(one, run(&["--quiet", "--seed", "1"]));
    assert_ne!(one, run(&["--seed", "2"]));
}

#[test]
fn a_unit_that_is_none_of_the_quantitys_is_an_error_with_its_line() {
    let season = "[[meter]]\nname = \"m\"\n\n[[source]]\nname = \"s\"\nquantity = \"swr\"\n\
                  standard = 0.1\nunit = \"bananas\"\nshared_by = \"antenna\"\n";
    let bench =
        Bench::new().file("mine/season.toml", season).file("mine/log.csv", format!("{HEADER}\nd,a,2 m,m,swr,1.5\n"));
    let ran = bench.run(&["antennas", "mine"]);
    assert_eq!((ran.status, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("season.toml:4: source `s` is in `bananas`, no unit of `swr`"), "{}", ran.err);
}

#[test]
fn a_wave_shared_by_the_season_is_added_to_each_antenna() {
    let mut log = format!("{HEADER}\n");
    for session in ["d", "e", "f", "g"] {
        for (antenna, value) in [("a", "1.30"), ("b", "1.50")] {
            for mounting in 0..2 {
                log += &format!("{session},{antenna},2 m,m,swr,{}\n", if mounting == 0 { value } else { &value[..3] });
            }
        }
    }
    let season = |source: &str| format!("repeats = \"remounted\"\n{source}");
    let source =
        "[[source]]\nname = \"s\"\nquantity = \"swr\"\nshape = \"vector\"\nhalf_width = 0.1\nshared_by = \"season\"\n";
    let verdict = |toml: String| {
        let bench = Bench::new().file("mine/season.toml", toml).file("mine/log.csv", log.clone());
        let ran = bench.run(&["antennas", "mine", "--json"]);
        let json: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
        json["sets"][0]["pairs"][0]["verdict"].as_str().map(String::from)
    };
    assert_eq!(verdict(season("")).as_deref(), Some("apart"));
    assert_eq!(verdict(season(source)).as_deref(), Some("noise"));
}
