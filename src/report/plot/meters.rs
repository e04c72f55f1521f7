//! Two meters in pictures: difference against mean with its limits, one against the other with the fitted line, and the
//! offset through the season with its shifts.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::fit::{fold, held};
use super::{Canvas, FAINT, INK, Look, Pen, Plot, PlotError, SERIES};
use crate::analysis::meters::lines::Method;
use crate::analysis::meters::result::{BandResult, PairOfMeters};

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

/// Width and height: less high where it is narrow.
fn size(look: Look) -> (u32, u32) {
    (look.width, (look.width * 13 / 20).max(270))
}

/// Smallest range that holds the values, widened by a twentieth; never empty.
fn span(values: impl Iterator<Item = f64>) -> std::ops::Range<f64> {
    let (low, high) =
        values.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if low > high {
        return 0.0..1.0;
    }
    let margin = ((high - low) * 0.05).max(1e-3 * low.abs().max(1e-2));
    low - margin..high + margin
}

/// A number on an axis, with a typographic minus.
fn tick(v: &f64, width: f64) -> String {
    let decimals = (1.0 - width.log10().floor()).clamp(0.0, 6.0) as usize;
    let text = if v.abs() < 1e7 { format!("{:.decimals$}", v.abs()) } else { format!("{:.1e}", v.abs()) };
    if *v < 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') { format!("−{text}") } else { text }
}

fn quantity(pair: &PairOfMeters) -> String {
    if pair.quantity == "swr" { "SWR".into() } else { pair.quantity.replace('_', " ") }
}

/// Writes a title in lines that fit, and says how high they are.
fn head<B: DrawingBackend>(canvas: &Canvas<B>, pen: Pen, title: &str, width: u32) -> Result<u32, PlotError> {
    let lines = fold(title, 14, f64::from(width - 28), 3);
    for (k, line) in lines.iter().enumerate() {
        let at = (pen.px(14) as i32, pen.px(16 + 18 * k as u32) as i32);
        canvas.draw_text(line, &pen.text(14).pos(Pos::new(HPos::Left, VPos::Center)), at).map_err(PlotError::new)?;
    }
    Ok(18 * lines.len() as u32)
}

/// Draws axes, below the title if there is one, and hands the chart on.
macro_rules! axes {
    ($canvas:expr, $pen:expr, $look:expr, $title:expr, $x:expr, $y:expr, $xs:expr, $ys:expr) => {{
        let (wide, high) = ($xs.end - $xs.start, $ys.end - $ys.start);
        let above = match &$title {
            Some(title) => head($canvas, $pen, title, $look.width)?,
            None => 0,
        };
        let narrow = $look.width < 500;
        let mut chart = ChartBuilder::on($canvas)
            .margin($pen.px(10))
            .margin_top($pen.px(12 + above))
            .margin_left($pen.px(if narrow { 2 } else { 10 }))
            .margin_right($pen.px(24))
            .x_label_area_size($pen.px(42))
            .y_label_area_size($pen.px(60))
            .build_cartesian_2d($xs.clone(), $ys.clone())
            .map_err(PlotError::new)?;
        chart
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style($pen.line(FAINT, 5))
            .axis_style($pen.line(INK, 8))
            .x_labels(if narrow { 5 } else { 8 })
            .y_labels(7)
            .x_label_formatter(&|v| tick(v, wide))
            .y_label_formatter(&|v| tick(v, high))
            .label_style($pen.text(11))
            .axis_desc_style($pen.text(12))
            .x_desc(fold(&$x, 12, f64::from($look.width) - 100.0, 1).concat())
            .y_desc($y)
            .draw()
            .map_err(PlotError::new)?;
        chart
    }};
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
        format!("{} on {band}: {} − {} against their mean", quantity(pair), pair.second, pair.first)
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
        format!("{} on {band}: {} against {}, an antenna a point", quantity(pair), pair.second, pair.first)
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

/// The offset session by session, a panel a band, with each stretch's mean and the shifts marked.
pub struct ThroughTheSeason<'a> {
    /// The pair.
    pub pair: &'a PairOfMeters,
    /// How it is to look.
    pub look: Look,
}

/// Height of one band's panel.
const PANEL: u32 = 220;

impl Plot for ThroughTheSeason<'_> {
    fn size(&self) -> (u32, u32) {
        let panels = self.pair.bands.iter().filter(|b| b.by_session.len() > 1).count().max(1) as u32;
        (self.look.width, PANEL * panels)
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let used: Vec<&BandResult> = self.pair.bands.iter().filter(|b| b.by_session.len() > 1).collect();
        for (band, panel) in used.iter().zip(canvas.split_evenly((used.len(), 1))) {
            self.panel(band, &panel, pen)?;
        }
        Ok(())
    }
}

impl ThroughTheSeason<'_> {
    fn title(&self) -> String {
        let pair = self.pair;
        format!("{}: {} − {} through the season", quantity(pair), pair.second, pair.first)
    }

    fn panel<B: DrawingBackend>(&self, band: &BandResult, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let pair = self.pair;
        let sessions = &band.by_session;
        let xs = span(sessions.iter().map(|s| s.time));
        let control = sessions.iter().flat_map(|s| [s.control.low, s.control.high]);
        // a session of one reading may have an endless interval: it does not set the scale
        let spread = sessions.iter().map(|s| s.control.high - s.control.low).fold(0.0, f64::max);
        let ends = sessions.iter().flat_map(|s| [s.offset - s.half.min(spread), s.offset + s.half.min(spread)]);
        let ys = span(control.chain(ends));
        // a panel bears its band; a file, what it is of too
        let title = Some(if self.look.titled { format!("{}, {}", self.title(), band.band) } else { band.band.clone() });
        let mut chart = axes!(
            canvas,
            pen,
            self.look,
            title,
            "days since the first session",
            format!("offset, {}", pair.scale),
            xs,
            ys
        );
        for (side, words) in [(false, "lower control limit"), (true, "upper control limit")] {
            let of =
                |s: &crate::analysis::meters::result::SessionResult| if side { s.control.high } else { s.control.low };
            let line: Vec<(f64, f64)> = sessions.iter().map(|s| (s.time, of(s))).collect();
            let at = (
                xs.start + 0.01 * (xs.end - xs.start),
                line[0].1 + if side { -0.02 } else { 0.075 } * (ys.end - ys.start),
            );
            chart
                .draw_series(DashedLineSeries::new(line, pen.px(3), pen.px(3), pen.line(SERIES[1], 10)))
                .map_err(PlotError::new)?;
            chart.draw_series([Text::new(words, at, pen.text(10).color(&SERIES[1]))]).map_err(PlotError::new)?;
        }
        let time = |name: &str| sessions.iter().find(|s| s.session == name).map(|s| s.time);
        for shift in &pair.shifts {
            if let (Some(a), Some(b)) = (time(&shift.after), time(&shift.by)) {
                let area = Rectangle::new([(a, ys.start), (b, ys.end)], SERIES[3].mix(0.18).filled());
                chart.draw_series([area]).map_err(PlotError::new)?;
                let label = format!("shift, p = {}", crate::report::number::p_value(shift.found.p));
                let at = (b + 0.01 * (xs.end - xs.start), ys.end - 0.03 * (ys.end - ys.start));
                chart.draw_series([Text::new(label, at, pen.text(11))]).map_err(PlotError::new)?;
            }
        }
        for stretch in &band.stretches {
            if let (Some(a), Some(b)) = (time(&stretch.from), time(&stretch.to)) {
                let v = stretch.offset.estimate.value;
                chart
                    .draw_series(LineSeries::new([(a, v), (b, v)], pen.line(SERIES[0], 18)))
                    .map_err(PlotError::new)?;
            }
        }
        let bars = sessions.iter().map(|s| {
            PathElement::new(
                [(s.time, s.offset - s.half.min(spread)), (s.time, s.offset + s.half.min(spread))],
                pen.line(INK, 10),
            )
        });
        chart.draw_series(bars).map_err(PlotError::new)?;
        // sessions outside their limits are open rings, so that colour is not the only mark
        chart
            .draw_series(sessions.iter().map(|s| {
                let style = if s.out { pen.line(INK, 15) } else { INK.filled() };
                Circle::new((s.time, s.offset), pen.px(if s.out { 5 } else { 3 }) as i32, style)
            }))
            .map_err(PlotError::new)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_hold_their_values_and_are_never_empty() {
        let s = span([1.0, 3.0, f64::INFINITY].into_iter());
        assert!(s.start < 1.0 && s.end > 3.0 && s.end < 3.2);
        let one = span([0.2].into_iter());
        assert!(one.start < 0.2 && one.end > 0.2);
        assert_eq!(span(std::iter::empty()), 0.0..1.0);
        assert_eq!((tick(&-0.02, 0.1), tick(&-0.001, 10.0)), ("−0.02".to_string(), "0".to_string()));
    }
}
