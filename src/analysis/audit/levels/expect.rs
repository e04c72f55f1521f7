//! What is expected of a reading by those around it.

use super::Levels;
use crate::analysis::audit::log::LogSet;
use crate::analysis::coded::QuickMap;

/// Medians of antennas and of sessions: a rough expectation that a few wrong readings do not move.
pub struct Polished {
    antenna: QuickMap<usize, f64>,
    session: QuickMap<usize, f64>,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.retain(|v| v.is_finite());
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 { f64::NAN } else { (values[(n - 1) / 2] + values[n / 2]) / 2.0 }
}

/// One sweep of a median polish over the mountings of a set: medians of antennas, then of what sessions add.
///
/// # Source
/// Tukey (1977), *Exploratory Data Analysis*, chapter 11.
pub fn polish(levels: &Levels) -> Polished {
    let collect = |key: fn(&super::Mounting) -> usize, value: &dyn Fn(&super::Mounting) -> f64| {
        let mut lists: QuickMap<usize, Vec<f64>> = QuickMap::default();
        levels.mountings.iter().for_each(|m| lists.entry(key(m)).or_default().push(value(m)));
        lists.into_iter().map(|(k, v)| (k, median(v))).collect::<QuickMap<usize, f64>>()
    };
    let antenna = collect(|m| m.antenna, &|m| m.mean);
    let session = collect(|m| m.session, &|m| m.mean - antenna[&m.antenna]);
    Polished { antenna, session }
}

impl Polished {
    /// What an antenna is expected to read in a session; NaN where nothing says.
    pub fn expected(&self, session: usize, antenna: usize) -> f64 {
        let of = |map: &QuickMap<usize, f64>, key| map.get(&key).copied().unwrap_or(f64::NAN);
        of(&self.antenna, antenna) + of(&self.session, session)
    }
}

/// The median of the other mountings of a mounting's visit, if there are any.
pub fn beside(levels: &Levels, mounting: usize) -> Option<f64> {
    let own = &levels.mountings[mounting];
    let visit = &levels.visits[&(own.session, own.antenna)];
    let others = visit.iter().filter(|&&i| i != mounting).map(|&i| levels.mountings[i].mean);
    Some(median(others.collect())).filter(|m| m.is_finite())
}

/// What a reading should be, and within which standard deviation, on the audit scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The value.
    pub value: f64,
    /// Standard deviation of a reading about it.
    pub sd: f64,
}

impl Levels {
    /// What one more reading of an antenna in a session would be: in that mounting, where one is named and has
    /// readings that fit; else among the visit's mountings; else from antenna and session. `without` is a
    /// row that has no say. `None` where the log tells nothing, or no spread.
    pub fn expect(&self, session: usize, antenna: usize, mounting: Option<usize>, without: usize) -> Option<Expected> {
        let variance = |map: &QuickMap<usize, f64>| map.get(&antenna).map(|sd| sd * sd);
        let reading = variance(&self.reading_sd);
        let floor = |m: &super::Mounting| m.step * m.step / 12.0;
        let mean_without = |m: &super::Mounting| {
            let own = m.rows.contains(&without) && !self.out.contains(&without);
            let n = m.readings - f64::from(u8::from(own));
            let sum = m.mean * m.readings - if own { self.value[&without] } else { 0.0 };
            (n > 0.5 && m.mean.is_finite()).then(|| (sum / n, n))
        };
        if let (Some(m), Some(e)) = (mounting.map(|i| &self.mountings[i]), reading)
            && let Some((mean, n)) = mean_without(m)
        {
            return Some(Expected { value: mean, sd: (e.max(floor(m)) * (1.0 + 1.0 / n)).sqrt() });
        }
        let visit = self.visits.get(&(session, antenna)).into_iter().flatten().map(|&i| &self.mountings[i]);
        let others: Vec<(f64, f64)> = visit.filter(|m| !m.departs).filter_map(mean_without).collect();
        let e = reading.unwrap_or(0.0);
        let step = self.mountings.first().map_or(0.0, floor);
        if let (Some(m), false) = (variance(&self.mounting_sd), others.is_empty()) {
            let k = others.len() as f64;
            let mean = others.iter().map(|o| o.0).sum::<f64>() / k;
            let share = others.iter().map(|o| m + e / o.1).sum::<f64>() / (k * k);
            return Some(Expected { value: mean, sd: (m + e + share).max(step).sqrt() });
        }
        let (a, s) = (self.antenna_effect.get(&antenna)?, self.session_effect.get(&session)?);
        let v = self.visit_sd?;
        let m = variance(&self.mounting_sd).unwrap_or(0.0);
        Some(Expected { value: a + s, sd: (1.5 * v * v + m + e).max(step).sqrt() })
    }

    /// A value of the audit scale in the quantity's unit, to the digits of the display.
    pub fn shown(&self, log_set: &LogSet, audit: f64) -> String {
        self.shown_value(log_set, super::to_shown(log_set, audit))
    }

    /// A value of the quantity to the digits of the display.
    pub fn shown_value(&self, log_set: &LogSet, value: f64) -> String {
        let decimals = (-log_set.set.resolution.log10() - 1e-9).ceil().clamp(0.0, 9.0) as usize;
        format!("{value:.decimals$}").replace('-', "−")
    }

    /// A difference on the audit scale in words.
    pub fn shown_difference(&self, log_set: &LogSet, difference: f64) -> String {
        let quantity = &log_set.set.quantity;
        let (unit, decimals) = match quantity.name.as_str() {
            "reflected_power" => ("√W".to_string(), 2),
            _ => match quantity.scale.name(&quantity.unit) {
                scale if scale == "|Γ|" => (format!("in {scale}"), 3),
                scale => (scale, 1),
            },
        };
        format!("{difference:+.decimals$} {unit}").replace('-', "−")
    }
}
