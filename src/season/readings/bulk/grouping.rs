//! Names and mountings by number: what grouping a large log takes longest over.

use polars::prelude::{InitHashMaps, PlHashMap};

/// Columns of names that, with the mounting, tell the readings of one mounting and unit: session, antenna, band,
/// meter, quantity, unit.
pub const NAMED: usize = 6;

/// The names of one column, each by the number of its first appearance.
#[derive(Default)]
pub struct Names {
    known: PlHashMap<Box<str>, u32>,
    list: Vec<Box<str>>,
    last: u32,
}

impl Names {
    /// A name's number. A log repeats itself: the last name is tried first.
    pub fn number(&mut self, name: &str) -> u32 {
        if self.list.get(self.last as usize).is_some_and(|last| **last == *name) {
            return self.last;
        }
        self.last = match self.known.get(name) {
            Some(&number) => number,
            None => {
                let number = self.list.len() as u32;
                self.known.insert(name.into(), number);
                self.list.push(name.into());
                number
            }
        };
        self.last
    }

    /// The name of a number.
    pub fn name(&self, number: u32) -> &str {
        self.list.get(number as usize).map_or("", |name| name)
    }

    /// All names, by number.
    pub fn list(&self) -> &[Box<str>] {
        &self.list
    }
}

/// What tells one group of readings from others: the numbers of its names, and its mounting's, where it has one.
pub type Key = ([u32; NAMED], Option<i64>);

/// Groups by their number, in order of first appearance.
pub struct Groups {
    known: PlHashMap<Key, u32>,
    last: Option<(Key, u32)>,
    count: u32,
}

impl Default for Groups {
    fn default() -> Self {
        Groups { known: PlHashMap::new(), last: None, count: 0 }
    }
}

impl Groups {
    /// A group's number, and whether it is new.
    pub fn number(&mut self, key: Key) -> (u32, bool) {
        if let Some((last, number)) = self.last
            && last == key
        {
            return (number, false);
        }
        let next = self.count;
        let number = *self.known.entry(key).or_insert(next);
        self.count += u32::from(number == next);
        self.last = Some((key, number));
        (number, number == next)
    }

    /// A group of its own, that nothing joins.
    pub fn lone(&mut self) -> u32 {
        self.count += 1;
        self.count - 1
    }
}
