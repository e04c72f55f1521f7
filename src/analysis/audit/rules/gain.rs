//! Gains that are hard to believe: of two antennas against each other, or as declared.

use super::super::Rule;
use super::super::log::{Log, LogSet};
use crate::season::config::Antenna;
use crate::season::finding::{Finding, Group, Severity, Stake};

/// The rule.
pub const RULE: Rule = Rule {
    name: "implausible gain",
    group: Group::Suspect,
    asks: "antennas further apart in field strength than sound ones are, a short whip far above a full-size one, or a known gain no whip of that length has",
    source: "half-wave dipole 2.15 dBi (textbook); 12 dB, 3 dB and 3 dB above a half-wave: common practice, no source",
    beside_verdicts: false,
    check,
};

/// Sound whips differ by less than this, dB.
const SOUND: f64 = 12.0;
/// A short whip is not above a full-size one by more than this, dB.
const SHORT_ABOVE: f64 = 3.0;
/// A whip shorter than a wavelength has no more than a half-wave's gain and this, dB.
const ABOVE_HALF_WAVE: f64 = 3.0;
const HALF_WAVE_DBI: f64 = 2.15;
/// Standard errors by which a difference must exceed these.
const SURE: f64 = 4.0;
/// Speed of light, m/s, over a million: wavelength in mm is this times 1000 over MHz.
const C: f64 = 299.792_458;

fn check(log: &Log) -> Vec<Finding> {
    let mut out = declared(log);
    for set in log.sets.iter().filter(|s| s.set.quantity.name == "field_strength") {
        out.extend(differences(log, set));
    }
    out
}

fn wavelength_mm(log: &Log, band: &str) -> Option<f64> {
    let mhz = log.config().bands.iter().find(|b| b.name == band)?.frequency_mhz?;
    Some(C * 1000.0 / mhz)
}

fn declared(log: &Log) -> Vec<Finding> {
    let mut out = vec![];
    for antenna in &log.config().antennas {
        for (band, gain) in &antenna.gain_dbi {
            let short = match (antenna.length_mm, wavelength_mm(log, band)) {
                (Some(length), Some(wave)) => length < wave,
                _ => false,
            };
            if !short || gain.value - SURE * gain.standard <= HALF_WAVE_DBI + ABOVE_HALF_WAVE {
                continue;
            }
            let what = format!(
                "`{}` is declared with {} dBi on {band}, though it is shorter than a wavelength: a half-wave has {HALF_WAVE_DBI} dBi",
                antenna.name, gain.value
            );
            let why = "every gain in this season is reckoned from it";
            out.push(log.finding_in_season(
                Severity::Warning,
                Some(antenna.line),
                what,
                why,
                "check the figure and its unit: dBd is 2.15 less than dBi",
            ));
        }
    }
    out
}

fn differences(log: &Log, set: &LogSet) -> Vec<Finding> {
    let Some(fit) = set.fit(log.config()) else { return vec![] };
    let wave = wavelength_mm(log, &set.set.band);
    let of = |i: usize| log.config().antennas.iter().find(|a| a.name == set.set.antennas[i]);
    // against a quarter wave: short below 0.6 of it, full-size from 0.9 of it
    let quarters = |a: Option<&Antenna>| Some(a?.length_mm? / (wave? / 4.0));
    let mut out = vec![];
    for pair in &fit.pairs {
        let (above, below, difference) = if pair.difference >= 0.0 {
            (pair.first, pair.second, pair.difference)
        } else {
            (pair.second, pair.first, -pair.difference)
        };
        let sure = difference - SURE * pair.error.adjusted;
        let (high, low) = (&set.set.antennas[above], &set.set.antennas[below]);
        let stake = vec![Stake { between: true, ..set.stake(&[high, low]) }];
        let short_above =
            matches!((quarters(of(above)), quarters(of(below))), (Some(a), Some(b)) if a < 0.6 && b >= 0.9);
        let (what, action) = if sure > SOUND {
            let what = format!(
                "{high} is {difference:.0} dB above {low} ({}): sound antennas differ by less than {SOUND} dB",
                set.label()
            );
            (what, format!("look at {low}'s connector and tail, and at the range and unit of the readings"))
        } else if short_above && sure > SHORT_ABOVE {
            let what = format!(
                "{high} is {difference:.1} dB above {low} ({}), though it is much shorter than a quarter wave and {low} is not",
                set.label()
            );
            (what, format!("look whether {low} is sound, and whether the two were swapped"))
        } else {
            continue;
        };
        let why = "a ranking with a broken antenna or a swapped name in it is no ranking";
        let rows: Vec<usize> = set.rows.iter().copied().filter(|&i| log.antenna(i) == low).collect();
        out.push(log.finding(Severity::Warning, &rows, what, why, action).endangering(stake));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    fn season(db: f64, config: &str) -> Vec<String> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for session in 0..4 {
            for (name, level) in [("heron", 0.0), ("plover", db)] {
                for mounting in 1..=2 {
                    let read = level - 30.0 + 0.1 * f64::from((session * 3 + mounting) % 5);
                    text += &format!("d{session},{name},2 m,field,field_strength,{read:.1},{mounting}\n");
                }
            }
        }
        found("implausible gain", config, &text)
    }

    #[test]
    fn antennas_fifteen_db_apart_are_not_both_sound() {
        assert_eq!(season(-15.0, "").len(), 1);
        assert!(season(-10.0, "").is_empty());
    }

    #[test]
    fn a_short_whip_is_not_far_above_a_full_size_one() {
        let lengths = |a: f64, b: f64| {
            format!(
                "[[band]]\nname = \"2 m\"\nfrequency_mhz = 145.5\n[[antenna]]\nname = \"heron\"\nlength_mm = {a:?}\n[[antenna]]\nname = \"plover\"\nlength_mm = {b:?}\n"
            )
        };
        assert_eq!(season(5.0, &lengths(490.0, 95.0)).len(), 1);
        assert!(season(5.0, &lengths(95.0, 490.0)).is_empty());
        assert!(season(2.0, &lengths(490.0, 95.0)).is_empty());
    }

    #[test]
    fn a_known_gain_of_nine_dbi_is_no_short_whips() {
        let gain = |dbi: f64| {
            format!(
                "[[band]]\nname = \"2 m\"\nfrequency_mhz = 145.5\n[[antenna]]\nname = \"heron\"\nlength_mm = 400.0\ngain_dbi = {{ \"2 m\" = {{ value = {dbi:?}, standard = 0.5 }} }}\n[[antenna]]\nname = \"plover\"\n"
            )
        };
        assert_eq!(season(0.0, &gain(9.0)).len(), 1);
        assert!(season(0.0, &gain(2.0)).is_empty());
    }
}
