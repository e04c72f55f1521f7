//! What display rounding leaves in a mean.

/// Standard deviation of what display rounding leaves in the mean of many readings, for a display of
/// last digit `step` and readings that scatter with standard deviation `scatter`.
///
/// Rounding a steady value errs by up to half a digit however often it is read; scatter of about half
/// a digit or more averages that out. With normal scatter σ and a value anywhere between two digits,
///
/// ```text
/// u² = Σ_k step²/(2π²k²)·exp(−4π²k²σ²/step²),   k = 1, 2, …   (σ = 0: step²/12)
/// ```
///
/// # Source
/// Widrow & Kollár, *Quantization Noise* (2008), chapter 4: the Fourier series of the quantizer's mean
/// error (from memory).
pub fn rounding_bias(step: f64, scatter: f64) -> f64 {
    use std::f64::consts::PI;
    if !(step > 0.0) {
        return 0.0;
    }
    let ratio = scatter / step;
    if ratio < 1e-4 {
        return step / 12f64.sqrt();
    }
    let sum: f64 = (1..=20_000)
        .map(|k| {
            let x = PI * f64::from(k);
            (1.0 / (2.0 * x * x)) * (-4.0 * x * x * ratio * ratio).exp()
        })
        .take_while(|term| *term > 1e-18)
        .sum();
    step * sum.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_of_a_steady_reading_does_not_average_out_and_of_a_scattered_one_does() {
        assert!((rounding_bias(0.01, 0.0) - 0.01 / 12f64.sqrt()).abs() < 1e-15);
        assert!((rounding_bias(1.0, 1e-3) - 1.0 / 12f64.sqrt()).abs() < 2e-3);
        assert!(rounding_bias(1.0, 0.5) < 0.002);
        assert!(rounding_bias(1.0, 0.2) > rounding_bias(1.0, 0.3));
        assert_eq!(rounding_bias(0.0, 1.0), 0.0);
    }

    /// Direct check: the mean error of a rounded value with normal scatter, by numerical integration.
    #[test]
    fn the_rounding_series_is_the_root_mean_square_of_the_mean_error() {
        let sigma = 0.25;
        let (mut square, steps) = (0.0, 400);
        for i in 0..steps {
            let value = f64::from(i) / f64::from(steps);
            let (mut mean, mut weight) = (0.0, 0.0);
            for j in -4000..=4000 {
                let z = f64::from(j) * 6.0 / 4000.0;
                let density = (-z * z / 2.0).exp();
                mean += density * ((value + sigma * z).round() - value);
                weight += density;
            }
            square += (mean / weight).powi(2) / f64::from(steps);
        }
        assert!(
            (rounding_bias(1.0, sigma) - square.sqrt()).abs() < 2e-3,
            "{} {}",
            rounding_bias(1.0, sigma),
            square.sqrt()
        );
    }
}
