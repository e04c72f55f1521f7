//! The pairs of a set in words: a table where they are few, grouped by verdict where they are many.

use super::grid::Grid;
use super::number;
use super::set_text::unit_words;
use super::text::wrap;
use crate::analysis::antennas::intervals::last_digit;
use crate::analysis::antennas::result::{PairResult, Range, SetResult, Verdict};
use crate::analysis::antennas::shown;
use crate::radio::quantity::{Better, Scale};

/// The unit differences are given in: dB for powers, whose ratios are what one compares; else the
/// quantity's own.
pub(super) fn difference_unit(s: &SetResult) -> String {
    if s.quantity.scale == Scale::PowerDecibel { "dB".into() } else { unit_words(s) }
}

/// Beyond this many pairs a table is longer than anyone reads.
const MOST_ROWS: usize = 10;

/// All pairs of the set.
pub fn pairs(s: &SetResult) -> String {
    if s.pairs.is_empty() {
        return "  One antenna: nothing to compare it with.".into();
    }
    let compared: Vec<&PairResult> = s.pairs.iter().filter(|p| p.verdict != Verdict::Unlinked).collect();
    let mut out = vec![];
    if compared.len() <= MOST_ROWS {
        if !compared.is_empty() {
            out.push(String::new());
            out.push(pair_table(s, &compared).text(""));
        }
    } else {
        out.extend(grouped(s, &compared));
    }
    out.extend(unlinked(s));
    out.join("\n")
}

/// Pairs with their differences and verdicts.
pub(super) fn pair_table(s: &SetResult, compared: &[&PairResult]) -> Grid {
    let rows: Vec<Vec<String>> = compared
        .iter()
        .map(|p| {
            let (first, second, difference) = turned(s, p);
            vec![
                format!("{first} – {second}"),
                difference,
                p.p_adjusted.map_or(String::new(), number::p_value),
                verdict_words(p).into(),
            ]
        })
        .collect();
    Grid::new("", &["pair", &format!("difference, {}", difference_unit(s)), "p", "verdict"], &[2], rows)
}

/// A verdict as it is called.
pub(super) fn verdict_words(p: &PairResult) -> &'static str {
    match (p.verdict, p.matters) {
        (Verdict::Apart, Some(false)) => "apart, too little to matter",
        (Verdict::Apart, _) => "apart",
        (Verdict::Noise, _) => "inside the noise",
        (Verdict::Even, _) => "even",
        (Verdict::Unlinked, _) => "unlinked",
    }
}

fn grouped(s: &SetResult, compared: &[&PairResult]) -> Vec<String> {
    type Belongs = fn(&PairResult) -> bool;
    let groups: [(&str, Belongs); 4] = [
        ("Apart", |p| p.verdict == Verdict::Apart && p.matters != Some(false)),
        ("Apart, too little to matter", |p| p.verdict == Verdict::Apart && p.matters == Some(false)),
        ("Even", |p| p.verdict == Verdict::Even),
        ("Inside the noise", |p| p.verdict == Verdict::Noise),
    ];
    let mut out = vec![];
    for (words, belongs) in groups {
        let mut members: Vec<&&PairResult> = compared.iter().filter(|p| belongs(p)).collect();
        members.sort_by(|a, b| b.difference.abs().total_cmp(&a.difference.abs()));
        let texts: Vec<String> = members
            .iter()
            .map(|p| {
                let (first, second, difference) = turned(s, p);
                // no break inside a pair
                format!("{first}–{second} {difference}").replace(' ', "\u{a0}")
            })
            .collect();
        if !texts.is_empty() {
            let text = wrap(&format!("  {words} ({}): {}.", difference_unit(s), texts.join(", ")), "    ");
            out.push(text.replace('\u{a0}', " "));
        }
    }
    out
}

/// The pair with the better antenna first (or the higher, where neither end is better), and its
/// difference with the simultaneous interval, in the unit shown.
pub(super) fn turned<'a>(s: &'a SetResult, p: &PairResult) -> (&'a str, &'a str, String) {
    let better_first = match s.quantity.better_on_scale() {
        Better::Lower => p.difference <= 0.0,
        _ => p.difference >= 0.0,
    };
    let (first, second) = if better_first { (p.first, p.second) } else { (p.second, p.first) };
    let sign = if better_first { 1.0 } else { -1.0 };
    let turn = |r: Range| if better_first { r } else { Range { low: -r.high, high: -r.low } };
    let text = p.range.map_or(String::new(), |r| interval(s, p, sign * p.difference, turn(r)));
    (&s.antennas[first].antenna, &s.antennas[second].antenna, text)
}

/// A difference and its range in the unit shown: as they are where the scale is the unit's own, else moved there about
/// the pair's middle.
pub(super) fn in_unit(s: &SetResult, p: &PairResult, difference: f64, range: Range) -> (f64, Range) {
    let scale = s.quantity.scale;
    if !is_bent(scale) {
        return (difference, range);
    }
    let middle = (s.antennas[p.first].estimate + s.antennas[p.second].estimate) / 2.0;
    (shown::difference(scale, middle, difference), shown::range_of_difference(scale, middle, range))
}

fn is_bent(scale: Scale) -> bool {
    shown::is_transformed(scale) && scale != Scale::PowerDecibel
}

/// A range of SWRs wider than this is not told as one.
const OFF_SCALE: f64 = 40.0;

/// "+4.0 ± 1.3" where the scale is the unit's own, "−0.35 (−0.52 … −0.20)" where it is bent.
fn interval(s: &SetResult, p: &PairResult, difference: f64, range: Range) -> String {
    if s.quantity.name == "swr" {
        // beyond what a meter shows a difference in SWR says nothing: there |Γ| is told
        let (_, ends) = in_unit(s, p, difference, range);
        if ends.high - ends.low > OFF_SCALE {
            let half = (range.high - range.low) / 2.0;
            return format!("{} |Γ|", number::plus_minus_to(difference, half, digit(half, range)));
        }
    }
    let (difference, ends) = in_unit(s, p, difference, range);
    let half = (ends.high - ends.low) / 2.0;
    let digit = digit(half, ends);
    if !is_bent(s.quantity.scale) {
        return number::plus_minus_to(difference, half, digit);
    }
    format!(
        "{} ({} … {})",
        number::signed(difference, digit),
        number::to_digit(ends.low, digit),
        number::to_digit(ends.high, digit)
    )
}

/// A difference without an interval, to the display's last digit.
fn plain(s: &SetResult, p: &PairResult, difference: f64) -> String {
    let scale = s.quantity.scale;
    if scale == Scale::PowerDecibel {
        return number::signed(difference, 0.1);
    }
    let middle = (s.antennas[p.first].estimate + s.antennas[p.second].estimate) / 2.0;
    number::signed(shown::difference(scale, middle, difference), s.resolution.0)
}

/// The last digit an interval is printed to: finer where rounding would make an end that is not zero
/// look like zero, since on which side of zero it lies is the verdict.
fn digit(half: f64, range: Range) -> f64 {
    let mut digit = last_digit(half);
    for _ in 0..3 {
        let hides = |end: f64| end != 0.0 && (end / digit).round() == 0.0;
        if !hides(range.low) && !hides(range.high) {
            break;
        }
        digit /= 10.0;
    }
    digit
}

/// Pairs this log cannot compare: what the one day showed, and what would settle it.
fn unlinked(s: &SetResult) -> Vec<String> {
    let words = unlinked_words(s, MOST_ROWS);
    let more = s.count(Verdict::Unlinked).saturating_sub(MOST_ROWS);
    let mut out: Vec<String> = words.iter().map(|line| wrap(&format!("  {line}"), "    ")).collect();
    if more > 0 {
        out.push(format!("  and {more} more pairs unlinked"));
    }
    out
}

/// The first so many of the unlinked pairs, each in a sentence.
pub(super) fn unlinked_words(s: &SetResult, most: usize) -> Vec<String> {
    let mut out = vec![];
    for p in s.pairs.iter().filter(|p| p.verdict == Verdict::Unlinked).take(most) {
        let (first, second, _) = turned(s, p);
        let sign = if s.antennas[p.first].antenna == first { 1.0 } else { -1.0 };
        let once = [p.first, p.second].iter().all(|&a| s.antennas[a].mountings == s.antennas[a].visits);
        let that_day = if once { "on that day, mounted once each," } else { "on that day" };
        let unit = difference_unit(s);
        let why = match (p.met, p.that_day) {
            (true, Some(day)) => {
                let turned = if sign > 0.0 { day } else { Range { low: -day.high, high: -day.low } };
                let shown = interval(s, p, (turned.low + turned.high) / 2.0, turned);
                format!("{that_day} {shown} {unit}; whether another day would agree, this log cannot tell")
            }
            (true, None) => format!(
                "{that_day} {} {unit} by readings whose scatter nothing shows; whether another reading, or another day, would agree, this log cannot tell",
                plain(s, p, sign * p.difference)
            ),
            (false, _) => "never in one session, and how much sessions differ is not known".to_string(),
        };
        out.push(format!("Unlinked: {first} – {second}: {why}."));
    }
    out
}
