//! Numbers as a person writes them: to the digits their uncertainty supports.

use crate::analysis::antennas::intervals::last_digit;

/// A value to the decimals of `digit` (a power of ten), a minus sign where one is due, never "-0".
pub fn to_digit(value: f64, digit: f64) -> String {
    if !value.is_finite() {
        return if value > 0.0 { "∞".into() } else { "−∞".into() };
    }
    let decimals = (-digit.log10().round()).clamp(0.0, 12.0) as usize;
    let rounded = (value / digit).round() * digit;
    // a value no instrument shows came from a wrong file: its size is all there is to say
    let text =
        if rounded.abs() < 1e12 { format!("{:.decimals$}", rounded.abs()) } else { format!("{:.1e}", rounded.abs()) };
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if rounded < 0.0 && !zero { format!("−{text}") } else { text }
}

/// The same with a plus sign before what is above zero.
pub fn signed(value: f64, digit: f64) -> String {
    let text = to_digit(value, digit);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// "4.0 ± 1.3", signed.
pub fn plus_minus(value: f64, half: f64) -> String {
    plus_minus_to(value, half, last_digit(half))
}

/// The same to a digit of the caller's.
pub fn plus_minus_to(value: f64, half: f64, digit: f64) -> String {
    format!("{} ± {}", signed(value, digit), to_digit(half, digit))
}

/// A confidence in percent, to the digits it needs: "95 %", "99.9 %", "99.997 %"; never "100 %" for less.
pub fn percent(share: f64) -> String {
    let rest = 1.0 - share;
    if rest > 0.0 && rest < 0.001 {
        // to the first digit of what is missing, which is not made smaller
        let decimals = (-(rest * 100.0).log10().floor()).clamp(1.0, 12.0) as i32;
        let unit = 10f64.powi(-decimals);
        let missing = (rest * 100.0 / unit - 1e-6).ceil() * unit;
        return format!("{:.*} %", decimals as usize, 100.0 - missing);
    }
    let tenths = (share * 1000.0).round() / 10.0;
    if tenths.fract() == 0.0 { format!("{tenths:.0} %") } else { format!("{tenths:.1} %") }
}

/// A chance that is an upper limit, in percent: as [`percent`], with the digits that a small one needs.
pub fn percent_at_most(p: f64) -> String {
    if p >= 0.01 { percent(p) } else { format!("{} %", to_digit(p * 100.0, 0.01)) }
}

/// A p-value: three decimals, two digits below a hundredth, "< 0.001" below that.
pub fn p_value(p: f64) -> String {
    if p < 0.001 {
        "< 0.001".into()
    } else if p < 0.01 {
        format!("{p:.3}")
    } else {
        format!("{p:.2}")
    }
}

/// A share to the nearest twentieth, as replays settle it: "70 %", "< 5 %", "> 95 %".
pub fn share(share: f64) -> String {
    let twentieths = (share * 20.0).round() * 5.0;
    match twentieths {
        t if t < 5.0 => "< 5 %".into(),
        t if t > 95.0 => "> 95 %".into(),
        t => format!("{t:.0} %"),
    }
}

/// A probability to the nearest percent: "97 %", "< 1 %", "> 99 %".
pub fn chance(p: f64) -> String {
    match p {
        p if p < 0.01 => "< 1 %".into(),
        p if p > 0.99 => "> 99 %".into(),
        p => format!("{:.0} %", p * 100.0),
    }
}

/// A probability and the half-width of its interval, in percent: "62 ± 4 %"; a limit where the interval reaches none or
/// all: "< 3 %", "> 97 %".
pub fn chance_within(p: f64, half: f64) -> String {
    let (low, high) = (p - half, p + half);
    if low < 0.005 {
        format!("< {:.0} %", (high * 100.0).ceil().min(100.0))
    } else if high > 0.995 {
        format!("> {:.0} %", (low * 100.0).floor().max(0.0))
    } else {
        format!("{:.0} ± {:.0} %", p * 100.0, (half * 100.0).ceil())
    }
}

/// The same as the most it may be: "4 %", "1 %" for less than that, "100 %" for nearly all.
pub fn chance_at_most(p: f64) -> String {
    format!("{:.0} %", (p * 100.0).ceil().clamp(1.0, 100.0))
}

/// A whole number with thin groups of three: "3,527".
pub fn count(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out
}

/// "1 pair", "2 pairs".
pub fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{} {}", count(n), if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_rounded_to_their_uncertainty() {
        assert_eq!(plus_minus(4.0312, 1.31), "+4.0 ± 1.3");
        assert_eq!(plus_minus(-0.0312, 0.52), "0.0 ± 0.5");
        assert_eq!(plus_minus(-12.34, 0.29), "−12.34 ± 0.29");
        assert_eq!((percent(0.95), percent(0.999), percent(0.05)), ("95 %".into(), "99.9 %".into(), "5 %".into()));
        let sharp = [0.9995, 0.99997, 0.999_968_75, 1.0 - 3.7e-7, 1.0].map(percent);
        assert_eq!(sharp, ["99.95 %", "99.997 %", "99.996 %", "99.99996 %", "100 %"]);
        assert_eq!(plus_minus(1234.0, 240.0), "+1230 ± 240");
    }

    #[test]
    fn counts_shares_and_p_values_read_as_written_by_hand() {
        assert_eq!(count(3527), "3,527");
        assert_eq!(count(527), "527");
        assert_eq!(share(0.72), "70 %");
        assert_eq!(share(0.01), "< 5 %");
        assert_eq!(share(0.999), "> 95 %");
        assert_eq!(
            ["< 1 %", "3 %", "> 99 %"],
            [chance(0.004), chance(0.029), chance(0.9999)].each_ref().map(|s| s.as_str())
        );
        assert_eq!([chance_at_most(0.0), chance_at_most(0.031), chance_at_most(0.995)], ["1 %", "4 %", "100 %"]);
        assert_eq!(
            [chance_within(0.62, 0.034), chance_within(0.01, 0.02), chance_within(0.99, 0.02), chance_within(0.5, 0.6)],
            ["62 ± 4 %", "< 3 %", "> 97 %", "< 100 %"]
        );
        assert_eq!(p_value(0.00021), "< 0.001");
        assert_eq!(p_value(0.0042), "0.004");
        assert_eq!(p_value(0.42), "0.42");
        assert_eq!(plural(1, "pair", "pairs"), "1 pair");
    }
}
