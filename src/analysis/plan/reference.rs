//! How often the reference antenna goes on in a session, and where: the one rule that the running order, the
//! simulated seasons behind a promise, and the bill of minutes all follow.
//!
//! It is mounted first, midway and last, so that a drift shows; and at least as often as the other antennas, so that
//! differences from it are known no worse than others. The least odd number that does both.

/// Fewest mountings: first, midway, last.
const FEWEST: usize = 3;

/// Mountings of the reference antenna in a session in which the others have so many each: 3, 3, 3, 5, 5, 7, …
pub fn mountings(of_others: usize) -> usize {
    of_others.max(FEWEST) | 1
}

/// Where those mountings stand: each before that member of the sequence of the others' `places` mountings, counted
/// from 0; the last behind them all. Evenly spread, alike from both ends, one of them midway.
pub fn stands(of_others: usize, places: usize) -> Vec<usize> {
    let gaps = mountings(of_others) - 1;
    (0..=gaps)
        .map(|i| match (2 * i).cmp(&gaps) {
            std::cmp::Ordering::Less => i * places / gaps,
            std::cmp::Ordering::Equal => places.div_ceil(2),
            std::cmp::Ordering::Greater => places - (gaps - i) * places / gaps,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reference_antenna_is_first_midway_and_last_and_on_no_less_often_than_the_others() {
        for of_others in 0..12 {
            for antennas in 0..9 {
                let places = of_others * antennas;
                let at = stands(of_others, places);
                assert!(
                    at.len() == mountings(of_others)
                        && at.len() >= of_others.max(3)
                        && at.len() <= of_others.max(3) + 1
                );
                assert_eq!((at[0], at[at.len() / 2], at[at.len() - 1]), (0, places.div_ceil(2), places));
                assert!(at.windows(2).all(|w| w[0] <= w[1]), "{at:?}");
            }
        }
    }
}
