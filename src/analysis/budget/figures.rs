//! Numbers as sentences and tables need them.

/// A share in percent, to two digits; never 0 % of what there is some of.
pub fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    match percent {
        p if p < 0.001 => "less than 0.001 %".into(),
        p if p < 0.01 => format!("{p:.4} %"),
        p if p < 0.1 => format!("{p:.3} %"),
        p if p < 1.0 => format!("{p:.2} %"),
        p if p < 10.0 => format!("{p:.1} %"),
        p => format!("{p:.0} %"),
    }
}

/// A value to four significant digits.
pub fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = 3 - value.abs().log10().floor() as i32;
    match decimals {
        d if (0..=12).contains(&d) => format!("{value:.0$}", d as usize),
        d if (-6..0).contains(&d) => format!("{value:.0}"),
        _ => format!("{value:.3e}"),
    }
    .replace('-', "−")
}

/// A value to the place (a power of ten) that its uncertainty is written to; to four significant digits where that is 0.
pub fn rounded(value: f64, place: f64) -> String {
    if !(place > 0.0) || !value.is_finite() {
        return short(value);
    }
    let power = place.log10().round() as i32;
    let steps = (value / place).round();
    let minus = if steps < 0.0 { "−" } else { "" };
    if (-12..=5).contains(&power) {
        let decimals = (-power).max(0) as usize;
        return format!("{minus}{:.decimals$}", (steps * place).abs());
    }
    // as many digits as reach down to the place
    let digits = (steps.abs().log10().floor().max(0.0)) as usize;
    format!("{minus}{:.digits$e}", (steps * place).abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_written_to_the_place_of_their_uncertainty() {
        assert_eq!(rounded(50.000_838_4, 1e-6), "50.000838");
        assert_eq!(rounded(-0.04, 0.1), "0.0");
        assert_eq!(rounded(-1.26, 0.1), "−1.3");
        assert_eq!(rounded(12_345.0, 10.0), "12350");
        assert_eq!(rounded(1.234_56e-15, 1e-18), "1.235e-15");
        assert_eq!(rounded(1.5, 0.0), "1.500");
    }

    #[test]
    fn short_values_have_four_digits_and_shares_never_vanish() {
        assert_eq!(
            (short(0.012_345), short(123_456.0), short(-1.0), short(0.0)),
            ("0.01235".into(), "123456".into(), "−1.000".into(), "0".into())
        );
        assert_eq!((short(1.5e-9), short(1.5e-12)), ("0.000000001500".into(), "1.500e−12".into()));
        assert_eq!(
            (percent(1e-9), percent(0.0031), percent(0.0712), percent(0.4)),
            ("less than 0.001 %".into(), "0.31 %".into(), "7.1 %".into(), "40 %".into())
        );
    }
}
