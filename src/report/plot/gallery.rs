//! Every picture of a season, with the name of its file.

use std::path::Path;

use plotters::prelude::DrawingBackend;
use rayon::prelude::*;

use super::meters::{MetersPlot, pictures};
use super::rows::Rows;
use super::sweeps::Sweeps;
use super::{Canvas, Look, Pen, Plot, PlotError, png, to_svg};
use super::{acceptance::acceptance, shares::shares, standing::standing, worth};
use crate::analysis::meters::result::PairOfMeters;
use crate::analysis::whole::Whole;
use crate::report::files::write_all;

/// A picture of any kind.
pub enum Picture<'a> {
    /// A row a thing.
    Rows(Rows),
    /// Two meters.
    Meters(MetersPlot<'a>),
    /// Sweeps about a band.
    Sweeps(Sweeps<'a>),
}

impl Plot for Picture<'_> {
    fn size(&self) -> (u32, u32) {
        match self {
            Picture::Rows(p) => p.size(),
            Picture::Meters(p) => p.size(),
            Picture::Sweeps(p) => p.size(),
        }
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        match self {
            Picture::Rows(p) => p.draw(canvas, pen),
            Picture::Meters(p) => p.draw(canvas, pen),
            Picture::Sweeps(p) => p.draw(canvas, pen),
        }
    }
}

impl Picture<'_> {
    /// What it shows.
    pub fn title(&self) -> String {
        match self {
            Picture::Rows(p) => p.title.clone(),
            Picture::Meters(p) => p.title(),
            Picture::Sweeps(p) => p.title(),
        }
    }
}

/// Every picture of a season as a file by itself, and its name without an ending. No two names are alike, capitals or not.
pub fn gallery(whole: &Whole) -> Vec<(String, Picture<'_>)> {
    let look = Look::FILE;
    let mut out: Vec<(String, Picture)> = vec![];
    let antennas = &whole.antennas;
    for set in &antennas.sets {
        let stem = format!("antennas-{}-{}-{}", set.quantity.name, set.band, set.meter);
        out.extend(standing(set, look).map(|p| (stem, Picture::Rows(p))));
    }
    for swept in &whole.sweeps {
        let stem = format!("sweeps-{}-{}", swept.band, swept.meter);
        out.push((stem, Picture::Sweeps(Sweeps { swept, look })));
    }
    if let Some(overall) = &antennas.overall {
        out.extend(worth::overall(overall, look).map(|p| ("overall".into(), Picture::Rows(p))));
        out.extend(worth::worth(overall, look).map(|p| ("value-for-money".into(), Picture::Rows(p))));
    }
    for pair in &whole.meters.pairs {
        out.extend(pictures(pair, look).into_iter().map(|(end, p)| (stem_of(pair, &end), Picture::Meters(p))));
    }
    let claims = acceptance(&whole.claims, look).into_iter();
    out.extend(claims.map(|(quantity, p)| (format!("claims-{quantity}"), Picture::Rows(p))));
    out.extend(shares(&antennas.sets, look).map(|p| ("uncertainty".into(), Picture::Rows(p))));
    distinct(out)
}

/// The name of a picture of two meters.
pub fn stem_of(pair: &PairOfMeters, end: &str) -> String {
    format!("{}-{}-{}-{end}", pair.quantity, pair.first, pair.second)
}

/// Letters, digits and hyphens, not too long; numbered where two would meet.
fn distinct(pictures: Vec<(String, Picture<'_>)>) -> Vec<(String, Picture<'_>)> {
    let mut used: Vec<String> = vec![];
    let mut out = vec![];
    for (name, picture) in pictures {
        let plain: String =
            name.chars().map(|c| if c.is_alphanumeric() || "-_".contains(c) { c } else { '-' }).collect();
        // a file's name may be 255 bytes long
        let mut short = plain.clone();
        while short.len() > 120 {
            short.pop();
        }
        let mut tried = short.clone();
        let mut number = 2;
        while used.contains(&tried.to_lowercase()) {
            tried = format!("{short}-{number}");
            number += 1;
        }
        used.push(tried.to_lowercase());
        out.push((tried, picture));
    }
    out
}

/// Draws pictures as SVG and PNG: for each, the name of its file and what is in it. Nothing is written.
///
/// # Errors
/// What the canvas refuses.
pub fn files(pictures: &[(String, Picture)]) -> Result<Vec<(String, Vec<u8>)>, PlotError> {
    let both = |(name, picture): &(String, Picture)| -> Result<[(String, Vec<u8>); 2], PlotError> {
        let svg = to_svg(picture)?.into_bytes();
        Ok([(format!("{name}.svg"), svg), (format!("{name}.png"), png(picture)?)])
    };
    let drawn: Result<Vec<_>, PlotError> = pictures.par_iter().map(both).collect();
    Ok(drawn?.into_iter().flatten().collect())
}

/// Draws the pictures of every two meters into a folder, as SVG and PNG.
///
/// # Errors
/// What the canvas refuses; a folder that can't be written.
pub fn write_pairs(pairs: &[PairOfMeters], folder: &Path) -> Result<(), PlotError> {
    let mut named = vec![];
    for pair in pairs {
        named.extend(pictures(pair, Look::FILE).into_iter().map(|(end, p)| (stem_of(pair, &end), Picture::Meters(p))));
    }
    let drawn = files(&distinct(named))?;
    let drawn: Vec<_> = drawn.into_iter().map(|(name, bytes)| (folder.join(name), bytes)).collect();
    write_all(&drawn).map_err(PlotError::new)
}
