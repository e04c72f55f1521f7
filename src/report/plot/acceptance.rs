//! Claims on one quantity: each result with its range, the limit claimed, and the results that would count as met.

use super::Look;
use super::marks::Mark;
use super::rows::{Row, Rows};
use crate::analysis::antennas::result::Range;
use crate::analysis::antennas::shown;
use crate::analysis::claims::result::{Claim, Claims, Verdict};
use crate::report::claims_text::word;
use crate::report::claims_words::{claim_words, quantity_word, unit_word};

/// One plot for every quantity that some claim with a result is made on, in the order of the claims, with its name.
pub fn acceptance(claims: &Claims, look: Look) -> Vec<(String, Rows)> {
    let mut quantities: Vec<&str> = vec![];
    let judged = || claims.claims.iter().filter(|c| c.best().is_some());
    for claim in judged() {
        if !quantities.contains(&claim.quantity.name.as_str()) {
            quantities.push(&claim.quantity.name);
        }
    }
    let plot = |name: &&str| {
        let of: Vec<&Claim> = judged().filter(|c| c.quantity.name == *name).collect();
        let first = of.first()?;
        let unit = unit_word(first);
        let quantity = quantity_word(first);
        let axis = if unit.is_empty() { quantity.clone() } else { format!("{quantity},{unit}") };
        let any = |v: Verdict| of.iter().any(|c| c.verdict == v);
        let marks = [(Verdict::Met, "met"), (Verdict::Missed, "missed"), (Verdict::NotShown, "not shown")];
        let rows = Rows {
            title: format!("Claims on {quantity}: what was measured, the limit claimed, and what would count as met"),
            axis,
            zero: None,
            zone: None,
            rows: of.iter().map(|c| row(c)).collect(),
            key: marks.iter().filter(|m| any(m.0)).map(|m| (mark(m.0), m.1.to_string())).collect(),
            look,
        };
        Some((name.to_string(), rows))
    };
    quantities.iter().filter_map(plot).collect()
}

fn mark(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Met => Mark::Full,
        Verdict::Missed => Mark::Cross,
        Verdict::NotShown => Mark::Open,
    }
}

fn row(claim: &Claim) -> Row {
    let best = claim.best();
    let scale = claim.quantity.scale;
    let label = format!("{}, {}: {}", claim.antenna, claim.band, claim_words(claim));
    let (value, range) = (best.map(|h| scale.to_shown(h.estimate)), best.map(|h| shown::range(scale, h.range)));
    Row {
        limit: claim.at_most.or(claim.at_least),
        shaded: best.and_then(|h| h.met_within).map(|met| shown::range(scale, Range { low: met.low, high: met.high })),
        ..Row::new(label, word(claim.verdict).into(), mark(claim.verdict), value, range)
    }
}
