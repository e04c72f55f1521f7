//! Logs of any bytes, shape and size.

use super::{Case, SOUND, season, sound_log, write};

const HEADER: &str = "session,antenna,band,meter,quantity,value,mounting,when,order,readings,sd,battery,unit\n";

fn bytes() -> Vec<(&'static str, Vec<u8>)> {
    let sound = sound_log();
    let utf16: Vec<u8> =
        [0xfffe_u16.swap_bytes()].into_iter().chain(sound.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    vec![
        ("nothing", vec![]),
        ("a header alone", HEADER.as_bytes().to_vec()),
        ("NUL bytes", vec![0; 4096]),
        ("NUL bytes among rows", sound.replace("heron", "he\0ron").into_bytes()),
        ("0xff", vec![0xff; 4096]),
        ("UTF-16", utf16),
        ("half a UTF-16 byte", b"\xff\xfes\0e\0s".to_vec()),
        ("a byte-order mark alone", b"\xef\xbb\xbf".to_vec()),
        ("Latin-1", sound.replace("heron", "h\u{e9}ron").chars().map(|c| c as u8).collect()),
        ("cut in a character", [sound.as_bytes(), b"2026,\xe2\x82"].concat()),
        ("carriage returns alone", sound.replace('\n', "\r").into_bytes()),
        ("mixed ends of line", sound.replace("plover", "plo\r\nver").into_bytes()),
        ("a quote never closed", sound.replacen("heron", "\"heron", 1).into_bytes()),
        ("quotes alone", vec![b'"'; 10_001]),
        ("commas alone", vec![b','; 100_000]),
        ("line ends alone", vec![b'\n'; 100_000]),
        ("separators of every kind", b"session;antenna\tband,meter|quantity;value\n;;,,\t\t||\n".to_vec()),
        ("one line of a megabyte", vec![b'a'; 1 << 20]),
        ("a program", [b"\x7fELF".as_slice(), &[1; 2000]].concat()),
        ("a cell of a megabyte", sound.replacen("heron", &"h".repeat(1 << 20), 1).into_bytes()),
        ("a value of a megabyte", sound.replacen("1.32", &"9".repeat(1 << 20), 1).into_bytes()),
        (
            "twenty thousand columns",
            format!("{},{}\n", HEADER.trim(), (0..20_000).map(|i| format!("c{i}")).collect::<Vec<_>>().join(","))
                .into_bytes(),
        ),
        ("every column twice", format!("{},{HEADER}", HEADER.trim()).into_bytes()),
        ("ragged rows", format!("{HEADER}a\na,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p\n,,,,,,,,,,,,\n\"\"\n").into_bytes()),
        ("three hundred antennas once each", many(300, 1)),
        ("twelve antennas in a row of sessions", many(12, 3)),
        ("the same row a thousand times", format!("{HEADER}{}", "s,a,b,m,swr,1.5,,,,,,,\n".repeat(1000)).into_bytes()),
    ]
}

fn many(antennas: usize, sessions: usize) -> Vec<u8> {
    let mut log = HEADER.to_string();
    for session in 0..sessions {
        for antenna in 0..antennas {
            let value = 1.1 + 0.001 * (antenna % 700) as f64 + 0.01 * session as f64;
            log += &format!("{session},a{antenna},b,m,swr,{value:.3},1,,,,,,\n");
        }
    }
    log.into_bytes()
}

/// Cells that are numbers in name only, a column each.
fn cells() -> Vec<(String, String)> {
    let numbers = [
        "1e308",
        "-1e308",
        "1e-308",
        "1e999",
        "4.9e-324",
        "-0",
        "0",
        "nan",
        "inf",
        "-inf",
        "0x1F",
        "1e",
        "1_000",
        "99999999999999999999",
        "9223372036854775807",
        "9223372036854775808",
        "-9223372036854775808",
        "18446744073709551616",
        "1.5:1.5",
        ":",
        "1:0",
        "1:",
        "1,,5",
        "1.2.3",
        "+-1",
        "--",
        ">",
        "><3",
        "\u{0661}\u{0662}",
        "１.５",
        "∞",
        "½",
        "1e1000000000000",
        ".",
        "%",
        "R",
        "R99999999999",
        "1.5 W W W",
        "5/9+10",
        "2026-05-02",
        "TRUE",
        "=1+1",
        "#REF!",
        "#DIV/0!",
    ];
    let moments = [
        "0000-00-00",
        "9999-12-31T23:59:59.999999999",
        "2026-02-30",
        "2026-05-02T24:60:60",
        "2026-05-02T12:00+99:99",
        "-2026-05-02",
        "2026-05-02T12:00:00.0000000000000000001",
        "99999-01-01",
        "T",
        "2026-W18-6",
    ];
    let columns = ["value", "mounting", "order", "readings", "sd", "battery", "unit", "quantity"];
    let mut all = vec![];
    for column in columns {
        all.push((format!("numbers in {column}"), with(column, &numbers)));
    }
    all.push(("moments in when".to_string(), with("when", &moments)));
    all
}

/// Sound rows with one column's cells replaced, each in turn, on several quantities.
fn with(column: &str, cells: &[&str]) -> String {
    let names: Vec<&str> = HEADER.trim().split(',').collect();
    let at = names.iter().position(|n| *n == column).expect("a column");
    let mut log = HEADER.to_string();
    for quantity in ["swr", "return_loss", "forward_power", "reactance", "readability"] {
        for (i, cell) in cells.iter().enumerate() {
            for antenna in ["heron", "plover"] {
                let mut row = vec!["s", antenna, "2 m", "m", quantity, "2", "1", "", "", "3", "0.1", "7.4", ""];
                if i % 2 == 1 {
                    row[0] = "t";
                }
                let quoted = format!("\"{cell}\"");
                row[at] = &quoted;
                log += &(row.join(",") + "\n");
            }
        }
    }
    log
}

/// Files of other kinds, by their endings.
fn others() -> Vec<(&'static str, Vec<u8>)> {
    let ends = ["xlsx", "ods", "parquet", "xls", "CSV", "tsv"];
    let contents: [Vec<u8>; 4] =
        [vec![], b"PK\x03\x04 not a zip".to_vec(), b"PAR1\0\0\0\0PAR1".to_vec(), vec![0x41; 3000]];
    let mut all = vec![];
    for end in ends {
        all.extend(contents.iter().map(|content| (end, content.clone())));
    }
    all
}

pub fn cases() -> Vec<Case> {
    let mut cases = vec![];
    for (name, log) in bytes() {
        cases.push(Case::new(name, move |folder| season(folder, SOUND.as_bytes(), &log)));
    }
    for (name, log) in cells() {
        cases.push(Case::new(name, move |folder| season(folder, SOUND.as_bytes(), log.as_bytes())));
    }
    for (i, (end, content)) in others().into_iter().enumerate() {
        cases.push(Case::new(format!("a file ending in {end} that is none ({i})"), move |folder| {
            season(folder, SOUND.as_bytes(), sound_log().as_bytes());
            write(&folder.join(format!("other.{end}")), &content);
        }));
    }
    cases
}
