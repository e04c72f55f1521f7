//! A typed line, split into words.

/// A word of a line; a quoted one stands for itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Its text.
    pub text: String,
    /// Whether it was quoted.
    pub quoted: bool,
}

/// Splits a line at blanks, quotes keeping them, and its note off at the first `;`. `None` where a quote is left open.
pub fn words(line: &str) -> Option<(Vec<Word>, Option<String>)> {
    let (mut words, mut text, mut quoted, mut open) = (vec![], String::new(), false, false);
    let mut chars = line.chars();
    while let Some(c) = chars.next() {
        match c {
            '"' => (open, quoted) = (!open, true),
            ';' if !open => {
                push(&mut words, &mut text, &mut quoted);
                return Some((words, Some(chars.as_str().trim().to_string())));
            }
            c if c.is_whitespace() && !open => push(&mut words, &mut text, &mut quoted),
            c => text.push(c),
        }
    }
    if open {
        return None;
    }
    push(&mut words, &mut text, &mut quoted);
    Some((words, None))
}

fn push(words: &mut Vec<Word>, text: &mut String, quoted: &mut bool) {
    if !text.is_empty() || *quoted {
        words.push(Word { text: std::mem::take(text), quoted: std::mem::take(quoted) });
    }
}
