//! Text that is not TOML, in words for someone who has never heard of TOML.

use crate::season::error::{Kind, Position, Problem};

/// Words of the parser's messages about the inside of a list or of a table in braces.
const INSIDE_BRACKETS: [&str; 3] = ["array", "inline table", "key-value pairs"];

/// The parser's complaints, without their echoes: the first of each line, and none after one inside
/// brackets, where the parser no longer knows what closes what.
pub(crate) fn problems(text: &str, file: &str, broken: &[toml::de::Error]) -> Vec<Problem> {
    let mut lines = Vec::new();
    let mut problems = Vec::new();
    for error in broken {
        let span = error.span().unwrap_or(text.len()..text.len());
        let position = Position::of(text, span.clone());
        if lines.contains(&position.line()) {
            continue;
        }
        lines.push(position.line());
        let (what, hint) = explain(error.message(), text, span);
        let problem = Problem::new(Kind::Syntax, file, what).at(position);
        problems.push(match hint {
            Some(hint) => problem.advise(hint),
            None => problem,
        });
        if INSIDE_BRACKETS.iter().any(|words| error.message().contains(words)) {
            break;
        }
    }
    problems
}

/// What is wrong and what to do: our words for the slips a person makes, the parser's for the rest.
fn explain(message: &str, text: &str, span: std::ops::Range<usize>) -> (String, Option<String>) {
    let rest_of = |from: usize| text.get(from..).unwrap_or_default().lines().next().unwrap_or_default();
    let rest = rest_of(span.start);
    let found = text.get(span).unwrap_or_default().lines().next().unwrap_or_default();
    if message.starts_with("string values must be quoted") {
        let hint = if found.contains(['“', '”', '„']) {
            "quotes are the straight ones: \""
        } else {
            "text goes in double quotes, a number stands by itself"
        };
        let what =
            if found.is_empty() { "a value is missing here".to_string() } else { format!("`{found}` is not a value") };
        return (what, Some(hint.to_string()));
    }
    if message.starts_with("unexpected key or value") {
        let comma = rest.strip_prefix(',').is_some_and(|after| after.starts_with(|c: char| c.is_ascii_digit()));
        let hint = comma.then(|| "the decimal mark is a point, as in 0.95".to_string());
        return ("this is one thing too many for the line".to_string(), hint);
    }
    if message.starts_with("key with no value") {
        let hint = "a line is `key = value`; a key that holds a space goes in double quotes, as in `\"2 m\" = 0.2`";
        return ("this key is not followed by `=` and a value".to_string(), Some(hint.to_string()));
    }
    if message == "duplicate key" {
        return (format!("`{found}` stands here a second time"), Some("join the two into one".to_string()));
    }
    if INSIDE_BRACKETS.iter().any(|words| message.contains(words)) {
        let hint = "here or above, a bracket or brace is not closed, or a key with a space is not in quotes";
        return (message.to_string(), Some(hint.to_string()));
    }
    (message.to_string(), None)
}
