//! A plan as plain data, rendered elsewhere.

use serde::Serialize;

use super::components::Origin;
use super::order::Order;
use super::promise::{Chance, Design, Simulated};
use super::sheet::Row;
use crate::analysis::antennas::sets::Set;
use crate::analysis::looks::Look;
use crate::analysis::next::Step;
use crate::season::config::Effort;

/// What is planned for.
#[derive(Debug, Clone)]
pub struct Target {
    /// The set, an antenna never measured last.
    pub set: Set,
    /// Pairs to settle, by index into its antennas.
    pub pairs: Vec<(usize, usize)>,
    /// Pairs asked about that are settled already.
    pub settled: Vec<(usize, usize)>,
    /// The antenna never measured.
    pub new: Option<usize>,
}

/// One pair of the plan.
#[derive(Debug, Clone, Serialize)]
pub struct PlannedPair {
    /// First antenna.
    pub first: String,
    /// Second antenna.
    pub second: String,
    /// The smallest difference that matters, in the unit `[matters]` uses.
    pub matters: Option<f64>,
    /// Whether the log says anything of their difference.
    pub measured: bool,
}

/// So many more sessions, and what they promise.
#[derive(Debug, Clone, Serialize)]
pub struct Stage {
    /// What is added.
    pub design: Design,
    /// Minutes, all sessions together.
    pub minutes: f64,
    /// The chance of any false verdict that the verdict then is held to: of the look that this leads to, where the
    /// season plans several.
    pub level: f64,
    /// Chances, a pair each.
    pub chances: Vec<Chance>,
}

impl Stage {
    /// The chance of the pair that is hardest to settle; none where there is no pair.
    pub fn least(&self) -> Simulated {
        let all = self.chances.iter().map(|c| c.settled);
        all.reduce(|least, c| if c.chance < least.chance { c } else { least }).unwrap_or_default()
    }
}

/// One way to spend the minutes there are.
#[derive(Debug, Clone, Serialize)]
pub struct Alternative {
    /// What is added.
    pub design: Design,
    /// Minutes, all sessions together.
    pub minutes: f64,
    /// The chance of any false verdict that the verdict then is held to, as for [`Stage`].
    pub level: f64,
    /// Chances, a pair each.
    pub chances: Vec<Chance>,
    /// Whether it is how this season measures so far.
    pub usual: bool,
}

impl Alternative {
    /// The pairs' mean chance.
    pub fn mean(&self) -> f64 {
        self.chances.iter().map(|c| c.settled.chance).sum::<f64>() / self.chances.len().max(1) as f64
    }
}

/// All of it.
#[derive(Debug, Clone, Serialize)]
pub struct Plan {
    /// The season's title.
    pub season: String,
    /// The set planned for, in words.
    pub set: String,
    /// Unit of its analysis scale.
    pub unit: String,
    /// Confidence of the verdicts.
    pub confidence: f64,
    /// Which look the log stands at, where the season plans several.
    pub look: Option<Look>,
    /// Seed of simulations and order.
    pub seed: u64,
    /// Trials behind each chance.
    pub trials: usize,
    /// Pairs asked about that are settled already, by index.
    #[serde(skip)]
    pub settled: Vec<(usize, usize)>,
    /// Pairs to settle.
    pub pairs: Vec<PlannedPair>,
    /// Standard deviation at each level on the analysis scale, outermost first.
    pub components: [f64; 4],
    /// Where each comes from.
    pub origin: [Origin; 4],
    /// Shares of one reading's scatter inside a session: visits, mountings, readings.
    pub shares: [f64; 3],
    /// The same for the mean of a visit as planned.
    pub shares_of_visit: [f64; 3],
    /// Half-width that stays in each pair's interval however often one measures.
    pub lasting: Vec<f64>,
    /// The first stage whose every chance is enough.
    pub enough: Option<usize>,
    /// More and more sessions, as this season measures.
    pub stages: Vec<Stage>,
    /// The minutes that the alternatives may take.
    pub minutes: Option<f64>,
    /// Other ways to spend the same minutes, best first.
    pub alternatives: Vec<Alternative>,
    /// What measuring costs.
    pub effort: Effort,
    /// What to measure next, over all sets.
    pub next: Vec<Step>,
    /// Name of the next session.
    pub session: String,
    /// Its running order.
    pub order: Order,
    /// Its record sheet.
    pub sheet: Vec<Row>,
    /// The reference antenna.
    pub reference: Option<String>,
    /// Defaults used for want of a season.toml.
    pub assumptions: Vec<String>,
}
