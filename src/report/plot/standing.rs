//! How a set's antennas stand: each one's difference from the one at the head, with the interval that holds for all
//! pairs at once, so that what is seen is the comparison itself and no two bars need be held against each other.

use super::Look;
use super::marks::Mark;
use super::rows::{Row, Rows};
use crate::analysis::antennas::result::{PairResult, Range, SetResult, Verdict};
use crate::radio::quantity::{Better, Scale};
use crate::report::pairs_text::{difference_unit, in_unit};
use crate::report::set_text::rank_range;

/// The antenna the others are held against: the best of those seen on two visits or more that can be first, so that one
/// hasty visit does not blur every comparison; where nothing is ranked, the one all others are compared with.
pub fn base(s: &SetResult) -> Option<usize> {
    let compared = |a: usize| s.pairs.iter().filter(|p| has(p, a) && range_of(p).is_some()).count();
    let most = (0..s.antennas.len()).map(compared).max().filter(|n| *n > 0)?;
    let mut order: Vec<usize> = (0..s.antennas.len()).filter(|&a| compared(a) == most).collect();
    order.sort_by_key(|&a| s.antennas[a].rank);
    let known = |a: &usize| s.antennas[*a].visits > 1 && s.antennas[*a].rank_range.is_none_or(|r| r.0 == 1);
    order.iter().copied().find(known).or(order.first().copied())
}

fn has(p: &PairResult, antenna: usize) -> bool {
    p.first == antenna || p.second == antenna
}

/// The interval that is drawn: the pair's, or where this log can't compare the two, what their one day showed.
fn range_of(p: &PairResult) -> Option<Range> {
    p.range.or(p.that_day)
}

/// The plot; `None` where nothing is known of any difference.
pub fn standing(s: &SetResult, look: Look) -> Option<Rows> {
    let base = base(s)?;
    let name = &s.antennas[base].antenna;
    let ranked = s.quantity.better != Better::Neither;
    let mut order: Vec<usize> = (0..s.antennas.len()).collect();
    order.sort_by_key(|&a| s.antennas[a].rank);
    let rows = order.into_iter().map(|a| row(s, a, base, ranked)).collect();
    let unit = difference_unit(s);
    let axis = match (s.quantity.better, ranked) {
        (_, false) => format!("over {name}, {unit}"),
        (Better::Lower, _) => format!("{unit} above {name}: further right is worse"),
        _ => format!("{unit} below {name}: further right is worse"),
    };
    // of an impedance, what matters is set in dB, which this axis is not
    let zone = s.matters.filter(|_| s.quantity.scale != Scale::AmplitudeDecibel).map(|m| Range { low: -m, high: m });
    let mut key = vec![(Mark::Base, "held against".to_string())];
    let any = |v: Verdict| s.pairs.iter().any(|p| has(p, base) && p.verdict == v && range_of(p).is_some());
    let marks = [
        (Verdict::Apart, Mark::Full, "apart"),
        (Verdict::Noise, Mark::Open, "inside the noise"),
        (Verdict::Even, Mark::Square, "even"),
        (Verdict::Unlinked, Mark::Cross, "unlinked: what that one day showed"),
    ];
    key.extend(marks.iter().filter(|m| any(m.0)).map(|m| (m.1, m.2.to_string())));
    let title = match ranked {
        true => format!("{}: how far each antenna is behind {name}", s.label()),
        false => format!("{}: each antenna against {name}", s.label()),
    };
    Some(Rows { title, axis, zero: Some(name.clone()), zone, rows, key, look })
}

fn row(s: &SetResult, a: usize, base: usize, ranked: bool) -> Row {
    let antenna = &s.antennas[a];
    let rank = antenna.rank_range.map(|r| format!("rank {}", rank_range(r.0, r.1)));
    let pair = s.pairs.iter().find(|p| has(p, a) && has(p, base) && a != base);
    let (mark, difference) = match pair {
        None => (Mark::Base, Some((0.0, None))),
        Some(p) => {
            let mark = match p.verdict {
                Verdict::Apart => Mark::Full,
                Verdict::Even => Mark::Square,
                Verdict::Noise => Mark::Open,
                Verdict::Unlinked => Mark::Cross,
            };
            (mark, range_of(p).map(|range| behind(s, p, a, ranked, range)).map(|(value, range)| (value, Some(range))))
        }
    };
    let said = match (rank, pair.map(|p| p.verdict)) {
        (Some(rank), Some(Verdict::Unlinked)) => format!("{rank}, unlinked"),
        (Some(rank), _) => rank,
        (None, Some(Verdict::Unlinked)) => "unlinked".into(),
        (None, _) => String::new(),
    };
    Row::new(antenna.antenna.clone(), said, mark, difference.map(|d| d.0), difference.and_then(|d| d.1))
}

/// Of a pair with the base, how much worse `a` is, in the unit shown; where nothing is ranked, `a` less the base.
fn behind(s: &SetResult, p: &PairResult, a: usize, ranked: bool, range: Range) -> (f64, Range) {
    let (difference, range) = in_unit(s, p, p.difference, range);
    // first − second, as shown: turned so that `a` comes first, then so that worse is more
    let turned = p.first != a;
    let lower_is_worse = ranked && s.quantity.better == Better::Higher;
    if turned != lower_is_worse {
        return (-difference, Range { low: -range.high, high: -range.low });
    }
    (difference, range)
}
