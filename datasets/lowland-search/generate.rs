//! Makes the invented season in this folder, the same bytes at every run.
//!
//! The season is simulated from the truth in [`ANTENNAS`] and the errors in the constants below, then
//! a few faults are planted; README.md beside this file lists both. Standard library only:
//!
//! ```text
//! rustc --edition 2024 -O datasets/lowland-search/generate.rs -o target/lowland
//! target/lowland datasets/lowland-search
//! ```

use std::f64::consts::TAU;

/// The one seed of the season.
const SEED: u64 = 20_260_411;

/// Bands, in the order of every array of three below.
pub const BANDS: [&str; 3] = ["2 m", "70 cm", "GMRS"];

/// Sessions in the season's order; each is named by its date.
const SESSIONS: [&str; 10] = [
    "2026-04-11",
    "2026-04-25",
    "2026-05-09",
    "2026-05-30",
    "2026-06-13",
    "2026-07-11",
    "2026-08-08",
    "2026-08-22",
    "2026-09-05",
    "2026-09-26",
];

/// Files, and the first and last session in each.
const FILES: [(&str, usize, usize); 3] = [("spring.csv", 0, 3), ("summer.csv", 4, 7), ("autumn.csv", 8, 9)];

const HEADER: &str = "session,antenna,band,meter,quantity,value,unit,mounting,when,order,note\n";

/// What is true of one antenna, per band.
pub struct Truth {
    /// The antenna's name in the log.
    pub name: &'static str,
    /// Field strength relative to the reference antenna, dB.
    pub field_db: [f64; 3],
    /// SWR at the antenna.
    pub swr: [f64; 3],
    /// Phase of the reflection at the antenna, degrees.
    pub phase_deg: [f64; 3],
    /// Sessions (places in [`SESSIONS`]) it was not measured in.
    pub absent: &'static [usize],
}

const HERON: usize = 0;

/// The antennas and the truth about them; the first is the reference.
#[rustfmt::skip]
pub const ANTENNAS: [Truth; 9] = [
    Truth { name: "heron",    field_db: [ 0.0,  0.0,  0.0], swr: [1.35, 1.50, 1.60], phase_deg: [  70.0,   40.0,  115.0], absent: &[7] },
    Truth { name: "plover",   field_db: [ 1.0,  1.5,  1.5], swr: [1.50, 1.80, 1.55], phase_deg: [ -55.0,  140.0,  -75.0], absent: &[2, 7, 8] },
    Truth { name: "avocet",   field_db: [ 1.0,  1.5,  1.5], swr: [1.25, 1.80, 1.55], phase_deg: [ 130.0,  -60.0,   50.0], absent: &[0, 5, 7] },
    Truth { name: "lapwing",  field_db: [ 1.0,  1.5,  1.5], swr: [1.10, 1.40, 2.60], phase_deg: [  95.0,   80.0, -125.0], absent: &[3, 7, 9] },
    Truth { name: "godwit",   field_db: [ 0.0,  0.0,  0.0], swr: [1.35, 1.50, 1.60], phase_deg: [-140.0, -150.0,  -45.0], absent: &[1, 6, 7] },
    Truth { name: "redshank", field_db: [-3.5, -3.0, -4.0], swr: [2.20, 1.70, 1.85], phase_deg: [ -95.0,  105.0,  150.0], absent: &[4, 7, 8] },
    Truth { name: "dunlin",   field_db: [-6.0, -4.5, -5.5], swr: [2.80, 2.10, 2.30], phase_deg: [-120.0,  -85.0,   65.0], absent: &[2, 6, 7] },
    Truth { name: "curlew",   field_db: [ 4.0, -1.5, -2.0], swr: [1.20, 2.40, 2.70], phase_deg: [  35.0,  125.0,  -60.0], absent: &[1, 5, 7] },
    Truth { name: "snipe",    field_db: [-1.0,  0.5,  0.0], swr: [1.45, 1.55, 1.70], phase_deg: [ -30.0,   60.0,  100.0], absent: &[0, 1, 2, 3, 4, 5, 6, 8, 9] },
];

/// Check loads: name and reflection (in phase with the incident wave).
const LOADS: [(&str, f64); 2] = [("matched", 0.0), ("hundred", 1.0 / 3.0)];
/// The sessions the loads were read in.
const LOAD_SESSIONS: [usize; 2] = [0, 9];

// Levels of the bench, per band.
const FIELD_LEVEL_DB: [f64; 3] = [-31.0, -37.5, -38.5];
const FULL_POWER_W: [f64; 3] = [4.80, 4.40, 4.30];

// Field strength, dB: standard deviations per level, and the amplitude of the site's echoes.
const FIELD_SESSION: f64 = 1.0;
const FIELD_VISIT: f64 = 0.35;
const FIELD_MOUNTING: f64 = 0.3;
const FIELD_READING: f64 = 0.2;
const FIELD_ECHO: f64 = 0.3;

// Reflection: standard deviations per level on |Γ|, and of its phase (radian). Session and reading are
// the meter's own; visit and mounting are the antenna's, the same for both meters.
const GAMMA_SESSION: f64 = 0.006;
const GAMMA_VISIT: f64 = 0.010;
const GAMMA_MOUNTING: f64 = 0.010;
const GAMMA_READING: f64 = 0.004;
const PHASE_MOUNTING: f64 = 0.03;
const PHASE_READING: f64 = 0.01;
const LOAD_MOUNTING: f64 = 0.002;

// Forward power, dB.
const POWER_SESSION: f64 = 0.15;
const POWER_VISIT: f64 = 0.05;
const POWER_MOUNTING: f64 = 0.04;
const POWER_READING: f64 = 0.03;
/// What the radio gives less into a mismatch: this many dB times |Γ|².
const POWER_FOLD_BACK: f64 = 0.8;

// The meters: false wave per band (size 10^(−D/20) of D = 25 and 35 dB; phase in degrees), line loss, dB.
const INLINE_FALSE_WAVE: f64 = 0.056_234;
const INLINE_PHASE_DEG: [f64; 3] = [120.0, 15.0, -160.0];
const LINE_LOSS_DB: [f64; 3] = [0.2, 0.4, 0.4];
const ANALYZER_FALSE_WAVE: f64 = 0.017_783;
const ANALYZER_PHASE_DEG: [f64; 3] = [-70.0, 100.0, 10.0];

// Readability: fading in dB per session and per report; a report is 2, 3, 4, 5 above these.
const FADE_SESSION: f64 = 1.2;
const FADE_REPORT: f64 = 1.8;
const GRADE_ABOVE_DB: [f64; 4] = [-7.5, -4.5, -1.5, 2.0];

// What is planted (places in SESSIONS and ANTENNAS).
const ANALYZER_SHIFT_FROM: usize = 4;
const ANALYZER_SHIFT: f64 = 0.03;
const WEAK_BATTERY: usize = 6;
const SPOILED: (usize, usize) = (4, 4);
const LEFT_ON: (usize, usize) = (3, 6);
const ALWAYS_ONCE: usize = 7;
/// The decimal slip: session, antenna, band, mounting, reading.
const SLIP: (usize, &str, usize, usize, usize) = (3, "plover", 2, 2, 0);

/// SplitMix64 (Steele, Lea, Flood 2014), with normal deviates by Box and Muller (1958).
struct Random {
    state: u64,
    spare: Option<f64>,
}

impl Random {
    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform on the open interval (0, 1).
    fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation `sd`.
    fn normal(&mut self, sd: f64) -> f64 {
        if let Some(z) = self.spare.take() {
            return sd * z;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let angle = TAU * self.uniform();
        self.spare = Some(radius * angle.sin());
        sd * radius * angle.cos()
    }

    /// One normal deviate per band.
    fn per_band(&mut self, sd: f64) -> [f64; 3] {
        [self.normal(sd), self.normal(sd), self.normal(sd)]
    }

    fn shuffle(&mut self, items: &mut [usize]) {
        for i in (1..items.len()).rev() {
            items.swap(i, (self.uniform() * (i + 1) as f64) as usize);
        }
    }
}

/// A reflection as a vector: modulus and phase (radian).
#[derive(Clone, Copy)]
struct Wave {
    modulus: f64,
    phase: f64,
}

impl Wave {
    /// The sum with another wave given by its modulus and its phase in degrees.
    fn plus(self, modulus: f64, phase_deg: f64) -> Wave {
        let other = phase_deg.to_radians();
        let re = self.modulus * self.phase.cos() + modulus * other.cos();
        let im = self.modulus * self.phase.sin() + modulus * other.sin();
        Wave { modulus: re.hypot(im), phase: im.atan2(re) }
    }

    fn swr(self) -> f64 {
        (1.0 + self.modulus) / (1.0 - self.modulus)
    }

    /// |Z| in Ω of Z = 50 (1 + Γ)/(1 − Γ).
    fn impedance(self) -> f64 {
        let (re, im) = (self.modulus * self.phase.cos(), self.modulus * self.phase.sin());
        50.0 * (1.0 + re).hypot(im) / (1.0 - re).hypot(im)
    }
}

/// One line of the log.
struct Row {
    session: usize,
    antenna: &'static str,
    band: usize,
    meter: &'static str,
    quantity: &'static str,
    value: String,
    unit: &'static str,
    mounting: usize,
    seconds: usize,
    order: usize,
    note: &'static str,
}

impl Row {
    fn line(&self) -> String {
        let (date, band, s) = (SESSIONS[self.session], BANDS[self.band], self.seconds);
        format!(
            "{date},{},{band},{},{},{},{},{},{date}T{:02}:{:02}:{:02},{},{}\n",
            self.antenna,
            self.meter,
            self.quantity,
            self.value,
            self.unit,
            self.mounting,
            s / 3600,
            s / 60 % 60,
            s % 60,
            self.order,
            self.note
        )
    }
}

/// What the readings of one mounting on one band meet.
struct Slot {
    session: usize,
    antenna: &'static str,
    band: usize,
    mounting: usize,
    order: usize,
    /// Time of the next reading, seconds of the day.
    clock: usize,
}

impl Slot {
    fn row(&mut self, meter: &'static str, quantity: &'static str, value: String, unit: &'static str) -> Row {
        let seconds = self.clock;
        self.clock += 15;
        Row {
            session: self.session,
            antenna: self.antenna,
            band: self.band,
            meter,
            quantity,
            value,
            unit,
            mounting: self.mounting,
            seconds,
            order: self.order,
            note: "",
        }
    }

    fn inline_swr(&mut self, at_antenna: Wave, session: f64, random: &mut Random, reading: f64) -> Row {
        let through = Wave { modulus: at_antenna.modulus * 10f64.powf(-LINE_LOSS_DB[self.band] / 10.0), ..at_antenna };
        let mut read = through.plus(INLINE_FALSE_WAVE, INLINE_PHASE_DEG[self.band]);
        read.modulus = (read.modulus + session + random.normal(reading)).clamp(0.0, 0.9);
        self.row("inline", "swr", format!("{:.2}", read.swr()), "")
    }

    /// What the analyzer sees at one reading.
    fn analyzer(&self, at_antenna: Wave, session: f64, random: &mut Random, reading: f64) -> Wave {
        let mut read = at_antenna.plus(ANALYZER_FALSE_WAVE, ANALYZER_PHASE_DEG[self.band]);
        let shift = if self.session >= ANALYZER_SHIFT_FROM { ANALYZER_SHIFT } else { 0.0 };
        read.modulus = (read.modulus + session + shift + random.normal(reading)).clamp(0.0, 0.9);
        read.phase += random.normal(PHASE_READING);
        read
    }
}

/// Errors common to one session, or to one visit or mounting in it, per band.
struct Effects {
    field: [f64; 3],
    gamma: [f64; 3],
    power: [f64; 3],
}

/// Start of slot `order` (from 1), seconds of the day: ten o'clock, then twelve minutes each.
fn start(order: usize, band: usize) -> usize {
    10 * 3600 + (order - 1) * 12 * 60 + band * 4 * 60
}

/// The running order: the reference first, in the middle and last, the others shuffled in two rounds.
fn running_order(session: usize, random: &mut Random) -> Vec<usize> {
    let present: Vec<usize> = (0..ANTENNAS.len()).filter(|&a| !ANTENNAS[a].absent.contains(&session)).collect();
    let with_reference = present.contains(&HERON);
    let mut order = Vec::new();
    let once_in_first = random.uniform() < 0.5;
    for round in 0..2 {
        let mut others: Vec<usize> = present.iter().copied().filter(|&a| a != HERON).collect();
        others.retain(|&a| a != ALWAYS_ONCE || once_in_first == (round == 0));
        others.retain(|&a| (session, a) != LEFT_ON || round == 0);
        random.shuffle(&mut others);
        if with_reference {
            order.push(HERON);
        }
        order.extend(others);
    }
    if with_reference {
        order.push(HERON);
    }
    order
}

/// All rows of one session.
fn session_rows(session: usize, echo: &[[f64; 3]], random: &mut Random) -> Vec<Row> {
    let mut rows = Vec::new();
    let all = Effects {
        field: random.per_band(FIELD_SESSION),
        gamma: random.per_band(GAMMA_SESSION),
        power: random.per_band(POWER_SESSION),
    };
    let analyzer_session = random.per_band(GAMMA_SESSION);
    let fade = random.per_band(FADE_SESSION);
    let mut done = 0;

    if LOAD_SESSIONS.contains(&session) {
        for mounting in 1..=2 {
            for (name, gamma) in LOADS {
                done += 1;
                for band in 0..3 {
                    let mut slot =
                        Slot { session, antenna: name, band, mounting, order: done, clock: start(done, band) };
                    let wave = Wave { modulus: (gamma + random.normal(LOAD_MOUNTING)).abs(), phase: 0.0 };
                    rows.push(slot.inline_swr(wave, all.gamma[band], random, GAMMA_READING));
                    let read = slot.analyzer(wave, analyzer_session[band], random, GAMMA_READING);
                    rows.push(slot.row("analyzer", "swr", format!("{:.2}", read.swr()), ""));
                }
            }
        }
    }

    let visits: Vec<Effects> = ANTENNAS
        .iter()
        .map(|_| Effects {
            field: random.per_band(FIELD_VISIT),
            gamma: random.per_band(GAMMA_VISIT),
            power: random.per_band(POWER_VISIT),
        })
        .collect();
    let order = running_order(session, random);
    let mut mounted = [0usize; ANTENNAS.len()];
    for (place, &a) in order.iter().enumerate() {
        done += 1;
        mounted[a] += 1;
        let (truth, visit, mounting) = (&ANTENNAS[a], &visits[a], mounted[a]);
        let left_on = a == ALWAYS_ONCE || (session, a) == LEFT_ON;
        let spoiled = (session, a) == SPOILED;
        let part = place as f64 / (order.len() - 1) as f64;
        let sag = if session == WEAK_BATTERY && part > 0.5 { 1.5 + (part - 0.5) } else { 0.0 };
        for band in 0..3 {
            let mut slot = Slot { session, antenna: truth.name, band, mounting, order: done, clock: start(done, band) };
            let (bad_gamma, bad_field, shaky) = if spoiled {
                (0.12 + 0.10 * random.uniform(), -2.5 - 4.0 * random.uniform(), 5.0)
            } else {
                (0.0, 0.0, 1.0)
            };
            let rho = (truth.swr[band] - 1.0) / (truth.swr[band] + 1.0);
            let wave = Wave {
                modulus: (rho + visit.gamma[band] + random.normal(GAMMA_MOUNTING) + bad_gamma).abs(),
                phase: truth.phase_deg[band].to_radians() + random.normal(PHASE_MOUNTING),
            };

            let power = 10.0 * FULL_POWER_W[band].log10()
                + all.power[band]
                + visit.power[band]
                + random.normal(POWER_MOUNTING)
                + random.normal(POWER_READING)
                - POWER_FOLD_BACK * wave.modulus * wave.modulus
                - sag;
            rows.push(slot.row("inline", "forward_power", format!("{:.2}", 10f64.powf(power / 10.0)), "W"));

            let swr_readings = if left_on { 3 } else { 2 };
            for _ in 0..swr_readings {
                rows.push(slot.inline_swr(wave, all.gamma[band], random, shaky * GAMMA_READING));
            }
            for reading in 0..swr_readings {
                let read = slot.analyzer(wave, analyzer_session[band], random, shaky * GAMMA_READING);
                rows.push(slot.row("analyzer", "swr", format!("{:.2}", read.swr()), ""));
                if reading == 0 {
                    rows.push(slot.row("analyzer", "impedance", format!("{:.1}", read.impedance()), "ohm"));
                }
            }

            let field = FIELD_LEVEL_DB[band]
                + all.field[band]
                + truth.field_db[band]
                + echo[a][band]
                + visit.field[band]
                + random.normal(FIELD_MOUNTING)
                + bad_field
                - sag;
            let field_readings = if left_on || session.is_multiple_of(2) { 3 } else { 2 };
            for _ in 0..field_readings {
                let read = field + random.normal(shaky * FIELD_READING);
                rows.push(slot.row("field", "field_strength", format!("{read:.1}"), "dB"));
            }

            let heard = truth.field_db[band] + fade[band] + bad_field - sag;
            let luck = random.uniform();
            let reports = match mounting {
                1 if a != HERON && luck < 0.35 => 2,
                2 if luck < 0.15 => 0,
                _ => 1,
            };
            for _ in 0..reports {
                let level = heard + random.normal(FADE_REPORT);
                let grade = 1 + GRADE_ABOVE_DB.iter().filter(|&&above| level > above).count();
                rows.push(slot.row("far station", "readability", grade.to_string(), "grade"));
            }
        }
    }
    rows
}

/// The place of the `nth` reading (from 0) of one quantity on one mounting.
fn find(
    rows: &[Row],
    session: usize,
    antenna: &str,
    band: usize,
    meter_quantity: (&str, &str),
    mounting: usize,
    nth: usize,
) -> usize {
    rows.iter()
        .enumerate()
        .filter(|(_, r)| r.session == session && r.antenna == antenna && r.band == band && r.mounting == mounting)
        .filter(|(_, r)| (r.meter, r.quantity) == meter_quantity)
        .map(|(i, _)| i)
        .nth(nth)
        .expect("the planted reading is in the season")
}

/// The faults of the log-keeping, and the few remarks of the log.
fn plant(rows: &mut [Row]) {
    let inline_swr = ("inline", "swr");
    // The decimal point one place to the right: 15.2 for 1.52.
    let slip = find(rows, SLIP.0, SLIP.1, SLIP.2, inline_swr, SLIP.3, SLIP.4);
    let digits = rows[slip].value.replace('.', "");
    rows[slip].value = format!("{}.{}", &digits[..2], &digits[2..]);
    // A 70 cm and a GMRS reading written on each other's line.
    let (first, second) =
        (find(rows, 5, "lapwing", 1, inline_swr, 2, 1), find(rows, 5, "lapwing", 2, inline_swr, 2, 1));
    let value = std::mem::take(&mut rows[first].value);
    rows[first].value = std::mem::replace(&mut rows[second].value, value);

    let notes = [
        (find(rows, 0, "heron", 0, ("field", "field_strength"), 1, 0), "stand re-marked; grass wet"),
        (find(rows, 4, "heron", 0, ("analyzer", "swr"), 1, 0), "analyzer calibrated afresh with the other load"),
        (find(rows, 4, "godwit", 0, inline_swr, 2, 0), "reading unsteady"),
        (find(rows, 6, "heron", 0, ("inline", "forward_power"), 3, 0), "radio shows low battery"),
        (find(rows, 7, "snipe", 0, ("inline", "forward_power"), 1, 0), "only this one brought along"),
        (find(rows, 8, "heron", 0, ("field", "field_strength"), 1, 0), "light wind"),
    ];
    for (place, note) in notes {
        rows[place].note = note;
    }
}

const SEASON_TOML: &str = r#"title = "Lowland search team: hand-held whips, 2026"
reference = "heron"
confidence = 0.95
repeats = "left on"

[[band]]
name = "2 m"
frequency_mhz = 145.5

[[band]]
name = "70 cm"
frequency_mhz = 433.5

[[band]]
name = "GMRS"
frequency_mhz = 462.6

[[meter]]
name = "inline"
kind = "in-line"
resolution = { swr = 0.01, forward_power = 0.01 }
directivity_db = 25.0
line_loss_db = { "2 m" = 0.2, "70 cm" = 0.4, "GMRS" = 0.4 }

[[meter]]
name = "analyzer"
kind = "analyzer"                   # calibrated where the antenna screws on: no line in between
resolution = { swr = 0.01, impedance = 0.1 }
directivity_db = 35.0

[[meter]]
name = "field"
kind = "field"                      # on a wooden stand, 10 m from the radio
resolution = { field_strength = 0.1 }

[[meter]]
name = "far station"
kind = "listener"                   # 6 km away, same operator all season, not told which antenna is on

[[antenna]]
name = "heron"
price = 21.50
length_mm = 390.0
gain_dbi = { "70 cm" = { value = 2.0, standard = 0.5 } }
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m"] },
           { quantity = "gain_dbi", at_least = 2.15, bands = ["70 cm"] } ]

[[antenna]]
name = "plover"
price = 34.00
length_mm = 480.0
claims = [ { quantity = "swr", at_most = 2.0, bands = ["2 m", "70 cm", "GMRS"] },
           { quantity = "gain_dbi", at_least = 3.0, bands = ["70 cm"] } ]

[[antenna]]
name = "avocet"
price = 27.90
length_mm = 475.0
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m", "70 cm"] } ]

[[antenna]]
name = "lapwing"
price = 45.00
length_mm = 470.0
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m", "GMRS"] } ]

[[antenna]]
name = "godwit"
price = 18.00
length_mm = 385.0
claims = [ { quantity = "swr", at_most = 2.0, bands = ["GMRS"] } ]

[[antenna]]
name = "redshank"
price = 15.50
length_mm = 200.0
claims = [ { quantity = "gain_dbi", at_least = 2.15, bands = ["70 cm"] } ]

[[antenna]]
name = "dunlin"
price = 9.90
length_mm = 95.0
claims = [ { quantity = "swr", at_most = 2.0, bands = ["2 m", "70 cm", "GMRS"] } ]

[[antenna]]
name = "curlew"
price = 32.00
length_mm = 1010.0
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m"] },
           { quantity = "gain_dbi", at_least = 3.0, bands = ["70 cm"] } ]

[[antenna]]
name = "snipe"
price = 24.00
length_mm = 360.0
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m"] } ]

[[load]]
name = "matched"
resistance_ohm = 50.0

[[load]]
name = "hundred"
resistance_ohm = 100.0

[[source]]
name = "echoes of the site"
quantity = "field_strength"
shape = "arcsine"
half_width = 0.3
shared_by = "antenna"

[[source]]
name = "field meter's calibration"
quantity = "field_strength"
meter = "field"
shape = "normal"
standard = 1.0
shared_by = "season"

[[source]]
name = "position of the radio"
quantity = "field_strength"
shape = "rectangular"
half_width = 0.35
shared_by = "session"

[matters]
field_strength = 1.0                # dB
swr = 0.3
forward_power = 0.5                 # dB

[weights]
field_strength = 2.0
swr = 1.0

[[leave_out]]
session = "2026-06-13"
antenna = "godwit"
reason = "connector found loose when it came off the second time"
"#;

/// Name and content of every file of the season.
pub fn files() -> Vec<(&'static str, String)> {
    let mut random = Random { state: SEED, spare: None };
    let echo: Vec<[f64; 3]> =
        ANTENNAS.iter().map(|_| [0; 3].map(|_| FIELD_ECHO * (TAU * random.uniform()).cos())).collect();
    let mut rows: Vec<Row> = (0..SESSIONS.len()).flat_map(|s| session_rows(s, &echo, &mut random)).collect();
    plant(&mut rows);
    let mut files = vec![("season.toml", SEASON_TOML.to_string())];
    for (name, first, last) in FILES {
        let mut text = HEADER.to_string();
        text.extend(rows.iter().filter(|r| (first..=last).contains(&r.session)).map(Row::line));
        files.push((name, text));
    }
    files
}

fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1).ok_or_else(|| std::io::Error::other("usage: generate FOLDER"))?;
    for (name, content) in files() {
        std::fs::write(std::path::Path::new(&folder).join(name), content)?;
    }
    Ok(())
}
