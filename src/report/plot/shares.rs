//! Where the uncertainty of a difference comes from, set by set: parts of the whole, end to end.

use super::Look;
use super::marks::Mark;
use super::rows::{Row, Rows};
use crate::analysis::antennas::result::{SetResult, ShareOf};
use crate::report::grid::Grid;
use crate::report::number;
use crate::stats::mixed::Level;

const LEVELS: [(Level, &str); 4] = [
    (Level::Session, "sessions"),
    (Level::Visit, "visits"),
    (Level::Mounting, "mountings"),
    (Level::Reading, "readings"),
];

/// The share of a level's scatter.
fn of_level(s: &SetResult, level: Level) -> f64 {
    s.shares.iter().filter(|p| p.of == ShareOf::Scatter(level)).map(|p| p.share).sum()
}

fn of_sources(s: &SetResult) -> f64 {
    s.shares.iter().filter(|p| matches!(p.of, ShareOf::Source(_))).map(|p| p.share).sum()
}

/// One bar a set; `None` where no set has a share.
pub fn shares(sets: &[SetResult], look: Look) -> Option<Rows> {
    let row = |s: &SetResult| {
        let mut parts: Vec<(String, f64)> =
            LEVELS.iter().map(|(level, name)| (name.to_string(), 100.0 * of_level(s, *level))).collect();
        parts.push(("declared".into(), 100.0 * of_sources(s)));
        parts.retain(|p| p.1 > 0.0);
        Row { parts, ..Row::new(s.label(), String::new(), Mark::Full, None, None) }
    };
    let rows: Vec<Row> = sets.iter().filter(|s| !s.shares.is_empty()).map(row).collect();
    (!rows.is_empty()).then(|| Rows {
        title: "Where the uncertainty of a difference between two antennas comes from".into(),
        axis: "percent of its variance".into(),
        zero: None,
        zone: None,
        rows,
        key: vec![],
        look,
    })
}

/// The same in figures, with the largest declared source by name.
pub fn table(sets: &[SetResult]) -> Option<Grid> {
    let cell = |share: f64| if share > 0.0 { number::chance(share) } else { "·".into() };
    let row = |s: &SetResult| {
        let largest = s.shares.iter().find_map(|p| match &p.of {
            ShareOf::Source(name) => Some(format!("{name} ({})", number::chance(p.share))),
            ShareOf::Scatter(_) => None,
        });
        let mut row = vec![s.label()];
        row.extend(LEVELS.iter().map(|(level, _)| cell(of_level(s, *level))));
        row.extend([cell(of_sources(s)), largest.unwrap_or_default()]);
        row
    };
    let rows: Vec<Vec<String>> = sets.iter().filter(|s| !s.shares.is_empty()).map(row).collect();
    let header = ["set", "sessions", "visits", "mountings", "readings", "declared", "the largest declared"];
    let held =
        "A level that shows no scatter of its own, or is not told apart from another, has its share with the other.";
    (!rows.is_empty()).then(|| Grid::new("", &header, &[1, 2, 3, 4, 5], rows).noted([held.to_string()]))
}
