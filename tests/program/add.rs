//! `add` from outside: what it writes, what it says, and what is left after kills, torn rows, two writers at once and
//! a full disk.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::Duration;

use daylight::analysis::add::history::{Against, History, NewReading, RISK};
use daylight::analysis::add::judge::from_to;
use daylight::season::config::Config;
use daylight::season::finding::Severity;
use daylight::season::readings::{Readings, read_files, read_text};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

const HEADER: &str = "session,antenna,band,meter,quantity,value,unit,mounting,order,when,note,mark\n";
const SEASON: &str = r#"
[[band]]
name = "2 m"
[[meter]]
name = "inline"
resolution = { swr = 0.01, forward_power = 0.01 }
[[meter]]
name = "analyzer"
resolution = { swr = 0.01, impedance = 0.1 }
[[antenna]]
name = "heron"
[[antenna]]
name = "plover"
"#;

/// A season's folder, gone with the value.
struct Bench {
    home: tempfile::TempDir,
}

struct Ran {
    status: i32,
    out: String,
    err: String,
}

impl Bench {
    fn new() -> Bench {
        Bench { home: tempfile::tempdir().unwrap() }.file("season.toml", SEASON)
    }

    fn file(self, name: &str, content: impl AsRef<[u8]>) -> Bench {
        std::fs::write(self.home.path().join(name), content).unwrap();
        self
    }

    fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.home.path()).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin("daylight"));
        command.arg("add").arg(self.home.path()).args(arguments);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// One call with words, or with lines typed into a pipe.
    fn run(&self, arguments: &[&str], typed: &str) -> Ran {
        let mut child = self.command(arguments).spawn().unwrap();
        // who refuses the command reads no line
        let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
        let output = child.wait_with_output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Ran { status: output.status.code().unwrap(), out: text(output.stdout), err: text(output.stderr) }
    }

    fn add(&self, words: &[&str]) -> Ran {
        self.run(&[&["--session", "d1"], words].concat(), "")
    }

    fn typed(&self, lines: &str) -> Ran {
        self.run(&["--session", "d1"], lines)
    }

    fn read(&self, name: &str) -> Readings {
        read_files(&[self.path(name)], &[name.into()], &Config::default()).unwrap()
    }
}

fn values(readings: &Readings) -> Vec<f64> {
    readings.frame.column("value").unwrap().f64().unwrap().iter().flatten().collect()
}

#[test]
fn a_reading_from_the_command_line_is_a_row_that_reads_back() {
    let bench = Bench::new();
    let ran = bench.add(&["plov", "inline", "swr", "1.52", "1.53", "--note", "=gust, twice"]);
    assert_eq!((ran.status, ran.err.as_str()), (0, ""));
    assert_eq!(
        ran.out,
        "readings-d1.csv:2 plover, 2 m, inline, swr 1.52, mounting 1\n\
         readings-d1.csv:3 plover, 2 m, inline, swr 1.53, mounting 1\n"
    );
    let row = |value: &str| format!("d1,plover,2 m,inline,swr,{value},,1,1,,\" =gust, twice\",\n");
    assert_eq!(bench.text("readings-d1.csv"), format!("{HEADER}{}{}", row("1.52"), row("1.53")));
    // the last thing is remembered from one call to the next; a re-mount is a sign
    assert_eq!(bench.add(&["+", "1.50"]).out, "readings-d1.csv:4 plover, 2 m, inline, swr 1.50, mounting 2\n");
    let ran = bench.add(&["fwd", "4800mW"]);
    assert!(
        ran.out.starts_with("readings-d1.csv:5 plover, 2 m, inline, forward_power 4800 mW, mounting 2\n"),
        "{}",
        ran.out
    );
    assert_eq!(bench.names(), ["readings-d1.csv", "season.toml"]);
    assert_eq!(values(&bench.read("readings-d1.csv")), [1.52, 1.53, 1.50, 4.8]);
    assert!(bench.read("readings-d1.csv").findings.is_empty());
}

#[test]
fn today_is_the_session_and_each_reading_gets_its_time_unless_a_session_is_named() {
    let bench = Bench::new();
    let ran = bench.run(&["heron", "inline", "swr", "1.4", "--json"], "");
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let session = json["session"].as_str().unwrap();
    assert!(daylight::season::readings::microseconds(session).is_some(), "{session}");
    let text = bench.text(&format!("readings-{session}.csv"));
    assert!(text.lines().nth(1).unwrap().contains(&format!(",1,1,{session}T")), "{text}");
}

#[test]
fn a_sheet_keeps_its_columns_separator_line_ends_and_decimal_commas() {
    let sheet =
        "\u{feff}Value;place;Quantity;meter;band;antenna;session;mounting\r\n1,50;oak;swr;inline;2 m;heron;d1;1\r\n";
    let bench = Bench::new().file("log.csv", sheet);
    assert_eq!(bench.add(&["1.51"]).err, "");
    assert_eq!(bench.add(&["plover", "1,6"]).out, "log.csv:4 plover, 2 m, inline, swr 1,6, mounting 1\n");
    let rows = "1,51;;swr;inline;2 m;heron;d1;1\r\n1,6;;swr;inline;2 m;plover;d1;1\r\n";
    assert_eq!(bench.text("log.csv"), format!("{sheet}{rows}"));
    // what the sheet has no column for is not written anywhere else
    let bare = Bench::new().file("log.csv", "session,antenna,band,meter,quantity,value\nd1,heron,2 m,inline,swr,1.5\n");
    let ran = bare.add(&["+", "1.52"]);
    assert!(ran.status == 2 && ran.err.contains("no column `mounting`"), "{}", ran.err);
    let ran = bare.add(&["readings=5", "1.52"]);
    assert!(ran.status == 2 && ran.err.contains("no column `readings`"), "{}", ran.err);
    assert!(bare.add(&["1.52"]).out.ends_with("swr 1.52\n"));
    // a summarised sheet takes means, and single readings too
    let head = "session,antenna,band,meter,quantity,value,readings,sd\nd1,heron,2 m,inline,swr,1.50,5,0.01\n";
    let means = Bench::new().file("means.csv", head);
    means.add(&["1.49", "readings=4", "sd=0.02"]);
    means.add(&["1.51"]);
    assert_eq!(
        means.text("means.csv"),
        format!("{head}d1,heron,2 m,inline,swr,1.49,4,0.02\nd1,heron,2 m,inline,swr,1.51,,\n")
    );
}

#[test]
fn the_sheet_is_the_sessions_own_or_the_only_one_or_a_new_one_and_no_other_file_is_touched() {
    let row = |session: &str| format!("{session},heron,2 m,inline,swr,1.5,,1,,,,\n");
    let bench = Bench::new()
        .file("a.csv", format!("{HEADER}{}", row("d1")))
        .file("b.csv", format!("{HEADER}{}", row("d0")))
        .file("c.xlsx", "not ours to read");
    assert!(bench.add(&["1.51"]).out.starts_with("a.csv:3 "));
    assert!(bench.run(&["--session", "d0", "1.51"], "").out.starts_with("b.csv:3 "));
    assert!(
        bench
            .run(&["--session", "d 2/x", "heron", "inline", "swr", "1.51"], "")
            .out
            .starts_with("readings-d-2-x.csv:2 ")
    );
    assert!(
        bench
            .run(&["--session", "d3", "--into", "z.csv", "heron", "inline", "swr", "1.51"], "")
            .out
            .starts_with("z.csv:2 ")
    );
    assert_eq!(bench.text("c.xlsx"), "not ours to read");
    for (into, words) in [("../x.csv", "no name for a sheet"), ("c.xlsx", "no name for a sheet")] {
        let ran = bench.run(&["--into", into, "heron", "inline", "swr", "1.51"], "");
        assert!(ran.status == 2 && ran.err.contains(words), "{}", ran.err);
    }
    assert_eq!(bench.names(), ["a.csv", "b.csv", "c.xlsx", "readings-d-2-x.csv", "season.toml", "z.csv"]);
}

#[test]
fn from_a_pipe_each_line_written_is_answered_and_each_other_is_told_apart() {
    let bench = Bench::new();
    let ran = bench.typed(
        "heron inline swr 1.41\n1.43\n\nplvoer 1.5\n1.47\nheron\n0.95\n0.95!\n>3\n+ 1.42 1.44 ; loose, then tight\n1.5",
    );
    assert_eq!(
        ran.out,
        "readings-d1.csv:2 heron, 2 m, inline, swr 1.41, mounting 1\n\
         readings-d1.csv:3 heron, 2 m, inline, swr 1.43, mounting 1\n\
         readings-d1.csv:4 heron, 2 m, inline, swr 0.95, mounting 1\n\
         \x20 : `0.95` is impossible for `swr`: an SWR is at least 1; written, but it counts\n    in no verdict\n\
         readings-d1.csv:5 heron, 2 m, inline, swr >3, mounting 1\n\
         \x20 : `>3` says only that the reading lies above 3: a censored reading is a limit\n    \
         and no number: the fit cannot use it, and without such readings the antenna\n    \
         that has them seems nearer to the others than it is; written, but it counts\n    in no verdict\n\
         readings-d1.csv:6 heron, 2 m, inline, swr 1.42, mounting 2\n\
         readings-d1.csv:7 heron, 2 m, inline, swr 1.44, mounting 2\n",
        "{}",
        ran.err
    );
    let told: Vec<&str> = ran.err.lines().collect();
    assert_eq!(ran.status, 1);
    assert!(
        told[0].starts_with("line 4: `plvoer` is no name") && told[0].contains("is `plover` meant?"),
        "{}",
        ran.err
    );
    // nobody knows which antenna the next number is of
    assert_eq!(told[1], "line 5: which antenna? one of heron, plover");
    assert!(
        told[2].starts_with("line 7: `0.95` is impossible for `swr`") && told[2].contains("not written"),
        "{}",
        ran.err
    );
    assert!(told[3].starts_with("line 11: ") && told[3].contains("no line end"), "{}", ran.err);
    assert_eq!(told.len(), 4);
    assert_eq!(values(&bench.read("readings-d1.csv")), [1.41, 1.43, 1.42, 1.44]);
}

#[test]
fn what_is_taken_back_stays_in_the_sheet_and_counts_no_more() {
    let bench = Bench::new();
    let ran = bench.typed("heron inline swr 1.41\n14.2\n- ; point\n1.42\n=\n-\n-\n-\n");
    assert!(
        ran.out.contains("readings-d1.csv:3 taken back: heron, 2 m, inline, swr 14.2, mounting 1\n"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("2: heron 2 m inline swr #1: 1.41 (14.2 taken back) 1.42\n"), "{}", ran.out);
    assert!(ran.err.contains("line 8: nothing of d1 is left to take back"), "{}", ran.err);
    assert_eq!(bench.text("readings-d1.csv").lines().count(), 7);
    let again = bench.add(&["heron", "inline", "swr", "1.43"]);
    assert!(again.out.starts_with("readings-d1.csv:8 heron"), "{}{}", again.out, again.err);
    // into a sheet without the column, too
    let bare = Bench::new().file("log.csv", "session,antenna,band,meter,quantity,value\nd1,heron,2 m,inline,swr,1.5\n");
    bare.typed("1.52\n15.1\n-\n");
    let readings = bare.read("log.csv");
    assert_eq!(values(&readings), [1.5, 1.52]);
    assert_eq!(readings.findings.len(), 1);
    assert_eq!((readings.findings[0].rule, readings.findings[0].severity), ("taken back", Severity::Note));
}

#[test]
fn a_misfit_a_reseat_a_stale_mounting_and_a_contradiction_are_said_at_once() {
    let mut log = String::from(HEADER);
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    for session in 1..=6 {
        for (antenna, base) in [("heron", 1.5), ("plover", 1.8)] {
            for mounting in 1..=3 {
                let seat: f64 = StandardNormal.sample(&mut rng);
                for _ in 0..3 {
                    let noise: f64 = StandardNormal.sample(&mut rng);
                    let value = base + 0.05 * seat + 0.005 * noise;
                    log += &format!("s{session},{antenna},2 m,inline,swr,{value:.2},,{mounting},,,,\n");
                }
            }
        }
    }
    let bench = Bench::new().file("log.csv", log);
    let ran = bench.typed(
        "heron inline swr 1.50\n1.51\n15.1\n-\n1.57\n-\nplover 1.8\nheron #1 1.5\nplover analyzer swr 1.2\nz 120\n",
    );
    let said: Vec<String> = ran.out.replace("\n    ", " ").lines().map(String::from).collect();
    let after = |what: &str| {
        let at = said.iter().position(|l| l.contains(what)).unwrap_or_else(|| panic!("{what}: {said:#?}"));
        said[at + 1..].iter().take_while(|l| l.starts_with("  ")).cloned().collect::<Vec<_>>().join("\n")
    };
    assert!(said[1].contains("swr 1.51, mounting 1; fits 1."), "{}", said[1]);
    assert!(after("swr 15.1,").contains("does not fit the 2 readings before it on this mounting"), "{said:#?}");
    assert!(after("swr 15.1,").contains("once in 200; 1.51 would fit"), "{said:#?}");
    assert!(
        after("swr 1.57,").contains("it would fit a new mounting: if it was taken off, - and then + 1.57"),
        "{said:#?}"
    );
    assert!(
        after("swr 1.5, mounting 1")
            .contains("mounting 1 of heron ended when plover went on: this should be mounting 2"),
        "{said:#?}"
    );
    assert!(after("impedance 120").contains("no antenna has them at once"), "{said:#?}");
    assert_eq!(ran.err, "");
}

#[test]
fn every_line_is_answered_on_the_demo_and_how_fast_is_said() {
    let bench = Bench { home: tempfile::tempdir().unwrap() };
    for name in ["season.toml", "spring.csv", "summer.csv", "autumn.csv"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/lowland-search").join(name);
        std::fs::copy(from, bench.path(name)).unwrap();
    }
    let mut child = bench.command(&["--session", "d1", "--json"]).spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut answers = BufReader::new(child.stdout.take().unwrap());
    let mut ask = |line: &str| {
        let since = std::time::Instant::now();
        writeln!(input, "{line}").unwrap();
        let mut answer = String::new();
        answers.read_line(&mut answer).unwrap();
        assert!(answer.contains("\"written\":[{"), "{answer}");
        since.elapsed()
    };
    let start = ask("heron 2m inline swr 1.45");
    let lines = [
        "1.46",
        "fwd 4.8",
        "z 57",
        "plover swr 1.5",
        "field -32.1",
        "-32.0",
        "70c -38",
        "+ -38.1",
        "inline swr 1.6",
        "1.61",
    ];
    let mut took: Vec<Duration> = lines.iter().map(|line| ask(line)).collect();
    took.sort();
    eprintln!("start {start:?}, then {took:?}");
    drop(input);
    child.wait().unwrap();
}

/// A writer that types numbers and is killed.
struct Writer {
    child: Child,
    input: ChildStdin,
}

fn writer(bench: &Bench, meter: &str) -> (Writer, BufReader<std::process::ChildStdout>) {
    let mut child = bench.command(&["--session", "d1", "--into", "log.csv", "--json"]).spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    writeln!(input, "heron {meter} swr").unwrap();
    (Writer { child, input }, out)
}

/// Two writers on one sheet, each killed over and over at random moments while it writes: every line that was
/// acknowledged is there once, and every line of the sheet is a reading or is told to be none.
///
/// A writer has far more lines waiting than it lives to write, so that it never idles; it is killed some answers on,
/// after a part of the time that one line takes: somewhere between two acknowledgements.
#[test]
fn two_hundred_kills_of_two_writers_at_once_lose_nothing_acknowledged() {
    const WAITING: usize = 1500; // of 24 bytes each: they fit into the pipe
    let bench = Bench::new().file("log.csv", HEADER);
    let acknowledged: Vec<BTreeMap<String, usize>> = std::thread::scope(|scope| {
        let writers = ["inline", "analyzer"].map(|meter| {
            let bench = &bench;
            scope.spawn(move || {
                let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(meter.len() as u64);
                let mut acknowledged = BTreeMap::new();
                let mut next = 0;
                for _ in 0..100 {
                    let (mut w, mut out) = writer(bench, meter);
                    // two readings a line, each of a value of its own
                    let mut waiting = String::new();
                    for _ in 0..WAITING {
                        next += 1;
                        waiting += &format!("1.{next:07}1 1.{next:07}2\n");
                    }
                    w.input.write_all(waiting.as_bytes()).unwrap();
                    let lives = rng.random_range(2..7);
                    let (mut answers, mut since, mut answer) = (0, None, String::new());
                    while out.read_line(&mut answer).unwrap_or(0) > 0 && answer.ends_with('\n') {
                        let told: serde_json::Value = serde_json::from_str(&answer).unwrap();
                        for row in told["written"].as_array().unwrap() {
                            let value = row["value"].as_str().unwrap().to_string();
                            let line = row["line"].as_u64().unwrap() as usize;
                            assert_eq!(acknowledged.insert(value, line), None, "{told}");
                        }
                        answers += 1;
                        let since = *since.get_or_insert_with(std::time::Instant::now);
                        // what it answers until it is dead is still in the pipe, and read
                        if answers == lives {
                            let one = since.elapsed() / (lives - 1);
                            std::thread::sleep(one.mul_f64(rng.random()));
                            w.child.kill().unwrap();
                        }
                        answer.clear();
                    }
                    assert!(answers >= lives && answers < WAITING as u32, "it idled: {answers}");
                    w.child.wait().unwrap();
                }
                acknowledged
            })
        });
        writers.map(|w| w.join().unwrap()).into()
    });
    let text = bench.text("log.csv");
    let lines: Vec<&str> = text.lines().collect();
    let readings = bench.read("log.csv");
    let mut count = 0;
    for (meter, acknowledged) in ["inline", "analyzer"].iter().zip(&acknowledged) {
        assert!(acknowledged.len() > 50, "{}", acknowledged.len());
        for (value, &line) in acknowledged {
            let row = format!("d1,heron,2 m,{meter},swr,{value},");
            assert_eq!(text.matches(&row).count(), 1, "{row}");
            assert!(lines[line - 1].starts_with(&row), "{row} is not on line {line}");
            count += 1;
        }
    }
    // what no one was told of is whole, or is told to be none
    assert!(readings.files[0].used >= count);
    assert!(readings.findings.iter().all(|f| f.rule == "torn"), "{:?}", readings.findings);
    assert_eq!(readings.files[0].rows, lines.len() - 1);
    let (rows, torn) = (readings.files[0].rows, readings.findings.len());
    eprintln!("{count} acknowledged, {rows} rows, {torn} lines never finished");
    // a kill between two answers leaves rows that nobody was told of, whole or not: about one in two does
    assert!(rows >= count + 20, "{rows} rows, {count} acknowledged");
}

#[test]
fn a_row_cut_anywhere_is_closed_and_marked_and_the_next_one_stands_by_itself() {
    let whole = format!("{HEADER}d1,heron,2 m,inline,swr,1.50,,1,1,,,\n");
    let row = "d1,plover,2 m,inline,swr,1.62,,1,2,,\"a, note\",\n";
    // every place but the one before the line end, where nothing is missing
    for cut in 1..row.len() - 1 {
        let bench = Bench::new().file("log.csv", format!("{whole}{}", &row[..cut]));
        let ran = bench.add(&["heron", "inline", "swr", "1.51", "--json"]);
        let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
        let text = bench.text("log.csv");
        assert!(text.starts_with(&format!("{whole}{}", &row[..cut])), "{text}");
        assert_eq!(values(&bench.read("log.csv")), [1.50, 1.51], "{text}");
        assert_eq!(
            (answer["written"][0]["line"].as_u64(), bench.read("log.csv").findings.len()),
            (Some(4), 1),
            "{text}"
        );
        assert!(answer["remarks"].to_string().contains("line 3 was cut short"), "{answer}");
    }
    let bench = Bench::new().file("log.csv", format!("{whole}{}", row.trim_end()));
    assert!(bench.add(&["heron", "1.51"]).out.contains("line 3 had no line end"));
    assert_eq!(values(&bench.read("log.csv")), [1.50, 1.62, 1.51]);
}

#[test]
fn the_number_that_mends_a_refused_line_goes_to_what_that_line_named() {
    let sheet = format!("{HEADER}d1,heron,2 m,inline,swr,1.50,,1,1,,,\nd1,wren,2 m,inline,swr,1.90,,1,2,,,\n");
    let bench = Bench::new().file("log.csv", sheet);
    let ran = bench.typed("heron 1.51\nwren 0.8\n1.92\n");
    assert_eq!(ran.status, 1);
    assert!(ran.err.contains("impossible"), "{}", ran.err);
    let rows: Vec<String> = bench.text("log.csv").lines().skip(3).map(String::from).collect();
    assert!(rows.len() == 2 && rows[0].contains("heron") && rows[0].contains("1.51"), "{rows:?}");
    assert!(rows[1].contains("wren") && rows[1].contains("1.92"), "{rows:?}");
}

#[test]
fn a_refused_line_holds_up_to_its_first_value_and_no_further() {
    let sheet = format!("{HEADER}d1,heron,2 m,inline,swr,1.50,,1,1,,,\n");
    let mounting = |typed: &str| {
        let bench = Bench::new().file("log.csv", sheet.clone());
        bench.typed(typed);
        let rows: Vec<String> =
            bench.text("log.csv").lines().skip(2).map(|l| l.split(',').nth(7).unwrap().to_string()).collect();
        rows
    };
    assert_eq!(mounting("1.51 + 0.7\n1.51 + 1.7\n"), ["1", "2"]);
    assert_eq!(mounting("+ 0.7\n1.7\n"), ["2"]);
    assert_eq!(mounting("+ 0.7\n+ 1.7\n"), ["2"]);
    // no column for the number that was asked for: the name holds
    let bench = Bench::new().file(
        "log.csv",
        "session,antenna,band,meter,quantity,value\nd1,heron,2 m,inline,swr,1.50\nd1,wren,2 m,inline,swr,1.90\n",
    );
    bench.typed("heron + 1.52\n1.53\n");
    assert!(bench.text("log.csv").ends_with("d1,heron,2 m,inline,swr,1.53\n"), "{}", bench.text("log.csv"));
}

#[test]
fn what_any_swr_would_fit_is_not_said_of_it() {
    let sheet = format!("{HEADER}d1,heron,2 m,inline,swr,1.43,,1,1,,,\nd1,heron,2 m,inline,swr,1.95,,1,1,,,\n");
    let bench = Bench::new().file("log.csv", sheet);
    let ran = bench.add(&["heron", "2.95"]);
    assert!(ran.out.contains("swr 2.95") && !ran.out.contains("fits"), "{}", ran.out);
    assert_eq!(from_to(3.0, f64::INFINITY, 0.01), "3.00 or more");
    assert_eq!(from_to(3.0, 4.5, 0.1), "3.0 to 4.5");
}

#[test]
fn a_sheet_edited_meanwhile_is_looked_at_again_and_the_line_still_gets_written() {
    let bench = Bench::new().file("log.csv", format!("{HEADER}d1,heron,2 m,inline,swr,1.50,,1,1,,,\n"));
    let mut child = bench.command(&["--session", "d1"]).spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut ask = |line: &str| {
        writeln!(input, "{line}").unwrap();
        let mut answer = String::new();
        out.read_line(&mut answer).unwrap();
        answer
    };
    assert!(ask("1.51").starts_with("log.csv:3 heron"));
    // another editor saves another file under the name, with columns moved
    let edited = "session,mounting,antenna,band,meter,quantity,value\nd1,1,heron,2 m,inline,swr,1.50\n";
    std::fs::write(bench.path("new"), edited).unwrap();
    std::fs::rename(bench.path("new"), bench.path("log.csv")).unwrap();
    assert!(ask("1.52").starts_with("log.csv:3 heron, 2 m, inline, swr 1.52, mounting 1"));
    assert_eq!(bench.text("log.csv"), format!("{edited}d1,1,heron,2 m,inline,swr,1.52\n"));
    drop(input);
    child.wait().unwrap();
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_and_leaves_the_sheet_as_it_was() {
    let home = tempfile::tempdir().unwrap();
    let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=16k", "tmpfs"]).arg(home.path()).output();
    if !mounted.is_ok_and(|m| m.status.success()) {
        eprintln!("only root can make a small disk: not tried");
        return;
    }
    let outcome = std::panic::catch_unwind(|| {
        let log = home.path().join("log.csv");
        let row = "d1,heron,2 m,inline,swr,1.50,,1,1,,,\n";
        std::fs::write(&log, format!("{HEADER}{}", row.repeat(200))).unwrap();
        let mut child = Command::new(assert_cmd::cargo::cargo_bin("daylight"))
            .args(["add", "--session", "d1"])
            .arg(&log)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let lines: String = (0..400).map(|i| format!("1.{:03}\n", i % 1000)).collect();
        child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        let (out, err) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
        let text = std::fs::read_to_string(&log).unwrap();
        let acknowledged = out.lines().filter(|l| l.starts_with("log.csv:")).count();
        assert!(acknowledged > 0 && acknowledged < 400, "{acknowledged}");
        assert_eq!(text.lines().count(), 201 + acknowledged);
        assert!(text.ends_with(",\n") && !text.contains('~'), "{}", &text[text.len() - 100..]);
        assert_eq!(err.matches("the disk is full: nothing was written").count(), 400 - acknowledged, "{err}");
    });
    Command::new("umount").arg(home.path()).status().unwrap();
    outcome.unwrap();
}

/// A season of known components: how often a sound reading is called odd, by what it is held against.
fn false_alarms(seasons: u64, seed: u64, components: [f64; 4]) -> BTreeMap<Against, (usize, usize)> {
    let config = Config::default();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut normal = move |sd: f64| sd * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, &mut rng);
    let [session_sd, visit_sd, mounting_sd, reading_sd] = components;
    let set = ("field_strength".to_string(), "2 m".to_string(), "field".to_string());
    let mut counts: BTreeMap<Against, (usize, usize)> = BTreeMap::new();
    for _ in 0..seasons {
        let mut history = History::empty(&config);
        let antennas: Vec<f64> = (0..4).map(|_| normal(3.0)).collect();
        for session in 0..6 {
            let day = normal(session_sd);
            for (a, level) in antennas.iter().enumerate() {
                let visit = level + day + normal(visit_sd);
                for mounting in 1..=3 {
                    let seat = visit + normal(mounting_sd);
                    for _ in 0..3 {
                        let y = seat + normal(reading_sd);
                        let (session, antenna) = (format!("s{session}"), format!("a{a}"));
                        let new =
                            NewReading { session: &session, antenna: &antenna, mounting, y, readings: 1.0, step: 1e-9 };
                        if let Some(expected) = history.expect(&set, &new) {
                            let count = counts.entry(expected.against).or_default();
                            count.0 += 1;
                            count.1 += usize::from(!expected.holds(y));
                        }
                        history.add(&set, &config, &new);
                    }
                }
            }
        }
    }
    counts
}

/// The rate at which sound readings are called odd is the one that is stated, at every level: exactly so for repeats
/// on one mounting, and not more elsewhere.
#[test]
fn sound_readings_are_called_odd_no_more_often_than_is_stated() {
    for (seed, components) in [(1, [0.5, 0.3, 0.4, 0.2]), (2, [0.0, 0.0, 0.0, 0.3]), (3, [1.0, 0.0, 0.3, 0.05])] {
        let counts = false_alarms(250, seed, components);
        for (against, (held, odd)) in &counts {
            let wanted = *held as f64 * RISK;
            let error = wanted.sqrt();
            eprintln!(
                "{components:?} {against:?}: {odd} of {held}, {:.2} % against {:.2} %",
                100.0 * *odd as f64 / *held as f64,
                100.0 * RISK
            );
            assert!((*odd as f64) < wanted + 4.0 * error, "{against:?}: {odd} of {held}");
            if *against == Against::Repeats {
                assert!(*odd as f64 > wanted - 4.0 * error, "{odd} of {held}");
            }
        }
        assert_eq!(counts.len(), 4);
    }
}

/// Readings off by eight of their standard deviations on a mounting are nearly all called odd.
#[test]
fn readings_far_from_their_repeats_are_called_odd() {
    let config = Config::default();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
    let mut history = History::empty(&config);
    let set = ("field_strength".to_string(), "2 m".to_string(), "field".to_string());
    let mut found = 0;
    for mounting in 1..=200 {
        for i in 0..4 {
            let noise: f64 = StandardNormal.sample(&mut rng);
            let off = if i == 3 && mounting > 20 { 8.0 } else { 0.0 };
            let new = NewReading { session: "s", antenna: "a", mounting, y: noise + off, readings: 1.0, step: 1e-9 };
            if off > 0.0 {
                found += usize::from(history.expect(&set, &new).is_some_and(|e| !e.holds(new.y)));
            } else {
                history.add(&set, &config, &new);
            }
        }
    }
    assert!(found >= 175, "{found} of 180");
}

#[test]
fn a_reading_taken_back_leaves_the_history_as_it_was() {
    let config = Config::default();
    let text = "session,antenna,band,meter,quantity,value,mounting\nd,a,2 m,field,field_strength,-30.0,1\nd,a,2 m,field,field_strength,-31.0,1\nd,a,2 m,field,field_strength,-30.4,1\n";
    let readings = read_text("log.csv", text, &config).unwrap();
    let mut history = History::new(&readings.frame, &config).unwrap();
    let set = ("field_strength".to_string(), "2 m".to_string(), "field".to_string());
    let new = NewReading { session: "d", antenna: "a", mounting: 1, y: -40.0, readings: 1.0, step: 0.1 };
    let before = history.expect(&set, &new).unwrap();
    history.add(&set, &config, &new);
    history.take_back(&set, &new);
    let after = history.expect(&set, &new).unwrap();
    assert!((before.low - after.low).abs() < 1e-9 && (before.high - after.high).abs() < 1e-9, "{before:?} {after:?}");
    assert_eq!((before.count, after.count), (3, 3));
}
