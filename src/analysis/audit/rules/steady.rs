//! A steady log for the tests of rules to spoil: field strength and SWR of three antennas on one band, four sessions,
//! three mountings in turn, two readings each; the same at every run.

use rand::RngExt;
use rand_distr::StandardNormal;

use crate::montecarlo::stream::stream;

/// One line of it.
#[derive(Clone)]
pub struct Line {
    pub session: usize,
    pub antenna: &'static str,
    pub mounting: usize,
    pub quantity: &'static str,
    pub value: f64,
    /// Minute of the session.
    pub minute: usize,
}

pub const ANTENNAS: [&str; 3] = ["wren", "robin", "siskin"];

/// The log of `sessions` sessions, clean: sessions, visits, mountings and readings scatter as on a usual bench.
pub fn log(sessions: usize) -> Vec<Line> {
    let mut rng = stream(11, 0, 0);
    let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
    let mut lines = vec![];
    for session in 0..sessions {
        let (day, visits) = (normal(0.5), ANTENNAS.map(|_| [normal(0.3), normal(0.02)]));
        for mounting in 0..3 {
            for (a, antenna) in ANTENNAS.iter().enumerate() {
                let [field, swr] = [
                    -32.0 - 2.0 * a as f64 + day + visits[a][0] + normal(0.3),
                    1.5 + 0.2 * a as f64 + visits[a][1] + normal(0.03),
                ];
                for reading in 0..2 {
                    for (quantity, value, step) in
                        [("field_strength", field + normal(0.2), 10.0), ("swr", swr + normal(0.015), 100.0)]
                    {
                        let minute = (mounting * 3 + a) * 10 + 2 * reading + usize::from(quantity == "swr");
                        let value = (value * step).round() / step;
                        lines.push(Line { session, antenna, mounting: mounting + 1, quantity, value, minute });
                    }
                }
            }
        }
    }
    lines
}

/// The lines of one mounting and quantity, by index.
pub fn at(lines: &[Line], session: usize, antenna: &str, mounting: usize, quantity: &str) -> Vec<usize> {
    let fits =
        |l: &Line| l.session == session && l.antenna == antenna && l.mounting == mounting && l.quantity == quantity;
    (0..lines.len()).filter(|&i| fits(&lines[i])).collect()
}

/// The file: line `i` stands on its line `i + 2`.
pub fn csv(lines: &[Line]) -> String {
    let mut text = String::from("session,antenna,band,meter,quantity,value,mounting,when\n");
    for l in lines {
        let (meter, decimals) = if l.quantity == "swr" { ("inline", 2) } else { ("field", 1) };
        text += &format!(
            "2026-05-{:02},{},2 m,{meter},{},{:.decimals$},{},2026-05-{:02}T{:02}:{:02}:00\n",
            l.session + 1,
            l.antenna,
            l.quantity,
            l.value,
            l.mounting,
            l.session + 1,
            10 + l.minute / 60,
            l.minute % 60
        );
    }
    text
}

/// A `season.toml` that names the first antenna the reference.
pub const CONFIG: &str = "reference = \"wren\"\n[[band]]\nname = \"2 m\"\nfrequency_mhz = 145.5\n[[antenna]]\nname = \"wren\"\n[[antenna]]\nname = \"robin\"\n[[antenna]]\nname = \"siskin\"\n";
