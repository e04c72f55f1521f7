//! What the page says, in the order it says it: words, tables and pictures, ready to be put in their places.

use rayon::prelude::*;
use serde::Serialize;

use super::figure::{Figure, figure, small};
use super::sets::{Band, bands};
use crate::analysis::antennas::result::{Antennas, Overall, SetResult};
use crate::analysis::audit::Audit;
use crate::analysis::claims::result::Claims;
use crate::analysis::meters::result::{Meters, PairOfMeters};
use crate::analysis::whole::Whole;
use crate::report::grid::Grid;
use crate::report::number;
use crate::report::plot::acceptance::acceptance;
use crate::report::plot::gallery::Picture;
use crate::report::plot::meters::pictures;
use crate::report::plot::{Look, PlotError, shares, worth};
use crate::report::{antennas_text, audit_text, claims_text, meters_tables, meters_text, text::sentence};
use crate::season::finding::Severity;

/// What anyone needs to make the page again.
#[derive(Debug, Clone, Serialize)]
pub struct Run {
    /// The program's version.
    pub version: String,
    /// The command, as it can be typed.
    pub command: String,
    /// The files that were read.
    pub inputs: Vec<Input>,
}

/// One file that was read.
#[derive(Debug, Clone, Serialize)]
pub struct Input {
    /// Its name in the season's folder.
    pub name: String,
    /// Its size.
    pub bytes: usize,
    /// Its SHA-256, in hexadecimal.
    pub sha256: String,
}

/// A headline: what it is about, what it says, and the part of the page that holds more.
#[derive(Debug, Clone, Serialize)]
pub struct Headline {
    /// What it is about.
    pub about: &'static str,
    /// What it says.
    pub words: Vec<String>,
    /// Where there is more.
    pub link: &'static str,
}

/// Two meters.
#[derive(Debug, Clone, Serialize)]
pub struct Pair {
    /// Their names.
    pub title: String,
    /// What is said of them.
    pub words: Vec<String>,
    /// Their pictures.
    pub figures: Vec<Figure>,
    /// Their tables.
    pub grids: Vec<Grid>,
}

/// Claims.
#[derive(Debug, Clone, Serialize)]
pub struct ClaimsView {
    /// How many are what.
    pub words: String,
    /// Every claim.
    pub grid: Grid,
    /// Pictures, a quantity each.
    pub figures: Vec<Figure>,
    /// Meter by meter.
    pub meters: Option<Grid>,
    /// Why each that is open is open: whose, and why.
    pub reasons: Vec<(String, String)>,
    /// What a verdict does not say.
    pub cautions: Vec<String>,
    /// How it was done.
    pub method: String,
}

/// One finding.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// How bad.
    pub severity: &'static str,
    /// Where.
    pub place: String,
    /// What.
    pub what: String,
    /// Why it matters.
    pub why: String,
    /// What to do.
    pub action: String,
    /// Verdicts in doubt.
    pub doubt: Option<String>,
}

/// The page.
#[derive(Debug, Clone, Serialize)]
pub struct View {
    title: String,
    facts: Vec<String>,
    assumptions: Vec<String>,
    headlines: Vec<Headline>,
    sets: Option<Grid>,
    bands: Vec<Band>,
    corrected: Option<String>,
    overall_words: Option<String>,
    overall: Option<(Option<Figure>, Grid)>,
    worth: Option<(Option<Figure>, Grid)>,
    correlations: Option<Grid>,
    meters_words: Vec<String>,
    meters: Vec<Pair>,
    meters_grids: Vec<Grid>,
    claims: Option<ClaimsView>,
    audit_words: Vec<String>,
    found: Vec<Found>,
    found_else: Vec<Found>,
    left_out: Vec<String>,
    shares: Option<(Option<Figure>, Grid)>,
    next: Vec<String>,
    method: Vec<(&'static str, String)>,
    run: Run,
}

impl View {
    /// Gathers it, drawing the pictures side by side.
    ///
    /// # Errors
    /// What a picture's canvas refuses.
    pub fn new(whole: &Whole, run: &Run) -> Result<View, PlotError> {
        let Whole { antennas, meters, claims, audit, .. } = whole;
        let overall = antennas.overall.as_ref().filter(|o| o.antennas.len() > 1);
        let ((bands, meter_pairs), (overall_figure, worth_view, claims_view)) = rayon::join(
            || {
                rayon::join(
                    || bands(antennas, &whole.sweeps),
                    || meters.pairs.par_iter().map(|p| pair(p, meters)).collect(),
                )
            },
            || (overall_view(overall, antennas), worth_of(overall), claims_of(claims)),
        );
        let meter_pairs: Result<Vec<Pair>, PlotError> = meter_pairs;
        let (found, found_else): (Vec<_>, Vec<_>) =
            audit.findings.iter().partition(|j| j.verdicts > 0 && j.finding.severity != Severity::Note);
        let told = |of: Vec<&crate::analysis::audit::Judged>| of.into_iter().map(|j| found_of(j, audit)).collect();
        Ok(View {
            title: antennas.season.clone(),
            facts: facts(antennas, audit),
            assumptions: assumptions(&antennas.assumptions),
            headlines: headlines(whole),
            sets: (antennas.sets.len() + antennas.ordinal.len() > 1).then(|| antennas_text::sets_table(antennas)),
            bands: bands?,
            corrected: antennas_text::corrected(antennas),
            overall_words: antennas.overall.as_ref().filter(|o| o.weights.len() > 1).map(antennas_text::overall_words),
            overall: overall_figure?,
            worth: worth_view?,
            correlations: antennas_text::correlations(antennas),
            meters_words: meters_text::own_error_words(meters)
                .into_iter()
                .chain(meters_text::correction_list(meters))
                .collect(),
            meters: meter_pairs?,
            meters_grids: meters_tables::loads_table(meters)
                .into_iter()
                .chain(meters_tables::history_table(meters))
                .collect(),
            claims: claims_view?,
            audit_words: std::iter::once(audit_text::headline(audit)).chain(audit_text::most(audit)).collect(),
            found: told(found),
            found_else: told(found_else),
            left_out: antennas
                .left_out
                .iter()
                .map(|(reason, rows)| format!("{}: {reason}", number::plural(*rows, "reading", "readings")))
                .collect(),
            shares: shares_of(&antennas.sets)?,
            next: next(whole),
            method: [
                Some(("Antennas", antennas_text::method(antennas))),
                (!meters.pairs.is_empty()).then(|| ("Meters", meters_text::method(meters))),
                (!claims.claims.is_empty()).then(|| ("Claims", claims_text::method(claims))),
            ]
            .into_iter()
            .flatten()
            .collect(),
            run: run.clone(),
        })
    }
}

/// What holds for want of a `season.toml`, its first line with a capital.
fn assumptions(lines: &[String]) -> Vec<String> {
    let first = |(i, line): (usize, &String)| if i == 0 { sentence(line) } else { line.clone() };
    lines.iter().enumerate().map(first).collect()
}

fn facts(antennas: &Antennas, audit: &Audit) -> Vec<String> {
    vec![
        number::plural(antennas.readings, "reading", "readings"),
        number::plural(audit.sets, "set", "sets"),
        format!("{} confidence", number::percent(antennas.confidence)),
    ]
}

fn headlines(whole: &Whole) -> Vec<Headline> {
    let Whole { antennas, meters, claims, audit, .. } = whole;
    // who is first comes before how many comparisons say so
    let overall = antennas.overall.as_ref().filter(|o| o.weights.len() > 1).map(antennas_text::overall_words);
    let first = overall.into_iter().chain([antennas_text::headline(antennas)]).collect();
    let mut out = vec![Headline { about: "Antennas", words: first, link: "antennas" }];
    let of_meters: Vec<String> = meters.pairs.iter().flat_map(meters_text::headline).collect();
    if !of_meters.is_empty() {
        out.push(Headline { about: "Meters", words: of_meters, link: "meters" });
    }
    if !claims.claims.is_empty() {
        out.push(Headline { about: "Claims", words: vec![claims_text::headline(claims)], link: "claims" });
    }
    out.push(Headline { about: "The log itself", words: vec![audit_text::headline(audit)], link: "audit" });
    if let Some(next) = antennas.next.first() {
        out.push(Headline { about: "Measure next", words: vec![next.words()], link: "next" });
    }
    out
}

/// Every step that some question asks for, each once, those of the antennas first.
fn next(whole: &Whole) -> Vec<String> {
    let Whole { antennas, meters, claims, audit, .. } = whole;
    let mut out: Vec<String> = vec![];
    for step in [&antennas.next, &claims.next, &meters.next, &audit.next].into_iter().flatten() {
        let words = step.words();
        if !out.contains(&words) {
            out.push(words);
        }
    }
    out
}

fn overall_view(overall: Option<&Overall>, antennas: &Antennas) -> Result<Option<(Option<Figure>, Grid)>, PlotError> {
    let Some(o) = overall.filter(|o| o.weights.len() > 1) else { return Ok(None) };
    let note =
        "Intervals hold for all antennas at once, but two of them may overlap and still be apart: the rank sets tell.";
    let figure = figure(note, |look| worth::overall(o, look).map(Picture::Rows))?;
    let mut grid = antennas_text::overall_table(o, antennas);
    grid.title = String::new();
    Ok(Some((figure, grid)))
}

fn worth_of(overall: Option<&Overall>) -> Result<Option<(Option<Figure>, Grid)>, PlotError> {
    let Some(o) = overall.filter(|o| !o.worth.is_empty()) else { return Ok(None) };
    let figure = figure("", |look| worth::worth(o, look).map(Picture::Rows))?;
    Ok(Some((figure, worth::table(o))))
}

fn pair(p: &PairOfMeters, meters: &Meters) -> Result<Pair, PlotError> {
    let confidence = meters.confidence;
    let drawn: Result<Vec<Option<Figure>>, PlotError> =
        pictures(p, Look::NARROW).into_par_iter().map(|(_, plot)| small(Picture::Meters(plot))).collect();
    let mut grids = vec![meters_tables::offsets(p, confidence)];
    grids.extend(meters_tables::lines(p));
    grids.extend(meters_tables::session_grids(p, usize::MAX));
    grids.extend(meters_tables::levels(p));
    Ok(Pair {
        title: meters_text::pair_name(p),
        words: meters_text::pair_words(p, confidence).into_iter().map(|w| w.0).collect(),
        figures: drawn?.into_iter().flatten().collect(),
        grids,
    })
}

fn claims_of(claims: &Claims) -> Result<Option<ClaimsView>, PlotError> {
    if claims.claims.is_empty() {
        return Ok(None);
    }
    let note = "The thick tick is the limit claimed; the shaded part holds results that would count as met.";
    let count = acceptance(claims, Look::WIDE).len();
    let drawn: Result<Vec<Option<Figure>>, PlotError> = (0..count)
        .map(|i| figure(note, |look| acceptance(claims, look).into_iter().nth(i).map(|p| Picture::Rows(p.1))))
        .collect();
    Ok(Some(ClaimsView {
        words: claims_text::headline(claims),
        grid: claims_text::claims_table(claims),
        figures: drawn?.into_iter().flatten().collect(),
        meters: claims_text::meters_table(claims),
        reasons: claims_text::reasons(claims),
        cautions: claims_text::cautions(claims),
        method: claims_text::method(claims),
    }))
}

fn shares_of(sets: &[SetResult]) -> Result<Option<(Option<Figure>, Grid)>, PlotError> {
    let Some(table) = shares::table(sets) else { return Ok(None) };
    let note = "Scatter gets smaller with more of what scatters; what is declared and not seen in any repeat does not.";
    Ok(Some((figure(note, |look| shares::shares(sets, look).map(Picture::Rows))?, table)))
}

fn found_of(judged: &crate::analysis::audit::Judged, audit: &Audit) -> Found {
    let f = &judged.finding;
    Found {
        severity: audit_text::severity_word(f.severity),
        place: audit_text::place(f),
        what: sentence(&f.what),
        why: f.why.clone(),
        action: f.action.clone(),
        doubt: audit_text::doubt(judged, audit),
    }
}
