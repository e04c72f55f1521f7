//! Readings as they are taken: what a typed line means, whether what it says can be so and fits what was read
//! before, and which rows it makes. Writing them is [`crate::season::append`]'s.
//!
//! The season is read and laid out once; each line then adds to what is known ([`history`]), so that an answer takes
//! no longer for a long season.

pub mod grammar;
pub mod history;
pub mod judge;
pub mod now;
pub mod result;
pub mod vocabulary;
pub mod words;

use std::collections::HashSet;

use polars::prelude::*;

use crate::analysis::audit::one_mounting;
use crate::analysis::audit::together::Scatter;
use crate::season::Season;
use crate::season::append::{Appended, Entry, Repair, Style};
use crate::season::config::{Config, Repeats};
use crate::season::readings::marks::TAKES_BACK;
use crate::season::readings::{Cell, Readings, read_text, rows_of_session};
use grammar::{Misread, Step};
use history::History;
use now::{Now, Pairs};
use result::{Answer, Range, Refused, Remark, Topic, Written};
use vocabulary::{Column, Vocabulary};

/// A row of the session.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its line, from 1.
    pub line: usize,
    /// Its cells.
    pub entry: Entry,
    /// Whether another hand wrote it after this one began.
    pub other: bool,
    /// Whether it was taken back.
    pub taken_back: bool,
}

/// All that is known while a session's readings are taken.
pub struct Bench {
    /// The session.
    pub session: String,
    config: Config,
    style: Style,
    file: String,
    vocabulary: Vocabulary,
    pairs: Pairs,
    now: Now,
    history: History,
    scatter: Scatter,
    /// The session's rows in other files.
    elsewhere: Vec<Entry>,
    rows: Vec<Row>,
    told: HashSet<String>,
}

/// Rows that a line makes, to be written.
pub struct Batch {
    /// The rows.
    pub entries: Vec<Entry>,
    expected: Vec<Option<Range>>,
    remarks: Vec<Remark>,
    now: Now,
    history: History,
}

/// Whether a step numbers a mounting.
fn numbers(step: &Step) -> bool {
    matches!(step, Step::Remount | Step::Mounting(_))
}

impl Bench {
    /// Lays out what is known of a season before a session's next reading. `season` is `None` where it has no
    /// readings yet, or none that can be read; `rows` are the session's rows in the sheet `file`, by line.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected on a frame the season made.
    pub fn new(
        season: Option<&Season>,
        config: &Config,
        session: &str,
        (file, style): (&str, &Style),
        rows: Vec<(usize, Entry)>,
    ) -> PolarsResult<Bench> {
        let mut vocabulary = Vocabulary::default();
        let mut pairs = Pairs::new(config);
        let antennas = config.antennas.iter().map(|a| &a.name).chain(config.loads.iter().map(|l| &l.name));
        antennas.for_each(|name| vocabulary.add(Column::Antenna, name, true));
        config.bands.iter().for_each(|b| vocabulary.add(Column::Band, &b.name, true));
        config.meters.iter().for_each(|m| vocabulary.add(Column::Meter, &m.name, true));
        pairs.all().for_each(|(_, quantity)| vocabulary.add(Column::Quantity, quantity, true));
        config.quantities.iter().for_each(|q| vocabulary.add(Column::Quantity, &q.name, true));
        let (mut history, mut scatter, mut elsewhere) = (History::empty(config), Scatter::default(), vec![]);
        if let Some(season) = season {
            let frame = &season.readings.frame;
            learn(frame, &mut vocabulary, &mut pairs)?;
            history = History::new(frame, config)?;
            scatter = one_mounting::scatter(season)?;
            elsewhere = rows_elsewhere(frame, session, file)?;
        }
        // any other quantity there is, but written out
        crate::radio::quantity::built_in_names()
            .for_each(|q| vocabulary.add(Column::Quantity, q, pairs.all().next().is_none()));
        let own: Vec<Entry> = rows.iter().map(|r| r.1.clone()).collect();
        let before = if own.is_empty() { &elsewhere } else { &own };
        let now = Now::new(before, &vocabulary, &pairs);
        let row = |(line, entry)| Row { line, entry, other: false, taken_back: false };
        Ok(Bench {
            session: session.into(),
            config: config.clone(),
            style: style.clone(),
            file: file.into(),
            vocabulary,
            pairs,
            now,
            history,
            scatter,
            elsewhere,
            rows: rows.into_iter().map(row).collect(),
            told: HashSet::new(),
        })
    }

    /// The names a line may use.
    pub fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// What the next reading is of.
    pub fn now(&self) -> &Now {
        &self.now
    }

    /// The session's rows in this sheet, in their order.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Goes on in place of another bench, which the sheet was changed under: with the same thing to be read next.
    pub fn resume(&mut self, before: &Bench) {
        self.now = before.now.clone();
        self.told.clone_from(&before.told);
    }

    fn standing(&self) -> impl Iterator<Item = &Entry> {
        self.elsewhere.iter().chain(self.rows.iter().filter(|r| !r.taken_back).map(|r| &r.entry))
    }

    /// The rows that a line makes; none where it only names what is to be read. `stamp` is the time of it, where a
    /// clock may be asked.
    ///
    /// # Errors
    /// Nothing is to be written: what is missing, or what can't be so. What the line said before its first value holds
    /// all the same: the number that mends it must not go to the antenna before.
    pub fn prepare(&mut self, steps: &[Step], forced: bool, stamp: Option<&str>) -> Result<Batch, Refused> {
        let mut now = self.now.clone();
        let laid_out = self.laid_out(steps, stamp, &mut now);
        let batch = laid_out.and_then(|(entries, before)| self.judged(entries, now, forced, &before));
        if batch.is_err() {
            let said = steps.iter().take_while(|s| !matches!(s, Step::Value(_)));
            let said: Vec<Step> = said.filter(|s| self.style.has("mounting") || !numbers(s)).cloned().collect();
            let mut now = self.now.clone();
            if self.laid_out(&said, stamp, &mut now).is_ok() {
                self.now = now;
            }
            // `70cn` reads as a number with a unit, and may have been meant for a band
            let lettered = |s: &Step| matches!(s, Step::Value(text) if text.contains(char::is_alphabetic));
            if steps.iter().any(lettered) {
                self.now.forget(Column::Band);
            }
        }
        batch
    }

    /// After a line that could not be understood: the names it holds count, and what it may have named is to be named
    /// again, so that the number that mends it does not go to the antenna before.
    pub fn misread(&mut self, misread: &Misread) {
        let mut now = self.now.clone();
        if self.laid_out(&misread.said, None, &mut now).is_ok() {
            self.now = now;
        }
        misread.doubt.iter().for_each(|column| self.now.forget(*column));
    }

    /// A line's rows, and the session's before them. `now` follows the line.
    fn laid_out(
        &self,
        steps: &[Step],
        stamp: Option<&str>,
        now: &mut Now,
    ) -> Result<(Vec<Entry>, Vec<Entry>), Refused> {
        now.begin();
        let mut rows: Vec<Entry> = self.standing().cloned().collect();
        let before = rows.len();
        if let Some(step) = steps.iter().find(|s| numbers(s))
            && !self.style.has("mounting")
        {
            let what = if *step == Step::Remount { "a re-mount" } else { "a mounting's number" };
            return Err(Refused(format!("this sheet has no column `mounting`, so {what} can't be written in it")));
        }
        let left_on = self.config.repeats == Repeats::LeftOn;
        let numbered = left_on || rows.iter().any(|r| !r.mounting.is_empty()) || steps.iter().any(numbers);
        let cells: Vec<(&str, &str)> = steps
            .iter()
            .filter_map(|s| if let Step::Cell(c, v) = s { Some((c.as_str(), v.as_str())) } else { None })
            .collect();
        for step in steps {
            match step {
                Step::Name(column, name) => now.name(*column, name.clone(), &self.pairs, &rows),
                Step::Remount => now.remount(&rows)?,
                Step::Mounting(number) => now.mounting = Some(*number),
                Step::Cell(..) => {}
                Step::Value(text) => {
                    let [antenna, band, meter, quantity] = now.complete(&self.vocabulary, &self.pairs)?;
                    if now.mounting.is_none() && !rows.iter().any(|r| r.antenna == antenna) {
                        now.mounting = Some(1);
                    }
                    let mut entry =
                        Entry { session: self.session.clone(), antenna, band, meter, quantity, ..Entry::default() };
                    let mounting = now.mounting.filter(|_| numbered && self.style.has("mounting"));
                    entry.mounting = mounting.map_or(String::new(), |m| m.to_string());
                    self.fill(&mut entry, text, &rows, stamp);
                    for (column, cell) in &cells {
                        if let Some(own) = entry.cell_mut(column) {
                            *own = (*cell).to_string();
                        }
                    }
                    if let Some(column) = self.style.lacks(&entry) {
                        return Err(Refused(format!(
                            "this sheet has no column `{column}`, so that can't be written in it"
                        )));
                    }
                    now.read(&entry);
                    rows.push(entry);
                }
            }
        }
        let entries = rows.split_off(before);
        Ok((entries, rows))
    }

    /// Value, unit, place in the running order and time of an entry.
    fn fill(&self, entry: &mut Entry, text: &str, rows: &[Entry], stamp: Option<&str>) {
        let cell = Cell::of(text);
        let unit = cell.unit().filter(|u| !u.starts_with(':')).and_then(|u| Some((text.strip_suffix(u)?, u)));
        let own = self.config.quantity(&entry.quantity).map(|q| q.unit).filter(|u| u != "1" && !cell.is_limit());
        (entry.value, entry.unit) = match unit {
            Some((number, unit)) => (number.trim().to_string(), unit.to_string()),
            None if cell.unit().is_none() && self.style.has("unit") => (text.to_string(), own.unwrap_or_default()),
            None => (text.to_string(), String::new()),
        };
        // a comma that can only mark decimals, where cells are separated by commas
        if self.style.delimiter != b';' && cell.is_plain_number() && !cell.is_ambiguous() {
            entry.value = entry.value.replace(',', ".");
        }
        if self.style.has("order") {
            let places: Option<Vec<i64>> = rows.iter().map(|r| r.order.parse().ok()).collect();
            let still_on = rows.last().filter(|r| r.antenna == entry.antenna && r.mounting == entry.mounting);
            let place = places
                .map(|p| still_on.and_then(|r| r.order.parse().ok()).unwrap_or(p.into_iter().max().unwrap_or(0) + 1));
            entry.order = place.map_or(String::new(), |p: i64| p.to_string());
        }
        if self.style.has("when") {
            entry.when = stamp.unwrap_or_default().to_string();
        }
    }

    /// After a line that only names what is to be read.
    pub fn turn_to(&mut self, batch: Batch) {
        self.now = batch.now;
    }

    /// What to say now that a line's rows are on the disk.
    pub fn written(&mut self, batch: Batch, appended: &Appended) -> Answer {
        let mut remarks = self.noticed(appended);
        let others = std::mem::replace(&mut self.history, batch.history);
        if !appended.others.is_empty() {
            // what came in between is in the older one alone
            self.history = others;
            if let Ok(readings) = self.read(&batch.entries) {
                // nothing to be done about a frame that can't be laid out: checks are the poorer for it
                let _ = self.history.extend(&readings.frame, &self.config);
            }
        }
        remarks.extend(batch.remarks);
        self.now = batch.now;
        let mut written = vec![];
        for ((entry, expected), &line) in batch.entries.into_iter().zip(batch.expected).zip(&appended.lines) {
            self.rows.push(Row { line, entry: entry.clone(), other: false, taken_back: false });
            self.pairs.add(&entry.meter, &entry.quantity);
            for column in Column::ALL {
                self.vocabulary.add(column, entry.cell(column.name()).unwrap_or_default(), true);
            }
            written.push(Written { line, entry, expected });
        }
        remarks.retain(|r| r.topic != Topic::Reader || self.told.insert(r.text.clone()));
        Answer { file: self.file.clone(), written, taken_back: None, remarks }
    }

    /// The row that takes back the last reading of the session that is not another hand's, and that reading's place
    /// among [`Bench::rows`].
    ///
    /// # Errors
    /// There is none.
    pub fn take_back(&self, note: &str) -> Result<(usize, Entry), Refused> {
        let last = self.rows.iter().rposition(|r| !r.taken_back && !r.other);
        let at = last.ok_or_else(|| Refused(format!("nothing of {} is left to take back", self.session)))?;
        Ok((at, Entry { note: note.into(), mark: TAKES_BACK.into(), ..self.rows[at].entry.clone() }))
    }

    /// What to say now that the mark is on the disk.
    pub fn taken_back(&mut self, at: usize, appended: &Appended) -> Answer {
        let remarks = self.noticed(appended);
        self.rows[at].taken_back = true;
        let entry = self.rows[at].entry.clone();
        let readings = self.read(std::slice::from_ref(&entry));
        if let Ok(readings) = readings {
            judge::forget(&mut self.history, &readings.frame);
        }
        // the same thing again is what is read next
        let mounting = self.now.mounting;
        self.now.begin();
        self.now.read(&entry);
        self.now.mounting = entry.mounting.parse().ok().or(mounting);
        Answer { file: self.file.clone(), written: vec![], taken_back: Some((self.rows[at].line, entry)), remarks }
    }

    /// The reader's view of rows.
    fn read(&self, entries: &[Entry]) -> Result<Readings, crate::season::readings::ReadError> {
        let delimiter = char::from(self.style.delimiter).to_string();
        let header = self.style.columns.join(&delimiter) + self.style.line_end;
        let text = entries.iter().fold(header, |text, e| text + &self.style.line(e));
        read_text(&self.file, &text, &self.config)
    }

    /// Takes in what the sheet showed when it was written to: rows of other hands, and what was repaired.
    fn noticed(&mut self, appended: &Appended) -> Vec<Remark> {
        let mut remarks = vec![];
        let sheet = |text: String| Remark { topic: Topic::Sheet, text };
        if let Some((line, repair)) = appended.repaired {
            remarks.push(sheet(match repair {
                Repair::LineEnd => format!("line {line} had no line end; it has one now: see that it is whole"),
                Repair::Torn { .. } => {
                    format!("line {line} was cut short by a stop while it was written; it is marked as torn")
                }
            }));
        }
        if appended.others.is_empty() {
            return remarks;
        }
        let delimiter = char::from(self.style.delimiter).to_string();
        let text = self.style.columns.join(&delimiter) + self.style.line_end + &appended.others;
        let rows = rows_of_session(&text, &self.style, &self.session);
        if let Some(last) = rows.last().filter(|r| Some(r.1.antenna.as_str()) != self.now.antenna.as_deref()) {
            remarks.push(sheet(format!("another hand has put {} on meanwhile", last.1.antenna)));
        }
        if let Ok(readings) = read_text(&self.file, &text, &self.config) {
            // as above
            let _ = self.history.extend(&readings.frame, &self.config);
        }
        let first = appended.others_line;
        self.rows.extend(rows.into_iter().map(|(line, entry)| Row {
            line: first + line - 2,
            entry,
            other: true,
            taken_back: false,
        }));
        remarks
    }
}

/// Names and pairs that the readings hold.
fn learn(frame: &DataFrame, vocabulary: &mut Vocabulary, pairs: &mut Pairs) -> PolarsResult<()> {
    for column in [Column::Antenna, Column::Band, Column::Meter] {
        let names = frame.column(column.name())?.str()?;
        let mut seen: HashSet<&str> = HashSet::new();
        names.iter().flatten().filter(|n| seen.insert(n)).for_each(|name| vocabulary.add(column, name, true));
    }
    let (meters, quantities) = (frame.column("meter")?.str()?, frame.column("quantity")?.str()?);
    let mut seen: HashSet<(&str, &str)> = HashSet::new();
    for (meter, quantity) in meters.iter().zip(quantities.iter()).filter_map(|(m, q)| Some((m?, q?))) {
        if seen.insert((meter, quantity)) {
            pairs.add(meter, quantity);
            vocabulary.add(Column::Quantity, quantity, true);
        }
    }
    Ok(())
}

/// The session's rows outside its sheet: enough of them to number mountings and keep the running order.
fn rows_elsewhere(frame: &DataFrame, session: &str, file: &str) -> PolarsResult<Vec<Entry>> {
    let name = std::path::Path::new(file).file_name().map_or(file.to_string(), |n| n.to_string_lossy().into_owned());
    let text = |column: &str| frame.column(column).and_then(|c| c.str().cloned());
    let (files, sessions) = (text("file")?, text("session")?);
    let (antennas, bands, meters, quantities) = (text("antenna")?, text("band")?, text("meter")?, text("quantity")?);
    let (mountings, orders) = (frame.column("mounting")?.i64()?, frame.column("order")?.f64()?);
    let here = |row: &usize| sessions.get(*row) == Some(session) && files.get(*row) != Some(name.as_str());
    let of = |column: &StringChunked, row: usize| column.get(row).unwrap_or_default().to_string();
    let entry = |row: usize| Entry {
        session: session.into(),
        antenna: of(&antennas, row),
        band: of(&bands, row),
        meter: of(&meters, row),
        quantity: of(&quantities, row),
        mounting: mountings.get(row).map_or(String::new(), |m| m.to_string()),
        order: orders.get(row).map_or(String::new(), |o| format!("{o:.0}")),
        ..Entry::default()
    };
    Ok((0..frame.height()).filter(here).map(entry).collect())
}
