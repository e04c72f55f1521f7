//! What each input adds to an output's uncertainty, as bars.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{Canvas, FAINT, INK, Pen, Plot, PlotError, SERIES};
use crate::analysis::budget::figures::rounded;
use crate::analysis::budget::result::{Budget, OutputResult};
use crate::montecarlo::adaptive::last_place;

/// Bars, the greatest first.
#[derive(Debug, Clone)]
pub struct Contributions {
    title: String,
    /// Name, size, its text.
    bars: Vec<(String, f64, String)>,
    total: (f64, String),
}

/// Inputs shown; the rest go into one bar.
const SHOWN: usize = 12;

impl Contributions {
    /// Of an output with some uncertainty.
    pub fn new(budget: &Budget, output: &OutputResult) -> Option<Contributions> {
        let (parts, total): (Vec<f64>, f64) = match (&output.one_at_a_time, &output.propagation, &output.simulation) {
            (Some(alone), _, Some(s)) => (alone.clone(), s.scale),
            (_, Some(p), _) => (p.parts.iter().map(|part| part.abs()).collect(), p.standard_uncertainty),
            _ => return None,
        };
        if !(total > 0.0 && total.is_finite()) {
            return None;
        }
        let shares = output.shares()?;
        let mut order: Vec<usize> = (0..parts.len()).filter(|i| parts[*i] > 0.0 && parts[*i].is_finite()).collect();
        order.sort_by(|a, b| parts[*b].total_cmp(&parts[*a]));
        let text = |size: f64| rounded(size, last_place(size, 2));
        let mut bars: Vec<(String, f64, String)> = order
            .iter()
            .take(SHOWN)
            .map(|&i| {
                let name: String = budget.inputs[i].name.chars().take(28).collect();
                let percent = 100.0 * shares[i];
                let share = match percent {
                    p if p.abs() < 0.5 => "< 1 %".to_string(),
                    p => format!("{p:.0} %").replace('-', "−"),
                };
                (name, parts[i], format!("{}, {share}", text(parts[i])))
            })
            .collect();
        if order.len() > SHOWN {
            let rest = order[SHOWN..].iter().map(|&i| parts[i] * parts[i]).sum::<f64>().sqrt();
            bars.push((format!("{} others", order.len() - SHOWN), rest, text(rest)));
        }
        let unit = if output.unit.is_empty() { String::new() } else { format!(", {}", output.unit) };
        let way =
            if output.one_at_a_time.is_some() { "each input varied alone" } else { "slope × standard uncertainty" };
        let title = format!("{}{unit}: what adds to its standard uncertainty ({way})", output.name);
        (!bars.is_empty()).then(|| Contributions { title, bars, total: (total, text(total)) })
    }
}

impl Plot for Contributions {
    fn size(&self) -> (u32, u32) {
        (720, 90 + 30 * (self.bars.len() as u32 + 1))
    }

    fn draw<B: DrawingBackend>(&self, canvas: &Canvas<B>, pen: Pen) -> Result<(), PlotError> {
        let (width, _) = self.size();
        let at = |x: u32, y: u32| (pen.px(x) as i32, pen.px(y) as i32);
        canvas.draw_text(&self.title, &pen.text(15), at(16, 14)).map_err(PlotError::new)?;
        let (left, right) = (230, width - 130);
        let greatest = self.bars.iter().map(|bar| bar.1).fold(self.total.0, f64::max);
        let x = |size: f64| left + ((right - left) as f64 * size / greatest).round() as u32;
        let total = ("all together".to_string(), self.total.0, self.total.1.clone());
        for (i, (name, size, text)) in self.bars.iter().chain([&total]).enumerate() {
            let y = 52 + 30 * i as u32 + if i == self.bars.len() { 10 } else { 0 };
            let color = if i == self.bars.len() { FAINT } else { SERIES[0] };
            canvas
                .draw(&Rectangle::new([at(left, y), at(x(*size).max(left + 1), y + 18)], color.filled()))
                .map_err(PlotError::new)?;
            let named = pen.text(13).pos(Pos::new(HPos::Right, VPos::Center));
            canvas.draw_text(name, &named, at(left - 8, y + 9)).map_err(PlotError::new)?;
            let sized = pen.text(12).pos(Pos::new(HPos::Left, VPos::Center));
            canvas.draw_text(text, &sized, at(x(*size) + 8, y + 9)).map_err(PlotError::new)?;
        }
        let line = PathElement::new(
            vec![at(left, 46), at(left, 52 + 30 * (self.bars.len() as u32 + 1) + 8)],
            pen.line(INK, 10),
        );
        canvas.draw(&line).map_err(PlotError::new)
    }
}
