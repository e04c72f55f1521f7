//! One-port Touchstone files: the open specification's own examples, networks with a closed form, and what is refused.

use std::fmt::Write as _;

use daylight::season::sweeps::touchstone::{Fault, Trace, read};
use nalgebra::Complex;

fn trace(text: &str) -> Trace {
    read(text.as_bytes()).unwrap_or_else(|fault| panic!("{fault:?}\n{text}"))
}

fn refused(text: &str) -> Fault {
    read(text.as_bytes()).expect_err(text)
}

fn near(got: Complex<f64>, wanted: Complex<f64>, within: f64, what: &str) {
    assert!((got - wanted).norm() <= within, "{what}: {got} instead of {wanted}");
}

/// Z of a reflection in 50 Ω.
fn z(gamma: Complex<f64>) -> Complex<f64> {
    (gamma + 1.0) / (-gamma + 1.0) * 50.0
}

fn gamma(z: Complex<f64>) -> Complex<f64> {
    (z - 50.0) / (z + 50.0)
}

/// The specification's examples (IBIS Open Forum, 1.1 of 2002, examples 1 and 2, and 2.0 of 2009, the second again;
/// from memory, so their figures rest on each other: 75 Ω times the second is the third).
#[test]
fn the_specification_s_one_port_examples_mean_what_it_says() {
    let single = trace(
        "!1-port S-parameter file, single frequency\n# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n",
    );
    assert_eq!(single.points.len(), 1);
    assert_eq!(single.points[0].hertz, 2e6);
    near(single.points[0].gamma, Complex::from_polar(0.894, -12.136f64.to_radians()), 1e-15, "S, MA");
    assert_eq!(single.comments, ["1-port S-parameter file, single frequency", "freq magS11 angS11"]);

    let old = trace(
        "!1-port Z-parameter file, multiple frequency points\n# MHz Z MA R 75\n!freq magZ11 angZ11\n\
         100 0.99 -4\n200 0.80 -22\n300 0.707 -45\n400 0.40 -62\n500 0.01 -89\n",
    );
    let new = trace(
        "!1-port Z-parameter file, multiple frequency points\n[Version] 2.0\n# MHz Z MA\n[Number of Ports] 1\n\
         [Number of Frequencies] 5\n[Reference] 20.0\n[Network Data]\n!freq magZ11 angZ11\n\
         100 74.25 -4\n200 60 -22\n300 53.025 -45\n400 30 -62\n500 0.75 -89\n[End]\n",
    );
    let ohms = [74.25, 60.0, 53.025, 30.0, 0.75];
    let degrees = [-4f64, -22.0, -45.0, -62.0, -89.0];
    for (i, (ohm, degree)) in ohms.iter().zip(degrees).enumerate() {
        let wanted = Complex::from_polar(*ohm, degree.to_radians());
        near(z(old.points[i].gamma), wanted, 1e-9, "1.1, normalised to 75 ohm");
        near(z(new.points[i].gamma), wanted, 1e-9, "2.0, in ohms");
        assert_eq!(new.points[i].hertz, 1e8 * (i + 1) as f64);
    }
    assert_eq!((old.reference_ohm, new.reference_ohm), (75.0, 20.0));
}

/// Defaults and the free order of the option line (specification 1.1, "option line").
#[test]
fn a_bare_option_line_means_gigahertz_s_magnitude_angle_and_fifty_ohm() {
    let bare = trace("#\n0.1455 0.5 90\n");
    assert_eq!(bare.points[0].hertz, 145.5e6);
    near(bare.points[0].gamma, Complex::new(0.0, 0.5), 1e-15, "defaults");
    for line in ["# MHz S RI R 50", "# R 50 RI S MHz", "# ri mhz r 50.0", "#MHZ\tS\tRI R 50 ! trailing"] {
        let read = trace(&format!("{line}\r145.5 0.1 -0.2\r146\t0.2\t-0.1 ! note\r\n"));
        near(read.points[0].gamma, Complex::new(0.1, -0.2), 1e-15, line);
        assert_eq!(read.points[1].hertz, 146e6);
    }
    let first_counts = trace("# MHz S RI R 50\n# GHz S MA R 75\n145.5 0.1 0\n");
    assert_eq!(first_counts.points[0].hertz, 145.5e6);
    assert_eq!(first_counts.oddities.len(), 1);
}

/// One impedance, 30 − j20 Ω at 145.5 MHz, in every form the format has, 1.x and 2.x: the same reflection.
#[test]
fn every_form_of_one_impedance_gives_one_reflection() {
    let ohm = Complex::new(30.0, -20.0);
    let wanted = gamma(ohm);
    let in_75 = (ohm - 75.0) / (ohm + 75.0);
    let (norm_z, norm_y, y) = (ohm / 75.0, 75.0 / ohm, 1.0 / ohm);
    let one = |parameter: &str, format: &str, value: Complex<f64>| {
        let (a, b) = match format {
            "RI" => (value.re, value.im),
            "MA" => (value.norm(), value.arg().to_degrees()),
            _ => (20.0 * value.norm().log10(), value.arg().to_degrees()),
        };
        (format!("# kHz {parameter} {format} R 75"), format!("145500 {a:.15} {b:.15}"))
    };
    for format in ["RI", "MA", "DB"] {
        for (parameter, old, new) in [("S", in_75, in_75), ("Z", norm_z, ohm), ("Y", norm_y, y)] {
            let (options, data) = one(parameter, format, old);
            let read = trace(&format!("{options}\n{data}\n"));
            near(read.points[0].gamma, wanted, 1e-12, &format!("1.x {parameter} {format}"));
            let (options, data) = one(parameter, format, new);
            let head = format!("[Version] 2.1\n{options}\n[Number of Ports] 1\n[Number of Frequencies] 1\n");
            let read = trace(&format!("{head}[Network Data]\n{data}\n[End]\n"));
            near(read.points[0].gamma, wanted, 1e-12, &format!("2.x {parameter} {format}"));
        }
    }
}

#[test]
fn version_2_s_reference_overrides_the_option_line_s_and_may_stand_on_the_next_line() {
    for reference in ["[Reference] 75", "[Reference]\n75.0"] {
        let read = trace(&format!(
            "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n{reference}\n[Matrix Format] Full\n\
             [Begin Information]\n[Anything] goes here\nmade up\n[End Information]\n[Number of Frequencies] 1\n\
             [Network Data]\n145.5 0 0\n[End]\n"
        ));
        near(z(read.points[0].gamma), Complex::new(75.0, 0.0), 1e-9, reference);
        assert!(read.comments.contains(&"made up".to_string()), "{:?}", read.comments);
        assert!(read.oddities.is_empty());
    }
}

/// A sweep in RI with twelve decimals, MHz.
fn sweep(from: f64, to: f64, points: usize, of: impl Fn(f64) -> Complex<f64>) -> Trace {
    let mut text = "# MHz S RI R 50\n".to_string();
    for i in 0..points {
        let mhz = from + (to - from) * i as f64 / (points - 1) as f64;
        let g = of(mhz * 1e6);
        writeln!(text, "{mhz:.9} {:.12} {:.12}", g.re, g.im).unwrap();
    }
    trace(&text)
}

/// Series resistance and inductance: Z = R + jωL.
#[test]
fn a_series_resistor_and_coil_are_read_as_their_closed_form() {
    let of = |hertz: f64| gamma(Complex::new(35.0, std::f64::consts::TAU * hertz * 20e-9));
    let read = sweep(140.0, 150.0, 101, of);
    for mhz in [140.0, 145.5, 150.0] {
        near(read.at(mhz * 1e6).unwrap().0, of(mhz * 1e6), 1e-11, "at a point");
    }
    for mhz in [140.05, 145.537, 149.99] {
        // half a step from a point: the straight line leaves the curve by its second difference
        near(read.at(mhz * 1e6).unwrap().0, of(mhz * 1e6), 1e-7, "between points");
    }
    assert_eq!(read.at(139.999e6), None);
    assert_eq!(read.at(150.001e6), None);
}

/// A load of 100 Ω through a lossless 50 Ω line of electrical length βl: SWR 2 everywhere, and
/// Z = Z0 (ZL + jZ0 tan βl)/(Z0 + jZL tan βl) (transmission-line theory).
#[test]
fn a_resistive_load_through_a_line_keeps_its_swr_and_turns_its_impedance() {
    let (length, speed) = (0.40, 299_792_458.0 * 0.66);
    let beta_l = |hertz: f64| std::f64::consts::TAU * hertz * length / speed;
    let of = |hertz: f64| Complex::from_polar(1.0 / 3.0, -2.0 * beta_l(hertz));
    let read = sweep(400.0, 480.0, 801, of);
    for mhz in [400.0, 433.525, 446.0, 462.5678, 480.0] {
        let hertz = mhz * 1e6;
        let (g, _) = read.at(hertz).unwrap();
        let swr = (1.0 + g.norm()) / (1.0 - g.norm());
        assert!((swr - 2.0).abs() < 1e-5, "{mhz}: {swr}");
        let t = Complex::new(0.0, beta_l(hertz).tan());
        let wanted = (t * 50.0 + 100.0) / (t * 100.0 + 50.0) * 50.0;
        near(z(g), wanted, 2e-3, "Z through the line");
    }
}

/// Series resonance with R = 50 Ω: lowest SWR at 1/(2π√(LC)), and |Γ| = 1/3 at X = ±R/√2, so the 2:1 bandwidth is
/// R/(√2·2πL), by |Γ|² = X²/(4R² + X²).
#[test]
fn a_series_resonance_has_its_lowest_swr_and_bandwidth_where_the_closed_form_has_them() {
    let (l, f0) = (400e-9, 145.83e6);
    let c = 1.0 / ((std::f64::consts::TAU * f0).powi(2) * l);
    let of = |hertz: f64| {
        let w = std::f64::consts::TAU * hertz;
        gamma(Complex::new(50.0, w * l - 1.0 / (w * c)))
    };
    let read = sweep(130.0, 165.0, 351, of);
    let dip = read.dip(0.0, f64::INFINITY).unwrap();
    assert!((dip.hertz - f0).abs() < 200.0, "{}", dip.hertz);
    assert!(!dip.at_end);
    let (low, high) = read.edges(&dip, 1.0 / 3.0);
    let width = high.unwrap() - low.unwrap();
    let wanted = 50.0 / (2f64.sqrt() * std::f64::consts::TAU * l);
    assert!((width / wanted - 1.0).abs() < 1e-4, "{width} instead of {wanted}");
    let narrow = sweep(144.0, 148.0, 41, of);
    let dip = narrow.dip(0.0, f64::INFINITY).unwrap();
    assert_eq!(narrow.edges(&dip, 1.0 / 3.0), (None, None));
    assert!(sweep(150.0, 165.0, 41, of).dip(0.0, f64::INFINITY).unwrap().at_end);
}

/// Each refusal says its line and what to do.
#[test]
fn what_is_no_one_port_sweep_is_refused_where_it_goes_wrong() {
    let v2 = "[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n";
    let cases: [(String, usize, &str); 24] = [
        ("145.5 0.1 0.2\n".into(), 1, "before any option line"),
        ("# MHz S RI R 50\n145 0 0\n144 0 0\n".into(), 3, "is below"),
        ("# MHz S RI R 50\n145 0 0\n145.0 0 0\n".into(), 3, "second time"),
        ("# MHz S RI R 50\n145 1 2 3 4 5 6 7 8\n".into(), 2, "two-port"),
        ("# MHz S RI R 50\n145 1\n".into(), 2, "2 numbers"),
        ("# MHz S RI R 50\n145,5 0,1 0,2\n".into(), 2, "is not a number"),
        ("# MHz S RI R 50\n145.5;0.1;0.2\n".into(), 2, "is not a number"),
        ("# MHz S RI R 50\n145 nan 0\n".into(), 2, "is not a number"),
        ("# MHz S RI R 50\n".into(), 1, "no data"),
        ("".into(), 1, "no data"),
        ("# MHz S RI R 0\n145 0 0\n".into(), 1, "reference"),
        ("# MHz S RI R 50 75\n145 0 0\n".into(), 1, "2 reference"),
        ("# MHz S RI R\n145 0 0\n".into(), 1, "no number"),
        ("# MHz H RI R 50\n145 0 0\n".into(), 1, "two-port"),
        ("# MHz kHz S\n145 0 0\n".into(), 1, "khz"),
        ("# MHz S XY\n145 0 0\n".into(), 1, "no meaning"),
        ("# MHz S MA\n145 -0.3 0\n".into(), 2, "below 0"),
        ("[Number of Ports] 1\n".into(), 1, "[Version]"),
        (format!("{v2}145 0 0\n"), 4, "[Network Data]"),
        (format!("{v2}[Number of Frequencies] 2\n[Network Data]\n145 0 0\n[End]\n"), 4, "2 frequencies"),
        ("[Version] 2.0\n# MHz S RI\n[Number of Ports] 2\n".into(), 3, "2 ports"),
        (format!("{v2}[Noise Data]\n"), 4, "two-port"),
        (format!("{v2}[Wibble] 3\n"), 4, "no keyword"),
        ("[Version] 3.0\n".into(), 1, "version 3"),
    ];
    for (text, line, what) in cases {
        let fault = refused(&text);
        assert_eq!(fault.line, line, "{text}: {fault:?}");
        assert!(fault.what.contains(what), "{text}: {fault:?}");
        assert!(!fault.action.is_empty());
    }
    assert!(read(b"\xff\xfe#\0").unwrap_err().what.contains("UTF-16"));
}

#[test]
fn what_is_odd_but_can_be_read_is_read_and_said() {
    let said = |text: &str| trace(text).oddities.into_iter().map(|o| o.what).collect::<Vec<_>>().join("; ");
    assert!(said("# MHz S MA R 50\n1 .1 -3\n2 .1 -1\n3 .1 0\n4 .1 1\n5 .1 3\n").contains("radians"));
    assert_eq!(said("# MHz S MA R 50\n144 .1 -170\n145 .1 -1\n146 .1 0\n147 .1 1\n148 .1 3\n"), "");
    assert!(said("# GHz S RI R 50\n144 0 0\n148 0 0\n").contains("148000 MHz"));
    let v2 = "[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n[Network Data]\n145 0 0\n";
    assert!(said(v2).contains("[End]"));
    assert!(said(&format!("{v2}[End]\nmore\n")).contains("after `[End]`"));
    // a byte-order mark, and a comment in another encoding
    assert_eq!(read(b"\xef\xbb\xbf! 20 \xb0C\n# MHz S RI R 50\n145 0 0\n").unwrap().points.len(), 1);
}
