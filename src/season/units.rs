//! Units as a log writes them, and their way to the unit a quantity is kept in.
//!
//! A value travels through its family's base unit (W, Ω, dB, 1): written unit → base → the
//! quantity's own unit. A power in dBm or dBW is not proportional to watts, so a standard deviation
//! travels by the slope of that way at the mean: sd(W) = |dW/ddB| · sd(dB).

use crate::radio::quantity::{Quantity, Scale};

/// How a written number becomes one in the family's base unit.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// Proportional: base = factor · written.
    Times(f64),
    /// Decibels over a power: base = reference · 10^(written/10).
    DecibelsOver(f64),
    /// |Γ|, to the SWR (1 + |Γ|)/(1 − |Γ|).
    ReflectionToSwr,
    /// |Γ|, to the return loss −20·log10 |Γ|.
    ReflectionToReturnLoss,
}

/// A family of units that turn into one another, its base unit first.
type Family = &'static [(&'static [&'static str], Way)];

const RATIO: Family =
    &[(&["1", "swr", "vswr", ":1", "x:1"], Way::Times(1.0)), (&["|Γ|", "gamma"], Way::ReflectionToSwr)];
const RETURN_LOSS: Family = &[(&["dB"], Way::Times(1.0)), (&["|Γ|", "gamma"], Way::ReflectionToReturnLoss)];
const REFLECTION: Family = &[(&["1"], Way::Times(1.0)), (&["%", "percent"], Way::Times(0.01))];
const NUMBER: Family = &[(&["1"], Way::Times(1.0))];
const DECIBEL: Family = &[(&["dB"], Way::Times(1.0))];
const GRADE: Family = &[(&["grade", "grades", "R", "Q", "1"], Way::Times(1.0))];
const POWER: Family = &[
    (&["W", "watt", "watts"], Way::Times(1.0)),
    (&["mW"], Way::Times(1e-3)),
    (&["kW"], Way::Times(1e3)),
    (&["uW"], Way::Times(1e-6)),
    (&["dBm"], Way::DecibelsOver(1e-3)),
    (&["dBW"], Way::DecibelsOver(1.0)),
];
const RESISTANCE: Family = &[
    (&["ohm", "ohms"], Way::Times(1.0)),
    (&["kohm", "kohms"], Way::Times(1e3)),
    (&["mohm", "mohms"], Way::Times(1e-3)),
];

const FREQUENCY: Family = &[
    (&["MHz"], Way::Times(1.0)),
    (&["kHz"], Way::Times(1e-3)),
    (&["GHz"], Way::Times(1e3)),
    (&["Hz"], Way::Times(1e-6)),
];

impl Way {
    fn to_base(self, written: f64) -> f64 {
        match self {
            Way::Times(factor) => written * factor,
            Way::DecibelsOver(reference) => reference * 10f64.powf(written / 10.0),
            Way::ReflectionToSwr => (1.0 + written) / (1.0 - written),
            Way::ReflectionToReturnLoss => -20.0 * written.log10(),
        }
    }

    fn to_written(self, base: f64) -> f64 {
        match self {
            Way::Times(factor) => base / factor,
            Way::DecibelsOver(reference) => 10.0 * (base / reference).log10(),
            Way::ReflectionToSwr => (base - 1.0) / (base + 1.0),
            Way::ReflectionToReturnLoss => 10f64.powf(-base / 20.0),
        }
    }

    /// d base / d written, at the written value.
    fn slope(self, written: f64) -> f64 {
        match self {
            Way::Times(factor) => factor,
            Way::DecibelsOver(_) => self.to_base(written) * std::f64::consts::LN_10 / 10.0,
            Way::ReflectionToSwr => 2.0 / (1.0 - written).powi(2),
            Way::ReflectionToReturnLoss => -20.0 / (std::f64::consts::LN_10 * written),
        }
    }
}

/// The units that belong to a quantity; none for a declared quantity in a unit of its own.
fn family(quantity: &Quantity) -> Option<Family> {
    if quantity.scale == Scale::ReflectionFromSwr {
        return Some(RATIO);
    }
    if quantity.scale == Scale::ReflectionFromReturnLoss {
        return Some(RETURN_LOSS);
    }
    if quantity.name == "reflection" {
        return Some(REFLECTION);
    }
    [NUMBER, DECIBEL, GRADE, POWER, RESISTANCE, FREQUENCY]
        .into_iter()
        .find(|family| way_in(family, &quantity.unit).is_some())
}

fn way_in(family: Family, unit: &str) -> Option<Way> {
    family.iter().find(|(spellings, _)| spellings.iter().any(|s| same_spelling(unit, s))).map(|&(_, way)| way)
}

/// Whether a written unit is this spelling: letter case is free, but `M` (mega) is never `m` (milli).
fn same_spelling(written: &str, spelling: &str) -> bool {
    let plain = plain(written);
    plain.to_lowercase() == spelling.to_lowercase() && !(plain.starts_with('M') && spelling.starts_with('m'))
}

/// The unit with its signs spelled in plain letters: `kΩ` is `kohm`, `µW` is `uW`.
fn plain(written: &str) -> String {
    written.trim().replace(['Ω', '\u{2126}'], "ohm").replace(['µ', 'μ'], "u")
}

/// The ways of the written unit and of the quantity's own one; `None` where the unit doesn't belong.
fn ways(quantity: &Quantity, unit: &str) -> Option<(Way, Way)> {
    if unit.trim().is_empty() || plain(unit) == plain(&quantity.unit) {
        return Some((Way::Times(1.0), Way::Times(1.0)));
    }
    let family = family(quantity)?;
    Some((way_in(family, unit)?, way_in(family, &quantity.unit)?))
}

/// The way from a written unit to a quantity's own, looked up once for many values.
#[derive(Debug, Clone, Copy)]
pub struct Conversion {
    from: Way,
    to: Way,
}

impl Conversion {
    /// `None` where the unit doesn't belong to the quantity; an empty unit is the quantity's own.
    pub fn of(quantity: &Quantity, unit: &str) -> Option<Conversion> {
        ways(quantity, unit).map(|(from, to)| Conversion { from, to })
    }

    /// A value in the quantity's unit.
    pub fn value(self, written: f64) -> f64 {
        self.to.to_written(self.from.to_base(written))
    }

    /// A standard deviation in the quantity's unit, from one around a mean in the written unit.
    pub fn sd(self, written: f64, sd: f64) -> f64 {
        sd * (self.from.slope(written) / self.to.slope(self.value(written))).abs()
    }
}

/// A value in the quantity's unit, from one in a written unit; an empty unit is the quantity's own.
///
/// `None` where the unit doesn't belong to the quantity.
pub fn convert(quantity: &Quantity, value: f64, unit: &str) -> Option<f64> {
    Some(Conversion::of(quantity, unit)?.value(value))
}

/// A standard deviation in the quantity's unit, from one in a written unit around a mean `value` in
/// that same unit.
///
/// `None` where the unit doesn't belong to the quantity.
pub fn convert_sd(quantity: &Quantity, value: f64, sd: f64, unit: &str) -> Option<f64> {
    Some(Conversion::of(quantity, unit)?.sd(value, sd))
}

/// Whether two written units are the same one for this quantity; an empty unit is the quantity's own.
pub fn same_unit(quantity: &Quantity, a: &str, b: &str) -> bool {
    match (convert(quantity, 1.0, a), convert(quantity, 1.0, b)) {
        (Some(a), Some(b)) => a == b,
        _ => false,
    }
}

/// The units a value of this quantity may be written in, the quantity's own first.
pub fn known_units(quantity: &Quantity) -> Vec<&str> {
    let own = quantity.unit.as_str();
    let others = family(quantity).into_iter().flatten().map(|(spellings, _)| spellings[0]);
    std::iter::once(own).chain(others.filter(|unit| !same_spelling(own, unit))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radio::quantity::{Better, built_in};

    fn converted(quantity: &str, value: f64, unit: &str) -> Option<f64> {
        convert(&built_in(quantity).unwrap(), value, unit)
    }

    fn close(a: Option<f64>, b: f64) {
        let a = a.unwrap();
        assert!((a - b).abs() <= 1e-12 * b.abs(), "{a} against {b}");
    }

    #[test]
    fn powers_reach_watts_from_every_unit_of_power() {
        close(converted("forward_power", 4800.0, "mW"), 4.8);
        close(converted("forward_power", 0.005, "kW"), 5.0);
        close(converted("forward_power", 250.0, "µW"), 250e-6);
        close(converted("forward_power", 30.0, "dBm"), 1.0);
        close(converted("forward_power", 7.0, "dBW"), 10f64.powf(0.7));
        close(converted("forward_power", 5.0, " w "), 5.0);
        close(converted("forward_power", 5.0, ""), 5.0);
    }

    #[test]
    fn mega_is_never_taken_for_milli() {
        assert_eq!(converted("forward_power", 5.0, "MW"), None);
        assert_eq!(converted("impedance", 5.0, "MΩ"), None);
        close(converted("impedance", 5000.0, "mΩ"), 5.0);
    }

    #[test]
    fn impedances_reach_ohms_in_both_omegas_and_in_letters() {
        for unit in ["Ω", "\u{2126}", "ohm", "Ohms"] {
            close(converted("impedance", 52.0, unit), 52.0);
        }
        close(converted("reactance", -0.02, "kΩ"), -20.0);
        close(converted("resistance", 0.05, "kohm"), 50.0);
    }

    #[test]
    fn percent_belongs_to_a_reflection_and_not_to_an_swr() {
        close(converted("reflection", 20.0, "%"), 0.2);
        assert_eq!(converted("swr", 20.0, "%"), None);
        close(converted("swr", 1.5, ":1"), 1.5);
        assert_eq!(converted("swr", 1.5, "W"), None);
        assert_eq!(converted("field_strength", 1.5, "dBm"), None);
        close(converted("readability", 4.0, "grades"), 4.0);
    }

    #[test]
    fn an_sd_in_dbm_is_scaled_by_the_slope_at_the_mean() {
        let power = built_in("forward_power").unwrap();
        let step = 1e-6;
        let slope = (convert(&power, 37.0 + step, "dBm").unwrap() - convert(&power, 37.0 - step, "dBm").unwrap())
            / (2.0 * step);
        let sd = convert_sd(&power, 37.0, 0.2, "dBm").unwrap();
        assert!((sd - 0.2 * slope).abs() < 1e-6);
        close(convert_sd(&power, 4800.0, 100.0, "mW"), 0.1);
    }

    #[test]
    fn a_mean_of_reflections_is_a_value_of_swr_and_of_return_loss() {
        close(converted("swr", 0.2, "|Γ|"), 1.5);
        close(converted("swr", 0.0, "gamma"), 1.0);
        close(converted("return_loss", 0.1, "|Γ|"), 20.0);
        for name in ["swr", "return_loss"] {
            let (quantity, g, step) = (built_in(name).unwrap(), 0.3, 1e-6);
            let at = |g: f64| convert(&quantity, g, "|Γ|").unwrap();
            close(quantity.scale.to_analysis(at(g)), g);
            let slope = (at(g + step) - at(g - step)) / (2.0 * step);
            let sd = convert_sd(&quantity, g, 0.01, "|Γ|").unwrap();
            assert!((sd - 0.01 * slope.abs()).abs() < 1e-6 * sd, "{name}");
            // and back to the scale it was worked out on
            close(Some(sd * quantity.scale.slope_at(g)), 0.01);
        }
    }

    #[test]
    fn a_declared_quantity_takes_its_own_unit_and_that_units_family() {
        let declared =
            |unit: &str| Quantity { name: "x".into(), unit: unit.into(), scale: Scale::AsRead, better: Better::Higher };
        close(convert(&declared("dBm"), 1.0, "W"), 30.0);
        close(convert_sd(&declared("dBm"), 30.0, 0.5, "dBm"), 0.5);
        close(convert(&declared("V"), 1.5, "V"), 1.5);
        assert_eq!(convert(&declared("V"), 1.5, "mV"), None);
        assert_eq!(known_units(&declared("V")), ["V"]);
    }

    #[test]
    fn known_units_put_the_quantitys_own_first() {
        let power = built_in("forward_power").unwrap();
        assert_eq!(known_units(&power), ["W", "mW", "kW", "uW", "dBm", "dBW"]);
        assert_eq!(known_units(&built_in("swr").unwrap()), ["1", "|Γ|"]);
        assert!(same_unit(&power, "w", "W") && !same_unit(&power, "W", "mW"));
    }
}
