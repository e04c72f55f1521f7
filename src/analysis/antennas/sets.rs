//! The sets of a season: all readings of one quantity on one band by one meter, as the sufficient
//! statistics of their mountings.

use std::collections::BTreeMap;

use polars::prelude::*;
use rayon::prelude::*;

use crate::analysis::coded::{Coded, QuickMap};
use crate::analysis::meters::correction::SetCorrection;
use crate::analysis::sessions::Sessions;
use crate::radio::quantity::{Quantity, Scale};
use crate::radio::reflection;
use crate::season::config::{Config, Repeats};
use crate::stats::mixed::MountingSummary;

/// One set, ready to be fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct Set {
    /// What was read.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Antennas, in the season's order (then alphabetical).
    pub antennas: Vec<String>,
    /// Sessions, in order of time ([`Sessions`]).
    pub sessions: Vec<String>,
    /// One entry a mounting, on the analysis scale, corrected for declared line loss.
    pub mountings: Vec<MountingSummary>,
    /// What |Γ| read was multiplied by to move it from the meter's plane to the antenna; 1 where no
    /// line is declared or the quantity is no reflection.
    pub line_factor: f64,
    /// The display's last digit in the quantity's unit: declared, or else the finest written.
    pub resolution: f64,
    /// Whether `resolution` was declared.
    pub resolution_declared: bool,
    /// The meter's offset that was taken out of these readings, where the season asks for that.
    pub correction: Option<SetCorrection>,
    /// Of resistances and reactances, an antenna each: the largest |Z| that readings of other sets on that band allow,
    /// Ω; 0 where there are none. Empty for other quantities.
    pub moduli: Vec<f64>,
}

/// One ordinal set: reports in grades, by session and antenna.
#[derive(Debug, Clone)]
pub struct OrdinalSet {
    /// What was reported.
    pub quantity: Quantity,
    /// Band.
    pub band: String,
    /// Listener.
    pub meter: String,
    /// Antennas, in the season's order.
    pub antennas: Vec<String>,
    /// Per session: per antenna heard in it, its reports.
    pub sessions: Vec<BTreeMap<usize, Vec<f64>>>,
}

/// One mounting of an antenna or check load, as read.
#[derive(Debug, Clone)]
pub struct Row {
    /// Quantity.
    pub quantity: String,
    /// Band.
    pub band: String,
    /// Meter.
    pub meter: String,
    /// Session.
    pub session: String,
    /// Antenna or check load.
    pub antenna: String,
    /// What tells the mountings of one visit apart: its number, where the log numbers it.
    pub mounting: i64,
    /// Its readings on the analysis scale, at the meter's own plane; session and antenna not yet numbered.
    pub summary: MountingSummary,
    /// The finest digit written.
    pub step: f64,
}

/// The columns of names, in the order in which they are numbered.
pub const NAMES: [&str; 5] = ["quantity", "band", "meter", "session", "antenna"];

/// Groups the readings into sets, by quantity in the documented order, then band in the season's order,
/// then meter. Readings of check loads are no antenna's and stay out.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame made by the season.
pub fn sets_of(frame: &DataFrame, config: &Config) -> PolarsResult<(Vec<Set>, Vec<OrdinalSet>)> {
    let [quantities, bands, meters, sessions, antennas] = Coded::all(frame, NAMES)?;
    let coded = [quantities, bands, meters, Sessions::of(frame, sessions)?.coded, antennas];
    sets_of_coded(frame, coded.each_ref(), config)
}

/// The same where the columns [`NAMES`] are numbered already, sessions in order of time.
///
/// # Errors
/// As [`sets_of`].
pub fn sets_of_coded(
    frame: &DataFrame,
    coded: [&Coded; 5],
    config: &Config,
) -> PolarsResult<(Vec<Set>, Vec<OrdinalSet>)> {
    let mountings = mountings(frame, coded, config)?;
    let [quantities, bands, meters, _, antennas] = coded.map(|c| &c.names[..]);
    let loads: Vec<bool> = antennas.iter().map(|name| config.is_load(name)).collect();
    let mut grouped: BTreeMap<[usize; 3], Vec<&Mounting>> = BTreeMap::new();
    for m in mountings.iter().filter(|m| !loads[m.names[4]]) {
        let [quantity, band, meter, ..] = m.names;
        grouped.entry([quantity, band, meter]).or_default().push(m);
    }
    let mut grouped: Vec<_> = grouped.into_iter().collect();
    grouped.sort_by_cached_key(|&([quantity, band, meter], _)| {
        let place = quantity_place(config, &quantities[quantity]);
        let band_place = config.bands.iter().position(|b| b.name == bands[band]).unwrap_or(usize::MAX);
        (place, band_place, format!("{}\u{0}{}", bands[band], meters[meter]))
    });
    let (mut sets, mut ordinal) = (vec![], vec![]);
    for ([quantity, band, meter], of) in grouped {
        let Some(quantity) = config.quantity(&quantities[quantity]) else { continue };
        let group = Group { quantity, band: bands[band].clone(), meter: meters[meter].clone(), of, coded };
        if group.quantity.scale == Scale::Ordinal {
            ordinal.push(ordinal_set(group, config));
        } else {
            sets.push(set(group, config));
        }
    }
    super::moduli::attach(&mut sets);
    Ok((sets, ordinal))
}

/// Place of a quantity in the documented order, declared ones last.
pub fn quantity_place(config: &Config, name: &str) -> usize {
    let declared = config.quantities.iter().position(|q| q.name == name).map(|i| i + 100);
    declared.or_else(|| crate::radio::quantity::built_in_names().position(|q| q == name)).unwrap_or(usize::MAX)
}

/// What tells a row's mounting from others of its visit: its number; for rows without one, one mounting a
/// visit or one a row, as the season says. Numbered and unnumbered rows never share a mounting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum MountingKey {
    Numbered(i64),
    LeftOn,
    Row(usize),
}

impl MountingKey {
    /// As a number: below all that a log can give, where it gives none.
    fn number(self) -> i64 {
        match self {
            MountingKey::Numbered(number) => number,
            MountingKey::LeftOn => i64::MIN,
            MountingKey::Row(row) => i64::MIN + 1 + row as i64,
        }
    }
}

/// One mounting by its names' numbers.
struct Mounting {
    names: [usize; 5],
    key: MountingKey,
    summary: MountingSummary,
    step: f64,
    reports: Vec<f64>,
}

/// The mountings of one set.
struct Group<'a> {
    quantity: Quantity,
    band: String,
    meter: String,
    of: Vec<&'a Mounting>,
    coded: [&'a Coded; 5],
}

impl Group<'_> {
    /// Names of one kind that the mountings bear, in alphabetical order, each with its number.
    fn names(&self, kind: usize) -> Vec<(&str, usize)> {
        let mut numbers: Vec<usize> = self.of.iter().map(|m| m.names[kind]).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let mut names: Vec<(&str, usize)> = numbers.into_iter().map(|n| (&self.coded[kind].names[n][..], n)).collect();
        names.sort_unstable();
        names
    }

    /// Antennas, in the season's order, then alphabetical.
    fn antennas(&self, config: &Config) -> Order {
        let mut names = self.names(4);
        names.sort_by_key(|(name, _)| config.antennas.iter().position(|a| a.name == *name).unwrap_or(usize::MAX));
        Order::new(&names, self.coded[4])
    }

    /// Sessions, in order of time, as they are numbered.
    fn sessions(&self) -> Order {
        let mut names = self.names(3);
        names.sort_by_key(|&(_, number)| number);
        Order::new(&names, self.coded[3])
    }
}

/// Names of a set in its order, and the place of each by its number.
struct Order {
    names: Vec<String>,
    place: Vec<usize>,
}

impl Order {
    fn new(names: &[(&str, usize)], coded: &Coded) -> Order {
        let mut place = vec![0; coded.names.len()];
        names.iter().enumerate().for_each(|(at, &(_, number))| place[number] = at);
        Order { names: names.iter().map(|(name, _)| (*name).to_string()).collect(), place }
    }
}

/// One entry a mounting, check loads' too, in order of first appearance.
///
/// # Errors
/// Whatever Polars reports; none is expected on a frame made by the season.
pub fn rows(frame: &DataFrame, config: &Config) -> PolarsResult<Vec<Row>> {
    let coded = Coded::all(frame, NAMES)?;
    let row = |m: Mounting| {
        let name = |k: usize| coded[k].names[m.names[k]].clone();
        Row {
            quantity: name(0),
            band: name(1),
            meter: name(2),
            session: name(3),
            antenna: name(4),
            mounting: m.key.number(),
            summary: m.summary,
            step: m.step,
        }
    };
    Ok(mountings(frame, coded.each_ref(), config)?.into_iter().map(row).collect())
}

/// Plain loops: the grouping of a large log is what reading it in takes longest over.
fn mountings(frame: &DataFrame, coded: [&Coded; 5], config: &Config) -> PolarsResult<Vec<Mounting>> {
    let number = |name: &str| -> PolarsResult<Vec<Option<f64>>> { Ok(frame.column(name)?.f64()?.iter().collect()) };
    let (value, y, readings) = (number("value")?, number("y")?, number("readings")?);
    let (y_sd, step, squares) = (number("y_sd")?, number("step")?, number("squares")?);
    let numbered: Vec<Option<i64>> = frame.column("mounting")?.i64()?.iter().collect();
    let mut place: QuickMap<([usize; 5], MountingKey), usize> = QuickMap::default();
    let mut found: Vec<([usize; 5], MountingKey, Vec<usize>)> = vec![];
    for i in 0..frame.height() {
        let names = coded.map(|c| c.of_row[i]);
        let key = match (numbered[i], config.repeats) {
            (Some(number), _) => MountingKey::Numbered(number),
            (None, Repeats::LeftOn) => MountingKey::LeftOn,
            (None, Repeats::Remounted) => MountingKey::Row(i),
        };
        let at = *place.entry((names, key)).or_insert_with(|| {
            found.push((names, key, vec![]));
            found.len() - 1
        });
        found[at].2.push(i);
    }
    let of = |column: &[Option<f64>], i: usize, default: f64| column[i].unwrap_or(default);
    let summary = |rows: &[usize]| {
        let n: f64 = rows.iter().map(|&i| of(&readings, i, 1.0)).sum();
        let sum = || rows.iter().map(|&i| of(&readings, i, 1.0) * of(&y, i, 0.0)).sum::<f64>();
        // one row's mean is its own, to the bit
        let mean = if let [only] = rows { of(&y, *only, 0.0) } else { sum() / n };
        // scatter of the rows about their mean, and inside summarised rows
        let between = rows.iter().map(|&i| of(&readings, i, 1.0) * (of(&y, i, 0.0) - mean).powi(2)).sum::<f64>();
        // a summarised row without a standard deviation brings no degrees of freedom of its own
        let inside = rows.iter().filter_map(|&i| {
            let (more, sd) = (of(&readings, i, 1.0) - 1.0, y_sd[i]?);
            Some((more, squares[i].unwrap_or(more * sd * sd)))
        });
        let (df, within) = inside.fold((0.0, 0.0), |(df, ss), (more, squares)| (df + more, ss + squares));
        MountingSummary {
            session: 0,
            antenna: 0,
            readings: n,
            df: df + rows.len() as f64 - 1.0,
            mean,
            sum_of_squares: (between + within).max(0.0),
        }
    };
    let made = found.par_iter().map(|(names, key, rows)| Mounting {
        names: *names,
        key: *key,
        summary: summary(rows),
        step: rows.iter().map(|&i| of(&step, i, f64::INFINITY)).fold(f64::INFINITY, f64::min),
        reports: rows.iter().filter_map(|&i| value[i]).collect(),
    });
    Ok(made.collect())
}

fn set(group: Group, config: &Config) -> Set {
    let (antennas, sessions) = (group.antennas(config), group.sessions());
    let Group { quantity, band, meter, of, .. } = group;
    let declared = config.meter(&meter);
    let loss = declared.and_then(|m| m.line_loss_db.get(&band)).copied().filter(|_| quantity.is_reflection());
    let line_factor = loss.map_or(1.0, reflection::line_correction);
    let resolution = declared.and_then(|m| m.resolution.get(&quantity.name)).copied();
    let written = of.iter().map(|m| m.step).fold(f64::INFINITY, f64::min);
    let mountings = of
        .iter()
        .map(|m| MountingSummary {
            session: sessions.place[m.names[3]],
            antenna: antennas.place[m.names[4]],
            mean: m.summary.mean * line_factor,
            sum_of_squares: m.summary.sum_of_squares * line_factor * line_factor,
            ..m.summary
        })
        .collect();
    Set {
        quantity,
        band,
        meter,
        antennas: antennas.names,
        sessions: sessions.names,
        mountings,
        line_factor,
        resolution: resolution.unwrap_or(if written.is_finite() { written } else { 1.0 }),
        resolution_declared: resolution.is_some(),
        correction: None,
        moduli: vec![],
    }
}

fn ordinal_set(group: Group, config: &Config) -> OrdinalSet {
    let (antennas, sessions) = (group.antennas(config), group.sessions());
    let Group { quantity, band, meter, of, .. } = group;
    let mut by_session: Vec<BTreeMap<usize, Vec<f64>>> = vec![BTreeMap::new(); sessions.names.len()];
    for m in of {
        let (session, antenna) = (sessions.place[m.names[3]], antennas.place[m.names[4]]);
        by_session[session].entry(antenna).or_default().extend(&m.reports);
    }
    OrdinalSet { quantity, band, meter, antennas: antennas.names, sessions: by_session }
}
