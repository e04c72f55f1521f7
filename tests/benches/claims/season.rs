//! A season with a known truth, every declared source drawn anew: its sets and its `season.toml`.

use daylight::analysis::antennas::sets::Set;
use daylight::montecarlo::shape::Shape;
use daylight::montecarlo::stream::{Stream, stream};
use daylight::radio::quantity::built_in;
use daylight::radio::reflection::{directivity_error, from_swr, line_correction, vector_sum};
use daylight::season::config::{Antenna, Band, Claim, Config, Known, Meter, Scope, Source};
use daylight::stats::mixed::MountingSummary;
use rand::RngExt;
use rand_distr::StandardNormal;

use crate::design::{Asks, Design, MeterPlan};

/// Streams of the simulated seasons, apart from the program's own.
const SEASON_TASK: u64 = 1 << 22;
const BAND: &str = "2 m";

/// A season: what the program is given.
pub struct Season {
    pub config: Config,
    pub sets: Vec<Set>,
}

struct Bench<'a> {
    rng: Stream,
    design: &'a Design,
}

/// What the antenna itself did, the same for every meter.
struct Mounted {
    session: usize,
    antenna: usize,
    value: f64,
}

impl Bench<'_> {
    fn normal(&mut self, sd: f64) -> f64 {
        sd * self.rng.sample::<f64, _>(StandardNormal)
    }

    fn phase(&mut self) -> f64 {
        std::f64::consts::TAU * self.rng.random::<f64>()
    }

    /// Every mounting of every antenna about its true value.
    fn mountings(&mut self, truth: &[f64]) -> Vec<Mounted> {
        let d = self.design;
        let mut out = vec![];
        for (antenna, own) in truth.iter().enumerate() {
            for session in 0..d.sessions {
                // the antenna under claim misses sessions at random, but never all
                if d.missing && antenna == 0 && session > 0 && self.rng.random::<f64>() < 0.5 {
                    continue;
                }
                let visit = own + self.normal(d.sd[1]);
                for _ in 0..d.mountings {
                    let value = visit + self.normal(d.sd[2]);
                    out.push(Mounted { session, antenna, value });
                }
            }
        }
        out
    }

    /// What one meter reads of them.
    fn read(&mut self, quantity: &str, number: usize, meter: &MeterPlan, mounted: &[Mounted]) -> Set {
        let d = self.design;
        let line = line_correction(meter.line_loss_db);
        let wave = meter.directivity_db.map(directivity_error);
        let phases: Vec<f64> = (0..d.antennas).map(|_| self.phase()).collect();
        let own: Vec<f64> =
            (0..d.antennas).map(|_| d.antenna_source.map_or(0.0, |shape| shape.draw(&mut self.rng))).collect();
        let season = self.normal(meter.calibration);
        let step = (meter.step > 0.0).then_some(meter.step);
        // one side of the shift is right, and nobody knows which
        let right_before = self.rng.random::<bool>();
        let days: Vec<f64> = (0..d.sessions)
            .map(|s| {
                let shifted = (s >= d.sessions / 2) == right_before;
                self.normal(d.sd[0]) + if shifted { d.shift } else { 0.0 }
            })
            .collect();
        let mut mountings = vec![];
        for m in mounted {
            let at_meter = match wave {
                Some(wave) => vector_sum(m.value.max(0.0) / line, wave, phases[m.antenna]),
                None => m.value / line,
            };
            let level = at_meter + own[m.antenna] + season + days[m.session];
            let readings: Vec<f64> = (0..d.readings)
                .map(|_| {
                    let y = level + self.normal(d.sd[3]);
                    let y = if wave.is_some() { y.max(0.0) } else { y };
                    // displays show SWR in steps, here as steps in |Γ| about the claim's limit
                    line * step.map_or(y, |step| (y / step).round() * step)
                })
                .collect();
            let n = readings.len() as f64;
            let mean = readings.iter().sum::<f64>() / n;
            let sum_of_squares = readings.iter().map(|y| (y - mean).powi(2)).sum();
            let (session, antenna) = (m.session, m.antenna);
            mountings.push(MountingSummary { session, antenna, readings: n, df: n - 1.0, mean, sum_of_squares });
        }
        Set {
            moduli: vec![],
            quantity: built_in(quantity).expect("a built-in quantity"),
            band: BAND.into(),
            meter: format!("meter {number}"),
            antennas: (0..d.antennas).map(|a| format!("antenna {a}")).collect(),
            sessions: (0..d.sessions).map(|s| format!("session {s}")).collect(),
            mountings,
            line_factor: if wave.is_some() { line } else { 1.0 },
            resolution: if meter.step > 0.0 { shown_step(d, meter.step) } else { 1e-4 },
            resolution_declared: true,
            correction: None,
        }
    }
}

/// A step on the analysis scale in the quantity's own unit, at the claim's limit.
fn shown_step(design: &Design, step: f64) -> f64 {
    match (design.asks, design.limits.1) {
        (Asks::Swr, Some(limit)) => step * (limit + 1.0).powi(2) / 2.0,
        _ => step,
    }
}

/// Simulates season `id`: the antenna under claim is the first, its true value `truth` in the claim's own
/// unit; the others are spread about it.
pub fn simulate(design: &Design, truth: f64, id: u64) -> Season {
    let mut bench = Bench { rng: stream(id, SEASON_TASK, 0), design };
    let p = design.antennas;
    let mut config = Config {
        bands: vec![Band { name: BAND.into(), frequency_mhz: None, channel: None, line: 1 }],
        antennas: (0..p).map(|a| antenna(format!("antenna {a}"))).collect(),
        ..Config::default()
    };
    let (low, high) = design.limits;
    let quantity = match design.asks {
        Asks::Reflection => "reflection",
        Asks::Swr => "swr",
        Asks::Gain { .. } => "gain_dbi",
    };
    config.antennas[0].claims =
        vec![Claim { quantity: quantity.into(), at_most: high, at_least: low, bands: vec![BAND.into()], line: 1 }];
    let (read, values) = match design.asks {
        Asks::Gain { standard } => {
            // the reference's true gain errs from the known one; field strengths stand at any level
            let known = 2.0;
            let reference = known + bench.normal(standard);
            config.reference = Some(format!("antenna {}", p - 1));
            config.antennas[p - 1].gain_dbi.insert(BAND.into(), Known { value: known, standard });
            let mut values: Vec<f64> = (0..p).map(|a| truth - 40.0 - 0.7 * a as f64).collect();
            values[p - 1] = reference - 40.0;
            ("field_strength", values)
        }
        Asks::Swr => ("swr", (0..p).map(|a| from_swr(truth) + 0.02 * a as f64).collect()),
        Asks::Reflection => ("reflection", (0..p).map(|a| truth + 0.02 * a as f64).collect::<Vec<f64>>()),
    };
    let mounted = bench.mountings(&values);
    let mut sets = vec![];
    for (number, meter) in design.meters.iter().enumerate() {
        sets.push(bench.read(read, number, meter, &mounted));
        config.meters.push(Meter {
            name: format!("meter {number}"),
            kind: None,
            resolution: Default::default(),
            directivity_db: meter.directivity_db,
            line_loss_db: Default::default(), // the sets are already corrected for it
            correct: false,
            line: 1,
        });
        if meter.calibration > 0.0 {
            let shape = Shape::Normal { standard: meter.calibration };
            config.sources.push(source(read, Some(format!("meter {number}")), shape, Scope::Season));
        }
    }
    config.sources.extend(design.antenna_source.map(|shape| source(read, None, shape, Scope::Antenna)));
    Season { config, sets }
}

fn antenna(name: String) -> Antenna {
    Antenna { name, price: None, length_mm: None, gain_dbi: Default::default(), claims: vec![], line: 1 }
}

fn source(quantity: &str, meter: Option<String>, shape: Shape, shared_by: Scope) -> Source {
    let name = "declared".into();
    Source { name, quantity: quantity.into(), meter, band: None, shape, unit: None, shared_by, line: 1 }
}

/// Antenna and band of every reading.
pub fn read_where(design: &Design) -> Vec<(String, String)> {
    (0..design.antennas).map(|a| (format!("antenna {a}"), BAND.to_string())).collect()
}
