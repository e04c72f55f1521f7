//! A pair of meters' offset through the season, with its shifts.

use plotters::prelude::*;

use super::meters_axes::{axes, span};
use super::{Canvas, INK, Look, Pen, Plot, PlotError, SERIES};
use crate::analysis::meters::result::{BandResult, PairOfMeters, SessionResult};
use crate::radio::quantity::in_words;

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
    /// What it shows.
    pub fn title(&self) -> String {
        let pair = self.pair;
        format!("{}: {} − {} through the season", in_words(&pair.quantity), pair.second, pair.first)
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
            if pair.dated { "days since the first session" } else { "sessions since the first, in the log's order" },
            format!("offset, {}", pair.scale),
            xs,
            ys
        );
        for (side, words) in [(false, "lower control limit"), (true, "upper control limit")] {
            let of = |s: &SessionResult| if side { s.control.high } else { s.control.low };
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
