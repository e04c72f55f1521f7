//! A table built a row at a time, whose rows each belong to a set.

use polars::prelude::*;

/// Rows that each belong to a set, column by column.
pub struct Rows {
    sets: Vec<[String; 3]>,
    texts: Vec<(&'static str, Vec<Option<String>>)>,
    numbers: Vec<(&'static str, Vec<Option<f64>>)>,
}

impl Rows {
    /// No rows yet of those columns.
    pub fn new(texts: &[&'static str], numbers: &[&'static str]) -> Rows {
        Rows {
            sets: vec![],
            texts: texts.iter().map(|name| (*name, vec![])).collect(),
            numbers: numbers.iter().map(|name| (*name, vec![])).collect(),
        }
    }

    /// One row more.
    pub fn push(&mut self, set: [&str; 3], texts: &[Option<String>], numbers: &[Option<f64>]) {
        self.sets.push(set.map(String::from));
        self.texts.iter_mut().zip(texts).for_each(|((_, column), text)| column.push(text.clone()));
        self.numbers.iter_mut().zip(numbers).for_each(|((_, column), number)| column.push(*number));
    }

    /// The table.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected.
    pub fn table(self) -> PolarsResult<DataFrame> {
        let set = |k: usize| self.sets.iter().map(|s| s[k].clone()).collect::<Vec<_>>();
        let mut columns: Vec<Column> = ["quantity", "band", "meter"]
            .into_iter()
            .enumerate()
            .map(|(k, name)| Column::new(name.into(), set(k)))
            .collect();
        columns.extend(self.texts.into_iter().map(|(name, texts)| Column::new(name.into(), texts)));
        columns.extend(self.numbers.into_iter().map(|(name, numbers)| Column::new(name.into(), numbers)));
        DataFrame::new(self.sets.len(), columns)
    }
}
