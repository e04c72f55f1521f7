//! Two meters in pictures: difference against mean with its limits, and one against the other with the fitted line.

use plotters::prelude::*;

use super::fit::held;
use super::meters_axes::{axes, size, span};
use super::meters_season::ThroughTheSeason;
use super::{Canvas, INK, Look, Pen, Plot, PlotError, SERIES};
use crate::analysis::meters::lines::Method;
use crate::analysis::meters::result::{BandResult, PairOfMeters};
use crate::radio::quantity::in_words;

/// One picture of a pair of meters.
pub enum MetersPlot<'a> {
    /// Difference against mean, of a band.
    Difference(DifferenceAgainstMean<'a>),
    /// One against the other, of a band.
    Line(OneAgainstOther<'a>),
    /// The offset through the season, all bands.
    Season(ThroughTheSeason<'a>),
}

/// All pictures of a pair, each with the end of its file's name.
pub fn pictures(pair: &PairOfMeters, look: Look) -> Vec<(String, MetersPlot<'_>)> {
    let mut out = vec![];
    for band in &pair.bands {
        if !band.points.is_empty() && band.limits.is_some() {
            let plot = DifferenceAgainstMean { pair, band, look };
            out.push((format!("{}-difference", band.band), MetersPlot::Difference(plot)));
        }
        if band.lines.is_some() {
            out.push((format!("{}-line", band.band), MetersPlot::Line(OneAgainstOther { pair, band, look })));
        }
    }
    if pair.bands.iter().any(|b| b.by_session.len() > 1) {
        out.push(("season".into(), MetersPlot::Season(ThroughTheSeason { pair, look })));
    }
    out
}

impl MetersPlot<'_> {
    /// What it shows.
    pub fn title(&self) -> String {
        match self {
            MetersPlot::Difference(p) => p.title(),
            MetersPlot::Line(p) => p.title(),
            MetersPlot::Season(p) => p.title(),
        }
    }
}

impl Plot for MetersPlot<'_> {
    fn size(&self) -> (u32, u32) {
        match self {
            MetersPlot::Difference(p) => p.size(),
            MetersPlot::Line(p) => p.size(),
            MetersPlot::Season(p) => p.size(),
        }
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        match self {
            MetersPlot::Difference(p) => p.draw(canvas, pen),
            MetersPlot::Line(p) => p.draw(canvas, pen),
            MetersPlot::Season(p) => p.draw(canvas, pen),
        }
    }
}

/// second − first against their mean, one point a unit; mean offset and limits with their intervals.
pub struct DifferenceAgainstMean<'a> {
    /// The pair.
    pub pair: &'a PairOfMeters,
    /// The band.
    pub band: &'a BandResult,
    /// How it is to look.
    pub look: Look,
}

impl DifferenceAgainstMean<'_> {
    fn title(&self) -> String {
        let (pair, band) = (self.pair, &self.band.band);
        format!("{} on {band}: {} − {} against their mean", in_words(&pair.quantity), pair.second, pair.first)
    }
}

impl Plot for DifferenceAgainstMean<'_> {
    fn size(&self) -> (u32, u32) {
        size(self.look)
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let (pair, band) = (self.pair, self.band);
        let (Some(limits), Some(offset)) = (band.limits, band.offset) else { return Ok(()) };
        let points: Vec<(f64, f64)> =
            band.points.iter().map(|p| ((p.first + p.second) / 2.0, p.second - p.first)).collect();
        let xs = span(points.iter().map(|p| p.0));
        let known = [limits.low_interval.low, limits.high_interval.high, 0.0];
        // intervals on few antennas may be endless: the points and limits decide then
        let most = 4.0 * limits.sd;
        let known = known.into_iter().map(|v| held(v, limits.low - most, limits.high + most));
        let ys = span(points.iter().map(|p| p.1).chain(known));
        let title = self.look.titled.then(|| self.title());
        let mut chart = axes!(
            canvas,
            pen,
            self.look,
            title,
            format!("mean of the two, {}", pair.scale),
            format!("difference, {}", pair.scale),
            xs,
            ys
        );
        let clip = |v: f64| held(v, ys.start, ys.end);
        let bands = [
            (limits.low_interval, SERIES[1]),
            (limits.high_interval, SERIES[1]),
            (offset.estimate.interval, SERIES[0]),
        ];
        for (i, color) in bands {
            let corners = [(xs.start, clip(i.low)), (xs.end, clip(i.high))];
            chart.draw_series([Rectangle::new(corners, color.mix(0.13).filled())]).map_err(PlotError::new)?;
        }
        for (v, color, words) in [
            (limits.low, SERIES[1], "lower limit"),
            (limits.high, SERIES[1], "upper limit"),
            (offset.estimate.value, SERIES[0], "mean offset"),
        ] {
            chart
                .draw_series(LineSeries::new([(xs.start, v), (xs.end, v)], pen.line(color, 15)))
                .map_err(PlotError::new)?;
            let at = (xs.start + 0.01 * (xs.end - xs.start), v + 0.035 * (ys.end - ys.start));
            chart.draw_series([Text::new(words, at, pen.text(11).color(&color))]).map_err(PlotError::new)?;
        }
        chart
            .draw_series(DashedLineSeries::new(
                [(xs.start, 0.0), (xs.end, 0.0)],
                pen.px(4),
                pen.px(4),
                pen.line(INK, 8),
            ))
            .map_err(PlotError::new)?;
        chart
            .draw_series(points.iter().map(|p| Circle::new(*p, pen.px(3) as i32, INK.mix(0.55).filled())))
            .map_err(PlotError::new)?;
        Ok(())
    }
}

/// Second meter against first, one point an antenna; Deming's line with its band, and the line of equality.
pub struct OneAgainstOther<'a> {
    /// The pair.
    pub pair: &'a PairOfMeters,
    /// The band.
    pub band: &'a BandResult,
    /// How it is to look.
    pub look: Look,
}

impl OneAgainstOther<'_> {
    fn title(&self) -> String {
        let (pair, band) = (self.pair, &self.band.band);
        format!("{} on {band}: {} against {}, an antenna a point", in_words(&pair.quantity), pair.second, pair.first)
    }
}

impl Plot for OneAgainstOther<'_> {
    fn size(&self) -> (u32, u32) {
        size(self.look)
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let (pair, band) = (self.pair, self.band);
        let Some(lines) = &band.lines else { return Ok(()) };
        let all = || lines.points.iter().flatten().copied();
        let both = span(all());
        let (xs, ys) = (both.clone(), both);
        let title = self.look.titled.then(|| self.title());
        let mut chart = axes!(
            canvas,
            pen,
            self.look,
            title,
            format!("{}, {}", pair.first, lines.scale),
            format!("{}, {}", pair.second, lines.scale),
            xs,
            ys
        );
        if let Some(r) = lines.relations.iter().find(|r| r.method == Method::Deming) {
            let line = |x: f64| r.constant + r.proportional * x;
            let clip = |v: f64| held(v, ys.start, ys.end);
            let upper = lines.band_x.iter().zip(&lines.band_half).map(|(x, h)| (*x, clip(line(*x) + h)));
            let lower = lines.band_x.iter().zip(&lines.band_half).rev().map(|(x, h)| (*x, clip(line(*x) - h)));
            let area: Vec<(f64, f64)> = upper.chain(lower).collect();
            if area.len() > 2 {
                chart.draw_series([Polygon::new(area, SERIES[0].mix(0.15).filled())]).map_err(PlotError::new)?;
            }
            chart
                .draw_series(LineSeries::new(
                    lines.band_x.iter().map(|x| (*x, line(*x))).filter(|p| (ys.start..=ys.end).contains(&p.1)),
                    pen.line(SERIES[0], 18),
                ))
                .map_err(PlotError::new)?
                .label("fitted line (Deming) with its interval")
                .legend(move |(x, y)| PathElement::new([(x, y), (x + pen.px(16) as i32, y)], pen.line(SERIES[0], 18)));
        }
        chart
            .draw_series(DashedLineSeries::new(
                [(xs.start, xs.start), (xs.end, xs.end)],
                pen.px(4),
                pen.px(4),
                pen.line(INK, 8),
            ))
            .map_err(PlotError::new)?
            .label("both read alike")
            .legend(move |(x, y)| PathElement::new([(x, y), (x + pen.px(16) as i32, y)], pen.line(INK, 8)));
        chart
            .draw_series(
                lines.points.iter().map(|p| Circle::new((p[0], p[1]), pen.px(4) as i32, INK.mix(0.7).filled())),
            )
            .map_err(PlotError::new)?;
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::UpperLeft)
            .margin(pen.px(10))
            .legend_area_size(pen.px(22))
            .background_style(WHITE.mix(0.85))
            .label_font(pen.text(11))
            .draw()
            .map_err(PlotError::new)
    }
}
