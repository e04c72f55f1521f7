//! Exchanges that even out an order: simulated annealing over the places of the antennas inside their rounds.
//!
//! # Source
//! Kirkpatrick, Gelatt & Vecchi (1983), *Science* 220:671–680, with exchanges in one round or in two at once.

use rand::Rng;
use rand::RngExt;

use super::{Balance, Wishes};
use crate::analysis::plan::reference;

/// What a bow counts against a linear drift of the same size, both squared: what a battery or a warming radio does
/// climbs more than it bows.
const BOW: f64 = 0.5;

/// Each place that two mountings of an antenna are nearer than wanted costs this, against a balance below 1: nearness
/// is given up last.
const NEAR: f64 = 1.0;

/// What an antenna's place in the sessions so far counts. Inside a session balance comes first; one mounting alone can
/// only be balanced over sessions.
const OVER_SESSIONS: [f64; 2] = [0.5, 0.02];

/// Exchanges tried for each mounting, and at most.
const TRIES: usize = 150;
const MOST_TRIES: usize = 20_000;

/// The temperature falls from this share of an order by lot's cost to a thousandth of it.
const HOT: f64 = 0.1;

/// A linear balance and that of a bow in one figure.
pub fn weighed(linear: f64, quadratic: f64) -> f64 {
    linear * linear + BOW * quadratic * quadratic
}

/// Before which members of the sequence the reference antenna is mounted.
pub fn stands(wishes: &Wishes) -> Vec<usize> {
    let places = wishes.antennas.len() * wishes.mountings;
    if wishes.reference.is_some() { reference::stands(wishes.mountings, places) } else { vec![] }
}

/// Places of the antennas' mountings among all, those of the reference antenna between them.
pub struct Bench<'a> {
    wishes: &'a Wishes<'a>,
    /// x of each place of the sequence.
    x: Vec<f64>,
    /// Place of each among all mountings.
    at: Vec<usize>,
    /// Mean of x² over all places.
    middle: f64,
    /// Fewest places wanted from one mounting of an antenna to its next.
    wanted: usize,
}

impl Bench<'_> {
    /// The bench of those wishes.
    pub fn new<'a>(wishes: &'a Wishes<'a>) -> Bench<'a> {
        let n = wishes.antennas.len() * wishes.mountings;
        let reference = stands(wishes);
        let all = n + reference.len();
        let at: Vec<usize> = (0..n).map(|i| i + reference.iter().filter(|&&r| r <= i).count()).collect();
        let scale = |i: usize| if all > 1 { 2.0 * i as f64 / (all - 1) as f64 - 1.0 } else { 0.0 };
        let x: Vec<f64> = at.iter().map(|&i| scale(i)).collect();
        let middle = x.iter().map(|x| x * x).sum::<f64>() / n.max(1) as f64;
        // no nearer than half a round
        let wanted = wishes.antennas.len().div_ceil(2).max(2);
        Bench { wishes, x, at, middle, wanted }
    }

    /// Mean x, mean x² about the middle, and the fewest places between two mountings, of the antenna at those
    /// places.
    fn of(&self, places: &[usize]) -> (f64, f64, f64) {
        let count = places.len().max(1) as f64;
        let linear = places.iter().map(|&i| self.x[i]).sum::<f64>() / count;
        let square = places.iter().map(|&i| self.x[i] * self.x[i]).sum::<f64>() / count;
        let closest = places.windows(2).map(|w| (self.at[w[1]] - self.at[w[0]]) as f64).fold(f64::INFINITY, f64::min);
        (linear, square - self.middle, closest)
    }

    fn cost_of(&self, antenna: usize, places: &[usize]) -> f64 {
        let (linear, quadratic, _) = self.of(places);
        // a long history must not push an antenna to the end of every session to come
        let history = self.wishes.history.get(antenna).copied().unwrap_or(0.0).clamp(-1.0, 1.0);
        let over_sessions = OVER_SESSIONS[usize::from(self.wishes.mountings > 1)] * (history + linear).powi(2);
        let near: usize = places.windows(2).map(|w| self.wanted.saturating_sub(self.at[w[1]] - self.at[w[0]])).sum();
        weighed(linear, quadratic) + over_sessions + NEAR * near as f64
    }

    /// Changes the places of antennas inside their rounds, the sequence holding every antenna once a round; the
    /// mean cost of an antenna that was reached.
    pub fn improve(&self, sequence: &mut [usize], rng: &mut impl Rng) -> f64 {
        let (n, rounds) = (self.wishes.antennas.len(), self.wishes.mountings);
        // places of each antenna, a round after the other
        let mut places = vec![vec![0; rounds]; n];
        for (i, &antenna) in sequence.iter().enumerate() {
            places[antenna][i / n] = i;
        }
        let mut costs: Vec<f64> = places.iter().enumerate().map(|(a, p)| self.cost_of(a, p)).collect();
        let mut cost: f64 = costs.iter().sum();
        let (mut best, mut best_places) = (cost, places.clone());
        if n < 2 || rounds == 0 {
            return cost / n.max(1) as f64;
        }
        let tries = (TRIES * n * rounds).min(MOST_TRIES);
        // 0.2: an antenna's x and x² by lot vary about so much, divided among its mountings
        let hot = HOT * 0.2 / rounds as f64;
        for step in 0..tries {
            let temperature = hot * (-6.9 * step as f64 / tries as f64).exp();
            let a = rng.random_range(0..n);
            let b = (a + rng.random_range(1..n)) % n;
            let (first, second) = (rng.random_range(0..rounds), rng.random_range(0..rounds));
            exchange(&mut places, a, b, first, second);
            let (new_a, new_b) = (self.cost_of(a, &places[a]), self.cost_of(b, &places[b]));
            let more = new_a + new_b - costs[a] - costs[b];
            if more <= 0.0 || rng.random::<f64>() < (-more / temperature).exp() {
                cost += more;
                (costs[a], costs[b]) = (new_a, new_b);
                if cost < best - 1e-12 {
                    best = cost;
                    best_places.clone_from(&places);
                }
            } else {
                exchange(&mut places, a, b, first, second);
            }
        }
        for (antenna, places) in best_places.iter().enumerate() {
            places.iter().for_each(|&i| sequence[i] = antenna);
        }
        best / n as f64
    }

    /// How well any sequence is balanced.
    pub fn balance(&self, sequence: &[usize]) -> Balance {
        let n = self.wishes.antennas.len();
        if n == 0 {
            return Balance::default();
        }
        let mut places = vec![vec![]; n];
        sequence.iter().enumerate().for_each(|(i, &antenna)| places[antenna].push(i));
        let all: Vec<(f64, f64, f64)> = places.iter().map(|p| self.of(p)).collect();
        let rms = |f: fn(&(f64, f64, f64)) -> f64| (all.iter().map(|x| f(x).powi(2)).sum::<f64>() / n as f64).sqrt();
        let closest = all.iter().map(|x| x.2).fold(f64::INFINITY, f64::min);
        Balance {
            linear: rms(|x| x.0),
            quadratic: rms(|x| x.1),
            closest: if closest.is_finite() { closest } else { 0.0 },
        }
    }
}

/// Two antennas change places in one round, or in two.
fn exchange(places: &mut [Vec<usize>], a: usize, b: usize, first: usize, second: usize) {
    let (low, high) = places.split_at_mut(a.max(b));
    let (one, other) = (&mut low[a.min(b)], &mut high[0]);
    std::mem::swap(&mut one[first], &mut other[first]);
    if second != first {
        std::mem::swap(&mut one[second], &mut other[second]);
    }
}
