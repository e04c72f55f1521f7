//! From the analysis scale back to the unit that was read.

use super::result::Range;
use crate::radio::quantity::{Quantity, Scale};

/// A difference on the analysis scale as a difference in the quantity's unit, about the pair's middle.
///
/// It has the sign of the difference and is zero with it, so that the two scales never contradict
/// each other about which is better or whether they are apart.
pub fn difference(scale: Scale, middle: f64, difference: f64) -> f64 {
    scale.to_shown(middle + difference / 2.0) - scale.to_shown(middle - difference / 2.0)
}

/// Both ends of an estimate's range in the quantity's unit, lower end first.
pub fn range(scale: Scale, range: Range) -> Range {
    let (a, b) = (scale.to_shown(range.low), scale.to_shown(range.high));
    Range { low: a.min(b), high: a.max(b) }
}

/// Both ends of a difference's range in the quantity's unit, lower end first.
pub fn range_of_difference(scale: Scale, middle: f64, range: Range) -> Range {
    let (a, b) = (difference(scale, middle, range.low), difference(scale, middle, range.high));
    Range { low: a.min(b), high: a.max(b) }
}

/// Whether a quantity's results are shown in another unit than they are analysed in.
pub fn is_transformed(scale: Scale) -> bool {
    !matches!(scale, Scale::AsRead | Scale::Ordinal)
}

/// The smallest difference that matters, moved to the analysis scale for a pair about `middle` whose
/// interval has half-width `half`: in SWR for SWR and in dB for return loss, where it is taken at the
/// end of the interval at which the least |Γ| makes that difference; else as it is.
pub fn matters_on_scale(quantity: &Quantity, matters: f64, middle: f64, half: f64) -> f64 {
    match quantity.scale {
        Scale::ReflectionFromSwr => {
            // solves S(ρ + Δ/2) − S(ρ − Δ/2) = M, that is 2Δ = M·((1 − ρ)² − Δ²/4)
            let gap = 1.0 - (middle + half / 2.0).clamp(0.0, 0.999);
            let m = matters;
            2.0 / m * ((4.0 + m * m * gap * gap).sqrt() - 2.0)
        }
        Scale::ReflectionFromReturnLoss => {
            let ratio = 10f64.powf(matters / 20.0);
            2.0 * (middle - half / 2.0).max(0.0) * (ratio - 1.0) / (ratio + 1.0)
        }
        _ => matters,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radio::quantity::built_in;

    #[test]
    fn the_size_that_matters_in_swr_makes_that_difference_in_swr() {
        let swr = built_in("swr").unwrap();
        let delta = matters_on_scale(&swr, 0.3, 0.2, 0.0);
        assert!((difference(swr.scale, 0.2, delta) - 0.3).abs() < 1e-12);
        assert!(matters_on_scale(&swr, 0.3, 0.2, 0.1) < delta, "a wide interval is judged at its worse end");
    }

    #[test]
    fn the_size_that_matters_in_return_loss_makes_that_difference_in_db() {
        let loss = built_in("return_loss").unwrap();
        let delta = matters_on_scale(&loss, 2.0, 0.2, 0.0);
        assert!((difference(loss.scale, 0.2, delta).abs() - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_difference_of_nothing_is_shown_as_nothing() {
        let swr = built_in("swr").unwrap();
        assert_eq!(difference(swr.scale, 0.3, 0.0), 0.0);
        assert!(difference(swr.scale, 0.3, -0.05) < 0.0);
    }
}
