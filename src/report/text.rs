//! Plain text for a terminal: wrapped paragraphs and aligned tables, eighty columns wide.

use crate::analysis::next::Step;
use comfy_table::{CellAlignment, ContentArrangement, Table, TableComponent};

/// Widest line that is written.
pub const WIDTH: usize = 80;

/// Wraps a paragraph, keeping its own leading blanks; lines after the first begin with `indent`.
pub fn wrap(text: &str, indent: &str) -> String {
    wrap_to(text, indent, WIDTH)
}

/// The same, to lines of at most `width`.
pub fn wrap_to(text: &str, indent: &str, width: usize) -> String {
    let text = printable(text);
    let lead: String = text.chars().take_while(|c| *c == ' ').collect();
    let mut lines: Vec<String> = vec![];
    let mut line = lead;
    let mut empty = true;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        if !empty && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(std::mem::replace(&mut line, indent.to_string()));
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push(line);
    lines.join("\n")
}

/// What holds for want of a `season.toml`, as a list and an empty line; nothing where there is nothing to say.
pub fn assumptions(lines: &[String]) -> Vec<String> {
    let Some((first, rest)) = lines.split_first() else { return vec![] };
    let rest = rest.iter().map(|line| wrap(&format!("  - {line}"), "    "));
    std::iter::once(wrap(&sentence(first), "")).chain(rest).chain([String::new()]).collect()
}

/// What to do next under a heading, a paragraph a step and an empty line; nothing where nothing is left to do.
pub fn next(heading: &str, steps: &[Step]) -> Vec<String> {
    let mut out: Vec<String> = steps
        .iter()
        .enumerate()
        .map(|(i, s)| wrap(&format!("{}{}", if i == 0 { heading } else { "  Or: " }, s.words()), "  "))
        .collect();
    if !out.is_empty() {
        out.push(String::new());
    }
    out
}

/// With a capital.
pub fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

/// A name as it can be printed: control characters, which could break a line or drive the terminal,
/// become a visible mark.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// A cell no wider than a table can bear; what is cut is marked.
fn clipped(text: &str) -> String {
    const WIDEST: usize = 36;
    if text.chars().count() <= WIDEST {
        return text.to_string();
    }
    text.chars().take(WIDEST - 1).chain(['…']).collect()
}

/// A table: columns named in `header`, those in `right` flush right; indented by two.
pub fn table(header: &[&str], right: &[usize], rows: &[Vec<String>]) -> String {
    let mut table = Table::new();
    table.load_preset(comfy_table::presets::NOTHING).set_content_arrangement(ContentArrangement::Disabled);
    table.set_style(TableComponent::HeaderLines, '─');
    table.set_header(header.to_vec());
    for row in rows {
        table.add_row(row.iter().map(|cell| clipped(&printable(cell))));
    }
    let last = header.len() - 1;
    for (i, column) in table.column_iter_mut().enumerate() {
        column.set_padding((if i == 0 { 2 } else { 0 }, if i == last { 0 } else { 2 }));
        if right.contains(&i) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    table.lines().map(|l| l.trim_end().to_string()).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_wrapped_line_is_wider_than_the_screen_and_no_word_is_lost() {
        let text = format!("   {}", "heron ".repeat(60));
        let wrapped = wrap(&text, "  ");
        assert!(wrapped.starts_with("   heron heron"));
        assert!(wrapped.lines().all(|l| l.chars().count() <= WIDTH));
        assert_eq!(wrapped.split_whitespace().count(), 60);
        assert!(wrapped.lines().nth(1).unwrap().starts_with("  heron"));
    }
}
