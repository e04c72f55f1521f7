//! The answer in words first, then set by set in tables: what `daylight antennas` prints.

use super::grid::Grid;
use super::number::{self, plural};
use super::set_text::{ordinal, rank_range, set};
use super::text::{assumptions, look_words, wrap};
use crate::analysis::antennas::result::{Antennas, Correlation, Overall, SetResult, Verdict};
use crate::analysis::next::list;
use crate::radio::quantity::{Better, in_words};
use crate::season::finding::{Finding, Severity};

/// The whole answer. Ends with a newline.
pub fn render(result: &Antennas) -> String {
    let mut out: Vec<String> = vec![result.season.clone(), String::new()];
    out.extend(assumptions(&result.assumptions));
    out.push(wrap(&headline(result), ""));
    let overall = result.overall.as_ref().filter(|o| o.weights.len() > 1);
    out.extend(overall.map(|o| wrap(&overall_words(o), "")));
    out.extend(result.next.first().map(|n| wrap(&format!("Measure next. {}", n.words()), "")));
    out.push(String::new());
    if result.sets.len() + result.ordinal.len() > 1 {
        out.push(sets_table(result).text(""));
        out.push(String::new());
    }
    out.extend(result.next.iter().skip(1).map(|n| wrap(&n.words(), "") + "\n"));
    if let Some(words) = corrected(result) {
        out.extend([wrap(&words, ""), String::new()]);
    }
    out.extend(findings(&result.findings));
    out.extend(left_out(result));
    out.extend(overall.filter(|o| !o.antennas.is_empty()).map(|o| overall_table(o, result).text("  ") + "\n"));
    out.extend(correlations(result).map(|grid| grid.text("") + "\n"));
    out.extend(result.sets.iter().map(|s| set(s, result.confidence)));
    out.extend(result.ordinal.iter().map(ordinal));
    if result.sets.len() + result.ordinal.len() > 0 {
        out.push(wrap(&method(result), ""));
    }
    let mut text = out.join("\n");
    text.push('\n');
    text
}

/// How many pairs are what, and how many false calls that allows.
pub(super) fn headline(result: &Antennas) -> String {
    let count = |v: Verdict| {
        result.sets.iter().map(|s| s.count(v)).sum::<usize>()
            + result.ordinal.iter().map(|s| s.pairs.iter().filter(|p| p.verdict == v).count()).sum::<usize>()
    };
    let [apart, noise, even, unlinked] = [Verdict::Apart, Verdict::Noise, Verdict::Even, Verdict::Unlinked].map(count);
    let pairs = apart + noise + even + unlinked;
    let sets = result.sets.len() + result.ordinal.len();
    if sets == 0 {
        let reason = if result.asked > 0 { "No set could be analysed" } else { "No reading could be used" };
        return format!("{reason}, so there is nothing to compare.");
    }
    if pairs == 0 {
        return format!(
            "{} in {}, of one antenna each: nothing to compare.",
            readings(result),
            plural(sets, "set", "sets")
        );
    }
    let small =
        result.sets.iter().flat_map(|s| &s.pairs).filter(|p| p.verdict == Verdict::Apart && p.matters == Some(false));
    let small = match small.count() {
        0 => String::new(),
        n => format!(" ({} of them by too little to matter)", number::count(n)),
    };
    let mut parts = vec![format!("{} apart{small}", are(apart))];
    if even > 0 {
        parts.push(format!("{} even", are(even)));
    }
    if noise > 0 {
        parts.push(format!("{} inside the noise", are(noise)));
    }
    if unlinked > 0 {
        parts.push(format!("{} beyond what this log can compare", are(unlinked)));
    }
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    let risk = 1.0 - result.confidence;
    let expected = risk * sets as f64;
    let promise = if sets == 1 {
        format!("The chance of any false \"apart\" is at most {}.", number::percent_at_most(risk))
    } else {
        format!(
            "In each set the chance of any false \"apart\" is at most {}; over {sets} sets, expect at most {} to hold one.",
            number::percent_at_most(risk),
            number::to_digit(expected, if expected < 0.05 { 0.01 } else { 0.1 })
        )
    };
    let of = format!(
        "Of {} of antennas in {}, {}.",
        plural(pairs, "pair", "pairs"),
        plural(sets, "set", "sets"),
        list(&parts)
    );
    let strangers =
        result.sets.iter().flat_map(|s| &s.pairs).filter(|p| p.verdict == Verdict::Apart && !p.joined).count();
    let strangers = match strangers {
        0 => String::new(),
        n => format!(
            " Of the pairs apart, {} joined by no session, nor by a chain of them: measure such a pair on one day before you say so in public.",
            are(n)
        ),
    };
    format!("{of} {promise}{strangers}{}", look_words(result.look.as_ref(), " in a set"))
}

fn are(n: usize) -> String {
    match n {
        0 => "none is".into(),
        1 => "1 is".into(),
        n => format!("{} are", number::count(n)),
    }
}

fn readings(result: &Antennas) -> String {
    plural(result.readings, "reading", "readings")
}

/// Who is first by the season's weights.
pub(super) fn overall_words(overall: &Overall) -> String {
    let missing = match overall.incomplete.len() {
        0 => String::new(),
        _ => {
            let names: Vec<&str> = overall.incomplete.iter().map(String::as_str).collect();
            let is = if names.len() == 1 { "is" } else { "are" };
            format!(
                " {} {is} left out, for want of a comparable result in every weighted set, on days shared with the others.",
                list(&names)
            )
        }
    };
    if overall.antennas.is_empty() {
        return format!(
            "There is no overall ranking by your weights: no two antennas have a comparable result in every weighted set, in visits of two sessions or more that every set has.{missing}"
        );
    }
    let first: Vec<&str> = overall.antennas.iter().filter(|a| a.rank_low == 1).map(|a| a.antenna.as_str()).collect();
    let verdict = match first.as_slice() {
        [one] => format!("Overall, by your weights, {one} is first."),
        several if several.len() == overall.antennas.len() => {
            "Overall, by your weights, no antenna stands out.".to_string()
        }
        several => format!("Overall, by your weights, the first is one of {}.", list(several)),
    };
    format!("{verdict}{missing}")
}

/// One line a set: its pairs by verdict, and which antennas can be first.
pub(super) fn sets_table(result: &Antennas) -> Grid {
    let cell = |n: usize| if n == 0 { "·".to_string() } else { n.to_string() };
    let mut rows = vec![];
    for s in &result.sets {
        let first = match s.quantity.better {
            Better::Neither => "not ranked".to_string(),
            _ => firsts(s.antennas.iter().map(|a| (a.antenna.as_str(), a.rank_range))),
        };
        let counts = [Verdict::Apart, Verdict::Even, Verdict::Noise, Verdict::Unlinked].map(|v| cell(s.count(v)));
        rows.push([vec![s.label()], counts.to_vec(), vec![first]].concat());
    }
    for s in &result.ordinal {
        let count = |v: Verdict| cell(s.pairs.iter().filter(|p| p.verdict == v).count());
        let counts = [Verdict::Apart, Verdict::Even, Verdict::Noise, Verdict::Unlinked].map(count);
        let label = crate::analysis::antennas::result::label(&s.quantity.name, &s.band, &s.meter);
        let first = firsts(s.antennas.iter().map(|a| (a.antenna.as_str(), Some((a.rank_low, a.rank_high)))));
        rows.push([vec![label], counts.to_vec(), vec![first]].concat());
    }
    Grid::new("", &["Set", "apart", "even", "noise", "unlinked", "first"], &[1, 2, 3, 4], rows)
}

/// Who can be first: one name, two, or how many.
fn firsts<'a>(antennas: impl Iterator<Item = (&'a str, Option<(usize, usize)>)>) -> String {
    let all: Vec<(&str, Option<(usize, usize)>)> = antennas.collect();
    let can: Vec<&str> = all.iter().filter(|(_, r)| r.is_some_and(|r| r.0 == 1)).map(|a| a.0).collect();
    match can.as_slice() {
        [] => String::new(),
        [one] => (*one).to_string(),
        [a, b] if a.chars().count() + b.chars().count() < 20 => format!("{a} or {b}"),
        several if several.len() == all.len() => "any".to_string(),
        several => format!("one of {}", several.len()),
    }
}

/// The findings, worst first; a long list is cut, and says so.
pub(super) fn findings(all: &[Finding]) -> Vec<String> {
    const SHOWN: usize = 6;
    let mut found: Vec<_> = all.iter().collect();
    if found.is_empty() {
        return vec![];
    }
    found.sort_by_key(|f| f.severity);
    let of = |s: Severity| found.iter().filter(|f| f.severity == s).count();
    let counts = [
        (of(Severity::Error), "error", "errors"),
        (of(Severity::Warning), "warning", "warnings"),
        (of(Severity::Note), "note", "notes"),
    ];
    let counts: Vec<String> = counts.iter().filter(|c| c.0 > 0).map(|c| plural(c.0, c.1, c.2)).collect();
    let mut out = vec![format!("Found in the log: {}", counts.join(", "))];
    for f in found.iter().take(SHOWN) {
        out.push(wrap(&format!("  {}: {}: {}", f.place, f.what, f.action), "    "));
    }
    if found.len() > SHOWN {
        out.push(format!("  and {} more; --json holds them all", number::count(found.len() - SHOWN)));
    }
    out.push(String::new());
    out
}

/// Which meters' readings were corrected: the sets say by how much.
pub(super) fn corrected(result: &Antennas) -> Option<String> {
    let mut meters: Vec<&str> =
        result.sets.iter().filter_map(|s| s.corrected.as_ref()).map(|c| c.meter.as_str()).collect();
    meters.dedup();
    meters.sort_unstable();
    meters.dedup();
    if meters.is_empty() {
        return None;
    }
    Some(format!(
        "Corrected: the readings of {} had an estimated offset taken out, as season.toml asks (`correct = true`); each set says how much.",
        list(&meters)
    ))
}

fn left_out(result: &Antennas) -> Vec<String> {
    let mut out: Vec<String> = result
        .left_out
        .iter()
        .map(|(reason, rows)| {
            wrap(&format!("Left out on the record: {} ({reason})", plural(*rows, "reading", "readings")), "  ")
        })
        .collect();
    if !out.is_empty() {
        out.push(String::new());
    }
    out
}

/// Scores by the season's weights.
pub(super) fn overall_table(overall: &Overall, result: &Antennas) -> Grid {
    let rows: Vec<Vec<String>> = overall
        .antennas
        .iter()
        .map(|a| {
            vec![
                a.rank.to_string(),
                a.antenna.clone(),
                number::plus_minus(a.score, (a.high - a.low) / 2.0),
                rank_range(a.rank_low, a.rank_high),
                number::share(a.probability_best),
            ]
        })
        .collect();
    let head = format!("Overall, over {}", plural(overall.weights.len(), "weighted set", "weighted sets"));
    let note = format!(
        "Score: weighted mean of differences from the average antenna, better upwards, each in units of what matters there. {} of {} apart; ± and rank sets hold for all at once ({}), whatever the sets' errors have in common: they rest on how the scores of whole visits scatter.",
        number::count(overall.apart),
        plural(overall.pairs, "pair", "pairs"),
        number::percent(result.confidence)
    );
    Grid::new(head, &["#", "antenna", "score", "rank", "first in"], &[0, 3, 4], rows).noted([note])
}

/// Does a low SWR go with a strong field? One line a band and pair of sets; where field strengths were
/// read, those with one, since the field is what the antenna is for.
pub(super) fn correlations(result: &Antennas) -> Option<Grid> {
    let has_field =
        |c: &&Correlation| [c.first, c.second].iter().any(|&i| result.sets[i].quantity.name == "field_strength");
    let any_field = result.correlations.iter().any(|c| has_field(&c));
    let rows: Vec<Vec<String>> = result
        .correlations
        .iter()
        .filter(|c| !any_field || has_field(c))
        .map(|c| {
            let (a, b) = (&result.sets[c.first], &result.sets[c.second]);
            let name = |s: &SetResult| {
                let same = |o: &&SetResult| o.quantity.name == s.quantity.name && o.band == s.band;
                let quantity = in_words(&s.quantity.name);
                // the meter is named where two read the same
                if result.sets.iter().filter(same).count() > 1 { format!("{quantity} ({})", s.meter) } else { quantity }
            };
            let (words, range) = match c.range {
                Some(r) => (
                    if r.low > 0.0 {
                        "yes"
                    } else if r.high < 0.0 {
                        "the reverse"
                    } else {
                        "can't tell"
                    },
                    format!("{} … {}", number::to_digit(r.low, 0.1), number::to_digit(r.high, 0.1)),
                ),
                None => ("can't tell", String::new()),
            };
            vec![a.band.clone(), name(a), name(b), words.into(), number::signed(c.estimate, 0.1), range]
        })
        .collect();
    let head = "Does a good value of one go with a good value of the other? (rank correlation)";
    let note = "Asked of these antennas alone, and of their own errors in each: what other antennas would show, and what one visit does to both readings, is not in the ranges.";
    (!rows.is_empty())
        .then(|| Grid::new(head, &["band", "one", "other", "", "r", "range"], &[4], rows).noted([note.into()]))
}

/// How the figures came about.
pub(super) fn method(result: &Antennas) -> String {
    let unsettled: usize = result.sets.iter().map(|s| s.unsettled).sum();
    let note = if unsettled > 0 {
        format!(" {} did not come to rest and were kept as they were.", plural(unsettled, "replay", "replays"))
    } else {
        String::new()
    };
    let loads = match result.load_readings {
        0 => String::new(),
        n => format!(", {} of check loads kept apart", number::count(n)),
    };
    let replays = match result.trials {
        0 => "nothing to replay".to_string(),
        n => format!("up to {} a set, seed {}", plural(n, "replay", "replays"), result.seed),
    };
    format!(
        "Ranges of antennas hold each by itself; verdicts, intervals of pairs and rank sets hold for all in a set at once. \"first in\": the share of replays in which an antenna comes first. {} used{loads}; {replays}.{note}",
        readings(result)
    )
}
