//! The running order of a session: randomised in rounds, balanced against drift, each antenna's mountings apart.
//!
//! A session drifts: batteries sag, radios warm, the sun moves. An antenna measured early is then flattered against one
//! measured late. With x from −1 (first mounting) to 1 (last), a drift linear in x moves a difference by as much as the
//! two antennas' mean x differ, a quadratic one by as much as their mean x² do. So every round holds each antenna once,
//! in random order, and rounds are shuffled by exchanges inside them until both means are nearly alike for all.
//!
//! The choice stays random: of many random starts, one among the nearly best is taken by lot.
//!
//! # Source
//! Randomised blocks: Fisher, *The Design of Experiments* (1935), ch. 4. Run orders free of linear and quadratic trend:
//! Daniel & Wilcoxon (1966), *Technometrics* 8:259–278 (from memory).

use rand::Rng;
use rand::RngExt;
use rand::seq::SliceRandom;

/// Random starts.
const STARTS: usize = 40;

/// Starts whose cost is within this of the best are drawn from.
const NEARLY: f64 = 0.002;

/// One place in the running order.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Slot {
    /// Its place, from 1.
    pub place: usize,
    /// The antenna or check load.
    pub what: String,
    /// Whether it is a check load.
    pub is_load: bool,
    /// Which of its mountings in this session, from 1.
    pub mounting: usize,
}

/// What the order is made for.
#[derive(Debug, Clone, Default)]
pub struct Wishes<'a> {
    /// Antennas, without the reference antenna.
    pub antennas: Vec<&'a str>,
    /// How early or late each was in the sessions so far: the sum of its mean x.
    pub history: Vec<f64>,
    /// Mountings of each.
    pub mountings: usize,
    /// The reference antenna: mounted first, midway and last.
    pub reference: Option<&'a str>,
    /// Check loads: read before the first antenna and after the last.
    pub loads: Vec<&'a str>,
}

/// How well an order is balanced.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct Balance {
    /// Root mean square, over antennas, of their mean x.
    pub linear: f64,
    /// The same of their mean x², about that of all mountings.
    pub quadratic: f64,
    /// Fewest mountings from one mounting of an antenna to its next; 0 where none has two.
    pub closest: f64,
}

/// An order, its balance, and the balance that orders by lot have on average.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Order {
    /// The slots.
    pub slots: Vec<Slot>,
    /// Its balance, the reference antenna left aside.
    pub balance: Balance,
    /// Mean balance of wholly random orders of the same mountings.
    pub by_lot: Balance,
}

/// Makes an order.
pub fn order(wishes: &Wishes, rng: &mut impl Rng) -> Order {
    let n = wishes.antennas.len();
    let bench = Bench::new(wishes);
    let mut found: Vec<(f64, Vec<usize>)> = (0..STARTS)
        .map(|_| {
            let mut sequence: Vec<usize> = vec![];
            for _ in 0..wishes.mountings {
                let mut round: Vec<usize> = (0..n).collect();
                round.shuffle(rng);
                sequence.extend(round);
            }
            let cost = bench.improve(&mut sequence);
            (cost, sequence)
        })
        .collect();
    let best = found.iter().map(|f| f.0).fold(f64::INFINITY, f64::min);
    found.retain(|f| f.0 <= best + NEARLY);
    let sequence = found.swap_remove(rng.random_range(0..found.len())).1;
    let balance = bench.balance(&sequence);
    let mut by_lot = Balance::default();
    const LOTS: usize = 200;
    for _ in 0..LOTS {
        let mut sequence: Vec<usize> = (0..n * wishes.mountings).map(|i| i % n.max(1)).collect();
        sequence.shuffle(rng);
        let b = bench.balance(&sequence);
        by_lot.linear += b.linear / LOTS as f64;
        by_lot.quadratic += b.quadratic / LOTS as f64;
        by_lot.closest += b.closest / LOTS as f64;
    }
    Order { slots: bench.slots(&sequence), balance, by_lot }
}

/// Places of the antennas' mountings among all, those of the reference antenna between them.
struct Bench<'a> {
    wishes: &'a Wishes<'a>,
    /// x of each place of the sequence.
    x: Vec<f64>,
    /// Place of each among all mountings.
    at: Vec<usize>,
    /// Mean of x² over all places.
    middle: f64,
    /// Places of the reference antenna: before these members of the sequence.
    reference: Vec<usize>,
}

impl Bench<'_> {
    fn new<'a>(wishes: &'a Wishes<'a>) -> Bench<'a> {
        let n = wishes.antennas.len() * wishes.mountings;
        let mut reference = if wishes.reference.is_some() { vec![0, n.div_ceil(2), n] } else { vec![] };
        reference.dedup();
        let all = n + reference.len();
        let at: Vec<usize> = (0..n).map(|i| i + reference.iter().filter(|&&r| r <= i).count()).collect();
        let scale = |i: usize| if all > 1 { 2.0 * i as f64 / (all - 1) as f64 - 1.0 } else { 0.0 };
        let x: Vec<f64> = at.iter().map(|&i| scale(i)).collect();
        let middle = x.iter().map(|x| x * x).sum::<f64>() / n.max(1) as f64;
        Bench { wishes, x, at, middle, reference }
    }

    /// Mean x, mean x² about the middle, and the fewest places between two mountings, of one antenna.
    fn of(&self, sequence: &[usize], antenna: usize) -> (f64, f64, f64) {
        let (mut linear, mut square, mut count) = (0.0, 0.0, 0.0);
        let (mut last, mut closest): (Option<usize>, f64) = (None, f64::INFINITY);
        for (i, _) in sequence.iter().enumerate().filter(|(_, a)| **a == antenna) {
            linear += self.x[i];
            square += self.x[i] * self.x[i];
            count += 1.0;
            if let Some(last) = last {
                closest = closest.min((self.at[i] - last) as f64);
            }
            last = Some(self.at[i]);
        }
        (linear / count, square / count - self.middle, closest)
    }

    fn cost_of(&self, sequence: &[usize], antenna: usize) -> f64 {
        let (linear, quadratic, closest) = self.of(sequence, antenna);
        let history = self.wishes.history.get(antenna).copied().unwrap_or(0.0);
        // two mountings of an antenna are no nearer than half a round
        let wanted = (self.wishes.antennas.len() as f64 / 2.0).ceil().max(2.0);
        let near = if closest < wanted { 0.1 * (wanted - closest) } else { 0.0 };
        // inside a session balance comes first; one mounting alone can only be balanced over sessions
        let over_sessions = if self.wishes.mountings == 1 { 0.5 } else { 0.02 };
        linear * linear + quadratic * quadratic + over_sessions * (history + linear).powi(2) + near
    }

    /// Exchanges antennas inside rounds as long as that helps; the cost reached.
    fn improve(&self, sequence: &mut [usize]) -> f64 {
        let n = self.wishes.antennas.len();
        let mut cost: Vec<f64> = (0..n).map(|a| self.cost_of(sequence, a)).collect();
        // each pass costs rounds·n²·n: large benches get fewer
        let passes = if n > 40 { 2 } else { 20 };
        for _ in 0..passes {
            let mut better = false;
            for round in 0..self.wishes.mountings {
                for i in round * n..(round + 1) * n {
                    for j in i + 1..(round + 1) * n {
                        let (a, b) = (sequence[i], sequence[j]);
                        sequence.swap(i, j);
                        let (ca, cb) = (self.cost_of(sequence, a), self.cost_of(sequence, b));
                        if ca + cb < cost[a] + cost[b] - 1e-12 {
                            (cost[a], cost[b], better) = (ca, cb, true);
                        } else {
                            sequence.swap(i, j);
                        }
                    }
                }
            }
            if !better {
                break;
            }
        }
        cost.iter().sum::<f64>() / n.max(1) as f64
    }

    fn balance(&self, sequence: &[usize]) -> Balance {
        let n = self.wishes.antennas.len();
        if n == 0 {
            return Balance::default();
        }
        let all: Vec<(f64, f64, f64)> = (0..n).map(|a| self.of(sequence, a)).collect();
        let rms = |f: fn(&(f64, f64, f64)) -> f64| (all.iter().map(|x| f(x).powi(2)).sum::<f64>() / n as f64).sqrt();
        let closest = all.iter().map(|x| x.2).fold(f64::INFINITY, f64::min);
        Balance {
            linear: rms(|x| x.0),
            quadratic: rms(|x| x.1),
            closest: if closest.is_finite() { closest } else { 0.0 },
        }
    }

    fn slots(&self, sequence: &[usize]) -> Vec<Slot> {
        let mut slots: Vec<Slot> = vec![];
        let mut push = |what: &str, is_load: bool| {
            let mounting = 1 + slots.iter().filter(|s: &&Slot| s.what == what).count();
            slots.push(Slot { place: slots.len() + 1, what: what.to_string(), is_load, mounting });
        };
        self.wishes.loads.iter().for_each(|l| push(l, true));
        for i in 0..=sequence.len() {
            if let Some(reference) = self.wishes.reference.filter(|_| self.reference.contains(&i)) {
                push(reference, false);
            }
            if let Some(&antenna) = sequence.get(i) {
                push(self.wishes.antennas[antenna], false);
            }
        }
        self.wishes.loads.iter().for_each(|l| push(l, true));
        slots
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;

    fn wishes(antennas: &'static [&'static str], mountings: usize) -> Wishes<'static> {
        Wishes { antennas: antennas.to_vec(), history: vec![], mountings, reference: Some("r"), loads: vec!["fifty"] }
    }

    #[test]
    fn the_reference_antenna_is_first_midway_and_last_and_loads_are_outside_all() {
        let order = order(&wishes(&["a", "b", "c", "d"], 2), &mut stream(1, 1, 0));
        let names: Vec<&str> = order.slots.iter().map(|s| s.what.as_str()).collect();
        assert_eq!((names[0], names[1], names[6], names[11], names[12]), ("fifty", "r", "r", "r", "fifty"));
        assert_eq!(names.len(), 13);
        for a in ["a", "b", "c", "d"] {
            let mountings: Vec<usize> = order.slots.iter().filter(|s| s.what == a).map(|s| s.mounting).collect();
            assert_eq!(mountings, [1, 2]);
        }
        assert!(order.slots.iter().enumerate().all(|(i, s)| s.place == i + 1));
    }

    #[test]
    fn orders_are_balanced_and_spread_far_better_than_by_lot() {
        for (antennas, mountings) in [(&["a", "b", "c", "d", "e", "f"][..], 2), (&["a", "b", "c", "d"], 3)] {
            let antennas: &'static [&'static str] = antennas;
            for seed in 0..10 {
                let order = order(&wishes(antennas, mountings), &mut stream(seed, 1, 0));
                assert!(order.balance.linear < 0.5 * order.by_lot.linear, "{order:?}");
                // spread and the linear balance come first; a bow is no worse than by lot
                assert!(order.balance.quadratic < 1.3 * order.by_lot.quadratic, "{order:?}");
                assert!(order.balance.closest >= 2.0 && order.balance.closest > order.by_lot.closest, "{order:?}");
            }
        }
    }

    #[test]
    fn drift_biases_the_order_far_less_than_measuring_one_antenna_after_the_other() {
        let names = ["a", "b", "c", "d", "e", "f"];
        let order = order(&wishes(&["a", "b", "c", "d", "e", "f"], 2), &mut stream(3, 1, 0));
        let antennas: Vec<&Slot> = order.slots.iter().filter(|s| !s.is_load).collect();
        // 2 dB from first to last, and a bow of 1 dB
        let drift = |i: usize, n: usize| {
            let x = 2.0 * i as f64 / (n - 1) as f64 - 1.0;
            x + x * x
        };
        let worst = |mean: &dyn Fn(&str) -> f64| {
            let means: Vec<f64> = names.iter().map(|n| mean(n)).collect();
            means.iter().fold(f64::MIN, |m, x| m.max(*x)) - means.iter().fold(f64::MAX, |m, x| m.min(*x))
        };
        let planned = worst(&|name| {
            let own = antennas.iter().enumerate().filter(|(_, s)| s.what == name);
            own.map(|(i, _)| drift(i, antennas.len())).sum::<f64>() / 2.0
        });
        let naive = worst(&|name| {
            let k = names.iter().position(|n| *n == name).unwrap_or(0);
            (drift(2 * k, 12) + drift(2 * k + 1, 12)) / 2.0
        });
        assert!(planned < 0.4 * naive, "planned {planned} naive {naive}");
    }

    #[test]
    fn an_antenna_that_was_always_early_comes_late() {
        let mut wishes = wishes(&["a", "b", "c", "d", "e", "f"], 1);
        wishes.history = vec![-2.0, 0.0, 0.0, 0.0, 0.0, 2.0];
        for seed in 0..5 {
            let order = order(&wishes, &mut stream(seed, 1, 0));
            let place = |name: &str| order.slots.iter().position(|s| s.what == name).unwrap();
            assert!(place("a") > place("f"), "{order:?}");
        }
    }

    #[test]
    fn one_antenna_or_none_makes_an_order_too() {
        assert_eq!(order(&wishes(&[], 2), &mut stream(1, 1, 0)).slots.len(), 3);
        assert_eq!(order(&wishes(&["a"], 1), &mut stream(1, 1, 0)).slots.len(), 5);
    }
}
