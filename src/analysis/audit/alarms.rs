//! How the chance of a false *suspect* is shared out: one log, many rules, sets, sessions and readings, and one
//! chance for all of them together.
//!
//! A clean season has any suspect finding with a chance of at most 5 % ([`SEASON`] of it spent here, the rest
//! left to rules that are certain or nearly so). Every test gets its part and is held to it by Bonferroni's
//! bound, which needs no independence. The program `tests/benches/audit` counts what comes of it.

/// The chance that any of the tests below speaks on a clean season.
pub const SEASON: f64 = 0.04;

/// A kind of test, and its part of [`SEASON`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Test {
    /// A reading among the repeats of its mounting.
    Reading,
    /// A mounting among those of its visit.
    Mounting,
    /// A visit, once antenna and session are taken out.
    Visit,
    /// A session among sessions.
    Session,
    /// The reference antenna among its own sessions.
    Reference,
    /// A trend in a session's running order.
    Drift,
    /// A meter whose offset to another shifted.
    MeterShift,
    /// Repeats too alike.
    Copies,
    /// Habits of last digits.
    Digits,
}

impl Test {
    fn part(self) -> f64 {
        match self {
            Test::Reading => 0.25,
            Test::Mounting => 0.15,
            Test::Visit => 0.10,
            Test::Session => 0.05,
            Test::Reference => 0.05,
            Test::Drift => 0.15,
            Test::MeterShift => 0.05,
            Test::Copies => 0.10,
            Test::Digits => 0.10,
        }
    }

    /// The chance left to each of `count` tests of this kind.
    pub fn level(self, count: usize) -> f64 {
        SEASON * self.part() / count.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::Test::*;

    #[test]
    fn the_parts_make_one() {
        let all = [Reading, Mounting, Visit, Session, Reference, Drift, MeterShift, Copies, Digits];
        assert!((all.iter().map(|t| t.part()).sum::<f64>() - 1.0).abs() < 1e-12);
        assert!((Digits.level(4) - 0.001).abs() < 1e-15);
    }
}
