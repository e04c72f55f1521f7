//! How large an antenna's |Z| may be, by what else was read of it on the band: what a false wave does to a resistance or a
//! reactance hangs on it.

use super::sets::Set;

/// The impedance that the trade's meters are made for, Ω.
const Z0: f64 = 50.0;

/// Gives the sets of resistances and reactances what other sets of their band say of |Z|.
pub fn attach(sets: &mut [Set]) {
    for s in 0..sets.len() {
        if ["resistance", "reactance"].contains(&sets[s].quantity.name.as_str()) {
            let moduli = sets[s].antennas.iter().map(|antenna| modulus(sets, &sets[s].band, antenna)).collect();
            sets[s].moduli = moduli;
        }
    }
}

/// The largest of: |Z| as read; resistance and reactance together; and, where neither is had, the largest |Z| of the
/// reflection read: Z0·(1 + |Γ|)/(1 − |Γ|), an SWR times Z0. 0 where nothing is.
fn modulus(sets: &[Set], band: &str, antenna: &str) -> f64 {
    let of = |name: &str| {
        let beside = sets.iter().filter(|s| s.band == band && s.quantity.name == name);
        beside.filter_map(|s| root_mean_square(s, antenna)).reduce(f64::max)
    };
    let both = of("resistance").zip(of("reactance")).map(|(r, x)| r.hypot(x));
    if let Some(known) = of("impedance").into_iter().chain(both).reduce(f64::max) {
        return known;
    }
    let reflections = sets.iter().filter(|s| s.band == band && s.quantity.is_reflection());
    let means = reflections.flat_map(|s| mountings(s, antenna).map(|y| y.clamp(0.0, LARGEST)).reduce(f64::max));
    means.reduce(f64::max).map_or(0.0, |gamma| Z0 * (1.0 + gamma) / (1.0 - gamma))
}

/// The largest |Γ| that still says how large |Z| may be: an SWR of 199.
const LARGEST: f64 = 0.99;

/// Root mean square of an antenna's mountings, in the quantity's unit: their signs don't cancel.
fn root_mean_square(set: &Set, antenna: &str) -> Option<f64> {
    let (sum, count) = mountings(set, antenna)
        .map(|y| set.quantity.scale.to_shown(y))
        .fold((0.0, 0.0), |(sum, count), value| (sum + value * value, count + 1.0));
    (count > 0.0).then(|| f64::sqrt(sum / count))
}

/// Means of an antenna's mountings, on the analysis scale: of a reflection, |Γ|.
fn mountings<'a>(set: &'a Set, antenna: &str) -> impl Iterator<Item = f64> + 'a {
    let at = set.antennas.iter().position(|a| a == antenna);
    set.mountings.iter().filter(move |m| Some(m.antenna) == at).map(|m| m.mean)
}
