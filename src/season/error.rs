//! The one error for input that can't be used (exit status 2): a list of problems, each with its
//! place, what was wrong, what was wanted instead, and a hint where there is one.
//!
//! Wording: lower case, the user's own words and keys in backticks, no full stop.

use std::fmt;
use std::ops::Range;
use std::path::Path;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use super::file::Trouble;

/// What sort of thing is wrong with the input.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Kind {
    /// The folder, or the file, is not there.
    NotThere,
    /// The folder holds no `season.toml`.
    NoSeason,
    /// The season holds no readings.
    NoReadings,
    /// A file can't be read, or is not the kind of file it should be.
    Unreadable,
    /// Something that would be overwritten is already there.
    AlreadyThere,
    /// A file or folder can't be made.
    Unwritable,
    /// The file is not well-formed.
    Syntax,
    /// A key that does not belong where it stands.
    UnknownKey,
    /// A value of the wrong type.
    WrongType,
    /// A needed key is missing.
    MissingKey,
    /// A number or text outside what makes sense.
    OutOfRange,
    /// A word that is not one of those allowed.
    UnknownWord,
    /// A name of something the season does not hold.
    UnknownName,
    /// One name for two things.
    DuplicateName,
    /// Keys that contradict each other.
    Conflict,
    /// A file of a form that rows can't be added to.
    WrongForm,
}

/// A place in a text file, with a copy of the line it stands on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Position {
    line: usize,
    column: usize,
    text: String,
    span: Range<usize>,
}

impl Position {
    /// The position of a byte range of `text`; what lies past the end of its first line is cut off,
    /// and a range outside the text points at the text's end.
    pub fn of(text: &str, span: Range<usize>) -> Self {
        let start = floor_boundary(text, span.start);
        let before = &text[..start];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        let line_text = text[line_start..].split('\n').next().unwrap_or_default();
        let line_text = line_text.strip_suffix('\r').unwrap_or(line_text);
        let from = (start - line_start).min(line_text.len());
        let to = floor_boundary(line_text, span.end.saturating_sub(line_start)).max(from);
        Position {
            line: before.matches('\n').count() + 1,
            column: line_text[..from].chars().count() + 1,
            text: line_text.to_string(),
            span: from..to,
        }
    }

    /// Line, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// Column in characters, from 1.
    pub fn column(&self) -> usize {
        self.column
    }

    /// The line with its number and carets under what is meant.
    fn excerpt(&self) -> String {
        let source = Snippet::source(self.text.as_str()).line_start(self.line);
        let marked = source.annotation(AnnotationKind::Primary.span(self.span.clone()));
        let rendered = Renderer::plain().render(&[Group::with_level(Level::ERROR).element(marked)]);
        rendered.lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
    }
}

/// The last character boundary of `text` at or before byte `at`.
fn floor_boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|&i| text.is_char_boundary(i)).unwrap_or(0)
}

/// One thing wrong with the input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    kind: Kind,
    file: String,
    position: Option<Position>,
    what: String,
    wanted: Option<String>,
    hint: Option<String>,
}

impl Problem {
    /// A problem with `file` (as the user would name it), said in a few words.
    pub fn new(kind: Kind, file: impl Into<String>, what: impl Into<String>) -> Self {
        Problem { kind, file: file.into(), position: None, what: what.into(), wanted: None, hint: None }
    }

    /// Adds where in the file it is.
    pub fn at(self, position: Position) -> Self {
        Problem { position: Some(position), ..self }
    }

    /// Adds what should stand there instead.
    pub fn want(self, wanted: impl Into<String>) -> Self {
        Problem { wanted: Some(wanted.into()), ..self }
    }

    /// Adds what to do about it.
    pub fn advise(self, hint: impl Into<String>) -> Self {
        Problem { hint: Some(hint.into()), ..self }
    }

    /// What sort of problem it is.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The file or folder, as the user would name it.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Where in the file, if it is somewhere in a text file.
    pub fn position(&self) -> Option<&Position> {
        self.position.as_ref()
    }

    /// What was wrong.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What was wanted instead, if that can be said.
    pub fn wanted(&self) -> Option<&str> {
        self.wanted.as_deref()
    }

    /// What to do about it, if there is more to say.
    pub fn hint(&self) -> Option<&str> {
        self.hint.as_deref()
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", visible(&self.file))?;
        if let Some(position) = &self.position {
            write!(f, ":{}:{}", position.line, position.column)?;
        }
        write!(f, ": {}", visible(&self.what))?;
        if let Some(wanted) = &self.wanted {
            write!(f, ", wanted {}", visible(wanted))?;
        }
        if let Some(position) = &self.position {
            write!(f, "\n{}", position.excerpt())?;
        }
        if let Some(hint) = &self.hint {
            write!(f, "\nhint: {}", visible(hint))?;
        }
        Ok(())
    }
}

/// The text with control characters written as escapes: a name in a file must not drive the terminal.
fn visible(text: &str) -> String {
    text.chars().fold(String::with_capacity(text.len()), |mut shown, c| {
        if c.is_control() {
            shown.extend(c.escape_default());
        } else {
            shown.push(c);
        }
        shown
    })
}

/// Input that can't be used: one problem or several, in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", paragraphs(.problems))]
pub struct InputError {
    problems: Vec<Problem>,
}

fn paragraphs(problems: &[Problem]) -> String {
    problems.iter().map(Problem::to_string).collect::<Vec<_>>().join("\n\n")
}

impl From<Problem> for InputError {
    fn from(problem: Problem) -> Self {
        InputError { problems: vec![problem] }
    }
}

impl From<Vec<Problem>> for InputError {
    /// Sorted by file and place, so that they read in the order of the file whatever found them.
    fn from(mut problems: Vec<Problem>) -> Self {
        let place = |p: &Problem| p.position.as_ref().map(|at| (at.line, at.column));
        problems.sort_by(|a, b| a.file.cmp(&b.file).then_with(|| place(a).cmp(&place(b))));
        InputError { problems }
    }
}

impl InputError {
    /// All that is wrong, in the order of the file.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    /// The sort of the first problem.
    pub fn kind(&self) -> Option<Kind> {
        self.problems.first().map(Problem::kind)
    }

    /// The folder, or file, is not there.
    pub fn not_there(path: &Path) -> Self {
        let problem = Problem::new(Kind::NotThere, show(path), "there is no such file or folder");
        // A name with an ending was meant as a file of readings, which `start` does not make.
        if path.extension().is_some() {
            return problem.into();
        }
        problem.advise(format!("`daylight start {}` makes a new season there", argument(path))).into()
    }

    /// The folder holds no `season.toml`.
    pub fn no_season(folder: &Path) -> Self {
        let problem = Problem::new(Kind::NoSeason, show(folder), "this folder holds no `season.toml`");
        problem.advise(format!("run `daylight start {}` to make one", argument(folder))).into()
    }

    /// The season's folder, or file of readings, holds none.
    pub fn no_readings(path: &Path) -> Self {
        let hint = "write them one a row under the columns session, antenna, band, meter, quantity, value";
        Problem::new(Kind::NoReadings, show(path), "there are no readings here yet").advise(hint).into()
    }

    /// A text file is not UTF-8; `at` is the first byte that isn't.
    pub fn not_utf8(path: &Path, at: usize) -> Self {
        let what = format!("this is not UTF-8 text (byte {} breaks it)", at + 1);
        Problem::new(Kind::Unreadable, show(path), what).advise("save it again as UTF-8").into()
    }

    /// The system would not let a file or folder be read.
    pub fn unreadable(path: &Path, error: &std::io::Error) -> Self {
        Problem::new(Kind::Unreadable, show(path), format!("this can't be read: {}", error.kind())).into()
    }

    /// A file was not read, for its kind or its size too.
    pub fn trouble(path: &Path, trouble: &Trouble) -> Self {
        let problem = Problem::new(Kind::Unreadable, show(path), trouble.to_string());
        match trouble {
            Trouble::NotAFile => problem.advise("name a file; what comes through a pipe, save as a file first").into(),
            Trouble::TooLarge(_) | Trouble::System(_) => problem.into(),
        }
    }

    /// Something stands where a new file or folder would go.
    pub fn already_there(path: &Path, what: &str) -> Self {
        let hint = "nothing was written; choose another folder, or move what is there away";
        Problem::new(Kind::AlreadyThere, show(path), what).advise(hint).into()
    }

    /// A season's settings where its folder should be named.
    pub fn settings_alone(path: &Path) -> Self {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let hint = format!("name the season's folder, {}", argument(folder));
        Problem::new(Kind::Conflict, show(path), "these are settings, not readings").advise(hint).into()
    }

    /// The system would not let a file or folder be made.
    pub fn unwritable(path: &Path, error: &std::io::Error) -> Self {
        Problem::new(Kind::Unwritable, show(path), format!("this can't be written: {}", error.kind())).into()
    }
}

/// A path as the user would name it.
fn show(path: &Path) -> String {
    if path.as_os_str().is_empty() { ".".to_string() } else { path.display().to_string() }
}

/// A path as one argument of a command to type: in quotes where it holds more than a plain name does.
pub fn argument(path: &Path) -> String {
    let shown = show(path);
    let plain = |c: char| c.is_alphanumeric() || "/\\:._-+~".contains(c);
    if shown.chars().all(plain) { shown } else { format!("\"{shown}\"") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_position_counts_characters_and_stops_at_the_line_end() {
        let text = "a = 1\r\nname = \"é日\" x\r\n";
        let start = text.find('x').unwrap();
        let position = Position::of(text, start..text.len());
        assert_eq!((position.line(), position.column()), (2, 13));
        // The caret stands two columns further on: 日 is two wide.
        assert_eq!(position.excerpt(), "  |\n2 | name = \"é日\" x\n  |              ^");
        let end = Position::of(text, 900..901);
        assert_eq!((end.line(), end.column()), (3, 1));
    }

    #[test]
    fn problems_read_in_the_order_of_the_file() {
        let text = "a\nb\n";
        let at = |i: usize| Problem::new(Kind::Syntax, "f", format!("at {i}")).at(Position::of(text, i..i + 1));
        let error = InputError::from(vec![at(2), at(0)]);
        assert_eq!(error.to_string(), "f:1:1: at 0\n  |\n1 | a\n  | ^\n\nf:2:1: at 2\n  |\n2 | b\n  | ^");
    }

    #[test]
    fn errors_with_only_a_path_say_what_to_do() {
        let season = Path::new("my season");
        assert_eq!(
            InputError::no_season(season).to_string(),
            "my season: this folder holds no `season.toml`\nhint: run `daylight start \"my season\"` to make one"
        );
        assert_eq!(
            InputError::not_there(Path::new("s26")).to_string(),
            "s26: there is no such file or folder\nhint: `daylight start s26` makes a new season there"
        );
        let file = InputError::not_there(Path::new("log.csv")).to_string();
        assert_eq!(file, "log.csv: there is no such file or folder");
        assert_eq!(
            InputError::not_utf8(Path::new("log.csv"), 3).to_string(),
            "log.csv: this is not UTF-8 text (byte 4 breaks it)\nhint: save it again as UTF-8"
        );
        assert_eq!(InputError::no_readings(season).kind(), Some(Kind::NoReadings));
    }

    #[test]
    fn control_characters_of_a_file_never_reach_the_terminal() {
        let text = "\u{1b}[31m = 1";
        let problem = Problem::new(Kind::UnknownKey, "f", format!("unknown key `{text}`")).at(Position::of(text, 0..5));
        assert!(!problem.to_string().contains('\u{1b}'));
    }
}
