//! Files of readings in, one typed frame and findings out: each rule on a file small enough to count by hand.

use std::path::PathBuf;

use daylight::radio::quantity::{Better, Quantity, Scale};
use daylight::season::config::{Antenna, Band, Config, LeaveOut, Load, Meter};
use daylight::season::finding::{Finding, Severity};
use daylight::season::readings::{ReadError, Readings, read_files, read_folder};
use polars::prelude::*;
use proptest::prelude::*;

const HEADER: &str = "session,antenna,band,meter,quantity,value";

/// A folder of files, gone with the value.
fn folder(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        std::fs::write(dir.path().join(name), bytes).unwrap();
    }
    dir
}

fn try_read(text: impl AsRef<[u8]>, config: &Config) -> Result<Readings, ReadError> {
    read_folder(folder(&[("log.csv", text.as_ref())]).path(), config)
}

/// Reads one file, and checks that no row vanished and none was told twice as used.
fn read_with(text: impl AsRef<[u8]>, config: &Config) -> Readings {
    let readings = try_read(text, config).unwrap();
    nothing_vanished(&readings);
    readings
}

fn read(text: impl AsRef<[u8]>) -> Readings {
    read_with(text, &Config::default())
}

/// A file with this header after the needed columns, and one row of good readings of `quantity`.
fn row(more_header: &str, cells: &str) -> Readings {
    read(format!("{HEADER}{more_header}\ns1,heron,2 m,inline,{cells}\n"))
}

fn nothing_vanished(readings: &Readings) {
    for file in &readings.files {
        assert_eq!(file.rows, file.used + file.set_aside + file.left_out, "{file:?}");
    }
    assert_eq!(readings.frame.height(), readings.files.iter().map(|f| f.used).sum::<usize>());
}

fn numbers(readings: &Readings, column: &str) -> Vec<Option<f64>> {
    readings.frame.column(column).unwrap().f64().unwrap().iter().collect()
}

fn lines(readings: &Readings) -> Vec<u32> {
    readings.frame.column("line").unwrap().u32().unwrap().iter().flatten().collect()
}

fn places(readings: &Readings) -> Vec<String> {
    readings.findings.iter().map(|f| f.place.to_string()).collect()
}

/// The one finding there is.
fn only(readings: &Readings) -> &Finding {
    assert_eq!(readings.findings.len(), 1, "{:#?}", readings.findings);
    &readings.findings[0]
}

fn close(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-9 * b.abs().max(1.0), "{a} against {b}");
}

fn antenna(name: &str) -> Antenna {
    Antenna {
        name: name.into(),
        price: None,
        length_mm: None,
        gain_dbi: Default::default(),
        claims: Vec::new(),
        line: 1,
    }
}

fn meter(name: &str) -> Meter {
    Meter {
        name: name.into(),
        kind: None,
        resolution: Default::default(),
        directivity_db: None,
        line_loss_db: Default::default(),
        correct: false,
        line: 1,
    }
}

fn leave_out(line: usize) -> LeaveOut {
    LeaveOut {
        session: None,
        antenna: None,
        band: None,
        meter: None,
        quantity: None,
        mounting: None,
        reason: "coupler found loose".into(),
        line,
    }
}

#[test]
fn a_full_row_arrives_typed_in_the_frames_order_of_columns() {
    let readings = row(
        ",unit,mounting,when,order,readings,sd,note",
        "forward_power,4800,mW,2,2026-05-02T14:30,3,4,100,\"a note, with a comma\"",
    );
    assert!(readings.findings.is_empty(), "{:#?}", readings.findings);
    let schema: Vec<(String, DataType)> =
        readings.frame.schema().iter().map(|(name, kind)| (name.to_string(), kind.clone())).collect();
    let text = ["session", "antenna", "band", "meter", "quantity"].map(|name| (name, DataType::String));
    let number = ["value", "y", "readings", "sd", "y_sd", "step"].map(|name| (name, DataType::Float64));
    let wanted: Vec<(String, DataType)> = [("file", DataType::String), ("line", DataType::UInt32)]
        .into_iter()
        .chain(text)
        .chain(number)
        .chain([
            ("mounting", DataType::Int64),
            ("when", DataType::Datetime(TimeUnit::Microseconds, None)),
            ("order", DataType::Float64),
            ("battery", DataType::Float64),
            ("squares", DataType::Float64),
            ("rows", DataType::UInt32),
        ])
        .map(|(name, kind)| (name.to_string(), kind))
        .collect();
    assert_eq!(schema, wanted);
    close(numbers(&readings, "value")[0].unwrap(), 4.8);
    close(numbers(&readings, "y")[0].unwrap(), 10.0 * 4.8f64.log10());
    close(numbers(&readings, "sd")[0].unwrap(), 0.1);
    // 10·log10 has the slope 10/(ln 10 · 4.8 W).
    close(numbers(&readings, "y_sd")[0].unwrap(), 0.1 * 10.0 / (10f64.ln() * 4.8));
    // 4800 mW is written to the milliwatt
    close(numbers(&readings, "step")[0].unwrap(), 0.001);
    assert_eq!(numbers(&readings, "order"), [Some(3.0)]);
    assert_eq!(numbers(&readings, "readings"), [Some(4.0)]);
    assert_eq!(readings.frame.column("mounting").unwrap().i64().unwrap().get(0), Some(2));
    // 2026-05-02T14:30 is 20575 days and 14.5 hours after 1970.
    let when = readings.frame.column("when").unwrap().cast(&DataType::Int64).unwrap();
    assert_eq!(when.i64().unwrap().get(0), Some((20_575 * 86_400 + 52_200) * 1_000_000));
}

#[test]
fn lines_are_those_of_the_file_through_blank_lines_quotes_crlf_and_a_mark() {
    let text = format!(
        "\u{feff}\r\n{HEADER},note\r\n\r\ns1,heron,2 m,inline,swr,1.5,\r\n   \r\ns1,heron,2 m,inline,swr,1.6,\"two\r\nlines\"\r\n\r\n,,,,,,\r\ns1,heron,2 m,inline,swr,1.7,\r\ns1,heron,2 m,inline,swr,bad,"
    );
    let readings = read(text);
    assert_eq!(lines(&readings), [4, 6, 10]);
    assert_eq!(places(&readings), ["log.csv:11, column value"]);
    assert_eq!(readings.files[0].rows, 4);
}

#[test]
fn lone_carriage_returns_end_lines_too() {
    let readings = read(format!("{HEADER}\rs1,heron,2 m,inline,swr,1.5\r\rs1,heron,2 m,inline,swr,0.5\r"));
    assert_eq!(lines(&readings), [2]);
    assert_eq!(places(&readings), ["log.csv:4, column value"]);
}

#[test]
fn ragged_rows_are_set_aside_and_the_rest_counts() {
    let readings = read(format!(
        "{HEADER}\ns1,heron,2 m,inline,swr\ns1,heron,2 m,inline,swr,1,5\ns1,heron,2 m,inline,swr,1.5\nloose words\n"
    ));
    assert_eq!(lines(&readings), [4]);
    assert_eq!(places(&readings), ["log.csv:2", "log.csv:3", "log.csv:5"]);
    assert_eq!(readings.findings[0].what, "the row has 5 cells where the header has 6");
    assert!(readings.findings[1].action.contains("decimal comma"));
    assert_eq!(readings.files[0].set_aside, 3);
}

#[test]
fn a_quote_that_swallows_rows_is_an_error_where_it_opens() {
    let never_closed = format!(
        "{HEADER},note\ns1,heron,2 m,inline,swr,1.5,\"loose\ns1,heron,2 m,inline,swr,1.6,\ns1,heron,2 m,inline,swr,1.7,\n"
    );
    let readings = read(never_closed);
    assert_eq!(places(&readings), ["log.csv:2"]);
    assert_eq!(only(&readings).what, "a quote opened on this line runs on to line 4, over what looks like rows");
    let closed_late = format!(
        "{HEADER},note\ns1,heron,2 m,inline,swr,1.5,\"loose\ns1,heron,2 m,inline,swr,1.6,\ns1,heron,2 m,inline,swr,1.7,\"\n"
    );
    assert_eq!(only(&read(closed_late)).severity, Severity::Error);
    // A quote inside an unquoted cell opens nothing.
    let inch = read(format!("{HEADER},note\ns1,heron,2 m,inline,swr,1.5,9\" whip\ns1,heron,2 m,inline,swr,1.6,\n"));
    assert_eq!(lines(&inch), [2, 3]);
}

#[test]
fn semicolons_and_tabs_are_read_and_semicolons_make_the_comma_decimal() {
    let semicolons = read("session;antenna;band;meter;quantity;value\ns1;heron;2 m;inline;swr;1,234\n");
    assert_eq!(numbers(&semicolons, "value"), [Some(1.234)]);
    assert_eq!(only(&semicolons).rule, "decimal comma");
    let tabs = read("session\tantenna\tband\tmeter\tquantity\tvalue\ns1\theron\t2 m\tinline\tswr\t1,5\n");
    assert_eq!(numbers(&tabs, "value"), [Some(1.5)]);
}

#[test]
fn every_spelling_of_a_number_in_the_trade_is_read() {
    for (cells, value) in [
        ("swr,1.5", 1.5),
        ("swr,1.5:1", 1.5),
        ("swr, 1:1.5 ", 1.5),
        ("SWR,1.5", 1.5),
        ("forward power,5W", 5.0),
        ("forward_power,4.8 w", 4.8),
        ("forward_power,37 dBm", 10f64.powf(0.7)),
        ("field_strength,-3.2dB", -3.2),
        ("field_strength,−3.2", -3.2),
        ("reflection,20%", 0.2),
        ("readability,R5", 5.0),
        ("readability,Q4", 4.0),
        ("readability,3", 3.0),
    ] {
        let readings = row("", cells);
        assert!(readings.findings.is_empty(), "{cells}: {:#?}", readings.findings);
        close(numbers(&readings, "value")[0].unwrap(), value);
    }
}

#[test]
fn a_stuck_unit_agrees_with_the_unit_column_or_is_a_finding() {
    assert!(row(",unit", "forward_power,4.8 w,W").findings.is_empty());
    assert!(row(",unit", "swr,1.5:1,1").findings.is_empty());
    let two = row(",unit", "forward_power,4.8W,mW");
    assert_eq!(only(&two).what, "`4.8W` and the `unit` column's `mW` are different units");
    assert_eq!(only(&two).severity, Severity::Error);
}

#[test]
fn a_foreign_unit_is_an_error_that_names_the_units_that_would_do() {
    let column = row(",unit", "forward_power,5,dB");
    assert_eq!(places(&column), ["log.csv:2, column unit"]);
    assert_eq!(only(&column).what, "unit `dB` does not belong to `forward_power`");
    assert_eq!(only(&column).action, "row set aside; write it in `W`, `mW`, `kW`, `uW`, `dBm`, `dBW`");
    let stuck = row("", "swr,1.5dB");
    assert_eq!(places(&stuck), ["log.csv:2, column value"]);
}

#[test]
fn censored_readings_and_dashes_are_warnings_and_words_are_errors() {
    for text in [">3", "<1.1", "inf", "off scale", "dnc", "--", ""] {
        let readings = row("", &format!("swr,{text}"));
        assert_eq!(only(&readings).severity, Severity::Warning, "{text}");
        assert_eq!(readings.files[0].set_aside, 1, "{text}");
    }
    assert!(only(&row("", "swr,>3")).why.contains("censored"));
    for text in ["loud and clear", "5/9+10", "nan", "\"1,234\""] {
        assert_eq!(only(&row("", &format!("swr,{text}"))).severity, Severity::Error, "{text}");
    }
    assert_eq!(only(&row("", "swr,\"1,234\"")).what, "`1,234` could be 1.234 or 1234");
}

#[test]
fn impossible_values_are_errors_and_their_neighbours_are_not() {
    for cells in [
        "swr,0.99",
        "swr,1e999",
        "reflection,1",
        "reflection,-0.1",
        "reflection,120%",
        "return_loss,0",
        "return_loss,-14",
        "forward_power,-0.1",
        "reflected_power,-1",
        "impedance,0",
        "readability,6",
        "readability,0",
        "readability,4.5",
    ] {
        let readings = row("", cells);
        assert_eq!(only(&readings).severity, Severity::Error, "{cells}");
        assert_eq!(readings.files[0].set_aside, 1, "{cells}");
    }
    for cells in ["swr,1", "reflection,0", "return_loss,0.1", "impedance,0.1", "reactance,-40", "readability,1"] {
        assert!(row("", cells).findings.is_empty(), "{cells}");
    }
    assert_eq!(only(&row("", "reflection,120%")).what, "`120%`, or 1.2, is impossible for `reflection`");
}

#[test]
fn an_unknown_quantity_is_an_error_with_the_nearest_name() {
    let readings = row("", "forward_powr,5");
    assert_eq!(places(&readings), ["log.csv:2, column quantity"]);
    assert!(only(&readings).action.contains("write `forward_power`"));
    let mut config = Config::default();
    let scale = Scale::AsRead;
    config.quantities.push(Quantity { name: "Hum".into(), unit: "mV".into(), scale, better: Better::Lower });
    let text = format!("{HEADER},unit\ns1,heron,2 m,inline,Hum,3,mV\n");
    assert_eq!(numbers(&read_with(text, &config), "y"), [Some(3.0)]);
}

#[test]
fn each_empty_needed_cell_is_a_finding_in_its_column() {
    let readings = read(format!("{HEADER}\n,heron,,inline,swr,1.5\ns1,heron,2 m,inline,,1.5\n"));
    assert_eq!(
        places(&readings),
        ["log.csv:2, column session", "log.csv:2, column band", "log.csv:3, column quantity"]
    );
    assert_eq!(readings.files[0].set_aside, 2);
}

#[test]
fn a_bad_mounting_count_or_sd_sets_the_row_aside() {
    for (header, cell) in [
        (",mounting", "1.5"),
        (",mounting", "-1"),
        (",mounting", "second"),
        (",readings", "0"),
        (",readings", "2.5"),
        (",readings", "many"),
        (",sd", "-0.1"),
        (",sd", "small"),
    ] {
        let readings = row(header, &format!("swr,1.5,{cell}"));
        assert_eq!(places(&readings), [format!("log.csv:2, column {}", &header[1..])], "{cell}");
        assert_eq!(only(&readings).severity, Severity::Error);
        assert_eq!(readings.files[0].set_aside, 1);
    }
    assert!(row(",mounting", "swr,1.5,2.0").findings.is_empty());
}

#[test]
fn a_bad_time_or_order_is_a_warning_and_the_row_counts() {
    for (header, cell) in
        [(",when", "2026-13-40"), (",when", "2 May"), (",when", "26-05-02"), (",order", "first"), (",order", "inf")]
    {
        let readings = row(header, &format!("swr,1.5,{cell}"));
        assert_eq!(only(&readings).severity, Severity::Warning, "{cell}");
        assert_eq!(readings.files[0].used, 1);
        assert_eq!(readings.frame.column(&header[1..]).unwrap().null_count(), 1);
    }
}

#[test]
fn times_are_read_as_iso_8601_writes_them() {
    let day = 20_575 * 86_400_i64;
    for (cell, seconds) in [
        ("2026-05-02", 0),
        ("2026-05-02T14:30", 52_200),
        ("2026-05-02 14:30:05", 52_205),
        ("2026-05-02T14:30:05.000", 52_205),
        ("2026-05-02T14:30:05Z", 52_205),
        ("2026-05-02T14:30:05+02:00", 45_005),
        ("2026-05-02T14:30-0130", 57_600),
    ] {
        let readings = row(",when", &format!("swr,1.5,{cell}"));
        assert!(readings.findings.is_empty(), "{cell}");
        let when = readings.frame.column("when").unwrap().cast(&DataType::Int64).unwrap();
        assert_eq!(when.i64().unwrap().get(0), Some((day + seconds) * 1_000_000), "{cell}");
    }
}

#[test]
fn an_sd_beside_a_single_reading_is_a_warning_and_is_not_used() {
    for (header, cells) in [(",sd", "0.1"), (",sd,readings", "0.1,1"), (",sd,readings", "0.1,")] {
        let readings = row(header, &format!("swr,1.5,{cells}"));
        assert_eq!(places(&readings), ["log.csv:2, column sd"]);
        assert_eq!(numbers(&readings, "sd"), [None]);
        assert_eq!(numbers(&readings, "readings"), [Some(1.0)]);
    }
}

#[test]
fn a_reference_that_is_nowhere_is_told_with_the_name_it_is_like() {
    let config = Config { reference: Some("hereon".into()), ..Config::default() };
    let readings = read_with(format!("{HEADER}\ns1,heron,2 m,inline,swr,1.3\n"), &config);
    let [odd] = readings.findings.as_slice() else { panic!("{:#?}", readings.findings) };
    assert!(odd.what.starts_with("reference `hereon` is no antenna of the season") && odd.action.contains("`heron`"));
    let named = Config { reference: Some("heron".into()), ..Config::default() };
    assert!(read_with(format!("{HEADER}\ns1,heron,2 m,inline,swr,1.3\n"), &named).findings.is_empty());
}

#[test]
fn a_power_shown_as_zero_is_a_limit_and_no_impossible_reading() {
    for (quantity, value) in [("reflected_power", "0.0"), ("forward_power", "0 W")] {
        let readings = row("", &format!("{quantity},{value}"));
        let [odd] = readings.findings.as_slice() else { panic!("{:#?}", readings.findings) };
        assert_eq!(odd.severity, Severity::Warning);
        assert!(odd.what.contains("lies below its last digit"), "{}", odd.what);
    }
    // 0 dBm is a milliwatt, and no modulus is 0 for want of digits alone
    assert!(row("", "forward_power,0 dBm").findings.is_empty());
    let signed = &row("", "return_loss,-14.2").findings[0];
    assert!(signed.severity == Severity::Error && signed.action.contains("without its sign, `14.2`"), "{signed:?}");
}

#[test]
fn names_the_season_does_not_list_get_one_finding_each() {
    let config = Config {
        antennas: vec![antenna("heron"), antenna("plover")],
        loads: vec![Load { name: "hundred".into(), resistance_ohm: 100.0, tolerance_percent: None, line: 9 }],
        meters: vec![meter("inline")],
        bands: vec![Band { name: "2 m".into(), frequency_mhz: None, channel: None, line: 1 }],
        ..Config::default()
    };
    let text = format!(
        "{HEADER}\ns1, heron ,2 m,inline,swr,1.5\ns1,hreon,2m,inline,swr,1.5\ns1,hreon,2 m,inline,swr,1.6\ns1,Plóver,2 m,inline,swr,1.7\ns1,hundred,2 m,xyz,swr,2\n"
    );
    let readings = read_with(text, &config);
    assert_eq!(readings.frame.height(), 5);
    let said: Vec<String> =
        readings.findings.iter().map(|f| format!("{}: {}; {}", f.place, f.what, f.action)).collect();
    assert_eq!(
        said,
        [
            "log.csv:3, column antenna: antenna `hreon` is not in season.toml (2 rows, the first here); accepted as another antenna; write `heron` if that is meant, else add it to season.toml",
            "log.csv:5, column antenna: antenna `Plóver` and the season's `plover` differ only in case, spaces or accents (1 row, the first here); accepted as another antenna; write `plover` if that is meant",
            "log.csv:3, column band: band `2m` and the season's `2 m` differ only in case, spaces or accents (1 row, the first here); accepted as another band; write `2 m` if that is meant",
            "log.csv:6, column meter: meter `xyz` is not in season.toml (1 row, the first here); accepted as another meter; add it to season.toml",
        ]
    );
    assert!(readings.findings.iter().all(|f| f.severity == Severity::Warning));
}

#[test]
fn without_a_list_two_spellings_of_one_name_are_told() {
    let readings = read(format!("{HEADER}\ns1,heron,2 m,inline,swr,1.5\nS1,Heron,2 m,inline,swr,1.5\n"));
    assert_eq!(places(&readings), ["log.csv:3, column session", "log.csv:3, column antenna"]);
}

#[test]
fn rows_left_out_are_counted_with_their_reason_and_judged_by_no_rule() {
    let loose = LeaveOut { session: Some("s1".into()), antenna: Some("plover".into()), ..leave_out(40) };
    let second = LeaveOut { mounting: Some(2), quantity: Some("swr".into()), ..leave_out(45) };
    let idle = LeaveOut { meter: Some("inlin".into()), ..leave_out(50) };
    let config = Config { leave_out: vec![loose, second, idle], ..Config::default() };
    let text = format!(
        "{HEADER},mounting\ns1,plover,2 m,inline,swr,0.2,1\ns1,plover,2 m,inline,SWR,1.5,2\ns1,heron,2 m,inline,swr,1.5,1\n"
    );
    let readings = read_with(text, &config);
    assert_eq!(lines(&readings), [4]);
    let of = |at: usize| {
        let entry = &readings.left_out[at];
        (entry.line, entry.rows, entry.places.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    assert_eq!(of(0), (40, 2, vec!["log.csv:2".into(), "log.csv:3".into()]));
    assert_eq!(of(1), (45, 1, vec!["log.csv:3".into()]));
    assert_eq!(readings.left_out[0].reason, "coupler found loose");
    assert_eq!(readings.files[0].left_out, 2);
    assert_eq!(places(&readings), ["season.toml:50"]);
}

#[test]
fn past_fifty_findings_of_a_kind_the_rest_are_counted() {
    let bad = "s1,heron,2 m,inline,swr,bad\n".repeat(53);
    let readings = read(format!("{HEADER}\n{bad}s1,heron,2 m,inline,swr,0.5\n"));
    assert_eq!(readings.findings.len(), 52);
    let rest = readings.findings.last().unwrap();
    assert_eq!(rest.place.line, Some(52));
    assert_eq!(rest.what, "3 more of the same kind from this line on, the first: `bad` is not a number");
    assert_eq!(readings.files[0].set_aside, 54);
}

#[test]
fn a_file_that_cannot_be_used_says_why() {
    let config = Config::default();
    let says = |text: &[u8]| try_read(text, &config).unwrap_err().to_string();
    assert!(says(b"").contains("is empty"));
    assert!(says(b"\n \n").contains("is empty"));
    assert!(says(HEADER.as_bytes()).contains("no rows"));
    // letters of another encoding are no reason to refuse a file; a missing column is
    assert!(says(b"session,antenna\n\xff\xfe\n").contains("has no column `band`"));
    assert_eq!(
        says(b"session,antena,band,meter,quantity,value\n"),
        "`log.csv` has no column `antenna` (is `antena` meant?): its header names `session`, `antena`, `band`, `meter`, `quantity`, `value`"
    );
    assert_eq!(says(format!("{HEADER}, Value \n").as_bytes()), "`log.csv` has two columns `value`");
    let none = read_folder(folder(&[("notes.txt", b"x")]).path(), &config);
    assert!(matches!(none, Err(ReadError::NoReadings { .. })));
    let gone = read_files(&[PathBuf::from("no/such.csv")], &["such.csv".into()], &config);
    assert!(matches!(gone, Err(ReadError::Unreadable { .. })));
}

#[test]
fn header_names_are_free_in_case_and_a_near_miss_is_told() {
    let text = " Session ,ANTENNA,band,Meter,quantity,value,mountng,remarks,,\ns1,heron,2 m,inline,swr,1.5,1,x,,\n";
    let readings = read(text);
    assert_eq!(only(&readings).what, "column `mountng` is not read, but its name is close to `mounting`");
    assert_eq!(places(&readings), ["log.csv:1"]);
}

#[test]
fn files_follow_one_another_by_name() {
    let one = format!("{HEADER}\ns2,heron,2 m,inline,swr,1.5\n");
    let two = format!("{HEADER},order\ns1,heron,2 m,inline,swr,1.6,7\n");
    let dir = folder(&[("b.csv", one.as_bytes()), ("a.CSV", two.as_bytes()), ("c.txt", b"no readings")]);
    let readings = read_folder(dir.path(), &Config::default()).unwrap();
    assert_eq!(numbers(&readings, "value"), [Some(1.6), Some(1.5)]);
    assert_eq!(numbers(&readings, "order"), [Some(7.0), None]);
    assert_eq!(readings.files.iter().map(|f| f.name.as_str()).collect::<Vec<_>>(), ["a.CSV", "b.csv"]);
}

#[test]
fn two_thousand_rows_are_read_whole_and_in_order() {
    let mut text = format!("{HEADER},mounting,when\n");
    for at in 0..2000 {
        text += &format!("s{},heron,2 m,inline,swr,1.{at:04},{},2026-05-02T14:30\n", at / 100, at % 5 + 1);
    }
    let readings = read(text);
    assert!(readings.findings.is_empty());
    assert_eq!(lines(&readings), (2..2002).collect::<Vec<u32>>());
}

/// Text that comes near to a log: cells a log may hold, separators and ends of line in any order.
fn near_log() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "s1",
        "heron",
        "2 m",
        "inline",
        "swr",
        "forward_power",
        "1.5",
        "1,5",
        ">3",
        "5W",
        "",
        " ",
        "\"",
        "\"\"",
        ",",
        ",",
        ",",
        ",",
        ";",
        "\t",
        "\n",
        "\n",
        "\r\n",
        "\r",
        "µ",
        "1:1.5",
        "s1,heron,2 m,inline,swr,1.5",
        "\u{feff}",
        "s1,heron,2 m,inline,swr,1.5,1,2026-05-02,,\n",
    ]);
    prop::collection::vec(piece, 0..60).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        if let Ok(readings) = try_read(bytes, &Config::default()) {
            nothing_vanished(&readings);
        }
    }

    #[test]
    fn no_row_vanishes_from_any_log(text in near_log()) {
        let headed = format!("{HEADER},mounting,when,sd,readings\n{text}");
        if let Ok(readings) = try_read(headed, &Config { leave_out: vec![LeaveOut { mounting: Some(1), ..leave_out(3) }], ..Config::default() }) {
            nothing_vanished(&readings);
            let told = readings.findings.iter().filter(|f| f.place.file == "log.csv").count();
            prop_assert!(told > 0 || readings.files[0].set_aside == 0);
        }
    }
}

#[test]
fn a_row_taken_back_counts_no_more_and_one_finding_says_where() {
    let header = format!("{HEADER},note,mark");
    let row = "d,heron,2 m,inline,swr,15.2";
    let text = format!("{header}\n{row},,\nd,heron,2 m,inline,swr,1.52,,\n{row},typing,takes back\n{row},,\n");
    let readings = read(&text);
    // the nearest above goes; an equal one below stays
    assert_eq!(lines(&readings), [3, 5]);
    assert_eq!((readings.files[0].rows, readings.files[0].set_aside), (3, 1));
    let finding = only(&readings);
    assert_eq!((finding.severity, finding.place.to_string().as_str()), (Severity::Note, "log.csv:2, column value"));
    assert!(finding.what.contains("`15.2` was taken back, on line 4"), "{}", finding.what);
}

#[test]
fn a_mark_needs_no_column_of_its_own_and_one_that_meets_no_row_is_told() {
    let row = "d,heron,2 m,inline,swr,15.2";
    let readings = read(format!("{HEADER}\n{row}\n{row},takes back\nd,heron,2 m,inline,swr,1.5\n"));
    assert_eq!(lines(&readings), [4]);
    assert_eq!(only(&readings).place.line, Some(2));
    let idle = read(format!("{HEADER}\n{row}\nd,heron,2 m,inline,swr,1.5,takes back\n"));
    assert_eq!(lines(&idle), [2]);
    assert!(only(&idle).what.contains("not in this file"));
    // a cell too many that is no mark is still one too many
    assert!(only(&read(format!("{HEADER}\n{row}\n{row},again\n"))).what.contains("7 cells"));
    // and other text in such a column says nothing
    assert!(read(format!("{HEADER},mark\n{row},by the oak\n")).findings.is_empty());
}

#[test]
fn a_row_cut_short_is_set_aside_however_much_of_it_is_left() {
    let row = "d,heron,2 m,inline,swr,1.52";
    for torn in [
        "d,heron,2 m,inline,s ~torn~",
        "d,heron,2 m,inline,swr,1.5 ~torn~",
        "~~~~",
        "d,heron,2 m,in~~~",
        "~~m,inline,swr,1.5",
    ] {
        let readings = read(format!("{HEADER}\n{row}\n{torn}\n{row}\n"));
        assert_eq!(lines(&readings), [2, 4], "{torn}");
        assert!(only(&readings).what.contains("cut short"), "{torn}: {:?}", readings.findings);
    }
}
