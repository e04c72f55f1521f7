//! The quantities a bench log holds, the unit each is kept in, and the scale it is analysed on.
//!
//! Every value is stored once, in the quantity's own unit (SWR as 1, power in W, …), moved to the
//! analysis scale for the statistics, and moved back only to be shown.

use crate::radio::reflection;

/// The scale a quantity's errors are closest to additive on, and is therefore analysed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum Scale {
    /// As read.
    AsRead,
    /// The modulus of the reflection coefficient, |Γ|, from an SWR.
    ReflectionFromSwr,
    /// The modulus of the reflection coefficient, |Γ|, from a return loss in dB.
    ReflectionFromReturnLoss,
    /// 10·log10 of a power.
    PowerDecibel,
    /// 20·log10 of an amplitude, here an impedance's modulus.
    AmplitudeDecibel,
    /// Ordered grades: never averaged.
    Ordinal,
}

/// Which end of a quantity the practitioner wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Better {
    /// A larger value is better.
    Higher,
    /// A smaller value is better.
    Lower,
    /// Neither end is better by itself; no ranking is made.
    Neither,
}

/// One quantity: its name in the log, the unit it is kept in, its scale, and which end is better.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// Name as written in the `quantity` column.
    pub name: String,
    /// The unit values are kept in and shown in.
    pub unit: String,
    /// The analysis scale.
    pub scale: Scale,
    /// Which end is better, as shown (return loss: higher).
    pub better: Better,
}

/// A quantity's name as one says it: "SWR", "field strength", "lowest SWR frequency".
pub fn in_words(name: &str) -> String {
    let words: Vec<&str> = name.split('_').map(|word| if word == "swr" { "SWR" } else { word }).collect();
    words.join(" ")
}

/// The built-in quantities: name, unit, scale, which end is better.
const BUILT_IN: [(&str, &str, Scale, Better); 12] = [
    ("swr", "1", Scale::ReflectionFromSwr, Better::Lower),
    ("reflection", "1", Scale::AsRead, Better::Lower),
    ("return_loss", "dB", Scale::ReflectionFromReturnLoss, Better::Higher),
    ("forward_power", "W", Scale::PowerDecibel, Better::Higher),
    ("reflected_power", "W", Scale::PowerDecibel, Better::Lower),
    ("impedance", "ohm", Scale::AmplitudeDecibel, Better::Neither),
    ("resistance", "ohm", Scale::AsRead, Better::Neither),
    ("reactance", "ohm", Scale::AsRead, Better::Neither),
    ("field_strength", "dB", Scale::AsRead, Better::Higher),
    ("readability", "grade", Scale::Ordinal, Better::Higher),
    ("lowest_swr_frequency", "MHz", Scale::AsRead, Better::Neither),
    ("bandwidth", "MHz", Scale::AsRead, Better::Higher),
];

/// Names of the built-in quantities, in the documented order.
pub fn built_in_names() -> impl Iterator<Item = &'static str> {
    BUILT_IN.iter().map(|q| q.0)
}

/// The built-in quantity of that name, if there is one.
pub fn built_in(name: &str) -> Option<Quantity> {
    BUILT_IN.iter().find(|q| q.0 == name).map(|&(name, unit, scale, better)| Quantity {
        name: name.into(),
        unit: unit.into(),
        scale,
        better,
    })
}

/// The largest size a value may have on its analysis scale: beyond any instrument, and far below where
/// sums of squares would overflow.
pub const LARGEST: f64 = 1e12;

impl Scale {
    /// Moves a value from the quantity's unit to the analysis scale.
    ///
    /// `None` where the value has no place there (an SWR below 1, a power that is not positive, a
    /// number beyond [`LARGEST`]).
    pub fn to_analysis(self, value: f64) -> Option<f64> {
        let y = match self {
            Scale::AsRead | Scale::Ordinal => value,
            Scale::ReflectionFromSwr if value >= 1.0 => reflection::from_swr(value),
            Scale::ReflectionFromReturnLoss => reflection::from_return_loss_db(value),
            Scale::PowerDecibel if value > 0.0 => 10.0 * value.log10(),
            Scale::AmplitudeDecibel if value > 0.0 => 20.0 * value.log10(),
            _ => return None,
        };
        (y.abs() <= LARGEST).then_some(y)
    }

    /// Moves a value from the analysis scale back to the quantity's unit.
    ///
    /// |Γ| is clamped to [0, 1) first: a corrected or averaged |Γ| may leave it.
    pub fn to_shown(self, y: f64) -> f64 {
        match self {
            Scale::AsRead | Scale::Ordinal => y,
            Scale::ReflectionFromSwr => reflection::to_swr(y.clamp(0.0, reflection::LARGEST)),
            Scale::ReflectionFromReturnLoss => reflection::to_return_loss_db(y.clamp(1e-6, reflection::LARGEST)),
            Scale::PowerDecibel => 10f64.powf(y / 10.0),
            Scale::AmplitudeDecibel => 10f64.powf(y / 20.0),
        }
    }

    /// Size of the derivative of the analysis value by the shown value, at analysis value `y`:
    /// turns a small width in the shown unit into one on the analysis scale.
    pub fn slope_at(self, y: f64) -> f64 {
        let x = self.to_shown(y);
        match self {
            Scale::AsRead | Scale::Ordinal => 1.0,
            Scale::ReflectionFromSwr => 2.0 / ((x + 1.0) * (x + 1.0)),
            Scale::ReflectionFromReturnLoss => y.abs() * std::f64::consts::LN_10 / 20.0,
            Scale::PowerDecibel => 10.0 / (std::f64::consts::LN_10 * x),
            Scale::AmplitudeDecibel => 20.0 / (std::f64::consts::LN_10 * x),
        }
    }

    /// Whether the analysis scale is |Γ|.
    pub fn is_reflection(self) -> bool {
        matches!(self, Scale::ReflectionFromSwr | Scale::ReflectionFromReturnLoss)
    }

    /// Name of the scale in JSON and in tables.
    pub fn name(self, unit: &str) -> String {
        match self {
            Scale::AsRead | Scale::Ordinal => unit.to_string(),
            Scale::ReflectionFromSwr | Scale::ReflectionFromReturnLoss => "|Γ|".to_string(),
            Scale::PowerDecibel | Scale::AmplitudeDecibel => "dB".to_string(),
        }
    }
}

impl Quantity {
    /// Whether the quantity is a reflection under any of its three names, so that line loss and
    /// directivity apply to it.
    pub fn is_reflection(&self) -> bool {
        self.scale.is_reflection() || self.name == "reflection"
    }

    /// Which end is better on the analysis scale (return loss turns over: less |Γ| is better).
    pub fn better_on_scale(&self) -> Better {
        match (self.scale, self.better) {
            (Scale::ReflectionFromReturnLoss, Better::Higher) => Better::Lower,
            (Scale::ReflectionFromReturnLoss, Better::Lower) => Better::Higher,
            (_, better) => better,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_said_with_swr_in_capitals_wherever_it_stands() {
        let said = ["swr", "field_strength", "lowest_swr_frequency"].map(in_words);
        assert_eq!(said, ["SWR", "field strength", "lowest SWR frequency"]);
    }

    #[test]
    fn every_scale_returns_the_value_it_was_given() {
        for (name, value) in
            [("swr", 1.7), ("return_loss", 14.0), ("forward_power", 4.2), ("impedance", 63.0), ("field_strength", -3.2)]
        {
            let q = built_in(name).unwrap();
            let y = q.scale.to_analysis(value).unwrap();
            assert!((q.scale.to_shown(y) - value).abs() < 1e-12 * value.abs(), "{name}");
            let step = 1e-6;
            let slope = (q.scale.to_analysis(value + step).unwrap() - q.scale.to_analysis(value - step).unwrap())
                / (2.0 * step);
            assert!((q.scale.slope_at(y) - slope.abs()).abs() < 1e-6, "{name}");
        }
    }

    #[test]
    fn impossible_values_have_no_place_on_the_scale() {
        assert_eq!(built_in("swr").unwrap().scale.to_analysis(0.9), None);
        assert_eq!(built_in("forward_power").unwrap().scale.to_analysis(0.0), None);
        assert_eq!(built_in("field_strength").unwrap().scale.to_analysis(f64::NAN), None);
    }
}
