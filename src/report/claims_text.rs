//! What `daylight claims` prints: the count of verdicts, the claims in a table, then why each that isn't shown
//! isn't, and what would settle it.

use super::claims_words::{claim_words, gap_words, measured, shift_words, unheld_words};
use super::grid::Grid;
use super::number::{self, plural};
use super::text::{assumptions, look_words, next, wrap};
use crate::analysis::claims::GAIN;
use crate::analysis::claims::result::{Claim, Claims, Held, Verdict};
use crate::analysis::next::list;
use crate::season::finding::Severity;

/// The whole answer. Ends with a newline.
pub fn render(result: &Claims) -> String {
    let mut out: Vec<String> = vec![result.season.clone(), String::new()];
    out.extend(assumptions(&result.assumptions));
    if result.claims.is_empty() {
        let words = "There is no claim to check. Give an antenna's entry in season.toml its maker's, for example `claims = [ { quantity = \"swr\", at_most = 1.5, bands = [\"2 m\"] } ]`.";
        out.push(wrap(words, ""));
        return out.join("\n") + "\n";
    }
    out.extend([wrap(&headline(result), ""), String::new()]);
    out.extend([claims_table(result).text(""), String::new()]);
    out.extend(meters_table(result).map(|grid| grid.text("") + "\n"));
    let reasons: Vec<String> =
        reasons(result).iter().map(|(whose, why)| wrap(&format!("  {whose}. {why}"), "    ")).collect();
    if !reasons.is_empty() {
        out.push("Not shown, and what would settle it".to_string());
        out.extend(reasons);
        out.push(String::new());
    }
    out.extend(next("Measure next. ", &result.next));
    let cautions: Vec<String> = cautions(result).iter().map(|line| wrap(line, "  ")).collect();
    if !cautions.is_empty() {
        out.extend(cautions);
        out.push(String::new());
    }
    out.extend(findings(result));
    for (reason, rows) in &result.left_out {
        out.push(wrap(&format!("Left out on the record: {} ({reason})", plural(*rows, "reading", "readings")), "  "));
    }
    if !result.left_out.is_empty() {
        out.push(String::new());
    }
    out.push(wrap(&method(result), ""));
    out.join("\n") + "\n"
}

/// How many claims are what, and how many false verdicts that allows.
pub(super) fn headline(result: &Claims) -> String {
    let is = |n: usize| {
        if n == 0 {
            "none is".to_string()
        } else if n == 1 {
            "1 is".into()
        } else {
            format!("{n} are")
        }
    };
    let [met, missed, open] = [Verdict::Met, Verdict::Missed, Verdict::NotShown].map(|v| result.count(v));
    let parts = [format!("{} met", is(met)), format!("{missed} missed"), format!("{open} not shown")];
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    let of = format!("Of {}, {}.", plural(result.claims.len(), "claim", "claims"), list(&parts));
    let judged = result.judged();
    let risk = number::percent_at_most(result.risk);
    let promise = match judged {
        0 => "No result could be held against any of them.".to_string(),
        1 => format!("The chance of a wrong verdict is at most {risk}."),
        _ => format!(
            "On each the chance of a wrong verdict is at most {risk}: over the {judged} claims held against a result, expect at most {:.1} wrong.",
            result.risk * judged as f64
        ),
    };
    format!("{of} {promise}{}", look_words(result.look.as_ref(), " on a claim"))
}

/// A verdict as it is called.
pub(super) fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::NotShown => "not shown",
    }
}

/// Every claim with the result it was held against.
pub(super) fn claims_table(result: &Claims) -> Grid {
    let rows: Vec<Vec<String>> = result
        .claims
        .iter()
        .map(|c| {
            let (estimate, range, chance) = match c.best() {
                Some(held) => {
                    let shown = measured(c, held);
                    (shown.estimate, shown.range, number::chance(held.probability))
                }
                None => ("–".into(), String::new(), "–".into()),
            };
            vec![c.antenna.clone(), c.band.clone(), claim_words(c), estimate, range, word(c.verdict).into(), chance]
        })
        .collect();
    Grid::new("", &["antenna", "band", "claim", "result", "range", "verdict", "chance"], &[3, 6], rows)
}

/// The claims that several meters measured, meter by meter.
pub(super) fn meters_table(result: &Claims) -> Option<Grid> {
    let mut rows = vec![];
    for claim in result.claims.iter().filter(|c| c.held.len() > 1) {
        for (i, held) in claim.held.iter().enumerate() {
            let shown = measured(claim, held);
            let name = format!("{}, {}", claim.antenna, claim.band);
            rows.push(vec![
                if i == 0 { name } else { String::new() },
                if i == 0 { claim_words(claim) } else { String::new() },
                meter(held),
                shown.estimate,
                shown.range,
                word(held.verdict).into(),
            ]);
        }
    }
    let head = "Meter by meter, where several measured the same";
    let header = ["antenna", "claim", "meter", "result", "range", "alone"];
    (!rows.is_empty()).then(|| Grid::new(head, &header, &[3], rows))
}

fn meter(held: &Held) -> String {
    held.meter.clone().unwrap_or_else(|| "declared".into())
}

/// Why each claim that isn't shown isn't, and what would settle it.
pub(super) fn reasons(result: &Claims) -> Vec<(String, String)> {
    let open = result.claims.iter().filter(|c| c.verdict == Verdict::NotShown);
    let told = |claim: &Claim| {
        let why = match (&claim.unheld, claim.disagree) {
            (Some(reason), _) => unheld_words(claim, reason),
            (None, Some([low, high])) => disagreement(claim, &claim.held[low], &claim.held[high]),
            (None, None) => gap_words(claim),
        };
        (format!("{}, {}: {}", claim.antenna, claim.band, claim_words(claim)), why)
    };
    open.map(told).collect()
}

fn disagreement(claim: &Claim, low: &Held, high: &Held) -> String {
    let say =
        |held: &Held| format!("{} {} ({})", meter(held), measured(claim, held).estimate, measured(claim, held).range);
    format!(
        "The meters contradict each other: {} against {}. One of them errs by more than is declared of it, and no number of sessions tells which; readings of check loads on both would.",
        say(low),
        say(high)
    )
}

/// What makes results wider than they need be, and what a verdict here does not say.
pub(super) fn cautions(result: &Claims) -> Vec<String> {
    let mut out: Vec<String> = shift_words(&result.claims);
    out.extend(at_their_word(result));
    if result.claims.iter().any(|c| c.quantity.name == GAIN) {
        out.push("Gain here is toward the field meter, with this radio, its mismatch included; a maker's figure may be for free space, or over another antenna (0 dBd is 2.15 dBi).".into());
    }
    if result.claims.iter().any(|c| c.quantity.is_reflection() && c.verdict == Verdict::Met) {
        out.push("An SWR claim met says that the antenna takes the power, not that it radiates it.".into());
    }
    out
}

/// Meters that decided a claim though nothing says how far off they may be.
fn at_their_word(result: &Claims) -> Option<String> {
    let decided = result.claims.iter().filter(|c| c.verdict != Verdict::NotShown).flat_map(|c| &c.held);
    let mut meters: Vec<&str> = decided
        .filter(|h| !h.calibrated && h.verdict != Verdict::NotShown)
        .filter_map(|h| h.meter.as_deref())
        .collect();
    meters.sort_unstable();
    meters.dedup();
    (!meters.is_empty()).then(|| {
        format!(
            "Nothing says how far off {} may read, so {} taken at {} word: declare `directivity_db` or a [[source]], or read check loads, before you say met or missed in public.",
            list(&meters),
            if meters.len() == 1 { "it is" } else { "they are" },
            if meters.len() == 1 { "its" } else { "their" }
        )
    })
}

/// The findings, worst first; a long list is cut, and says so.
fn findings(result: &Claims) -> Vec<String> {
    const SHOWN: usize = 4;
    let mut found: Vec<_> = result.findings.iter().filter(|f| f.severity != Severity::Note).collect();
    if found.is_empty() {
        return vec![];
    }
    found.sort_by_key(|f| f.severity);
    let mut out = vec![format!("Found in the log: {}", plural(found.len(), "doubtful place", "doubtful places"))];
    for f in found.iter().take(SHOWN) {
        out.push(wrap(&format!("  {}: {}: {}", f.place, f.what, f.action), "    "));
    }
    if found.len() > SHOWN {
        out.push(format!("  and {} more; --json holds them all", number::count(found.len() - SHOWN)));
    }
    out.push(String::new());
    out
}

/// How the figures came about.
pub(super) fn method(result: &Claims) -> String {
    let several = result.claims.iter().any(|c| c.held.len() > 1);
    let shared = if several {
        " Where several meters measured the same they share that risk, any one may decide, and two whose ranges have nothing in common leave it open."
    } else {
        ""
    };
    format!(
        "Range: the true value lies beyond either end with a chance of at most {}, scatter of sessions, declared sources, directivity and calibration included. A claim is met or missed when the whole range says so.{shared} \"chance\": that the antenna conforms, by the result shown. {} draws a result, seed {}.",
        number::percent_at_most(result.risk),
        number::count(result.trials),
        result.seed
    )
}
