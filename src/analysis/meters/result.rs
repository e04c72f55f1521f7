//! What the question "which meter do I believe" is answered with: plain data, rendered elsewhere.
//!
//! Numbers are on the analysis scale; `shown` beside them holds them in the unit that was read.

use serde::Serialize;

use super::correction::Correction;
use super::lines::Lines;
use super::loads::OwnError;
use super::offset::Estimate;
use super::pairing::Pairing;
use super::why::Why;
use crate::analysis::next::Step;
use crate::season::finding::Finding;
use crate::stats::method_comparison::Interval;
use crate::stats::method_comparison::limits::Limits;

/// All of it.
#[derive(Debug, Clone, Serialize)]
pub struct Meters {
    /// The season's title.
    pub season: String,
    /// Confidence of every interval; a shift is called one where its p-value is at most one less this.
    pub confidence: f64,
    /// Seed of the shuffles.
    pub seed: u64,
    /// Shuffles behind each p-value.
    pub shuffles: usize,
    /// Whether times are days: where the log gives no dates, they count sessions in its order, and slopes are a session.
    pub dated: bool,
    /// Pairs of meters, one a quantity.
    pub pairs: Vec<PairOfMeters>,
    /// What to check next, what settles most for its minutes first.
    pub next: Vec<Step>,
    /// Each meter's own error against check loads.
    pub own_errors: Vec<OwnError>,
    /// Each meter alone: the reference antenna's history.
    pub histories: Vec<ReferenceHistory>,
    /// What `correct = true` does to which meter.
    pub corrections: Vec<Correction>,
    /// Everything found on the way.
    pub findings: Vec<Finding>,
    /// Defaults that hold for want of a season.toml.
    pub assumptions: Vec<String>,
}

/// Two meters on one quantity. Differences are second − first.
#[derive(Debug, Clone, Serialize)]
pub struct PairOfMeters {
    /// Whether times are days, as in [`Meters::dated`].
    #[serde(skip)]
    pub dated: bool,
    /// Quantity.
    pub quantity: String,
    /// Name of the analysis scale.
    pub scale: String,
    /// The unit readings are shown in.
    pub unit: String,
    /// First meter.
    pub first: String,
    /// Second meter.
    pub second: String,
    /// Band by band.
    pub bands: Vec<BandResult>,
    /// All bands together, where there are several.
    pub across: Option<Across>,
    /// The search for shifts, over all bands at once; `None` where too few sessions hold both meters.
    pub search: Option<SearchResult>,
    /// Shifts taken for real, in order of time.
    pub shifts: Vec<ShiftResult>,
    /// What is worth checking next, likeliest first.
    pub checks: Vec<String>,
}

/// A pair of meters on one band.
#[derive(Debug, Clone, Serialize)]
pub struct BandResult {
    /// Band.
    pub band: String,
    /// What was paired.
    pub pairing: Pairing,
    /// Meters that show one value on everything, and that value: nothing is computed with them.
    pub stuck: Vec<Stuck>,
    /// Units (mountings or visits) both meters read.
    pub units: usize,
    /// Antennas in the offset.
    pub antennas: usize,
    /// Antennas no session joins to those: their own difference can't be told from their sessions'.
    pub not_joined: Vec<String>,
    /// Visits both read.
    pub visits: usize,
    /// Sessions both were used in.
    pub sessions: usize,
    /// Mean level of both meters.
    pub level: f64,
    /// The same in the unit shown.
    pub level_shown: f64,
    /// Mean offset over the whole log.
    pub offset: Option<Offset>,
    /// Mean offset of each stretch between shifts; empty where there was no shift.
    pub stretches: Vec<Stretch>,
    /// Limits of agreement of single differences.
    pub limits: Option<LimitsOut>,
    /// The same in the unit shown.
    pub limits_shown: Option<LimitsOut>,
    /// Lines on the analysis scale.
    pub lines: Option<Lines>,
    /// Lines in the unit shown.
    pub lines_shown: Option<Lines>,
    /// Session by session.
    pub by_session: Vec<SessionResult>,
    /// Slope about the shifts, in units of the scale a day.
    pub slope: Option<Estimate>,
    /// What the declared line loss, directivity and resolution explain.
    pub why: Option<Why>,
    /// Each unit: session, antenna, and both readings, on the analysis scale.
    pub points: Vec<PointOut>,
}

/// A meter that shows one value on everything.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stuck {
    /// The meter.
    pub meter: String,
    /// What it shows.
    pub value: f64,
}

/// An offset with its interval, and the same in the unit shown.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Offset {
    /// On the analysis scale.
    pub estimate: Estimate,
    /// Shown: value.
    pub shown: f64,
    /// Shown: interval.
    pub shown_interval: Interval,
    /// What the interval holds for.
    pub scope: Scope,
}

/// How far an offset's interval carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Other antennas like these, on other days.
    AntennasAndDays,
    /// Other antennas, but that one day.
    OneDay,
    /// Other days, but that one antenna.
    OneAntenna,
    /// One visit only.
    OneVisit,
    /// The two never met: days and mountings count in full.
    Unpaired,
}

/// The offset of one stretch of time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stretch {
    /// Its first session.
    pub from: String,
    /// Its last.
    pub to: String,
    /// Sessions in it.
    pub sessions: usize,
    /// The offset.
    pub offset: Offset,
    /// Mean offset once the declared line loss is undone at both meters.
    pub at_antenna: Estimate,
}

/// Limits of agreement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LimitsOut {
    /// Standard deviation of a single difference.
    pub sd: f64,
    /// Lower limit.
    pub low: f64,
    /// Its interval.
    pub low_interval: Interval,
    /// Upper limit.
    pub high: f64,
    /// Its interval.
    pub high_interval: Interval,
}

impl From<Limits> for LimitsOut {
    fn from(l: Limits) -> Self {
        LimitsOut { sd: l.sd, low: l.low, low_interval: l.low_interval, high: l.high, high_interval: l.high_interval }
    }
}

/// One session's offset.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SessionResult {
    /// The session.
    pub session: String,
    /// Days since the first.
    pub time: f64,
    /// Its offset.
    pub offset: f64,
    /// Half-width of its interval, from what visits leave; what all sessions share is not in it.
    pub half: f64,
    /// Antennas behind it.
    pub antennas: usize,
    /// Limits of the control chart.
    pub control: Interval,
    /// Whether it lies outside them.
    pub out: bool,
    /// Whether the moving average does.
    pub average_out: bool,
}

/// All bands together.
#[derive(Debug, Clone, Serialize)]
pub struct Across {
    /// Mean of the bands' offsets; antennas and sessions are the units, over bands.
    pub offset: Estimate,
    /// p-value of the test that the bands' offsets are one.
    pub bands_differ_p: Option<f64>,
}

/// The search for shifts.
#[derive(Debug, Clone, Serialize)]
pub struct SearchResult {
    /// Last session before the likeliest date.
    pub last_before: String,
    /// First session after it.
    pub first_after: String,
    /// p-value that allows for a memory from session to session.
    pub p: f64,
    /// p-value if sessions are exchangeable.
    pub p_exchangeable: f64,
    /// The memory allowed for.
    pub memory: f64,
    /// Whether errors were rotated (taken as normal) since too few sessions can be shuffled.
    pub rotated: bool,
}

/// A shift.
#[derive(Debug, Clone, Serialize)]
pub struct ShiftResult {
    /// The search's figures.
    pub found: SearchResult,
    /// It came after this session,
    pub after: String,
    /// and by this one.
    pub by: String,
    /// Per band: how much the offset rose.
    pub sizes: Vec<ShiftSize>,
    /// What the reference antenna, by each meter alone, says of who moved.
    pub moved: Vec<Moved>,
    /// The meter that moved, where exactly one did.
    pub mover: Option<String>,
}

/// A shift on one band.
#[derive(Debug, Clone, Serialize)]
pub struct ShiftSize {
    /// Band.
    pub band: String,
    /// Rise on the analysis scale.
    pub rise: f64,
    /// Its interval, for any date the shift may have.
    pub interval: Interval,
    /// Rise in the unit shown, about the band's level.
    pub shown: f64,
}

/// One meter's own step at a shift, by the reference antenna.
#[derive(Debug, Clone, Serialize)]
pub struct Moved {
    /// The meter.
    pub meter: String,
    /// Rise of the reference antenna's readings over the shift, mean of the bands.
    pub rise: Estimate,
}

/// One meter alone, by the reference antenna.
#[derive(Debug, Clone, Serialize)]
pub struct ReferenceHistory {
    /// Quantity.
    pub quantity: String,
    /// Meter.
    pub meter: String,
    /// The reference antenna.
    pub antenna: String,
    /// Per band.
    pub bands: Vec<ReferenceBand>,
    /// The search over its bands; `None` where too few sessions.
    pub search: Option<SearchResult>,
    /// Whether that is a shift.
    pub shifted: bool,
}

/// The reference antenna on one band by one meter, as a check standard.
#[derive(Debug, Clone, Serialize)]
pub struct ReferenceBand {
    /// Band.
    pub band: String,
    /// Sessions.
    pub sessions: usize,
    /// Standard deviation of mountings inside a session.
    pub inside: f64,
    /// Standard deviation of sessions beyond what their mountings explain.
    pub between: f64,
    /// Sessions outside the control limits.
    pub out: Vec<String>,
    /// Slope in units of the scale a day.
    pub slope: Option<Estimate>,
}

/// One unit both meters read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointOut {
    /// Session.
    pub session: String,
    /// Antenna.
    pub antenna: String,
    /// First meter.
    pub first: f64,
    /// Second meter.
    pub second: f64,
}
