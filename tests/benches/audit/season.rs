//! Seasons with known truth, written as the files a practitioner would keep: the physics of one bench,
//! read by meters that round.
//!
//! One mounting has one reflection Γ at the antenna. The analyzer adds its own false wave and shows SWR,
//! |Z|, R and X of that one wave; the in-line meter sees Γ through the line, adds its own, and shows
//! forward power, reflected power and SWR of that one wave. A second reading is of another moment. Field
//! strength follows the antenna, the power and the site. All is clean: [`super::faults`] spoils it.

use std::fmt::Write as _;
use std::path::Path;

use daylight::montecarlo::stream::{Stream, stream};
use daylight::radio::reflection::{directivity_error, from_swr, line_correction, to_swr};
use daylight::season::Season;
use rand::RngExt;
use rand::seq::SliceRandom;
use rand_distr::StandardNormal;

/// Bands a season may use: name and frequency; inside the limits of every region.
pub const BANDS: [(&str, f64); 3] = [("2 m", 145.5), ("70 cm", 433.5), ("GMRS", 462.6)];

const NAMES: [&str; 12] =
    ["heron", "plover", "avocet", "lapwing", "godwit", "redshank", "dunlin", "curlew", "snipe", "ruff", "knot", "teal"];

/// How a season is laid out: drawn at random, one a seed.
#[derive(Debug, Clone)]
pub struct Design {
    /// Antennas; the first is the reference.
    pub antennas: usize,
    /// Sessions.
    pub sessions: usize,
    /// Mountings a visit (the reference has one more).
    pub mountings: usize,
    /// Readings a mounting.
    pub readings: usize,
    /// Bands.
    pub bands: usize,
    /// Chance that an antenna misses a session (never the reference).
    pub missing: f64,
    /// Decimals of SWR, power, impedance and field strength.
    pub decimals: [usize; 4],
    /// Whether the display's last digits are declared.
    pub declared: bool,
    /// Whether battery voltages are logged.
    pub battery: bool,
    /// Whether R and X are logged beside |Z|.
    pub resistance: bool,
    /// Scatter, as a multiple of a usual bench's.
    pub scatter: f64,
}

impl Design {
    /// A design a practitioner would run.
    pub fn drawn(rng: &mut Stream) -> Design {
        Design {
            antennas: rng.random_range(2..=9),
            sessions: rng.random_range(1..=8),
            mountings: rng.random_range(1..=3),
            readings: rng.random_range(1..=3),
            bands: rng.random_range(1..=3),
            missing: if rng.random_bool(0.5) { 0.2 } else { 0.0 },
            decimals: [
                if rng.random_bool(0.75) { 2 } else { 1 },
                if rng.random_bool(0.75) { 2 } else { 1 },
                if rng.random_bool(0.5) { 1 } else { 0 },
                if rng.random_bool(0.75) { 1 } else { 0 },
            ],
            declared: rng.random_bool(0.5),
            battery: rng.random_bool(0.5),
            resistance: rng.random_bool(0.5),
            scatter: rng.random_range(0.6..1.6),
        }
    }

    /// A season large enough for any fault to be planted in: what detection is measured on.
    pub fn ample() -> Design {
        Design {
            antennas: 6,
            sessions: 5,
            mountings: 2,
            readings: 2,
            bands: 2,
            missing: 0.1,
            decimals: [2, 2, 1, 1],
            declared: true,
            battery: true,
            resistance: true,
            scatter: 1.0,
        }
    }
}

/// One line of the log, before it is written.
#[derive(Debug, Clone)]
pub struct Reading {
    /// Session, from 0.
    pub session: usize,
    /// Antenna, from 0.
    pub antenna: usize,
    /// Band, from 0.
    pub band: usize,
    /// Meter.
    pub meter: &'static str,
    /// Quantity.
    pub quantity: &'static str,
    /// The value the meter would show with endless digits, in `unit`.
    pub value: f64,
    /// Decimals it is written to.
    pub decimals: usize,
    /// Unit, as written.
    pub unit: &'static str,
    /// Mounting within the visit, from 1.
    pub mounting: usize,
    /// Place in the session's running order, from 1.
    pub order: usize,
    /// Second of the day.
    pub second: usize,
    /// Battery, V.
    pub battery: f64,
}

impl Reading {
    /// The value as written.
    pub fn text(&self) -> String {
        format!("{:.*}", self.decimals, self.value)
    }
}

/// A simulated season.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// Its design.
    pub design: Design,
    /// `season.toml`.
    pub config: String,
    /// Its readings, in the order of the log: reading `i` stands on line `i + 2` of `readings.csv`.
    pub readings: Vec<Reading>,
}

/// The name of the one file of readings.
pub const FILE: &str = "readings.csv";

struct Truth {
    field: f64,
    reflection: f64,
    phase: f64,
}

/// What a session, a visit or a mounting adds, on one band.
#[derive(Clone, Copy, Default)]
struct Shift {
    field: f64,
    inline: f64,
    analyzer: f64,
    power: f64,
    gamma: f64,
    phase: f64,
}

/// Usual standard deviations per level, as on a careful bench: field strength and power in dB, |Γ|.
const SESSION: Shift = Shift { field: 0.6, inline: 0.006, analyzer: 0.006, power: 0.15, gamma: 0.0, phase: 0.0 };
const VISIT: Shift = Shift { field: 0.3, inline: 0.0, analyzer: 0.0, power: 0.05, gamma: 0.008, phase: 0.02 };
const MOUNTING: Shift = Shift { field: 0.3, inline: 0.0, analyzer: 0.0, power: 0.04, gamma: 0.010, phase: 0.03 };
const FIELD_READING: f64 = 0.2;
const GAMMA_READING: f64 = 0.004;
const PHASE_READING: f64 = 0.01;
const POWER_READING: f64 = 0.03;

const DIRECTIVITY: [(&str, f64); 2] = [("inline", 25.0), ("analyzer", 35.0)];
const LINE_LOSS_DB: f64 = 0.3;

fn normal(rng: &mut Stream, sd: f64) -> f64 {
    sd * rng.sample::<f64, _>(StandardNormal)
}

fn drawn(rng: &mut Stream, size: Shift, scale: f64) -> Shift {
    let mut one = |sd: f64| normal(rng, sd * scale);
    Shift {
        field: one(size.field),
        inline: one(size.inline),
        analyzer: one(size.analyzer),
        power: one(size.power),
        gamma: one(size.gamma),
        phase: one(size.phase),
    }
}

/// A reflection as a vector.
#[derive(Clone, Copy)]
struct Wave {
    re: f64,
    im: f64,
}

impl Wave {
    fn polar(modulus: f64, phase: f64) -> Wave {
        Wave { re: modulus * phase.cos(), im: modulus * phase.sin() }
    }

    fn plus(self, modulus: f64, phase: f64) -> Wave {
        let other = Wave::polar(modulus, phase);
        Wave { re: self.re + other.re, im: self.im + other.im }
    }

    fn modulus(self) -> f64 {
        self.re.hypot(self.im)
    }

    /// The same wave, its modulus moved by `shift` but kept that of a passive load.
    fn moved(self, shift: f64, turn: f64) -> Wave {
        Wave::polar((self.modulus() + shift).abs().min(0.9), self.im.atan2(self.re) + turn)
    }

    /// R and X, Ω: Z = 50·(1 + Γ)/(1 − Γ).
    fn impedance(self) -> (f64, f64) {
        let below = (1.0 - self.re).powi(2) + self.im.powi(2);
        (50.0 * (1.0 - self.modulus().powi(2)) / below, 50.0 * 2.0 * self.im / below)
    }
}

impl Simulated {
    /// The season of a design and a seed; the same bytes each time.
    pub fn new(design: &Design, rng: &mut Stream) -> Simulated {
        let d = design;
        let truth: Vec<Vec<Truth>> = (0..d.antennas)
            .map(|_| {
                let (field, swr) = (rng.random_range(-5.0..3.0), rng.random_range(1.05..2.8));
                let one = |rng: &mut Stream| Truth {
                    field: field + rng.random_range(-1.0..1.0),
                    reflection: from_swr(1.0 + (swr - 1.0) * rng.random_range(0.7..1.3)),
                    phase: rng.random_range(0.0..std::f64::consts::TAU),
                };
                (0..d.bands).map(|_| one(rng)).collect()
            })
            .collect();
        let mut false_wave = |db: f64| (directivity_error(db), rng.random_range(0.0..std::f64::consts::TAU));
        let waves: Vec<[(f64, f64); 2]> = (0..d.bands).map(|_| DIRECTIVITY.map(|m| false_wave(m.1))).collect();
        let mut season = Simulated { design: d.clone(), config: config(d), readings: vec![] };
        for session in 0..d.sessions {
            season.session(session, &truth, &waves, rng);
        }
        season
    }

    fn session(&mut self, session: usize, truth: &[Vec<Truth>], waves: &[[(f64, f64); 2]], rng: &mut Stream) {
        let d = self.design.clone();
        let present: Vec<usize> = (0..d.antennas).filter(|&a| a == 0 || !rng.random_bool(d.missing)).collect();
        let all: Vec<Shift> = (0..d.bands).map(|_| drawn(rng, SESSION, d.scatter)).collect();
        let visits: Vec<Vec<Shift>> =
            truth.iter().map(|_| (0..d.bands).map(|_| drawn(rng, VISIT, d.scatter)).collect()).collect();
        let mut order = vec![0];
        for _ in 0..d.mountings {
            let mut others: Vec<usize> = present.iter().copied().filter(|&a| a != 0).collect();
            others.shuffle(rng);
            order.extend(others);
            order.push(0);
        }
        let mut mounted = vec![0; d.antennas];
        let fresh = 8.2 + normal(rng, 0.05);
        for (place, &antenna) in order.iter().enumerate() {
            mounted[antenna] += 1;
            for band in 0..d.bands {
                let (t, one, visit) = (&truth[antenna][band], drawn(rng, MOUNTING, d.scatter), visits[antenna][band]);
                let moved = Wave::polar(t.reflection, t.phase).moved(visit.gamma + one.gamma, visit.phase + one.phase);
                let reading = Reading {
                    session,
                    antenna,
                    band,
                    meter: "",
                    quantity: "",
                    value: 0.0,
                    decimals: 0,
                    unit: "",
                    mounting: mounted[antenna],
                    order: place + 1,
                    second: 36_000 + place * 600 + band * 200,
                    battery: fresh - 0.5 * place as f64 / order.len() as f64 + normal(rng, 0.02),
                };
                let shift = Shift {
                    field: t.field + all[band].field + visit.field + one.field,
                    inline: all[band].inline,
                    analyzer: all[band].analyzer,
                    power: all[band].power + visit.power + one.power,
                    ..Shift::default()
                };
                self.mounting(&reading, moved, &shift, waves[band], rng);
            }
        }
    }

    /// All readings of one mounting on one band.
    fn mounting(&mut self, blank: &Reading, antenna: Wave, shift: &Shift, waves: [(f64, f64); 2], rng: &mut Stream) {
        let d = self.design.clone();
        let [swr, power, impedance, field] = d.decimals;
        let mut log = |meter, quantity, value, decimals, unit| {
            let second = blank.second + self.readings.len() % 150;
            self.readings.push(Reading { meter, quantity, value, decimals, unit, second, ..blank.clone() });
        };
        let seen = |wave: Wave, own: f64, rng: &mut Stream| {
            wave.moved(own + normal(rng, GAMMA_READING * d.scatter), normal(rng, PHASE_READING * d.scatter))
        };
        for reading in 0..d.readings {
            let arriving = Wave::polar(antenna.modulus() / line_correction(LINE_LOSS_DB), antenna.im.atan2(antenna.re));
            let read = seen(arriving.plus(waves[0].0, waves[0].1), shift.inline, rng);
            if reading == 0 {
                let forward = 4.5 * 10f64.powf((shift.power + normal(rng, POWER_READING * d.scatter)) / 10.0);
                log("inline", "forward_power", forward, power, "W");
                let reflected = forward * read.modulus().powi(2);
                // a display that shows nothing is not written down
                if reflected >= 0.5 * 10f64.powi(-(power as i32)) {
                    log("inline", "reflected_power", reflected, power, "W");
                }
            }
            log("inline", "swr", to_swr(read.modulus()), swr, "");
        }
        for reading in 0..d.readings {
            let read = seen(antenna.plus(waves[1].0, waves[1].1), shift.analyzer, rng);
            log("analyzer", "swr", to_swr(read.modulus()), swr, "");
            if reading == 0 {
                let (r, x) = read.impedance();
                log("analyzer", "impedance", r.hypot(x), impedance, "ohm");
                if d.resistance {
                    log("analyzer", "resistance", r, impedance, "ohm");
                    log("analyzer", "reactance", x, impedance, "ohm");
                }
            }
        }
        for _ in 0..d.readings {
            let read = -32.0 + shift.field + normal(rng, FIELD_READING * d.scatter);
            log("field", "field_strength", read, field, "dB");
        }
    }

    /// Name of a session.
    pub fn session_name(session: usize) -> String {
        format!("{}-{:02}-{:02}", 2026 + session / 24, 1 + session / 2 % 12, 5 + 14 * (session % 2))
    }

    /// The file of readings.
    pub fn csv(&self) -> String {
        let mut text = String::from("session,antenna,band,meter,quantity,value,unit,mounting,when,order");
        text.push_str(if self.design.battery { ",battery\n" } else { "\n" });
        for r in &self.readings {
            let date = Self::session_name(r.session);
            let (h, m, s) = (r.second / 3600, r.second / 60 % 60, r.second % 60);
            let _ = write!(
                text,
                "{date},{},{},{},{},{},{},{},{date}T{h:02}:{m:02}:{s:02},{}",
                NAMES[r.antenna],
                BANDS[r.band].0,
                r.meter,
                r.quantity,
                r.text(),
                r.unit,
                r.mounting,
                r.order
            );
            if self.design.battery {
                let _ = write!(text, ",{:.2}", r.battery);
            }
            text.push('\n');
        }
        text
    }

    /// Writes the season into a folder and takes it in as the program does.
    pub fn load(&self, folder: &Path) -> Season {
        self.write(folder);
        Season::load(folder).unwrap_or_else(|e| panic!("{e}"))
    }

    /// Writes the season into a folder.
    pub fn write(&self, folder: &Path) {
        std::fs::write(folder.join("season.toml"), &self.config).unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(folder.join(FILE), self.csv()).unwrap_or_else(|e| panic!("{e}"));
    }
}

/// `season.toml` of a design.
fn config(d: &Design) -> String {
    let mut text = String::from("title = \"simulated\"\nreference = \"heron\"\n");
    for (name, mhz) in BANDS.iter().take(d.bands) {
        let _ = write!(text, "\n[[band]]\nname = \"{name}\"\nfrequency_mhz = {mhz:?}\n");
    }
    let digit = |decimals: usize| 10f64.powi(-(decimals as i32));
    let [swr, power, impedance, field] = d.decimals.map(digit);
    let bands: Vec<String> = BANDS.iter().take(d.bands).map(|b| format!("\"{}\" = {LINE_LOSS_DB:?}", b.0)).collect();
    let meters = [
        (
            "inline",
            "in-line",
            format!("swr = {swr:?}, forward_power = {power:?}, reflected_power = {power:?}"),
            format!("directivity_db = {:?}\nline_loss_db = {{ {} }}\n", DIRECTIVITY[0].1, bands.join(", ")),
        ),
        (
            "analyzer",
            "analyzer",
            format!("swr = {swr:?}, impedance = {impedance:?}, resistance = {impedance:?}, reactance = {impedance:?}"),
            format!("directivity_db = {:?}\n", DIRECTIVITY[1].1),
        ),
        ("field", "field", format!("field_strength = {field:?}"), String::new()),
    ];
    for (name, kind, resolution, more) in meters {
        let _ = write!(text, "\n[[meter]]\nname = \"{name}\"\nkind = \"{kind}\"\n{more}");
        if d.declared {
            let _ = writeln!(text, "resolution = {{ {resolution} }}");
        }
    }
    for name in NAMES.iter().take(d.antennas) {
        let _ = write!(text, "\n[[antenna]]\nname = \"{name}\"\n");
    }
    text + "\n[matters]\nfield_strength = 1.0\nswr = 0.3\n"
}

/// The clean season of a number, under a seed.
pub fn clean(seed: u64, number: u64) -> Simulated {
    let mut rng = stream(seed, 1, number);
    let design = Design::drawn(&mut rng);
    Simulated::new(&design, &mut rng)
}

/// A clean season of one design.
pub fn clean_of(design: &Design, seed: u64, number: u64) -> (Simulated, Stream) {
    let mut rng = stream(seed, 2, number);
    (Simulated::new(design, &mut rng), rng)
}
