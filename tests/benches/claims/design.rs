//! Claims a practitioner would check, and the seasons they would check them with.

use daylight::montecarlo::shape::Shape;

/// What is claimed.
#[derive(Clone, Copy)]
pub enum Asks {
    /// An SWR.
    Swr,
    /// |Γ|: for truths at a perfect match.
    Reflection,
    /// A gain through a reference antenna whose gain is known to this standard uncertainty.
    Gain { standard: f64 },
}

/// One meter and what is declared of it.
#[derive(Clone, Copy)]
pub struct MeterPlan {
    pub directivity_db: Option<f64>,
    pub line_loss_db: f64,
    /// Standard deviation of its calibration, drawn anew each season.
    pub calibration: f64,
    /// Last digit on the analysis scale; 0 for none.
    pub step: f64,
}

/// One design.
#[derive(Clone)]
pub struct Design {
    pub name: &'static str,
    pub asks: Asks,
    /// at_least and at_most.
    pub limits: (Option<f64>, Option<f64>),
    /// True values tried: beside the limit where both verdicts would be wrong on one side of it, and others.
    pub truths: Vec<f64>,
    pub antennas: usize,
    pub sessions: usize,
    pub mountings: usize,
    pub readings: usize,
    /// Standard deviations of session, visit, mounting, reading.
    pub sd: [f64; 4],
    /// Whether the antenna under claim misses about half the sessions.
    pub missing: bool,
    pub meters: Vec<MeterPlan>,
    /// A source each antenna meets at its own value.
    pub antenna_source: Option<Shape>,
    /// A shift of each meter at mid-season.
    pub shift: f64,
}

impl Design {
    /// Whether the design is a stress: an error that is neither declared nor large enough to be seen.
    pub fn stress(&self) -> bool {
        self.shift > 0.0
    }
}

fn coupler(directivity_db: f64) -> MeterPlan {
    MeterPlan { directivity_db: Some(directivity_db), line_loss_db: 0.0, calibration: 0.0, step: 0.0 }
}

fn swr(name: &'static str, at_most: f64, directivity_db: f64) -> Design {
    Design {
        name,
        asks: Asks::Swr,
        limits: (None, Some(at_most)),
        truths: vec![at_most],
        antennas: 4,
        sessions: 5,
        mountings: 2,
        readings: 2,
        sd: [0.006, 0.010, 0.010, 0.004],
        missing: false,
        meters: vec![coupler(directivity_db)],
        antenna_source: None,
        shift: 0.0,
    }
}

fn gain(name: &'static str, standard: f64) -> Design {
    let meter = MeterPlan { directivity_db: None, line_loss_db: 0.0, calibration: 1.0, step: 0.0 };
    Design {
        asks: Asks::Gain { standard },
        limits: (Some(3.0), None),
        truths: vec![3.0, 5.0],
        sd: [1.0, 0.35, 0.3, 0.2],
        meters: vec![meter],
        antenna_source: Some(Shape::Arcsine { half_width: 0.3 }),
        ..swr(name, 1.0, 1.0)
    }
}

/// All designs.
pub fn all() -> Vec<Design> {
    let calibrated = MeterPlan { line_loss_db: 0.4, calibration: 0.01, ..coupler(25.0) };
    let coarse = MeterPlan { step: 0.03, ..coupler(35.0) };
    vec![
        Design { truths: vec![1.1, 1.01], ..swr("near a match: SWR ≤ 1.1, directivity 25 dB", 1.1, 25.0) },
        Design { truths: vec![1.05, 1.01], ..swr("near a match: SWR ≤ 1.05, directivity 20 dB", 1.05, 20.0) },
        Design { truths: vec![1.2, 1.02], ..swr("near a match: SWR ≤ 1.2, directivity 35 dB", 1.2, 35.0) },
        Design {
            asks: Asks::Reflection,
            limits: (None, Some(0.005)),
            truths: vec![0.0, 0.005],
            sd: [0.001, 0.001, 0.001, 0.001],
            ..swr("a perfect match, |Γ| ≤ 0.005, directivity 25 dB", 1.0, 25.0)
        },
        Design {
            limits: (Some(1.2), None),
            truths: vec![1.2, 1.0],
            ..swr("near a match: SWR ≥ 1.2, directivity 25 dB", 1.2, 25.0)
        },
        Design { truths: vec![2.0, 1.6], ..swr("SWR ≤ 2, directivity 25 dB", 2.0, 25.0) },
        Design {
            meters: vec![calibrated],
            truths: vec![2.0, 1.6],
            ..swr("SWR ≤ 2, line 0.4 dB, calibration 0.01", 2.0, 25.0)
        },
        Design {
            meters: vec![coupler(25.0), coupler(35.0)],
            truths: vec![2.0, 1.6],
            ..swr("SWR ≤ 2, two meters", 2.0, 25.0)
        },
        Design { meters: vec![coarse], truths: vec![1.5, 1.2], ..swr("SWR ≤ 1.5, coarse display", 1.5, 35.0) },
        Design { sessions: 2, antennas: 3, ..swr("SWR ≤ 2, 2 sessions", 2.0, 35.0) },
        Design { antennas: 2, sessions: 3, missing: true, ..swr("SWR ≤ 2, 3 sessions, half missed", 2.0, 35.0) },
        Design {
            sd: [0.0, 0.0, 0.01, 0.004],
            sessions: 4,
            ..swr("SWR ≤ 2, neither days nor visits scatter", 2.0, 35.0)
        },
        Design { sessions: 9, shift: 0.03, ..swr("SWR ≤ 2, meter shifts by 0.03, 9 sessions", 2.0, 35.0) },
        Design { sessions: 6, shift: 0.015, ..swr("SWR ≤ 2, meter shifts by 0.015, 6 sessions", 2.0, 35.0) },
        gain("gain ≥ 3 dBi, reference known to 0.5 dB", 0.5),
        gain("gain ≥ 3 dBi, reference known to 0.1 dB", 0.1),
        Design { sessions: 2, antennas: 2, ..gain("gain ≥ 3 dBi, 2 antennas, 2 sessions", 0.5) },
        Design { missing: true, ..gain("gain ≥ 3 dBi, half the sessions missed", 0.2) },
        Design {
            limits: (Some(2.0), Some(4.0)),
            truths: vec![2.0, 4.0, 3.0],
            ..gain("gain 2 to 4 dBi, reference known to 0.2 dB", 0.2)
        },
    ]
}
