//! A band's frequency outside its published limits, or on another channel than it says.

use super::super::Rule;
use super::super::log::Log;
use crate::radio::bands::{REGIONS, Region, Service};
use crate::season::config::Band;
use crate::season::finding::{Finding, Group, Severity, Stake};

/// The rule.
pub const RULE: Rule = Rule {
    name: "band limits",
    group: Group::Impossible,
    asks: "a frequency outside its band's published limits, on no channel of its service, or on another channel than stated",
    source: "ITU Radio Regulations, Article 5 and Appendix 18; 47 CFR 95.563, 95.1763 and 95.2763; ECC Decision (15)05 (see the tables)",
    beside_verdicts: false,
    check,
};

const WHY: &str = "readings taken on another frequency than the log says are of another antenna, as far as a match goes; \
                   and outside the limits nobody here may transmit";

fn check(log: &Log) -> Vec<Finding> {
    let bands = &log.config().bands;
    let with_service = bands.iter().filter_map(|b| Some((b, Service::of(&b.name)?)));
    with_service.filter_map(|(band, service)| wrong(log, band, service)).collect()
}

fn wrong(log: &Log, band: &Band, service: Service) -> Option<Finding> {
    let region = log.config().region;
    let at = |severity, what: String, action: String| {
        let stake = Stake { band: Some(band.name.clone()), ..Stake::default() };
        Some(log.finding_in_season(severity, Some(band.line), what, WHY, action).endangering(vec![stake]))
    };
    let source = service.source();
    if let Some(number) = band.channel.filter(|_| service.is_channelled())
        && service.channel(number).is_empty()
    {
        let what =
            format!("band `{}` is on channel {number}, which {} does not have ({source})", band.name, service.name());
        return at(Severity::Error, what, "correct the channel".into());
    }
    let mhz = band.frequency_mhz?;
    if let Some(number) = band.channel.filter(|&n| service.is_channelled() && !service.is_channel(n, mhz)) {
        let own = service.channel(number)[0];
        let other = service.channel_at(mhz).map_or(String::new(), |n| format!(", which is channel {n}"));
        let what = format!(
            "band `{}` is at {mhz} MHz{other}, but channel {number} of {} is at {own:.4} MHz ({source})",
            band.name,
            service.name()
        );
        return at(Severity::Error, what, "correct the frequency or the channel".into());
    }
    if service.is_channelled() && service.channel_at(mhz).is_none() {
        let near = nearest(service, mhz);
        let what = format!("band `{}` is at {mhz} MHz, no channel of {} ({source}){near}", band.name, service.name());
        return at(Severity::Error, what, "correct the frequency; local rules decide where you may transmit".into());
    }
    let span = service.span(region)?;
    let outside = |low: f64, high: f64| !(low..=high).contains(&mhz);
    if outside(span.low, span.high) {
        let which = region.map_or("in any region", |_| "in this season's region");
        let what = format!(
            "band `{}` is at {mhz} MHz, outside {} {which} ({} to {} MHz, {source})",
            band.name,
            service.name(),
            span.low,
            span.high
        );
        return at(
            Severity::Error,
            what,
            "correct the frequency, or the region; local rules decide where you may transmit".into(),
        );
    }
    let narrower: Vec<&str> = REGIONS
        .iter()
        .filter(|(_, r)| region.is_none() && service.span(Some(*r)).is_some_and(|s| outside(s.low, s.high)))
        .map(|(name, _)| *name)
        .collect();
    if narrower.is_empty() {
        return None;
    }
    let what = format!(
        "band `{}` is at {mhz} MHz, inside {} in some regions but not in {} ({source})",
        band.name,
        service.name(),
        narrower.join(" and ")
    );
    at(Severity::Note, what, "state the season's `region`; local rules decide where you may transmit".into())
}

/// The channel next to a frequency, in words.
fn nearest(service: Service, mhz: f64) -> String {
    let all = service.channels().into_iter().flat_map(|n| service.channel(n).into_iter().map(move |c| (n, c)));
    all.min_by(|a, b| (a.1 - mhz).abs().total_cmp(&(b.1 - mhz).abs()))
        .map_or(String::new(), |(n, c)| format!("; the nearest is channel {n}, {c:.4} MHz"))
}

/// The region in words, for other rules of the air.
pub fn is_americas(region: Option<Region>) -> bool {
    region.is_none_or(|r| r == Region::Itu2)
}

#[cfg(test)]
mod tests {
    use super::super::tests::findings;
    use super::*;

    const LOG: &str = "session,antenna,band,meter,quantity,value\nd1,a,B,m,swr,1.5\nd1,b,B,m,swr,1.7\n";

    fn band(top: &str, name: &str, more: &str) -> Vec<Finding> {
        let config = format!("{top}\n[[band]]\nname = \"{name}\"\n{more}\n");
        findings("band limits", &config, &LOG.replace('B', name))
    }

    #[test]
    fn a_frequency_outside_every_region_is_an_error_and_one_outside_some_is_a_note() {
        assert!(band("", "2 m", "frequency_mhz = 145.5").is_empty());
        assert_eq!(band("", "2 m", "frequency_mhz = 155.4")[0].severity, Severity::Error);
        assert_eq!(band("", "2 m", "frequency_mhz = 146.52")[0].severity, Severity::Note);
        assert!(band("region = \"itu-2\"", "2 m", "frequency_mhz = 146.52").is_empty());
        let found = band("region = \"itu-1\"", "2 m", "frequency_mhz = 146.52");
        assert_eq!(found[0].severity, Severity::Error);
        assert_eq!(found[0].endangers[0].band.as_deref(), Some("2 m"));
        assert!(found[0].what.contains("144 to 146 MHz"));
    }

    #[test]
    fn a_channel_must_be_where_its_frequency_is() {
        assert!(band("", "GMRS", "frequency_mhz = 462.6\nchannel = 17").is_empty());
        let found = band("", "GMRS", "frequency_mhz = 462.6\nchannel = 18");
        assert!(found[0].what.contains("which is channel 17"), "{found:#?}");
        assert!(found[0].what.contains("462.6250 MHz"), "{found:#?}");
        assert!(band("", "PMR446", "frequency_mhz = 446.1")[0].what.contains("446.0938 MHz"));
        assert_eq!(band("", "MURS", "channel = 6").len(), 1);
        assert!(band("", "MURS", "channel = 5").is_empty());
        assert!(band("", "70 cm", "frequency_mhz = 433.5\nchannel = 7").is_empty());
    }

    #[test]
    fn a_band_of_another_name_is_left_alone() {
        assert!(band("", "6 m", "frequency_mhz = 999.0").is_empty());
    }
}
