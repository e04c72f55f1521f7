//! A season's sweeps, band by band and meter by meter: SWR against frequency, and where it is least.

use crate::radio::reflection::{LARGEST, to_swr};
use crate::season::Season;
use crate::season::sweeps::{Sweep, Trace, bands};

/// The sweeps of one meter about one band.
#[derive(Debug, Clone, PartialEq)]
pub struct SweptBand {
    /// Band.
    pub band: String,
    /// Its frequency, MHz.
    pub mhz: f64,
    /// Meter.
    pub meter: String,
    /// The antennas that were swept, in the season's order.
    pub antennas: Vec<SweptAntenna>,
}

/// The sweeps of one antenna.
#[derive(Debug, Clone, PartialEq)]
pub struct SweptAntenna {
    /// Antenna.
    pub antenna: String,
    /// Its curves, by file.
    pub curves: Vec<Curve>,
}

/// One sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Frequency in MHz and SWR as the meter read it, in ascending order of frequency.
    pub points: Vec<(f64, f64)>,
    /// Where the SWR is least, and how large it is there; none of a single point.
    pub least: Option<(f64, f64)>,
    /// The frequencies in MHz between which it is at most 2, as far as the sweep goes; none where it never is.
    pub under_two: Option<(f64, f64)>,
}

impl SweptBand {
    /// Every curve of it.
    pub fn curves(&self) -> impl Iterator<Item = &Curve> {
        self.antennas.iter().flat_map(|a| &a.curves)
    }
}

/// Every band that some sweep covers, in ascending order, and every meter that swept it. Sweeps of check loads are left
/// aside: a load has no band.
pub fn swept(season: &Season) -> Vec<SweptBand> {
    let mut out: Vec<SweptBand> = vec![];
    for stretch in bands(&season.config) {
        let mut sweeps: Vec<(&Sweep, Curve)> = season
            .sweeps
            .iter()
            .filter(|s| !season.config.is_load(&s.antenna) && s.trace.at(stretch.hertz).is_some())
            .map(|s| (s, curve(&s.trace, stretch.low, stretch.high)))
            .collect();
        let place = |s: &Sweep| season.config.antennas.iter().position(|a| a.name == s.antenna).unwrap_or(usize::MAX);
        sweeps.sort_by(|(a, _), (b, _)| (place(a), &a.antenna, &a.file).cmp(&(place(b), &b.antenna, &b.file)));
        for (sweep, curve) in sweeps {
            let here = |b: &SweptBand| b.band == stretch.band && b.meter == sweep.meter;
            let at = out.iter().position(here).unwrap_or_else(|| {
                let (band, meter) = (stretch.band.clone(), sweep.meter.clone());
                out.push(SweptBand { band, mhz: stretch.hertz / 1e6, meter, antennas: vec![] });
                out.len() - 1
            });
            match out[at].antennas.last_mut().filter(|a| a.antenna == sweep.antenna) {
                Some(antenna) => antenna.curves.push(curve),
                None => out[at].antennas.push(SweptAntenna { antenna: sweep.antenna.clone(), curves: vec![curve] }),
            }
        }
    }
    out
}

/// The part of a trace between two frequencies in hertz.
fn curve(trace: &Trace, low: f64, high: f64) -> Curve {
    let swr = |rho: f64| to_swr(rho.min(LARGEST));
    let inside = trace.points.iter().filter(|p| (low..=high).contains(&p.hertz));
    let points: Vec<(f64, f64)> = inside.map(|p| (p.hertz / 1e6, swr(p.gamma.norm()))).collect();
    let dip = trace.dip(low, high);
    let ends = points.first().zip(points.last()).map(|(first, last)| (first.0, last.0));
    let under_two = dip.filter(|d| d.rho <= 1.0 / 3.0).zip(ends).map(|(dip, (first, last))| {
        let (down, up) = trace.edges(&dip, 1.0 / 3.0);
        (down.map_or(first, |hertz| hertz / 1e6), up.map_or(last, |hertz| hertz / 1e6))
    });
    Curve { points, least: dip.map(|d| (d.hertz / 1e6, swr(d.rho))), under_two }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn every_sweep_of_an_antenna_stands_under_its_band_with_its_least_swr() {
        let season = Season::load(Path::new("datasets/bench-sweeps")).unwrap();
        let swept = swept(&season);
        assert_eq!(swept.len(), 1);
        let band = &swept[0];
        assert_eq!((band.band.as_str(), band.mhz, band.meter.as_str()), ("2 m", 145.5, "analyzer"));
        let names: Vec<&str> = band.antennas.iter().map(|a| a.antenna.as_str()).collect();
        assert_eq!(names, ["heron", "plover", "curlew"]);
        assert!(band.antennas.iter().all(|a| a.curves.len() == 6));
        for curve in band.curves() {
            let (at, least) = curve.least.unwrap();
            assert!(curve.points.iter().all(|p| p.1 >= least - 1e-12));
            let (low, high) = curve.under_two.unwrap();
            assert!(low < at && at < high, "{low} {at} {high}");
        }
    }
}
