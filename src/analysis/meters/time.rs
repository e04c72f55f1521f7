//! Has a level stood still? Session effects on several bands as one series: shifts, slope, control chart.

use rand::Rng;

use super::log::Session;
use super::offset::{Differences, Estimate};
use crate::stats::change_point::{Candidate, Channel, Found, Search, search};
use crate::stats::control_chart::{Point, ewma, individuals, sd_of_neighbours};
use crate::stats::method_comparison::mean;

/// Width of control limits, in standard deviations.
const WIDTH: f64 = 3.0;
/// Weight of the newest session in the moving average.
const LAMBDA: f64 = 0.3;

/// One band's session values: value and the variance that visits leave in it.
#[derive(Debug, Clone)]
pub struct Track {
    /// Sessions, by their numbers in the log, in order of time.
    pub sessions: Vec<usize>,
    /// Values.
    pub values: Vec<f64>,
    /// What visits and below leave in each.
    pub variances: Vec<f64>,
}

impl Track {
    /// The session offsets of a band.
    pub fn of(d: &Differences) -> Track {
        Track {
            sessions: d.sessions.iter().map(|s| s.session).collect(),
            values: d.sessions.iter().map(|s| d.offset + s.effect).collect(),
            variances: d.sessions.iter().map(|s| s.variance).collect(),
        }
    }

    /// Variance of each value: that between sessions, from how much neighbours differ, and that inside.
    fn spread(&self) -> Vec<f64> {
        let inside = mean(&self.variances);
        let seen = sd_of_neighbours(&self.values).unwrap_or(0.0).powi(2);
        let between = (seen - inside).max(0.0);
        // neighbours that agree better than their own scatter allows do not make it smaller
        self.variances.iter().map(|v| (between + v).max(1e-18)).collect()
    }
}

/// What time did to a series.
#[derive(Debug, Clone)]
pub struct Course {
    /// Sessions any band has, by their numbers in the log, in order of time.
    pub sessions: Vec<usize>,
    /// The search for shifts; places are those of `sessions`.
    pub found: Found,
    /// Per band: the slope about the shifts found, in units a day; `None` where too few sessions show one.
    pub slopes: Vec<Option<Estimate>>,
    /// Per band: chart of the sessions' values, and of their moving average, about the level before the
    /// first shift.
    pub charts: Vec<Chart>,
}

/// A band's control charts.
#[derive(Debug, Clone)]
pub struct Chart {
    /// Sessions, by their numbers in the log.
    pub sessions: Vec<usize>,
    /// Each session by itself.
    pub single: Vec<Point>,
    /// The moving average.
    pub average: Vec<Point>,
}

impl Course {
    /// Follows the bands' tracks.
    pub fn of(tracks: &[Track], log: &[Session], how: &Search, rng: &mut impl Rng) -> Course {
        let mut sessions: Vec<usize> = tracks.iter().flat_map(|t| t.sessions.iter().copied()).collect();
        sessions.sort_unstable();
        sessions.dedup();
        let channels: Vec<Channel> = tracks.iter().map(|t| channel(t, &sessions)).collect();
        let found = search(&channels, how, rng);
        let mut course = Course { sessions, found, slopes: vec![], charts: vec![] };
        course.slopes = tracks.iter().map(|t| course.slope(t, log, how.confidence)).collect();
        course.charts = tracks.iter().map(|t| course.chart(t)).collect();
        course
    }

    /// Which stretch between shifts a session falls in, from 0.
    pub fn stretch(&self, session: usize) -> usize {
        self.found.shifts.iter().filter(|s| self.sessions[s.at] <= session).count()
    }

    /// Number of stretches.
    pub fn stretches(&self) -> usize {
        self.found.shifts.len() + 1
    }

    /// A shift's last session before and first after, by their numbers in the log, and the same at both ends of
    /// what its date may be.
    pub fn dates(&self, shift: &Candidate) -> Dates {
        let session = |k: usize| self.sessions[k.min(self.sessions.len() - 1)];
        Dates {
            last_before: session(shift.at - 1),
            first_after: session(shift.at),
            earliest: session(shift.from.max(1) - 1),
            latest: session(shift.to),
        }
    }

    /// Weighted least squares on time inside stretches: one slope, a level a stretch.
    fn slope(&self, t: &Track, log: &[Session], confidence: f64) -> Option<Estimate> {
        let spread = t.spread();
        let (mut xx, mut xy) = (0.0, 0.0);
        let mut centred = vec![];
        for stretch in 0..self.stretches() {
            let own: Vec<usize> = (0..t.sessions.len()).filter(|&i| self.stretch(t.sessions[i]) == stretch).collect();
            let total: f64 = own.iter().map(|&i| 1.0 / spread[i]).sum();
            let centre = |f: &dyn Fn(usize) -> f64| own.iter().map(|&i| f(i) / spread[i]).sum::<f64>() / total;
            let (x0, y0) = (centre(&|i| log[t.sessions[i]].time), centre(&|i| t.values[i]));
            for &i in &own {
                let (x, y) = (log[t.sessions[i]].time - x0, t.values[i] - y0);
                xx += x * x / spread[i];
                xy += x * y / spread[i];
                centred.push((x, y, spread[i]));
            }
        }
        let df = centred.len() as f64 - self.stretches() as f64 - 1.0;
        if df < 1.0 || !(xx > 0.0) {
            return None;
        }
        let slope = xy / xx;
        let unit = centred.iter().map(|(x, y, v)| (y - slope * x).powi(2) / v).sum::<f64>() / df;
        let part = super::offset::ErrorPart { variance: unit / xx, df };
        Some(Estimate::from_parts(slope, &[part], confidence))
    }

    fn chart(&self, t: &Track) -> Chart {
        let sd: Vec<f64> = t.spread().iter().map(|v| v.sqrt()).collect();
        let first: Vec<f64> =
            (0..t.sessions.len()).filter(|&i| self.stretch(t.sessions[i]) == 0).map(|i| t.values[i]).collect();
        let target = if first.is_empty() { mean(&t.values) } else { mean(&first) };
        Chart {
            sessions: t.sessions.clone(),
            single: individuals(&t.values, target, &sd, WIDTH),
            average: ewma(&t.values, target, &sd, LAMBDA, WIDTH),
        }
    }
}

/// When a shift was: sessions by their numbers in the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dates {
    /// The last session before the likeliest date.
    pub last_before: usize,
    /// The first after it.
    pub first_after: usize,
    /// The shift came after this session,
    pub earliest: usize,
    /// and no later than this one.
    pub latest: usize,
}

fn channel(t: &Track, sessions: &[usize]) -> Channel {
    let spread = t.spread();
    let (mut values, mut weights) = (vec![0.0; sessions.len()], vec![0.0; sessions.len()]);
    for (i, session) in t.sessions.iter().enumerate() {
        if let Ok(at) = sessions.binary_search(session) {
            values[at] = t.values[i];
            weights[at] = 1.0 / spread[i];
        }
    }
    Channel { values, weights }
}
