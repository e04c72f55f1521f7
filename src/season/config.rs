//! What `season.toml` says, as types. Parsing and its errors are in [`super::parse`].

use std::collections::BTreeMap;

pub use crate::montecarlo::shape::Shape;
use crate::radio::bands::Region;
use crate::radio::quantity::Quantity;
use crate::season::sweeps::pattern::Pattern;
use crate::stats::mixed::Level;

/// What a row with no mounting number stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Repeats {
    /// The antenna was left on: one mounting per visit.
    LeftOn,
    /// The antenna was taken off and put back for each row: each row its own mounting.
    Remounted,
}

/// A band and the frequency the season uses in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Name as written in the `band` column.
    pub name: String,
    /// Frequency, MHz.
    pub frequency_mhz: Option<f64>,
    /// A public channel number, where the band is channelised.
    pub channel: Option<i64>,
    /// Line of its `[[band]]` entry, from 1.
    pub line: usize,
}

/// What kind of instrument a meter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeterKind {
    /// In the line between radio and antenna.
    InLine,
    /// A portable one-port analyzer.
    Analyzer,
    /// A field-strength meter at a marked distance.
    Field,
    /// A person at a far station.
    Listener,
}

/// A meter and what is declared of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Meter {
    /// Name as written in the `meter` column.
    pub name: String,
    /// Kind of instrument, if stated.
    pub kind: Option<MeterKind>,
    /// The display's last digit, per quantity name, in that quantity's unit.
    pub resolution: BTreeMap<String, f64>,
    /// Directivity D, dB.
    pub directivity_db: Option<f64>,
    /// One-way line loss from this meter's plane to the antenna, dB, per band name.
    pub line_loss_db: BTreeMap<String, f64>,
    /// Whether the estimated offset is taken out.
    pub correct: bool,
    /// Line of its `[[meter]]` entry, from 1.
    pub line: usize,
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, in the same unit.
    pub standard: f64,
}

/// One maker's claim.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// The quantity claimed (`gain_dbi` included).
    pub quantity: String,
    /// Upper limit, if claimed.
    pub at_most: Option<f64>,
    /// Lower limit, if claimed.
    pub at_least: Option<f64>,
    /// Bands it is claimed for; empty means all.
    pub bands: Vec<String>,
    /// Line it stands on, from 1.
    pub line: usize,
}

/// An antenna under test.
#[derive(Debug, Clone, PartialEq)]
pub struct Antenna {
    /// Name as written in the `antenna` column.
    pub name: String,
    /// Price, in the practitioner's currency.
    pub price: Option<f64>,
    /// Length, mm.
    pub length_mm: Option<f64>,
    /// Known gain, dBi, per band name.
    pub gain_dbi: BTreeMap<String, Known>,
    /// The maker's claims.
    pub claims: Vec<Claim>,
    /// Line of its `[[antenna]]` entry, from 1.
    pub line: usize,
}

/// A termination of known resistance.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// Name as written in the `antenna` column.
    pub name: String,
    /// Resistance, Ω.
    pub resistance_ohm: f64,
    /// Half-width of the tolerance, percent of the resistance, if stated.
    pub tolerance_percent: Option<f64>,
    /// Line of its `[[load]]` entry, from 1.
    pub line: usize,
}

/// What all a source's one value is shared by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Scope {
    /// One value for the whole season.
    Season,
    /// One value per antenna, staying put through every repeat.
    Antenna,
    /// One value per session.
    Session,
    /// One value per visit.
    Visit,
    /// One value per mounting.
    Mounting,
    /// A new value at each reading.
    Reading,
}

impl Scope {
    /// The level of the log that a source of this scope varies with; none for season and antenna.
    pub fn level(self) -> Option<Level> {
        match self {
            Scope::Season | Scope::Antenna => None,
            Scope::Session => Some(Level::Session),
            Scope::Visit => Some(Level::Visit),
            Scope::Mounting => Some(Level::Mounting),
            Scope::Reading => Some(Level::Reading),
        }
    }
}

/// A declared cause of error.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What it is, in the practitioner's words.
    pub name: String,
    /// The quantity it acts on.
    pub quantity: String,
    /// The meter it acts on; every meter if absent.
    pub meter: Option<String>,
    /// The band it acts on; every band if absent.
    pub band: Option<String>,
    /// Its distribution, in `unit`.
    pub shape: Shape,
    /// The unit of its sizes; the analysis scale's where absent.
    pub unit: Option<String>,
    /// What shares one value of it.
    pub shared_by: Scope,
    /// Line of its `[[source]]` entry, from 1.
    pub line: usize,
}

/// Readings left out on the record: those that match every key given.
#[derive(Debug, Clone, PartialEq)]
pub struct LeaveOut {
    /// Session to match.
    pub session: Option<String>,
    /// Antenna to match.
    pub antenna: Option<String>,
    /// Band to match.
    pub band: Option<String>,
    /// Meter to match.
    pub meter: Option<String>,
    /// Quantity to match.
    pub quantity: Option<String>,
    /// Mounting number to match.
    pub mounting: Option<i64>,
    /// Why.
    pub reason: String,
    /// Line of its `[[leave_out]]` entry, from 1.
    pub line: usize,
}

/// What marks decimals in a file's numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// A comma; points don't group thousands.
    Comma,
    /// A point; commas group thousands.
    Point,
}

/// How a text file's bytes spell its letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8.
    Utf8,
    /// UTF-16, in the byte order its mark says; little end first where it has none.
    Utf16,
    /// ISO 8859-1, with the letters Windows-1252 adds.
    Latin1,
}

/// Where a layout finds a field of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// The same for all.
    Value(String),
    /// In the column of that name, or number from 1.
    Column(String),
}

impl Said {
    /// The value, or the column's name.
    pub fn text(&self) -> &str {
        match self {
            Said::Value(text) | Said::Column(text) => text,
        }
    }
}

/// One column of readings in a wide sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayoutColumn {
    /// Its name in the sheet's header, or its number from 1.
    pub column: String,
    /// Fields that hold for its readings.
    pub says: BTreeMap<&'static str, Said>,
}

/// How a file of readings is laid out, where it is not in the long form or could be read in two ways.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// The file's name in the season's folder; `*` stands for any characters.
    pub file: String,
    /// The spreadsheet's sheet.
    pub sheet: Option<String>,
    /// Line of the column names, from 1; the first line with text if absent.
    pub header_line: Option<usize>,
    /// What marks decimals.
    pub decimal: Option<Decimal>,
    /// How its letters are spelled.
    pub encoding: Option<Encoding>,
    /// Fields that hold for every reading of the file, or that a column gives for every reading of its row.
    pub says: BTreeMap<&'static str, Said>,
    /// Columns of readings; none where the sheet is in the long form.
    pub columns: Vec<LayoutColumn>,
    /// Columns that are known to hold no readings.
    pub ignore: Vec<String>,
    /// Line of its `[[layout]]` entry, from 1.
    pub line: usize,
}

/// Whose one sweep is.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepEntry {
    /// Its file, from the `sweeps` folder, folders separated by `/`.
    pub file: String,
    /// The session it was made in.
    pub session: String,
    /// The antenna or check load swept.
    pub antenna: String,
    /// The meter that made it; the season's one analyzer if absent.
    pub meter: Option<String>,
    /// Mounting number, where one is stated.
    pub mounting: Option<i64>,
    /// Place in the session's running order, where one is stated.
    pub order: Option<f64>,
    /// When, microseconds since 1970, where it is stated.
    pub when: Option<i64>,
    /// Line of its `[[sweep]]` entry, from 1.
    pub line: usize,
}

/// How much one quantity, on one band or on all, counts in the overall ranking.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Quantity.
    pub quantity: String,
    /// Band; every band if absent.
    pub band: Option<String>,
    /// The weight, at least 0.
    pub weight: f64,
}

/// What measuring costs, in minutes.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Effort {
    /// Getting a session going and packing it up again.
    pub session_minutes: f64,
    /// Taking an antenna off and putting the next, or the same, on.
    pub mounting_minutes: f64,
    /// Taking one reading of one meter on one band, all it shows, and writing it down.
    pub reading_minutes: f64,
    /// Reading a check load, or looking into one declared figure.
    pub check_minutes: f64,
}

impl Default for Effort {
    /// Starting guesses (common practice, no source), to be replaced by the practitioner's own.
    fn default() -> Self {
        Effort { session_minutes: 40.0, mounting_minutes: 2.0, reading_minutes: 0.3, check_minutes: 10.0 }
    }
}

/// All that `season.toml` says.
#[derive(Debug, Clone, PartialEq)]
pub struct Config {
    /// The season's title.
    pub title: String,
    /// Name of the reference antenna.
    pub reference: Option<String>,
    /// The region whose published band limits hold; the widest of all where it is not stated.
    pub region: Option<Region>,
    /// Confidence of every interval and family of verdicts, in (0.5, 1).
    pub confidence: f64,
    /// What a row with no mounting number stands for.
    pub repeats: Repeats,
    /// How many times the verdicts are to be looked at during the season, a look after each session; `None` where
    /// they are looked at once, when the season is over.
    pub looks: Option<usize>,
    /// What measuring costs.
    pub effort: Effort,
    /// Bands, in the file's order.
    pub bands: Vec<Band>,
    /// Meters, in the file's order.
    pub meters: Vec<Meter>,
    /// Antennas, in the file's order.
    pub antennas: Vec<Antenna>,
    /// Check loads.
    pub loads: Vec<Load>,
    /// Quantities declared beside the built-in ones.
    pub quantities: Vec<Quantity>,
    /// Declared sources of error.
    pub sources: Vec<Source>,
    /// The smallest difference that would change a decision, per quantity name: in SWR for `swr`, in
    /// dB for powers, impedance and return loss, else in the quantity's unit.
    pub matters: BTreeMap<String, f64>,
    /// Weights of the overall ranking.
    pub weights: Vec<Weight>,
    /// Readings left out on the record.
    pub leave_out: Vec<LeaveOut>,
    /// How files are laid out that are not in the plain long form.
    pub layouts: Vec<Layout>,
    /// Whose the sweeps are that are named one by one.
    pub sweeps: Vec<SweepEntry>,
    /// How the names of the others say whose they are.
    pub sweep_pattern: Option<Pattern>,
}

impl Default for Config {
    fn default() -> Self {
        Config {
            title: String::new(),
            reference: None,
            region: None,
            confidence: 0.95,
            repeats: Repeats::LeftOn,
            looks: None,
            effort: Effort::default(),
            bands: Vec::new(),
            meters: Vec::new(),
            antennas: Vec::new(),
            loads: Vec::new(),
            quantities: Vec::new(),
            sources: Vec::new(),
            matters: BTreeMap::new(),
            weights: Vec::new(),
            leave_out: Vec::new(),
            layouts: Vec::new(),
            sweeps: Vec::new(),
            sweep_pattern: None,
        }
    }
}

impl Config {
    /// The meter of that name.
    pub fn meter(&self, name: &str) -> Option<&Meter> {
        self.meters.iter().find(|m| m.name == name)
    }

    /// The quantity of that name, declared or built in.
    pub fn quantity(&self, name: &str) -> Option<Quantity> {
        self.quantities.iter().find(|q| q.name == name).cloned().or_else(|| crate::radio::quantity::built_in(name))
    }

    /// Whether that name is a check load.
    pub fn is_load(&self, name: &str) -> bool {
        self.loads.iter().any(|l| l.name == name)
    }
}
