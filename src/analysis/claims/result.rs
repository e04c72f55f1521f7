//! What the question "does it meet its maker's claims" is answered with: plain data, rendered elsewhere.

use crate::analysis::looks::Look;
use crate::analysis::next::Step;
use crate::radio::quantity::Quantity;
use crate::season::config::Known;
use crate::season::finding::Finding;
use crate::stats::conformity::Limits;

use crate::analysis::antennas::result::Range;

/// What is said of a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum Verdict {
    /// Shown to hold.
    #[serde(rename = "met")]
    Met,
    /// Shown not to hold.
    #[serde(rename = "missed")]
    Missed,
    /// Neither is shown.
    #[serde(rename = "not shown")]
    NotShown,
}

/// How a value came about.
#[derive(Debug, Clone, PartialEq)]
pub enum Route {
    /// The antenna's own level in a set, by a quantity (a claim on SWR may be held against return losses).
    Level {
        /// What was read.
        quantity: String,
    },
    /// Its field strength against that of an antenna of known gain.
    Gain {
        /// That antenna.
        reference: String,
        /// Its gain, dBi.
        known: Known,
    },
    /// Its gain as the season declares it.
    Declared,
}

/// What would settle a claim, by one meter.
#[derive(Debug, Clone, PartialEq)]
pub enum Settle {
    /// It is settled.
    Settled,
    /// About so many more sessions, should the result stay where it is.
    Sessions(u32),
    /// More sessions than anyone makes: above that many.
    MoreThan(u32),
    /// No number of sessions: what no repeat makes smaller is alone wider than the gap.
    Never {
        /// The largest of what stays.
        because: Lasting,
        /// The range that would be left.
        left: Range,
    },
}

/// What no number of sessions makes smaller.
#[derive(Debug, Clone, PartialEq)]
pub enum Lasting {
    /// A declared source, by name.
    Source(String),
    /// The step in the meter's readings: which side of it is right.
    Shift,
    /// The result stands right on the limit.
    Nothing,
}

/// A step in a meter's readings of all antennas alike.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftSeen {
    /// The last session before it.
    pub before: String,
    /// The first after it.
    pub after: String,
    /// After less before, on the analysis scale.
    pub size: f64,
    /// How often chance alone makes one as large.
    pub p_value: f64,
}

/// One meter's result held against one claim. Numbers are on the analysis scale of `Claim::quantity`.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// The meter; `None` for a declared gain.
    pub meter: Option<String>,
    /// How the value came about.
    pub route: Route,
    /// The estimate.
    pub estimate: f64,
    /// Standard uncertainty, everything that counts in an absolute result included.
    pub standard_uncertainty: f64,
    /// Range of the true value: each end is overstepped with a chance of at most `risk_each_end`.
    pub range: Range,
    /// What each end of the range risks: the risk asked for, over the meters that share it and, between two
    /// limits, over both.
    pub risk_each_end: f64,
    /// Probability of conformity.
    pub probability: f64,
    /// Risk of being wrong if the claim is called met.
    pub risk_if_met: f64,
    /// Risk of being wrong if it is called missed.
    pub risk_if_missed: f64,
    /// Results that would count as met; `None` where no result could.
    pub met_within: Option<Limits>,
    /// Results outside would count as missed.
    pub missed_outside: Limits,
    /// This meter's verdict by itself.
    pub verdict: Verdict,
    /// What would settle it.
    pub settle: Settle,
    /// Sessions the antenna was measured in; 0 for a declared gain.
    pub visits: usize,
    /// Whether anything says how far off the meter may be as a whole; it is taken at its word else.
    pub calibrated: bool,
    /// A step in the meter's readings during the season.
    pub shift: Option<ShiftSeen>,
}

/// Why a claim cannot be held against any result.
#[derive(Debug, Clone, PartialEq)]
pub enum Unheld {
    /// No reading of any antenna on that band.
    BandNeverMeasured,
    /// No reading of the antenna at all.
    AntennaNeverMeasured,
    /// No reading of the antenna on that band, though of others.
    AntennaNotOnBand,
    /// No reading of that quantity of the antenna on that band.
    QuantityNeverMeasured,
    /// Read, but nothing shows or declares how much readings, mountings or days scatter.
    SpreadUnknown {
        /// By these meters.
        meters: Vec<String>,
    },
    /// No antenna's gain is known on that band.
    NoKnownGain,
    /// An antenna's gain is known, but no field meter read both.
    ReferenceNotMeasured {
        /// That antenna.
        reference: String,
    },
    /// Both were read, but this log cannot compare them.
    NotComparable {
        /// The antenna of known gain.
        reference: String,
    },
    /// Grades are ordered, never averaged.
    Grades,
    /// The set has more antennas than are analysed.
    TooManyAntennas,
}

/// One claim on one band.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// The antenna.
    pub antenna: String,
    /// What is claimed, with its unit and scale; gain in dBi.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Upper limit, in the quantity's unit.
    pub at_most: Option<f64>,
    /// Lower limit, in the quantity's unit.
    pub at_least: Option<f64>,
    /// Line of `season.toml`, from 1.
    pub line: usize,
    /// The verdict over all meters.
    pub verdict: Verdict,
    /// Each meter's result, in the season's order; empty where there is none.
    pub held: Vec<Held>,
    /// The one in `held` that the verdict rests on, or that comes closest.
    pub best: Option<usize>,
    /// Two in `held` whose ranges have nothing in common: no verdict, whatever each says.
    pub disagree: Option<[usize; 2]>,
    /// Why nothing could be held against it.
    pub unheld: Option<Unheld>,
}

/// All of it.
#[derive(Debug, Clone)]
pub struct Claims {
    /// The season's title.
    pub season: String,
    /// The season's confidence.
    pub confidence: f64,
    /// The chance allowed of being wrong about a claim: at this look, where the season plans several.
    pub risk: f64,
    /// Which look this is, where the season plans several.
    pub look: Option<Look>,
    /// Seed.
    pub seed: u64,
    /// Trials behind each figure.
    pub trials: usize,
    /// The claims, by antenna in the season's order.
    pub claims: Vec<Claim>,
    /// What to measure next, what settles most for its minutes first.
    pub next: Vec<Step>,
    /// Everything found on the way in.
    pub findings: Vec<Finding>,
    /// Defaults used for want of a season.toml.
    pub assumptions: Vec<String>,
    /// Readings left out on the record: reason and rows.
    pub left_out: Vec<(String, usize)>,
}

impl Claim {
    /// The result the verdict rests on, or that comes closest.
    pub fn best(&self) -> Option<&Held> {
        self.best.and_then(|i| self.held.get(i))
    }
}

impl Claims {
    /// Claims with that verdict.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.claims.iter().filter(|c| c.verdict == verdict).count()
    }

    /// Claims that some result was held against.
    pub fn judged(&self) -> usize {
        self.claims.iter().filter(|c| !c.held.is_empty()).count()
    }
}
