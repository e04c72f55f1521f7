//! A large log, taken in by mounting, against the same log row by row: the same mountings to the bit, the same findings.

use std::io::Write;
use std::path::{Path, PathBuf};

use daylight::analysis::antennas::sets::{Set, sets_of};
use daylight::season::config::{Config, LeaveOut, Repeats};
use daylight::season::parse;
use daylight::season::readings::{Readings, read_files_bulky};
use polars::prelude::*;

fn taken(files: &[PathBuf], config: &Config, from_rows: usize) -> Readings {
    let names: Vec<String> = files.iter().map(|f| f.file_name().unwrap().to_string_lossy().into_owned()).collect();
    read_files_bulky(files, &names, config, from_rows).unwrap_or_else(|e| panic!("{e}"))
}

/// By mounting, and row by row.
fn both(files: &[PathBuf], config: &Config) -> (Readings, Readings) {
    (taken(files, config, 0), taken(files, config, usize::MAX))
}

fn lowland() -> (Vec<PathBuf>, Config) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/lowland-search");
    let config = parse::read(&folder).unwrap();
    (["autumn.csv", "spring.csv", "summer.csv"].map(|file| folder.join(file)).to_vec(), config)
}

fn sets(readings: &Readings, config: &Config) -> Vec<Set> {
    sets_of(&readings.frame, config).unwrap().0
}

fn agree(a: &[Set], b: &[Set]) {
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(b) {
        assert_eq!((&a.quantity, &a.band, &a.meter), (&b.quantity, &b.band, &b.meter));
        assert_eq!(a.mountings, b.mountings, "{} {} {}", a.quantity.name, a.band, a.meter);
        assert_eq!(a.resolution.to_bits(), b.resolution.to_bits());
    }
}

fn written(dir: &Path, name: &str, text: &str) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

/// What was found, but for the note that tells the log was taken in by mounting.
fn findings(readings: &Readings) -> Vec<String> {
    let told = readings.findings.iter().filter(|f| f.rule != "taken in by mounting");
    let mut told: Vec<String> = told.map(|f| format!("{}: {} ({:?})", f.place, f.what, f.endangers)).collect();
    told.sort();
    told
}

#[test]
fn the_demo_season_by_mounting_is_the_demo_season_to_the_bit() {
    let (files, config) = lowland();
    let (bulky, rows) = both(&files, &config);
    agree(&sets(&bulky, &config), &sets(&rows, &config));
    let (a, b) = (sets_of(&bulky.frame, &config).unwrap().1, sets_of(&rows.frame, &config).unwrap().1);
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(&b) {
        assert_eq!((&a.antennas, &a.sessions), (&b.antennas, &b.sessions));
    }
    assert_eq!(bulky.files, rows.files);
    assert_eq!(findings(&bulky), findings(&rows));
    assert!(bulky.frame.height() < rows.frame.height(), "{} rows left", bulky.frame.height());
}

const HEADER: &str = "session,antenna,band,meter,quantity,value,unit,mounting,when,order,readings,sd,note";

#[test]
fn rows_with_something_to_be_said_of_them_are_told_as_in_a_small_log() {
    let dir = tempfile::tempdir().unwrap();
    let text = format!(
        "{HEADER}\r\n\
         s1,heron,2 m,inline,swr,1.50,,1,2026-05-02T14:30,1,,,\r\n\
         s1,heron,2 m,inline,swr,1.52,,1,2026-05-02T14:20,2,,,\r\n\
         s1,heron,2 m,inline,SWR,1.52,,1,2026-05-02T14:40,2,,,\r\n\
         \r\n\
         s1,heron,2 m,inline,swr,>3,,1,,,,,\r\n\
         s1,heron,2 m,inline,swr,0.5,,1,,,,,\r\n\
         s1,heron,2 m,inline,swr,loud,,1,,,,,\r\n\
         s1,heron,2 m,inline,swr,1.6,,1,then,,,,\r\n\
         s1,heron,2 m,inline,swr,1.7,,one,,,,,\r\n\
         s1,heron,2 m,inline,swr,1.8\r\n\
         s1,heron,2 m,inline,swr,1.55,,1,,,4,0.02,\r\n\
         s1,,2 m,inline,swr,1.5,,1,,,,,\r\n\
         s1,heron,2 m,inline,forward_power,4800,mW,1,,,,,\"two\r\nlines\"\r\n\
         s1,heron,2 m,inline,forward_power,37.1,dBm,1,,,,,\r\n\
         s1,heron,2 m,inline,forward_power,5,dB,1,,,,,\r\n\
         s1,plover,2 m,inline,swr,1.5,,2,,,,,\r\n\
         s1,plover,2 m,inline,swr,1.4,,1,,,,,\r\n\
         s1,heron,2 m,far,readability,R5,,1,,,,,\r\n\
         s1,heron,2 m,far,readability,4,,1,,,,,\r\n\
         s1,heron,2 m,inline,hum,4,,1,,,,,"
    );
    let file = written(dir.path(), "log.csv", &text);
    let entry = LeaveOut {
        session: None,
        antenna: Some("plover".into()),
        band: None,
        meter: None,
        quantity: Some("swr".into()),
        mounting: Some(2),
        reason: "loose".into(),
        line: 1,
    };
    let config = Config { leave_out: vec![entry], ..Config::default() };
    let (bulky, rows) = both(&[file], &config);
    assert_eq!(findings(&bulky), findings(&rows));
    assert_eq!((&bulky.files, &bulky.left_out), (&rows.files, &rows.left_out));
    assert!(bulky.left_out_frame.equals_missing(&rows.left_out_frame));
    assert!(bulky.set_aside_frame.equals_missing(&rows.set_aside_frame));
    let close = |a: f64, b: f64| assert!((a - b).abs() <= 1e-14 * b.abs().max(1.0), "{a} against {b}");
    for (a, b) in sets(&bulky, &config).iter().zip(&sets(&rows, &config)) {
        for (a, b) in a.mountings.iter().zip(&b.mountings) {
            assert_eq!((a.readings, a.df), (b.readings, b.df));
            close(a.mean, b.mean);
            close(a.sum_of_squares, b.sum_of_squares);
        }
    }
    // the earliest moment of a mounting, and the line of its first reading
    let first =
        |column: &str| bulky.frame.column(column).unwrap().cast(&DataType::Int64).unwrap().i64().unwrap().get(0);
    assert_eq!((first("line"), first("when")), (Some(2), Some((20_575 * 86_400 + 51_600) * 1_000_000)));
}

#[test]
fn rows_remounted_one_by_one_stay_mountings_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let row = "s1,heron,2 m,inline,swr,1.5\n";
    let text = format!("session,antenna,band,meter,quantity,value\n{}", row.repeat(5));
    let file = written(dir.path(), "log.csv", &text);
    for (repeats, mountings) in [(Repeats::Remounted, 5), (Repeats::LeftOn, 1)] {
        let config = Config { repeats, ..Config::default() };
        let (bulky, rows) = both(std::slice::from_ref(&file), &config);
        assert_eq!(bulky.frame.height(), mountings);
        agree(&sets(&bulky, &config), &sets(&rows, &config));
    }
}

#[test]
fn a_decimal_comma_of_a_large_log_is_read_and_told() {
    let dir = tempfile::tempdir().unwrap();
    let text = "session;antenna;band;meter;quantity;value\ns1;heron;2 m;inline;swr;1,25\ns1;heron;2 m;inline;swr;1.5\n";
    let file = written(dir.path(), "log.csv", text);
    let (bulky, rows) = both(std::slice::from_ref(&file), &Config::default());
    agree(&sets(&bulky, &Config::default()), &sets(&rows, &Config::default()));
    assert!(bulky.findings.iter().any(|f| f.rule == "decimal comma"), "{:#?}", bulky.findings);
}

#[test]
fn what_cannot_go_by_mounting_goes_row_by_row() {
    let dir = tempfile::tempdir().unwrap();
    let header = "session,antenna,band,meter,quantity,value,readings,sd,note";
    for (name, text) in [
        ("summaries.csv", format!("{header}\n{}", "s1,heron,2 m,inline,swr,1.5,3,0.1,\n".repeat(5000))),
        ("carriage.csv", format!("{header}\rs1,heron,2 m,inline,swr,1.5,,,\rs1,heron,2 m,inline,swr,1.6,,,\r")),
        ("quote.csv", format!("{header}\ns1,heron,2 m,inline,swr,1.5,,,\"open\ns1,heron,2 m,inline,swr,1.6,,,\n")),
    ] {
        let file = written(dir.path(), name, &text);
        let (bulky, rows) = both(&[file], &Config::default());
        assert_eq!(findings(&bulky), findings(&rows), "{name}");
        assert_eq!(bulky.files, rows.files, "{name}");
    }
    let latin = dir.path().join("latin.csv");
    std::fs::write(&latin, [header.as_bytes(), b"\ns1,her\xf6n,2 m,inline,swr,1.5,,,\n"].concat()).unwrap();
    let (bulky, rows) = both(&[latin], &Config::default());
    assert!(bulky.frame.equals_missing(&rows.frame) && findings(&bulky) == findings(&rows));
}

#[test]
fn parquet_by_mounting_is_its_csv_by_mounting() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/forms");
    let config = parse::read(&folder).unwrap();
    let csv = taken(&[folder.join("log.csv")], &config, 0);
    let parquet = taken(&[folder.join("log.parquet")], &config, 0);
    assert_eq!(csv.frame.height(), 64);
    let plain = |readings: &Readings| readings.frame.drop_many(["file", "line"]);
    assert!(plain(&csv).equals_missing(&plain(&parquet)));
    agree(&sets(&csv, &config), &sets(&taken(&[folder.join("log.csv")], &config, usize::MAX), &config));
}

/// Some forty megabytes: three chunks of text.
#[test]
fn a_log_of_several_chunks_comes_to_the_same_bytes_on_any_number_of_threads() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("log.csv");
    let mut file = std::io::BufWriter::new(std::fs::File::create(&path).unwrap());
    writeln!(file, "session,antenna,band,meter,quantity,value,mounting,note").unwrap();
    let rows = 600_000u64;
    let written = |i: u64| {
        format!("{}.{:02}", 1 + i.wrapping_mul(2_654_435_761) % 997 / 100, i.wrapping_mul(2_654_435_761) % 997 % 100)
    };
    for i in 0..rows {
        let value = written(i);
        let antenna = i / 40 % 7;
        let note = if i == 300_000 { "\"a quote, and\na line\"" } else { "nothing to be said of this row" };
        writeln!(file, "2026-05-{:02},antenna {antenna},2 m,inline,swr,{value},{},{note}", i / 30_000 + 1, i % 3)
            .unwrap();
    }
    file.flush().unwrap();
    drop(file);
    assert!(std::fs::metadata(&path).unwrap().len() > 35 << 20);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| taken(std::slice::from_ref(&path), &Config::default(), 0))
    };
    let (one, three) = (on(1), on(3));
    assert!(one.frame.equals_missing(&three.frame));
    // the row over two lines is looked at by itself, and counts with its mounting
    assert_eq!(one.frame.height(), 20 * 7 * 3 + 1);
    assert_eq!(one.files[0].used as u64, rows);
    let last = one.frame.column("line").unwrap().u32().unwrap().max().unwrap();
    assert!(u64::from(last) > 2 + 19 * 30_000 && u64::from(last) < rows, "{last}");
    // against plain arithmetic over one mounting
    let frame = one.frame.clone().lazy();
    let wanted = frame.filter(
        col("session").eq(lit("2026-05-11")).and(col("antenna").eq(lit("antenna 2"))).and(col("mounting").eq(lit(1))),
    );
    let row = wanted.collect().unwrap();
    let y: Vec<f64> = (0..rows)
        .filter(|i| i / 30_000 == 10 && i / 40 % 7 == 2 && i % 3 == 1)
        .map(|i| written(i).parse::<f64>().unwrap())
        .map(|swr| (swr - 1.0) / (swr + 1.0))
        .collect();
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let squares = y.iter().map(|y| (y - mean).powi(2)).sum::<f64>();
    let of = |column: &str| row.column(column).unwrap().f64().unwrap().get(0).unwrap();
    assert_eq!(of("readings"), y.len() as f64);
    assert!((of("y") - mean).abs() < 1e-14 && (of("squares") - squares).abs() < 1e-11 * squares);
}
