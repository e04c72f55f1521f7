//! Reflection at one port: |Γ|, SWR, return loss, mismatch loss, a lossy line, a coupler's directivity.
//!
//! Symbols: Γ the reflection coefficient (complex), |Γ| its modulus (1), S the standing-wave ratio (1),
//! L a one-way loss (dB), D a directivity (dB), d = 10^(−D/20).
//!
//! Source of the formulas: transmission-line theory as in any handbook of radio engineering, e.g.
//! D. M. Pozar, *Microwave Engineering*, 4th ed. (2012), sections 2.3 and 7.6 (from memory).

/// The largest |Γ| that is turned back into an SWR: SWR 20 000, beyond any instrument.
pub const LARGEST: f64 = 0.9999;

/// |Γ| = (S − 1)/(S + 1) of a standing-wave ratio S ≥ 1; an infinite S gives 1.
pub fn from_swr(s: f64) -> f64 {
    if s.is_infinite() { 1.0 } else { (s - 1.0) / (s + 1.0) }
}

/// S = (1 + |Γ|)/(1 − |Γ|) for 0 ≤ |Γ| < 1.
pub fn to_swr(rho: f64) -> f64 {
    (1.0 + rho) / (1.0 - rho)
}

/// |Γ| = 10^(−RL/20) of a return loss RL in dB.
pub fn from_return_loss_db(return_loss: f64) -> f64 {
    10f64.powf(-return_loss / 20.0)
}

/// RL = −20·log10|Γ|, in dB.
pub fn to_return_loss_db(rho: f64) -> f64 {
    -20.0 * rho.log10()
}

/// Mismatch loss −10·log10(1 − |Γ|²), in dB.
pub fn mismatch_loss_db(rho: f64) -> f64 {
    -10.0 * (1.0 - rho * rho).log10()
}

/// The factor 10^(2L/20) that takes |Γ| at a meter to |Γ| at the antenna through a matched line of
/// one-way loss L dB: the wave crosses the line twice.
pub fn line_correction(loss_db: f64) -> f64 {
    10f64.powf(2.0 * loss_db / 20.0)
}

/// d = 10^(−D/20): the false wave a coupler of directivity D dB adds to the reflected one.
pub fn directivity_error(directivity_db: f64) -> f64 {
    10f64.powf(-directivity_db / 20.0)
}

/// |a + b·e^jφ|: the modulus of two waves added at relative phase φ (radian).
pub fn vector_sum(a: f64, b: f64, phase: f64) -> f64 {
    (a * a + b * b + 2.0 * a * b * phase.cos()).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() <= tolerance * b.abs().max(1.0), "{a} against {b}");
    }

    /// Closed forms, worked by hand: S = 2 gives |Γ| = 1/3, RL = 20·log10 3, ML = 10·log10(9/8).
    #[test]
    fn swr_of_two_is_a_third_of_the_voltage() {
        close(from_swr(2.0), 1.0 / 3.0, 1e-15);
        close(to_return_loss_db(from_swr(2.0)), 9.542_425_094, 1e-9);
        close(mismatch_loss_db(from_swr(2.0)), 0.511_525_224, 1e-9);
        close(mismatch_loss_db(from_swr(1.5)), 0.177_287_670, 1e-9);
        close(to_swr(from_return_loss_db(to_return_loss_db(0.37))), to_swr(0.37), 1e-14);
    }

    #[test]
    fn a_lossy_line_hides_reflection_from_the_meter() {
        // S = 2 through 1 dB reads 1.72026; S = 3 through 3 dB reads 1.66878 (closed form).
        close(to_swr(from_swr(2.0) / line_correction(1.0)), 1.720_26, 1e-5);
        close(to_swr(from_swr(3.0) / line_correction(3.0)), 1.668_78, 1e-5);
    }

    #[test]
    fn near_a_match_a_coupler_reads_high_at_every_phase() {
        let d = directivity_error(20.0);
        close(d, 0.1, 1e-15);
        let rho = from_swr(1.02);
        for step in 0..360 {
            assert!(vector_sum(rho, d, f64::from(step).to_radians()) > rho);
        }
        close(vector_sum(0.3, 0.1, 0.0), 0.4, 1e-15);
        close(vector_sum(0.3, 0.1, std::f64::consts::PI), 0.2, 1e-12);
    }
}
