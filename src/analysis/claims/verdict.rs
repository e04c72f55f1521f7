//! One meter's result against one claim; and one verdict from several meters.

use super::absolute::{Absolute, More};
use super::at_limit::AtLimit;
use super::at_reading::AtReading;
use super::errors::Errors;
use super::result::{Held, Lasting, Route, Settle, ShiftSeen, Verdict};
use crate::analysis::antennas::result::Range;
use crate::stats::conformity::Limits;

/// Beyond this many more sessions a number is not worth giving.
const MOST_SESSIONS: u32 = 50;

/// The fewest draws to be expected beyond a risk that a verdict rests on.
const FEWEST_BEYOND: f64 = 4.0;

/// How a claim is decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// The limits, on the analysis scale.
    pub limits: Limits,
    /// The chance allowed of a wrong verdict, all meters together.
    pub risk: f64,
    /// Meters that share it.
    pub meters: usize,
    /// Seed of the draws.
    pub seed: u64,
}

impl Rule {
    /// The chance allowed at each end of each meter's range.
    ///
    /// Every one of several meters may call the claim by itself, so each gets its share of the risk; together
    /// they err no more often than was asked (Bonferroni). Between two limits a value can be called missed
    /// on either side, so each end gets half.
    pub fn risk_each_end(&self) -> f64 {
        self.risk / self.meters.max(1) as f64 / if self.limits.is_two_sided() { 2.0 } else { 1.0 }
    }

    /// Whether so many draws can show so small a risk: a few of them must be expected beyond it. What they can't show is
    /// not shown.
    fn is_resolved(&self, errors: &Errors) -> bool {
        self.risk_each_end() * errors.trials() as f64 >= FEWEST_BEYOND
    }

    /// Whether a reading `y` shows that the claim is met.
    fn shows_met(&self, errors: &Errors, y: f64) -> bool {
        let (above, below) = (|limit| errors.risk_above(y, limit), |limit| errors.risk_below(y, limit));
        self.is_resolved(errors) && Outside::of(above, below, self.limits).most() <= self.risk_each_end()
    }

    /// Whether it shows that the claim is missed.
    fn shows_missed(&self, errors: &Errors, y: f64) -> bool {
        let (above, below) = (|limit| errors.risk_above(y, limit), |limit| errors.risk_below(y, limit));
        self.is_resolved(errors) && Inside::of(above, below, self.limits).least() <= self.risk_each_end()
    }
}

/// The risks in saying, on one reading, that the true value is on the good side of each limit; 0 where it is open.
#[derive(Debug, Clone, Copy)]
struct Outside {
    above: f64,
    below: f64,
}

impl Outside {
    fn of(above: impl Fn(f64) -> f64, below: impl Fn(f64) -> f64, Limits { low, high }: Limits) -> Outside {
        Outside {
            above: if high.is_finite() { above(high) } else { 0.0 },
            below: if low.is_finite() { below(low) } else { 0.0 },
        }
    }

    fn most(&self) -> f64 {
        self.above.max(self.below)
    }
}

/// The risks in saying that it lies beyond each limit; 1 where it is open.
#[derive(Debug, Clone, Copy)]
struct Inside {
    not_above: f64,
    not_below: f64,
}

impl Inside {
    fn of(above: impl Fn(f64) -> f64, below: impl Fn(f64) -> f64, Limits { low, high }: Limits) -> Inside {
        Inside {
            not_above: if high.is_finite() { below(high) } else { 1.0 },
            not_below: if low.is_finite() { above(low) } else { 1.0 },
        }
    }

    /// A miss lies beyond one of the limits.
    fn least(&self) -> f64 {
        self.not_above.min(self.not_below)
    }
}

/// Where a result comes from.
pub struct Origin {
    /// The meter.
    pub meter: Option<String>,
    /// How the value came about.
    pub route: Route,
    /// Sessions the antenna was measured in.
    pub visits: usize,
    /// Names of the set's sessions.
    pub sessions: Vec<String>,
    /// The random stream.
    pub task: u64,
}

/// Holds one result against a claim.
pub fn hold(value: &Absolute, origin: Origin, rule: &Rule) -> Held {
    let now = value.errors(More::Sessions(0), rule.seed, origin.task);
    let (y, risk) = (value.estimate, rule.risk_each_end());
    let reading = AtReading::new(&now, y);
    let above = |limit: f64| reading.risk_above(limit);
    let below = |limit: f64| reading.risk_below(limit);
    let (outside, inside) = (Outside::of(above, below, rule.limits), Inside::of(above, below, rule.limits));
    let resolved = rule.is_resolved(&now);
    let verdict = match (resolved && outside.most() <= risk, resolved && inside.least() <= risk) {
        (true, false) => Verdict::Met,
        (false, true) => Verdict::Missed,
        _ => Verdict::NotShown,
    };
    let range = reading.range(risk);
    let (met_within, missed_outside) = met_and_missed(&now, rule);
    Held {
        estimate: y,
        standard_uncertainty: value.standard_uncertainty,
        range: Range { low: range.0, high: range.1 },
        risk_each_end: risk,
        probability: reading.within(rule.limits),
        risk_if_met: (outside.above + outside.below).min(1.0),
        risk_if_missed: inside.least(),
        met_within,
        missed_outside,
        settle: if verdict == Verdict::NotShown { settle(value, origin.task, rule) } else { Settle::Settled },
        verdict,
        visits: origin.visits,
        calibrated: value.calibrated,
        shift: value.shift.as_ref().map(|s| ShiftSeen {
            before: origin.sessions.get(s.last_before).cloned().unwrap_or_default(),
            after: origin.sessions.get(s.first_after).cloned().unwrap_or_default(),
            size: s.size(),
            p_value: s.p_value,
        }),
        meter: origin.meter,
        route: origin.route,
    }
}

/// The acceptance interval, results as uncertain as this one that would count as met; and the rejection limits, beyond
/// which they would count as missed: open where none could.
fn met_and_missed(errors: &Errors, rule: &Rule) -> (Option<Limits>, Limits) {
    let (Limits { low, high }, risk) = (rule.limits, rule.risk_each_end());
    let at = |limit: f64| limit.is_finite().then(|| AtLimit::new(errors, limit));
    let (at_low, at_high) = (at(low), at(high));
    let top = at_high.as_ref().map_or(Some(f64::INFINITY), |at| at.largest_below(risk));
    let bottom = at_low.as_ref().map_or(Some(f64::NEG_INFINITY), |at| at.smallest_above(risk));
    let met = top.zip(bottom).and_then(|(top, bottom)| Limits::new(bottom, top));
    let above = at_high.and_then(|at| at.smallest_above(risk)).unwrap_or(f64::INFINITY);
    let below = at_low.and_then(|at| at.largest_below(risk)).unwrap_or(f64::NEG_INFINITY);
    (met, Limits { low: below, high: above })
}

/// How many more sessions would settle a claim, should the estimate stay where it is.
fn settle(value: &Absolute, task: u64, rule: &Rule) -> Settle {
    let y = value.estimate;
    let inside = rule.limits.contains(y);
    let shows = |value: &Absolute, more: More| {
        let errors = value.errors(more, rule.seed, task);
        if inside { rule.shows_met(&errors, y) } else { rule.shows_missed(&errors, y) }
    };
    if !shows(value, More::Forever) {
        let left = AtReading::new(&value.errors(More::Forever, rule.seed, task), y).range(rule.risk_each_end());
        let unshifted = Absolute { shift: None, ..value.clone() };
        let because = if value.shift.is_some() && shows(&unshifted, More::Forever) {
            Lasting::Shift
        } else {
            value.largest_lasting().map_or(Lasting::Nothing, |name| Lasting::Source(name.to_string()))
        };
        return Settle::Never { because, left: Range { low: left.0, high: left.1 } };
    }
    if !shows(value, More::Sessions(MOST_SESSIONS)) {
        return Settle::MoreThan(MOST_SESSIONS);
    }
    // zero more don't, that many do
    let (mut few, mut enough) = (0, MOST_SESSIONS);
    while enough - few > 1 {
        let middle = (few + enough) / 2;
        if shows(value, More::Sessions(middle)) { enough = middle } else { few = middle }
    }
    Settle::Sessions(enough)
}

/// One verdict from several meters' results.
pub struct Overall {
    /// The verdict.
    pub verdict: Verdict,
    /// The result it rests on, or the narrowest.
    pub best: Option<usize>,
    /// Two results that cannot both be right.
    pub disagree: Option<[usize; 2]>,
}

/// Puts the meters' results together.
///
/// Each was held to its share of the risk, so any one of them may decide; the others need not be sharp enough
/// to agree. But two whose ranges have nothing in common cannot both be right: one of them errs by more
/// than its declared sources allow, and nothing here says which. Then there is no verdict.
pub fn overall(held: &[Held]) -> Overall {
    let width = |i: usize| held[i].range.high - held[i].range.low;
    let narrowest = |among: &mut dyn Iterator<Item = usize>| among.min_by(|&a, &b| width(a).total_cmp(&width(b)));
    let all = || 0..held.len();
    // the pair furthest apart, so that the reason names the worst of it
    let pairs = all().flat_map(|a| all().map(move |b| [a, b]));
    let gap = |[a, b]: [usize; 2]| held[b].range.low - held[a].range.high;
    let disagree = pairs.filter(|&pair| gap(pair) > 0.0).max_by(|&x, &y| gap(x).total_cmp(&gap(y)));
    let with = |verdict: Verdict| narrowest(&mut all().filter(|&i| held[i].verdict == verdict));
    let undecided = Overall { verdict: Verdict::NotShown, best: narrowest(&mut all()), disagree };
    if disagree.is_some() {
        return undecided;
    }
    match (with(Verdict::Met), with(Verdict::Missed)) {
        (Some(met), None) => Overall { verdict: Verdict::Met, best: Some(met), disagree },
        (None, Some(missed)) => Overall { verdict: Verdict::Missed, best: Some(missed), disagree },
        _ => undecided,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::antennas::fitted::{ScatterPart, Shrinks};
    use crate::analysis::antennas::sources::OwnError;
    use crate::analysis::claims::absolute::Basis;

    fn value(estimate: f64, scatter: f64, lasting: f64) -> Absolute {
        let n = 20_000;
        // evenly over ± lasting: what stays
        let fixed = |i: usize| lasting * (2.0 * (i as f64 + 0.5) / f64::from(n) - 1.0);
        Absolute {
            estimate,
            standard_uncertainty: scatter,
            scatter: vec![ScatterPart { error: scatter, df: 8.0, shrinks_with: Shrinks::OwnVisits }],
            basis: Basis { sessions: 1.0, visits: 3.0, other_visits: None },
            declared: (0..n as usize).map(|i| OwnError { fixed: fixed(i), ..Default::default() }).collect(),
            has_wave: false,
            shift: None,
            lasting: vec![("calibration".into(), lasting)],
            calibrated: true,
        }
    }

    fn held(value: &Absolute, limits: Limits, meters: usize) -> Held {
        let origin = Origin { meter: None, route: Route::Declared, visits: 3, sessions: vec![], task: 1 };
        hold(value, origin, &Rule { limits, risk: 0.025, meters, seed: 1 })
    }

    #[test]
    fn a_risk_too_small_for_the_draws_to_show_gives_no_verdict() {
        let verdict = |risk: f64| {
            let origin = Origin { meter: None, route: Route::Declared, visits: 3, sessions: vec![], task: 1 };
            let rule = Rule { limits: Limits::at_most(10.0), risk, meters: 1, seed: 1 };
            hold(&value(1.0, 0.01, 0.1), origin, &rule).verdict
        };
        // of 20,000 draws 20 lie beyond the one risk, and 2 beyond the other
        assert_eq!((verdict(1e-3), verdict(1e-4)), (Verdict::Met, Verdict::NotShown));
    }

    #[test]
    fn a_verdict_is_given_only_when_the_whole_range_supports_it() {
        for (estimate, verdict) in [(9.0, Verdict::Met), (9.9, Verdict::NotShown), (11.0, Verdict::Missed)] {
            let held = held(&value(estimate, 0.1, 0.2), Limits::at_most(10.0), 1);
            assert_eq!(held.verdict, verdict, "{held:?}");
            assert_eq!(held.verdict == Verdict::Met, held.range.high <= 10.0);
            assert_eq!(held.verdict == Verdict::Missed, held.range.low > 10.0);
            assert_eq!(held.verdict == Verdict::Met, held.met_within.unwrap().contains(estimate));
            assert_eq!(held.verdict == Verdict::Missed, !held.missed_outside.contains(estimate));
            assert!((held.risk_if_met + held.risk_if_missed - 1.0).abs() < 1e-3);
        }
    }

    #[test]
    fn sessions_settle_a_gap_wider_than_what_lasts_and_none_settles_a_narrower_one() {
        let wide = held(&value(9.6, 0.3, 0.1), Limits::at_most(10.0), 1);
        let Settle::Sessions(n) = wide.settle else { panic!("{:?}", wide.settle) };
        assert!((2..=30).contains(&n), "{n}");
        let narrow = held(&value(9.95, 0.3, 0.2), Limits::at_most(10.0), 1);
        assert!(
            matches!(&narrow.settle, Settle::Never { because: Lasting::Source(name), .. } if name == "calibration"),
            "{:?}",
            narrow.settle
        );
    }

    #[test]
    fn meters_share_the_risk_and_two_limits_do() {
        let limits = Limits::new(8.0, 12.0).unwrap();
        let rule = |limits, meters| Rule { limits, risk: 0.04, meters, seed: 1 }.risk_each_end();
        assert_eq!(rule(Limits::at_most(1.0), 1), 0.04);
        assert_eq!(rule(Limits::at_most(1.0), 2), 0.02);
        assert_eq!(rule(limits, 2), 0.01);
        let one = held(&value(10.0, 0.1, 0.2), limits, 1);
        assert_eq!(one.verdict, Verdict::Met);
        assert_eq!(held(&value(13.0, 0.1, 0.2), limits, 1).verdict, Verdict::Missed);
        assert_eq!(held(&value(7.0, 0.1, 0.2), limits, 1).verdict, Verdict::Missed);
        assert_eq!(held(&value(12.0, 0.1, 0.2), limits, 1).verdict, Verdict::NotShown);
    }

    #[test]
    fn one_sharp_meter_decides_and_two_that_contradict_each_other_do_not() {
        let limits = Limits::at_most(10.0);
        let sharp = held(&value(9.0, 0.1, 0.1), limits, 2);
        let blunt = held(&value(9.8, 1.0, 0.1), limits, 2);
        let other = held(&value(11.0, 0.1, 0.1), limits, 2);
        let lower = held(&value(8.0, 0.1, 0.1), limits, 2);
        let both = overall(&[blunt.clone(), sharp.clone()]);
        assert_eq!((both.verdict, both.best, both.disagree), (Verdict::Met, Some(1), None));
        let torn = overall(&[sharp.clone(), other]);
        assert_eq!((torn.verdict, torn.disagree), (Verdict::NotShown, Some([0, 1])));
        // both say met, yet cannot both be right: one of them errs by more than is declared
        assert_eq!(overall(&[sharp, lower]).verdict, Verdict::NotShown);
        assert_eq!(overall(&[blunt]).verdict, Verdict::NotShown);
    }
}
