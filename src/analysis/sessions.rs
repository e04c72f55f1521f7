//! Sessions in order of time: one order for all that asks about it, shifts and drift above all.

use polars::prelude::*;

use super::coded::Coded;
use crate::season::readings::{Dated, dated, microseconds};

/// Microseconds in a day.
const DAY: f64 = 86_400e6;

/// The sessions of a log.
#[derive(Debug, Clone)]
pub struct Sessions {
    /// Their names, and each row's, numbered in order of time.
    pub coded: Coded,
    /// When each was, in days since the first; `None` where the log gives no dates, and its own order stands for time.
    pub days: Option<Vec<f64>>,
}

impl Sessions {
    /// Puts sessions numbered as they come in order: of their first reading where each has a time, else of the dates they
    /// are called by, in one form for all, else of the log.
    ///
    /// # Errors
    /// Whatever Polars reports; none is expected on a frame the season made.
    pub fn of(frame: &DataFrame, coded: Coded) -> PolarsResult<Sessions> {
        let when = frame.column("when")?.cast(&DataType::Int64)?;
        let mut first: Vec<Option<i64>> = vec![None; coded.names.len()];
        for (&session, when) in coded.of_row.iter().zip(when.i64()?.iter()) {
            first[session] = first[session].into_iter().chain(when).min();
        }
        let called = match dated(coded.names.iter().map(String::as_str)) {
            Dated::Days(days) => days.into_iter().map(Some).collect(),
            Dated::Ambiguous | Dated::No => vec![None; coded.names.len()],
        };
        let time = |(at, name): (usize, &String)| {
            let read = first[at].or_else(|| microseconds(name)).map(|t| t as f64 / DAY);
            read.or(called[at].map(|day| day as f64))
        };
        let times: Option<Vec<f64>> = coded.names.iter().enumerate().map(time).collect();
        let Some(times) = times else { return Ok(Sessions { coded, days: None }) };
        let mut order: Vec<usize> = (0..times.len()).collect();
        order.sort_by(|&a, &b| times[a].total_cmp(&times[b]).then_with(|| coded.names[a].cmp(&coded.names[b])));
        // whole days: the hour of day says nothing about drift
        let start = order.first().map_or(0.0, |&first| times[first].floor());
        let days = order.iter().map(|&old| times[old].floor() - start).collect();
        Ok(Sessions { coded: coded.renumbered(&order), days: Some(days) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sessions(names: &[&str], when: &[Option<i64>]) -> Sessions {
        let frame = df!("session" => names, "when" => when).expect("a frame");
        Sessions::of(&frame, Coded::of(&frame, "session").expect("text")).expect("times")
    }

    #[test]
    fn sessions_stand_by_their_times_else_by_their_dates_else_as_they_come() {
        let none = [None; 4];
        let dates = sessions(&["9.5.2026", "2.5.2026", "9.5.2026", "16.5.2026"], &none);
        assert_eq!(dates.coded.names, ["2.5.2026", "9.5.2026", "16.5.2026"]);
        assert_eq!(dates.coded.of_row, [1, 0, 1, 2]);
        assert_eq!(dates.days, Some(vec![0.0, 7.0, 14.0]));
        let plain = sessions(&["second", "first", "second", "third"], &none);
        assert_eq!(plain.coded.names, ["second", "first", "third"]);
        assert_eq!(plain.days, None);
        let day = DAY as i64;
        let timed = sessions(&["b", "a", "b", "c"], &[Some(3 * day + 5), Some(9 * day), None, Some(day + 7)]);
        assert_eq!(timed.coded.names, ["c", "b", "a"]);
        assert_eq!(timed.days, Some(vec![0.0, 2.0, 8.0]));
        // one without a time: the log's order for all
        assert_eq!(sessions(&["b", "a"], &[Some(day), None]).days, None);
    }
}
