//! Where each antenna's SWR was least in its sweeps, and how wide it is usable: a table beside their picture.

use super::grid::Grid;
use super::number::to_digit;
use crate::analysis::sweeps::{SweptAntenna, SweptBand};

/// What the sweeps are of.
pub fn title(s: &SweptBand) -> String {
    format!("Sweeps about {}, {}", s.band, s.meter)
}

/// A row an antenna: of several sweeps, the least and the largest of each figure.
pub fn table(s: &SweptBand) -> Grid {
    let header = ["antenna", "sweeps", "least SWR", "at, MHz", "SWR 2 or less, MHz"];
    let rows = s.antennas.iter().map(row).collect();
    let several = s.antennas.iter().any(|a| a.curves.len() > 1);
    let note = "Of several sweeps: from the smallest to the largest; the stretch in MHz is the one all of them share.";
    Grid::new("", &header, &[1], rows).noted(several.then(|| note.to_string()))
}

fn row(a: &SweptAntenna) -> Vec<String> {
    let least = || a.curves.iter().filter_map(|c| c.least);
    let stretches: Option<Vec<(f64, f64)>> = a.curves.iter().map(|c| c.under_two).collect();
    let shared = stretches.map(|all| {
        let from = all.iter().map(|s| s.0).fold(f64::NEG_INFINITY, f64::max);
        let to = all.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
        (from, to)
    });
    let shared = match shared.filter(|(from, to)| from < to) {
        Some((from, to)) => format!("{} to {}", to_digit(from, 0.1), to_digit(to, 0.1)),
        None => "none".into(),
    };
    let number = a.curves.len().to_string();
    vec![a.antenna.clone(), number, span(least().map(|l| l.1), 0.01), span(least().map(|l| l.0), 0.1), shared]
}

/// "1.08 to 1.21", or one number where both look alike.
fn span(values: impl Iterator<Item = f64> + Clone, digit: f64) -> String {
    let ends = [values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max)];
    if ends[0] > ends[1] {
        return String::new();
    }
    let [low, high] = ends.map(|x| to_digit(x, digit));
    if low == high { low } else { format!("{low} to {high}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::sweeps::Curve;

    #[test]
    fn several_sweeps_give_the_stretch_they_share_and_one_that_never_reaches_two_leaves_none() {
        let curve = |least: f64, under_two| Curve { points: vec![], least: Some((145.0, least)), under_two };
        let mut a = SweptAntenna {
            antenna: "heron".into(),
            curves: vec![curve(1.1, Some((140.0, 150.0))), curve(1.24, Some((142.0, 151.0)))],
        };
        assert_eq!(row(&a), ["heron", "2", "1.10 to 1.24", "145.0", "142.0 to 150.0"]);
        a.curves.push(curve(2.3, None));
        assert_eq!(row(&a)[4], "none");
    }
}
