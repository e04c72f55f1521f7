//! Sine, cosine, logarithm and standard normals by the column, in loops without a branch, which the compiler makes of
//! the vector instructions that the machine at hand has. No operation is fused or reordered, so every machine gives the
//! same bits.
//!
//! The polynomials are those of the C mathematical library that Sun Microsystems published in 1993 (coefficients from
//! memory; the tests hold every function to the system's own).

use pulp::Arch;
use rand::Rng;

/// Pairs of normals made at once.
const STRIP: usize = 512;
/// Angles up to here are reduced by the three parts of π/2 below without loss; larger ones are left to the system.
const FAR: f64 = 1e5;
/// 1.5·2⁵²: added and taken away again, it rounds to a whole number, which its last bits hold in between.
const TO_WHOLE: f64 = 6_755_399_441_055_744.0;
/// π/2 in three parts, of 33 bits each but the last.
const QUARTER: [f64; 3] = [1.570_796_326_734_125_6, 6.077_100_506_303_966e-11, 2.022_266_248_795_950_6e-21];

/// sin(x), x in radian.
pub fn sine(x: &[f64], out: &mut [f64]) {
    if any(x, |x| !(x.abs() <= FAR)) {
        return out.iter_mut().zip(x).for_each(|(y, x)| *y = x.sin());
    }
    Arch::new().dispatch(
        #[inline(always)]
        || out.iter_mut().zip(x).for_each(|(y, x)| *y = quadrants(*x).0),
    );
}

/// cos(x), x in radian.
pub fn cosine(x: &[f64], out: &mut [f64]) {
    if any(x, |x| !(x.abs() <= FAR)) {
        return out.iter_mut().zip(x).for_each(|(y, x)| *y = x.cos());
    }
    Arch::new().dispatch(
        #[inline(always)]
        || out.iter_mut().zip(x).for_each(|(y, x)| *y = quadrants(*x).1),
    );
}

/// ln(x).
pub fn logarithm(x: &[f64], out: &mut [f64]) {
    if any(x, |x| !(f64::MIN_POSITIVE..f64::INFINITY).contains(&x)) {
        return out.iter_mut().zip(x).for_each(|(y, x)| *y = x.ln());
    }
    Arch::new().dispatch(
        #[inline(always)]
        || out.iter_mut().zip(x).for_each(|(y, x)| *y = ln(*x)),
    );
}

/// Fills with independent standard normals, two of every two numbers of the generator: √(−2·ln u) times the cosine and
/// the sine of 2πv. u is a multiple of 2⁻⁵² in (0, 1], so the largest has the size 8.49, which is passed once
/// in 10¹⁶.
///
/// # Source
/// Box & Muller (1958), Ann. Math. Stat. 29:610–611.
pub fn standard_normals(rng: &mut impl Rng, out: &mut [f64]) {
    let (mut bits, mut sines, mut cosines) = ([0u64; STRIP], [0.0; STRIP], [0.0; STRIP]);
    for strip in out.chunks_mut(2 * STRIP) {
        let pairs = strip.len().div_ceil(2);
        let (bits, sines, cosines) = (&mut bits[..pairs], &mut sines[..pairs], &mut cosines[..pairs]);
        bits.iter_mut().for_each(|b| *b = rng.next_u64());
        let radius = &mut *cosines;
        Arch::new().dispatch(
            #[inline(always)]
            || radius.iter_mut().zip(&*bits).for_each(|(r, b)| *r = (-2.0 * ln(2.0 - from_one(*b))).sqrt()),
        );
        bits.iter_mut().for_each(|b| *b = rng.next_u64());
        let (sine, cosine) = (&mut *sines, &mut *cosines);
        Arch::new().dispatch(
            #[inline(always)]
            || {
                for ((s, c), b) in sine.iter_mut().zip(cosine).zip(&*bits) {
                    let (radius, turned) = (*c, turns(from_one(*b) - 1.0));
                    (*s, *c) = (radius * turned.0, radius * turned.1);
                }
            },
        );
        strip[..pairs].copy_from_slice(cosines);
        let rest = strip.len() - pairs;
        strip[pairs..].copy_from_slice(&sines[..rest]);
    }
}

/// Whether any value is so; looks at all of them, which is quicker than stopping.
fn any(x: &[f64], so: impl Fn(f64) -> bool) -> bool {
    x.iter().fold(false, |any, x| any | so(*x))
}

/// A number in [1, 2) from 52 random bits.
#[inline(always)]
fn from_one(bits: u64) -> f64 {
    f64::from_bits((bits >> 12) | 0x3ff0_0000_0000_0000)
}

/// ln of a positive normal number: x = m·2ᵉ with m in [√½, √2), and with s = f/(2 + f), f = m − 1,
/// ln m = f − f²/2 + s·(f²/2 + R(s²)).
#[inline(always)]
fn ln(x: f64) -> f64 {
    const LN_2: [f64; 2] = [6.931_471_803_691_238e-1, 1.908_214_929_270_587_7e-10];
    const ROOT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;
    let bits = x.to_bits();
    let exponent = bits.wrapping_sub(ROOT_HALF).wrapping_add(1023 << 52) >> 52; // e + 1023
    let m = f64::from_bits(bits.wrapping_sub(exponent << 52).wrapping_add(1023 << 52));
    let e = f64::from_bits(exponent | 0x4330_0000_0000_0000) - (4_503_599_627_370_496.0 + 1023.0);
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let even = w * (3.999_999_999_940_942e-1 + w * (2.222_219_843_214_978_4e-1 + w * 1.531_383_769_920_937_3e-1));
    let odd = z
        * (6.666_666_666_666_735e-1
            + w * (2.857_142_874_366_239e-1 + w * (1.818_357_216_161_805e-1 + w * 1.479_819_860_511_658_6e-1)));
    let half = 0.5 * f * f;
    e * LN_2[0] - ((half - (s * (half + (even + odd)) + e * LN_2[1])) - f)
}

/// Sine and cosine of x radian, |x| at most [`FAR`].
#[inline(always)]
fn quadrants(x: f64) -> (f64, f64) {
    let shifted = x * std::f64::consts::FRAC_2_PI + TO_WHOLE;
    let n = shifted - TO_WHOLE;
    turned(((x - n * QUARTER[0]) - n * QUARTER[1]) - n * QUARTER[2], shifted.to_bits())
}

/// Sine and cosine of v turns, v in [0, 1).
#[inline(always)]
fn turns(v: f64) -> (f64, f64) {
    let shifted = 4.0 * v + TO_WHOLE;
    turned((4.0 * v - (shifted - TO_WHOLE)) * std::f64::consts::FRAC_PI_2, shifted.to_bits())
}

/// Sine and cosine of r + n·π/2, |r| up to π/4; n in the last bits of `quadrant`.
#[inline(always)]
fn turned(r: f64, quadrant: u64) -> (f64, f64) {
    let z = r * r;
    let s = r + r
        * z
        * (-1.666_666_666_666_663_2e-1
            + z * (8.333_333_333_322_49e-3
                + z * (-1.984_126_982_985_795e-4
                    + z * (2.755_731_370_707_006_8e-6
                        + z * (-2.505_076_025_340_686_3e-8 + z * 1.589_690_995_211_55e-10)))));
    let c = 1.0 - 0.5 * z
        + z * z
            * (4.166_666_666_666_66e-2
                + z * (-1.388_888_888_887_411e-3
                    + z * (2.480_158_728_947_673e-5
                        + z * (-2.755_731_435_139_066_3e-7
                            + z * (2.087_572_321_298_175e-9 - z * 1.135_964_755_778_819_5e-11)))));
    // odd quadrants have the two exchanged, and signs follow the quadrant: by bits, since a branch would stop the loop
    let swap = (quadrant & 1).wrapping_neg();
    let (s, c) = (s.to_bits(), c.to_bits());
    let (sine, cosine) = ((s & !swap) | (c & swap), (c & !swap) | (s & swap));
    let (sine_sign, cosine_sign) = ((quadrant & 2) << 62, (quadrant.wrapping_add(1) & 2) << 62);
    (f64::from_bits(sine ^ sine_sign), f64::from_bits(cosine ^ cosine_sign))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::swift_stream;
    use rand::RngExt;

    fn column(f: impl Fn(&[f64], &mut [f64]), x: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; x.len()];
        f(x, &mut out);
        out
    }

    #[test]
    fn sine_and_cosine_are_the_system_s_to_the_last_bits() {
        let mut rng = swift_stream(1, 0, 0);
        for reach in [1.0, 10.0, 1e5] {
            let x: Vec<f64> = (0..100_000).map(|_| reach * (2.0 * rng.random::<f64>() - 1.0)).collect();
            let worst = |of: Vec<f64>, system: fn(f64) -> f64| {
                of.iter().zip(&x).map(|(y, x)| (y - system(*x)).abs()).fold(0.0, f64::max)
            };
            assert!(worst(column(sine, &x), f64::sin) < 2.3e-16, "sine to {reach}");
            assert!(worst(column(cosine, &x), f64::cos) < 2.3e-16, "cosine to {reach}");
        }
        let multiples: Vec<f64> = (-1000..1000).map(|n| f64::from(n) * std::f64::consts::PI).collect();
        let seen = column(sine, &multiples);
        assert!(multiples.iter().zip(&seen).all(|(x, y)| (y - x.sin()).abs() < 1e-15 * x.sin().abs() + 1e-30));
    }

    #[test]
    fn the_logarithm_is_the_system_s_to_three_units_in_the_last_place() {
        let mut rng = swift_stream(2, 0, 0);
        let x: Vec<f64> = (0..200_000).map(|_| (1400.0 * (rng.random::<f64>() - 0.5)).exp()).collect();
        for (x, y) in x.iter().zip(column(logarithm, &x)) {
            assert!((y - x.ln()).abs() <= 3.0 * f64::EPSILON * x.ln().abs(), "{x}: {y} and {}", x.ln());
        }
        let near: Vec<f64> = (-1000..1000).map(|k| 1.0 + f64::from(k) * 1e-9).collect();
        assert!(near.iter().zip(column(logarithm, &near)).all(|(x, y)| (y - x.ln()).abs() <= 1e-15 * x.ln().abs()));
    }

    #[test]
    fn what_has_no_sine_or_logarithm_is_as_the_system_has_it() {
        let odd = [0.0, -0.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1.0, 5e-324, 1.0];
        let same = |of: Vec<f64>, system: fn(f64) -> f64| {
            of.iter().zip(odd).all(|(y, x)| y.to_bits() == system(x).to_bits() || (y.is_nan() && system(x).is_nan()))
        };
        assert!(same(column(sine, &odd), f64::sin));
        assert!(same(column(cosine, &odd), f64::cos));
        assert!(same(column(logarithm, &odd), f64::ln));
    }

    #[test]
    fn normals_come_in_any_number_and_the_first_do_not_depend_on_the_last() {
        let draw = |n: usize| {
            let mut out = vec![f64::NAN; n];
            standard_normals(&mut swift_stream(3, 0, 0), &mut out);
            out
        };
        let long = draw(5000);
        assert!(long.iter().all(|z| z.is_finite()));
        assert!(draw(0).is_empty());
        assert_eq!(draw(2048), long[..2048]);
        assert!((1..40).all(|n| draw(n).iter().all(|z| z.is_finite())));
        let squares: f64 = long.iter().map(|z| z * z).sum::<f64>() / 5000.0;
        // the variance of a mean of 5,000 squares is 2/5,000; six standard deviations
        assert!((squares - 1.0).abs() < 0.12, "{squares}");
    }
}
