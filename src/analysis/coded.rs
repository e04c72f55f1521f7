//! Columns of names as numbers, so that a large log is grouped by whole numbers and no name is hashed twice.

use std::collections::HashMap;

use polars::prelude::*;
use rayon::prelude::*;

/// A map with a quick hash, the same in every run. For keys of our own making: nobody who writes a log gains by making
/// them collide.
pub type QuickMap<K, V> = HashMap<K, V, foldhash::fast::FixedState>;

/// The distinct names of a column, and the place of each row's among them.
#[derive(Debug, Clone, Default)]
pub struct Coded {
    /// The names, in order of first appearance.
    pub names: Vec<String>,
    /// One place a row.
    pub of_row: Vec<usize>,
}

impl Coded {
    /// Numbers a text column; an absent text is the empty one.
    ///
    /// # Errors
    /// There is no such column, or it holds no text.
    pub fn of(frame: &DataFrame, column: &str) -> PolarsResult<Coded> {
        let texts = frame.column(column)?.str()?;
        let mut known: QuickMap<&str, usize> = QuickMap::default();
        let mut names: Vec<String> = vec![];
        let mut of_row = Vec::with_capacity(texts.len());
        // names come in runs
        let mut last: Option<(&str, usize)> = None;
        for text in texts.iter() {
            let text = text.unwrap_or("");
            let place = match last {
                Some((name, place)) if name == text => place,
                _ => *known.entry(text).or_insert_with(|| {
                    names.push(text.to_string());
                    names.len() - 1
                }),
            };
            last = Some((text, place));
            of_row.push(place);
        }
        Ok(Coded { names, of_row })
    }

    /// Several columns, side by side.
    ///
    /// # Errors
    /// As [`Coded::of`].
    pub fn all<const N: usize>(frame: &DataFrame, columns: [&str; N]) -> PolarsResult<[Coded; N]> {
        let coded: Vec<Coded> = columns.par_iter().map(|c| Coded::of(frame, c)).collect::<PolarsResult<_>>()?;
        let mut coded = coded.into_iter();
        Ok(std::array::from_fn(|_| coded.next().unwrap_or_default()))
    }

    /// The same with the names in another order: `order` holds their numbers so far.
    pub fn renumbered(self, order: &[usize]) -> Coded {
        let mut place = vec![0; order.len()];
        order.iter().enumerate().for_each(|(new, &old)| place[old] = new);
        let names = order.iter().map(|&old| self.names[old].clone()).collect();
        Coded { names, of_row: self.of_row.into_iter().map(|old| place[old]).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_numbered_as_they_come_and_renumbered_in_order() {
        let frame = df!("band" => [Some("b"), Some("b"), None, Some("a"), Some("b")]).expect("a frame");
        let coded = Coded::of(&frame, "band").expect("text");
        assert_eq!(coded.names, ["b", "", "a"]);
        assert_eq!(coded.of_row, [0, 0, 1, 2, 0]);
        let sorted = coded.renumbered(&[1, 2, 0]);
        assert_eq!(sorted.names, ["", "a", "b"]);
        assert_eq!(sorted.of_row, [2, 2, 0, 1, 2]);
    }
}
