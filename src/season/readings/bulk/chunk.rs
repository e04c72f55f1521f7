//! One chunk of a large log → its mountings by count, mean and sum of squares, and the rows that are not plain.

use super::super::cell::Comma;
use super::super::measure::impossible;
use super::super::moment;
use super::super::records::Record;
use super::grouping::{Groups, Key, NAMED, NO_NAME, Names};
use crate::radio::quantity::{Quantity, Scale};
use crate::season::config::{Config, LeaveOut, Repeats};
use crate::season::units::Conversion;

/// Decimals a number may have to be plain.
pub const MOST_DECIMALS: usize = 15;

/// What decides whether a row is plainly a reading.
pub struct Rules<'a> {
    /// The season's.
    pub config: &'a Config,
    /// What a comma in a number means in the file.
    pub comma: Comma,
}

/// A row of a large log, its cells found.
pub struct Row {
    /// The numbers of session, antenna, band, meter, quantity, unit among the chunk's [names](Summing::names).
    pub names: [u32; NAMED],
    /// The value.
    pub value: Option<Value>,
    /// The mounting's number; `Err` where the cell holds something else.
    pub mounting: Result<Option<i64>, ()>,
    /// The moment; `Err` where the cell holds something else.
    pub when: Result<Option<i64>, ()>,
    /// Whether the other cells are empty or hold what they should, and make no summary of the row.
    pub rest_is_plain: bool,
}

/// A row's value.
#[derive(Clone, Copy)]
pub enum Value {
    /// As written.
    Written(Written),
    /// A number that was never text.
    Number(f64),
}

/// A number as written.
#[derive(Clone, Copy)]
pub struct Written {
    /// The number.
    pub number: f64,
    /// Digits after its decimal point.
    pub decimals: u8,
}

/// A mounting's readings, summed up.
#[derive(Clone, Copy)]
pub struct Summary {
    /// The numbers of its names and its mounting.
    pub key: Key,
    /// Line of its first reading.
    pub line: u32,
    /// Readings.
    pub readings: f64,
    /// Their mean on the analysis scale.
    pub mean: f64,
    /// Sum of squares about it.
    pub squares: f64,
    /// The finest digit written, in the quantity's unit.
    pub step: f64,
    /// The most decimals written.
    decimals: u8,
    /// The first reading, in the quantity's unit.
    pub first: f64,
    /// The earliest moment.
    pub when: Option<i64>,
    /// Whether nothing joins it: a row that was a mounting of its own.
    pub lone: bool,
}

impl Summary {
    /// Of no reading yet.
    fn empty(key: Key, lone: bool) -> Summary {
        let (line, when, decimals) = (0, None, 0);
        let (readings, mean, squares, step, first) = (0.0, 0.0, 0.0, f64::INFINITY, 0.0);
        Summary { key, line, readings, mean, squares, step, decimals, first, when, lone }
    }
}

/// A chunk, summed up.
#[derive(Default)]
pub struct Chunk {
    /// Names by column.
    pub names: [Names; NAMED],
    /// Mountings, in order of first appearance.
    pub summaries: Vec<Summary>,
    /// Rows that are not plain.
    pub odd: Vec<Record>,
    /// Lines or rows the chunk spans.
    pub lines: usize,
}

/// What is known of a quantity in a unit.
struct Known {
    quantity: Quantity,
    conversion: Conversion,
    proper: bool,
}

/// A chunk being summed up.
pub struct Summing<'a> {
    rules: &'a Rules<'a>,
    names: [Names; NAMED],
    groups: Groups,
    summaries: Vec<Summary>,
    /// Per group: whether it is left out on the record.
    left: Vec<bool>,
    /// Per quantity and unit, by number: what is known of them, once asked.
    known: Vec<((u32, u32), Option<Known>)>,
    last_known: usize,
    /// Per plain row: its group and its value on the analysis scale.
    rows: Vec<(u32, f64)>,
    odd: Vec<Record>,
}

impl<'a> Summing<'a> {
    /// An empty chunk.
    pub fn new(rules: &'a Rules<'a>, rows: usize) -> Self {
        Summing {
            rules,
            names: Default::default(),
            groups: Groups::default(),
            summaries: vec![],
            left: vec![],
            known: vec![],
            last_known: 0,
            rows: Vec::with_capacity(rows),
            odd: vec![],
        }
    }

    /// The names so far of each column: trimmed.
    pub fn names(&mut self) -> &mut [Names; NAMED] {
        &mut self.names
    }

    /// Takes a row in where it is plainly a reading; else tells so.
    pub fn takes(&mut self, row: &Row, line: impl FnOnce() -> usize) -> bool {
        let (Some(value), Ok(mounting), Ok(when)) = (row.value, row.mounting, row.when) else { return false };
        let numbers = row.names;
        if !row.rest_is_plain || numbers[..NAMED - 1].contains(&NO_NAME) {
            return false;
        }
        let Some(known) = self.known(numbers[4], numbers[5]) else { return false };
        let known = &self.known[known].1;
        let Some(Known { quantity, conversion, proper }) = known else { return false };
        let number = match value {
            Value::Written(written) => written.number,
            Value::Number(number) => number,
        };
        let converted = if *proper { number } else { conversion.value(number) };
        let y = match quantity.scale.to_analysis(converted) {
            Some(y) if impossible(quantity, converted).is_none() => y,
            _ => return false,
        };
        let key = (numbers, mounting);
        let lone = mounting.is_none() && self.rules.config.repeats == Repeats::Remounted;
        let (group, new) = if lone { (self.groups.lone(), true) } else { self.groups.number(key) };
        if new {
            let name = |k: usize| self.names[k].name(numbers[k]);
            let spelled = &quantity.name;
            let left = self
                .rules
                .config
                .leave_out
                .iter()
                .any(|entry| leaves_out(entry, [name(0), name(1), name(2), name(3), spelled], mounting));
            self.left.push(left);
            self.summaries.push(Summary::empty(key, lone));
        }
        if self.left[group as usize] {
            return false;
        }
        let summary = &mut self.summaries[group as usize];
        let decimals = match value {
            Value::Written(written) => written.decimals,
            // it may have fewer, which makes no digit finer
            Value::Number(number) if *proper && summary.readings > 0.0 && is_whole(number, summary.decimals) => {
                summary.decimals
            }
            Value::Number(number) => match shortest(number) {
                Some(decimals) => decimals,
                None => return false,
            },
        };
        if summary.readings == 0.0 {
            summary.line = u32::try_from(line()).unwrap_or(u32::MAX);
            (summary.first, summary.when) = (converted, when);
        }
        summary.readings += 1.0;
        summary.mean += y; // a sum, until all of the chunk is known
        if !*proper || summary.readings == 1.0 || decimals > summary.decimals {
            let digit = STEPS[decimals as usize];
            summary.step = summary.step.min(if *proper { digit } else { conversion.sd(number, digit) });
            summary.decimals = summary.decimals.max(decimals);
        }
        if when.is_some_and(|w| summary.when.is_none_or(|first| w < first)) {
            summary.when = when;
        }
        self.rows.push((group, y));
        true
    }

    /// Keeps a row that is not plain.
    pub fn keep(&mut self, record: Record) {
        self.odd.push(record);
    }

    /// Whether hardly any row is plain, so that this is no way to read the file: a summarised table, say.
    pub fn is_hopeless(&self) -> bool {
        self.odd.len() >= 4096 && self.odd.len() > self.rows.len()
    }

    /// Means first, then squares about them, in the order of the rows: what a small log's mountings are made by.
    pub fn summed(mut self, lines: usize) -> Chunk {
        for summary in &mut self.summaries {
            if summary.readings > 0.0 {
                summary.mean /= summary.readings;
            }
        }
        for &(group, y) in &self.rows {
            let summary = &mut self.summaries[group as usize];
            summary.squares += (y - summary.mean).powi(2);
        }
        self.summaries.retain(|summary| summary.readings > 0.0);
        Chunk { names: self.names, summaries: self.summaries, odd: self.odd, lines }
    }

    /// Where what is known of a quantity in a unit stands; `None` for an ordinal quantity, whose grades are kept one
    /// by one.
    fn known(&mut self, quantity: u32, unit: u32) -> Option<usize> {
        let key = (quantity, unit);
        if self.known.get(self.last_known).is_none_or(|(last, _)| *last != key) {
            self.last_known = match self.known.iter().position(|(known, _)| *known == key) {
                Some(at) => at,
                None => {
                    let (name, unit) = (self.names[4].name(quantity), self.names[5].name(unit));
                    let made = super::super::typed::spelled(name, self.rules.config)
                        .and_then(|name| self.rules.config.quantity(&name))
                        .filter(|quantity| quantity.scale != Scale::Ordinal)
                        .and_then(|quantity| {
                            let conversion = Conversion::of(&quantity, unit)?;
                            let proper = unit.is_empty() || unit == quantity.unit;
                            Some(Known { quantity, conversion, proper })
                        });
                    self.known.push((key, made));
                    self.known.len() - 1
                }
            };
        }
        self.known[self.last_known].1.is_some().then_some(self.last_known)
    }
}

/// Whether an entry leaves out readings of these names (session, antenna, band, meter, quantity) and mounting.
fn leaves_out(entry: &LeaveOut, names: [&str; 5], mounting: Option<i64>) -> bool {
    let wanted = [&entry.session, &entry.antenna, &entry.band, &entry.meter, &entry.quantity];
    wanted.iter().zip(names).all(|(wanted, name)| wanted.as_ref().is_none_or(|w| w == name))
        && entry.mounting.is_none_or(|number| mounting == Some(number))
}

/// The last digit by the number of decimals.
static STEPS: std::sync::LazyLock<[f64; MOST_DECIMALS + 1]> =
    std::sync::LazyLock::new(|| std::array::from_fn(|d| 1f64.min(10f64.powi(-(d as i32)))));

/// Numbers that were never text are plain below this.
const LARGEST: f64 = 1e9;

/// Powers of ten, exact.
const TENS: [f64; MOST_DECIMALS + 1] =
    [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// A plain decimal number: sign, digits, point. A quotient of two whole numbers that a float holds is rounded as the
/// number's text would be, so this is the number that reading the text gives.
pub fn plain(text: &[u8], point: u8) -> Option<Written> {
    let (negative, digits) = match text.first()? {
        b'-' => (true, &text[1..]),
        b'+' => (false, &text[1..]),
        _ => (false, text),
    };
    let (mut whole, mut decimals, mut seen, mut after) = (0u64, 0, 0, false);
    for &c in digits {
        match c {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(c - b'0');
                seen += 1;
                decimals += usize::from(after);
            }
            _ if c == point && !after => after = true,
            _ => return None,
        }
        if seen > MOST_DECIMALS {
            return None;
        }
    }
    if seen == 0 {
        return None;
    }
    let number = whole as f64 / TENS[decimals];
    Some(Written { number: if negative { -number } else { number }, decimals: decimals as u8 })
}

/// The decimals of the shortest text of a number that was never text; `None` of one that is not plain.
fn shortest(number: f64) -> Option<u8> {
    if !(number.abs() < LARGEST) {
        return None;
    }
    (0..=MOST_DECIMALS as u8).find(|&decimals| is_whole(number, decimals))
}

/// Whether so many decimals write a number below [`LARGEST`].
#[inline(always)]
fn is_whole(number: f64, decimals: u8) -> bool {
    // added and taken away again, it leaves the nearest whole number: in a fifth of the time of `round`, but only of
    // numbers below 2^51
    const TO_WHOLE: f64 = 1.5 * (1u64 << 52) as f64;
    let ten = TENS[decimals as usize];
    let scaled = number * ten;
    let digits = if scaled.abs() < 2e15 { scaled + TO_WHOLE - TO_WHOLE } else { scaled.round() };
    number.abs() < LARGEST && digits.abs() < 9e15 && digits / ten == number
}

/// The moment a cell says, remembered for the next row.
#[derive(Default)]
pub struct Moments {
    text: String,
    moment: Option<i64>,
}

impl Moments {
    /// As [`moment::microseconds`]; an empty cell is no moment.
    pub fn read(&mut self, text: &str) -> Result<Option<i64>, ()> {
        if text.is_empty() {
            return Ok(None);
        }
        if self.text != text {
            self.moment = moment::microseconds(text);
            self.text.clear();
            self.text.push_str(text);
        }
        self.moment.map(Some).ok_or(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_number_is_what_reading_its_text_gives() {
        for text in ["1.5", "-31.4", "0.1", "4800", "12.345678901", "+2", ".5", "3.", "0.00000000000001", "-0.0"] {
            let read = plain(text.as_bytes(), b'.').unwrap();
            assert_eq!(read.number.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
        }
        for text in ["", "-", ".", "1e5", "1,5", "1.2.3", "5W", "12345678901234567890", " 1"] {
            assert!(plain(text.as_bytes(), b'.').is_none(), "{text}");
        }
        assert_eq!(plain(b"1,25", b',').map(|w| (w.number, w.decimals)), Some((1.25, 2)));
    }

    #[test]
    fn the_shortest_text_of_a_number_has_as_many_decimals() {
        let long = ["1.23456789012345", "2.123456789012345", "-8.123456789012345", "-0.000000000000007"];
        let short = ["1.5", "-31.4", "0.1", "4800", "12.34567", "0.001", "-0.7", "2.675", "1000000.4"];
        for text in short.into_iter().chain(long) {
            let number: f64 = text.parse().unwrap();
            let decimals = text.split_once('.').map_or(0, |(_, rest)| rest.len());
            assert_eq!(shortest(number).map(usize::from), Some(decimals), "{text}");
        }
        assert!(shortest(f64::NAN).is_none() && shortest(f64::INFINITY).is_none() && shortest(1.0 / 3.0).is_none());
    }
}
