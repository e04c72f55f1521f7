//! Claims that are not shown.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, Normal};

use super::question::{Gap, Knowledge, Question};
use super::{Kind, Questions, Step, list};
use crate::analysis::claims::result::{Claim, Held, Lasting, Route, Settle, Unheld, Verdict};
use crate::analysis::claims::{GAIN, limits_of};
use crate::radio::quantity::in_words;

/// A check settles what it bears on as often as not: a convention, for want of anything to reckon with.
const EVEN_ODDS: f64 = 0.5;

impl Questions<'_> {
    /// Takes up the claims that `claims` left open.
    pub fn claims(&mut self, claims: &[Claim]) {
        let open: Vec<&Claim> = claims.iter().filter(|c| c.verdict == Verdict::NotShown).collect();
        // what to check → how many claims hang on it
        let mut checks: BTreeMap<String, (String, usize)> = BTreeMap::new();
        for claim in &open {
            match (&claim.unheld, claim.disagree) {
                (Some(reason), _) => self.open.extend(measurable(claim, reason)),
                (None, Some(which)) => {
                    let meters = which.map(|i| claim.held[i].meter.as_deref().unwrap_or("the meter"));
                    let what = format!("Read check loads on {}", list(&meters));
                    let because = "they contradict each other, and no antenna's reading tells which errs";
                    checks.entry(what).or_insert((because.into(), 0)).1 += 1;
                }
                (None, None) => {
                    self.open.extend(nearest(claim));
                    for (what, because) in to_check(claim) {
                        checks.entry(what).or_insert((because, 0)).1 += 1;
                    }
                }
            }
        }
        for (what, (because, count)) in checks {
            let hangs =
                if count == 1 { "One open claim hangs".to_string() } else { format!("{count} open claims hang") };
            self.steps.push(Step {
                kind: Kind::Check,
                what,
                because: format!("{hangs} on it: {because}."),
                settles: EVEN_ODDS * count as f64,
                minutes: self.effort.check_minutes,
                sessions: 0,
                antennas: vec![],
            });
        }
    }
}

fn words(claim: &Claim) -> String {
    let quantity = if claim.quantity.name == GAIN { "gain".into() } else { in_words(&claim.quantity.name) };
    format!("whether {} meets its claim on {quantity}, {}", claim.antenna, claim.band)
}

/// The antennas a result rests on.
fn antennas(claim: &Claim, route: &Route) -> Vec<String> {
    match route {
        Route::Gain { reference, .. } if *reference != claim.antenna => vec![claim.antenna.clone(), reference.clone()],
        _ => vec![claim.antenna.clone()],
    }
}

fn question(claim: &Claim, meter: &str, antennas: Vec<String>, knowledge: Knowledge) -> Question {
    Question { words: words(claim), reading: (claim.band.clone(), meter.to_string()), antennas, knowledge }
}

/// By the meter that needs the fewest sessions.
fn nearest(claim: &Claim) -> Option<Question> {
    let sessions = |held: &Held| match held.settle {
        Settle::Sessions(n) => Some(f64::from(n)),
        _ => None,
    };
    let all = claim.held.iter().filter_map(|held| Some((sessions(held)?, held)));
    let (n, held) = all.reduce(|best, x| if x.0 < best.0 { x } else { best })?;
    let knowledge = Knowledge::Known(gap(claim, held, n)?);
    Some(question(claim, held.meter.as_deref().unwrap_or_default(), antennas(claim, &held.route), knowledge))
}

/// The gap to the nearer limit. What lasts is read from the sessions it would take: n more shrink the half-width
/// from what it is to the distance.
fn gap(claim: &Claim, held: &Held, n: f64) -> Option<Gap> {
    let limits = limits_of(claim);
    let nearer = [limits.low, limits.high]
        .into_iter()
        .filter(|l| l.is_finite())
        .reduce(|a, b| if (held.estimate - b).abs() < (held.estimate - a).abs() { b } else { a })?;
    let distance = held.estimate - nearer;
    let half = if distance > 0.0 { held.estimate - held.range.low } else { held.range.high - held.estimate };
    let visits = held.visits.max(1) as f64;
    let scatter = ((half * half - distance * distance) / (1.0 - visits / (visits + n))).clamp(0.0, half * half);
    let z = Normal::standard().inverse_cdf(1.0 - held.risk_each_end);
    Some(Gap {
        distance,
        scatter: scatter.sqrt(),
        lasting: (half * half - scatter).sqrt(),
        error: scatter.sqrt() / z,
        visits,
        across_days: 0.0,
        even_within: None,
    })
}

/// What a session can bring of a claim that nothing was held against.
fn measurable(claim: &Claim, reason: &Unheld) -> Option<Question> {
    let with = match reason {
        Unheld::BandNeverMeasured
        | Unheld::AntennaNeverMeasured
        | Unheld::AntennaNotOnBand
        | Unheld::QuantityNeverMeasured
        | Unheld::SpreadUnknown { .. } => vec![claim.antenna.clone()],
        Unheld::ReferenceNotMeasured { reference } | Unheld::NotComparable { reference } => {
            vec![claim.antenna.clone(), reference.clone()]
        }
        Unheld::NoKnownGain | Unheld::Grades | Unheld::TooManyAntennas => return None,
    };
    Some(question(claim, "", with, Knowledge::Blind))
}

/// What stands in the way of every meter, where no number of sessions settles the claim.
fn to_check(claim: &Claim) -> Vec<(String, String)> {
    let never = |held: &Held| matches!(held.settle, Settle::Never { .. });
    if claim.held.is_empty() || !claim.held.iter().all(never) {
        return vec![];
    }
    let check = |held: &Held| {
        let Settle::Never { because, .. } = &held.settle else { return None };
        let meter = held.meter.as_deref().unwrap_or("the meter");
        match because {
            Lasting::Source(name) => Some((
                format!("Find out more about one thing: {name}"),
                "no number of sessions makes it smaller".to_string(),
            )),
            Lasting::Shift => Some((
                format!("Read a check load on {meter}, unless the log has one on both sides of its shift"),
                format!(
                    "{meter} shifted during the season, and that says which side is right; `correct = true` then takes the error out"
                ),
            )),
            Lasting::Nothing => None,
        }
    };
    let mut out: Vec<(String, String)> = claim.held.iter().filter_map(check).collect();
    out.dedup();
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::antennas::result::Range;
    use crate::radio::quantity::built_in;
    use crate::stats::conformity::Limits;

    fn held(estimate: f64, settle: Settle) -> Held {
        Held {
            meter: Some("analyzer".into()),
            route: Route::Level { quantity: "field_strength".into() },
            estimate,
            standard_uncertainty: 0.5,
            range: Range { low: estimate - 1.0, high: estimate + 1.0 },
            risk_each_end: 0.025,
            probability: 0.8,
            calibrated: true,
            risk_if_met: 0.2,
            risk_if_missed: 0.8,
            met_within: None,
            missed_outside: Limits { low: f64::NEG_INFINITY, high: f64::INFINITY },
            verdict: Verdict::NotShown,
            settle,
            visits: 4,
            shift: None,
        }
    }

    fn claim(held: Vec<Held>) -> Claim {
        Claim {
            antenna: "dunlin".into(),
            quantity: built_in("field_strength").unwrap(),
            band: "2 m".into(),
            at_most: Some(10.0),
            at_least: None,
            line: 1,
            verdict: Verdict::NotShown,
            held,
            best: Some(0),
            disagree: None,
            unheld: None,
        }
    }

    #[test]
    fn the_sessions_that_just_settle_a_claim_settle_it_with_even_odds() {
        let open = nearest(&claim(vec![held(9.3, Settle::Sessions(6))])).unwrap();
        assert!((open.chance(6) - 0.5).abs() < 0.02, "{}", open.chance(6));
        assert!(open.chance(1) < 0.5 && open.chance(30) > 0.5);
    }

    #[test]
    fn what_no_session_settles_becomes_a_check() {
        let never =
            |name: &str| Settle::Never { because: Lasting::Source(name.into()), left: Range { low: 9.0, high: 11.0 } };
        let checks = to_check(&claim(vec![held(9.9, never("calibration"))]));
        assert_eq!(checks[0].0, "Find out more about one thing: calibration");
        assert!(to_check(&claim(vec![held(9.9, never("x")), held(9.3, Settle::Sessions(3))])).is_empty());
    }
}
