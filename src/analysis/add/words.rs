//! A typed line, split into words.

/// A line that can't be understood, in words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Misread(pub String);

/// A word of a line; a quoted one stands for itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Its text.
    pub text: String,
    /// Whether it was quoted.
    pub quoted: bool,
}

/// Splits a line at blanks, quotes keeping them, and its note off at the first `;`.
///
/// # Errors
/// A quote is left open.
pub fn words(line: &str) -> Result<(Vec<Word>, Option<String>), Misread> {
    let (mut words, mut text, mut quoted, mut open) = (vec![], String::new(), false, false);
    let mut chars = line.chars();
    while let Some(c) = chars.next() {
        match c {
            '"' => (open, quoted) = (!open, true),
            ';' if !open => {
                push(&mut words, &mut text, &mut quoted);
                return Ok((words, Some(chars.as_str().trim().to_string())));
            }
            c if c.is_whitespace() && !open => push(&mut words, &mut text, &mut quoted),
            c => text.push(c),
        }
    }
    if open {
        return Err(Misread("a quote is left open".into()));
    }
    push(&mut words, &mut text, &mut quoted);
    Ok((words, None))
}

fn push(words: &mut Vec<Word>, text: &mut String, quoted: &mut bool) {
    if !text.is_empty() || *quoted {
        words.push(Word { text: std::mem::take(text), quoted: std::mem::take(quoted) });
    }
}
