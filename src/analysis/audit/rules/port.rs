//! SWR, reflection, return loss, |Z|, R and X that no antenna has at once.

use super::super::Rule;
use super::super::log::Log;
use super::super::together::{Mountings, Together};
use super::told_together;
use crate::radio::feasible::{Interval, Port, Z0};
use crate::radio::reflection::to_swr;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "match and impedance",
    group: Group::Impossible,
    asks: "SWR, |Γ|, return loss, |Z|, R and X of one mounting by one meter that, whatever was rounded, no antenna has at once",
    source: "|Γ| = |Z − Z0|/|Z + Z0| of a passive Z: D. M. Pozar, Microwave Engineering, 4th ed. (2012), 2.3 (from memory)",
    beside_verdicts: false,
    check,
};

/// Names a reflection goes by.
pub const REFLECTIONS: [&str; 3] = ["swr", "reflection", "return_loss"];

const ACTION: &str = "kept; correct the one that was mistyped, or leave the mounting out on the record; if many are like \
                      this, the meter's calibration or its 50 Ω is off";

fn check(log: &Log) -> Vec<Finding> {
    let mountings = Mountings::new(log);
    let found = mountings.all.iter().filter_map(|one| contradiction(log, &mountings, one)).collect();
    told_together(log, found, "mountings with readings that no antenna has at once", ACTION)
}

/// The readings of a mounting that contradict each other: their rows, and in words.
fn contradiction(log: &Log, mountings: &Mountings, one: &Together) -> Option<(Vec<usize>, String)> {
    let reflections: Vec<(&str, Interval)> =
        REFLECTIONS.iter().filter_map(|&q| Some((q, mountings.reflection(one, q)?))).collect();
    let of = |quantity: &str| mountings.range(one, quantity);
    let (modulus, resistance) = (of("impedance"), of("resistance"));
    let reactance = of("reactance").map(Interval::modulus);
    if let Some(r) = resistance.filter(|r| r.high < 0.0) {
        let rows = mountings.rows_of(one, "resistance");
        return Some((
            rows,
            format!("a resistance of {:.1} Ω or less: an antenna that takes power has more than 0", r.high),
        ));
    }
    for (k, (first, a)) in reflections.iter().enumerate() {
        if let Some((second, _)) = reflections[k + 1..].iter().find(|(_, b)| !a.meets(*b)) {
            return Some(told(log, mountings, one, &[first, second], "they are two forms of one number"));
        }
    }
    let both =
        reflections.iter().map(|r| r.1).reduce(|a, b| Interval { low: a.low.max(b.low), high: a.high.min(b.high) });
    let reflection = both.unwrap_or(Port::ANY.reflection);
    let whole = Port {
        reflection,
        modulus: modulus.unwrap_or(Interval::ANY),
        resistance: resistance.unwrap_or(Interval::ANY),
        reactance: reactance.unwrap_or(Interval::ANY),
    };
    if whole.is_possible() {
        return None;
    }
    let name = reflections.first().map_or("swr", |r| r.0);
    let any = Port::ANY;
    // the fewest readings that contradict each other say the most
    let with = [
        (Port { reflection, modulus: whole.modulus, ..any }, vec![name, "impedance"]),
        (Port { reflection, resistance: whole.resistance, ..any }, vec![name, "resistance"]),
        (Port { reflection, reactance: whole.reactance, ..any }, vec![name, "reactance"]),
        (Port { modulus: whole.modulus, resistance: whole.resistance, ..any }, vec!["impedance", "resistance"]),
        (Port { modulus: whole.modulus, reactance: whole.reactance, ..any }, vec!["impedance", "reactance"]),
        (Port { reflection: any.reflection, ..whole }, vec!["impedance", "resistance", "reactance"]),
        (Port { modulus: any.modulus, ..whole }, vec![name, "resistance", "reactance"]),
        (whole, vec![name, "impedance", "resistance", "reactance"]),
    ];
    let (_, quantities) = with.into_iter().find(|(port, _)| !port.is_possible())?;
    let why = match quantities.as_slice() {
        ["impedance", "resistance"] | ["impedance", "reactance"] => Some("neither R nor X is larger than |Z|".into()),
        [_, "impedance"] => modulus.map(|z| format!("that |Z| alone makes an SWR of at least {:.2}", least_swr(z))),
        [_, "resistance"] => resistance.map(|r| format!("that R alone makes an SWR of at least {:.2}", least_swr(r))),
        _ => None,
    };
    let why = why.unwrap_or_else(|| "each fixes the others".into());
    Some(told(log, mountings, one, &quantities, &why))
}

/// The smallest SWR of any impedance whose modulus, or resistance, lies in a range: max(z/Z0, Z0/z).
fn least_swr(z: Interval) -> f64 {
    if z.low > Z0 {
        z.low / Z0
    } else if z.high < Z0 {
        Z0 / z.high.max(1e-9)
    } else {
        to_swr(0.0)
    }
}

fn told(log: &Log, mountings: &Mountings, one: &Together, quantities: &[&str], why: &str) -> (Vec<usize>, String) {
    let mut rows = vec![];
    let mut words: Vec<String> = vec![];
    for quantity in quantities {
        let mine = mountings.rows_of(one, quantity);
        let Some(&first) = mine.first() else { continue };
        words.push(format!("{} {}", symbol(quantity), log.written(first)));
        rows.extend(mine);
    }
    let at = one.rows[0];
    let what = format!(
        "{} of {} on {} ({}, {}): no antenna has them at once, as {why}",
        words.join(" and "),
        log.antenna(at),
        log.band(at),
        log.meter(at),
        log.session(at)
    );
    (rows, what)
}

/// A quantity as formulas write it.
pub fn symbol(quantity: &str) -> &str {
    match quantity {
        "swr" => "SWR",
        "reflection" => "|Γ|",
        "return_loss" => "return loss",
        "impedance" => "|Z|",
        "resistance" => "R",
        "reactance" => "X",
        "forward_power" => "forward power",
        "reflected_power" => "reflected power",
        other => other,
    }
}

/// Why such a contradiction matters.
pub const WHY: &str = "one of these readings is wrong, and its set's verdicts rest on it";

/// Severity of what cannot be so.
pub const SEVERITY: Severity = Severity::Error;

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    const HEAD: &str = "session,antenna,band,meter,quantity,value,mounting\n";

    fn one(rows: &str) -> Vec<String> {
        let rows: String = rows.split(';').map(|r| format!("d1,heron,2 m,analyzer,{r},1\n")).collect();
        found("match and impedance", "", &format!("{HEAD}{rows}"))
    }

    #[test]
    fn an_swr_below_what_the_impedance_alone_makes_is_impossible() {
        let words = one("swr,1.20;impedance,120.0");
        assert_eq!(words.len(), 1, "{words:#?}");
        assert!(words[0].contains("SWR 1.20 and |Z| 120.0 Ω"), "{words:#?}");
        assert!(words[0].contains("at least 2.40"), "{words:#?}");
        // 2.40 it is
        assert!(one("swr,2.40;impedance,120.0").is_empty());
    }

    #[test]
    fn rounding_of_the_display_makes_no_contradiction() {
        // 52.5 Ω makes at least 1.05, shown as 1.0 or 1.1 by a display of one decimal
        assert!(one("swr,1.0;impedance,52.5").is_empty());
        assert!(one("swr,1.00;impedance,50.2").is_empty());
        assert_eq!(one("swr,1.00;impedance,55.0").len(), 1);
    }

    #[test]
    fn three_forms_of_one_number_must_agree() {
        assert!(one("swr,2.00;return_loss,9.5;reflection,0.33").is_empty());
        assert_eq!(one("swr,2.00;return_loss,14.0").len(), 1);
    }

    #[test]
    fn resistance_reactance_and_modulus_must_agree() {
        // 30 + j40: |Z| 50, SWR 3
        assert!(one("swr,3.00;impedance,50.0;resistance,30.0;reactance,40.0").is_empty());
        assert!(one("swr,3.00;impedance,50.0;resistance,30.0;reactance,-40.0").is_empty());
        assert_eq!(one("impedance,50.0;resistance,60.0").len(), 1);
        assert_eq!(one("impedance,50.0;resistance,30.0;reactance,20.0").len(), 1);
        assert_eq!(one("swr,2.00;resistance,30.0;reactance,40.0").len(), 1);
        assert_eq!(one("resistance,-5.0;reactance,40.0").len(), 1);
    }
}
