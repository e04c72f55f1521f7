//! An output's histogram with the interval of Monte Carlo and that of the law of propagation.

use plotters::prelude::*;

use super::fit::held;
use super::{Canvas, FAINT, INK, Pen, Plot, PlotError, SERIES};
use crate::analysis::budget::figures::rounded;
use crate::analysis::budget::result::{Budget, Histogram, OutputResult};
use crate::montecarlo::adaptive::last_place;
use crate::montecarlo::coverage::IntervalKind;

/// What is drawn: results in, nothing computed but places on the page.
#[derive(Debug, Clone)]
pub struct OutputHistogram {
    title: String,
    axis: String,
    histogram: Histogram,
    /// Label, ends, place of the last digit.
    intervals: Vec<(String, f64, f64)>,
    /// Estimate and standard uncertainty of the law of propagation.
    normal: Option<(f64, f64)>,
    place: f64,
}

impl OutputHistogram {
    /// Of an output that was simulated and varies.
    pub fn new(budget: &Budget, output: &OutputResult) -> Option<OutputHistogram> {
        let simulation = output.simulation.as_ref()?;
        if !(simulation.histogram.width > 0.0 && simulation.histogram.width.is_finite()) {
            return None;
        }
        let place = last_place(simulation.scale, budget.digits);
        let named = |name: &str, low: f64, high: f64| {
            (format!("{name}: {} … {}", rounded(low, place), rounded(high, place)), low, high)
        };
        let monte_carlo = simulation.interval(budget.interval);
        let kind = if budget.interval == IntervalKind::Shortest { "Monte Carlo, shortest" } else { "Monte Carlo" };
        let mut intervals = vec![named(kind, monte_carlo.low, monte_carlo.high)];
        let propagation = output.propagation.as_ref();
        intervals
            .extend(propagation.map(|p| named("law of propagation", p.estimate - p.expanded, p.estimate + p.expanded)));
        let unit = if output.unit.is_empty() { String::new() } else { format!(", {}", output.unit) };
        Some(OutputHistogram {
            title: format!("{}: {:.4} % intervals", output.name, 100.0 * budget.confidence).replace(".0000 %", " %"),
            axis: format!("{}{unit}", output.name),
            histogram: simulation.histogram.clone(),
            intervals,
            normal: propagation.map(|p| (p.estimate, p.standard_uncertainty)).filter(|(_, u)| *u > 0.0),
            place,
        })
    }
}

impl Plot for OutputHistogram {
    fn size(&self) -> (u32, u32) {
        (720, 430)
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let Histogram { low, width, shares } = &self.histogram;
        let bins = shares.len() as f64;
        // both intervals in view, but no further than as much again on each side
        let room = width * bins;
        let from = self.intervals.iter().map(|i| i.1).fold(*low, f64::min).max(low - room);
        let to = self.intervals.iter().map(|i| i.2).fold(low + room, f64::max).min(low + 2.0 * room);
        let margin = 0.03 * (to - from);
        let density = |share: f64| share / width;
        let peak = shares.iter().map(|s| density(*s)).fold(0.0, f64::max);
        let curve = |y: f64| {
            self.normal.map_or(0.0, |(m, u)| (-0.5 * ((y - m) / u).powi(2)).exp() / (u * std::f64::consts::TAU.sqrt()))
        };
        let top = 1.45 * self.normal.map_or(peak, |(m, _)| peak.max(curve(m).min(2.0 * peak)));
        let mut chart = ChartBuilder::on(canvas)
            .margin(pen.px(10))
            .margin_right(pen.px(26))
            .caption(&self.title, pen.text(17))
            .x_label_area_size(pen.px(44))
            .y_label_area_size(pen.px(14))
            .build_cartesian_2d(from - margin..to + margin, 0.0..top)
            .map_err(PlotError::new)?;
        let tick = |y: &f64| rounded(*y, self.place.max((to - from) * 1e-12));
        chart
            .configure_mesh()
            .disable_mesh()
            .disable_y_axis()
            .x_labels(7)
            .x_label_formatter(&tick)
            .x_desc(&self.axis)
            .axis_style(pen.line(INK, 10))
            .label_style(pen.text(12))
            .axis_desc_style(pen.text(13))
            .draw()
            .map_err(PlotError::new)?;
        let bars = shares.iter().enumerate().map(|(i, share)| {
            let left = low + i as f64 * width;
            Rectangle::new([(left, 0.0), (left + width, density(*share))], FAINT.filled())
        });
        chart.draw_series(bars).map_err(PlotError::new)?;
        if self.normal.is_some() {
            let points = (0..=400).map(|i| from + (to - from) * f64::from(i) / 400.0).map(|y| (y, curve(y).min(top)));
            chart.draw_series(LineSeries::new(points, pen.line(SERIES[1], 18))).map_err(PlotError::new)?;
        }
        for (i, (label, low, high)) in self.intervals.iter().enumerate() {
            let color = SERIES[i];
            let height = top * (0.96 - 0.12 * i as f64);
            let (a, b) = (low.max(from - margin), high.min(to + margin));
            let down = top * 0.025;
            // ends are told apart from a cut by their ticks
            let mut pieces = vec![vec![(a, height), (b, height)]];
            pieces.extend(
                [(*low, a), (*high, b)]
                    .iter()
                    .filter(|(end, at)| end == at)
                    .map(|(_, at)| vec![(*at, height - down), (*at, height + down)]),
            );
            for piece in pieces {
                let line = pen.line(color, if i == 0 { 30 } else { 18 });
                chart.draw_series(std::iter::once(PathElement::new(piece, line))).map_err(PlotError::new)?;
            }
            let middle = held((a + b) / 2.0, from, to);
            let style = pen.text(12).pos(plotters::style::text_anchor::Pos::new(
                plotters::style::text_anchor::HPos::Center,
                plotters::style::text_anchor::VPos::Top,
            ));
            let text = Text::new(label.clone(), (middle, height - 0.8 * down), style);
            chart.draw_series(std::iter::once(text)).map_err(PlotError::new)?;
        }
        Ok(())
    }
}
