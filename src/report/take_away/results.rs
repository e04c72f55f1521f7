//! What `antennas` answers, as tables.

use polars::prelude::*;

use super::rows::Rows;
use crate::analysis::antennas::result::{Antennas, Verdict};
use crate::analysis::antennas::shown;
use crate::stats::mixed::LevelState;

/// Every antenna of every set.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn antennas(answer: &Antennas) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(
        &["antenna", "scale", "unit", "relative_to"],
        &[
            "estimate",
            "standard_uncertainty",
            "low",
            "high",
            "shown",
            "shown_low",
            "shown_high",
            "visits",
            "mountings",
            "readings",
            "rank",
            "rank_low",
            "rank_high",
            "probability_best",
        ],
    );
    for set in &answer.sets {
        let quantity = &set.quantity;
        for a in &set.antennas {
            let shown = a.range.map(|r| shown::range(quantity.scale, r));
            let whole = |n: usize| Some(n as f64);
            rows.push(
                [&quantity.name, &set.band, &set.meter],
                &[
                    Some(a.antenna.clone()),
                    Some(quantity.scale.name(&quantity.unit)),
                    Some(quantity.unit.clone()),
                    set.relative_to.clone(),
                ],
                &[
                    Some(a.estimate),
                    a.standard_uncertainty,
                    a.range.map(|r| r.low),
                    a.range.map(|r| r.high),
                    Some(quantity.scale.to_shown(a.estimate)),
                    shown.map(|r| r.low),
                    shown.map(|r| r.high),
                    whole(a.visits),
                    whole(a.mountings),
                    Some(a.readings),
                    a.rank.and_then(whole),
                    a.rank_range.and_then(|r| whole(r.0)),
                    a.rank_range.and_then(|r| whole(r.1)),
                    a.rank_probabilities.first().copied(),
                ],
            );
        }
    }
    rows.table()
}

/// Every pair of every set.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn pairs(answer: &Antennas) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(
        &["first", "second", "verdict", "scale"],
        &[
            "difference",
            "standard_error",
            "df",
            "low",
            "high",
            "p_adjusted",
            "share_declared",
            "probability_first_better",
        ],
    );
    let verdict = |verdict: Verdict, matters: Option<bool>| {
        Some(match (verdict, matters) {
            (Verdict::Apart, Some(false)) => "apart, too little to matter".to_string(),
            (Verdict::Apart, _) => "apart".to_string(),
            (Verdict::Noise, _) => "inside the noise".to_string(),
            (Verdict::Even, _) => "even".to_string(),
            (Verdict::Unlinked, _) => "unlinked".to_string(),
        })
    };
    for set in &answer.sets {
        let name = |i: usize| Some(set.antennas[i].antenna.clone());
        for p in &set.pairs {
            rows.push(
                [&set.quantity.name, &set.band, &set.meter],
                &[
                    name(p.first),
                    name(p.second),
                    verdict(p.verdict, p.matters),
                    Some(set.quantity.scale.name(&set.quantity.unit)),
                ],
                &[
                    Some(p.difference),
                    p.standard_error,
                    p.df.filter(|df| df.is_finite()),
                    p.range.map(|r| r.low),
                    p.range.map(|r| r.high),
                    p.p_adjusted,
                    p.share_declared,
                    None,
                ],
            );
        }
    }
    for set in &answer.ordinal {
        let name = |i: usize| Some(set.antennas[i].antenna.clone());
        for p in &set.pairs {
            rows.push(
                [&set.quantity.name, &set.band, &set.meter],
                &[name(p.first), name(p.second), verdict(p.verdict, None), Some(set.quantity.unit.clone())],
                &[None, None, None, None, None, p.p_adjusted, None, p.probability],
            );
        }
    }
    rows.table()
}

/// What each level of each set scatters by.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn components(answer: &Antennas) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(&["level", "from", "scale"], &["sd", "df"]);
    for set in &answer.sets {
        for c in &set.components {
            let from = if c.declared {
                "declared"
            } else if c.state == LevelState::Seen {
                "data"
            } else {
                "merged"
            };
            rows.push(
                [&set.quantity.name, &set.band, &set.meter],
                &[Some(c.level.name().into()), Some(from.into()), Some(set.quantity.scale.name(&set.quantity.unit))],
                &[c.sd, c.df],
            );
        }
    }
    rows.table()
}
