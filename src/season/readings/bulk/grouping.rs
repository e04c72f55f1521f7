//! Names and mountings by number: what grouping a large log takes longest over.

use polars::prelude::{InitHashMaps, PlHashMap, StringChunked};

/// Columns of names that, with the mounting, tell the readings of one mounting and unit: session, antenna, band,
/// meter, quantity, unit.
pub const NAMED: usize = 6;

/// Groups remembered as met lately.
const LATELY: usize = 256;
/// Different cells of one column remembered as met lately.
const LATELY_CELLS: usize = 64;

/// The number of an empty name, in every column.
pub const NO_NAME: u32 = 0;

/// The names of one column, each by the number of its first appearance; an empty one is [`NO_NAME`].
pub struct Names {
    known: PlHashMap<Box<str>, u32>,
    list: Vec<Box<str>>,
    last: u32,
}

impl Default for Names {
    fn default() -> Self {
        Names { known: PlHashMap::from_iter([("".into(), NO_NAME)]), list: vec!["".into()], last: NO_NAME }
    }
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

    /// The numbers of a column's cells, trimmed; one without a name is empty.
    pub fn numbers(&mut self, cells: &StringChunked) -> Vec<u32> {
        if cells.null_count() > 0 {
            return cells.iter().map(|cell| self.number(cell.unwrap_or("").trim())).collect();
        }
        let mut out = Vec::with_capacity(cells.len());
        for cells in cells.downcast_iter() {
            // cells of one text that a file keeps once are equal without a look at the text
            let mut lately = [None; LATELY_CELLS];
            let mut last = None;
            for (at, view) in cells.views().iter().enumerate() {
                let same = (view.length, view.prefix, view.buffer_idx, view.offset);
                if let Some((known, number)) = last
                    && known == same
                {
                    out.push(number);
                    continue;
                }
                let mixed = (same.0 ^ same.1 ^ same.2.rotate_left(11) ^ same.3).wrapping_mul(0x9e37_79b9);
                let place = &mut lately[(mixed >> 16) as usize % LATELY_CELLS];
                let number = match place {
                    Some((known, number)) if *known == same => *number,
                    _ => {
                        let number = self.number(cells.value(at).trim());
                        *place = Some((same, number));
                        number
                    }
                };
                last = Some((same, number));
                out.push(number);
            }
        }
        out
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
    /// Groups met lately, each at its place by [`place`]: a bench goes round the same few.
    lately: Vec<Option<(Key, u32)>>,
    count: u32,
}

impl Default for Groups {
    fn default() -> Self {
        Groups { known: PlHashMap::new(), lately: vec![None; LATELY], count: 0 }
    }
}

/// Where a group is remembered.
fn place((names, mounting): &Key) -> usize {
    let mixed = names.chunks_exact(2).fold(mounting.unwrap_or(-1) as u64, |mixed, two| {
        let both = u64::from(two[0]) << 32 | u64::from(two[1]);
        (mixed.rotate_left(23) ^ both).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    });
    // a product's highest bits depend on all bits of its factors
    (mixed >> 56) as usize % LATELY
}

impl Groups {
    /// A group's number, and whether it is new.
    pub fn number(&mut self, key: Key) -> (u32, bool) {
        let lately = &mut self.lately[place(&key)];
        if let Some((known, number)) = lately
            && *known == key
        {
            return (*number, false);
        }
        let next = self.count;
        let number = *self.known.entry(key).or_insert(next);
        self.count += u32::from(number == next);
        *lately = Some((key, number));
        (number, number == next)
    }

    /// A group of its own, that nothing joins.
    pub fn lone(&mut self) -> u32 {
        self.count += 1;
        self.count - 1
    }
}
