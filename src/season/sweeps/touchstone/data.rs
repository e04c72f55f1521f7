//! A line of data: a frequency and a pair of numbers.

use super::Fault;
use super::lines::Line;

/// One line of a one-port's data, as written.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Line, from 1.
    pub line: usize,
    /// The three numbers.
    pub cells: [f64; 3],
    /// The step of each one's last digit: 0.01 for `1.50`.
    pub steps: [f64; 3],
    /// The three as they stand.
    pub texts: [String; 3],
}

/// Reads a line of data.
pub fn row(line: &Line<'_>) -> Result<Row, Fault> {
    let cells: Vec<&str> = line.text.split_whitespace().collect();
    let numbers = cells.iter().map(|cell| number(cell, line.number)).collect::<Result<Vec<f64>, Fault>>()?;
    let [frequency, a, b] = numbers[..] else {
        return Err(wrong_count(&cells, line.number));
    };
    if frequency < 0.0 {
        return Err(Fault::new(line.number, format!("the frequency {} is below 0", cells[0]), "save the sweep again"));
    }
    let steps = [0, 1, 2].map(|i| last_digit(cells[i]));
    Ok(Row { line: line.number, cells: [frequency, a, b], steps, texts: [0, 1, 2].map(|i| shortened(cells[i])) })
}

fn wrong_count(cells: &[&str], line: usize) -> Fault {
    let found = cells.len();
    let (what, action) = match found {
        9 | 5 => ("two-port data", "save the antenna's port alone, as a one-port"),
        _ => ("not one-port data", "a line is a frequency and a pair of numbers; save the sweep again"),
    };
    let numbers = if found == 1 { "1 number".to_string() } else { format!("{found} numbers") };
    Fault::new(line, format!("{numbers} on this line where a one-port has 3: {what}"), action)
}

/// A finite number with a decimal point.
pub fn number(cell: &str, line: usize) -> Result<f64, Fault> {
    let plain = cell.chars().all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
    match cell.parse::<f64>() {
        Ok(number) if plain && number.is_finite() => Ok(number),
        _ => {
            let cell = shortened(cell);
            let action = if cell.contains(',') {
                "the decimal mark is a point and blanks separate the numbers; set the export so"
            } else if cell.contains(';') {
                "blanks or tabs separate the numbers; set the export so"
            } else {
                "save the sweep again, in plain numbers"
            };
            Err(Fault::new(line, format!("`{cell}` is not a number"), action))
        }
    }
}

/// The step of a number's last digit.
fn last_digit(cell: &str) -> f64 {
    let (digits, exponent) = cell.split_once(['e', 'E']).unwrap_or((cell, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len().min(300));
    let exponent = exponent.parse::<i32>().unwrap_or(0).clamp(-300, 300);
    10f64.powi(exponent - decimals as i32)
}

/// A cell's beginning: a message is no place for a page.
pub fn shortened(cell: &str) -> String {
    match cell.char_indices().nth(30) {
        Some((end, _)) => format!("{}…", &cell[..end]),
        None => cell.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_s_last_digit_counts_decimals_and_exponent() {
        let near = |cell: &str, step: f64| assert!((last_digit(cell) / step - 1.0).abs() < 1e-12, "{cell}");
        near("1.50", 0.01);
        near("-3", 1.0);
        near("1.20e-3", 1e-5);
        near("2E6", 1e6);
    }

    #[test]
    fn words_and_commas_are_no_numbers() {
        for cell in ["nan", "inf", "1,5", "1;2", "0x10", "", "1e999", "--1", "1.5.2"] {
            assert!(number(cell, 1).is_err(), "{cell}");
        }
    }
}
