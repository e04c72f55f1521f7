//! Faults of physics: readings that contradict each other, their battery, or what a bench can give.

use daylight::montecarlo::stream::Stream;
use rand::RngExt;

use super::faults::{Fault, pick};
use super::season::{Reading, Simulated};

/// Multiplies one reading of a quantity by `factor`.
fn scale(season: &mut Simulated, rng: &mut Stream, quantity: &str, factor: f64) -> Vec<usize> {
    let at = pick(season, rng, |r| r.quantity == quantity);
    season.readings[at].value *= factor;
    vec![at]
}

/// An |Z| mistyped beside R and X of one moment.
pub const IMPEDANCE: Fault = Fault {
    name: "|Z| mistyped",
    sizes: &[1.002, 1.005, 1.01, 1.02, 1.05, 1.1, 2.0],
    unit: "times too large",
    rules: &["match and impedance"],
    plant: |season, size, rng| scale(season, rng, "impedance", size),
};

/// An analyzer's SWR, on both readings of a mounting, below what its impedance makes.
pub const SWR_OF_IMPEDANCE: Fault = Fault {
    name: "SWR of an analyzer mistyped, lower",
    sizes: &[0.02, 0.05, 0.1, 0.2, 0.4],
    unit: "|Γ| too low",
    rules: &["match and impedance"],
    plant: |season, size, rng| {
        let at = pick(season, rng, |r| r.meter == "analyzer" && r.quantity == "swr" && r.value > 1.7);
        // both readings of the mounting: one alone leaves the other to agree with |Z|
        let one = season.readings[at].clone();
        let same = |r: &Reading| {
            (r.session, r.antenna, r.band, r.mounting, r.meter, r.quantity)
                == (one.session, one.antenna, one.band, one.mounting, one.meter, one.quantity)
        };
        let rows: Vec<usize> = (0..season.readings.len()).filter(|&i| same(&season.readings[i])).collect();
        for &i in &rows {
            let rho = (season.readings[i].value - 1.0) / (season.readings[i].value + 1.0) - size;
            season.readings[i].value = (1.0 + rho.max(0.0)) / (1.0 - rho.max(0.0));
        }
        rows
    },
};

/// An R mistyped beside |Z| and X.
pub const RESISTANCE: Fault = Fault {
    name: "R mistyped",
    sizes: &[1.002, 1.005, 1.01, 1.02, 1.05, 1.1, 2.0],
    unit: "times too large",
    rules: &["match and impedance"],
    plant: |season, size, rng| scale(season, rng, "resistance", size),
};

/// A reflected power unlike its SWR.
pub const REFLECTED: Fault = Fault {
    name: "reflected power mistyped",
    sizes: &[1.2, 1.5, 2.0, 3.0, 10.0],
    unit: "times too large",
    rules: &["powers and match"],
    plant: |season, size, rng| scale(season, rng, "reflected_power", size),
};

/// A forward power unlike its SWR.
pub const FORWARD: Fault = Fault {
    name: "forward power mistyped",
    sizes: &[1.2, 1.5, 2.0, 3.0, 10.0],
    unit: "times too large",
    rules: &["powers and match"],
    plant: |season, size, rng| scale(season, rng, "forward_power", size),
};

/// Two powers on each other's line.
pub const SWAPPED_POWERS: Fault = Fault {
    name: "forward and reflected power swapped",
    sizes: &[1.0],
    unit: "mounting",
    rules: &["powers and match"],
    plant: |season, _, rng| {
        let at = pick(season, rng, |r| r.quantity == "reflected_power");
        // they stand on neighbouring lines
        let (forward, reflected) = (season.readings[at - 1].value, season.readings[at].value);
        (season.readings[at - 1].value, season.readings[at].value) = (reflected, forward);
        vec![at - 1, at]
    },
};

/// All readings of one later mounting of a quantity, each changed by `change`.
fn mounting(season: &mut Simulated, rng: &mut Stream, quantity: &str, change: impl Fn(f64) -> f64) -> Vec<usize> {
    let at = pick(season, rng, |r| r.quantity == quantity && r.mounting == 2);
    let one = season.readings[at].clone();
    let same = |r: &Reading| {
        (r.session, r.antenna, r.band, r.mounting, r.quantity)
            == (one.session, one.antenna, one.band, one.mounting, one.quantity)
    };
    let rows: Vec<usize> = (0..season.readings.len()).filter(|&i| same(&season.readings[i])).collect();
    rows.iter().for_each(|&i| season.readings[i].value = change(season.readings[i].value));
    rows
}

/// A loose connector that neither match nor power shows.
pub const FIELD_STEP: Fault = Fault {
    name: "field strength of one mounting low",
    sizes: &[1.0, 2.0, 3.0, 4.0, 6.0],
    unit: "dB",
    rules: &["field step"],
    plant: |season, size, rng| mounting(season, rng, "field_strength", |v| v - size),
};

/// A power that falls though its battery does not.
pub const POWER_STEP: Fault = Fault {
    name: "power of one mounting low, battery steady",
    sizes: &[0.3, 0.5, 1.0, 2.0, 3.0],
    unit: "dB",
    rules: &["power and battery"],
    plant: |season, size, rng| mounting(season, rng, "forward_power", |v| v * 10f64.powf(-size / 10.0)),
};

/// A battery voltage of one row.
pub const VOLTAGE: Fault = Fault {
    name: "battery voltage mistyped",
    sizes: &[0.1, 0.5, 1.5, 10.0],
    unit: "times the true one",
    rules: &["power and battery"],
    plant: |season, size, rng| {
        let at = rng.random_range(0..season.readings.len());
        season.readings[at].battery *= size;
        vec![at]
    },
};

/// A broken antenna.
pub const WEAK_ANTENNA: Fault = Fault {
    name: "a broken antenna's field strength low",
    sizes: &[8.0, 12.0, 16.0, 20.0],
    unit: "dB, all season",
    rules: &["implausible gain"],
    plant: |season, size, _| {
        let own = |r: &Reading| r.antenna == 1 && r.quantity == "field_strength";
        let rows: Vec<usize> = (0..season.readings.len()).filter(|&i| own(&season.readings[i])).collect();
        rows.iter().for_each(|&i| season.readings[i].value -= size);
        rows
    },
};

/// A power in another unit.
pub const MILLIWATTS: Fault = Fault {
    name: "a power's point or unit slipped",
    sizes: &[0.001, 0.01, 0.1, 10.0, 100.0, 1000.0],
    unit: "times the true one",
    rules: &["power of a hand-held", "typing slip", "outlier", "powers and match"],
    plant: |season, size, rng| {
        let rows = scale(season, rng, "forward_power", size);
        season.readings[rows[0]].decimals += if size < 1.0 { 3 } else { 0 };
        rows
    },
};

/// A display of fewer digits than declared.
pub const COARSE: Fault = Fault {
    name: "a display read coarser than declared",
    sizes: &[2.0, 5.0, 10.0],
    unit: "times the last digit",
    rules: &["declared digit"],
    plant: |season, size, _| {
        let own = |r: &Reading| r.meter == "inline" && r.quantity == "swr" && r.band == 0;
        let rows: Vec<usize> = (0..season.readings.len()).filter(|&i| own(&season.readings[i])).collect();
        let step = size * 0.01;
        rows.iter().for_each(|&i| season.readings[i].value = (season.readings[i].value / step).round() * step);
        rows
    },
};

/// A meter calibrated afresh, with another load.
pub const SHIFTED: Fault = Fault {
    name: "an analyzer's |Γ| higher from a session on",
    sizes: &[0.01, 0.02, 0.03, 0.05, 0.1],
    unit: "|Γ|",
    rules: &["meter shifted"],
    plant: |season, size, rng| {
        let from = rng.random_range(2..season.design.sessions - 1);
        let own = |r: &Reading| r.session >= from && r.meter == "analyzer" && r.quantity == "swr";
        let rows: Vec<usize> = (0..season.readings.len()).filter(|&i| own(&season.readings[i])).collect();
        for &i in &rows {
            let rho = (season.readings[i].value - 1.0) / (season.readings[i].value + 1.0) + size;
            season.readings[i].value = (1.0 + rho) / (1.0 - rho);
        }
        // the impedances of those moments go with it in life; here only the SWR is looked at
        let other = |r: &Reading| r.meter == "analyzer" && r.quantity != "swr";
        let keep: Vec<bool> = season.readings.iter().map(|r| !other(r)).collect();
        let mut place = vec![0; keep.len()];
        let mut kept = 0;
        for (i, &k) in keep.iter().enumerate() {
            place[i] = kept;
            kept += usize::from(k);
        }
        let mut at = 0;
        season.readings.retain(|_| {
            at += 1;
            keep[at - 1]
        });
        rows.into_iter().map(|i| place[i]).collect()
    },
};
