//! The grid: designs a practitioner would run, and some nobody should.

use daylight::montecarlo::shape::Shape;
use daylight::season::config::Scope;

/// Which visits take place.
#[derive(Clone, Copy, PartialEq)]
pub enum Plan {
    /// Every antenna in every session.
    Complete,
    /// Each visit takes place with that probability; every antenna has at least one.
    Missing(f64),
    /// The first antenna in every session, each other one in that many.
    Linked(usize),
    /// As complete, with mountings and readings that vary from visit to visit.
    Uneven,
}

/// What scatter looks like.
#[derive(Clone, Copy, PartialEq)]
pub enum Errors {
    /// Normal at every level.
    Normal,
    /// Exponential, shifted to mean zero: skewed.
    Skewed,
    /// Student's t with 4 degrees of freedom, scaled to its standard deviation.
    Heavy,
}

/// One design.
#[derive(Clone)]
pub struct Design {
    pub name: &'static str,
    pub antennas: usize,
    pub sessions: usize,
    pub mountings: usize,
    pub readings: usize,
    pub plan: Plan,
    /// Standard deviations of session, visit, mounting, reading.
    pub sd: [f64; 4],
    pub errors: Errors,
    /// Last digit of the display; 0 for none.
    pub step: f64,
    /// Declared sources; their true values are drawn anew each season.
    pub sources: Vec<(Scope, Shape)>,
    /// A coupler's directivity, dB: readings are then |Γ| near a match, and differences are not additive.
    pub directivity: Option<f64>,
}

impl Design {
    /// Whether truths can be shifted after the fact: not where rounding or a vector bends the scale.
    pub fn additive(&self) -> bool {
        self.step == 0.0 && self.directivity.is_none()
    }

    /// Whether the design is a stress beyond what the method assumes.
    pub fn stress(&self) -> bool {
        self.errors != Errors::Normal
    }
}

fn plain(name: &'static str, size: [usize; 4], plan: Plan, sd: [f64; 4]) -> Design {
    let [antennas, sessions, mountings, readings] = size;
    Design {
        name,
        antennas,
        sessions,
        mountings,
        readings,
        plan,
        sd,
        errors: Errors::Normal,
        step: 0.0,
        sources: vec![],
        directivity: None,
    }
}

/// All designs, from the smallest up.
pub fn grid() -> Vec<Design> {
    use Plan::*;
    let usual = [1.0, 0.4, 0.3, 0.2];
    let no_visit = [1.0, 0.0, 0.3, 0.2];
    let no_session = [0.0, 0.4, 0.3, 0.2];
    let small_session = [0.3, 0.4, 0.3, 0.2];
    let only_reading = [0.0, 0.0, 0.0, 0.3];
    let visit_rules = [0.2, 1.0, 0.1, 0.1];
    let mounting_rules = [0.2, 0.1, 1.0, 0.1];
    let mut all = vec![
        plain("2 antennas, 2 sessions", [2, 2, 2, 3], Complete, usual),
        plain("2 antennas, 2 sessions, no visit scatter", [2, 2, 2, 3], Complete, no_visit),
        plain("2 antennas, 3 sessions", [2, 3, 2, 3], Complete, usual),
        plain("2 antennas, 8 sessions, single readings", [2, 8, 1, 1], Complete, usual),
        plain("3 antennas, 2 sessions, mounted once", [3, 2, 1, 3], Complete, usual),
        plain("3 antennas, 2 sessions, no visit scatter", [3, 2, 2, 3], Complete, no_visit),
        plain("3 antennas, 3 sessions", [3, 3, 2, 3], Complete, usual),
        plain("3 antennas, 3 sessions, only reading scatter", [3, 3, 2, 3], Complete, only_reading),
        plain("4 antennas, 2 sessions", [4, 2, 2, 3], Complete, usual),
        plain("4 antennas, 3 sessions, visits rule", [4, 3, 2, 2], Complete, visit_rules),
        plain("4 antennas, 3 sessions, mountings rule", [4, 3, 3, 2], Complete, mounting_rules),
        plain("4 antennas, 4 sessions", [4, 4, 2, 3], Complete, usual),
        plain("4 antennas, 4 sessions, no visit scatter", [4, 4, 2, 3], Complete, no_visit),
        plain("4 antennas, 4 sessions, no session scatter", [4, 4, 2, 3], Complete, no_session),
        plain("6 antennas, 4 sessions, 6 mountings", [6, 4, 6, 2], Complete, usual),
        plain("6 antennas, 12 sessions, mounted once", [6, 12, 1, 2], Complete, usual),
        plain("10 antennas, 8 sessions", [10, 8, 2, 3], Complete, usual),
        plain("12 antennas, 3 sessions", [12, 3, 2, 2], Complete, usual),
        plain("4 antennas, 1 session", [4, 1, 3, 3], Complete, usual),
        plain("5 antennas, 1 session, 10 readings", [5, 1, 1, 10], Complete, usual),
        plain("3 antennas, 3 sessions, uneven", [3, 3, 3, 3], Uneven, usual),
        plain("4 antennas, 3 sessions, uneven, no visit scatter", [4, 3, 3, 3], Uneven, no_visit),
        plain("4 antennas, 2 sessions, uneven", [4, 2, 3, 3], Uneven, usual),
        plain("4 antennas, 4 sessions, a third missing", [4, 4, 2, 3], Missing(0.67), usual),
        plain("4 antennas, 3 sessions, a third missing, no visit scatter", [4, 3, 2, 3], Missing(0.67), no_visit),
        plain("6 antennas, 6 sessions, half missing", [6, 6, 2, 3], Missing(0.5), usual),
        plain("6 antennas, 6 sessions, half missing, no session scatter", [6, 6, 2, 3], Missing(0.5), no_session),
        plain(
            "6 antennas, 6 sessions, half missing, little session scatter",
            [6, 6, 2, 3],
            Missing(0.5),
            small_session,
        ),
        plain("6 antennas, 5 sessions, a third missing, single readings", [6, 5, 1, 1], Missing(0.67), usual),
        plain("9 antennas, 9 sessions, a quarter missing", [9, 9, 2, 3], Missing(0.75), usual),
        plain("5 antennas, 4 sessions, linked, others once", [5, 4, 2, 3], Linked(1), usual),
        plain(
            "8 antennas, 5 sessions, linked, others once, little session scatter",
            [8, 5, 2, 3],
            Linked(1),
            small_session,
        ),
        plain("6 antennas, 3 sessions, linked, others twice", [6, 3, 2, 3], Linked(2), usual),
        plain("6 antennas, 3 sessions, linked, others twice, no visit scatter", [6, 3, 2, 3], Linked(2), no_visit),
        plain("6 antennas, 3 sessions, linked, others twice, no session scatter", [6, 3, 2, 3], Linked(2), no_session),
        plain("8 antennas, 6 sessions, linked, others twice", [8, 6, 2, 3], Linked(2), usual),
        plain("12 antennas, 8 sessions, linked, others twice", [12, 8, 2, 3], Linked(2), usual),
    ];
    let sourced =
        |name, scope, shape, size, plan| Design { sources: vec![(scope, shape)], ..plain(name, size, plan, usual) };
    let rectangular = Shape::Rectangular { half_width: 0.8 };
    all.extend([
        sourced("source shared by the season", Scope::Season, Shape::Normal { standard: 1.0 }, [4, 4, 2, 3], Complete),
        sourced(
            "source shared by each antenna, arcsine",
            Scope::Antenna,
            Shape::Arcsine { half_width: 0.5 },
            [4, 4, 2, 3],
            Complete,
        ),
        sourced(
            "source shared by each antenna, normal, 2 sessions",
            Scope::Antenna,
            Shape::Normal { standard: 0.3 },
            [3, 2, 2, 3],
            Complete,
        ),
        sourced("source shared by the session", Scope::Session, rectangular, [4, 4, 2, 3], Complete),
        sourced("source shared by the visit", Scope::Visit, rectangular, [4, 4, 2, 3], Complete),
        sourced("source shared by the mounting", Scope::Mounting, rectangular, [4, 4, 2, 3], Complete),
        sourced("source of each reading", Scope::Reading, rectangular, [4, 4, 2, 3], Complete),
    ]);
    let mut one_session = plain("1 session, visit's spread declared", [4, 1, 3, 3], Complete, [1.0, 0.0, 0.3, 0.2]);
    one_session.sources = vec![(Scope::Visit, Shape::Normal { standard: 0.4 })];
    all.push(one_session);
    let coarse = |name, step, sd| Design { step, ..plain(name, [3, 3, 2, 3], Complete, sd) };
    all.extend([
        coarse("display coarse beside all scatter", 1.0, [0.2, 0.1, 0.1, 0.1]),
        coarse("display as coarse as the scatter", 0.5, [0.3, 0.2, 0.2, 0.2]),
        coarse("display hides all scatter", 1.0, [0.02, 0.01, 0.01, 0.01]),
    ]);
    let vector = |name, directivity, size: [usize; 4]| Design {
        directivity: Some(directivity),
        ..plain(name, size, Complete, [0.006, 0.01, 0.01, 0.004])
    };
    all.extend([
        vector("SWR near a match, directivity 20 dB", 20.0, [4, 4, 2, 2]),
        vector("SWR near a match, directivity 30 dB", 30.0, [6, 4, 2, 2]),
    ]);
    for (name, errors) in [("skewed errors", Errors::Skewed), ("heavy-tailed errors", Errors::Heavy)] {
        all.push(Design { errors, ..plain(name, [4, 4, 2, 3], Complete, usual) });
    }
    all.push(Design {
        errors: Errors::Skewed,
        ..plain("skewed errors, half missing", [6, 6, 2, 3], Missing(0.5), usual)
    });
    all
}
