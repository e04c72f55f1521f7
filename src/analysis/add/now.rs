//! What the next reading is of, and how a line changes that: the last antenna, band, meter, quantity and mounting
//! are remembered.

use super::result::Refused;
use super::vocabulary::{Column, Vocabulary};
use crate::season::append::Entry;
use crate::season::config::{Config, MeterKind};

/// What the next reading is of.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Now {
    /// Antenna or check load.
    pub antenna: Option<String>,
    /// Band.
    pub band: Option<String>,
    /// Meter.
    pub meter: Option<String>,
    /// Quantity.
    pub quantity: Option<String>,
    /// Number of the mounting; none where the sheet numbers none.
    pub mounting: Option<i64>,
    /// Meter and quantity of earlier readings, the last last.
    last: Vec<(String, String)>,
    /// Which of the four this line has named.
    named: Vec<Column>,
}

/// Which meters read which quantities.
#[derive(Debug, Clone, Default)]
pub struct Pairs(Vec<(String, String)>);

impl Pairs {
    /// From what the season declares.
    pub fn new(config: &Config) -> Pairs {
        let mut pairs = Pairs::default();
        for meter in &config.meters {
            meter.resolution.keys().for_each(|quantity| pairs.add(&meter.name, quantity));
            match meter.kind {
                Some(MeterKind::Listener) => pairs.add(&meter.name, "readability"),
                Some(MeterKind::Field) => pairs.add(&meter.name, "field_strength"),
                _ => {}
            }
        }
        pairs
    }

    /// One more.
    pub fn add(&mut self, meter: &str, quantity: &str) {
        if !self.holds(meter, quantity) {
            self.0.push((meter.into(), quantity.into()));
        }
    }

    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(m, q)| (m.as_str(), q.as_str()))
    }

    fn holds(&self, meter: &str, quantity: &str) -> bool {
        self.all().any(|(m, q)| m == meter && q == quantity)
    }
}

impl Now {
    /// After the rows that the session's sheet holds already; where only one name of a kind is declared, it needs
    /// no naming.
    pub fn new(rows: &[Entry], vocabulary: &Vocabulary, pairs: &Pairs) -> Now {
        let mut now = Now::default();
        for row in rows {
            now.read(row);
        }
        for column in Column::ALL {
            let mut names = vocabulary.names(column);
            if let (None, Some(only), None) = (now.of(column), names.next(), names.next()) {
                now.set(column, only.to_string());
            }
        }
        if rows.is_empty() {
            now.fit(Column::Meter, pairs);
        }
        now
    }

    /// The name of a column.
    pub fn of(&self, column: Column) -> Option<&str> {
        match column {
            Column::Antenna => self.antenna.as_deref(),
            Column::Band => self.band.as_deref(),
            Column::Meter => self.meter.as_deref(),
            Column::Quantity => self.quantity.as_deref(),
        }
    }

    fn of_mut(&mut self, column: Column) -> &mut Option<String> {
        match column {
            Column::Antenna => &mut self.antenna,
            Column::Band => &mut self.band,
            Column::Meter => &mut self.meter,
            Column::Quantity => &mut self.quantity,
        }
    }

    fn set(&mut self, column: Column, name: String) {
        *self.of_mut(column) = Some(name);
    }

    /// Nothing is known of a column until it is named again.
    pub fn forget(&mut self, column: Column) {
        *self.of_mut(column) = None;
        if column == Column::Antenna {
            self.mounting = None;
        }
    }

    /// Begins a line.
    pub fn begin(&mut self) {
        self.named.clear();
    }

    /// Another name; `rows` are the session's so far. An antenna that was not the last one on has been put on anew: a
    /// further mounting.
    pub fn name(&mut self, column: Column, name: String, pairs: &Pairs, rows: &[Entry]) {
        let changed = self.of(column) != Some(&name);
        self.set(column, name);
        self.named.push(column);
        match column {
            Column::Antenna if changed || self.mounting.is_none() => self.mounting = self.mounting_after(rows),
            Column::Meter | Column::Quantity => self.fit(column, pairs),
            _ => {}
        }
    }

    /// The mounting's number for the antenna, after those rows.
    fn mounting_after(&self, rows: &[Entry]) -> Option<i64> {
        let antenna = self.antenna.as_deref()?;
        match rows.last() {
            // still on
            Some(last) if last.antenna == antenna => last.mounting.parse().ok(),
            _ => Some(next_mounting(rows, antenna)),
        }
    }

    /// Taken off and put back: the mounting after all of the antenna's in the session.
    pub fn remount(&mut self, rows: &[Entry]) -> Result<(), Refused> {
        let antenna = self.antenna.as_deref().ok_or_else(|| Refused("which antenna was put back on?".into()))?;
        self.mounting = Some(next_mounting(rows, antenna));
        Ok(())
    }

    /// Brings meter and quantity together after one of them changed, where the other was not named on the line: to
    /// the last that went with it, else to the only one that does.
    fn fit(&mut self, changed: Column, pairs: &Pairs) {
        if let (Some(meter), Some(quantity)) = (&self.meter, &self.quantity)
            && pairs.holds(meter, quantity)
        {
            return;
        }
        let pick = |goes: &dyn Fn(&str, &str) -> Option<String>| {
            let last = self.last.iter().rev().find_map(|(m, q)| goes(m, q));
            let mut all = pairs.all().filter_map(|(m, q)| goes(m, q));
            let first = all.next();
            last.or(first.filter(|_| all.next().is_none()))
        };
        match changed {
            Column::Meter if !self.named.contains(&Column::Quantity) => {
                let Some(meter) = self.meter.clone() else { return };
                // of a meter nobody knows anything of, the quantity stays
                if pairs.all().any(|(m, _)| m == meter) || self.quantity.is_none() {
                    self.quantity = pick(&|m, q| (m == meter).then(|| q.to_string()));
                }
            }
            Column::Quantity if !self.named.contains(&Column::Meter) => {
                let Some(quantity) = self.quantity.clone() else { return };
                if pairs.all().any(|(_, q)| q == quantity) || self.meter.is_none() {
                    self.meter = pick(&|m, q| (q == quantity).then(|| m.to_string()));
                }
            }
            _ => {}
        }
    }

    /// After a reading that was written.
    pub fn read(&mut self, row: &Entry) {
        let named = |text: &str| Some(text.to_string()).filter(|t| !t.is_empty());
        self.antenna = named(&row.antenna);
        self.band = named(&row.band);
        self.meter = named(&row.meter);
        self.quantity = named(&row.quantity);
        self.mounting = row.mounting.parse().ok();
        let pair = (row.meter.clone(), row.quantity.clone());
        self.last.retain(|p| *p != pair);
        self.last.push(pair);
    }

    /// All four names.
    ///
    /// # Errors
    /// Some are still to be named: which, and from what.
    pub fn complete(&self, vocabulary: &Vocabulary, pairs: &Pairs) -> Result<[String; 4], Refused> {
        let missing = Column::ALL.into_iter().find(|c| self.of(*c).is_none());
        if let Some(column) = missing {
            let mut names: Vec<&str> = vocabulary.names(column).collect();
            match (column, &self.meter, &self.quantity) {
                (Column::Quantity, Some(meter), _) if pairs.all().any(|(m, _)| m == meter) => {
                    names = pairs.all().filter(|(m, _)| m == meter).map(|(_, q)| q).collect();
                }
                (Column::Meter, _, Some(quantity)) if pairs.all().any(|(_, q)| q == quantity) => {
                    names = pairs.all().filter(|(_, q)| q == quantity).map(|(m, _)| m).collect();
                }
                _ => {}
            }
            let name = column.name();
            let from =
                if names.is_empty() { format!("say {name}=…") } else { format!("one of {}", names.join(", ")) };
            return Err(Refused(format!("which {name}? {from}")));
        }
        Ok(Column::ALL.map(|c| self.of(c).unwrap_or_default().to_string()))
    }
}

/// The number after all of an antenna's mountings in a session's rows; its unnumbered readings were one.
pub fn next_mounting(rows: &[Entry], antenna: &str) -> i64 {
    let own = rows.iter().filter(|r| r.antenna == antenna).map(|r| r.mounting.parse().unwrap_or(1));
    own.max().unwrap_or(0) + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(antenna: &str, mounting: &str) -> Entry {
        Entry {
            antenna: antenna.into(),
            band: "2 m".into(),
            meter: "inline".into(),
            quantity: "swr".into(),
            mounting: mounting.into(),
            ..Entry::default()
        }
    }

    fn pairs() -> Pairs {
        let mut pairs = Pairs::default();
        [
            ("inline", "swr"),
            ("inline", "forward_power"),
            ("analyzer", "swr"),
            ("analyzer", "impedance"),
            ("field", "field_strength"),
        ]
        .iter()
        .for_each(|(m, q)| pairs.add(m, q));
        pairs
    }

    #[test]
    fn an_antenna_put_on_again_is_on_a_further_mounting_and_one_left_on_is_not() {
        let rows = [row("heron", "1"), row("plover", "1"), row("heron", "2")];
        let mut now = Now::new(&rows, &Vocabulary::default(), &pairs());
        assert_eq!(now.mounting, Some(2));
        now.name(Column::Antenna, "heron".into(), &pairs(), &rows);
        assert_eq!(now.mounting, Some(2));
        now.name(Column::Antenna, "plover".into(), &pairs(), &rows);
        assert_eq!(now.mounting, Some(2));
        now.name(Column::Antenna, "wren".into(), &pairs(), &rows);
        assert_eq!(now.mounting, Some(1));
        // a mounting that nothing was read on yet is not passed over
        now.remount(&rows).unwrap();
        assert_eq!(now.mounting, Some(1));
        now.name(Column::Antenna, "heron".into(), &pairs(), &rows);
        now.remount(&rows).unwrap();
        assert_eq!(now.mounting, Some(3));
    }

    #[test]
    fn meter_and_quantity_bring_each_other_along_unless_both_are_named() {
        let rows = [row("heron", "1")];
        let fresh = || Now::new(&rows, &Vocabulary::default(), &pairs());
        let mut now = fresh();
        now.name(Column::Quantity, "impedance".into(), &pairs(), &rows);
        assert_eq!(now.meter.as_deref(), Some("analyzer"));
        let mut now = fresh();
        now.name(Column::Meter, "field".into(), &pairs(), &rows);
        assert_eq!(now.quantity.as_deref(), Some("field_strength"));
        now.name(Column::Meter, "inline".into(), &pairs(), &rows);
        assert_eq!(now.quantity.as_deref(), Some("swr"));
        let mut now = fresh();
        now.name(Column::Meter, "inline".into(), &pairs(), &rows);
        now.name(Column::Quantity, "impedance".into(), &pairs(), &rows);
        assert_eq!(now.meter.as_deref(), Some("inline"));
        // two ways, and nothing read yet: nobody guesses
        let mut now = Now::default();
        now.name(Column::Quantity, "swr".into(), &pairs(), &[]);
        assert_eq!(now.meter, None);
    }
}
