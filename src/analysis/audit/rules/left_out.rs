//! What each `[[leave_out]]` leaves out, and whether any verdict turns on it.
//!
//! The sets it touches are analysed with and without its readings, held to the same critical values where it leaves out
//! a small part of them, else on the same random streams; a verdict turns on the entry where the two differ.

use std::collections::BTreeSet;

use polars::prelude::*;
use rayon::prelude::*;

use super::super::Rule;
use super::super::log::{Log, MOST_ANTENNAS};
use crate::analysis::antennas::result::{Verdict, label};
use crate::analysis::antennas::set_analysis::{Options, analyse_begun};
use crate::analysis::antennas::sets::{Set, sets_of};
use crate::season::finding::{Finding, Group, Severity, Stake};
use crate::season::readings::LeftOut;

/// The rule.
pub const RULE: Rule = Rule {
    name: "left out",
    group: Group::WeakDesign,
    asks: "readings left out on the record, and the verdicts that turn on leaving them out",
    source: "sensitivity of a result to an exclusion: ASTM E178, 4.3 (from memory)",
    beside_verdicts: false,
    check,
};

/// Replays of each analysis: enough to tell a verdict that turns from one that wavers.
const TRIALS: usize = 2000;

/// At most so many turned verdicts are named.
const NAMED: usize = 3;

fn check(log: &Log) -> Vec<Finding> {
    let entries = &log.season.readings.left_out;
    entries.iter().filter(|e| e.rows > 0).filter_map(|e| weigh(log, e).ok()).collect()
}

/// One verdict that turns.
struct Turned {
    words: String,
    stake: Stake,
}

fn weigh(log: &Log, entry: &LeftOut) -> PolarsResult<Finding> {
    let restored = restored(log, entry)?;
    let whole = log.season.readings.frame.vstack(&restored)?;
    let (with, _) = sets_of(&whole, log.config())?;
    let touched = touched(&restored)?;
    let turned: Vec<Turned> = with
        .par_iter()
        .enumerate()
        .filter(|(_, set)| touched.contains(&key(set)) && set.antennas.len() <= MOST_ANTENNAS)
        .flat_map_iter(|(number, set)| turned(log, set, number as u64))
        .collect();
    let what = format!(
        "`[[leave_out]]` ({}) leaves out {} of {}{}",
        entry.reason,
        if entry.rows == 1 { "1 reading".to_string() } else { format!("{} readings", entry.rows) },
        names(&restored, entry)?,
        match turned.len() {
            0 => "; no verdict turns on it".to_string(),
            1 => format!("; 1 verdict turns on it: {}", turned[0].words),
            n => {
                let some: Vec<&str> = turned.iter().take(NAMED).map(|t| t.words.as_str()).collect();
                let more = if n > NAMED { format!(", and {} more", n - NAMED) } else { String::new() };
                format!("; {n} verdicts turn on it: {}{more}", some.join(", "))
            }
        }
    );
    let (severity, action) = if turned.is_empty() {
        (Severity::Note, "nothing to mend")
    } else {
        (Severity::Warning, "say so where you publish these verdicts; a new session would settle them")
    };
    let why = "leaving readings out is a choice, and a verdict that rests on it should say so";
    let mut finding = log.finding_in_season(severity, Some(entry.line), what, why, action);
    finding.others = entry.places.clone();
    Ok(finding.endangering(turned.into_iter().map(|t| t.stake).collect()))
}

/// The readings that this entry alone leaves out.
fn restored(log: &Log, entry: &LeftOut) -> PolarsResult<DataFrame> {
    let readings = &log.season.readings;
    let others: BTreeSet<(&str, usize)> = readings
        .left_out
        .iter()
        .filter(|e| e.line != entry.line)
        .flat_map(|e| e.places.iter().map(|p| (p.file.as_str(), p.line.unwrap_or(0))))
        .collect();
    let mine: BTreeSet<(&str, usize)> =
        entry.places.iter().map(|p| (p.file.as_str(), p.line.unwrap_or(0))).filter(|p| !others.contains(p)).collect();
    let frame = &readings.left_out_frame;
    let (files, lines) = (frame.column("file")?.str()?, frame.column("line")?.u32()?);
    let keep: BooleanChunked = files
        .iter()
        .zip(lines.iter())
        .map(|(file, line)| mine.contains(&(file.unwrap_or(""), line.unwrap_or(0) as usize)))
        .collect::<Vec<bool>>()
        .into_iter()
        .map(Some)
        .collect();
    frame.filter(&keep)
}

type Key = [String; 3];

fn key(set: &Set) -> Key {
    [set.quantity.name.clone(), set.band.clone(), set.meter.clone()]
}

fn touched(frame: &DataFrame) -> PolarsResult<BTreeSet<Key>> {
    let [quantity, band, meter] = ["quantity", "band", "meter"].map(|c| frame.column(c).and_then(|c| c.str().cloned()));
    let (quantity, band, meter) = (quantity?, band?, meter?);
    let name = |column: &StringChunked, i: usize| column.get(i).unwrap_or_default().to_string();
    Ok((0..frame.height()).map(|i| [name(&quantity, i), name(&band, i), name(&meter, i)]).collect())
}

/// "godwit in session 2026-06-13".
fn names(frame: &DataFrame, entry: &LeftOut) -> PolarsResult<String> {
    let distinct = |column: &str| -> PolarsResult<Vec<String>> {
        let all: BTreeSet<String> = frame.column(column)?.str()?.iter().flatten().map(String::from).collect();
        Ok(all.into_iter().collect())
    };
    let few = |names: Vec<String>, what: &str| match names.len() {
        0 => format!("no {what} that can be read"),
        1..=3 => names.join(", "),
        n => format!("{n} {what}s"),
    };
    if frame.height() == 0 && !entry.places.is_empty() {
        return Ok("which another entry leaves out too, or which cannot be read".into());
    }
    let sessions = distinct("session")?;
    let word = if sessions.len() == 1 { "session" } else { "sessions" };
    let sessions = match sessions.len() {
        1..=3 => format!("{word} {}", sessions.join(", ")),
        n => format!("{n} sessions"),
    };
    Ok(format!("{} in {sessions}", few(distinct("antenna")?, "antenna")))
}

fn turned(log: &Log, with: &Set, number: u64) -> Vec<Turned> {
    let options = Options { confidence: log.config().confidence, seed: 1, trials: Some(TRIALS) };
    let analysed = |set: &Set| analyse_begun(set, log.config(), &options, number, &[], &|| ());
    let Some(own) = log.sets.iter().find(|s| key(&s.set) == key(with)) else { return vec![] };
    let Some((without, begun)) = analysed(&own.set) else { return vec![] };
    let without = without.result;
    let pairs = begun.pairs_of(with, log.config()).or_else(|| analysed(with).map(|a| a.0.result.pairs));
    own.keep(begun);
    let pairs = pairs.unwrap_or_default();
    let of = |names: &(String, String)| {
        let pair = pairs.iter().find(|p| (&with.antennas[p.first], &with.antennas[p.second]) == (&names.0, &names.1));
        pair.map(|p| (p.verdict, p.difference > 0.0))
    };
    let mut out = vec![];
    for p in &without.pairs {
        let names = (without.antennas[p.first].antenna.clone(), without.antennas[p.second].antenna.clone());
        let Some((verdict, positive)) = of(&names) else { continue };
        let reversed = verdict == Verdict::Apart && positive != (p.difference > 0.0);
        if verdict == p.verdict && !reversed {
            continue;
        }
        let set = label(&without.quantity.name, &without.band, &without.meter);
        let words = format!(
            "{}–{} {} with it left out, {} with it in ({set})",
            names.0,
            names.1,
            word(p.verdict),
            word(verdict)
        );
        let stake = Stake {
            quantity: Some(without.quantity.name.clone()),
            band: Some(without.band.clone()),
            meter: Some(without.meter.clone()),
            antennas: vec![names.0, names.1],
            between: true,
        };
        out.push(Turned { words, stake });
    }
    out
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Apart => "apart",
        Verdict::Noise => "inside the noise",
        Verdict::Even => "even",
        Verdict::Unlinked => "unlinked",
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::findings;
    use super::*;

    /// Two antennas 3 dB apart; in session d5 a loose connector makes b as strong as a, or does not.
    fn season(loose: bool) -> Vec<Finding> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for session in 1..=5 {
            for (antenna, level) in [("a", 0.0), ("b", -3.0)] {
                let level = if loose && session == 5 && antenna == "b" { 9.0 } else { level };
                for mounting in 1..=2 {
                    let x = level + 0.1 * f64::from((session * 3 + mounting * 2) % 5);
                    text += &format!("d{session},{antenna},2 m,field,field_strength,{x:.1},{mounting}\n");
                }
            }
        }
        let config = "[[antenna]]\nname = \"a\"\n[[antenna]]\nname = \"b\"\n[[leave_out]]\nsession = \"d5\"\nantenna = \"b\"\nreason = \"loose\"\n";
        findings("left out", config, &text)
    }

    #[test]
    fn a_verdict_that_turns_on_an_entry_is_named() {
        let found = season(true);
        assert_eq!(found.len(), 1);
        assert!(
            found[0].what.contains("2 readings of b in session d5; 1 verdict turns on it: a–b apart"),
            "{found:#?}"
        );
        assert_eq!((found[0].severity, found[0].others.len()), (Severity::Warning, 2));
    }

    #[test]
    fn an_entry_on_which_nothing_turns_says_so() {
        let found = season(false);
        assert!(found[0].what.ends_with("no verdict turns on it"), "{found:#?}");
        assert_eq!(found[0].severity, Severity::Note);
    }
}
