//! Plain text for a terminal: wrapped paragraphs and aligned tables, eighty columns wide.

use comfy_table::{CellAlignment, ContentArrangement, Table, TableComponent};

/// Widest line that is written.
pub const WIDTH: usize = 80;

/// Wraps a paragraph; lines after the first begin with `indent`.
pub fn wrap(text: &str, indent: &str) -> String {
    let mut lines: Vec<String> = vec![];
    let mut line = String::new();
    for word in text.split_whitespace() {
        let start = if lines.is_empty() { "" } else { indent };
        if line.is_empty() {
            line = format!("{start}{word}");
        } else if line.chars().count() + 1 + word.chars().count() <= WIDTH {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(std::mem::take(&mut line));
            line = format!("{indent}{word}");
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines.join("\n")
}

/// A table: columns named in `header`, those in `right` flush right; indented by two.
pub fn table(header: &[&str], right: &[usize], rows: &[Vec<String>]) -> String {
    let mut table = Table::new();
    table.load_preset(comfy_table::presets::NOTHING).set_content_arrangement(ContentArrangement::Disabled);
    table.set_style(TableComponent::HeaderLines, '─');
    table.set_style(TableComponent::MiddleHeaderIntersections, ' ');
    table.set_header(header.to_vec());
    for row in rows {
        table.add_row(row.clone());
    }
    for (i, column) in table.column_iter_mut().enumerate() {
        column.set_padding((if i == 0 { 2 } else { 1 }, 1));
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
        let text = "heron ".repeat(60);
        let wrapped = wrap(&text, "  ");
        assert!(wrapped.lines().all(|l| l.chars().count() <= WIDTH));
        assert_eq!(wrapped.split_whitespace().count(), 60);
        assert!(wrapped.lines().nth(1).unwrap().starts_with("  heron"));
    }
}
