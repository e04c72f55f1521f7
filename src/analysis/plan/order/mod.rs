//! The running order of a session: randomised in rounds, balanced against drift, each antenna's mountings apart.
//!
//! A session drifts: batteries sag, radios warm, the sun moves. An antenna measured early is then flattered against one
//! measured late. With x from −1 (first mounting) to 1 (last), a drift linear in x moves a difference by as much as the
//! two antennas' mean x differ, a bow by as much as their mean x² do. So every round holds each antenna once, in random
//! order, and antennas change places until both means are nearly alike for all ([`search`]).
//!
//! The choice stays random: of many random starts, one among the nearly best is taken by lot.
//!
//! With two mountings each, both cannot be had: what evens the mean x sets an antenna's two mountings as far before
//! the middle as behind it, and some pairs then lie near the middle and others at both ends. There the
//! linear drift goes first. From three mountings on both are small.
//!
//! # Source
//! Randomised blocks: Fisher, *The Design of Experiments* (1935), ch. 4. Run orders free of linear and quadratic trend:
//! Daniel & Wilcoxon (1966), *Technometrics* 8:259–278 (from memory).

mod search;

use rand::Rng;
use rand::RngExt;
use rand::seq::SliceRandom;

use search::Bench;

/// Random starts.
const STARTS: usize = 24;

/// Starts whose cost is above the best by no more than this share of what orders by lot cost are drawn from.
const NEARLY: f64 = 0.01;

/// Orders by lot that the balance is held against.
const LOTS: usize = 200;

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
    /// The reference antenna: mounted first, midway and last, and as often as `reference::mountings` says.
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
    let bench = Bench::new(wishes);
    let by_lot = by_lot(&bench, wishes, rng);
    let mut found: Vec<(f64, Vec<usize>)> = (0..STARTS)
        .map(|start| {
            let mut sequence = rounds(wishes, start % 2 == 0, rng);
            let cost = bench.improve(&mut sequence, rng);
            (cost, sequence)
        })
        .collect();
    let best = found.iter().map(|f| f.0).fold(f64::INFINITY, f64::min);
    let nearly = NEARLY * search::weighed(by_lot.linear, by_lot.quadratic);
    found.retain(|f| f.0 <= best + nearly);
    let sequence = found.swap_remove(rng.random_range(0..found.len())).1;
    Order { slots: slots(wishes, &sequence), balance: bench.balance(&sequence), by_lot }
}

/// A round for each mounting, each antenna once in it, in random order; `mirrored`, every second is the one before it
/// backwards, which leaves no linear drift where it starts.
fn rounds(wishes: &Wishes, mirrored: bool, rng: &mut impl Rng) -> Vec<usize> {
    let mut round: Vec<usize> = (0..wishes.antennas.len()).collect();
    let mut sequence = vec![];
    for number in 0..wishes.mountings {
        if mirrored && number % 2 == 1 {
            round.reverse();
        } else {
            round.shuffle(rng);
        }
        sequence.extend(&round);
    }
    sequence
}

fn by_lot(bench: &Bench, wishes: &Wishes, rng: &mut impl Rng) -> Balance {
    let mut sequence = rounds(wishes, false, rng);
    let mut mean = Balance::default();
    for _ in 0..LOTS {
        sequence.shuffle(rng);
        let own = bench.balance(&sequence);
        mean.linear += own.linear / LOTS as f64;
        mean.quadratic += own.quadratic / LOTS as f64;
        mean.closest += own.closest / LOTS as f64;
    }
    mean
}

/// The sequence with the reference antenna and the check loads in their places.
fn slots(wishes: &Wishes, sequence: &[usize]) -> Vec<Slot> {
    let mut slots: Vec<Slot> = vec![];
    let mut push = |what: &str, is_load: bool| {
        let mounting = 1 + slots.iter().filter(|s: &&Slot| s.what == what).count();
        slots.push(Slot { place: slots.len() + 1, what: what.to_string(), is_load, mounting });
    };
    wishes.loads.iter().for_each(|l| push(l, true));
    let stands = search::stands(wishes);
    for i in 0..=sequence.len() {
        if let Some(reference) = wishes.reference {
            stands.iter().filter(|&&s| s == i).for_each(|_| push(reference, false));
        }
        if let Some(&antenna) = sequence.get(i) {
            push(wishes.antennas[antenna], false);
        }
    }
    wishes.loads.iter().for_each(|l| push(l, true));
    slots
}

#[cfg(test)]
mod tests;
