//! Cautions of authority: services whose antenna may not be changed, channels not for tests, powers above a
//! channel's published limit. Local rules decide; these only say where to look.

use super::super::Rule;
use super::super::log::Log;
use super::frequency::is_americas;
use crate::radio::bands::Service;
use crate::season::config::Band;
use crate::season::finding::{Finding, Group, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "authority",
    group: Group::Suspect,
    asks: "a service whose antenna is fixed by its rules, a channel kept for calls, a service of another region, or more power than a channel's published limit",
    source: "47 CFR 95.567, 95.587, 95.1767 and 95.2767; ECC Decision (15)05; ITU Radio Regulations, Appendix 18 (in part from memory)",
    beside_verdicts: false,
    check,
};

const WHY: &str = "a test on the air needs authority for it, and a published result says where it was made";

fn check(log: &Log) -> Vec<Finding> {
    let bands = &log.config().bands;
    bands.iter().filter_map(|b| Some((b, Service::of(&b.name)?))).flat_map(|(b, s)| cautions(log, b, s)).collect()
}

fn cautions(log: &Log, band: &Band, service: Service) -> Vec<Finding> {
    let note = |what: String, action: &str| log.finding_in_season(Severity::Note, Some(band.line), what, WHY, action);
    let name = &band.name;
    let mut out = vec![];
    if matches!(service, Service::Frs | Service::Pmr446) {
        let what = format!(
            "band `{name}`: {} radios have an antenna that their rules fix to them ({})",
            service.name(),
            service.source()
        );
        out.push(note(
            what,
            "test other antennas there only on a radio and a service whose rules allow it; local rules decide",
        ));
    }
    if matches!(service, Service::Frs | Service::Gmrs | Service::Murs) && !is_americas(log.config().region) {
        let what = format!("band `{name}`: {} is a service of the United States and few other places", service.name());
        out.push(note(
            what,
            "elsewhere these frequencies are others': check that you may transmit there; local rules decide",
        ));
    }
    let channel = band.channel.or_else(|| band.frequency_mhz.and_then(|mhz| service.channel_at(mhz)));
    if service == Service::Marine && matches!(channel, Some(16 | 70)) {
        let what = format!("band `{name}`: marine channels 16 and 70 are for distress and calling, not for tests");
        out.push(note(what, "use a working channel that you may use"));
    }
    out.extend(channel.and_then(|n| too_strong(log, band, service, n)));
    out
}

/// Largest power a hand-held may use on a channel, W, where a rule names one that an output power can be
/// held against. (Limits of radiated power count the antenna's gain too: the output may have to be lower.)
fn limit(service: Service, channel: i64) -> Option<f64> {
    match (service, channel) {
        (Service::Frs | Service::Gmrs, 8..=14) => Some(0.5),
        (Service::Frs, _) | (Service::Murs, _) => Some(2.0),
        (Service::Gmrs, 1..=7) => Some(5.0),
        (Service::Gmrs, 15..=22) => Some(50.0),
        (Service::Pmr446, _) => Some(0.5),
        (Service::Marine, _) => Some(25.0),
        _ => None,
    }
}

fn too_strong(log: &Log, band: &Band, service: Service, channel: i64) -> Option<Finding> {
    let limit = limit(service, channel)?;
    // a tenth more is within what a hobby meter errs by
    let rows: Vec<usize> = (0..log.rows.len())
        .filter(|&i| log.quantity(i) == "forward_power" && log.band(i) == band.name && log.rows[i].value > 1.1 * limit)
        .collect();
    let &first = rows.first()?;
    let what = format!(
        "{} on `{}` ({}), where {} channel {channel} is published with at most {limit} W",
        log.written(first),
        band.name,
        log.antenna(first),
        service.name()
    );
    let action = "check the channel and the radio's setting; local rules decide";
    Some(Finding { endangers: vec![], ..log.finding(Severity::Note, &rows, what, WHY, action) })
}

#[cfg(test)]
mod tests {
    use super::super::tests::found;

    fn on(top: &str, band: &str, power: &str) -> Vec<String> {
        let config = format!("{top}\n[[band]]\n{band}\n");
        let log = format!("session,antenna,band,meter,quantity,value\nd1,a,FRS,m,forward_power,{power}\n");
        found("authority", &config, &log)
    }

    #[test]
    fn fixed_antennas_and_channel_powers_are_cautioned_about() {
        assert_eq!(on("", "name = \"FRS\"\nchannel = 3", "1.9").len(), 1);
        let both = on("", "name = \"FRS\"\nchannel = 9", "1.9");
        assert_eq!(both.len(), 2, "{both:#?}");
        assert!(both.iter().any(|w| w.contains("at most 0.5 W")));
        assert!(on("", "name = \"2 m\"", "4.5").is_empty());
    }

    #[test]
    fn services_of_one_region_are_cautioned_about_elsewhere_only() {
        assert!(on("", "name = \"GMRS\"", "4.5").is_empty());
        assert!(on("region = \"itu-2\"", "name = \"GMRS\"", "4.5").is_empty());
        assert_eq!(on("region = \"itu-1\"", "name = \"GMRS\"", "4.5").len(), 1);
        assert_eq!(on("", "name = \"marine\"\nchannel = 16", "4.5").len(), 1);
    }
}
