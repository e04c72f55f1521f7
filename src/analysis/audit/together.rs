//! What one meter read on one mounting, each quantity as the range its true value can have: the hull of its
//! readings, each to within half its last digit.
//!
//! Readings of one mounting need not be of one moment. Where the log repeats them, four standard
//! deviations of a reading are allowed between two moments; where it doesn't, 0.01 in |Γ|, a usual noise
//! of hobby instruments (common practice, no source).

use super::log::{Log, group};
use crate::analysis::coded::QuickMap;
use crate::radio::feasible::Interval;
use crate::radio::quantity::Scale;
use crate::radio::reflection::from_swr;

/// Standard deviations of a reading allowed between two moments, and what stands for them in |Γ| where
/// no reading is repeated.
const MOMENTS: f64 = 4.0;
const UNREPEATED: f64 = 0.01;

/// Fewer repeats than this don't say how readings scatter.
const LEAST: usize = 8;

/// One meter's readings on one mounting.
#[derive(Debug)]
pub struct Together {
    /// All rows, in the order of the log.
    pub rows: Vec<usize>,
}

/// Readings by mounting and meter, of every mounting with more than one quantity; and how readings scatter.
/// Made once, by the first rule that asks [`Log::together`].
#[derive(Debug)]
pub struct Sorted {
    all: Vec<Together>,
    scatter: QuickMap<(usize, usize, usize), f64>,
}

/// How far the readings of each set move between two moments, by the names of quantity, band and meter.
pub type Scatter = QuickMap<(String, String, String), f64>;

/// The same, to be asked about.
pub struct Mountings<'a> {
    log: &'a Log<'a>,
    /// The mountings.
    pub all: &'a [Together],
    scatter: &'a QuickMap<(usize, usize, usize), f64>,
}

impl Sorted {
    /// Sorts the log by session, antenna, band, meter and mounting.
    pub fn new(log: &Log) -> Sorted {
        let rows: Vec<usize> = (0..log.rows.len()).collect();
        let key = |i: usize| {
            let r = &log.rows[i];
            (r.session, r.antenna, r.band, r.meter, log.mounting_key(i))
        };
        let groups = group(&rows, key);
        let mut repeats: QuickMap<(usize, usize, usize), Vec<f64>> = QuickMap::default();
        for rows in &groups {
            for (at, &i) in rows.iter().enumerate() {
                let (set, y) = (log.set_key(i), log.rows[i].y);
                // the next reading of the same quantity on this mounting
                if let Some(&next) = rows[at + 1..].iter().find(|&&j| log.set_key(j) == set) {
                    repeats.entry(set).or_default().push((log.rows[next].y - y).abs());
                }
            }
        }
        // the median of |difference| of two normal readings is 0.6745·√2·σ
        let scatter = repeats.into_iter().filter(|(_, d)| d.len() >= LEAST).map(|(set, mut d)| {
            d.sort_unstable_by(f64::total_cmp);
            (set, d[d.len() / 2] / (0.6745 * std::f64::consts::SQRT_2))
        });
        let several = |rows: &Vec<usize>| rows.iter().any(|&i| log.rows[i].quantity != log.rows[rows[0]].quantity);
        let scatter = scatter.collect();
        let all = groups.into_iter().filter(several).map(|rows| Together { rows }).collect();
        Sorted { all, scatter }
    }

    /// The same, with the scatter that another log shows.
    pub fn knowing(log: &Log, known: &Scatter) -> Sorted {
        let mut sorted = Sorted::new(log);
        for row in 0..log.rows.len() {
            if let Some(&scatter) = known.get(&names(log, log.set_key(row))) {
                sorted.scatter.insert(log.set_key(row), scatter);
            }
        }
        sorted
    }

    /// What the log shows of scatter between two moments.
    pub fn by_name(&self, log: &Log) -> Scatter {
        self.scatter.iter().map(|(&key, &scatter)| (names(log, key), scatter)).collect()
    }
}

fn names(log: &Log, (quantity, band, meter): (usize, usize, usize)) -> (String, String, String) {
    (log.quantities[quantity].clone(), log.bands[band].clone(), log.meters[meter].clone())
}

impl<'a> Mountings<'a> {
    /// Those of a log.
    pub fn new(log: &'a Log<'a>) -> Mountings<'a> {
        let sorted = log.together();
        Mountings { log, all: &sorted.all, scatter: &sorted.scatter }
    }

    /// Rows of a quantity on one mounting.
    pub fn rows_of(&self, one: &Together, quantity: &str) -> Vec<usize> {
        one.rows.iter().copied().filter(|&i| self.log.quantity(i) == quantity).collect()
    }

    /// How far a quantity of a row's set moves between two moments, on the analysis scale.
    fn moments(&self, row: usize, digit: f64) -> Option<f64> {
        // a display too coarse to show scatter hides up to some four tenths of a digit of it
        self.scatter.get(&self.log.set_key(row)).map(|s| MOMENTS * s.max(0.4 * digit))
    }

    /// Range of the true values of a quantity's readings, in its unit, `moved` aside; `None` if not read.
    pub fn as_read(&self, one: &Together, quantity: &str) -> Option<Interval> {
        let ranges = self.rows_of(one, quantity).into_iter().map(|i| {
            let r = &self.log.rows[i];
            Interval::about(r.value, self.log.resolution(i) / 2.0 + r.sd.unwrap_or(0.0))
        });
        ranges.reduce(Interval::hull)
    }

    /// The same with what the quantity may move between two moments, where the log shows that.
    pub fn range(&self, one: &Together, quantity: &str) -> Option<Interval> {
        let first = *self.rows_of(one, quantity).first()?;
        let scale = self.log.config().quantity(quantity)?.scale;
        let (step, y) = (self.log.resolution(first), self.log.rows[first].y);
        let moved = self.moments(first, step * scale.slope_at(y)).unwrap_or(0.0) / scale.slope_at(y);
        Some(self.as_read(one, quantity)?.widened(moved))
    }

    /// |Γ| by the readings of one of its three names, with what it may move between two moments.
    pub fn reflection(&self, one: &Together, quantity: &str) -> Option<Interval> {
        let first = *self.rows_of(one, quantity).first()?;
        let scale = self.log.config().quantity(quantity)?.scale;
        let read = self.as_read(one, quantity)?;
        let on_scale = match scale {
            Scale::ReflectionFromSwr => {
                Interval { low: from_swr(read.low.max(1.0)), high: from_swr(read.high.max(1.0)) }
            }
            // more return loss is less reflection
            Scale::ReflectionFromReturnLoss => {
                Interval { low: scale.to_analysis(read.high)?, high: scale.to_analysis(read.low).unwrap_or(1.0) }
            }
            _ => read,
        };
        let digit = self.log.resolution(first) * scale.slope_at(self.log.rows[first].y);
        Some(on_scale.widened(self.moments(first, digit).unwrap_or(UNREPEATED)).from(0.0))
    }
}
