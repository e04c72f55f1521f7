//! Values of sweeps → rows of the frame that every reading is in.

use polars::prelude::*;

use super::placing::Placed;
use super::values::Value;

/// Rows being gathered.
#[derive(Debug, Default)]
pub struct Rows(Vec<Row>);

#[derive(Debug)]
struct Row {
    file: String,
    placed: Placed,
    value: Value,
    y: f64,
}

impl Rows {
    /// Adds a value of a sweep; one that has no place on its analysis scale is not given by a sweep.
    pub fn push(&mut self, file: &str, placed: &Placed, value: &Value) {
        if let Some(y) = value.y() {
            self.0.push(Row { file: file.into(), placed: placed.clone(), value: value.clone(), y });
        }
    }

    /// The rows in the columns of [`crate::season::readings::Readings::frame`].
    pub fn frame(&self) -> PolarsResult<DataFrame> {
        let text = |name: &str, of: &dyn Fn(&Row) -> String| Column::new(name.into(), self.each(of));
        let number = |name: &str, of: &dyn Fn(&Row) -> Option<f64>| Column::new(name.into(), self.each(of));
        let when = Column::new("when".into(), self.each(&|r| r.placed.when));
        DataFrame::new_infer_height(vec![
            text("file", &|r| r.file.clone()),
            Column::new("line".into(), self.each(&|r| u32::try_from(r.value.line).unwrap_or(u32::MAX))),
            text("session", &|r| r.placed.session.clone()),
            text("antenna", &|r| r.placed.antenna.clone()),
            text("band", &|r| r.value.band.clone()),
            text("meter", &|r| r.placed.meter.clone()),
            text("quantity", &|r| r.value.quantity.to_string()),
            number("value", &|r| Some(r.value.value)),
            number("y", &|r| Some(r.y)),
            number("readings", &|_| Some(1.0)),
            number("sd", &|_| None),
            number("y_sd", &|_| None),
            number("step", &|r| Some(r.value.step)),
            Column::new("mounting".into(), self.each(&|r| r.placed.mounting)),
            when.cast(&DataType::Datetime(TimeUnit::Microseconds, None))?,
            number("order", &|r| r.placed.order),
            number("battery", &|_| None),
            number("squares", &|_| None),
            Column::new("rows".into(), vec![1u32; self.0.len()]),
        ])
    }

    fn each<T>(&self, of: &dyn Fn(&Row) -> T) -> Vec<T> {
        self.0.iter().map(of).collect()
    }
}
