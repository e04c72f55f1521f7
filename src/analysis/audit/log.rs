//! What a rule is given: the season's readings as plain rows, grouped by set, mounting and occasion, and
//! a fit of each set made when the first rule asks for it.

use std::hash::Hash;
use std::sync::OnceLock;

use polars::prelude::*;
use rayon::prelude::*;

use super::together::{Scatter, Sorted};
use crate::analysis::antennas::fitted::fit;
use crate::analysis::antennas::result::label;
use crate::analysis::antennas::set_analysis::Begun;
use crate::analysis::antennas::sets::{OrdinalSet, Set, sets_of_coded};
use crate::analysis::audit::levels::Levels;
use crate::analysis::coded::{Coded, QuickMap};
use crate::analysis::sessions::Sessions;
use crate::montecarlo::simultaneous::SetFit;
use crate::season::Season;
use crate::season::config::{Config, Repeats};
use crate::season::finding::{Finding, Place, Severity, Stake};

/// The most antennas a set may have to be fitted.
pub const MOST_ANTENNAS: usize = 100;

/// One reading. Names are indices into the lists of [`Log`]; numbers are as in the season's frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Index into [`Log::files`].
    pub file: usize,
    /// Line in it, from 1.
    pub line: usize,
    /// Index into [`Log::sessions`].
    pub session: usize,
    /// Index into [`Log::antennas`]: an antenna or a check load.
    pub antenna: usize,
    /// Index into [`Log::bands`].
    pub band: usize,
    /// Index into [`Log::meters`].
    pub meter: usize,
    /// Index into [`Log::quantities`].
    pub quantity: usize,
    /// The value, in the quantity's unit, at the meter.
    pub value: f64,
    /// The value on the analysis scale, at the meter: not corrected for line loss.
    pub y: f64,
    /// The last digit it is written to, in the quantity's unit.
    pub step: f64,
    /// Number of readings behind it, 1 or more.
    pub readings: f64,
    /// Standard deviation of those readings, in the quantity's unit.
    pub sd: Option<f64>,
    /// The mounting's number, where one is written.
    pub mounting: Option<i64>,
    /// When, in microseconds since 1970.
    pub when: Option<i64>,
    /// Place in the session's running order.
    pub order: Option<f64>,
    /// Battery voltage, V.
    pub battery: Option<f64>,
}

/// One set with its rows.
#[derive(Debug)]
pub struct LogSet {
    /// The set, as the verdicts use it: corrected for line loss, without check loads.
    pub set: Set,
    /// Its readings, by index into [`Log::rows`], in the order of the log.
    pub rows: Vec<usize>,
    /// The readings of each mounting, by index into [`Log::rows`], in the order of `set.mountings`.
    pub mountings: Vec<Vec<usize>>,
    fit: OnceLock<Option<SetFit>>,
    begun: OnceLock<Begun>,
}

impl LogSet {
    /// The set's fit, made once; `None` where the log shows no scatter, or of more than
    /// [`MOST_ANTENNAS`] antennas.
    pub fn fit(&self, config: &Config) -> Option<&SetFit> {
        let made = self.fit.get_or_init(|| {
            if self.set.antennas.len() > MOST_ANTENNAS { None } else { fit(&self.set, config.confidence) }
        });
        made.as_ref()
    }

    /// Keeps a rule's replays of the set, for the analysis that comes after.
    pub fn keep(&self, begun: Begun) {
        let _ = self.begun.set(begun);
    }

    /// Replays that a rule made of the set.
    pub fn into_begun(self) -> Option<Begun> {
        self.begun.into_inner()
    }

    /// The set in words.
    pub fn label(&self) -> String {
        label(&self.set.quantity.name, &self.set.band, &self.set.meter)
    }

    /// The verdicts of this set; of the pairs with those antennas only, where any are named.
    pub fn stake(&self, antennas: &[&str]) -> Stake {
        Stake {
            quantity: Some(self.set.quantity.name.clone()),
            band: Some(self.set.band.clone()),
            meter: Some(self.set.meter.clone()),
            antennas: antennas.iter().map(|a| (*a).to_string()).collect(),
            between: false,
        }
    }
}

/// All that a rule can ask about.
#[derive(Debug)]
pub struct Log<'a> {
    /// The season: its `season.toml`, the typed frame, what was left out, files and their counts.
    pub season: &'a Season,
    /// Every reading that counts, check loads included, by file, then line.
    pub rows: Vec<Row>,
    /// Files, in the season's order.
    pub files: Vec<String>,
    /// Sessions in order of time.
    pub sessions: Vec<String>,
    /// Antennas and check loads, in the order of the log.
    pub antennas: Vec<String>,
    /// Bands, in the order of the log.
    pub bands: Vec<String>,
    /// Meters, in the order of the log.
    pub meters: Vec<String>,
    /// Quantities, in the order of the log.
    pub quantities: Vec<String>,
    /// Sets of numbers, in the order of the verdicts.
    pub sets: Vec<LogSet>,
    /// What each level of each set scatters by, and what does not fit it; in the order of `sets`.
    pub levels: Vec<Levels>,
    /// Sets of grades.
    pub ordinal: Vec<OrdinalSet>,
    together: OnceLock<Sorted>,
}

impl<'a> Log<'a> {
    /// Lays a season out for the rules.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected on a frame the season made.
    pub fn new(season: &'a Season) -> PolarsResult<Log<'a>> {
        let mut log = Log::without_levels(season)?;
        let count = log.sets.len();
        log.levels = log.sets.par_iter().map(|s| Levels::new(&log, s, count)).collect();
        Ok(log)
    }

    /// The same for rules that ask nothing of levels, in a fraction of the time.
    ///
    /// # Errors
    /// As [`Log::new`].
    pub fn without_levels(season: &'a Season) -> PolarsResult<Log<'a>> {
        let frame = &season.readings.frame;
        let coded = Coded::all(frame, ["file", "session", "antenna", "band", "meter", "quantity"])?;
        let [files, sessions, antennas, bands, meters, quantities] = coded;
        let sessions = Sessions::of(frame, sessions)?.coded;
        let coded = [files, sessions, antennas, bands, meters, quantities];
        let [_, sessions, antennas, bands, meters, quantities] = &coded;
        // side by side: both go through the whole log
        let (rows, sets) = rayon::join(
            || rows_of(frame, &coded),
            || sets_of_coded(frame, [quantities, bands, meters, sessions, antennas], &season.config),
        );
        let (rows, (sets, ordinal)) = (rows?, sets?);
        let [files, sessions, antennas, bands, meters, quantities] = coded.map(|c| c.names);
        let mut log = Log {
            season,
            rows,
            files,
            sessions,
            antennas,
            bands,
            meters,
            quantities,
            sets: vec![],
            levels: vec![],
            ordinal,
            together: OnceLock::new(),
        };
        log.sets = log.with_rows(sets);
        Ok(log)
    }

    /// Gives each set the rows it was made of.
    fn with_rows(&self, sets: Vec<Set>) -> Vec<LogSet> {
        let mut rows_of: QuickMap<(usize, usize, usize), Vec<usize>> = QuickMap::default();
        for (i, row) in self.rows.iter().enumerate().filter(|(_, r)| !self.is_load(r)) {
            rows_of.entry((row.quantity, row.band, row.meter)).or_default().push(i);
        }
        let place = |names: &[String], name: &str| names.iter().position(|n| n == name).unwrap_or(usize::MAX);
        sets.into_iter()
            .map(|set| {
                let key = (
                    place(&self.quantities, &set.quantity.name),
                    place(&self.bands, &set.band),
                    place(&self.meters, &set.meter),
                );
                let rows = rows_of.remove(&key).unwrap_or_default();
                // first come, first numbered: the order in which the verdicts' mountings stand too
                let mountings = group(&rows, |i| {
                    (self.rows[i].session, self.rows[i].antenna, self.mounting_key(i).0, self.mounting_key(i).1)
                });
                LogSet { set, rows, mountings, fit: OnceLock::new(), begun: OnceLock::new() }
            })
            .collect()
    }

    /// Readings of one meter on one mounting together.
    pub fn together(&self) -> &Sorted {
        self.together.get_or_init(|| Sorted::new(self))
    }

    /// Takes the scatter between two moments from a larger log; to be said before any rule asks.
    pub fn knowing(&self, scatter: &Scatter) {
        let _ = self.together.set(Sorted::knowing(self, scatter));
    }

    /// What `season.toml` says.
    pub fn config(&self) -> &Config {
        &self.season.config
    }

    /// What tells a row's mounting from others of its visit: its number; where it has none, nothing, or
    /// the row itself if the season says that each row was mounted anew.
    pub fn mounting_key(&self, row: usize) -> (Option<i64>, Option<usize>) {
        let remounted = self.config().repeats == Repeats::Remounted;
        match self.rows[row].mounting {
            None if remounted => (None, Some(row)),
            number => (number, None),
        }
    }

    /// Quantity, band and meter of a row: its set, check loads included.
    pub fn set_key(&self, row: usize) -> (usize, usize, usize) {
        let r = &self.rows[row];
        (r.quantity, r.band, r.meter)
    }

    /// Whether a row reads a check load.
    pub fn is_load(&self, row: &Row) -> bool {
        self.config().is_load(&self.antennas[row.antenna])
    }

    /// Name of a row's antenna.
    pub fn antenna(&self, row: usize) -> &str {
        &self.antennas[self.rows[row].antenna]
    }

    /// Name of a row's session.
    pub fn session(&self, row: usize) -> &str {
        &self.sessions[self.rows[row].session]
    }

    /// Name of a row's band.
    pub fn band(&self, row: usize) -> &str {
        &self.bands[self.rows[row].band]
    }

    /// Name of a row's meter.
    pub fn meter(&self, row: usize) -> &str {
        &self.meters[self.rows[row].meter]
    }

    /// Name of a row's quantity.
    pub fn quantity(&self, row: usize) -> &str {
        &self.quantities[self.rows[row].quantity]
    }

    /// A row's set in words.
    pub fn label(&self, row: usize) -> String {
        label(self.quantity(row), self.band(row), self.meter(row))
    }

    /// A row's value as it is written: to its last digit, with its unit.
    pub fn written(&self, row: usize) -> String {
        let r = &self.rows[row];
        let decimals = (-r.step.log10()).ceil().clamp(0.0, 9.0) as usize;
        let unit = self.config().quantity(self.quantity(row)).map(|q| q.unit).filter(|u| u != "1");
        let number = format!("{:.decimals$}", r.value).replace('-', "−");
        unit.map_or(number.clone(), |unit| format!("{number} {}", if unit == "ohm" { "Ω" } else { &unit }))
    }

    /// The last digit of a row's display, in the quantity's unit: declared, but never finer than needed to
    /// write the value; else as written.
    pub fn resolution(&self, row: usize) -> f64 {
        let declared = self.config().meter(self.meter(row)).and_then(|m| m.resolution.get(self.quantity(row)));
        declared.copied().unwrap_or(0.0).max(self.rows[row].step)
    }

    /// Where a row is.
    pub fn place(&self, row: usize, column: Option<&str>) -> Place {
        let r = &self.rows[row];
        Place { file: self.files[r.file].clone(), line: Some(r.line), column: column.map(String::from) }
    }

    /// The verdicts that those rows enter: in each set, the pairs with their antennas. Rows of check loads
    /// enter none.
    pub fn stakes(&self, rows: &[usize]) -> Vec<Stake> {
        let mut by_set: Vec<Stake> = vec![];
        for &row in rows.iter().filter(|&&i| !self.is_load(&self.rows[i])) {
            let (quantity, band, meter) = (self.quantity(row), self.band(row), self.meter(row));
            let same = |s: &Stake| {
                s.quantity.as_deref() == Some(quantity)
                    && s.band.as_deref() == Some(band)
                    && s.meter.as_deref() == Some(meter)
            };
            let at = by_set.iter().position(same).unwrap_or_else(|| {
                by_set.push(Stake {
                    quantity: Some(quantity.into()),
                    band: Some(band.into()),
                    meter: Some(meter.into()),
                    antennas: vec![],
                    between: false,
                });
                by_set.len() - 1
            });
            let name = self.antenna(row);
            if !by_set[at].antennas.iter().any(|a| a == name) {
                by_set[at].antennas.push(name.into());
            }
        }
        by_set
    }

    /// A finding about rows: it points at the first of them, names the places of the others, and endangers
    /// the verdicts they enter. Rows are told in the order of the log.
    pub fn finding(
        &self,
        severity: Severity,
        rows: &[usize],
        what: impl Into<String>,
        why: impl Into<String>,
        action: impl Into<String>,
    ) -> Finding {
        let mut rows = rows.to_vec();
        rows.sort_unstable();
        rows.dedup();
        let mut places = rows.iter().map(|&row| self.place(row, Some("value")));
        let first = places.next().unwrap_or(Place { file: "readings".into(), line: None, column: None });
        let others = places.collect();
        Finding { others, ..Finding::new(severity, first, what, why, action).endangering(self.stakes(&rows)) }
    }

    /// A finding about what `season.toml` says on a line.
    pub fn finding_in_season(
        &self,
        severity: Severity,
        line: Option<usize>,
        what: impl Into<String>,
        why: impl Into<String>,
        action: impl Into<String>,
    ) -> Finding {
        // a file by itself has no season.toml to point at
        let alone = self.files.first().filter(|_| !self.season.assumptions.is_empty());
        let place = self.season.place_in_settings(line);
        let place = Place { file: alone.cloned().unwrap_or(place.file), ..place };
        Finding::new(severity, place, what, why, action)
    }
}

/// Items with one key together, in order of first appearance.
pub fn group<K: Eq + Hash>(items: &[usize], key: impl Fn(usize) -> K) -> Vec<Vec<usize>> {
    let mut place: QuickMap<K, usize> = QuickMap::default();
    let mut groups: Vec<Vec<usize>> = vec![];
    for &item in items {
        let at = *place.entry(key(item)).or_insert_with(|| {
            groups.push(vec![]);
            groups.len() - 1
        });
        groups[at].push(item);
    }
    groups
}

/// The frame as plain rows; names as they are numbered: files, sessions, antennas, bands, meters, quantities.
fn rows_of(frame: &DataFrame, names: &[Coded; 6]) -> PolarsResult<Vec<Row>> {
    let number = |name: &str| -> PolarsResult<Vec<Option<f64>>> { Ok(frame.column(name)?.f64()?.iter().collect()) };
    let (value, y, step, readings) = (number("value")?, number("y")?, number("step")?, number("readings")?);
    let (sd, order, battery) = (number("sd")?, number("order")?, number("battery")?);
    let mounting: Vec<Option<i64>> = frame.column("mounting")?.i64()?.iter().collect();
    let when: Vec<Option<i64>> = frame.column("when")?.cast(&DataType::Int64)?.i64()?.iter().collect();
    let line: Vec<Option<u32>> = frame.column("line")?.u32()?.iter().collect();
    let row = |i: usize| Row {
        file: names[0].of_row[i],
        line: line[i].unwrap_or(0) as usize,
        session: names[1].of_row[i],
        antenna: names[2].of_row[i],
        band: names[3].of_row[i],
        meter: names[4].of_row[i],
        quantity: names[5].of_row[i],
        value: value[i].unwrap_or(f64::NAN),
        y: y[i].unwrap_or(f64::NAN),
        step: step[i].unwrap_or(0.0),
        readings: readings[i].unwrap_or(1.0),
        sd: sd[i],
        mounting: mounting[i],
        when: when[i],
        order: order[i],
        battery: battery[i],
    };
    Ok((0..frame.height()).map(row).collect())
}
