//! Plain text for a terminal: wrapped paragraphs and aligned tables, eighty columns wide, or as many as there are.

use std::sync::atomic::{AtomicUsize, Ordering};

use crate::analysis::looks::Look;
use crate::analysis::next::Step;
use comfy_table::{CellAlignment, ContentArrangement, Table, TableComponent};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Widest line that is written where nothing is known of the terminal, and the narrowest widest line there is.
pub const WIDTH: usize = 80;

/// Beyond this a paragraph is hard to read.
const WIDEST: usize = 120;

static COLUMNS: AtomicUsize = AtomicUsize::new(WIDTH);

/// Makes lines as wide as a terminal of so many columns bears, from now on and for the whole program.
pub fn fit(columns: usize) {
    COLUMNS.store(columns.clamp(WIDTH, WIDEST), Ordering::Relaxed);
}

/// Widest line that is written.
pub fn columns() -> usize {
    COLUMNS.load(Ordering::Relaxed)
}

/// Wraps a paragraph, keeping its own leading blanks; lines after the first begin with `indent`.
pub fn wrap(text: &str, indent: &str) -> String {
    wrap_to(text, indent, columns())
}

/// The same, to lines of at most `width`.
pub fn wrap_to(text: &str, indent: &str, width: usize) -> String {
    let text = printable(text);
    let lead: String = text.chars().take_while(|c| *c == ' ').collect();
    let mut lines: Vec<String> = vec![];
    let mut line = lead;
    let mut empty = true;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        if !empty && line.width() + 1 + word.width() > width {
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

/// Which look this is and what it may spend, as a sentence with a blank before it; nothing where none are planned.
/// `of` says of what: "in each set".
pub fn look_words(look: Option<&Look>, of: &str) -> String {
    let Some(look) = look else { return String::new() };
    let (number, planned) = (look.number, look.planned);
    let percent = |x: f64| format!("{} %", super::number::to_digit(x * 100.0, if x < 0.01 { 0.01 } else { 0.1 }));
    if look.overrun() {
        return format!(
            " This is look {number}, and {planned} were planned: with it the chance of any false verdict{of} has grown to {}, more than the {} it was to be held to.",
            percent(look.spent),
            percent(look.of)
        );
    }
    format!(
        " This is look {number} of {planned} (a session each), held to {} by itself, so that over all {planned} the chance of any false verdict{of} stays within {}, if every look so far was held to this plan.",
        percent(look.level),
        percent(look.of)
    )
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

/// A text no wider than that; what is cut is marked.
fn clipped(text: &str, most: usize) -> String {
    if text.width() <= most {
        return text.to_string();
    }
    let mut out = String::new();
    let mut used = 1; // the mark
    for c in text.chars() {
        used += c.width().unwrap_or(0);
        if used > most {
            break;
        }
        out.push(c);
    }
    out + "…"
}

/// A table: columns named in `header`, those in `right` flush right; indented by two. Names are cut to 36 columns, and
/// shorter where the table would else be wider than a line; numbers and ranges never are.
pub fn table(header: &[&str], right: &[usize], rows: &[Vec<String>]) -> String {
    const NAME: usize = 36;
    const LEAST: usize = 12;
    let mut rows: Vec<Vec<String>> =
        rows.iter().map(|row| row.iter().map(|cell| clipped(&printable(cell), NAME)).collect()).collect();
    let widths = |rows: &[Vec<String>]| -> Vec<usize> {
        let widest = |i: usize| rows.iter().filter_map(|r| r.get(i)).map(|c| c.width()).max().unwrap_or(0);
        header.iter().enumerate().map(|(i, name)| name.width().max(widest(i))).collect()
    };
    let is_name = |rows: &[Vec<String>], i: usize| {
        !right.contains(&i) && !rows.iter().filter_map(|r| r.get(i)).any(|c| c.contains(" … ") || c.contains('±'))
    };
    loop {
        let wide = widths(&rows);
        let over = (wide.iter().sum::<usize>() + 2 * wide.len()).saturating_sub(columns());
        let names = (0..header.len()).filter(|&i| is_name(&rows, i) && wide[i] > LEAST.max(header[i].width()));
        let Some(i) = names.max_by_key(|&i| wide[i]).filter(|_| over > 0) else { break };
        let most = wide[i].saturating_sub(over.min(4)).max(LEAST.max(header[i].width()));
        rows.iter_mut().filter_map(|r| r.get_mut(i)).for_each(|cell| *cell = clipped(cell, most));
    }
    let mut table = Table::new();
    table.load_preset(comfy_table::presets::NOTHING).set_content_arrangement(ContentArrangement::Disabled);
    table.set_style(TableComponent::HeaderLines, '─');
    table.set_header(header.to_vec());
    for row in rows {
        table.add_row(row);
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
        let wide = wrap(&"山山山 ".repeat(40), "");
        assert!(wide.lines().all(|l| l.width() <= WIDTH), "a wide letter takes two columns");
    }

    #[test]
    fn names_give_way_where_a_table_is_too_wide_and_figures_never_do() {
        let row = |name: &str| vec![name.repeat(30), name.repeat(30), "1.20 … 1.40".to_string(), "12345678".into()];
        let text = table(&["antenna", "other", "range", "n"], &[3], &[row("ab"), row("山")]);
        assert!(text.lines().all(|l| l.width() <= WIDTH), "{text}");
        assert_eq!(text.matches("1.20 … 1.40").count(), 2);
        assert_eq!(text.matches("12345678").count(), 2);
        assert!(text.contains("ab…") || text.contains("aba…"), "{text}");
    }
}
