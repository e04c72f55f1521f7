//! How much of an error rate each of several looks at growing data may spend.
//!
//! Whoever looks after every session and stops when a pair comes out apart gives chance as many tries as there are
//! looks. So the rate α is spent over the planned looks by a function that was fixed beforehand,
//!
//! ```text
//! α*(t) = α·t²,   t = k/K;     look k is held at the level α_k = α*(k/K) − α*((k − 1)/K)
//! ```
//!
//! and since α_1 + … + α_K = α, the chance of any false verdict at any look is at most α (Boole's inequality):
//! whatever the joint distribution of the looks, on few degrees of freedom, with any family of intervals, and
//! whether or not one stops. The exact boundaries of Lan and DeMets for normal increments would make the last of twelve
//! intervals of one pair a sixth narrower, but hold only where the variance is known.
//!
//! # Source
//! Lan & DeMets (1983), *Biometrika* 70:659–663, spending functions; Kim & DeMets (1987), ibid. 74:149–154, the power
//! family t^ρ, here with ρ = 2: the early looks, which have few degrees of freedom, get little (both from memory).

/// The share of α that look `number` of `planned` may spend; looks beyond the plan spend as much as the last.
pub fn share(number: usize, planned: usize) -> f64 {
    let (k, all) = (number.clamp(1, planned.max(1)) as f64, planned.max(1) as f64);
    (2.0 * k - 1.0) / (all * all)
}

/// The share of α spent by all looks up to `number`; above 1 once the plan is overrun.
pub fn spent(number: usize, planned: usize) -> f64 {
    let all = planned.max(1);
    let inside = number.min(all) as f64 / all as f64;
    inside * inside + number.saturating_sub(all) as f64 * share(all, all)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_looks_of_a_plan_spend_all_of_it_and_no_more() {
        for planned in 1..60 {
            let sum: f64 = (1..=planned).map(|k| share(k, planned)).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{planned} {sum}");
            for k in 1..=planned {
                let so_far: f64 = (1..=k).map(|j| share(j, planned)).sum();
                assert!((spent(k, planned) - so_far).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn one_look_spends_everything_and_overrunning_spends_more_than_there_is() {
        assert_eq!((share(1, 1), spent(1, 1)), (1.0, 1.0));
        assert!((spent(13, 12) - 1.0 - share(12, 12)).abs() < 1e-12);
    }
}
