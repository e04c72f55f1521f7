//! The overall ranking, and what it costs: scores with their simultaneous intervals, by rank and by price.

use super::Look;
use super::marks::Mark;
use super::rows::{Row, Rows};
use crate::analysis::antennas::result::{Overall, OverallAntenna, Range, Worth};
use crate::analysis::next::list;
use crate::report::grid::Grid;
use crate::report::number;
use crate::report::set_text::rank_range;

const AXIS: &str = "score, in units of what matters: further right is better";

/// Scores by rank; `None` where nothing is ranked.
pub fn overall(overall: &Overall, look: Look) -> Option<Rows> {
    (overall.antennas.len() > 1).then(|| Rows {
        title: "Overall, by the season's weights".into(),
        axis: AXIS.into(),
        zero: Some("the average antenna".into()),
        zone: None,
        rows: overall
            .antennas
            .iter()
            .map(|a| row(a, a.antenna.clone(), format!("rank {}", rank_range(a.rank_low, a.rank_high)), first(a)))
            .collect(),
        key: vec![(Mark::Full, "can be first".into()), (Mark::Cross, "cannot".into())],
        look,
    })
}

fn first(a: &OverallAntenna) -> Mark {
    if a.rank_low == 1 { Mark::Full } else { Mark::Cross }
}

/// Scores by price, cheapest first; `None` where fewer than two antennas have a price.
pub fn worth(overall: &Overall, look: Look) -> Option<Rows> {
    let rows: Vec<Row> = overall
        .worth
        .iter()
        .filter_map(|w| {
            let a = overall.antennas.iter().find(|a| a.antenna == w.antenna)?;
            let mark = if w.beaten_by.is_empty() { Mark::Full } else { Mark::Cross };
            Some(row(a, format!("{}, {}", w.antenna, price(w.price)), said(w), mark))
        })
        .collect();
    (!rows.is_empty()).then(|| Rows {
        title: "Value for money: score by price, cheapest first".into(),
        axis: AXIS.into(),
        zero: Some("the average antenna".into()),
        zone: None,
        rows,
        key: vec![
            (Mark::Full, "nothing as cheap is shown to be better".into()),
            (Mark::Cross, "something no dearer is".into()),
        ],
        look,
    })
}

/// Prices, scores, and what is said of each, cheapest first.
pub fn table(overall: &Overall) -> Grid {
    let rows = overall
        .worth
        .iter()
        .filter_map(|w| {
            let a = overall.antennas.iter().find(|a| a.antenna == w.antenna)?;
            let score = number::plus_minus(a.score, (a.high - a.low) / 2.0);
            Some(vec![w.antenna.clone(), price(w.price), score, number::share(w.unbeaten), verdict(w)])
        })
        .collect();
    let note = "\"unbeaten\": the share of replays in which no antenna that costs as much or less has a higher score. \"shown\" means apart, as in the overall ranking.";
    Grid::new("", &["antenna", "price", "score", "unbeaten", "for the money"], &[1, 3], rows).noted([note.to_string()])
}

fn said(w: &Worth) -> String {
    match w.beaten_by.len() {
        0 => format!("unbeaten in {}", number::share(w.unbeaten)),
        1 => "beaten".into(),
        n => format!("beaten by {n}"),
    }
}

/// A price as one writes it.
pub fn price(price: f64) -> String {
    format!("{price:.2}")
}

/// What is said of an antenna's price in a sentence's part.
pub fn verdict(w: &Worth) -> String {
    const SHOWN: usize = 3;
    let names = |of: &[String]| match of.len() {
        0..=SHOWN => list(&of.iter().map(String::as_str).collect::<Vec<_>>()),
        n => format!("{} and {} more", of[..SHOWN].join(", "), n - SHOWN),
    };
    match (&w.beaten_by[..], &w.better_for_more[..]) {
        ([], []) => "nothing, at any price, is shown to be better".into(),
        ([], dearer) => format!("nothing as cheap is shown to be better; for more money: {}", names(dearer)),
        (beaten, _) => format!("shown to be better and no dearer: {}", names(beaten)),
    }
}

fn row(a: &OverallAntenna, label: String, said: String, mark: Mark) -> Row {
    Row::new(label, said, mark, Some(a.score), Some(Range { low: a.low, high: a.high }))
}
