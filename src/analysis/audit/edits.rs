//! Slips of the pen: for a reading that does not fit, the single edit that would make it fit. Edits are offered
//! and never applied.
//!
//! Each edit is scored by how often its kind happens, how many edits of the kind there are to try, and how
//! closely the edited reading falls where it is expected: the posterior odds, up to a factor, of a
//! writer who makes one slip. How often each kind happens is our own judgement, no source; it only orders edits
//! that fit about equally well.

use super::levels::expect::Expected;
use super::levels::{Levels, to_audit};
use super::log::Log;
use crate::radio::quantity::Quantity;
use crate::radio::reflection;

/// An edited reading fits if it lies within so many standard deviations of what is expected.
const FITS: f64 = 3.0;

/// One edit that would make a reading fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Edit {
    /// The edit, after "it would fit": "as 1.52, the decimal point moved".
    pub words: String,
    /// What to look up.
    pub kind: Kind,
    /// The other row it concerns, where it changes two.
    pub with: Option<usize>,
    score: f64,
}

/// Kinds of slips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Two readings on each other's line.
    Exchange,
    /// The decimal point moved.
    Point,
    /// Neighbouring digits swapped.
    Swap,
    /// The sign lost or added.
    Sign,
    /// A digit left out or written twice.
    Digit,
    /// In another unit.
    Unit,
    /// Another antenna's.
    Antenna,
    /// Another band's.
    Band,
    /// Another quantity's.
    Quantity,
}

impl Kind {
    /// How often it happens among slips, roughly.
    fn share(self) -> f64 {
        match self {
            Kind::Exchange => 0.2,
            Kind::Point | Kind::Swap => 0.2,
            Kind::Sign | Kind::Digit | Kind::Unit => 0.1,
            Kind::Antenna | Kind::Band | Kind::Quantity => 0.05,
        }
    }
}

/// A reading as it can be mistyped.
struct Written {
    negative: bool,
    digits: String,
}

impl Written {
    fn of(value: f64, step: f64) -> Written {
        let decimals = (-step.log10() - 1e-9).ceil().clamp(0.0, 9.0) as usize;
        Written { negative: value < 0.0, digits: format!("{:.decimals$}", value.abs()) }
    }

    fn value(&self, digits: &str) -> Option<f64> {
        let value: f64 = digits.parse().ok()?;
        Some(if self.negative { -value } else { value })
    }

    /// Swaps of neighbouring digits, the point kept where it is.
    fn swaps(&self) -> Vec<f64> {
        let places: Vec<usize> =
            self.digits.char_indices().filter(|(_, c)| c.is_ascii_digit()).map(|(i, _)| i).collect();
        let swap = |pair: &[usize]| {
            let mut bytes = self.digits.clone().into_bytes();
            (bytes[pair[0]] != bytes[pair[1]]).then(|| bytes.swap(pair[0], pair[1]))?;
            self.value(std::str::from_utf8(&bytes).ok()?)
        };
        places.windows(2).filter_map(swap).collect()
    }

    /// One digit more, anywhere; one of two equal neighbours less.
    fn digits(&self) -> Vec<f64> {
        let mut out = vec![];
        for place in 0..=self.digits.len() {
            for digit in '0'..='9' {
                let mut longer = self.digits.clone();
                longer.insert(place, digit);
                out.extend(self.value(&longer));
            }
        }
        for place in 1..self.digits.len() {
            if self.digits.as_bytes()[place] == self.digits.as_bytes()[place - 1] {
                let mut shorter = self.digits.clone();
                shorter.remove(place);
                out.extend(self.value(&shorter));
            }
        }
        out.sort_by(f64::total_cmp);
        out.dedup();
        out
    }
}

/// What a number may have been before one slip of the fingers, and the digit it was then typed to: its point moved,
/// neighbouring digits swapped, its sign lost.
pub fn retyped(value: f64, step: f64) -> Vec<(f64, f64)> {
    let moved = [0.1, 10.0, 0.01, 100.0].map(|factor| (value * factor, step * factor));
    let swapped = Written::of(value, step).swaps().into_iter().chain([-value]).map(|v| (v, step));
    moved.into_iter().chain(swapped).collect()
}

/// What a number means if it was written in another unit: the value in the quantity's own, and the unit.
fn other_units(quantity: &Quantity, value: f64) -> Vec<(f64, &'static str)> {
    match quantity.name.as_str() {
        "forward_power" | "reflected_power" => {
            vec![(10f64.powf((value - 30.0) / 10.0), "dBm"), (10f64.powf(value / 10.0), "dBW"), (value / 1000.0, "mW")]
        }
        "swr" => vec![(reflection::to_swr(10f64.powf(-value.abs() / 20.0)), "dB of return loss")],
        "return_loss" if value >= 1.0 => vec![(-20.0 * reflection::from_swr(value).log10(), "SWR")],
        "reflection" if value >= 1.0 => vec![(reflection::from_swr(value), "SWR")],
        "impedance" | "resistance" | "reactance" => vec![(value * 1000.0, "kΩ"), (value / 1000.0, "mΩ")],
        _ => vec![],
    }
}

/// What is expected where a row stands, the row itself unheard.
fn expected(log: &Log, set: usize, row: usize) -> Option<Expected> {
    let r = &log.rows[row];
    let levels = &log.levels[set];
    levels.expect(r.session, r.antenna, levels.mounting_of.get(&row).copied(), row)
}

/// How likely a value is where `expected` is: the logarithm of the chance to show just that; `None` if it does not
/// fit.
fn fit(log: &Log, set: usize, value: f64, step: f64, expected: Expected) -> Option<f64> {
    let (audit, beside) = (to_audit(&log.sets[set], value)?, to_audit(&log.sets[set], value + step)?);
    let digit = (beside - audit).abs();
    let distance = ((audit - expected.value).abs() - digit / 2.0).max(0.0) / expected.sd;
    (distance <= FITS).then(|| -0.5 * distance * distance - (expected.sd / digit.max(1e-12)).max(1.0).ln())
}

/// The index of the set a row belongs to.
pub fn set_of(log: &Log, row: usize) -> Option<usize> {
    log.levels.iter().position(|l| l.value.contains_key(&row))
}

/// The place of a row's mounting in another set: the same session, antenna and number.
fn mounting_in(log: &Log, levels: &Levels, row: usize) -> Option<usize> {
    let r = &log.rows[row];
    let visit = levels.visits.get(&(r.session, r.antenna))?;
    visit.iter().copied().find(|&i| levels.mountings[i].number == r.mounting)
}

/// All edits that would make row `row` of set `set` fit, the likeliest first.
pub fn edits(log: &Log, set: usize, row: usize) -> Vec<Edit> {
    let Some(here) = expected(log, set, row) else { return vec![] };
    let r = &log.rows[row];
    let log_set = &log.sets[set];
    let quantity = &log_set.set.quantity;
    let written = Written::of(r.value, r.step);
    let mut out: Vec<Edit> = vec![];
    let mut offer = |kind: Kind, tries: usize, fit: Option<f64>, with: Option<usize>, words: String| {
        if let Some(fit) = fit {
            let score = kind.share().ln() - (tries.max(1) as f64).ln() + fit;
            out.push(Edit { words, kind, with, score });
        }
    };
    let as_value = |value: f64| {
        let places = (-r.step.log10() - 1e-9).ceil().clamp(0.0, 9.0) as usize;
        let decimals = (places..=9).find(|&d| (value * 10f64.powi(d as i32)).fract().abs() < 1e-6).unwrap_or(places);
        format!("{value:.decimals$}").replace('-', "−")
    };
    let here_fits = |value: f64| fit(log, set, value, r.step, here);

    for power in [-2, -1, 1, 2] {
        let value = r.value * 10f64.powi(power);
        let words = format!("as {}, the decimal point moved", as_value(value));
        offer(Kind::Point, 2 * power.unsigned_abs() as usize, here_fits(value), None, words);
    }
    let swaps = written.swaps();
    for &value in &swaps {
        offer(Kind::Swap, swaps.len(), here_fits(value), None, format!("as {}, two digits swapped", as_value(value)));
    }
    let sign = format!("as {}, the sign {}", as_value(-r.value), if r.value < 0.0 { "taken away" } else { "added" });
    offer(Kind::Sign, 1, here_fits(-r.value), None, sign);
    let digits = written.digits();
    for &value in &digits {
        let what = if as_value(value.abs()).len() > written.digits.len() {
            "a digit added"
        } else {
            "a doubled digit taken away"
        };
        offer(Kind::Digit, digits.len(), here_fits(value), None, format!("as {}, {what}", as_value(value)));
    }
    let units = other_units(quantity, r.value);
    for &(value, unit) in &units {
        let words = format!("if it is in {unit}, since that makes it {}", log.levels[set].shown_value(log_set, value));
        offer(Kind::Unit, units.len(), here_fits(value), None, words);
    }
    let others: Vec<usize> =
        log.levels[set].visits.keys().filter(|k| k.0 == r.session && k.1 != r.antenna).map(|k| k.1).collect();
    for &antenna in &others {
        let there = log.levels[set].expect(r.session, antenna, None, row);
        let fits = there.and_then(|e| fit(log, set, r.value, r.step, e));
        offer(Kind::Antenna, others.len(), fits, None, format!("with {}", log.antennas[antenna]));
    }
    for (other, s) in log.sets.iter().enumerate().filter(|(o, s)| *o != set && s.set.meter == log_set.set.meter) {
        let same_quantity = s.set.quantity == *quantity;
        if !same_quantity && s.set.band != log_set.set.band {
            continue;
        }
        let there = mounting_in(log, &log.levels[other], row)
            .and_then(|m| log.levels[other].expect(r.session, r.antenna, Some(m), row));
        let fits = there.and_then(|e| fit(log, other, r.value, r.step, e));
        if same_quantity {
            offer(Kind::Band, log.bands.len() - 1, fits, None, format!("on {}", s.set.band));
        } else {
            offer(Kind::Quantity, log.quantities.len() - 1, fits, None, format!("as {}", s.set.quantity.name));
        }
    }
    for (other, partner) in partners(log, set, row) {
        let p = &log.rows[partner];
        let Some(there) = expected(log, other, partner) else { continue };
        let misfits = fit(log, other, p.value, p.step, there).is_none();
        let both = here_fits(p.value).zip(fit(log, other, r.value, r.step, there)).map(|(a, b)| (a + b) / 2.0);
        if misfits {
            let words = format!("if it is exchanged with {} of {}", log.written(partner), log.place(partner, None));
            offer(Kind::Exchange, 1, both, Some(partner), words);
        }
    }
    out.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
    out
}

/// Rows that one may have been exchanged with: of the same quantity and session, in any set.
fn partners(log: &Log, set: usize, row: usize) -> Vec<(usize, usize)> {
    let r = &log.rows[row];
    let quantity = &log.sets[set].set.quantity;
    let mut out = vec![];
    for (other, s) in log.sets.iter().enumerate().filter(|(_, s)| s.set.quantity == *quantity) {
        let here = s.rows.iter().filter(|&&p| p != row && log.rows[p].session == r.session);
        out.extend(here.map(|&p| (other, p)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contains(list: &[f64], value: f64) -> bool {
        list.iter().any(|v| (v - value).abs() < 1e-12)
    }

    #[test]
    fn every_swap_and_every_lost_or_doubled_digit_is_tried() {
        let written = Written::of(2.51, 0.01);
        assert_eq!(written.swaps().len(), 2);
        assert!(contains(&written.swaps(), 5.21) && contains(&written.swaps(), 2.15));
        assert!(contains(&Written::of(-3.2, 0.1).digits(), -38.2));
        assert!(contains(&Written::of(-33.2, 0.1).digits(), -3.2));
        assert!(Written::of(1.11, 0.01).swaps().is_empty());
    }

    #[test]
    fn a_number_in_another_unit_is_read_in_its_own() {
        let of = |name: &str, value| other_units(&crate::radio::quantity::built_in(name).unwrap(), value);
        // 36.02 dBm are 4.0 W; a return loss of 14.0 dB is an SWR of 1.50 (trade table)
        assert!((of("forward_power", 36.0206)[0].0 - 4.0).abs() < 1e-4);
        assert!((of("swr", 13.979)[0].0 - 1.5).abs() < 1e-3);
        assert!((of("return_loss", 1.5)[0].0 - 13.979).abs() < 1e-3);
    }
}
