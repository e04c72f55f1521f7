//! Text → the lines that say anything, their comments apart.

/// A line with something in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line<'a> {
    /// Its number, from 1.
    pub number: usize,
    /// What stands before any `!`, without blanks at its ends.
    pub text: &'a str,
    /// What stands after the first `!`.
    pub comment: &'a str,
}

/// The lines that hold data, a keyword or a comment. A line ends in LF, CR LF or CR.
pub fn lines(text: &str) -> impl Iterator<Item = Line<'_>> {
    let mut rest = Some(text);
    let raw = std::iter::from_fn(move || {
        let now = rest?;
        let Some(end) = now.find(['\n', '\r']) else {
            rest = None;
            return Some(now);
        };
        let width = if now[end..].starts_with("\r\n") { 2 } else { 1 };
        rest = Some(&now[end + width..]);
        Some(&now[..end])
    });
    let split = |(at, raw): (usize, _)| {
        let (text, comment) = str::split_once(raw, '!').unwrap_or((raw, ""));
        Line { number: at + 1, text: text.trim(), comment: comment.trim() }
    };
    raw.enumerate().map(split).filter(|line| !line.text.is_empty() || !line.comment.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_end_of_line_ends_one_and_comments_stand_apart() {
        let read: Vec<_> = lines("! a\r1 2 3 ! b\r\n\n\t4 5 6\n").map(|l| (l.number, l.text, l.comment)).collect();
        assert_eq!(read, [(1, "", "a"), (2, "1 2 3", "b"), (4, "4 5 6", "")]);
    }
}
