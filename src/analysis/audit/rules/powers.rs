//! Forward power, reflected power and SWR that contradict each other.

use super::super::Rule;
use super::super::log::Log;
use super::super::together::{Mountings, Together};
use super::port::{REFLECTIONS, symbol};
use super::told_together;
use crate::radio::feasible::Interval;
use crate::radio::reflection::to_swr;
use crate::season::finding::{Finding, Group};

/// The rule.
pub const RULE: Rule = Rule {
    name: "powers and match",
    group: Group::Impossible,
    asks: "more power reflected than sent, or powers whose ratio, whatever was rounded, is not the reflection read beside them",
    source: "|Γ|² = reflected/forward: D. M. Pozar, Microwave Engineering, 4th ed. (2012), 2.3 (from memory)",
    beside_verdicts: false,
    check,
};

const ACTION: &str = "kept; correct the one that was mistyped, or leave the mounting out on the record; if many are like \
                      this, the meter is wired the wrong way round, or its reflected scale is off";

fn check(log: &Log) -> Vec<Finding> {
    let mountings = Mountings::new(log);
    let found = mountings.all.iter().filter_map(|one| contradiction(log, &mountings, one)).collect();
    told_together(log, found, "mountings whose powers and SWR contradict each other", ACTION)
}

fn contradiction(log: &Log, mountings: &Mountings, one: &Together) -> Option<(Vec<usize>, String)> {
    let forward = mountings.range(one, "forward_power")?.from(0.0);
    let reflected = mountings.range(one, "reflected_power")?.from(0.0);
    let at = one.rows[0];
    let whose = format!("{} on {} ({}, {})", log.antenna(at), log.band(at), log.meter(at), log.session(at));
    let of =
        |quantities: &[&str]| -> Vec<usize> { quantities.iter().flat_map(|q| mountings.rows_of(one, q)).collect() };
    let written = |quantity: &str| {
        let first = mountings.rows_of(one, quantity).first().map(|&i| log.written(i));
        format!("{} {}", symbol(quantity), first.unwrap_or_default())
    };
    let powers = format!("{} and {}", written("forward_power"), written("reflected_power"));
    if reflected.low > forward.high {
        let what = format!("{powers} of {whose}: more comes back than was sent");
        return Some((of(&["forward_power", "reflected_power"]), what));
    }
    let by_power = Interval {
        low: (reflected.low / forward.high.max(f64::MIN_POSITIVE)).sqrt(),
        high: (reflected.high / forward.low.max(f64::MIN_POSITIVE)).sqrt().min(1.0),
    };
    let other = REFLECTIONS.into_iter().find(|q| mountings.reflection(one, q).is_some_and(|r| !r.meets(by_power)))?;
    let swr = |rho: f64| if rho < 0.999 { format!("{:.2}", to_swr(rho)) } else { "infinity".into() };
    let what = format!(
        "{powers} beside {} of {whose}: those powers make an SWR of {} to {}",
        written(other),
        swr(by_power.low),
        swr(by_power.high)
    );
    Some((of(&["forward_power", "reflected_power", other]), what))
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    fn one(rows: &str) -> Vec<String> {
        let rows: String = rows.split(';').map(|r| format!("d1,heron,2 m,inline,{r},1\n")).collect();
        found("powers and match", "", &format!("session,antenna,band,meter,quantity,value,mounting\n{rows}"))
    }

    #[test]
    fn more_power_reflected_than_sent_is_impossible() {
        let words = one("forward_power,0.50;reflected_power,4.50");
        assert!(words.len() == 1 && words[0].contains("more comes back"), "{words:#?}");
        assert!(one("forward_power,0.5;reflected_power,0.5").is_empty());
    }

    /// 4 W forward, 0.16 W back: |Γ| = 0.2, SWR 1.5.
    #[test]
    fn the_powers_must_make_the_swr_that_was_read() {
        assert!(one("forward_power,4.00;reflected_power,0.16;swr,1.50").is_empty());
        let words = one("forward_power,4.00;reflected_power,0.16;swr,2.10");
        assert!(words.len() == 1 && words[0].contains("an SWR of 1.4"), "{words:#?}");
    }

    /// 0.2 W shown to a tenth is 0.15 to 0.25 W: SWR 1.47 to 1.68 at 4 W.
    #[test]
    fn a_coarse_reflected_display_allows_a_range_of_swr() {
        for swr in ["1.47", "1.57", "1.68"] {
            assert!(one(&format!("forward_power,4.00;reflected_power,0.2;swr,{swr}")).is_empty(), "{swr}");
        }
        assert_eq!(one("forward_power,4.00;reflected_power,0.2;swr,1.80").len(), 1);
    }
}
