//! Readings, findings and results as plain tables, for whoever carries on in a program of their own.

mod judged;
mod results;
mod rows;

use std::collections::{BTreeMap, HashMap};

use polars::prelude::*;

use crate::analysis::audit::Audit;
use crate::analysis::whole::Whole;
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

/// Everything a season says, as tables: `readings` and `findings`; of the antennas `antennas`, `pairs` and
/// `components`; of the meters `meters` and `shifts`; and `claims`.
///
/// # Errors
/// Whatever Polars reports; none is expected.
pub fn tables(season: &Season, whole: &Whole) -> PolarsResult<Vec<Named>> {
    let findings: Vec<&Finding> = whole.audit.findings.iter().map(|j| &j.finding).collect();
    Ok(vec![
        Named { name: "readings", table: readings(season, &findings)? },
        Named { name: "findings", table: findings_table(&whole.audit)? },
        Named { name: "antennas", table: results::antennas(&whole.antennas)? },
        Named { name: "pairs", table: results::pairs(&whole.antennas)? },
        Named { name: "components", table: results::components(&whole.antennas)? },
        Named { name: "meters", table: judged::offsets(&whole.meters)? },
        Named { name: "shifts", table: judged::shifts(&whole.meters)? },
        Named { name: "claims", table: judged::claims(&whole.claims)? },
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
