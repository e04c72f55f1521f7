//! The summary as Markdown, to be pasted into a post: headlines, who can be first, claims, cautions.

use crate::analysis::whole::Whole;
use crate::report::grid::Grid;
use crate::report::{antennas_text, audit_text, claims_text, meters_text, sweeps_text};

use super::view::Run;

/// The summary. Ends with a newline.
pub fn render(whole: &Whole, run: &Run) -> String {
    let Whole { antennas, meters, claims, audit, .. } = whole;
    let mut out = vec![format!("# {}", escaped(&antennas.season))];
    out.push(escaped(&antennas_text::headline(antennas)));
    if let Some(overall) = antennas.overall.as_ref().filter(|o| o.weights.len() > 1) {
        out.push(escaped(&antennas_text::overall_words(overall)));
        if !overall.antennas.is_empty() {
            out.push(table(&antennas_text::overall_table(overall, antennas)));
        }
    }
    if antennas.sets.len() + antennas.ordinal.len() > 0 {
        out.push("## Set by set".into());
        out.push(table(&antennas_text::sets_table(antennas)));
        let meaning = "apart: the difference is real; even: shown to differ by less than what matters; noise: this log shows neither; unlinked: this log cannot compare them.";
        out.push(meaning.into());
    }
    if !whole.sweeps.is_empty() {
        out.push("## Sweeps".into());
    }
    for swept in &whole.sweeps {
        out.push(escaped(&format!("{}.", sweeps_text::title(swept))));
        out.push(table(&sweeps_text::table(swept)));
    }
    let of_meters: Vec<String> = meters.pairs.iter().flat_map(meters_text::headline).collect();
    if !of_meters.is_empty() {
        out.push("## Meters".into());
        out.extend(of_meters.iter().map(|w| escaped(w)));
    }
    if !claims.claims.is_empty() {
        out.push("## Makers' claims".into());
        out.push(escaped(&claims_text::headline(claims)));
        out.push(table(&claims_text::claims_table(claims)));
    }
    out.push("## The log itself".into());
    out.push(escaped(&audit_text::headline(audit)));
    out.extend(audit_text::most(audit).map(|w| escaped(&w)));
    if !antennas.next.is_empty() {
        out.push("## Measure next".into());
        out.push(antennas.next.iter().map(|n| format!("- {}", escaped(&n.words()))).collect::<Vec<_>>().join("\n"));
    }
    out.push("## How it was done".into());
    out.push(escaped(&antennas_text::method(antennas)));
    let files: Vec<String> = run.inputs.iter().map(|f| format!("- {} {}", f.sha256, escaped(&f.name))).collect();
    out.push(format!("daylight {}, `{}`. Files read, with their SHA-256:", run.version, run.command.replace('`', "'")));
    out.push(files.join("\n"));
    out.push("Transmit only where your licence allows it, keep the antenna clear of everyone, and never transmit into an analyzer. Local rules decide.".into());
    out.join("\n\n") + "\n"
}

/// A table in pipes.
fn table(grid: &Grid) -> String {
    let line = |cells: Vec<String>| format!("| {} |", cells.join(" | "));
    let mut out = vec![line(grid.header.iter().map(|h| escaped(h)).collect())];
    let rule = |i: usize| if grid.right.contains(&i) { "---:" } else { ":---" }.to_string();
    out.push(line((0..grid.header.len()).map(rule).collect()));
    out.extend(grid.rows.iter().map(|row| line(row.iter().map(|c| escaped(c)).collect())));
    let mut text = out.join("\n");
    for note in &grid.notes {
        text += &format!("\n\n{}", escaped(note));
    }
    text
}

/// Text whose marks are not taken for Markdown's or HTML's, on one line.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '~' => {
                out.push('\\');
                out.push(c);
            }
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_cannot_break_a_table_or_bear_a_tag() {
        let grid = Grid::new("", &["antenna", "n"], &[1], vec![vec!["<b>|x*\n".into(), "1".into()]]);
        assert_eq!(table(&grid), "| antenna | n |\n| :--- | ---: |\n| &lt;b&gt;\\|x\\*  | 1 |");
    }
}
