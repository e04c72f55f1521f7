//! Readings, findings and results as plain tables, for whoever carries on in a program of their own.

use std::collections::{BTreeMap, HashMap};

use polars::prelude::*;

use crate::analysis::antennas::result::{Antennas, Verdict};
use crate::analysis::antennas::shown;
use crate::analysis::audit::Audit;
use crate::season::Season;
use crate::season::config::Repeats;
use crate::season::finding::{Finding, Severity};

/// One table under the name its file gets.
pub struct Named {
    /// The file's name, without ending.
    pub name: &'static str,
    /// The table.
    pub table: DataFrame,
}

/// Everything a season says, as tables: `readings`, `findings`, and of the answer `antennas`, `pairs` and `components`.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn tables(season: &Season, audit: &Audit, answer: &Antennas) -> PolarsResult<Vec<Named>> {
    let findings: Vec<&Finding> = audit.findings.iter().map(|j| &j.finding).collect();
    Ok(vec![
        Named { name: "readings", table: readings(season, &findings)? },
        Named { name: "findings", table: findings_table(audit)? },
        Named { name: "antennas", table: antennas(answer)? },
        Named { name: "pairs", table: pairs(answer)? },
        Named { name: "components", table: components(answer)? },
    ])
}

/// Every reading, used or not, typed: where it stands, what became of it, which visit, mounting and repeat it is, its
/// value in the quantity's unit and on the analysis scale, and the rules that had something to say of it.
fn readings(season: &Season, findings: &[&Finding]) -> PolarsResult<DataFrame> {
    let log = &season.readings;
    let fates = [("used", &log.frame), ("left out", &log.left_out_frame), ("set aside", &log.set_aside_frame)];
    let mut all = DataFrame::empty();
    for (fate, frame) in fates {
        let mut part = frame.clone();
        part.with_column(Column::new("fate".into(), vec![fate; frame.height()]))?;
        all = if all.width() == 0 { part } else { all.vstack(&part)? };
    }
    let options = SortMultipleOptions::default().with_maintain_order(true);
    let all = all.sort(["file", "line"], options)?;
    let text = |name: &str| all.column(name).and_then(|c| c.str().cloned());
    let (file, quantity, antenna) = (text("file")?, text("quantity")?, text("antenna")?);
    let (session, band, meter) = (text("session")?, text("band")?, text("meter")?);
    let (line, mounting) = (all.column("line")?.u32()?.clone(), all.column("mounting")?.i64()?.clone());
    let said = said_of(findings);
    let remounted = season.config.repeats == Repeats::Remounted;

    let (mut units, mut scales, mut items) = (vec![], vec![], vec![]);
    let (mut visits, mut mountings, mut repeats) = (vec![], vec![], vec![]);
    let (mut worst, mut rules) = (vec![], vec![]);
    let mut seen: HashMap<String, u32> = HashMap::new();
    for i in 0..all.height() {
        let of = |column: &StringChunked| column.get(i).unwrap_or_default().to_string();
        let known = quantity.get(i).and_then(|name| season.config.quantity(name));
        scales.push(known.as_ref().map(|q| q.scale.name(&q.unit)));
        units.push(known.map(|q| q.unit));
        items.push(antenna.get(i).map(|name| if season.config.is_load(name) { "check load" } else { "antenna" }));
        let visit = format!("{}/{}", of(&session), of(&antenna));
        let mounted = match mounting.get(i) {
            Some(number) => format!("{visit}/{number}"),
            None if remounted => format!("{visit}/{}:{}", of(&file), line.get(i).unwrap_or(0)),
            None => format!("{visit}/on"),
        };
        let repeat = seen.entry([mounted.clone(), of(&band), of(&meter), of(&quantity)].join("\u{0}")).or_default();
        *repeat += 1;
        repeats.push(*repeat);
        visits.push(visit);
        mountings.push(mounted);
        let told = said.get(&(file.get(i).unwrap_or_default(), line.get(i).unwrap_or(0) as usize));
        worst.push(told.and_then(|f| f.iter().map(|f| f.severity).min()).map(severity));
        rules.push(told.map(|f| f.iter().map(|f| f.rule).collect::<Vec<_>>().join("; ")));
    }
    let mut made = all
        .lazy()
        .select(
            [
                "file", "line", "fate", "session", "antenna", "band", "meter", "quantity", "value", "y", "readings",
                "sd", "y_sd",
            ]
            .into_iter()
            .chain(["step", "mounting", "when", "order", "battery"])
            .map(col)
            .collect::<Vec<_>>(),
        )
        .collect()?;
    for column in [
        Column::new("unit".into(), units),
        Column::new("y_scale".into(), scales),
        Column::new("item".into(), items),
        Column::new("level_visit".into(), visits),
        Column::new("level_mounting".into(), mountings),
        Column::new("level_reading".into(), repeats),
        Column::new("severity".into(), worst),
        Column::new("findings".into(), rules),
    ] {
        made.with_column(column)?;
    }
    Ok(made)
}

/// Findings by each file and line they concern.
fn said_of<'a>(findings: &[&'a Finding]) -> BTreeMap<(&'a str, usize), Vec<&'a Finding>> {
    let mut said: BTreeMap<(&str, usize), Vec<&Finding>> = BTreeMap::new();
    for finding in findings {
        for place in std::iter::once(&finding.place).chain(&finding.others) {
            let Some(line) = place.line else { continue };
            let told = said.entry((place.file.as_str(), line)).or_default();
            if !told.iter().any(|f| f.rule == finding.rule) {
                told.push(finding);
            }
        }
    }
    said
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

fn findings_table(audit: &Audit) -> PolarsResult<DataFrame> {
    let all = &audit.findings;
    let text = |name: &str, of: &dyn Fn(&Finding) -> String| {
        Column::new(name.into(), all.iter().map(|j| of(&j.finding)).collect::<Vec<_>>())
    };
    let columns = vec![
        text("rule", &|f| f.rule.into()),
        text("severity", &|f| severity(f.severity).into()),
        text("file", &|f| f.place.file.clone()),
        Column::new("line".into(), all.iter().map(|j| j.finding.place.line.map(|l| l as u64)).collect::<Vec<_>>()),
        Column::new("column".into(), all.iter().map(|j| j.finding.place.column.clone()).collect::<Vec<_>>()),
        Column::new("verdicts".into(), all.iter().map(|j| j.verdicts as u64).collect::<Vec<_>>()),
        text("what", &|f| f.what.clone()),
        text("why", &|f| f.why.clone()),
        text("action", &|f| f.action.clone()),
    ];
    DataFrame::new(all.len(), columns)
}

/// Rows that each belong to a set, column by column.
struct Rows {
    sets: Vec<[String; 3]>,
    texts: Vec<(&'static str, Vec<Option<String>>)>,
    numbers: Vec<(&'static str, Vec<Option<f64>>)>,
}

impl Rows {
    fn new(texts: &[&'static str], numbers: &[&'static str]) -> Rows {
        Rows {
            sets: vec![],
            texts: texts.iter().map(|name| (*name, vec![])).collect(),
            numbers: numbers.iter().map(|name| (*name, vec![])).collect(),
        }
    }

    fn push(&mut self, set: [&str; 3], texts: &[Option<String>], numbers: &[Option<f64>]) {
        self.sets.push(set.map(String::from));
        self.texts.iter_mut().zip(texts).for_each(|((_, column), text)| column.push(text.clone()));
        self.numbers.iter_mut().zip(numbers).for_each(|((_, column), number)| column.push(*number));
    }

    fn table(self) -> PolarsResult<DataFrame> {
        let set = |k: usize| self.sets.iter().map(|s| s[k].clone()).collect::<Vec<_>>();
        let mut columns: Vec<Column> = ["quantity", "band", "meter"]
            .into_iter()
            .enumerate()
            .map(|(k, name)| Column::new(name.into(), set(k)))
            .collect();
        columns.extend(self.texts.into_iter().map(|(name, texts)| Column::new(name.into(), texts)));
        columns.extend(self.numbers.into_iter().map(|(name, numbers)| Column::new(name.into(), numbers)));
        DataFrame::new(self.sets.len(), columns)
    }
}

fn antennas(answer: &Antennas) -> PolarsResult<DataFrame> {
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

fn pairs(answer: &Antennas) -> PolarsResult<DataFrame> {
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

fn components(answer: &Antennas) -> PolarsResult<DataFrame> {
    let mut rows = Rows::new(&["level", "from", "scale"], &["sd", "df"]);
    for set in &answer.sets {
        for c in &set.components {
            let from = if c.declared {
                "declared"
            } else if c.state == crate::stats::mixed::LevelState::Seen {
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

/// A table whose texts no spreadsheet takes for a formula: what starts with `=`, `+`, `-`, `@` or a control character
/// gets an apostrophe before it.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn without_formulas(table: &DataFrame) -> PolarsResult<DataFrame> {
    let tame = |column: &Column| -> PolarsResult<Column> {
        let Ok(texts) = column.str() else { return Ok(column.clone()) };
        let risky = |text: &str| text.starts_with(['=', '+', '-', '@']) || text.starts_with(char::is_control);
        let tamed: StringChunked =
            texts.iter().map(|text| text.map(|t| if risky(t) { format!("'{t}") } else { t.to_string() })).collect();
        Ok(tamed.with_name(column.name().clone()).into_column())
    };
    let columns = table.columns().iter().map(tame).collect::<PolarsResult<Vec<_>>>()?;
    DataFrame::new(table.height(), columns)
}
