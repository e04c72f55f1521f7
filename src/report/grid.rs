//! A table as data: the same rows for the terminal, for the page and for Markdown.

use serde::Serialize;

use super::text::{table, wrap};

/// A table with its title and the notes below it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Grid {
    /// What it is a table of; empty where the text around it says so.
    pub title: String,
    /// Names of the columns.
    pub header: Vec<String>,
    /// Columns of numbers, flush right.
    pub right: Vec<usize>,
    /// Cells, a row at a time.
    pub rows: Vec<Vec<String>>,
    /// Sentences below it.
    pub notes: Vec<String>,
}

impl Grid {
    /// A table without notes.
    pub fn new(title: impl Into<String>, header: &[&str], right: &[usize], rows: Vec<Vec<String>>) -> Grid {
        let header = header.iter().map(ToString::to_string).collect();
        Grid { title: title.into(), header, right: right.to_vec(), rows, notes: vec![] }
    }

    /// The same with sentences below it.
    #[must_use]
    pub fn noted(self, notes: impl IntoIterator<Item = String>) -> Grid {
        Grid { notes: notes.into_iter().collect(), ..self }
    }

    /// For a terminal; lines of a note after its first begin with `hang`.
    pub fn text(&self, hang: &str) -> String {
        let mut out = vec![];
        if !self.title.is_empty() {
            out.push(self.title.clone());
        }
        let header: Vec<&str> = self.header.iter().map(String::as_str).collect();
        out.push(table(&header, &self.right, &self.rows));
        out.extend(self.notes.iter().map(|note| wrap(&format!("  {note}"), hang)));
        out.join("\n")
    }
}
