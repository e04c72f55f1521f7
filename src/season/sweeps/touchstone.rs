//! A one-port Touchstone file, versions 1.x and 2.x: bytes → the complex reflection over frequency, in 50 Ω.
//!
//! Format: *Touchstone File Format Specification*, IBIS Open Forum, 1.1 (2002) and 2.0 (2009), 2.1 (2024), an open
//! standard. What is read here: the option line in any order with its defaults (GHz, S, MA, 50 Ω), comments, tabs and any end
//! of line, S, Y and Z parameters (normalised to the reference in 1.x, in siemens and ohms in 2.x), and in 2.x the keywords
//! a one-port can have.

mod data;
mod header;
mod lines;

use nalgebra::Complex;

use crate::radio::feasible::Z0;
use data::Row;
use header::{Format, Header, Version};
use lines::lines;

/// One frequency of a sweep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Frequency, Hz.
    pub hertz: f64,
    /// The reflection coefficient in 50 Ω.
    pub gamma: Complex<f64>,
    /// What one step of the last digit written changes in it, as a modulus.
    pub digit: f64,
    /// Line it stands on, from 1.
    pub line: usize,
}

/// A sweep as its file holds it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    /// In ascending order of frequency; at least one.
    pub points: Vec<Point>,
    /// The reference resistance that the file states or implies, Ω.
    pub reference_ohm: f64,
    /// What the comments and the information block say, line by line.
    pub comments: Vec<String>,
    /// What is odd in the file, but does not stop it from being read.
    pub oddities: Vec<Fault>,
}

/// What is wrong with a file, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// What was seen.
    pub what: String,
    /// What to do.
    pub action: String,
}

impl Fault {
    fn new(line: usize, what: impl Into<String>, action: impl Into<String>) -> Fault {
        Fault { line, what: what.into(), action: action.into() }
    }
}

/// The point of least reflection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dip {
    /// Its frequency, Hz.
    pub hertz: f64,
    /// |Γ| there.
    pub rho: f64,
    /// Whether it is an end of what was looked at: the least may then lie beyond.
    pub at_end: bool,
    /// Index of the point it is at or follows.
    pub index: usize,
}

/// The largest |Γ| that is taken for a number at all: what is above it is no file of reflections.
const LARGEST: f64 = 1e3;

/// Reads a file's bytes.
///
/// # Errors
/// The first thing that keeps the file from being a one-port sweep with a known meaning, and where.
pub fn read(bytes: &[u8]) -> Result<Trace, Fault> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Fault::new(1, "this is UTF-16, and a Touchstone file is plain text", "save it as plain text"));
    }
    // a maker's comment may hold a degree sign in any encoding; what is read as data is ASCII
    let text = String::from_utf8_lossy(bytes);
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let mut header = Header::default();
    let mut rows: Vec<Row> = vec![];
    let mut last = 1;
    for line in lines(text) {
        last = line.number;
        if header.takes(&line)? {
            continue;
        }
        header.ready_for_data(line.number)?;
        rows.push(data::row(&line)?);
    }
    header.finished(rows.len(), last)?;
    if rows.is_empty() {
        return Err(Fault::new(last, "there is no data in this file", "save the sweep again"));
    }
    let points = points(&rows, &header)?;
    let mut trace = Trace {
        points,
        reference_ohm: header.reference(),
        comments: std::mem::take(&mut header.comments),
        oddities: std::mem::take(&mut header.oddities),
    };
    trace.oddities.extend(looks_like_radians(&rows, &header));
    trace.oddities.extend(unlikely_frequencies(&trace));
    Ok(trace)
}

/// Each frequency above the one before it.
fn ascending(points: &[Point], rows: &[Row]) -> Result<(), Fault> {
    for (pair, row) in points.windows(2).zip(&rows[1..]) {
        let how = if pair[1].hertz > pair[0].hertz {
            continue;
        } else if pair[1].hertz < pair[0].hertz {
            "is below the one before it"
        } else {
            "stands here a second time"
        };
        let what = format!("the frequency {} {how}, where each has to be above the last", row.texts[0]);
        return Err(Fault::new(row.line, what, "save one sweep a file, from low to high"));
    }
    Ok(())
}

fn points(rows: &[Row], header: &Header) -> Result<Vec<Point>, Fault> {
    // trailing zeros may have been cut, so a column's last digit is the finest in it
    let finest = |column: usize| rows.iter().map(|r| r.steps[column]).fold(f64::INFINITY, f64::min);
    let steps = [finest(1), finest(2)];
    let point = |row: &Row| {
        let [frequency, a, b] = row.cells;
        let hertz = frequency * header.unit().in_hertz();
        let gamma = header.gamma(a, b);
        if header.format() == Format::MagnitudeAngle && a < 0.0 {
            let what = format!("the magnitude {} is below 0", row.texts[1]);
            return Err(Fault::new(row.line, what, "check the format on the option line: is it DB or RI?"));
        }
        // not `is_finite`: beyond any frequency or reflection is no better
        if !(hertz < 1e13) {
            let what = format!("the frequency {} {} is beyond any radio's", row.texts[0], header.unit().name());
            return Err(Fault::new(row.line, what, "correct the unit on the option line"));
        }
        if !(gamma.norm() < LARGEST) {
            let what = format!("`{} {}` gives no reflection an antenna could have", row.texts[1], row.texts[2]);
            return Err(Fault::new(row.line, what, "check format and parameter on the option line"));
        }
        let moved = [header.gamma(a + steps[0], b), header.gamma(a, b + steps[1])].map(|g| (g - gamma).norm());
        let digit = moved.into_iter().filter(|d| d.is_finite()).fold(0.0, f64::max);
        Ok(Point { hertz, gamma, digit, line: row.line })
    };
    let points = rows.iter().map(point).collect::<Result<Vec<Point>, Fault>>()?;
    ascending(&points, rows)?;
    Ok(points)
}

/// Angles that all lie within ±π, and are not all alike: the file may give radians where the format has degrees.
fn looks_like_radians(rows: &[Row], header: &Header) -> Option<Fault> {
    let angles = || rows.iter().map(|r| r.cells[2]);
    let (low, high) = (angles().fold(f64::INFINITY, f64::min), angles().fold(f64::NEG_INFINITY, f64::max));
    let odd = header.has_angle() && rows.len() >= 5 && low >= -3.15 && high <= 3.15 && high - low > 1.5;
    let what = format!("all angles lie between {low} and {high}, as they would in radians");
    let action = "read as degrees, as the format has it; if they are radians, SWR is right and R and X are wrong";
    odd.then(|| Fault::new(rows[0].line, what, action))
}

/// Frequencies where no hand-held antenna is swept: the unit may be wrong.
fn unlikely_frequencies(trace: &Trace) -> Option<Fault> {
    let (first, last) = (trace.points[0], trace.points[trace.points.len() - 1]);
    let (line, hertz) = if last.hertz > 6e9 {
        (last.line, last.hertz)
    } else if first.hertz < 1e4 {
        (first.line, first.hertz)
    } else {
        return None;
    };
    let what = format!("the sweep reaches {} MHz, where no hand-held radio works", hertz / 1e6);
    Some(Fault::new(line, what, "read as it stands; check the unit on the option line (none means GHz)"))
}

impl Trace {
    /// Γ at a frequency, and the line at or just below it; on a straight line in the complex plane between two points.
    /// `None` outside the sweep.
    pub fn at(&self, hertz: f64) -> Option<(Complex<f64>, Point)> {
        let after = self.points.partition_point(|p| p.hertz <= hertz);
        let below = *self.points[..after].last()?;
        if below.hertz == hertz {
            return Some((below.gamma, below));
        }
        let above = self.points.get(after)?;
        let share = (hertz - below.hertz) / (above.hertz - below.hertz);
        let digit = below.digit.max(above.digit);
        Some((below.gamma + (above.gamma - below.gamma) * share, Point { digit, ..below }))
    }

    /// The least |Γ| among the points from `low` to `high` Hz and on the straight lines between them; `None` where fewer
    /// than two points lie there.
    pub fn dip(&self, low: f64, high: f64) -> Option<Dip> {
        let from = self.points.partition_point(|p| p.hertz < low);
        let to = self.points.partition_point(|p| p.hertz <= high);
        let points = &self.points[from.min(to)..to];
        points
            .windows(2)
            .enumerate()
            .map(|(i, pair)| {
                let (start, way) = (pair[0].gamma, pair[1].gamma - pair[0].gamma);
                // |Γ₀ + tΔ| is least at t = −Re(Γ₀Δ*)/|Δ|²
                let t = -(start * way.conj()).re / way.norm_sqr();
                let t = if t.is_nan() { 0.0 } else { t.clamp(0.0, 1.0) };
                let at_end = (i == 0 && t == 0.0) || (i + 2 == points.len() && t == 1.0);
                let hertz = pair[0].hertz + t * (pair[1].hertz - pair[0].hertz);
                let hertz = hertz.clamp(pair[0].hertz, pair[1].hertz);
                Dip { hertz, rho: (start + way * t).norm(), at_end, index: from + i }
            })
            .min_by(|a, b| a.rho.total_cmp(&b.rho))
    }

    /// The two frequencies (Hz) next to a dip where |Γ| rises to `rho`; `None` on a side where the sweep ends first.
    pub fn edges(&self, dip: &Dip, rho: f64) -> (Option<f64>, Option<f64>) {
        let bottom = self.at(dip.hertz).map_or(Complex::new(0.0, 0.0), |(gamma, _)| gamma);
        let walk = |points: &mut dyn Iterator<Item = &Point>| {
            let (mut hertz, mut gamma) = (dip.hertz, bottom);
            for next in points {
                if next.gamma.norm() >= rho {
                    let share = crossing(gamma, next.gamma, rho);
                    return Some(hertz + share * (next.hertz - hertz));
                }
                (hertz, gamma) = (next.hertz, next.gamma);
            }
            None
        };
        let (below, above) = self.points.split_at((dip.index + 1).min(self.points.len()));
        let up = walk(&mut above.iter().filter(|p| p.hertz > dip.hertz));
        let down = walk(&mut below.iter().rev().filter(|p| p.hertz < dip.hertz));
        (down, up)
    }
}

/// Where on the straight line from `inside` (|Γ| < ρ) to `outside` (|Γ| ≥ ρ) |Γ| = ρ, as a share of the way.
fn crossing(inside: Complex<f64>, outside: Complex<f64>, rho: f64) -> f64 {
    let way = outside - inside;
    let (a, b, c) = (way.norm_sqr(), (inside * way.conj()).re, inside.norm_sqr() - rho * rho);
    // a t² + 2bt + c = 0 with c ≤ 0: one root at or above 0
    let root = (b * b - a * c).max(0.0).sqrt();
    let t = if b > 0.0 { -c / (b + root) } else { (root - b) / a };
    if t.is_finite() { t.clamp(0.0, 1.0) } else { 1.0 }
}

/// Γ in 50 Ω of Γ in another real reference R: (Γ + k)/(1 + kΓ), k = (R − 50)/(R + 50).
fn in_fifty_ohm(gamma: Complex<f64>, reference: f64) -> Complex<f64> {
    let k = (reference - Z0) / (reference + Z0);
    (gamma + k) / (gamma * k + 1.0)
}

impl Header {
    /// Γ in 50 Ω of a pair of numbers as this file writes them.
    fn gamma(&self, a: f64, b: f64) -> Complex<f64> {
        let value = self.format().complex(a, b);
        let normalised = self.version() == Version::One;
        match self.parameter() {
            header::Parameter::Reflection => in_fifty_ohm(value, self.reference()),
            header::Parameter::Impedance => {
                let z = if normalised { value * self.reference() } else { value };
                (z - Z0) / (z + Z0)
            }
            header::Parameter::Admittance => {
                let y = if normalised { value / self.reference() } else { value };
                (-y * Z0 + 1.0) / (y * Z0 + 1.0)
            }
        }
    }
}
