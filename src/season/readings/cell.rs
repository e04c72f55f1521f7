//! One cell of text → the number in it, and the unit stuck to that number.

/// Whether a lone comma in a number can only be a decimal comma.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Comma {
    /// It can: semicolons separate the cells.
    Decimal,
    /// It can: the season says so.
    Declared,
    /// It can't: the season says that numbers have a decimal point, so it groups thousands.
    Thousands,
    /// It may group thousands: `1,234` has two meanings, `1,5` has one.
    Ambiguous,
}

impl Comma {
    /// Whether what it means was told by the file alone.
    pub fn is_guessed(self) -> bool {
        matches!(self, Comma::Decimal | Comma::Ambiguous)
    }
}

/// What a value's cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading<'a> {
    /// A number, with the unit written to it, if one is.
    Number {
        /// The number.
        value: f64,
        /// The unit stuck to it.
        unit: Option<&'a str>,
    },
    /// No reading was taken: an empty cell or a dash.
    Missing,
    /// Only a side of a limit is known: `>3`, `off scale`, `did not copy`.
    Censored {
        /// Whether the reading lies above the limit; `None` where only that it is out of range is known.
        above: Option<bool>,
        /// The limit as written, with its unit; empty where none is.
        limit: &'a str,
    },
    /// A number that can be read in two ways.
    Ambiguous,
    /// Nothing this program can read.
    Unreadable,
}

const MISSING: [&str; 8] = ["", "-", "--", "---", "–", "—", "n/a", "na"];
const CENSORED: [&str; 13] = [
    "inf",
    "+inf",
    "-inf",
    "infinite",
    "infinity",
    "∞",
    "off scale",
    "off-scale",
    "offscale",
    "over",
    "ol",
    "dnc",
    "did not copy",
];

/// Reads a value's cell: `1.5`, `1,5`, `1.5:1`, `1:1.5`, `5W`, `-3.2 dB`, `R5`.
pub fn reading(text: &str, comma: Comma) -> Reading<'_> {
    let text = text.trim();
    let lower = text.to_lowercase();
    if MISSING.contains(&lower.as_str()) {
        return Reading::Missing;
    }
    if let Some(limit) = text.strip_prefix(['<', '>', '≤', '≥']) {
        return Reading::Censored {
            above: Some(text.starts_with(['>', '≥'])),
            limit: limit.trim_start_matches('=').trim(),
        };
    }
    if CENSORED.contains(&lower.as_str()) {
        return Reading::Censored { above: None, limit: "" };
    }
    if let Some((left, right)) = text.split_once(':') {
        return ratio(left, right, comma);
    }
    // A readability report: its letter stands before the grade.
    if let Some(grade) = text.strip_prefix(['R', 'Q', 'r', 'q']) {
        return with_unit(grade, Some(&text[..1]), comma);
    }
    let end = number_end(text);
    let unit = text[end..].trim();
    if !unit.chars().all(|c| c.is_alphabetic() || c == '%') {
        return Reading::Unreadable;
    }
    with_unit(&text[..end], (!unit.is_empty()).then_some(unit), comma)
}

/// A plain number: decimal point or comma, sign (the typographic minus too), exponent; always finite.
pub fn number(text: &str, comma: Comma) -> Option<f64> {
    if is_ambiguous(text, comma) {
        return None;
    }
    let point = match comma {
        Comma::Thousands if text.contains(',') => ungrouped(text.trim())?,
        _ => text.trim().replace(',', "."),
    };
    let plain = point.replace('−', "-");
    // `parse` alone would also take the words `inf` and `nan`.
    let numeric = plain.chars().all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
    plain.parse().ok().filter(|value: &f64| numeric && value.is_finite())
}

/// The number at the start of a cell, whatever unit follows it.
pub fn number_before_unit(text: &str, comma: Comma) -> Option<f64> {
    match reading(text, comma) {
        Reading::Number { value, .. } => Some(value),
        _ => None,
    }
}

/// A number without the commas that group its whole part by threes; `None` where they don't.
fn ungrouped(text: &str) -> Option<String> {
    let (whole, rest) = text.find('.').map_or((text, ""), |at| text.split_at(at));
    let mut groups = whole.trim_start_matches(['+', '-', '−']).split(',');
    let first = groups.next()?;
    let digits = |part: &str| part.chars().all(|c| c.is_ascii_digit());
    let grouped = (1..=3).contains(&first.len()) && digits(first) && groups.all(|g| g.len() == 3 && digits(g));
    (grouped && !rest.contains(',')).then(|| whole.replace(',', "") + rest)
}

/// An SWR written as a ratio to 1, on either side.
fn ratio<'a>(left: &str, right: &str, comma: Comma) -> Reading<'a> {
    if is_ambiguous(left, comma) || is_ambiguous(right, comma) {
        return Reading::Ambiguous;
    }
    match (number(left, comma), number(right, comma)) {
        (Some(1.0), Some(value)) | (Some(value), Some(1.0)) => Reading::Number { value, unit: Some(":1") },
        _ => Reading::Unreadable,
    }
}

fn with_unit<'a>(digits: &str, unit: Option<&'a str>, comma: Comma) -> Reading<'a> {
    if is_ambiguous(digits, comma) {
        return Reading::Ambiguous;
    }
    number(digits, comma).map_or(Reading::Unreadable, |value| Reading::Number { value, unit })
}

/// Where the number at the start of `text` ends. An `e` belongs to it only before an exponent's digits.
fn number_end(text: &str) -> usize {
    let mut before = ' ';
    for (at, c) in text.char_indices() {
        let exponent = || text[at + 1..].trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit());
        let belongs = match c {
            '0'..='9' | '.' | ',' => true,
            '+' | '-' | '−' => at == 0 || matches!(before, 'e' | 'E'),
            'e' | 'E' => before.is_ascii_digit() && exponent(),
            _ => false,
        };
        if !belongs {
            return at;
        }
        before = c;
    }
    text.len()
}

/// Whether the one comma could as well group thousands: one to three digits before, three after.
fn is_ambiguous(text: &str, comma: Comma) -> bool {
    if comma != Comma::Ambiguous {
        return false;
    }
    let digits = |part: &str| part.chars().all(|c| c.is_ascii_digit());
    text.trim().trim_start_matches(['+', '-', '−']).split_once(',').is_some_and(|(whole, rest)| {
        (1..=3).contains(&whole.len()) && digits(whole) && !whole.starts_with('0') && rest.len() == 3 && digits(rest)
    })
}

/// A typed word, as the cell of a value.
#[derive(Debug, Clone, Copy)]
pub struct Cell<'a>(Reading<'a>);

impl<'a> Cell<'a> {
    /// Reads a word.
    pub fn of(text: &'a str) -> Cell<'a> {
        Cell(reading(text, Comma::Ambiguous))
    }

    /// Whether it is a number and nothing else.
    pub fn is_plain_number(&self) -> bool {
        matches!(self.0, Reading::Number { unit: None, .. } | Reading::Ambiguous)
    }

    /// Whether its comma may mark decimals or thousands.
    pub fn is_ambiguous(&self) -> bool {
        self.0 == Reading::Ambiguous
    }

    /// Whether it says anything of a reading: a number with its unit, or a side of a limit.
    pub fn is_reading(&self) -> bool {
        !matches!(self.0, Reading::Missing | Reading::Unreadable)
    }

    /// The unit stuck to the number.
    pub fn unit(&self) -> Option<&'a str> {
        match self.0 {
            Reading::Number { unit, .. } => unit,
            _ => None,
        }
    }

    /// Whether only a side of a limit is known.
    pub fn is_limit(&self) -> bool {
        matches!(self.0, Reading::Censored { .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Reading<'_> {
        reading(text, Comma::Ambiguous)
    }

    fn plain(value: f64) -> Reading<'static> {
        Reading::Number { value, unit: None }
    }

    fn unit(value: f64, unit: &str) -> Reading<'_> {
        Reading::Number { value, unit: Some(unit) }
    }

    #[test]
    fn a_number_is_read_with_point_or_comma_sign_and_exponent() {
        for (text, value) in
            [("1.5", 1.5), (" 1,5 ", 1.5), ("-3", -3.0), ("−3.2", -3.2), ("+2", 2.0), (".5", 0.5), ("1e-3", 1e-3)]
        {
            assert_eq!(read(text), plain(value), "{text}");
        }
    }

    #[test]
    fn a_ratio_to_one_is_read_from_either_side() {
        for text in ["1.5:1", "1:1.5", "1,5 : 1"] {
            assert_eq!(read(text), unit(1.5, ":1"), "{text}");
        }
        assert_eq!(read("1:1"), unit(1.0, ":1"));
        assert_eq!(read("2:1.5"), Reading::Unreadable);
    }

    #[test]
    fn a_unit_stuck_to_the_number_is_told_apart_from_it() {
        assert_eq!(read("5W"), unit(5.0, "W"));
        assert_eq!(read("4.8 w"), unit(4.8, "w"));
        assert_eq!(read("-3.2dB"), unit(-3.2, "dB"));
        assert_eq!(read("20%"), unit(20.0, "%"));
        assert_eq!(read("2e"), unit(2.0, "e"));
        assert_eq!(read("R5"), unit(5.0, "R"));
        assert_eq!(read("q3"), unit(3.0, "q"));
    }

    #[test]
    fn text_that_is_no_number_is_never_guessed_at() {
        for text in ["5/9+10", "1.2.3", "--5", "1-2", "loud", "1.5 at low", "nan", "R", "1,234.5", "e", ":"] {
            assert_eq!(read(text), Reading::Unreadable, "{text}");
        }
    }

    #[test]
    fn a_side_of_a_limit_is_censored_and_a_dash_is_no_reading() {
        for text in [">3", "<1.1", "inf", "Off Scale", "dnc", "∞"] {
            assert!(matches!(read(text), Reading::Censored { .. }), "{text}");
        }
        assert_eq!(read(">= 3:1"), Reading::Censored { above: Some(true), limit: "3:1" });
        assert_eq!(read("<1.1"), Reading::Censored { above: Some(false), limit: "1.1" });
        for text in ["", " ", "--", "—", "N/A"] {
            assert_eq!(read(text), Reading::Missing, "{text}");
        }
    }

    #[test]
    fn a_comma_before_three_digits_has_two_meanings_unless_semicolons_separate() {
        assert_eq!(read("1,234"), Reading::Ambiguous);
        assert_eq!(read("1,234W"), Reading::Ambiguous);
        assert_eq!(read("0,234"), plain(0.234));
        assert_eq!(read("1,23"), plain(1.23));
        assert_eq!(reading("1,234", Comma::Decimal), plain(1.234));
        assert_eq!(number("1,234", Comma::Ambiguous), None);
        assert_eq!(number("1,234", Comma::Declared), Some(1.234));
    }

    #[test]
    fn a_declared_point_leaves_the_comma_to_group_thousands() {
        for (text, value) in [("1,234", 1234.0), ("-12,345,678.5", -12_345_678.5), ("1.5", 1.5)] {
            assert_eq!(number(text, Comma::Thousands), Some(value), "{text}");
        }
        for text in ["1,5", "1234,567", "1,2345", "1.5,000"] {
            assert_eq!(number(text, Comma::Thousands), None, "{text}");
        }
    }
}
