//! The forms a log comes in: the same season in each gives the same answer; what is in the way is said.
//!
//! The files of `tests/forms/` are made by general-purpose libraries, not by this program: see `make.py` there.

use std::path::Path;

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::report::antennas_json;
use daylight::season::Season;
use daylight::season::finding::Severity;

const HEADER: &str = "session,antenna,band,meter,quantity,value";

/// A season's folder with this file under this name, gone with the value.
fn season(layout: &str, files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("season.toml"), layout).unwrap();
    for (name, bytes) in files {
        std::fs::write(dir.path().join(name), bytes).unwrap();
    }
    dir
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/forms").join(name)).unwrap()
}

fn load(layout: &str, files: &[(&str, &[u8])]) -> Season {
    Season::load(season(layout, files).path()).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(layout: &str, files: &[(&str, &[u8])]) -> String {
    let dir = season(layout, files);
    let said = Season::load(dir.path()).unwrap_err().to_string();
    said.replace(&format!("{}/", dir.path().display()), "")
}

fn answer(season: &Season) -> String {
    let options = Options { confidence: 0.95, seed: 1, trials: Some(2000) };
    antennas_json::render(&analyse(season, &Choice::default(), &options, &|| ()).unwrap()).unwrap()
}

fn said(season: &Season) -> Vec<String> {
    season.readings.findings.iter().map(|f| format!("{}: {}", f.place, f.what)).collect()
}

const WIDE: &str = r##"
[[layout]]
file = "wide.xlsx"
header_line = 2
rows = { session = "Day", antenna = "Whip", mounting = "Mounted" }
all = { meter = "field", quantity = "field_strength" }
columns = [
  { column = "2 m #1", band = "2 m" },
  { column = "2 m #2", band = "2 m" },
  { column = "2 m #3", band = "2 m" },
  { column = "70 cm #1", band = "70 cm" },
  { column = "70 cm #2", band = "70 cm" },
  { column = "70 cm #3", band = "70 cm" },
]
"##;

#[test]
fn the_same_season_in_every_form_gives_the_same_bytes() {
    let toml = String::from_utf8(fixture("season.toml")).unwrap();
    let declared = toml.clone() + "\n[[layout]]\nfile = \"*.csv\"\ndecimal = \",\"\n";
    let wide = toml.clone() + WIDE;
    let first = answer(&load(&toml, &[("log.csv", &fixture("log.csv"))]));
    assert!(first.contains("\"verdict\": \"apart\"") && first.contains("\"findings\": []"), "{first}");
    for (layout, file) in [
        (&declared, "semicolons.csv"),
        (&toml, "utf16.csv"),
        (&toml, "log.xlsx"),
        (&toml, "log.ods"),
        (&toml, "log.parquet"),
        (&wide, "wide.xlsx"),
        (&toml, "summarised.csv"),
    ] {
        let season = load(layout, &[(file, &fixture(file))]);
        assert_eq!(said(&season), [""; 0], "{file}");
        assert!(answer(&season) == first, "{file}:\n{}\ninstead of\n{first}", answer(&season));
    }
}

#[test]
fn a_decimal_comma_nobody_declared_is_a_note_and_a_declared_one_is_none() {
    let text = b"session;antenna;band;meter;quantity;value\ns1;heron;2 m;field;swr;1,234\ns1;heron;2 m;field;swr;1,5\n";
    let season = load("title = 'x'", &[("log.csv", text)]);
    assert_eq!(said(&season), ["log.csv:2, column value: `1,234` was read with a decimal comma, like 2 cells in all"]);
    assert_eq!(season.readings.findings[0].severity, Severity::Note);
    let declared = "[[layout]]\nfile = 'log.csv'\ndecimal = ','";
    assert!(load(declared, &[("log.csv", text)]).readings.findings.is_empty());
    // with a point declared, the comma groups thousands, and 1,5 is no number
    let point = load("[[layout]]\nfile = 'log.csv'\ndecimal = '.'", &[("log.csv", text)]);
    assert_eq!(point.readings.frame.column("value").unwrap().f64().unwrap().get(0), Some(1234.0));
    assert_eq!(said(&point), ["log.csv:3, column value: `1,5` is not a number"]);
}

#[test]
fn latin_1_is_read_with_a_warning_where_it_begins_or_as_declared() {
    let text =
        [format!("{HEADER}\ns1,heron,2 m,field,swr,1.5\ns1,").as_bytes(), b"pl\xfbver,2 m,field,swr,1.6\n"].concat();
    let season = load("title = 'x'", &[("log.csv", &text)]);
    let antenna = |s: &Season| s.readings.frame.column("antenna").unwrap().str().unwrap().get(1).unwrap().to_string();
    assert_eq!(antenna(&season), "plûver");
    assert_eq!(season.readings.findings[0].place.line, Some(3));
    let declared = load("[[layout]]\nfile = 'log.csv'\nencoding = 'latin-1'", &[("log.csv", &text)]);
    assert_eq!((antenna(&declared), declared.readings.findings.len()), ("plûver".into(), 0));
    let wrong = refused("[[layout]]\nfile = 'log.csv'\nencoding = 'utf-8'", &[("log.csv", &text)]);
    assert!(wrong.starts_with("log.csv: `log.csv` is not UTF-8 text from line 3 on, as its layout says"), "{wrong}");
}

#[test]
fn utf_16_is_read_in_either_order_with_a_mark_or_without() {
    let text = format!("{HEADER}\ns1,heron,2 m,field,swr,1.5\ns1,plûver,2 m,field,swr,1.6\n");
    let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    for bytes in [little.clone(), big.clone(), [b"\xff\xfe", &*little].concat(), [b"\xfe\xff", &*big].concat()] {
        let season = load("title = 'x'", &[("log.csv", &bytes)]);
        assert_eq!(season.readings.frame.column("antenna").unwrap().str().unwrap().get(1), Some("plûver"));
        assert_eq!(said(&season), [""; 0]);
    }
}

#[test]
fn a_title_in_merged_cells_is_said_to_be_in_the_way_and_not_guessed_at() {
    let said = refused("title = 'x'", &[("wide.xlsx", &fixture("wide.xlsx"))]);
    assert!(said.contains("has no column `session`"), "{said}");
    let long = "Our bench,,,,,\n,,,,,\nsession,antenna,band,meter,quantity,value\ns1,heron,2 m,field,swr,1.5\n";
    let said = refused("title = 'x'", &[("log.csv", long.as_bytes())]);
    assert_eq!(
        said,
        "log.csv:1: `log.csv` has no column `session`: its header names `our bench`; the title `Our bench` stands in the way \
         of the column names on line 3\n\
         hint: delete the lines above the column names, or write `header_line = 3` in a `[[layout]]` for this file"
    );
    let told = load("[[layout]]\nfile = 'log.csv'\nheader_line = 3", &[("log.csv", long.as_bytes())]);
    assert_eq!(told.readings.frame.height(), 1);
}

#[test]
fn of_several_sheets_the_one_named_is_read_and_none_is_guessed_at() {
    let book = fixture("two-sheets.xlsx");
    assert_eq!(
        refused("title = 'x'", &[("book.xlsx", &book)]),
        "book.xlsx: `book.xlsx` has several sheets: `spring`, `summer`\n\
         hint: name the one that holds the readings: `[[layout]]` with `file` and `sheet` in season.toml"
    );
    let named = |sheet: &str| format!("[[layout]]\nfile = 'book.xlsx'\nsheet = '{sheet}'");
    assert_eq!(load(&named("summer"), &[("book.xlsx", &book)]).readings.frame.height(), 2);
    let said = refused(&named("winter"), &[("book.xlsx", &book)]);
    assert!(said.contains("has no sheet `winter`: its sheets are `spring`, `summer`"), "{said}");
}

#[test]
fn a_sheets_formulas_dates_and_merged_cells_come_as_the_page_says() {
    let book = fixture("two-sheets.xlsx");
    let season = load("[[layout]]\nfile = 'book.xlsx'\nsheet = 'spring'", &[("book.xlsx", &book)]);
    let frame = &season.readings.frame;
    let text = |column: &str| frame.column(column).unwrap().str().unwrap().get(0).unwrap().to_string();
    assert_eq!((text("session"), text("antenna")), ("2026-04-11".into(), "heron".into()));
    // a formula's cell holds the value last worked out
    assert_eq!(frame.column("value").unwrap().f64().unwrap().get(0), Some(1.5));
    let when = frame.column("when").unwrap().cast(&polars::prelude::DataType::Int64).unwrap();
    assert_eq!(when.i64().unwrap().get(0), Some((20_554 * 86_400 + 52_200) * 1_000_000));
    // antenna is merged over lines 2 and 3: the second has none, and the finding says why
    let said = said(&season);
    assert!(said.contains(&"book.xlsx:2: cells are merged over lines 2 to 3".to_string()), "{said:?}");
    assert!(said.contains(&"book.xlsx:3, column antenna: the `antenna` cell is empty".to_string()), "{said:?}");
}

#[test]
fn a_wide_sheets_findings_name_its_own_line_and_column() {
    let sheet = "Whip,SWR 2 m,SWR 70 cm,Remarks\nheron,1.5,>3,windy\nplover,,2.0,\n,1.7,,\navocet,,,none today\n";
    let layout = "[[layout]]\nfile = 'bench.csv'\nrows = { antenna = 'Whip' }\n\
                  all = { session = 2026-05-02, meter = 'inline', quantity = 'swr' }\n\
                  columns = [ { column = 'SWR 2 m', band = '2 m' }, { column = 'SWR 70 cm', band = '70 cm', mounting = 2 } ]\n";
    let season = load(layout, &[("bench.csv", sheet.as_bytes())]);
    assert_eq!(
        said(&season),
        [
            "bench.csv:1: column `Remarks` is not in the layout",
            "bench.csv:2, column SWR 70 cm: `>3` says only that the reading lies above 3",
            "bench.csv:4, column Whip: the `antenna` cell is empty",
            "bench.csv:5: the row has text, and no reading in any column of the layout",
        ]
    );
    let file = &season.readings.files[0];
    assert_eq!((file.rows, file.used, file.set_aside), (5, 2, 3));
    let frame = &season.readings.frame;
    assert_eq!(frame.column("mounting").unwrap().i64().unwrap().iter().collect::<Vec<_>>(), [None, Some(2)]);
    assert_eq!(frame.column("session").unwrap().str().unwrap().get(1), Some("2026-05-02"));
    assert_eq!(frame.column("line").unwrap().u32().unwrap().iter().flatten().collect::<Vec<_>>(), [2, 3]);
    let ignored = load(&(layout.to_string() + "ignore = ['Remarks']\n"), &[("bench.csv", sheet.as_bytes())]);
    assert!(!said_any(&ignored, "Remarks"));
}

fn said_any(season: &Season, word: &str) -> bool {
    said(season).iter().any(|line| line.contains(word))
}

#[test]
fn a_layout_that_does_not_fit_is_an_error_that_says_where() {
    let sheet: &[u8] = b"Whip,SWR,SWR\nheron,1.5,1.6\n";
    let with =
        |more: &str| refused(&format!("title = 'x'\n[[layout]]\nfile = 'bench.csv'\n{more}"), &[("bench.csv", sheet)]);
    let all = "all = { session = 's1', band = '2 m', meter = 'inline', quantity = 'swr' }\n";
    let near = with(&format!("rows = {{ antenna = 'Wihp' }}\n{all}columns = [ {{ column = 2 }} ]"));
    assert_eq!(
        near,
        "season.toml:2: the layout names a column `Wihp` (is `Whip` meant?), and line 1 of `bench.csv` names `Whip`, `SWR`, `SWR`"
    );
    let twice = with(&format!("rows = {{ antenna = 'Whip' }}\n{all}columns = [ {{ column = 'SWR' }} ]"));
    assert_eq!(twice, "season.toml:2: `bench.csv` has 2 columns `SWR`: give the one meant by its number, 2, 3");
    let unsaid = with(
        "rows = { antenna = 'Whip' }\nall = { session = 's1', band = '2 m' }\ncolumns = [ { column = 3, quantity = 'swr' } ]",
    );
    assert_eq!(
        unsaid,
        "season.toml:2: nothing says the meter of column `3` of `bench.csv`: give it in the column's entry, under `rows` \
         (a column that holds it) or under `all`"
    );
    let numbered = format!(
        "title = 'x'\n[[layout]]\nfile = 'bench.csv'\nrows = {{ antenna = 'Whip' }}\n{all}columns = [ {{ column = 2 }}, {{ column = 3 }} ]"
    );
    assert_eq!(load(&numbered, &[("bench.csv", sheet)]).readings.frame.height(), 2);
}

#[test]
fn a_long_table_with_names_of_its_own_comes_in_by_its_layout() {
    let sheet: &[u8] = b"Day,Whip,Band,SWR,Spread,n\n2026-05-02,heron,2 m,1.5,0.02,4\n2026-05-02,plover,2 m,,,\n";
    let layout = "[[layout]]\nfile = 'bench.csv'\n\
                  rows = { session = 'Day', antenna = 'Whip', value = 'SWR', sd = 'Spread', readings = 'n' }\n\
                  all = { meter = 'inline', quantity = 'swr' }\n";
    let season = load(layout, &[("bench.csv", sheet)]);
    assert_eq!(said(&season), ["bench.csv:3, column SWR: the `value` cell is empty"]);
    assert_eq!(season.readings.frame.column("readings").unwrap().f64().unwrap().get(0), Some(4.0));
    assert_eq!(season.readings.frame.column("sd").unwrap().f64().unwrap().get(0), Some(0.02));
}

#[test]
fn every_file_of_the_folder_is_read_or_named() {
    let log = format!("{HEADER}\ns1,heron,2 m,field,swr,1.5\n");
    let files: Vec<(&str, &[u8])> = vec![
        ("a.csv", log.as_bytes()),
        ("b.CSV", log.as_bytes()),
        ("old.xls", b"\xd0\xcf\x11\xe0"),
        ("more.txt", log.as_bytes()),
        ("README.md", b"# notes"),
        ("bench.jpg", b"\xff\xd8"),
        (".hidden.csv", b""),
        ("~$a.xlsx", b""),
    ];
    let season = load("[[layout]]\nfile = 'gone.ods'", &files);
    assert_eq!(season.readings.files.iter().map(|f| f.name.as_str()).collect::<Vec<_>>(), ["a.csv", "b.CSV"]);
    let said = said(&season);
    assert_eq!(said.len(), 3, "{said:?}");
    assert!(
        said[0].starts_with("more.txt: this is not read") && said[1].starts_with("old.xls: this is not read"),
        "{said:?}"
    );
    assert_eq!(said[2], "season.toml:1: this `[[layout]]` fits no file: there is no `gone.ods`");
}

#[test]
fn many_files_of_every_form_are_read_side_by_side_and_none_waits_for_another_for_ever() {
    let names: Vec<String> =
        (0..12).map(|i| format!("{i:02}.{}", ["parquet", "parquet", "ods", "csv"][i % 4])).collect();
    let kinds: Vec<Vec<u8>> =
        names.iter().map(|n| fixture(&format!("log.{}", n.rsplit('.').next().unwrap()))).collect();
    let (send, receive) = std::sync::mpsc::channel();
    let expected = names.clone();
    std::thread::spawn(move || {
        let files: Vec<(&str, &[u8])> = names.iter().map(String::as_str).zip(kinds.iter().map(Vec::as_slice)).collect();
        let counts = load("title = 'x'", &files).readings.files;
        send.send(counts.into_iter().map(|f| (f.name, f.used)).collect::<Vec<_>>()).unwrap();
    });
    let read = receive.recv_timeout(std::time::Duration::from_secs(300)).expect("the files are read");
    assert_eq!(read, expected.into_iter().map(|name| (name, 192)).collect::<Vec<_>>());
    // of two files in trouble the first is told
    let said = refused("title = 'x'", &[("a.csv", b"x,y\n1,2\n"), ("b.parquet", b"PAR1 and then nothing")]);
    assert!(said.contains("`a.csv` has no column"), "{said}");
}

#[test]
fn a_file_that_is_not_what_it_says_is_refused_in_words() {
    let log = format!("{HEADER}\ns1,heron,2 m,field,swr,1.5\n");
    for (name, bytes, what) in [
        ("a.xlsx", log.as_bytes(), "is not taken in: its archive is broken"),
        ("a.ods", b"PK\x03\x04 and then nothing".as_slice(), "is not taken in: its archive is broken"),
        ("a.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".as_slice(), "is an old or a locked spreadsheet"),
        ("a.parquet", b"PAR1 and then nothing".as_slice(), "cannot be read as Parquet"),
    ] {
        let said = refused("title = 'x'", &[(name, bytes)]);
        assert!(said.contains(what) && said.contains("\nhint: "), "{name}: {said}");
    }
    // told by its contents, whatever its name
    let season = load("title = 'x'", &[("log.csv", &fixture("log.parquet"))]);
    assert_eq!(season.readings.frame.height(), 192);
    let swapped = load("title = 'x'", &[("log.xlsx", &fixture("log.ods"))]);
    assert_eq!(swapped.readings.frame.height(), 192);
}

/// A spreadsheet's archive with this part among those of a good one.
fn with_part(book: &[u8], name: &str, content: &[u8]) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(book)).unwrap();
    let mut made = zip::ZipWriter::new(std::io::Cursor::new(vec![]));
    let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
    for at in 0..archive.len() {
        let part = archive.by_index_raw(at).unwrap();
        if part.name().unwrap() != name {
            made.raw_copy_file(part).unwrap();
        }
    }
    made.start_file(name, options).unwrap();
    std::io::Write::write_all(&mut made, content).unwrap();
    made.finish().unwrap().into_inner()
}

#[test]
fn a_small_sheet_that_claims_to_be_vast_is_refused() {
    let cell =
        "<table:table-cell table:number-columns-repeated=\"16384\" office:value-type=\"float\" office:value=\"1\"/>";
    let row = format!("<table:table-row table:number-rows-repeated=\"1048576\">{cell}</table:table-row>");
    let vast =
        format!("<office:document-content><table:table table:name=\"a\">{row}</table:table></office:document-content>");
    let rows = format!("<table:table-row>{cell}</table:table-row>").repeat(5000);
    let many = format!(
        "<office:document-content><table:table table:name=\"a\">{rows}</table:table></office:document-content>"
    );
    for content in [vast, many] {
        let book = with_part(&fixture("log.ods"), "content.xml", content.as_bytes());
        let said = refused("title = 'x'", &[("a.ods", &book)]);
        assert!(said.contains("a sheet of it spreads over more than 20000000 cells"), "{said}");
    }
    let texts = b"<?xml version=\"1.0\"?><sst uniqueCount=\"99999999999999\"></sst>";
    let book = with_part(&fixture("log.xlsx"), "xl/sharedStrings.xml", texts);
    let said = refused("title = 'x'", &[("a.xlsx", &book)]);
    assert!(said.contains("claims more texts than it can hold"), "{said}");
    // a cell at the far corner of the sheet makes no room for all between
    let far = b"<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>\
                <row r=\"1\"><c r=\"A1\"><v>1</v></c></row>\
                <row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row></sheetData></worksheet>";
    let book = with_part(&fixture("log.xlsx"), "xl/worksheets/sheet1.xml", far);
    let said = refused("title = 'x'", &[("a.xlsx", &book)]);
    assert!(said.contains("has no column `session`"), "{said}");
}

#[test]
fn the_tables_taken_away_say_what_the_verbs_say() {
    let season = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/lowland-search");
    let into = tempfile::tempdir().unwrap();
    let run = |verb: &str, more: &[&str]| {
        let mut command = assert_cmd::Command::cargo_bin("daylight").unwrap();
        let output = command.arg(verb).arg(&season).args(more).args(["--trials", "2000", "--quiet"]).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    run("export", &[&into.path().display().to_string()]);
    let rows = |name: &str| {
        let mut reader = csv::Reader::from_path(into.path().join(name)).unwrap();
        reader.deserialize::<std::collections::HashMap<String, String>>().collect::<Result<Vec<_>, _>>().unwrap()
    };
    let said: serde_json::Value = serde_json::from_str(&run("claims", &["--json"])).unwrap();
    let exported = rows("claims.csv");
    for claim in said["claims"].as_array().unwrap() {
        let is = |row: &std::collections::HashMap<String, String>| {
            row["antenna"] == claim["antenna"] && row["band"] == claim["band"] && row["quantity"] == claim["quantity"]
        };
        assert!(exported.iter().any(|row| is(row) && row["verdict"] == claim["verdict"]), "{claim}");
    }
    let said: serde_json::Value = serde_json::from_str(&run("meters", &["--json"])).unwrap();
    let exported = rows("meters.csv");
    let mut offsets = 0;
    for pair in said["pairs"].as_array().unwrap() {
        for band in pair["bands"].as_array().unwrap() {
            let Some(value) = band["offset"]["estimate"]["value"].as_f64() else { continue };
            let is = |row: &&std::collections::HashMap<String, String>| {
                row["meter"] == pair["second"] && row["against"] == pair["first"] && row["band"] == band["band"]
            };
            let row = exported.iter().filter(is).find(|row| row["from"].is_empty()).expect("a row");
            assert!((row["offset"].parse::<f64>().unwrap() - value).abs() < 1e-12, "{band}");
            offsets += 1;
        }
    }
    assert!(offsets > 0 && !rows("shifts.csv").is_empty());
}
