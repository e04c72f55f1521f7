//! The levels of a log, and what it shows of each.

/// Where scatter can live, outermost first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// One outing or bench day.
    Session,
    /// One antenna in one session.
    Visit,
    /// One attachment of the antenna.
    Mounting,
    /// One number read.
    Reading,
}

impl Level {
    /// All levels, outermost first: the order of θ.
    pub const ALL: [Level; 4] = [Level::Session, Level::Visit, Level::Mounting, Level::Reading];

    /// The level's name.
    pub fn name(self) -> &'static str {
        match self {
            Level::Session => "session",
            Level::Visit => "visit",
            Level::Mounting => "mounting",
            Level::Reading => "reading",
        }
    }
}

/// What the log shows of a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelState {
    /// Replicated: its component is estimated.
    Seen,
    /// Not told apart from another level, whose component holds it.
    MergedInto(Level),
    /// Nothing in the log shows its scatter, alone or with another's.
    Unseen,
}

/// What a log shows of each level, outermost first, from the degrees of freedom of its strata (fitted in
/// the order antenna, session, visit, mounting, reading). `single`: every mounting holds one reading.
///
/// A stratum with none cannot separate its level from the one below: the two are merged. Where no visit
/// repeats an antenna, nothing shows what another visit would change, and every level from session down
/// to the first replicated one is unseen.
pub(super) fn states(strata: [f64; 4], single: bool) -> [LevelState; 4] {
    let [df_session, df_visit, df_mounting, df_reading] = strata;
    use Level::*;
    use LevelState::*;
    let repeated = df_session + df_visit > 0.0;
    let reading = match (df_reading > 0.0, df_mounting > 0.0 || repeated) {
        (true, _) => Seen,
        (false, true) if single => Seen,
        (false, true) => MergedInto(Mounting),
        (false, false) => Unseen,
    };
    let mounting = match (df_mounting > 0.0, repeated) {
        (false, false) => Unseen,
        _ if df_reading > 0.0 || !single => Seen,
        _ => MergedInto(Reading),
    };
    let below_visit = if mounting == Seen { Mounting } else { Reading };
    let visit = match (repeated, df_mounting > 0.0) {
        (false, _) => Unseen,
        (true, false) => MergedInto(below_visit),
        (true, true) => Seen,
    };
    // With no stratum of its own the visit cannot be told from the session: the scatter between
    // an antenna's visits is then all laid on the visit, which does not cancel.
    let below_session = if visit == Seen { Visit } else { below_visit };
    let session = match (df_session > 0.0, df_visit > 0.0) {
        (false, _) => Unseen,
        (true, false) => MergedInto(below_session),
        (true, true) => Seen,
    };
    [session, visit, mounting, reading]
}
