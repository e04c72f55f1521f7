//! Value for money: which antennas some other one, no dearer, is better than.
//!
//! A ratio of score to price would hang on where the score's zero lies, which is nobody's choice. So an antenna
//! is held against those that cost as much or less: it is worth its price unless one of them is better.

use super::result::Worth;
use crate::season::config::Config;

/// Antennas as the overall ranking has them.
pub struct Scored<'a> {
    /// Names.
    pub names: &'a [String],
    /// Scores, higher is better.
    pub scores: &'a [f64],
    /// Joint draws of the scores, trial by trial.
    pub draws: &'a [f64],
    /// For each pair first < second in order: whether it is apart.
    pub apart: &'a [(usize, usize, bool)],
}

/// Every antenna with a price, cheapest first; empty where fewer than two have one.
pub fn worth(scored: &Scored, config: &Config) -> Vec<Worth> {
    let n = scored.names.len();
    let price = |i: usize| config.antennas.iter().find(|a| a.name == scored.names[i]).and_then(|a| a.price);
    let mut priced: Vec<(usize, f64)> = (0..n).filter_map(|i| Some((i, price(i)?))).collect();
    if priced.len() < 2 {
        return vec![];
    }
    priced.sort_by(|a, b| a.1.total_cmp(&b.1).then(scored.scores[b.0].total_cmp(&scored.scores[a.0])));
    let shown_better = |i: usize, j: usize| {
        let apart = scored.apart.iter().any(|&(a, b, apart)| apart && (a, b) == (i.min(j), i.max(j)));
        apart && scored.scores[i] > scored.scores[j]
    };
    let trials = scored.draws.len() / n;
    let one = |&(i, price): &(usize, f64)| {
        let no_dearer: Vec<usize> = priced.iter().filter(|(j, p)| *j != i && *p <= price).map(|p| p.0).collect();
        let holds = |draw: &&[f64]| no_dearer.iter().all(|&j| draw[j] <= draw[i]);
        let unbeaten = scored.draws.chunks_exact(n).filter(holds).count() as f64 / trials.max(1) as f64;
        let names = |mut of: Vec<usize>, by: &dyn Fn(usize) -> f64| {
            of.sort_by(|&a, &b| by(a).total_cmp(&by(b)));
            of.into_iter().map(|j| scored.names[j].clone()).collect::<Vec<String>>()
        };
        let beaten_by = no_dearer.iter().copied().filter(|&j| shown_better(j, i)).collect();
        let dearer = priced.iter().filter(|(_, p)| *p > price).map(|p| p.0);
        let better_for_more = dearer.filter(|&j| shown_better(j, i)).collect();
        Worth {
            antenna: scored.names[i].clone(),
            price,
            unbeaten,
            beaten_by: names(beaten_by, &|j| -scored.scores[j]),
            better_for_more: names(better_for_more, &|j| priced.iter().find(|p| p.0 == j).map_or(0.0, |p| p.1)),
        }
    };
    priced.iter().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::config::Antenna;

    #[test]
    fn an_antenna_is_beaten_only_by_one_no_dearer_that_is_shown_to_be_better() {
        let antenna = |name: &str, price: f64| Antenna {
            name: name.into(),
            price: Some(price),
            length_mm: None,
            gain_dbi: Default::default(),
            claims: vec![],
            line: 1,
        };
        let config = Config {
            antennas: vec![antenna("cheap", 10.0), antenna("dear", 30.0), antenna("good", 20.0)],
            ..Config::default()
        };
        let names = ["cheap", "dear", "good"].map(String::from);
        // in one of four trials the dear one comes out best
        let draws = [0.0, 1.0, 2.0, 0.1, 1.1, 2.0, 0.0, 2.5, 2.0, 0.0, 1.0, 2.2];
        let apart = [(0, 1, false), (0, 2, true), (1, 2, true)];
        let scored = Scored { names: &names, scores: &[0.0, 1.3, 2.0], draws: &draws, apart: &apart };
        let w = worth(&scored, &config);
        assert_eq!(w.iter().map(|w| w.antenna.as_str()).collect::<Vec<_>>(), ["cheap", "good", "dear"]);
        assert_eq!((w[0].unbeaten, w[1].unbeaten, w[2].unbeaten), (1.0, 1.0, 0.25));
        assert_eq!(w[2].beaten_by, ["good"]);
        assert_eq!(w[0].better_for_more, ["good"], "the dear one is not shown to be better than the cheap one");
    }
}
