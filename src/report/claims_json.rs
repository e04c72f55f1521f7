//! The answer as JSON, format `daylight/claims/1`. Numbers are in the unit named beside them; one that is not
//! known, or not finite, is null.

use serde::Serialize;

use crate::analysis::antennas::result::Range;
use crate::analysis::antennas::shown;
use crate::analysis::claims::result::{Claim, Claims, Held, Lasting, Route, Settle, Unheld, Verdict};
use crate::analysis::looks::Look;
use crate::analysis::next::Step;
use crate::radio::quantity::Quantity;
use crate::season::finding::Finding;
use crate::stats::conformity::Limits;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    season: &'a str,
    confidence: f64,
    risk: f64,
    /// Which look this is, where the season plans several.
    look: Option<Look>,
    seed: u64,
    trials: usize,
    met: usize,
    missed: usize,
    not_shown: usize,
    judged: usize,
    expected_wrong_at_most: f64,
    claims: Vec<ClaimOut<'a>>,
    next: &'a [Step],
    findings: &'a [Finding],
    left_out: Vec<LeftOut<'a>>,
    assumptions: &'a [String],
}

#[derive(Serialize)]
struct LeftOut<'a> {
    reason: &'a str,
    readings: usize,
}

#[derive(Serialize)]
struct ClaimOut<'a> {
    antenna: &'a str,
    band: &'a str,
    quantity: &'a str,
    unit: &'a str,
    at_most: Option<f64>,
    at_least: Option<f64>,
    line: usize,
    verdict: Verdict,
    /// Index into `results` of the one the verdict rests on, or of the narrowest.
    rests_on: Option<usize>,
    /// Indices of two results that cannot both be right.
    contradiction: Option<[usize; 2]>,
    /// Why there is no result.
    no_result: Option<NoResult<'a>>,
    results: Vec<ResultOut<'a>>,
}

#[derive(Serialize)]
struct NoResult<'a> {
    reason: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    reference: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    meters: Option<&'a [String]>,
}

#[derive(Serialize)]
struct ResultOut<'a> {
    meter: Option<&'a str>,
    from: &'static str,
    quantity_read: Option<&'a str>,
    reference: Option<&'a str>,
    reference_gain_dbi: Option<f64>,
    reference_standard_dbi: Option<f64>,
    visits: usize,
    unit: &'a str,
    estimate: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    risk_each_end: f64,
    on_scale: OnScale,
    probability: f64,
    risk_if_met: f64,
    risk_if_missed: f64,
    met_within: Option<Ends>,
    missed_outside: Ends,
    guard_band: Guard,
    verdict: Verdict,
    settle: SettleOut<'a>,
    shift: Option<ShiftOut<'a>>,
}

#[derive(Serialize)]
struct OnScale {
    scale: String,
    estimate: f64,
    standard_uncertainty: f64,
    low: f64,
    high: f64,
}

#[derive(Serialize)]
struct Ends {
    low: Option<f64>,
    high: Option<f64>,
}

/// How far inside its limit a result must lie to count as met, in the claim's unit.
#[derive(Serialize)]
struct Guard {
    at_least: Option<f64>,
    at_most: Option<f64>,
}

#[derive(Serialize)]
struct SettleOut<'a> {
    by: &'static str,
    more_sessions: Option<u32>,
    more_than: Option<u32>,
    never_because: Option<&'a str>,
    left_low: Option<f64>,
    left_high: Option<f64>,
}

#[derive(Serialize)]
struct ShiftOut<'a> {
    last_before: &'a str,
    first_after: &'a str,
    scale: String,
    size: f64,
    p_value: f64,
}

/// The answer as indented JSON.
///
/// # Errors
/// None is expected: every part can be written as JSON.
pub fn render(result: &Claims) -> serde_json::Result<String> {
    let left_out = result.left_out.iter().map(|(reason, readings)| LeftOut { reason, readings: *readings });
    serde_json::to_string_pretty(&Document {
        format: "daylight/claims/1",
        season: &result.season,
        confidence: result.confidence,
        risk: result.risk,
        look: result.look,
        seed: result.seed,
        trials: result.trials,
        met: result.count(Verdict::Met),
        missed: result.count(Verdict::Missed),
        not_shown: result.count(Verdict::NotShown),
        judged: result.judged(),
        expected_wrong_at_most: result.risk * result.judged() as f64,
        claims: result.claims.iter().map(claim).collect(),
        next: &result.next,
        findings: &result.findings,
        left_out: left_out.collect(),
        assumptions: &result.assumptions,
    })
}

fn claim(c: &Claim) -> ClaimOut<'_> {
    ClaimOut {
        antenna: &c.antenna,
        band: &c.band,
        quantity: &c.quantity.name,
        unit: &c.quantity.unit,
        at_most: c.at_most,
        at_least: c.at_least,
        line: c.line,
        verdict: c.verdict,
        rests_on: c.best,
        contradiction: c.disagree,
        no_result: c.unheld.as_ref().map(no_result),
        results: c.held.iter().map(|h| held(c, h)).collect(),
    }
}

fn no_result(reason: &Unheld) -> NoResult<'_> {
    let plain = |reason| NoResult { reason, reference: None, meters: None };
    match reason {
        Unheld::BandNeverMeasured => plain("band never measured"),
        Unheld::AntennaNeverMeasured => plain("antenna never measured"),
        Unheld::AntennaNotOnBand => plain("antenna not measured on the band"),
        Unheld::QuantityNeverMeasured => plain("quantity not measured"),
        Unheld::SpreadUnknown { meters } => NoResult { meters: Some(meters), ..plain("spread unknown") },
        Unheld::NoKnownGain => plain("no antenna of known gain"),
        Unheld::ReferenceNotMeasured { reference } => {
            NoResult { reference: Some(reference), ..plain("antenna of known gain not measured with it") }
        }
        Unheld::NotComparable { reference } => {
            NoResult { reference: Some(reference), ..plain("not comparable with the antenna of known gain") }
        }
        Unheld::Grades => plain("grades are never averaged"),
        Unheld::TooManyAntennas => plain("set not analysed"),
    }
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// Limits on results, moved from the analysis scale to the unit; an open end is null.
fn ends(quantity: &Quantity, limits: Limits) -> Ends {
    let shown = |y: f64| finite(y).map(|y| quantity.scale.to_shown(y)).and_then(finite);
    let (low, high) = (shown(limits.low), shown(limits.high));
    // a return loss turns over
    if quantity.scale.to_shown(0.2) > quantity.scale.to_shown(0.3) {
        Ends { low: high, high: low }
    } else {
        Ends { low, high }
    }
}

fn held<'a>(c: &'a Claim, h: &'a Held) -> ResultOut<'a> {
    let quantity = &c.quantity;
    let range = shown::range(quantity.scale, h.range);
    let (quantity_read, gain) = match &h.route {
        Route::Level { quantity } => (Some(quantity.as_str()), None),
        Route::Gain { reference, known } => (Some("field_strength"), Some((reference.as_str(), known))),
        Route::Declared => (None, None),
    };
    let within = h.met_within.map(|limits| ends(quantity, limits));
    let guard = |limit: Option<f64>, end: Option<f64>| Some((limit? - end?).abs());
    let guard_band = Guard {
        at_least: guard(c.at_least, within.as_ref().and_then(|w| w.low)),
        at_most: guard(c.at_most, within.as_ref().and_then(|w| w.high)),
    };
    ResultOut {
        meter: h.meter.as_deref(),
        from: match h.route {
            Route::Level { .. } => "its own level",
            Route::Gain { .. } => "field strength against an antenna of known gain",
            Route::Declared => "declared in season.toml",
        },
        quantity_read,
        reference: gain.map(|g| g.0),
        reference_gain_dbi: gain.map(|g| g.1.value),
        reference_standard_dbi: gain.map(|g| g.1.standard),
        visits: h.visits,
        unit: &quantity.unit,
        estimate: finite(quantity.scale.to_shown(h.estimate)),
        low: finite(range.low),
        high: finite(range.high),
        risk_each_end: h.risk_each_end,
        on_scale: OnScale {
            scale: quantity.scale.name(&quantity.unit),
            estimate: h.estimate,
            standard_uncertainty: h.standard_uncertainty,
            low: h.range.low,
            high: h.range.high,
        },
        probability: h.probability,
        risk_if_met: h.risk_if_met,
        risk_if_missed: h.risk_if_missed,
        met_within: within,
        missed_outside: ends(quantity, h.missed_outside),
        guard_band,
        verdict: h.verdict,
        settle: settle(quantity, &h.settle),
        shift: h.shift.as_ref().map(|s| ShiftOut {
            last_before: &s.before,
            first_after: &s.after,
            scale: quantity.scale.name(&quantity.unit),
            size: s.size,
            p_value: s.p_value,
        }),
    }
}

fn settle<'a>(quantity: &Quantity, settle: &'a Settle) -> SettleOut<'a> {
    let none = SettleOut {
        by: "nothing more",
        more_sessions: None,
        more_than: None,
        never_because: None,
        left_low: None,
        left_high: None,
    };
    match settle {
        Settle::Settled => none,
        Settle::Sessions(n) => SettleOut { by: "more sessions", more_sessions: Some(*n), ..none },
        Settle::MoreThan(n) => SettleOut { by: "more sessions", more_than: Some(*n), ..none },
        Settle::Never { because, left } => {
            let left: Range = shown::range(quantity.scale, *left);
            let because = match because {
                Lasting::Source(name) => name.as_str(),
                Lasting::Shift => "shift of the meter",
                Lasting::Nothing => "the result stands on the limit",
            };
            SettleOut {
                by: "no number of sessions",
                never_because: Some(because),
                left_low: finite(left.low),
                left_high: finite(left.high),
                ..none
            }
        }
    }
}
