//! Where the end of a sheet stands: in a row, in a quoted cell, or after a line end. A scanner that is fed the
//! sheet from its start and can go on where it stopped.

use crate::season::readings::marks::FILL;

/// The end of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tail {
    delimiter: u8,
    /// Line ends so far.
    lines: usize,
    /// Cells of the record that the end stands in; 0 right after a line end.
    cells: usize,
    at: At,
    after_return: bool,
    /// Whether that record is nothing but fill.
    fill: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum At {
    CellStart,
    Plain,
    Quoted,
    QuoteInQuoted,
}

/// What an unfinished last row needs before another can follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Repair {
    /// It is whole; only its line end is missing.
    LineEnd,
    /// It was cut short, perhaps inside a quoted cell: it is to be closed and marked.
    Torn {
        /// Whether a quote is open.
        quote: bool,
    },
}

impl Tail {
    /// The end of an empty sheet.
    pub fn new(delimiter: u8) -> Tail {
        Tail { delimiter, lines: 0, cells: 0, at: At::CellStart, after_return: false, fill: true }
    }

    /// Goes on over more of the sheet.
    pub fn feed(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            let quoted = self.at == At::Quoted;
            if byte == b'\n' && self.after_return {
                // the second half of one line end
                self.after_return = false;
                continue;
            }
            self.after_return = byte == b'\r';
            let line_end = byte == b'\n' || byte == b'\r';
            self.lines += usize::from(line_end);
            if line_end && !quoted {
                (self.cells, self.at, self.fill) = (0, At::CellStart, true);
                continue;
            }
            self.cells = self.cells.max(1);
            self.fill &= byte == FILL as u8;
            self.at = match (self.at, byte) {
                (At::CellStart, b'"') | (At::QuoteInQuoted, b'"') => At::Quoted,
                (At::Quoted, b'"') => At::QuoteInQuoted,
                (At::Quoted, _) => At::Quoted,
                (_, byte) if byte == self.delimiter => {
                    self.cells += 1;
                    At::CellStart
                }
                _ => At::Plain,
            };
        }
    }

    /// The line that the next byte falls on, from 1.
    pub fn line(&self) -> usize {
        self.lines + 1
    }

    /// What the last row needs, if it is unfinished, in a sheet of so many columns: what is to follow it, without
    /// a line end.
    pub fn repair(&self, width: usize) -> Option<Repair> {
        let open = self.at == At::Quoted;
        match self.cells {
            0 => None,
            cells if cells >= width && !open && !self.fill => Some(Repair::LineEnd),
            _ => Some(Repair::Torn { quote: open }),
        }
    }
}

impl Repair {
    /// What is to follow the row, without a line end.
    pub fn text(&self) -> String {
        match self {
            Repair::LineEnd => String::new(),
            Repair::Torn { quote } => format!("{} {FILL}torn{FILL}", if *quote { "\"" } else { "" }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn repaired(width: usize, text: &str) -> Option<Repair> {
        let mut tail = Tail::new(b',');
        // in two halves, as it comes
        let half = text.len() / 2;
        tail.feed(&text.as_bytes()[..half]);
        tail.feed(&text.as_bytes()[half..]);
        tail.repair(width)
    }

    #[test]
    fn a_finished_sheet_needs_nothing_and_a_whole_last_row_its_line_end() {
        assert_eq!(repaired(3, "a,b,mark\n1,2,\n"), None);
        assert_eq!(repaired(3, "a,b,mark\r\n1,2,\r\n"), None);
        assert_eq!(repaired(2, "a,b\n1,2"), Some(Repair::LineEnd));
        assert_eq!(repaired(2, "a,b\n1,\"2,\n3\""), Some(Repair::LineEnd));
    }

    #[test]
    fn a_row_cut_short_is_closed_and_marked() {
        for (text, quote) in [("1", false), ("1,2", false), ("1,\"2,\n3", true), ("1,2,\"3", true), ("~~~", false)] {
            assert_eq!(repaired(3, &format!("a,b,c\n{text}")), Some(Repair::Torn { quote }), "{text}");
        }
        assert_eq!(Repair::Torn { quote: true }.text(), "\" ~torn~");
        assert_eq!(repaired(1, "a\n~~~"), Some(Repair::Torn { quote: false }));
    }

    #[test]
    fn lines_are_counted_as_the_reader_counts_them() {
        let mut tail = Tail::new(b',');
        tail.feed(b"a,b\r");
        tail.feed(b"\n1,2\n\"x\ny\",2\n");
        assert_eq!(tail.line(), 5);
    }
}
