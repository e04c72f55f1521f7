//! Faults that only statistics can see, for [`super::faults::FAULTS`].

use daylight::montecarlo::stream::Stream;
use daylight::radio::reflection::{from_swr, to_swr};
use rand::RngExt;

use super::faults::{Fault, pick, pick_session};
use super::season::{Reading, Simulated};

/// Rules that may speak of one wrong number.
const ONE: &[&str] = &["typing slip", "outlier"];

/// Spread of a reading about its mounting in field strength, dB: what sizes are told against.
fn is_field(r: &Reading) -> bool {
    r.quantity == "field_strength"
}

fn is_swr(r: &Reading) -> bool {
    r.quantity == "swr"
}

/// A reading moved.
pub const READING: Fault = Fault {
    name: "one field strength off",
    sizes: &[0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0],
    unit: "dB",
    rules: ONE,
    plant: |season, size, rng| {
        let i = pick(season, rng, is_field);
        season.readings[i].value += sign(rng) * size;
        vec![i]
    },
};

/// A reading of SWR moved.
pub const SWR: Fault = Fault {
    name: "one SWR off, by |Γ|",
    sizes: &[0.01, 0.02, 0.03, 0.04, 0.06, 0.1],
    unit: "|Γ|",
    rules: ONE,
    plant: |season, size, rng| {
        let i = pick(season, rng, is_swr);
        let gamma = from_swr(season.readings[i].value);
        let moved = if gamma > size { gamma + sign(rng) * size } else { gamma + size };
        season.readings[i].value = to_swr(moved.min(0.95));
        vec![i]
    },
};

/// A mounting moved.
pub const MOUNTING: Fault = Fault {
    name: "one mounting off in field strength, one band",
    sizes: &[1.0, 1.5, 2.0, 2.5, 3.0, 4.0],
    unit: "dB",
    rules: &["outlier"],
    plant: |season, size, rng| {
        let one = season.readings[pick(season, rng, is_field)].clone();
        let shift = sign(rng) * size;
        moved(season, shift, |r| {
            is_field(r)
                && (r.session, r.antenna, r.band, r.mounting) == (one.session, one.antenna, one.band, one.mounting)
        })
    },
};

/// A visit moved.
pub const VISIT: Fault = Fault {
    name: "one visit off in field strength, all bands",
    sizes: &[1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0],
    unit: "dB",
    rules: &["outlier"],
    plant: |season, size, rng| {
        let one = season.readings[pick(season, rng, |r| is_field(r) && r.antenna > 0)].clone();
        let shift = sign(rng) * size;
        moved(season, shift, |r| is_field(r) && (r.session, r.antenna) == (one.session, one.antenna))
    },
};

/// The reference moved in one session.
pub const REFERENCE: Fault = Fault {
    name: "the reference alone off in one session",
    sizes: &[1.0, 2.0, 3.0, 4.0, 6.0, 8.0],
    unit: "dB",
    rules: &["outlier", "reference off its history"],
    plant: |season, size, rng| {
        let session = pick_session(season, rng);
        let shift = sign(rng) * size;
        moved(season, shift, |r| is_field(r) && r.session == session && r.antenna == 0)
    },
};

/// A session moved.
pub const SESSION: Fault = Fault {
    name: "one session off in field strength",
    sizes: &[2.0, 4.0, 6.0, 10.0, 15.0, 20.0],
    unit: "dB",
    rules: &["outlier", "reference off its history"],
    plant: |season, size, rng| {
        let session = pick_session(season, rng);
        let shift = sign(rng) * size;
        moved(season, shift, |r| is_field(r) && r.session == session)
    },
};

/// A battery that empties.
pub const BATTERY: Fault = Fault {
    name: "power and field strength fall through a session",
    sizes: &[0.1, 0.15, 0.2, 0.3, 0.5, 1.0],
    unit: "dB from first to last",
    rules: &["drift"],
    plant: |season, size, rng| {
        let session = pick_session(season, rng);
        drift(season, session, size, true)
    },
};

/// A mark that moved.
pub const DRIFT: Fault = Fault {
    name: "field strength alone falls through a session",
    sizes: &[0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0],
    unit: "dB from first to last",
    rules: &["drift"],
    plant: |season, size, rng| {
        let session = pick_session(season, rng);
        drift(season, session, size, false)
    },
};

/// The decimal point of an SWR.
pub const POINT: Fault = Fault {
    name: "decimal point of an SWR moved right",
    sizes: &[1.0, 2.0],
    unit: "places",
    rules: &["typing slip"],
    plant: |season, size, rng| {
        let i = pick(season, rng, is_swr);
        season.readings[i].value *= 10f64.powf(size);
        vec![i]
    },
};

/// Two digits of a field strength.
pub const SWAPPED: Fault = Fault {
    name: "two digits of a field strength swapped, by the change",
    sizes: &[0.9, 1.8, 2.7, 3.6, 4.5, 9.0],
    unit: "dB",
    rules: &["typing slip"],
    plant: |season, size, rng| {
        let swapped = |r: &Reading| -> Option<f64> {
            let mut bytes = r.text().into_bytes();
            let n = bytes.len();
            // −31.4: tens and units for whole nines of dB, units and tenths for the others
            let (a, b) = if size >= 9.0 { (n - 4, n - 3) } else { (n - 3, n - 1) };
            bytes.swap(a, b);
            let value: f64 = std::str::from_utf8(&bytes).ok()?.parse().ok()?;
            ((value - r.text().parse::<f64>().ok()?).abs() - size).abs().lt(&0.01).then_some(value)
        };
        let i = pick(season, rng, |r| is_field(r) && r.value < -10.0 && swapped(r).is_some());
        if let Some(value) = swapped(&season.readings[i]) {
            season.readings[i].value = value;
        }
        vec![i]
    },
};

/// Two bands of a mounting.
pub const EXCHANGED: Fault = Fault {
    name: "SWR of two bands exchanged, by the larger change",
    sizes: &[0.01, 0.02, 0.04, 0.08],
    unit: "|Γ| at least",
    rules: &["typing slip"],
    plant: |season, size, rng| {
        let partner = |season: &Simulated, i: usize| {
            let r = &season.readings[i];
            let same = |s: &Reading| {
                s.band != r.band
                    && (s.session, s.antenna, s.mounting, s.meter) == (r.session, r.antenna, r.mounting, r.meter)
                    && is_swr(s)
                    && (from_swr(s.value) - from_swr(r.value)).abs() >= size
            };
            season.readings.iter().position(same)
        };
        let able: Vec<usize> = (0..season.readings.len())
            .filter(|&i| is_swr(&season.readings[i]) && partner(season, i).is_some())
            .collect();
        let Some(&i) = able.get(rng.random_range(0..able.len().max(1))) else { return vec![0] };
        let Some(j) = partner(season, i) else { return vec![0] };
        let (a, b) = (season.readings[i].value, season.readings[j].value);
        season.readings[i].value = b;
        season.readings[j].value = a;
        vec![i, j]
    },
};

/// A mounting copied from the one before.
pub const COPIED: Fault = Fault {
    name: "a mounting's readings copied from the first, share copied",
    sizes: &[0.6, 0.7, 0.8, 0.9, 1.0],
    unit: "share",
    rules: &["copied repeats"],
    plant: |season, size, rng| {
        let one = season.readings[pick(season, rng, |r| r.mounting == 2)].clone();
        let of = |season: &Simulated, mounting: usize| -> Vec<usize> {
            (0..season.readings.len())
                .filter(|&i| {
                    let r = &season.readings[i];
                    (r.session, r.antenna, r.mounting) == (one.session, one.antenna, mounting)
                })
                .collect()
        };
        let (first, second) = (of(season, 1), of(season, 2));
        for (&a, &b) in first.iter().zip(&second) {
            let same = season.readings[a].quantity == season.readings[b].quantity;
            if same && rng.random_bool(size) {
                season.readings[b].value = season.readings[a].value;
            }
        }
        second
    },
};

/// A row twice.
pub const TWICE: Fault = Fault {
    name: "rows that stand twice",
    sizes: &[1.0, 10.0],
    unit: "rows",
    rules: &["duplicate"],
    plant: |season, size, rng| {
        let first = rng.random_range(0..season.readings.len() - size as usize);
        let copy: Vec<Reading> = season.readings[first..first + size as usize].to_vec();
        let from = season.readings.len();
        season.readings.extend(copy);
        (from..season.readings.len()).collect()
    },
};

/// A scale read in halves.
pub const HALVES: Fault = Fault {
    name: "field strength read to the nearest 0.5 dB, share of readings",
    sizes: &[0.1, 0.15, 0.2, 0.3, 1.0],
    unit: "share",
    rules: &["digit habit"],
    plant: |season, size, rng| {
        for r in season.readings.iter_mut().filter(|r| is_field(r)) {
            if rng.random_bool(size) {
                r.value = (r.value * 2.0).round() / 2.0;
            }
        }
        vec![]
    },
};

fn sign(rng: &mut Stream) -> f64 {
    if rng.random_bool(0.5) { 1.0 } else { -1.0 }
}

fn moved(season: &mut Simulated, shift: f64, which: impl Fn(&Reading) -> bool) -> Vec<usize> {
    let hit: Vec<usize> = (0..season.readings.len()).filter(|&i| which(&season.readings[i])).collect();
    hit.iter().for_each(|&i| season.readings[i].value += shift);
    hit
}

/// A steady fall along a session's order, in field strength and, if asked, power.
fn drift(season: &mut Simulated, session: usize, size: f64, power: bool) -> Vec<usize> {
    let last = season.readings.iter().filter(|r| r.session == session).map(|r| r.order).max().unwrap_or(1);
    let mut hit = vec![];
    for (i, r) in season.readings.iter_mut().enumerate().filter(|(_, r)| r.session == session) {
        let fall = size * (r.order - 1) as f64 / (last - 1).max(1) as f64;
        if is_field(r) {
            r.value -= fall;
            hit.push(i);
        } else if power && r.quantity.ends_with("_power") {
            r.value *= 10f64.powf(-fall / 10.0);
            hit.push(i);
        }
    }
    hit
}
