//! A date, or a date and time, as ISO 8601 writes them in their extended form.

const DAY: i64 = 86_400_000_000;
const HOUR: i64 = 3_600_000_000;
const MINUTE: i64 = 60_000_000;

/// Microseconds since the start of 1970: in UTC where the text names a zone, else as it stands.
///
/// `2026-05-02`, `2026-05-02T14:30`, `2026-05-02 14:30:05.25`, `2026-05-02T14:30:05+02:00`.
pub fn microseconds(text: &str) -> Option<i64> {
    match text.split_once(['T', 't', ' ']) {
        Some((date, time)) => Some(days(date)? * DAY + time_in_zone(time.trim())?),
        None => Some(days(text)? * DAY),
    }
}

/// Days from 1970-01-01 to a date of the Gregorian calendar.
fn days(date: &str) -> Option<i64> {
    let mut parts = date.split('-');
    let (year, month, day) = (digits(parts.next()?, 4)?, digits(parts.next()?, 2)?, digits(parts.next()?, 2)?);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let length = match month {
        2 => 28 + i64::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if parts.next().is_some() || !(1..=length).contains(&day) {
        return None;
    }
    // Years counted from March: the leap day then ends a year, and months before it have fixed lengths.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let leap_days = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    // 719 468 days lie between 0000-03-01 and 1970-01-01.
    Some(365 * year + leap_days + (153 * month + 2) / 5 + day - 1 - 719_468)
}

/// What a log's sessions are called, where one written form of a date fits them all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Dated {
    /// Days since 1970-01-01, a name each.
    Days(Vec<i64>),
    /// Dates of which day and month can't be told apart.
    Ambiguous,
    /// Not all dates, or not of one form.
    No,
}

/// Reads names as dates of one form: `2026-05-02`, `2026/5/2`, `2.5.2026`, or `2/5/2026` and `2-5-2026`, in which the day
/// comes first or the month, as only one of them fits all.
pub fn dated<'a>(names: impl Iterator<Item = &'a str> + Clone) -> Dated {
    let all = |year: usize, month: usize, day: usize, separators: &[char]| -> Option<Vec<i64>> {
        let read = |name: &'a str| {
            let separator = separators.iter().find(|s| name.contains(**s))?;
            let parts: Vec<&str> = name.trim().split(*separator).collect();
            let sized = parts.len() == 3 && parts[year].len() == 4 && parts.iter().all(|p| p.len() <= 4);
            sized.then(|| days(&format!("{}-{:0>2}-{:0>2}", parts[year], parts[month], parts[day]))).flatten()
        };
        names.clone().map(read).collect()
    };
    if let Some(days) = all(0, 1, 2, &['-', '/', '.']).or_else(|| all(2, 1, 0, &['.'])) {
        return Dated::Days(days);
    }
    match (all(2, 1, 0, &['/', '-']), all(2, 0, 1, &['/', '-'])) {
        (Some(day_first), Some(month_first)) if day_first == month_first => Dated::Days(day_first),
        (Some(_), Some(_)) => Dated::Ambiguous,
        (Some(days), None) | (None, Some(days)) => Dated::Days(days),
        (None, None) => Dated::No,
    }
}

/// Time of day less the zone it is in.
fn time_in_zone(text: &str) -> Option<i64> {
    if let Some(clock) = text.strip_suffix(['Z', 'z']) {
        return time_of_day(clock);
    }
    let Some(at) = text.find(['+', '-']) else { return time_of_day(text) };
    let zone = &text[at + 1..];
    let (hours, minutes) = match zone.len() {
        2 => (zone, "00"),
        _ => zone.split_once(':').or_else(|| zone.split_at_checked(2))?,
    };
    let ahead = below(digits(hours, 2)?, 24)? * HOUR + below(digits(minutes, 2)?, 60)? * MINUTE;
    let sign = if text[at..].starts_with('-') { -1 } else { 1 };
    Some(time_of_day(&text[..at])? - sign * ahead)
}

/// `14:30`, `14:30:05` or `14:30:05.25`.
fn time_of_day(clock: &str) -> Option<i64> {
    let (clock, fraction) = clock.split_once(['.', ',']).unwrap_or((clock, "0"));
    let mut parts = clock.split(':');
    let (hours, minutes) = (below(digits(parts.next()?, 2)?, 24)?, below(digits(parts.next()?, 2)?, 60)?);
    let seconds = parts.next();
    let whole = below(digits(seconds.unwrap_or("00"), 2)?, 60)?;
    if parts.next().is_some() || (seconds.is_none() && fraction != "0") || fraction.len() > 9 {
        return None;
    }
    let fraction = digits(fraction, fraction.len())? * 10i64.pow(9 - u32::try_from(fraction.len()).ok()?) / 1000;
    Some(hours * HOUR + minutes * MINUTE + whole * 1_000_000 + fraction)
}

/// A number of exactly so many digits.
fn digits(text: &str, count: usize) -> Option<i64> {
    let all = text.len() == count && text.bytes().all(|b| b.is_ascii_digit());
    all.then(|| text.parse().ok()).flatten()
}

fn below(number: i64, limit: i64) -> Option<i64> {
    (number < limit).then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_count_days_from_1970_over_leap_years() {
        // Known days: the first of 2000 is 10 957 days after the first of 1970.
        for (date, wanted) in [
            ("1970-01-01", 0),
            ("1969-12-31", -1),
            ("2000-01-01", 10_957),
            ("2000-02-29", 11_016),
            ("2000-03-01", 11_017),
            ("2100-03-01", 47_541),
            ("2026-05-02", 20_575),
        ] {
            assert_eq!(microseconds(date), Some(wanted * DAY), "{date}");
        }
        let mut last = days("1999-12-31").unwrap();
        for month in 1..=12 {
            for day in 1..=31 {
                if let Some(next) = days(&format!("2000-{month:02}-{day:02}")) {
                    assert_eq!(next, last + 1, "{month} {day}");
                    last = next;
                }
            }
        }
        assert_eq!(last - days("1999-12-31").unwrap(), 366);
    }

    #[test]
    fn names_of_sessions_are_dates_where_one_form_fits_them_all() {
        let of = |names: &[&str]| dated(names.iter().copied());
        let may = Dated::Days(vec![20_575, 20_589]);
        for names in [
            ["2026-05-02", "2026-05-16"],
            ["2026/5/2", "2026/5/16"],
            ["2.5.2026", "16.05.2026"],
            ["02/05/2026", "16/05/2026"],
            ["05/02/2026", "05/16/2026"],
            ["2-5-2026", "16-5-2026"],
        ] {
            assert_eq!(of(&names), may, "{names:?}");
        }
        assert_eq!(of(&["02/05/2026", "09/05/2026"]), Dated::Ambiguous);
        assert_eq!(of(&["05/05/2026"]), Dated::Days(vec![20_578]));
        for names in [
            ["2026-05-02", "16.05.2026"],
            ["16/05/2026", "05/16/2026"],
            ["32.5.2026", "2.5.2026"],
            ["2.5.26", "9.5.26"],
            ["first", "second"],
            ["1/2/3/2026", ""],
        ] {
            assert_eq!(of(&names), Dated::No, "{names:?}");
        }
    }

    #[test]
    fn fractions_and_zones_are_counted() {
        let noon = 12 * HOUR;
        for (time, wanted) in [
            ("1970-01-01T12:00", noon),
            ("1970-01-01 12:00:00.25", noon + 250_000),
            ("1970-01-01T12:00:00,000001999", noon + 1),
            ("1970-01-01T12:00Z", noon),
            ("1970-01-01T12:00+02", noon - 2 * HOUR),
            ("1970-01-01T12:00-01:30", noon + HOUR + 30 * MINUTE),
            ("1970-01-01T12:00+0545", noon - 5 * HOUR - 45 * MINUTE),
        ] {
            assert_eq!(microseconds(time), Some(wanted), "{time}");
        }
    }

    #[test]
    fn what_is_no_date_is_none() {
        for text in [
            "",
            "2026",
            "2026-5-2",
            "26-05-02",
            "2026-02-29",
            "2100-02-29",
            "2026-13-01",
            "2026-05-00",
            "2026-05-02-1",
            "02.05.2026",
            "2026-05-02T",
            "2026-05-02T24:00",
            "2026-05-02T12",
            "2026-05-02T12:60",
            "2026-05-02T12:00.5",
            "2026-05-02T12:00:00.",
            "2026-05-02T12:00+2",
            "2026-05-02T12:00+é1",
            "2026-05-02T12:00µ",
            "²026-05-02",
        ] {
            assert_eq!(microseconds(text), None, "{text}");
        }
    }
}
