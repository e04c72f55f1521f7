//! What hangs on a finding: how many verdicts on pairs of antennas it puts in doubt.

use std::collections::BTreeSet;

use super::Log;
use crate::season::finding::Stake;

/// A set as far as counting its pairs goes.
struct Pairs<'a> {
    quantity: &'a str,
    band: &'a str,
    meter: &'a str,
    antennas: &'a [String],
}

fn sets<'a>(log: &'a Log) -> impl Iterator<Item = Pairs<'a>> {
    let numbers = log.sets.iter().map(|s| Pairs {
        quantity: &s.set.quantity.name,
        band: &s.set.band,
        meter: &s.set.meter,
        antennas: &s.set.antennas,
    });
    let grades = log.ordinal.iter().map(|s| Pairs {
        quantity: &s.quantity.name,
        band: &s.band,
        meter: &s.meter,
        antennas: &s.antennas,
    });
    numbers.chain(grades)
}

/// Pairs among `n` antennas.
fn pairs(n: usize) -> usize {
    n * n.saturating_sub(1) / 2
}

impl Pairs<'_> {
    fn meant_by(&self, stake: &Stake) -> bool {
        let fits = |wanted: &Option<String>, name: &str| wanted.as_ref().is_none_or(|w| w == name);
        fits(&stake.quantity, self.quantity) && fits(&stake.band, self.band) && fits(&stake.meter, self.meter)
    }

    /// Pairs of this set that any of the stakes means.
    fn in_doubt(&self, stakes: &[Stake]) -> usize {
        let mine: Vec<&Stake> = stakes.iter().filter(|s| self.meant_by(s)).collect();
        if mine.iter().any(|s| s.antennas.is_empty()) {
            return pairs(self.antennas.len());
        }
        let named: BTreeSet<&str> =
            mine.iter().filter(|s| !s.between).flat_map(|s| s.antennas.iter().map(String::as_str)).collect();
        let untouched: Vec<&str> = self.antennas.iter().map(String::as_str).filter(|a| !named.contains(a)).collect();
        // pairs that none of those touches, but that lie between two antennas of another stake
        let mut between: BTreeSet<(usize, usize)> = BTreeSet::new();
        for stake in mine.iter().filter(|s| s.between) {
            let inside: Vec<usize> =
                (0..untouched.len()).filter(|&i| stake.antennas.iter().any(|a| a == untouched[i])).collect();
            for (k, &a) in inside.iter().enumerate() {
                between.extend(inside[k + 1..].iter().map(|&b| (a, b)));
            }
        }
        pairs(self.antennas.len()) - pairs(untouched.len()) + between.len()
    }
}

/// How many pairs of antennas, over all sets, the stakes put in doubt; a pair in two sets is two verdicts.
pub fn verdicts(log: &Log, stakes: &[Stake]) -> usize {
    if stakes.is_empty() { 0 } else { sets(log).map(|set| set.in_doubt(stakes)).sum() }
}

/// All verdicts there are.
pub fn all(log: &Log) -> usize {
    sets(log).map(|set| pairs(set.antennas.len())).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_with_either_of_two_antennas_are_counted_once() {
        let antennas = ["a", "b", "c", "d"].map(String::from);
        let set = Pairs { quantity: "swr", band: "2 m", meter: "inline", antennas: &antennas };
        let with = |names: &[&str]| Stake { antennas: names.iter().map(|n| (*n).into()).collect(), ..Stake::default() };
        assert_eq!(set.in_doubt(&[]), 0);
        assert_eq!(set.in_doubt(&[with(&["a"])]), 3); // a–b, a–c, a–d
        assert_eq!(set.in_doubt(&[with(&["a"]), with(&["a", "b"])]), 5); // all but c–d
        assert_eq!(set.in_doubt(&[with(&[])]), 6);
        assert_eq!(set.in_doubt(&[Stake { band: Some("70 cm".into()), ..Stake::default() }]), 0);
        assert_eq!(set.in_doubt(&[with(&["nobody"])]), 0);
        let between = |names: &[&str]| Stake { between: true, ..with(names) };
        assert_eq!(set.in_doubt(&[between(&["a", "b"])]), 1);
        assert_eq!(set.in_doubt(&[between(&["a", "b"]), between(&["a", "b", "c"])]), 3);
        assert_eq!(set.in_doubt(&[with(&["a"]), between(&["a", "b"]), between(&["c", "d"])]), 4);
    }
}
