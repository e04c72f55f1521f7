//! Chunks, put together in the order of the file.

use polars::prelude::*;

use super::super::records::Record;
use super::super::typed;
use super::chunk::{Chunk, Summary};
use super::grouping::{Groups, NAMED, Names};
use crate::season::config::Config;

/// All mountings so far.
#[derive(Default)]
pub struct Merged {
    names: [Names; NAMED],
    groups: Groups,
    summaries: Vec<Summary>,
    odd: Vec<Record>,
    /// Lines of the chunks so far.
    lines: usize,
}

impl Merged {
    /// Adds the next chunk. Two summaries of one mounting make one: counts add, the squares gain what lies between
    /// the two means (Chan, Golub & LeVeque, "Algorithms for computing the sample variance", 1983, eq. 1.5).
    pub fn add(&mut self, chunk: Chunk) {
        let numbers: [Vec<u32>; NAMED] =
            std::array::from_fn(|k| chunk.names[k].list().iter().map(|name| self.names[k].number(name)).collect());
        for mut summary in chunk.summaries {
            summary.key.0 = std::array::from_fn(|k| numbers[k][summary.key.0[k] as usize]);
            summary.line = summary.line.saturating_add(self.lines as u32);
            let (group, new) = if summary.lone { (self.groups.lone(), true) } else { self.groups.number(summary.key) };
            if new {
                self.summaries.push(summary);
                continue;
            }
            let all = &mut self.summaries[group as usize];
            let readings = all.readings + summary.readings;
            let gap = summary.mean - all.mean;
            all.squares += summary.squares + gap * gap * (all.readings * summary.readings / readings);
            all.mean += gap * (summary.readings / readings);
            all.readings = readings;
            all.step = all.step.min(summary.step);
            all.when = [all.when, summary.when].into_iter().flatten().min();
        }
        let before = self.lines;
        self.odd.extend(chunk.odd.into_iter().map(|record| Record { line: record.line + before, ..record }));
        self.lines += chunk.lines;
    }

    /// Counts lines from further down the file.
    pub fn move_down(&mut self, lines: usize) {
        for summary in &mut self.summaries {
            summary.line = summary.line.saturating_add(lines as u32);
        }
        for record in &mut self.odd {
            record.line += lines;
        }
    }

    /// Plain rows so far.
    pub fn plain_rows(&self) -> usize {
        self.summaries.iter().map(|s| s.readings).sum::<f64>() as usize
    }

    /// Mountings so far: readings of one quantity, band and meter count for themselves.
    pub fn count(&self) -> usize {
        self.summaries.len()
    }

    /// The rows that are not plain, in the order of the file.
    pub fn into_odd(self) -> Vec<Record> {
        self.odd
    }

    /// The season's columns, a row a mounting.
    pub fn frame(&self, file: &str, config: &Config) -> PolarsResult<DataFrame> {
        let all = &self.summaries;
        let quantities: Vec<String> = self.names[4]
            .list()
            .iter()
            .map(|name| typed::spelled(name, config).unwrap_or_else(|| name.to_string()))
            .collect();
        let text = |name: &str, k: usize| {
            let of =
                |s: &Summary| if k == 4 { &*quantities[s.key.0[4] as usize] } else { self.names[k].name(s.key.0[k]) };
            let texts: StringChunked = all.iter().map(|s| Some(of(s))).collect();
            texts.with_name(name.into()).into_column()
        };
        let known: Vec<_> = quantities.iter().map(|q| config.quantity(q).map(|q| q.scale)).collect();
        let scales: Vec<_> = all.iter().map(|s| known[s.key.0[4] as usize]).collect();
        let numbers = |name: &str, number: &dyn Fn(usize, &Summary) -> Option<f64>| {
            Column::new(name.into(), all.iter().enumerate().map(|(i, s)| number(i, s)).collect::<Vec<_>>())
        };
        let several = |s: &Summary| s.readings > 1.0;
        let y_sd = |s: &Summary| several(s).then(|| (s.squares / (s.readings - 1.0)).sqrt());
        let columns = vec![
            Column::new("file".into(), vec![file; all.len()]),
            Column::new("line".into(), all.iter().map(|s| s.line).collect::<Vec<_>>()),
            text("session", 0),
            text("antenna", 1),
            text("band", 2),
            text("meter", 3),
            text("quantity", 4),
            numbers("value", &|i, s| if several(s) { Some(scales[i]?.to_shown(s.mean)) } else { Some(s.first) }),
            numbers("y", &|_, s| Some(s.mean)),
            numbers("readings", &|_, s| Some(s.readings)),
            numbers("sd", &|i, s| Some(y_sd(s)? / scales[i]?.slope_at(s.mean))),
            numbers("y_sd", &|_, s| y_sd(s)),
            numbers("step", &|_, s| Some(s.step)),
            Column::new("mounting".into(), all.iter().map(|s| s.key.1).collect::<Vec<_>>()),
            Column::new("when".into(), all.iter().map(|s| s.when).collect::<Vec<_>>())
                .cast(&DataType::Datetime(TimeUnit::Microseconds, None))?,
            numbers("order", &|_, _| None),
            numbers("battery", &|_, _| None),
            numbers("squares", &|_, s| several(s).then_some(s.squares)),
            Column::new("rows".into(), all.iter().map(|s| s.readings as u32).collect::<Vec<_>>()),
        ];
        DataFrame::new(all.len(), columns)
    }
}
