//! What each level of each set scatters by, and what does not fit it: a reading among the repeats of its mounting,
//! a mounting among those of its visit, a visit once antenna and session are taken out, a session among
//! sessions. Made once a log, and read by the rules about outliers, slips, drift, copies and digits.
//!
//! Levels are cleaned from the bottom: a reading that departs shapes no mounting's mean, a mounting that departs no
//! visit's. A session that drifts ([`drift`]) is not asked about its mountings and visits.

pub mod drift;
pub mod expect;

use std::collections::HashSet;

use super::alarms::Test;
use super::log::{Log, LogSet, MOST_ANTENNAS, group};
use crate::analysis::coded::QuickMap;
use crate::radio::quantity::Scale;
use crate::stats::outliers::deletion::Pooled;
use crate::stats::outliers::{Point, departures};
pub use drift::Drift;

/// Where in the nest of levels something departs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum At {
    /// One reading.
    Reading,
    /// A mounting, or its only reading.
    Mounting,
    /// A visit.
    Visit,
    /// A session.
    Session,
}

/// Something that does not fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Departed {
    /// Its level.
    pub at: At,
    /// Its readings, by index into the log's rows.
    pub rows: Vec<usize>,
    /// What is expected in its place, on the set's audit scale; NaN where nothing is left to say.
    pub expected: f64,
    /// What it is instead.
    pub seen: f64,
    /// Bonferroni's bound over the level and set on the chance of that in a clean one.
    pub p: f64,
}

/// A mounting: its readings, and their mean without what departs.
#[derive(Debug, Clone)]
pub struct Mounting {
    /// Session, an index into the log's.
    pub session: usize,
    /// Antenna, an index into the log's.
    pub antenna: usize,
    /// The mounting's number, where it has one.
    pub number: Option<i64>,
    /// Its readings, by index into the log's rows.
    pub rows: Vec<usize>,
    /// Mean of those that fit; NaN where none does.
    pub mean: f64,
    /// How many they are, those behind summarised rows counted one by one.
    pub readings: f64,
    /// When: the first `when` of its readings in seconds, else their place in the running order.
    pub place: Option<f64>,
    /// The last digit of the display, on the audit scale.
    pub step: f64,
    /// Whether it departs from its visit, or its visit from the others.
    pub departs: bool,
}

/// The levels of one set.
#[derive(Debug, Clone, Default)]
pub struct Levels {
    /// Value of each of the set's rows on the audit scale, by row.
    pub value: QuickMap<usize, f64>,
    /// The display's last digit there, by row.
    pub step: QuickMap<usize, f64>,
    /// Readings that do not fit their mounting.
    pub out: HashSet<usize>,
    /// Mountings, in the order of the log.
    pub mountings: Vec<Mounting>,
    /// The place among them of each row's.
    pub mounting_of: QuickMap<usize, usize>,
    /// The places among them of each visit's, by session and antenna.
    pub visits: QuickMap<(usize, usize), Vec<usize>>,
    /// Standard deviation of a reading about its mounting, of each antenna (an index into the log's);
    /// absent where no mounting has two.
    pub reading_sd: QuickMap<usize, f64>,
    /// Standard deviation of a mounting about its visit, free of its readings' scatter.
    pub mounting_sd: QuickMap<usize, f64>,
    /// Standard deviation of a visit about its antenna and session, free of its mountings' scatter.
    pub visit_sd: Option<f64>,
    /// Effect of each antenna and of each session, where the visits tell.
    pub antenna_effect: QuickMap<usize, f64>,
    /// See `antenna_effect`.
    pub session_effect: QuickMap<usize, f64>,
    /// What departs, from readings up.
    pub departed: Vec<Departed>,
    /// Sessions that drift.
    pub drifts: Vec<Drift>,
}

/// Whether the scatter of a quantity depends on which antenna is read: of an impedance it goes as |Z + 50 Ω|²,
/// which differs tenfold between antennas, so each is held against itself.
fn scatter_is_its_own(log_set: &LogSet) -> bool {
    matches!(log_set.set.quantity.name.as_str(), "impedance" | "resistance" | "reactance")
}

/// A row's value, and its display's last digit, on the audit scale: that of the analysis, but the root of a
/// reflected power, since that follows |Γ|, whose scatter is even.
fn on_audit_scale(log: &Log, log_set: &LogSet, row: usize) -> (f64, f64) {
    let (y, value) = (log.rows[row].y, log.rows[row].value);
    let step = log.resolution(row);
    if log_set.set.quantity.name == "reflected_power" {
        return (value.max(0.0).sqrt(), step / (2.0 * value.max(step).sqrt()));
    }
    (y, step * log_set.set.quantity.scale.slope_at(y))
}

/// Moves a value of the quantity to the audit scale; `None` where it has no place there.
pub fn to_audit(log_set: &LogSet, value: f64) -> Option<f64> {
    if log_set.set.quantity.name == "reflected_power" {
        return (value >= 0.0).then(|| value.sqrt());
    }
    log_set.set.quantity.scale.to_analysis(value)
}

/// Moves a value of the audit scale to the quantity's unit.
pub fn to_shown(log_set: &LogSet, audit: f64) -> f64 {
    if log_set.set.quantity.name == "reflected_power" {
        return audit.max(0.0).powi(2);
    }
    log_set.set.quantity.scale.to_shown(audit)
}

/// A variance that stands for none, so that weights stay finite.
const NO_SPREAD: f64 = 1e-100;

/// The most values of a level that may depart: a tenth of them, but some even of few.
fn most(count: usize) -> usize {
    (count / 10).clamp(3, 12).min(count / 3)
}

impl Levels {
    /// Studies one set of the log; `sets` shares the chance of a false alarm.
    pub fn new(log: &Log, log_set: &LogSet, sets: usize) -> Levels {
        let mut levels = Levels::default();
        if log_set.set.quantity.scale == Scale::Ordinal || log_set.rows.is_empty() {
            return levels;
        }
        levels.value.reserve(log_set.rows.len());
        levels.step.reserve(log_set.rows.len());
        levels.mounting_of.reserve(log_set.rows.len());
        for &row in &log_set.rows {
            let (value, step) = on_audit_scale(log, log_set, row);
            levels.value.insert(row, value);
            levels.step.insert(row, step);
        }
        levels.lay_out(log, log_set);
        let mut antennas: Vec<usize> = levels.mountings.iter().map(|m| m.antenna).collect();
        antennas.sort_unstable();
        antennas.dedup();
        let blocks: Vec<Vec<usize>> =
            if scatter_is_its_own(log_set) { antennas.iter().map(|&a| vec![a]).collect() } else { vec![antennas] };
        let polished = expect::polish(&levels);
        for block in &blocks {
            levels.readings(log, log_set, block, &polished, Test::Reading.level(sets * blocks.len()));
        }
        levels.means(log);
        if blocks.len() == 1 {
            levels.drifts = drift::drifts(log, &levels, Test::Drift.level(sets * log.sessions.len()));
        }
        for block in &blocks {
            levels.mountings(block, &polished, Test::Mounting.level(sets * blocks.len()));
        }
        levels.visits(blocks.len() == 1, sets);
        levels
    }

    fn lay_out(&mut self, log: &Log, log_set: &LogSet) {
        self.mountings = log_set
            .mountings
            .iter()
            .filter_map(|rows| {
                let first = &log.rows[*rows.first()?];
                let when = rows.iter().filter_map(|&r| log.rows[r].when).min().map(|t| t as f64 / 1e6);
                Some(Mounting {
                    session: first.session,
                    antenna: first.antenna,
                    number: first.mounting,
                    rows: rows.clone(),
                    mean: f64::NAN,
                    readings: 0.0,
                    place: when.filter(|t| t.rem_euclid(86_400.0) != 0.0).or(first.order),
                    step: rows.iter().map(|r| self.step[r]).fold(0.0, f64::max),
                    departs: false,
                })
            })
            .collect();
        for (i, m) in self.mountings.iter().enumerate() {
            m.rows.iter().for_each(|&row| {
                self.mounting_of.insert(row, i);
            });
            self.visits.entry((m.session, m.antenna)).or_default().push(i);
        }
        self.means(log);
    }

    /// Means of the readings that fit.
    fn means(&mut self, log: &Log) {
        for m in &mut self.mountings {
            let fits = || m.rows.iter().filter(|r| !self.out.contains(r));
            m.readings = fits().map(|&r| log.rows[r].readings).sum();
            m.mean = fits().map(|r| log.rows[*r].readings * self.value[r]).sum::<f64>() / m.readings;
        }
    }

    /// Visits as lists of mountings that have a mean and do not depart.
    pub fn visits_of(&self, wanted: impl Fn(&Mounting) -> bool) -> Vec<Vec<usize>> {
        let usable: Vec<usize> = (0..self.mountings.len())
            .filter(|&i| {
                let m = &self.mountings[i];
                m.mean.is_finite() && !m.departs && wanted(m)
            })
            .collect();
        group(&usable, |i| (self.mountings[i].session, self.mountings[i].antenna))
    }

    fn drifts_in(&self, session: usize) -> bool {
        self.drifts.iter().any(|d| d.session == session)
    }

    fn readings(&mut self, log: &Log, log_set: &LogSet, antennas: &[usize], polished: &expect::Polished, level: f64) {
        let mut rows = vec![];
        let mut points = vec![];
        let mut pooled = Pooled::default();
        for (g, m) in self.mountings.iter().enumerate().filter(|(_, m)| antennas.contains(&m.antenna)) {
            let outside = expect::beside(self, g).unwrap_or_else(|| polished.expected(m.session, m.antenna));
            for &row in &m.rows {
                let r = &log.rows[row];
                if let Some(sd) = r.sd.filter(|_| r.readings > 1.0) {
                    let slope = log_set.set.quantity.scale.slope_at(r.y);
                    pooled.sum_of_squares += (r.readings - 1.0) * (sd * slope).powi(2);
                    pooled.df += r.readings - 1.0;
                }
                rows.push(row);
                let (value, step) = (self.value[&row], self.step[&row]);
                points.push(Point { value, group: g, factor: 0, weight: r.readings, step, outside });
            }
        }
        let found = departures(&points, 0, pooled, most(points.len()), level);
        for d in &found.departures {
            let row = rows[d.place];
            self.out.insert(row);
            let alone = self.mountings[points[d.place].group].rows.len() == 1;
            self.departed.push(Departed {
                at: if alone { At::Mounting } else { At::Reading },
                rows: vec![row],
                expected: d.expected,
                seen: self.value[&row],
                p: d.p,
            });
        }
        if found.df > 0.0 {
            antennas.iter().for_each(|&a| {
                self.reading_sd.insert(a, found.sd);
            });
        }
    }

    /// Variance of a mounting's mean that its readings' scatter makes.
    fn reading_share(&self, m: &Mounting) -> f64 {
        self.reading_sd.get(&m.antenna).copied().unwrap_or(0.0).powi(2) / m.readings
    }

    fn mountings(&mut self, antennas: &[usize], polished: &expect::Polished, level: f64) {
        let visits = self.visits_of(|m| antennas.contains(&m.antenna));
        let mut places = vec![];
        let mut points = vec![];
        for (g, visit) in visits.iter().enumerate() {
            for &i in visit.iter().filter(|&&i| !self.drifts_in(self.mountings[i].session)) {
                let m = &self.mountings[i];
                let outside = polished.expected(m.session, m.antenna);
                places.push(i);
                points.push(Point { value: m.mean, group: g, factor: 0, weight: 1.0, step: m.step, outside });
            }
        }
        let shares: Vec<f64> = places.iter().map(|&i| self.reading_share(&self.mountings[i])).collect();
        let typical = weigh(&mut points, &shares, 0);
        let found = departures(&points, 0, Pooled::default(), most(points.len()), level);
        for d in &found.departures {
            let m = &mut self.mountings[places[d.place]];
            m.departs = true;
            let rows = m.rows.iter().copied().filter(|r| !self.out.contains(r)).collect();
            let (expected, seen) = (d.expected, m.mean);
            self.departed.push(Departed { at: At::Mounting, rows, expected, seen, p: d.p });
        }
        if found.df > 0.0 {
            // the spread without what departs, its readings' part taken out again
            let sd = (found.sd.powi(2) - typical).max(0.0).sqrt();
            antennas.iter().for_each(|&a| {
                self.mounting_sd.insert(a, sd);
            });
        }
    }

    /// Visits about antenna and session, then sessions among each other.
    fn visits(&mut self, together: bool, sets: usize) {
        let visits: Vec<Vec<usize>> = self.visits_of(|m| !self.drifts_in(m.session));
        let mut sessions: Vec<usize> = visits.iter().map(|v| self.mountings[v[0]].session).collect();
        let mut antennas: Vec<usize> = visits.iter().map(|v| self.mountings[v[0]].antenna).collect();
        sessions.sort_unstable();
        sessions.dedup();
        antennas.sort_unstable();
        antennas.dedup();
        if antennas.len() > MOST_ANTENNAS {
            return; // another rule says that these are no antennas
        }
        let index = |list: &[usize], x: usize| list.binary_search(&x).unwrap_or(0);
        let mut shares = vec![];
        let mut points: Vec<Point> = visits
            .iter()
            .map(|v| {
                let weights = v.iter().map(|&i| {
                    let m = &self.mountings[i];
                    let sd = self.mounting_sd.get(&m.antenna).copied().unwrap_or(0.0);
                    1.0 / (sd * sd + self.reading_share(m)).max(NO_SPREAD)
                });
                let total: f64 = weights.clone().sum();
                let mean = v.iter().zip(weights).map(|(&i, w)| w / total * self.mountings[i].mean).sum();
                shares.push(if total < 1.0 / NO_SPREAD { 1.0 / total } else { 0.0 });
                let first = &self.mountings[v[0]];
                let (group, factor) = (index(&sessions, first.session), index(&antennas, first.antenna));
                Point { value: mean, group, factor, weight: 1.0, step: first.step, outside: f64::NAN }
            })
            .collect();
        let typical = weigh(&mut points, &shares, antennas.len());
        // antennas that scatter each by its own cannot be pooled: their visits are taken as they are
        let most = if together { most(points.len()) } else { 0 };
        let found = departures(&points, antennas.len(), Pooled::default(), most, Test::Visit.level(sets));
        for d in &found.departures {
            let members = &visits[d.place];
            members.iter().for_each(|&i| self.mountings[i].departs = true);
            let rows: Vec<usize> = members.iter().flat_map(|&i| self.mountings[i].rows.clone()).collect();
            let seen = points[d.place].value;
            self.departed.push(Departed { at: At::Visit, rows, expected: d.expected, seen, p: d.p });
        }
        if found.df > 0.0 {
            self.visit_sd = Some((found.sd.powi(2) - typical).max(0.0).sqrt());
            for (g, &s) in sessions.iter().enumerate().filter(|(g, _)| found.groups[*g].is_finite()) {
                self.session_effect.insert(s, found.groups[g]);
            }
            for (f, &a) in antennas.iter().enumerate() {
                self.antenna_effect.insert(a, found.factors[f]);
            }
            if together {
                self.sessions(&sessions, &found.groups, &points, Test::Session.level(sets));
            }
        }
    }

    fn sessions(&mut self, sessions: &[usize], effects: &[f64], visits: &[Point], level: f64) {
        let joined = joined_groups(visits, effects.len());
        let places: Vec<usize> = (0..effects.len()).filter(|&g| joined[g] && effects[g].is_finite()).collect();
        let step = visits.iter().map(|v| v.step).fold(0.0, f64::max);
        let points: Vec<Point> = places
            .iter()
            .map(|&g| Point { value: effects[g], group: 0, factor: 0, weight: 1.0, step, outside: f64::NAN })
            .collect();
        let most = if points.len() >= 5 { most(points.len()) } else { 0 };
        for d in departures(&points, 0, Pooled::default(), most, level).departures {
            let session = sessions[places[d.place]];
            let rows = self.mountings.iter().filter(|m| m.session == session).flat_map(|m| m.rows.clone()).collect();
            let seen = points[d.place].value;
            self.departed.push(Departed { at: At::Session, rows, expected: d.expected, seen, p: d.p });
        }
    }
}

/// Weights points by the variance of their means, relative to a typical one: that of the level itself, which the
/// points tell, and `share` from the level below. Returns the part of a typical variance that is shares.
fn weigh(points: &mut [Point], share: &[f64], factors: usize) -> f64 {
    let typical = share.iter().sum::<f64>() / points.len().max(1) as f64;
    let plain = departures(points, factors, Pooled::default(), 0, 0.0);
    // the middle of squared residuals, so that one that departs does not set the weights
    let mut squares: Vec<f64> = (0..points.len())
        .filter(|&i| 1.0 - plain.leverages[i] > 1e-9)
        .map(|i| plain.residuals[i].powi(2) / (1.0 - plain.leverages[i]))
        .collect();
    squares.sort_by(f64::total_cmp);
    let middle = squares.get(squares.len() / 2).copied().unwrap_or(0.0) / 0.4549; // the median of χ² on 1
    let own = (middle - typical).max(0.0);
    let total = own + typical;
    if !(total > 0.0) {
        return 0.0;
    }
    points.iter_mut().zip(share).for_each(|(p, s)| p.weight = total / (own + s).max(0.05 * total));
    typical
}

/// The groups that chains of factors join to the largest such body of groups.
fn joined_groups(points: &[Point], groups: usize) -> Vec<bool> {
    let mut body: Vec<usize> = (0..groups).collect();
    let mut changed = true;
    while changed {
        changed = false;
        let mut lowest: QuickMap<usize, usize> = QuickMap::default();
        for p in points {
            let low = lowest.entry(p.factor).or_insert(body[p.group]);
            *low = (*low).min(body[p.group]);
        }
        for p in points.iter().filter(|p| lowest[&p.factor] < body[p.group]).collect::<Vec<_>>() {
            body[p.group] = lowest[&p.factor];
            changed = true;
        }
    }
    let size = |b: usize| body.iter().filter(|&&x| x == b).count();
    let largest = (0..groups).max_by_key(|&g| (size(body[g]), std::cmp::Reverse(body[g]))).map(|g| body[g]);
    body.iter().map(|&b| Some(b) == largest).collect()
}
