//! What the audit found in words: how much of each kind and what matters most, then every finding.

use super::number::{count, plural};
use super::text::{assumptions, next, sentence, wrap};
use crate::analysis::antennas::result::label;
use crate::analysis::audit::rules::RULES;
use crate::analysis::audit::{Audit, Judged};
use crate::analysis::next::list;
use crate::season::finding::{Finding, Group, Place, Severity, Stake};

const GROUPS: [(Group, &str, &str); 3] = [
    (Group::Impossible, "Impossible", "it cannot be so, whatever the scatter"),
    (Group::Suspect, "Suspect", "it can be so, but something else is likelier"),
    (Group::WeakDesign, "Weak design", "nothing is wrong with it, but it cannot answer what is asked of it"),
];

/// The whole answer. Ends with a newline.
pub fn render(audit: &Audit) -> String {
    let mut out: Vec<String> = vec![audit.season.clone(), String::new()];
    out.extend(assumptions(&audit.assumptions));
    out.push(wrap(&headline(audit), ""));
    out.extend(most(audit).map(|words| wrap(&words, "")));
    if !audit.next.is_empty() {
        out.push(String::new());
        out.extend(next("Do next. ", audit.next.get(..3).unwrap_or(&audit.next)));
        out.pop();
    }
    for (group, name, meaning) in GROUPS {
        let found: Vec<&Judged> = audit.of(group).collect();
        if found.is_empty() {
            continue;
        }
        out.push(String::new());
        out.push(wrap(&format!("{name}: {meaning}"), "  "));
        for judged in found {
            out.push(String::new());
            out.extend(told(judged, audit));
        }
    }
    out.push(String::new());
    out.push(wrap(
        &format!(
            "{} held against {} in {}. Nothing in the files was changed.",
            plural(RULES.len(), "rule", "rules"),
            plural(audit.readings, "reading", "readings"),
            plural(audit.sets, "set", "sets")
        ),
        "",
    ));
    out.join("\n") + "\n"
}

/// How many findings of each group.
pub(super) fn headline(audit: &Audit) -> String {
    let of = |group: Group| audit.of(group).count();
    let (impossible, suspect, weak) = (of(Group::Impossible), of(Group::Suspect), of(Group::WeakDesign));
    if impossible + suspect + weak == 0 {
        return "Nothing impossible, nothing suspect, and no weakness in the design was found in this log.".into();
    }
    let some = |n: usize, what: &str| if n == 0 { format!("nothing {what}") } else { format!("{} {what}", count(n)) };
    let design = match weak {
        0 => "no weakness in the design".to_string(),
        n => plural(n, "remark on the design", "remarks on the design"),
    };
    let errors = audit.findings.iter().filter(|j| j.finding.severity == Severity::Error).count();
    let errors = match errors {
        0 => "None is an error: every reading can stand as it is.".to_string(),
        1 => "1 is an error: the log cannot stand as it is.".to_string(),
        n => format!("{} are errors: the log cannot stand as it is.", count(n)),
    };
    let counts = [some(impossible, "impossible"), some(suspect, "suspect"), design];
    let counts: Vec<&str> = counts.iter().map(String::as_str).collect();
    sentence(&format!("{}. {errors}", list(&counts)))
}

/// What matters most: an error; else what is suspect; else the weakest of the design; of equals, what most
/// verdicts hang on.
pub(super) fn most(audit: &Audit) -> Option<String> {
    let rank = |j: &Judged| (j.finding.severity != Severity::Error, j.finding.group);
    let grave = audit.findings.iter().filter(|j| j.verdicts > 0 && j.finding.severity != Severity::Note);
    // `min_by` takes the first of equals, in the order in which they are told
    let worst = grave.min_by(|a, b| rank(a).cmp(&rank(b)).then(b.verdicts.cmp(&a.verdicts)))?;
    let f = &worst.finding;
    // the first clause says what it is; the rest is told below
    let what = f.what.split("; ").next().unwrap_or(&f.what);
    Some(format!(
        "What matters most: {what} ({}). It puts {} of {} in doubt.",
        Place { column: None, ..f.place.clone() },
        count(worst.verdicts),
        plural(audit.verdicts, "verdict", "verdicts")
    ))
}

/// Where it is: of one place, with its column; of several, their lines alone.
pub(super) fn place(finding: &Finding) -> String {
    if finding.others.is_empty() {
        return finding.place.to_string();
    }
    format!("{}{}", Place { column: None, ..finding.place.clone() }, others(finding))
}

fn told(judged: &Judged, audit: &Audit) -> Vec<String> {
    let f = &judged.finding;
    let severity = severity_word(f.severity);
    let mut out = vec![wrap(&format!("  {} ({severity}: {})", place(f), f.rule), "    ")];
    out.push(wrap(&format!("    {}", f.what), "    "));
    out.push(wrap(&format!("    why: {}", f.why), "      "));
    out.push(wrap(&format!("    do: {}", f.action), "      "));
    out.extend(doubt(judged, audit).map(|words| wrap(&format!("    in doubt: {words}"), "      ")));
    out
}

/// A severity as it is called.
pub(super) fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

/// How many verdicts a finding puts in doubt, and whose; `None` where it puts none.
pub(super) fn doubt(judged: &Judged, audit: &Audit) -> Option<String> {
    (judged.verdicts > 0).then(|| {
        let whose = whose(&judged.finding.endangers);
        format!("{} of {} verdicts{whose}", count(judged.verdicts), count(audit.verdicts))
    })
}

/// The other places, by file: lines in a row as a range; a long list is cut, and says so.
fn others(finding: &Finding) -> String {
    const SHOWN: usize = 6;
    let mut files: Vec<(&str, Vec<usize>)> = vec![(finding.place.file.as_str(), vec![])];
    for Place { file, line, .. } in &finding.others {
        let Some(line) = *line else { continue };
        match files.iter_mut().find(|(f, _)| f == file) {
            Some((_, lines)) => lines.push(line),
            None => files.push((file, vec![line])),
        }
    }
    let mut words: Vec<String> = vec![];
    for (k, (file, lines)) in files.iter().enumerate().filter(|(_, (_, lines))| !lines.is_empty()) {
        let ranges = ranges(lines);
        let many = ranges.len() > SHOWN;
        let shown: Vec<String> = ranges.iter().take(SHOWN).cloned().collect();
        let cut = if many { format!(" … ({} lines)", count(lines.len())) } else { String::new() };
        let list = format!("{}{cut}", shown.join(", "));
        words.push(if k == 0 { format!(" and {list}") } else { format!("; {file}:{list}") });
    }
    words.concat()
}

fn ranges(lines: &[usize]) -> Vec<String> {
    let mut lines = lines.to_vec();
    lines.sort_unstable();
    lines.dedup();
    let mut runs: Vec<(usize, usize)> = vec![];
    for line in lines {
        match runs.last_mut() {
            Some((_, end)) if *end + 1 == line => *end = line,
            _ => runs.push((line, line)),
        }
    }
    runs.into_iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a}–{b}") }).collect()
}

/// Whose verdicts: of one stake in full, of several in short.
fn whose(stakes: &[Stake]) -> String {
    let set = |s: &Stake| match (&s.quantity, &s.band, &s.meter) {
        (Some(quantity), Some(band), Some(meter)) => format!(" in {}", label(quantity, band, meter)),
        (Some(quantity), None, None) => format!(" in {}", label(quantity, "", "").trim_end_matches([',', ' '])),
        (None, Some(band), None) => format!(" on {band}"),
        _ => String::new(),
    };
    match stakes {
        [one] => {
            let names: Vec<&str> = one.antennas.iter().map(String::as_str).collect();
            let with = match names.len() {
                0 => String::new(),
                1..=3 => format!(", those with {}", list(&names)),
                n => format!(", those with {n} antennas"),
            };
            format!("{with}{}", set(one))
        }
        [] => String::new(),
        [first, ..] => {
            let mut names: Vec<&str> = stakes.iter().flat_map(|s| s.antennas.iter().map(String::as_str)).collect();
            names.sort_unstable();
            names.dedup();
            let with = match names.len() {
                0 => String::new(),
                1..=3 => format!(", those with {}", list(&names)),
                n => format!(", those with {n} antennas"),
            };
            let sets = stakes.iter().map(set).collect::<std::collections::BTreeSet<_>>();
            if sets.len() == 1 { format!("{with}{}", set(first)) } else { format!("{with} in {} sets", sets.len()) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_in_a_row_are_told_as_a_range() {
        assert_eq!(ranges(&[5, 3, 4, 9, 9, 11]), ["3–5", "9", "11"]);
    }

    #[test]
    fn many_other_places_are_counted() {
        let place = |file: &str, line: usize| Place { file: file.into(), line: Some(line), column: None };
        let mut finding = Finding::new(Severity::Note, place("a.csv", 1), "", "", "");
        finding.others = [place("a.csv", 7), place("a.csv", 8), place("b.csv", 2)].to_vec();
        assert_eq!(others(&finding), " and 7–8; b.csv:2");
        finding.others = (1..20).map(|i| place("a.csv", 2 * i)).collect();
        assert_eq!(others(&finding), " and 2, 4, 6, 8, 10, 12 … (19 lines)");
    }
}
