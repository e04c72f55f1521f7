//! The text of an SQL expression to its syntax tree, and the places of a text in bytes.

use sqlparser::ast::Expr;
use sqlparser::dialect::GenericDialect;
use sqlparser::parser::{Parser, ParserError};
use sqlparser::tokenizer::{Location, Token};

use super::expression::Fault;

/// The syntax tree of a whole text.
///
/// # Errors
/// Text that is no expression, or goes on after one.
pub fn parse(text: &str) -> Result<Expr, Fault> {
    let fault = |error: &ParserError| {
        let message = match error {
            ParserError::TokenizerError(message) | ParserError::ParserError(message) => message.as_str(),
            ParserError::RecursionLimitExceeded => "brackets are nested too deeply",
        };
        let (said, at) = message.split_once(" at Line: ").unwrap_or((message, ""));
        let mut numbers = at.split(|c: char| !c.is_ascii_digit()).filter_map(|n| n.parse::<u64>().ok());
        let start = match (numbers.next(), numbers.next()) {
            (Some(line), Some(column)) => byte(text, Location { line, column }),
            _ => text.len(),
        };
        let said = said.strip_prefix("sql parser error: ").unwrap_or(said);
        let said = said.trim_end_matches(',').replace("Expected: ", "expected ").replace("EOF", "its end");
        let what = format!("this can't be read as an expression: {said}");
        Fault { span: start..word_end(text, start), what, hint: slip(text, start) }
    };
    let mut parser = Parser::new(&GenericDialect {}).try_with_sql(text).map_err(|e| fault(&e))?;
    let expression = parser.parse_expr().map_err(|e| fault(&e))?;
    let next = parser.peek_token();
    if next.token == Token::EOF {
        return Ok(expression);
    }
    let start = byte(text, next.span.start);
    let what = "the expression ends before this".to_string();
    Err(Fault { span: start..word_end(text, start), what, hint: slip(text, start) })
}

/// What a common slip at a place of the text calls for.
fn slip(text: &str, start: usize) -> Option<String> {
    let (before, after) = (&text[..start], &text[start..]);
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    if after.starts_with(',') && digit(before.chars().last()) && digit(after.chars().nth(1)) {
        return Some("the decimal mark is a point, as in 0.95".into());
    }
    if after.starts_with('*') && before.ends_with('*') {
        return Some("a power is written `POWER(x, 2)`".into());
    }
    None
}

/// The byte of the text at a line and column, both from 1; its end where there is none such.
pub fn byte(text: &str, at: Location) -> usize {
    let line_start = text.split_inclusive('\n').take((at.line as usize).saturating_sub(1)).map(str::len).sum::<usize>();
    let rest = text.get(line_start..).unwrap_or_default();
    let column = (at.column as usize).saturating_sub(1);
    rest.char_indices().nth(column).map_or(text.len(), |(i, _)| line_start + i)
}

/// The end of the word, or else of the character, that begins at a byte.
pub fn word_end(text: &str, start: usize) -> usize {
    let rest = text.get(start..).unwrap_or_default();
    let word = rest.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == '.')).unwrap_or(rest.len());
    start + if word > 0 { word } else { rest.chars().next().map_or(0, char::len_utf8) }
}
