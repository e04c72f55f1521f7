//! Every pair of a set in one square: a sign and a word a cell.

use serde::Serialize;

use crate::analysis::antennas::result::{PairResult, SetResult, Verdict};
use crate::radio::quantity::Better;

/// The square.
#[derive(Debug, Clone, Serialize)]
pub struct Matrix {
    /// Antennas, best first.
    pub names: Vec<String>,
    /// A row an antenna: its cells, column by column.
    pub rows: Vec<Vec<Cell>>,
    /// The signs that occur, with what they mean.
    pub key: Vec<Cell>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Cell {
    /// A sign.
    pub sign: &'static str,
    /// The word for it, of the row's antenna against the column's.
    pub word: &'static str,
    /// The name of its look.
    pub class: &'static str,
}

const fn cell(sign: &'static str, word: &'static str, class: &'static str) -> Cell {
    Cell { sign, word, class }
}

const ALL: [Cell; 11] = [
    cell("▲", "better: apart", "better"),
    cell("△", "better: apart, too little to matter", "little"),
    cell("▼", "worse: apart", "worse"),
    cell("▽", "worse: apart, too little to matter", "little"),
    cell("▸", "higher: apart", "better"),
    cell("▹", "higher: apart, too little to matter", "little"),
    cell("◂", "lower: apart", "worse"),
    cell("◃", "lower: apart, too little to matter", "little"),
    cell("=", "even", "even"),
    cell("~", "inside the noise", "noise"),
    cell("?", "unlinked: this log cannot compare them", "unlinked"),
];

impl Matrix {
    /// Of a set with two antennas or more.
    pub fn new(s: &SetResult) -> Option<Matrix> {
        if s.antennas.len() < 2 {
            return None;
        }
        let mut order: Vec<usize> = (0..s.antennas.len()).collect();
        order.sort_by_key(|&a| s.antennas[a].rank);
        let of = |row: usize, column: usize| {
            let (first, second) = (row.min(column), row.max(column));
            match s.pairs.iter().find(|p| (p.first, p.second) == (first, second)) {
                Some(p) => told(s, p, row),
                None => cell("", "", "self"),
            }
        };
        let rows: Vec<Vec<Cell>> =
            order.iter().map(|&row| order.iter().map(|&column| of(row, column)).collect()).collect();
        let seen = |c: &Cell| rows.iter().flatten().any(|x| x == c);
        let key = ALL.into_iter().filter(seen).collect();
        Some(Matrix { names: order.iter().map(|&a| s.antennas[a].antenna.clone()).collect(), rows, key })
    }
}

/// What is said of a pair with `row` as its first.
fn told(s: &SetResult, p: &PairResult, row: usize) -> Cell {
    let difference = if p.first == row { p.difference } else { -p.difference };
    let [full, little] = match s.quantity.better_on_scale() {
        Better::Neither if difference > 0.0 => [4, 5],
        Better::Neither => [6, 7],
        Better::Higher if difference > 0.0 => [0, 1],
        Better::Lower if difference < 0.0 => [0, 1],
        _ => [2, 3],
    };
    let place = match (p.verdict, p.matters) {
        (Verdict::Apart, Some(false)) => little,
        (Verdict::Apart, _) => full,
        (Verdict::Even, _) => 8,
        (Verdict::Noise, _) => 9,
        (Verdict::Unlinked, _) => 10,
    };
    ALL[place].clone()
}
