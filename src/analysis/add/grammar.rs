//! One typed line → what it says. A line is what changed, then what was read:
//!
//! ```text
//! plover 2m inline swr 1.52 1.53 z 57.4 ; gust of wind
//! 1.52            one more reading of the last thing
//! + 1.49          taken off and put back first
//! #3 1.49         on mounting 3
//! antenna=kestrel a name the season does not know yet; so for every column of the sheet
//! 0.98!           written although it can't be so
//! -   =   ?   .   take back the last, show, help, done; or undo, show, help, done
//! ```
//!
//! A name may be cut as short as it stays the only one; letter case, blanks, hyphens and underscores in it are
//! free. A number alone is always a reading.

use super::vocabulary::{Column, Known, Vocabulary, folded};
use super::words::{Word, words};
use crate::season::readings::Cell;

/// One step of a line of readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// From here on another antenna, band, meter or quantity.
    Name(Column, String),
    /// Taken off and put back.
    Remount,
    /// On this mounting.
    Mounting(i64),
    /// A cell of any other column, for all readings of the line.
    Cell(String, String),
    /// A reading, as typed.
    Value(String),
}

/// What a line says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// Nothing.
    Empty,
    /// Readings, or names for those to come.
    Steps {
        /// In the order typed.
        steps: Vec<Step>,
        /// To be written although it can't be so.
        forced: bool,
    },
    /// Take back the last reading.
    TakeBack {
        /// Why, if said.
        note: String,
    },
    /// Show what was written.
    Show,
    /// Help.
    Help,
    /// Done.
    Done,
}

/// A line that can't be understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{words}")]
pub struct Misread {
    /// Why, in words.
    pub words: String,
    /// The names of the line that could be read, up to its first value.
    pub said: Vec<Step>,
    /// What the words that could not be read may have named: nothing is known of it now.
    pub doubt: Vec<Column>,
}

impl Misread {
    /// A line of which no name is in doubt.
    fn new(words: impl Into<String>) -> Misread {
        Misread::of_name(words, vec![])
    }

    /// A line that may have named these.
    pub fn of_name(words: impl Into<String>, doubt: Vec<Column>) -> Misread {
        Misread { words: words.into(), said: vec![], doubt }
    }
}

/// The commands, by sign and by word.
const COMMANDS: [(&str, &str); 5] = [("-", "undo"), ("=", "show"), ("?", "help"), (".", "done"), ("+", "remount")];

/// Columns that a line may fill beside the names, the value and the mounting.
const CELLS: [&str; 7] = ["unit", "order", "when", "readings", "sd", "battery", "note"];

/// Reads a line.
///
/// # Errors
/// It can't be understood: a word that names nothing, or several things.
pub fn read(line: &str, vocabulary: &Vocabulary) -> Result<Line, Misread> {
    let (words, note) = words(line).ok_or_else(|| Misread::of_name("a quote is left open", vec![Column::Antenna]))?;
    read_words(&words, note, vocabulary)
}

/// Reads a line that is in words already.
///
/// # Errors
/// As [`read`].
pub fn read_words(words: &[Word], note: Option<String>, vocabulary: &Vocabulary) -> Result<Line, Misread> {
    if let [only] = words
        && let Some(command) = command(only, vocabulary)?
    {
        return Ok(match command {
            "undo" => Line::TakeBack { note: note.unwrap_or_default() },
            "show" => Line::Show,
            "help" => Line::Help,
            "done" => Line::Done,
            _ => Line::Steps { steps: vec![Step::Remount], forced: false },
        });
    }
    let mut steps = vec![];
    let mut forced = false;
    let mut misread: Option<Misread> = None;
    let mut rest = words;
    while let Some((word, after)) = rest.split_first() {
        let taken = match vocabulary.spread(rest) {
            Some((n, known)) => {
                steps.push(Step::Name(known.column, known.name.clone()));
                n
            }
            None => {
                let last = after.is_empty();
                let text = word.text.strip_suffix('!').filter(|_| last && !word.quoted);
                forced |= text.is_some();
                let text = text.unwrap_or(&word.text);
                if !text.is_empty() || word.quoted {
                    match step(text, word.quoted, vocabulary) {
                        Ok(step) => steps.push(step),
                        // the first word is told; names after it still say what the line was about
                        Err(error) => drop(misread.get_or_insert(error)),
                    }
                }
                1
            }
        };
        rest = &rest[taken..];
    }
    if let Some(misread) = misread {
        let said = steps.into_iter().take_while(|s| !matches!(s, Step::Value(_)));
        return Err(Misread { said: said.filter(|s| matches!(s, Step::Name(..))).collect(), ..misread });
    }
    if let Some(note) = note.filter(|n| !n.is_empty()) {
        steps.push(Step::Cell("note".into(), note));
    }
    Ok(if steps.is_empty() { Line::Empty } else { Line::Steps { steps, forced } })
}

/// The command that a line of one word is, if it is one.
fn command(word: &Word, vocabulary: &Vocabulary) -> Result<Option<&'static str>, Misread> {
    if word.quoted {
        return Ok(None);
    }
    let text = word.text.to_lowercase();
    if let Some((_, name)) = COMMANDS.iter().find(|(sign, _)| *sign == text) {
        return Ok(Some(name));
    }
    let short = |name: &&(&str, &str)| name.1.starts_with(&text);
    let names: Vec<&str> = COMMANDS.iter().filter(short).map(|c| c.1).collect();
    let others = vocabulary.named(&word.text);
    match (names.as_slice(), others.as_slice()) {
        ([one], []) => Ok(Some(COMMANDS.iter().find(|c| c.1 == *one).map_or("", |c| c.1))),
        // written out, a command is one even beside names that begin so
        ([one], known) if *one == text && known.iter().all(|k| k.name != word.text) => {
            Ok(COMMANDS.iter().find(|c| c.1 == *one).map(|c| c.1))
        }
        ([], _) | (_, []) => Ok(None),
        (names, known) if known.iter().all(|k| !k.spellings.contains(&folded(&word.text))) => {
            let all = names.iter().map(|n| format!("`{n}`")).chain(known.iter().map(|k| k.told()));
            Err(Misread::of_name(several(&word.text, all.collect()), columns(known)))
        }
        _ => Ok(None),
    }
}

fn step(text: &str, quoted: bool, vocabulary: &Vocabulary) -> Result<Step, Misread> {
    if let Some((key, cell)) = text.split_once('=')
        && !quoted_only(text, quoted)
    {
        let key = key.trim().to_lowercase();
        if let Some(column) = Column::ALL.into_iter().find(|c| c.name() == key) {
            let name = vocabulary.of_column(column, cell).unwrap_or(cell.trim());
            return if name.is_empty() {
                Err(Misread::of_name(format!("`{key}=` names nothing"), vec![column]))
            } else {
                Ok(Step::Name(column, name.into()))
            };
        }
        return match key.as_str() {
            "mounting" => mounting(cell),
            "value" => Ok(Step::Value(cell.into())),
            "session" => Err(Misread::new("one prompt writes one session: start another with `--session`")),
            key if CELLS.contains(&key) => Ok(Step::Cell(key.into(), cell.trim().into())),
            _ => Err(Misread::new(format!("`{key}` is no column of the readings"))),
        };
    }
    if let (Some(number), false) = (text.strip_prefix('#'), quoted) {
        return mounting(number);
    }
    if text == "+" && !quoted {
        return Ok(Step::Remount);
    }
    if Cell::of(text).is_plain_number() {
        return Ok(Step::Value(text.into()));
    }
    let known = vocabulary.named(text);
    match known.as_slice() {
        [one] => Ok(Step::Name(one.column, one.name.clone())),
        [] if Cell::of(text).is_reading() => Ok(Step::Value(text.into())),
        [] => Err(unknown(text, vocabulary)),
        several_known => {
            let words = several(text, several_known.iter().map(|k| k.told()).collect());
            Err(Misread::of_name(words, columns(several_known)))
        }
    }
}

/// A quoted word with an equals sign is a name; a word such as `antenna="new whip"` is not quoted as a whole.
fn quoted_only(text: &str, quoted: bool) -> bool {
    quoted && !text.split_once('=').is_some_and(|(key, _)| key.chars().all(|c| c.is_ascii_lowercase()))
}

fn mounting(text: &str) -> Result<Step, Misread> {
    match text.trim().parse::<i64>() {
        Ok(number) if (0..=9999).contains(&number) => Ok(Step::Mounting(number)),
        _ => Err(Misread::new(format!("`{text}` is no number of a mounting: wanted 1, 2, …"))),
    }
}

fn several(word: &str, all: Vec<String>) -> String {
    format!("`{word}` could be {}: write more of it", all.join(" or "))
}

fn unknown(word: &str, vocabulary: &Vocabulary) -> Misread {
    let near = crate::season::readings::nearest_name(word, vocabulary.all());
    let meant = near.map_or(". A".to_string(), |near| format!("; is `{near}` meant? A"));
    let words = format!("`{word}` is no name of this season and no reading{meant} new antenna is `antenna={word}`");
    // a slip of the pen in a number leaves no doubt but of the band, which begins with one too
    let number = word.starts_with(|c: char| c.is_ascii_digit() || "+-.,<>".contains(c));
    let usual = if number { Column::Band } else { Column::Antenna };
    Misread::of_name(words, vec![near.and_then(|near| vocabulary.column_of(near)).unwrap_or(usual)])
}

/// What these names name, each once.
fn columns(known: &[&Known]) -> Vec<Column> {
    let mut all: Vec<Column> = known.iter().map(|k| k.column).collect();
    all.sort_unstable();
    all.dedup();
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn vocabulary() -> Vocabulary {
        let mut v = Vocabulary::default();
        for (column, names) in [
            (Column::Antenna, &["heron", "plover", "redshank", "hundred"][..]),
            (Column::Band, &["2 m", "70 cm", "GMRS"]),
            (Column::Meter, &["inline", "analyzer", "field", "far station"]),
            (Column::Quantity, &["swr", "forward_power", "impedance", "field_strength", "readability"]),
        ] {
            names.iter().for_each(|name| v.add(column, name, true));
        }
        v.add(Column::Quantity, "resistance", false);
        v
    }

    fn steps(line: &str) -> Vec<Step> {
        match read(line, &vocabulary()) {
            Ok(Line::Steps { steps, .. }) => steps,
            other => panic!("{line}: {other:?}"),
        }
    }

    fn name(column: Column, name: &str) -> Step {
        Step::Name(column, name.into())
    }

    fn value(text: &str) -> Step {
        Step::Value(text.into())
    }

    #[test]
    fn a_line_is_what_changed_then_what_was_read() {
        let wanted = [
            name(Column::Antenna, "plover"),
            name(Column::Band, "2 m"),
            name(Column::Meter, "inline"),
            name(Column::Quantity, "swr"),
            value("1.52"),
            value("1.53"),
        ];
        for line in ["plover 2 m inline swr 1.52 1.53", "p 2m in s 1.52 1.53", "PLO \"2 m\" inl swr 1.52 1.53"] {
            assert_eq!(steps(line), wanted, "{line}");
        }
        assert_eq!(
            steps("z 57.4 ; gust, twice"),
            [name(Column::Quantity, "impedance"), value("57.4"), Step::Cell("note".into(), "gust, twice".into())]
        );
        assert_eq!(steps("+ -31.4"), [Step::Remount, value("-31.4")]);
        assert_eq!(steps("#3 4.8W R5 >3"), [Step::Mounting(3), value("4.8W"), value("R5"), value(">3")]);
        assert_eq!(steps("field -32"), [name(Column::Meter, "field"), value("-32")]);
        assert_eq!(steps("far station readability 4")[0], name(Column::Meter, "far station"));
        assert_eq!(
            steps("antenna=\"new whip\" 70c")[..2],
            [name(Column::Antenna, "new whip"), name(Column::Band, "70 cm")]
        );
        assert_eq!(steps("battery=7.4 1.5")[0], Step::Cell("battery".into(), "7.4".into()));
    }

    #[test]
    fn a_number_alone_is_a_reading_and_a_sign_alone_a_command() {
        assert_eq!(steps("70"), [value("70")]);
        let read = |line| read(line, &vocabulary()).unwrap();
        assert_eq!(read("-"), Line::TakeBack { note: String::new() });
        assert_eq!(read("undo ; wrong antenna"), Line::TakeBack { note: "wrong antenna".into() });
        assert_eq!((read("="), read("?"), read("."), read("  ")), (Line::Show, Line::Help, Line::Done, Line::Empty));
        assert_eq!(
            (read("u"), read("help"), read("d")),
            (Line::TakeBack { note: String::new() }, Line::Help, Line::Done)
        );
        assert_eq!(read("0.98!"), Line::Steps { steps: vec![value("0.98")], forced: true });
        assert_eq!(read("0.98 !"), read("0.98!"));
    }

    #[test]
    fn what_names_several_things_or_none_is_said() {
        let words = |line| read(line, &vocabulary()).unwrap_err().words;
        assert_eq!(words("fi"), "`fi` could be meter `field` or quantity `field_strength`: write more of it");
        assert_eq!(words("h"), "`h` could be `help` or antenna `heron` or antenna `hundred`: write more of it");
        assert!(words("r 5").contains("`redshank` or quantity `readability`"));
        assert!(words("plovr 1.5").contains("is `plover` meant?"));
        assert!(words("kestrel 1.5").contains("antenna=kestrel"));
        assert!(words("session=x").contains("--session") && words("\"2").contains("quote"));
        assert!(words("colour=red 1").contains("no column") && words("#x 1").contains("no number"));
        // what could be read of the line, and what is in doubt
        let misread = |line| read(line, &vocabulary()).unwrap_err();
        assert_eq!(misread("plovr 70cm 1.5").doubt, [Column::Antenna]);
        assert_eq!(misread("plovr 70cm 1.5").said, [name(Column::Band, "70 cm")]);
        assert_eq!(misread("heron feild 1.5 2m").doubt, [Column::Meter]);
        assert_eq!(misread("heron feild 1.5 2m").said, [name(Column::Antenna, "heron")]);
        assert_eq!(misread("fi 1.5").doubt, [Column::Meter, Column::Quantity]);
        assert_eq!(misread("heron \"2").doubt, [Column::Antenna]);
        assert_eq!(misread("h").doubt, [Column::Antenna]);
        assert_eq!(misread("heron 1.5x5").doubt, [Column::Band]);
    }

    proptest! {
        #[test]
        fn no_line_at_all_does_harm(line in ".{0,60}") {
            let _ = read(&line, &vocabulary());
        }

        #[test]
        fn words_of_the_grammar_in_any_order_do_no_harm(words in proptest::collection::vec(
            prop_oneof!["[+=?.#;!\"-]{1,3}", "(heron|plover|2|m|70cm|swr|z|fi|far|station)", "-?[0-9]{1,3}[.,]?[0-9]{0,3}(W|dB|:1|!)?",
                "(antenna|mounting|note|value|x)=[a-z0-9]{0,4}"], 0..8)) {
            let _ = read(&words.join(" "), &vocabulary());
        }

        /// Every beginning of a name that begins no other is that name; written out it always is.
        #[test]
        fn the_shortest_beginning_that_is_its_own_is_enough(names in proptest::collection::btree_set("[a-z]{2,8}", 2..8), at: prop::sample::Index, cut in 1..8usize) {
            let names: Vec<String> = names.into_iter().collect();
            let mut v = Vocabulary::default();
            names.iter().for_each(|n| v.add(Column::Antenna, n, true));
            let name = at.get(&names);
            let short: String = name.chars().take(cut).collect();
            let others = names.iter().filter(|n| n.starts_with(&short)).count();
            let got = read(&format!("{short} 1.5"), &v);
            let wanted = Line::Steps { steps: vec![Step::Name(Column::Antenna, name.clone()), value("1.5")], forced: false };
            if others == 1 || &short == name {
                prop_assert_eq!(got.unwrap(), wanted);
            } else if !names.contains(&short) {
                prop_assert!(got.is_err());
            }
        }

        /// Any number typed alone is that reading, digit for digit.
        #[test]
        fn any_number_is_kept_digit_for_digit(whole in 0..1000u32, decimals in "[0-9]{0,4}", negative: bool) {
            let text = format!("{}{whole}{}{decimals}", if negative { "-" } else { "" }, if decimals.is_empty() { "" } else { "." });
            prop_assert_eq!(steps(&text), vec![value(&text)]);
        }
    }
}
