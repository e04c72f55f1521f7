//! Public limits of the bands hand-held radios are tested on, and the frequencies of numbered channels.
//!
//! These are tables of frequencies, not permissions: what a person may transmit, where and with what, is
//! for local rules to say, and they may be narrower. Each table names its source; "from memory" marks
//! values that were not looked up.

/// A region of the International Telecommunication Union's frequency table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Region {
    /// Europe, Africa, the Middle East west of the Persian Gulf, and northern Asia.
    Itu1,
    /// The Americas.
    Itu2,
    /// The rest of Asia, and Oceania.
    Itu3,
}

/// The regions, by the name a season gives them.
pub const REGIONS: [(&str, Region); 3] = [("itu-1", Region::Itu1), ("itu-2", Region::Itu2), ("itu-3", Region::Itu3)];

/// A range of frequencies, MHz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A service as the practitioner names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Service {
    /// The amateur 2 m band.
    TwoMetres,
    /// The amateur 70 cm band.
    SeventyCentimetres,
    /// The General Mobile Radio Service.
    Gmrs,
    /// The Family Radio Service.
    Frs,
    /// PMR446.
    Pmr446,
    /// The Multi-Use Radio Service.
    Murs,
    /// Maritime mobile VHF.
    Marine,
}

/// What a band's name, case and blanks aside, may begin with; longer ones first.
const NAMES: [(&str, Service); 9] = [
    ("70cm", Service::SeventyCentimetres),
    ("2m", Service::TwoMetres),
    ("gmrs", Service::Gmrs),
    ("frs", Service::Frs),
    ("pmr446", Service::Pmr446),
    ("pmr", Service::Pmr446),
    ("murs", Service::Murs),
    ("marine", Service::Marine),
    ("maritime", Service::Marine),
];

/// Limits of the amateur bands by region, MHz.
///
/// # Source
/// ITU Radio Regulations, Article 5, Table of Frequency Allocations: 144–146 MHz in all regions and
/// 146–148 MHz in Regions 2 and 3; 430–440 MHz in all regions; footnotes and national tables widen the
/// latter to 420–450 MHz in parts of Regions 2 and 3 (from memory).
const AMATEUR: [(Service, Region, Span); 6] = [
    (Service::TwoMetres, Region::Itu1, Span { low: 144.0, high: 146.0 }),
    (Service::TwoMetres, Region::Itu2, Span { low: 144.0, high: 148.0 }),
    (Service::TwoMetres, Region::Itu3, Span { low: 144.0, high: 148.0 }),
    (Service::SeventyCentimetres, Region::Itu1, Span { low: 430.0, high: 440.0 }),
    (Service::SeventyCentimetres, Region::Itu2, Span { low: 420.0, high: 450.0 }),
    (Service::SeventyCentimetres, Region::Itu3, Span { low: 420.0, high: 450.0 }),
];

/// The five channels of the Multi-Use Radio Service, MHz.
///
/// # Source
/// 47 CFR 95.2763 (from memory); a public channel-plan data file of 2025 agrees.
const MURS: [f64; 5] = [151.82, 151.88, 151.94, 154.57, 154.6];

/// How near a frequency must be to a channel's, MHz: less than half the narrowest channel, and more than
/// a radio's own error.
const TOLERANCE: f64 = 0.002;

impl Service {
    /// The service a band's name stands for, where it is one of these.
    pub fn of(band: &str) -> Option<Service> {
        let plain: String = band.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        // "2 m" must not take "2 metres" away from nobody, but "2mx" is something else
        let ends =
            |rest: &str| rest.is_empty() || !rest.starts_with(|c: char| c.is_alphabetic()) || WORDS.contains(&rest);
        const WORDS: [&str; 5] = ["band", "etres", "eters", "vhf", "amateur"];
        NAMES.iter().find(|(name, _)| plain.strip_prefix(name).is_some_and(ends)).map(|&(_, service)| service)
    }

    /// The service's name in words.
    pub fn name(self) -> &'static str {
        match self {
            Service::TwoMetres => "the amateur 2 m band",
            Service::SeventyCentimetres => "the amateur 70 cm band",
            Service::Gmrs => "GMRS",
            Service::Frs => "FRS",
            Service::Pmr446 => "PMR446",
            Service::Murs => "MURS",
            Service::Marine => "marine VHF",
        }
    }

    /// Where its limits are published.
    pub fn source(self) -> &'static str {
        match self {
            Service::TwoMetres | Service::SeventyCentimetres => "ITU Radio Regulations, Article 5",
            Service::Gmrs => "47 CFR 95.1763",
            Service::Frs => "47 CFR 95.563",
            Service::Pmr446 => "ECC Decision (15)05",
            Service::Murs => "47 CFR 95.2763",
            Service::Marine => "ITU Radio Regulations, Appendix 18",
        }
    }

    /// Whether frequencies of this service come in numbered channels.
    pub fn is_channelled(self) -> bool {
        !matches!(self, Service::TwoMetres | Service::SeventyCentimetres)
    }

    /// The limits in a region; in the widest of all where none is given. `None` for a service of channels.
    pub fn span(self, region: Option<Region>) -> Option<Span> {
        let mine = AMATEUR.iter().filter(|(s, r, _)| *s == self && region.is_none_or(|region| region == *r));
        mine.map(|(_, _, span)| *span).reduce(|a, b| Span { low: a.low.min(b.low), high: a.high.max(b.high) })
    }

    /// The frequencies a numbered channel may stand for, MHz: the simplex or the hand-held's own first.
    pub fn channel(self, number: i64) -> Vec<f64> {
        let n = number as f64;
        match self {
            // 47 CFR 95.1763 and 95.563: 1–7 and 15–22 at 462 MHz, 8–14 at 467 MHz; a GMRS hand-held may
            // also transmit to a repeater 5 MHz above channels 15–22
            Service::Frs | Service::Gmrs => {
                let main = match number {
                    1..=7 => 462.5625 + 0.025 * (n - 1.0),
                    8..=14 => 467.5625 + 0.025 * (n - 8.0),
                    15..=22 => 462.55 + 0.025 * (n - 15.0),
                    _ => return vec![],
                };
                if self == Service::Gmrs && number >= 15 { vec![main, main + 5.0] } else { vec![main] }
            }
            // ECC Decision (15)05: sixteen analogue channels of 12.5 kHz from 446.0 MHz up
            Service::Pmr446 if (1..=16).contains(&number) => vec![446.00625 + 0.0125 * (n - 1.0)],
            Service::Murs => usize::try_from(number - 1).ok().and_then(|i| MURS.get(i)).copied().into_iter().collect(),
            // ITU Radio Regulations, Appendix 18 (from memory): ships from 156.05 MHz (1–28) and 156.025 MHz
            // (60–88) in steps of 50 kHz; a duplex channel's coast station 4.6 MHz above
            Service::Marine => {
                let ship = match number {
                    1..=28 => 156.05 + 0.05 * (n - 1.0),
                    60..=88 => 156.025 + 0.05 * (n - 60.0),
                    _ => return vec![],
                };
                vec![ship, ship + 4.6]
            }
            _ => vec![],
        }
    }

    /// The numbers its channels have.
    pub fn channels(self) -> Vec<i64> {
        (1..=88).filter(|&n| !self.channel(n).is_empty()).collect()
    }

    /// The channel at a frequency, if one is.
    pub fn channel_at(self, mhz: f64) -> Option<i64> {
        self.channels().into_iter().find(|&n| self.channel(n).iter().any(|c| (c - mhz).abs() <= TOLERANCE))
    }

    /// Whether a channel's frequency is this one.
    pub fn is_channel(self, number: i64, mhz: f64) -> bool {
        self.channel(number).iter().any(|c| (c - mhz).abs() <= TOLERANCE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frequencies as published: 47 CFR 95.563 and 95.1763, as a public reader of the rules prints them.
    #[test]
    fn the_channels_of_frs_and_gmrs_are_those_of_the_rules() {
        #[rustfmt::skip]
        let table = [
            462.5625, 462.5875, 462.6125, 462.6375, 462.6625, 462.6875, 462.7125,
            467.5625, 467.5875, 467.6125, 467.6375, 467.6625, 467.6875, 467.7125,
            462.5500, 462.5750, 462.6000, 462.6250, 462.6500, 462.6750, 462.7000, 462.7250,
        ];
        for (i, mhz) in table.into_iter().enumerate() {
            for service in [Service::Frs, Service::Gmrs] {
                let number = i as i64 + 1;
                assert!((service.channel(number)[0] - mhz).abs() < 1e-9, "{number}");
                assert_eq!(service.channel_at(mhz), Some(number));
            }
        }
        assert_eq!(Service::Gmrs.channels().len(), 22);
        assert_eq!(Service::Gmrs.channel(15), [462.55, 467.55]); // 15R, a repeater's input
        assert_eq!(Service::Frs.channel(15), [462.55]);
        assert!(Service::Gmrs.channel(23).is_empty());
    }

    /// 446.00625 + 0.0125·(n − 1) MHz, sixteen of them: ECC Decision (15)05; the last is 446.19375 MHz.
    #[test]
    fn pmr446_has_sixteen_channels_within_its_two_hundred_kilohertz() {
        assert_eq!(Service::Pmr446.channels(), (1..=16).collect::<Vec<_>>());
        assert!((Service::Pmr446.channel(16)[0] - 446.19375).abs() < 1e-9);
        assert_eq!(Service::Pmr446.channel_at(446.09375), Some(8));
        assert_eq!(Service::Pmr446.channel_at(446.1), None);
    }

    /// Well-known marine channels: 16 at 156.8, 6 at 156.3, 70 at 156.525, 13 at 156.65 MHz.
    #[test]
    fn marine_channels_follow_the_appendix() {
        for (number, mhz) in [(16, 156.8), (6, 156.3), (70, 156.525), (13, 156.65), (1, 156.05), (88, 157.425)] {
            assert!(Service::Marine.is_channel(number, mhz), "{number}");
        }
        assert!(Service::Marine.is_channel(26, 161.9)); // the coast station's side of a duplex channel
        assert!(Service::Marine.channel(40).is_empty());
        assert_eq!(Service::Marine.channels().len(), 57);
    }

    #[test]
    fn murs_has_five_channels() {
        assert_eq!(Service::Murs.channels(), [1, 2, 3, 4, 5]);
        assert_eq!(Service::Murs.channel_at(154.57), Some(4));
    }

    #[test]
    fn without_a_region_the_widest_limits_hold() {
        let two = |region| Service::TwoMetres.span(region).map(|s| (s.low, s.high));
        assert_eq!(two(Some(Region::Itu1)), Some((144.0, 146.0)));
        assert_eq!(two(None), Some((144.0, 148.0)));
        let seventy = |region| Service::SeventyCentimetres.span(region).map(|s| (s.low, s.high));
        assert_eq!(seventy(Some(Region::Itu1)), Some((430.0, 440.0)));
        assert_eq!(seventy(None), Some((420.0, 450.0)));
        assert_eq!(Service::Gmrs.span(None), None);
    }

    #[test]
    fn a_service_is_known_by_its_everyday_names_only() {
        for (name, service) in [
            ("2 m", Service::TwoMetres),
            ("2m", Service::TwoMetres),
            ("2 metres", Service::TwoMetres),
            ("70 cm", Service::SeventyCentimetres),
            ("70cm band", Service::SeventyCentimetres),
            ("GMRS", Service::Gmrs),
            ("GMRS 3", Service::Gmrs),
            ("FRS", Service::Frs),
            ("PMR 446", Service::Pmr446),
            ("PMR", Service::Pmr446),
            ("marine VHF", Service::Marine),
            ("MURS", Service::Murs),
        ] {
            assert_eq!(Service::of(name), Some(service), "{name}");
        }
        for name in ["6 m", "23 cm", "12 m", "low", "", "2mx", "frsk"] {
            assert_eq!(Service::of(name), None, "{name}");
        }
    }
}
