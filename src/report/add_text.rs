//! Answers to typed lines, in words.

use crate::analysis::add::judge::from_to;
use crate::analysis::add::now::Now;
use crate::analysis::add::result::{Answer, Topic};
use crate::analysis::add::vocabulary::{Column, Vocabulary};
use crate::analysis::add::{Bench, Row};
use crate::report::text::wrap_to;
use crate::season::append::Entry;

/// The cautions, in short.
pub const CAUTIONS: &str = "Keep clear of the antenna and let nobody touch it; key briefly, at low power, never into an \
                            analyzer; listen first, and transmit only where your licence and local rules allow it.";

/// What a line may be, in one sentence.
pub const IN_SHORT: &str = "Type what changed, then what you read; a number alone is one more of the last thing. \
                            + put back on, - take back, = show, ? help, . done";

/// One row's names and value: "plover, 2 m, inline, swr 1.52, mounting 2".
pub fn row(entry: &Entry) -> String {
    let unit = if entry.unit.is_empty() { String::new() } else { format!(" {}", entry.unit) };
    let mounting = if entry.mounting.is_empty() { String::new() } else { format!(", mounting {}", entry.mounting) };
    let Entry { antenna, band, meter, quantity, value, .. } = entry;
    format!("{antenna}, {band}, {meter}, {quantity} {value}{unit}{mounting}")
}

/// An answer: a line for each row written or taken back, then remarks, two blanks in. With `file`, each row is told
/// with its sheet, for who reads many.
pub fn answer(answer: &Answer, file: bool, width: usize) -> String {
    let mut lines = vec![];
    let place = |line: usize| if file { format!("{}:{line}", answer.file) } else { format!("  line {line}:") };
    for written in &answer.written {
        let expected = written
            .expected
            .filter(|e| e.fits)
            .map_or(String::new(), |e| format!("; fits {}", from_to(e.low, e.high, e.digit)).replace(" -", " −"));
        lines.push(wrap_to(&format!("{} {}{expected}", place(written.line), row(&written.entry)), "    ", width));
    }
    if let Some((line, entry)) = &answer.taken_back {
        lines.push(wrap_to(&format!("{} taken back: {}", place(*line), row(entry)), "    ", width));
    }
    for remark in &answer.remarks {
        let sign = match remark.topic {
            Topic::Misfit | Topic::Mounting | Topic::Impossible => "  ? ",
            Topic::Reader | Topic::Sheet => "  : ",
        };
        lines.push(wrap_to(&format!("{sign}{}", remark.text), "    ", width));
    }
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// A line that was not written, and why.
pub fn refused(why: &str, width: usize) -> String {
    wrap_to(&format!("  ! {why}"), "    ", width) + "\n"
}

/// What the next reading is of: "plover 2 m inline swr #2"; a dot where nothing is known yet.
pub fn context(now: &Now) -> String {
    let names = Column::ALL.map(|c| now.of(c).unwrap_or("·").to_string());
    let mounting = now.mounting.map_or(String::new(), |m| format!(" #{m}"));
    if Column::ALL.iter().all(|c| now.of(*c).is_none()) { String::new() } else { names.join(" ") + &mounting }
}

/// The session's last readings, those of one thing in one line.
pub fn shown(bench: &Bench, width: usize, height: usize) -> String {
    let key = |r: &Row| Entry {
        value: String::new(),
        unit: String::new(),
        when: String::new(),
        note: String::new(),
        order: String::new(),
        ..r.entry.clone()
    };
    let mut groups: Vec<Vec<&Row>> = vec![];
    for row in bench.rows() {
        match groups.last_mut() {
            Some(group) if key(group[0]) == key(row) => group.push(row),
            _ => groups.push(vec![row]),
        }
    }
    let told = groups.iter().map(|group| {
        let Entry { antenna, band, meter, quantity, mounting, .. } = &group[0].entry;
        let mounting = if mounting.is_empty() { String::new() } else { format!(" #{mounting}") };
        let value =
            |r: &&Row| if r.taken_back { format!("({} taken back)", r.entry.value) } else { r.entry.value.clone() };
        let values: Vec<String> = group.iter().map(value).collect();
        wrap_to(
            &format!("  {}: {antenna} {band} {meter} {quantity}{mounting}: {}", group[0].line, values.join(" ")),
            "      ",
            width,
        )
    });
    let mut told: Vec<String> = told.collect();
    let mut lines = 0;
    let fitting = told.iter().rev().take_while(|t| {
        lines += t.lines().count();
        lines <= height
    });
    let kept = fitting.count().max(1).min(told.len());
    let cut = told.len() - kept;
    let standing = bench.rows().iter().filter(|r| !r.taken_back).count();
    let mut out = format!("{}: {standing} readings in this sheet", bench.session);
    if cut > 0 {
        out += ", the last of them:";
    }
    out += "\n";
    told.drain(..cut);
    told.iter().for_each(|t| out += &format!("{t}\n"));
    out
}

/// Help: the lines there are, and the names of this season.
pub fn help(vocabulary: &Vocabulary, width: usize) -> String {
    let lines = [
        ("1.52", "one more reading of the last thing"),
        ("1.52 1.53", "two"),
        ("plover 70c", "another antenna, another band; the next readings are of them"),
        ("z 57.4", "another quantity, or meter, and a reading of it"),
        ("+ 1.49", "taken off and put back, then read"),
        ("#3 1.49", "on mounting 3"),
        ("1.52 ; gust", "with a note"),
        ("battery=7.4 4.8W", "with any other column of the sheet; with a unit"),
        ("antenna=kestrel", "a name that is new to the season"),
        ("-  or undo", "take back the last reading; it stays in the sheet, marked"),
        ("=  or show", "what was written"),
        (".  or done", "done; so does the end of input"),
    ];
    let line = |(typed, means): &(&str, &str)| match width {
        0..75 => wrap_to(&format!("  {typed}: {means}"), "    ", width),
        _ => format!("  {typed:<18}{means}"),
    };
    let mut out: Vec<String> = lines.iter().map(line).collect();
    out.push(wrap_to("Names may be cut as short as they stay the only one:", "  ", width));
    for column in Column::ALL {
        let names: Vec<&str> = vocabulary.names(column).collect();
        if !names.is_empty() {
            out.push(wrap_to(&format!("  {}: {}", column.name(), names.join(", ")), "    ", width));
        }
    }
    out.join("\n") + "\n"
}
