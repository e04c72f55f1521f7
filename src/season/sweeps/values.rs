//! A trace → what it says on each band: the reflection at the band's frequency in all its forms, the frequency of the
//! lowest SWR, and the 2:1 bandwidth.

use super::touchstone::{Dip, Fault, Trace};
use crate::radio::bands::Service;
use crate::radio::feasible::Z0;
use crate::radio::reflection;
use crate::season::config::{Band, Config};
use crate::season::finding::{Finding, Place, Severity};
use crate::season::parse;

/// |Γ| above which a passive antenna's sweep is not believed at all (common practice, no source).
const UNBELIEVABLE: f64 = 1.02;
/// The SWR that a bandwidth is taken at.
const BANDWIDTH_SWR: f64 = 2.0;

/// One value of a sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// Band.
    pub band: String,
    /// Quantity: one built in.
    pub quantity: &'static str,
    /// In the quantity's unit.
    pub value: f64,
    /// What the last digit written, or the spacing of points, changes in it.
    pub step: f64,
    /// The line of the file it is from.
    pub line: usize,
}

/// A value that can't be given.
#[derive(Debug)]
pub struct Unused {
    /// Line, where it is about one.
    pub line: Option<usize>,
    /// How bad that is.
    pub severity: Severity,
    /// What was seen.
    pub what: String,
    /// What was done about it.
    pub action: String,
}

/// What a trace says.
#[derive(Debug, Default)]
pub struct Values {
    /// Values to use.
    pub used: Vec<Value>,
    /// Why others are not given.
    pub unused: Vec<Unused>,
    /// How many others.
    pub set_aside: usize,
}

/// A band with the stretch of frequencies nearer to it than to any other band.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Band.
    pub band: String,
    /// Its frequency, Hz.
    pub hertz: f64,
    /// Where it begins, Hz.
    pub low: f64,
    /// Where it ends, Hz; perhaps nowhere.
    pub high: f64,
}

/// The season's bands with known frequencies, in ascending order.
pub fn bands(config: &Config) -> Vec<Stretch> {
    let known = config.bands.iter().filter_map(|b| Some((b.name.clone(), frequency_mhz(b)? * 1e6)));
    let mut known: Vec<(String, f64)> = known.collect();
    known.sort_by(|a, b| a.1.total_cmp(&b.1));
    let between = |a: f64, b: f64| (a * b).sqrt();
    let stretch = |i: usize| {
        let (band, hertz) = known[i].clone();
        let low = known[..i].iter().rev().find(|(_, h)| *h < hertz).map_or(0.0, |(_, h)| between(*h, hertz));
        let high = known[i..].iter().find(|(_, h)| *h > hertz).map_or(f64::INFINITY, |(_, h)| between(*h, hertz));
        Stretch { band, hertz, low, high }
    };
    (0..known.len()).map(stretch).collect()
}

/// A band's frequency: declared, or that of its public channel.
fn frequency_mhz(band: &Band) -> Option<f64> {
    let channel = || Service::of(&band.name)?.channel(band.channel?).first().copied();
    band.frequency_mhz.or_else(channel)
}

/// A finding for each band that no sweep can be read on, for want of its frequency.
pub fn without_frequency(config: &Config) -> Vec<Finding> {
    let told = |line: usize, what: String, action: &str| {
        let place = Place { file: parse::FILE.into(), line: Some(line), column: None };
        Finding::new(Severity::Warning, place, what, "sweeps give no reading there", action).by(super::RULE)
    };
    let without = config.bands.iter().filter(|b| frequency_mhz(b).is_none());
    let mut findings: Vec<Finding> = without
        .map(|b| {
            told(b.line, format!("band `{}` has no frequency to read sweeps at", b.name), "add `frequency_mhz` to it")
        })
        .collect();
    if config.bands.is_empty() {
        let what = "the season lists no band to read sweeps at".to_string();
        findings.push(told(1, what, "add a `[[band]]` entry with its `frequency_mhz`"));
    }
    findings
}

/// A trace as it is, unless it says what no passive antenna does.
///
/// # Errors
/// |Γ| above 1.02, or no frequency of any radio.
pub fn believable(trace: Trace) -> Result<Trace, Fault> {
    let worst = trace.points.iter().max_by(|a, b| a.gamma.norm().total_cmp(&b.gamma.norm()));
    if let Some(point) = worst.filter(|p| p.gamma.norm() > UNBELIEVABLE) {
        return Err(Fault {
            line: point.line,
            what: format!(
                "|Γ| is {:.3} here: more comes back than was sent, which no antenna does",
                point.gamma.norm()
            ),
            action: "calibrate the analyzer again, check the format on the option line, and repeat the sweep".into(),
        });
    }
    let (first, last) = (&trace.points[0], &trace.points[trace.points.len() - 1]);
    if last.hertz < 1e6 || first.hertz > 6e9 {
        return Err(Fault {
            line: first.line,
            what: format!("the sweep runs from {} to {} MHz", megahertz(first.hertz), megahertz(last.hertz)),
            action: "correct the unit on the option line (where none is written it is GHz)".into(),
        });
    }
    Ok(trace)
}

fn megahertz(hertz: f64) -> String {
    format!("{:.6}", hertz / 1e6).trim_end_matches('0').trim_end_matches('.').to_string()
}

/// All that a trace says on the bands it covers.
pub fn values(trace: &Trace, bands: &[Stretch]) -> Values {
    let mut values = Values::default();
    let (first, last) = (trace.points[0].hertz, trace.points[trace.points.len() - 1].hertz);
    let covered = |b: &&Stretch| (first..=last).contains(&b.hertz);
    for band in bands.iter().filter(covered) {
        at_frequency(trace, band, &mut values);
        if trace.points.len() > 1 {
            around_dip(trace, band, &mut values);
        }
    }
    let near = |b: &&Stretch| !covered(b) && b.hertz > 0.9 * first && b.hertz < 1.1 * last;
    for band in bands.iter().filter(near) {
        values.unused.push(Unused {
            line: None,
            severity: Severity::Warning,
            what: format!(
                "the sweep runs from {} to {} MHz and does not hold {} MHz, where the season reads `{}`",
                megahertz(first),
                megahertz(last),
                megahertz(band.hertz),
                band.band
            ),
            action: "nothing read there: a sweep is never extended; sweep across the frequency".into(),
        });
    }
    if values.used.is_empty() && values.unused.is_empty() && !bands.is_empty() {
        values.unused.push(Unused {
            line: None,
            severity: Severity::Warning,
            what: format!("the sweep runs from {} to {} MHz and holds no band", megahertz(first), megahertz(last)),
            action: "nothing read from it; check its unit, or sweep across a band of the season".into(),
        });
    }
    values
}

/// The reflection at the band's frequency, in its five forms.
fn at_frequency(trace: &Trace, band: &Stretch, values: &mut Values) {
    let Some((gamma, point)) = trace.at(band.hertz) else { return };
    let rho = gamma.norm();
    if rho > reflection::LARGEST {
        values.set_aside += 5;
        values.unused.push(Unused {
            line: Some(point.line),
            severity: Severity::Error,
            what: format!("|Γ| is {rho:.4} at {} MHz: all that was sent comes back", megahertz(band.hertz)),
            action: "five values set aside; check connector and calibration, and repeat the sweep".into(),
        });
        return;
    }
    let open = (1.0 - gamma).norm_sqr();
    let z = (gamma + 1.0) / (-gamma + 1.0) * Z0;
    // d|Γ|, dZ and dRL of one step of the file's last digit
    let (along_gamma, along_z) = (point.digit, 2.0 * Z0 / open * point.digit);
    let return_loss = reflection::to_return_loss_db(rho);
    let forms = [
        ("swr", reflection::to_swr(rho), 2.0 / ((1.0 - rho) * (1.0 - rho)) * along_gamma),
        ("return_loss", return_loss, 20.0 / std::f64::consts::LN_10 / rho * along_gamma),
        ("impedance", z.norm(), along_z),
        ("resistance", z.re, along_z),
        ("reactance", z.im, along_z),
    ];
    for (quantity, value, step) in forms {
        let value = Value { band: band.band.clone(), quantity, value, step: visible(step, value), line: point.line };
        if value.value.is_finite() && value.y().is_some() {
            values.used.push(value);
        } else {
            values.set_aside += 1;
            values.unused.push(Unused {
                line: Some(point.line),
                severity: Severity::Note,
                what: format!("{quantity} has no bound at {} MHz", megahertz(band.hertz)),
                action: "value set aside".into(),
            });
        }
    }
}

/// A step that arithmetic can tell apart at that value.
fn visible(step: f64, value: f64) -> f64 {
    let least = 1e-9 * value.abs().max(1.0);
    if step.is_finite() { step.max(least) } else { least }
}

/// The frequency of the lowest SWR, and the span under 2:1 around it.
fn around_dip(trace: &Trace, band: &Stretch, values: &mut Values) {
    let mut note = |line: usize, what: String, action: &str, count: usize| {
        values.set_aside += count;
        values.unused.push(Unused { line: Some(line), severity: Severity::Note, what, action: action.into() });
    };
    let Some(dip) = trace.dip(band.low, band.high) else { return };
    let line = trace.points[dip.index].line;
    if dip.at_end {
        let what = format!(
            "SWR is lowest at an end of what is swept around `{}` ({} MHz): the lowest may lie beyond",
            band.band,
            megahertz(dip.hertz)
        );
        note(line, what, "no frequency of lowest SWR and no bandwidth from it; sweep wider", 2);
        return;
    }
    let lowest = reflection::to_swr(dip.rho.min(reflection::LARGEST));
    let at_dip = |quantity, value: f64| {
        let spacing = spacing_mhz(trace, &dip);
        Value { band: band.band.clone(), quantity, value, step: visible(spacing, value), line }
    };
    let rho = reflection::from_swr(BANDWIDTH_SWR);
    let bandwidth = if dip.rho >= rho {
        Err(format!(
            "SWR stays above 2 around `{}`: {lowest:.2} at {} MHz is the lowest",
            band.band,
            megahertz(dip.hertz)
        ))
    } else {
        match trace.edges(&dip, rho) {
            (Some(low), Some(high)) => Ok((high - low) / 1e6),
            _ => Err(format!("SWR is still under 2 at an end of the sweep around `{}`", band.band)),
        }
    };
    match bandwidth {
        Ok(width) => values.used.push(at_dip("bandwidth", width)),
        Err(what) => note(line, what, "no bandwidth from it; sweep wider if it has one", 1),
    }
    values.used.push(at_dip("lowest_swr_frequency", dip.hertz / 1e6));
}

/// How far apart the points at a dip are, MHz: what lies between is drawn, not measured.
fn spacing_mhz(trace: &Trace, dip: &Dip) -> f64 {
    let next = (dip.index + 1).min(trace.points.len() - 1);
    (trace.points[next].hertz - trace.points[dip.index].hertz) / 1e6
}
