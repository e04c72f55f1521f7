//! Values of one output from any number of trials, in bounded memory, ready to be asked for quantiles and intervals.
//!
//! The first 2²⁰ values are kept, and up to there every answer is exact. Beyond, they are laid down as 2¹³ bins between
//! their own order statistics, each holding one part in 2¹³ of the probability, and every value is counted into one:
//! open bins between neighbouring edges, and the edges themselves, so that a result that takes few values stays
//! exact. A quantile is then interpolated inside its bin. It is off by no more than the bin's width: near the ends
//! of a 95 % interval of a normal output 0.2 % of its standard deviation, where one that is wanted to two digits
//! tolerates 0.5 %; interpolation leaves a thirtieth of it. More bins would no longer fit the processor's nearest caches. Counts do not depend on the order of adding, so neither on threads.

use rayon::prelude::*;

/// Values kept, and beyond which only counts are.
pub const KEPT: usize = 1 << 20;
/// A bin an edge: every so many kept values.
const EVERY: usize = 1 << 7;
/// Cells of the guide from a value to its bin.
const CELLS: usize = 1 << 14;

/// Values of one output.
#[derive(Debug, Clone, Default)]
pub struct Sample {
    kept: Vec<f64>,
    bins: Option<Bins>,
    count: u64,
}

#[derive(Debug, Clone)]
struct Bins {
    /// Strictly rising; the first and last are the least and greatest value yet seen.
    edges: Vec<f64>,
    /// Values equal to an edge.
    at: Vec<u64>,
    /// Values between an edge and the next.
    above: Vec<u64>,
    guide: Guide,
}

/// A table from equal cells of the middle of the range to the edges in them.
#[derive(Debug, Clone)]
struct Guide {
    low: f64,
    per_cell: f64,
    first: Vec<u32>,
}

impl Sample {
    /// Adds values, all finite, in the order of their trials.
    pub fn extend(&mut self, values: &[f64]) {
        self.count += values.len() as u64;
        let room = KEPT - self.kept.len();
        let (keep, rest) = values.split_at(room.min(values.len()));
        self.kept.extend_from_slice(keep);
        if rest.is_empty() {
            return;
        }
        let bins = self.bins.get_or_insert_with(|| Bins::new(&self.kept));
        bins.count(rest);
    }

    /// Number of values.
    pub fn len(&self) -> u64 {
        self.count
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// The first values, in the order of their trials: all of them up to [`KEPT`].
    pub fn first(&self) -> &[f64] {
        &self.kept
    }

    /// The values in order.
    pub fn ordered(&self) -> Ordered {
        match &self.bins {
            None => Ordered::of(self.kept.clone()),
            Some(bins) => bins.ordered(self.count),
        }
    }
}

impl Bins {
    fn new(kept: &[f64]) -> Bins {
        let mut sorted = kept.to_vec();
        sorted.par_sort_unstable_by(f64::total_cmp);
        let mut edges: Vec<f64> = sorted.iter().copied().step_by(EVERY).chain(sorted.last().copied()).collect();
        edges.dedup();
        let guide = Guide::new(&edges);
        let mut bins = Bins { at: vec![0; edges.len()], above: vec![0; edges.len()], edges, guide };
        bins.count(kept);
        bins
    }

    fn count(&mut self, values: &[f64]) {
        // beyond the outermost edges no bin reaches: a new extreme value becomes an edge
        let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
        let last = self.edges.len() - 1;
        if high > self.edges[last] {
            self.insert_edge(last + 1, high);
        }
        if low < self.edges[0] {
            self.insert_edge(0, low);
        }
        let n = self.edges.len();
        let this = &*self;
        // a piece a thread; each piece's counts are laid out as places are
        let piece = values.len().div_ceil(rayon::current_num_threads()).max(1 << 15);
        let pieces: Vec<Vec<u32>> = values
            .par_chunks(piece)
            .map(|piece| {
                let mut counts = vec![0u32; 2 * n];
                piece.iter().for_each(|value| counts[this.place(*value)] += 1);
                counts
            })
            .collect();
        for counts in &pieces {
            for i in 0..n {
                self.at[i] += u64::from(counts[2 * i]);
                self.above[i] += u64::from(counts[2 * i + 1]);
            }
        }
    }

    fn insert_edge(&mut self, at: usize, edge: f64) {
        self.edges.insert(at, edge);
        self.at.insert(at, 0);
        self.above.insert(at, 0);
        self.guide = Guide::new(&self.edges);
    }

    /// 2i for a value on edge i, 2i + 1 for one between it and the next.
    fn place(&self, value: f64) -> usize {
        let (from, to) = self.guide.range(value, self.edges.len());
        let i = from + self.edges[from..to].partition_point(|edge| *edge <= value);
        // the first edge is the least value, so i is at least 1
        let i = i.max(1) - 1;
        2 * i + usize::from(self.edges[i] != value)
    }

    fn ordered(&self, count: u64) -> Ordered {
        let (mut values, mut ranks) =
            (Vec::with_capacity(2 * self.edges.len()), Vec::with_capacity(2 * self.edges.len()));
        let mut below = 0;
        for (i, &edge) in self.edges.iter().enumerate() {
            // the ranks held by values on the edge; a jump of the distribution function where there are several
            values.push(edge);
            ranks.push(below as f64 + 0.5);
            below += self.at[i];
            if self.at[i] > 1 {
                values.push(edge);
                ranks.push(below as f64 - 0.5);
            }
            below += self.above[i];
        }
        Ordered { values, ranks: Some(ranks), count: count as f64 }
    }
}

impl Guide {
    fn new(edges: &[f64]) -> Guide {
        // the middle 99.8 %: the far tails of a heavy-tailed result would make the cells too wide
        let cut = edges.len() / 1000;
        let (low, high) = (edges[cut], edges[edges.len() - 1 - cut]);
        let per_cell = CELLS as f64 / (high - low);
        if !per_cell.is_finite() {
            return Guide { low, per_cell: 0.0, first: vec![0, edges.len() as u32] };
        }
        // cell c of the table holds the first edge whose own cell is c or later, by the very arithmetic of a look-up
        let mut guide = Guide { low, per_cell, first: vec![edges.len() as u32; CELLS + 3] };
        for (i, &edge) in edges.iter().enumerate().rev() {
            let cell = guide.cell(edge);
            guide.first[cell] = i as u32;
        }
        for c in (0..CELLS + 2).rev() {
            guide.first[c] = guide.first[c].min(guide.first[c + 1]);
        }
        guide
    }

    /// 0 below the middle, 1 to CELLS in it, CELLS + 1 above.
    fn cell(&self, value: f64) -> usize {
        if self.per_cell == 0.0 {
            return 0;
        }
        // a cast saturates, and cells rise with values, which is all that is asked of them
        ((value - self.low) * self.per_cell + 1.0).clamp(0.0, CELLS as f64 + 1.0) as usize
    }

    /// Edges among which the last one at or below the value, or the first above it, lies.
    fn range(&self, value: f64, edges: usize) -> (usize, usize) {
        let cell = self.cell(value);
        (self.first[cell] as usize, (self.first[cell + 1] as usize).min(edges))
    }
}

/// Values in order, or as good as: a distribution function to ask for quantiles.
#[derive(Debug, Clone)]
pub struct Ordered {
    values: Vec<f64>,
    /// Where only some of the values stand here: their ranks, each r-th value at r − ½.
    ranks: Option<Vec<f64>>,
    count: f64,
}

impl Ordered {
    /// From the values themselves, all finite.
    pub fn of(mut values: Vec<f64>) -> Ordered {
        values.par_sort_unstable_by(f64::total_cmp);
        let count = values.len() as f64;
        Ordered { values, ranks: None, count }
    }

    /// The value of rank `rank`, from 1 to the number of values (JCGM 101, 7.7: y₍ᵣ₎).
    pub fn at_rank(&self, rank: f64) -> f64 {
        let Some(last) = self.values.len().checked_sub(1) else { return f64::NAN };
        match &self.ranks {
            None => self.values[(rank as usize).clamp(1, last + 1) - 1],
            Some(ranks) => {
                let at = rank - 0.5;
                let i = ranks.partition_point(|r| *r <= at).clamp(1, last);
                let (r0, r1) = (ranks[i - 1], ranks[i]);
                let share = if r1 > r0 { ((at - r0) / (r1 - r0)).clamp(0.0, 1.0) } else { 1.0 };
                self.values[i - 1] + share * (self.values[i] - self.values[i - 1])
            }
        }
    }

    /// Number of values.
    pub fn count(&self) -> f64 {
        self.count
    }

    /// Ranks at which an interval may begin, in order: every one, or where only some values stand here, theirs.
    pub(super) fn starts(&self) -> impl Iterator<Item = f64> + '_ {
        let all = self.ranks.is_none().then_some(1..=self.values.len()).into_iter().flatten().map(|r| r as f64);
        all.chain(self.ranks.iter().flatten().map(|r| r + 0.5))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::stream::stream;
    use rand::{Rng, RngExt};
    use rand_distr::{Cauchy, StandardNormal};

    /// The same values, kept whole and counted, in uneven pieces.
    fn both(n: usize, mut draw: impl FnMut(&mut crate::montecarlo::stream::Stream) -> f64) -> (Ordered, Ordered) {
        let mut rng = stream(3, 0, 0);
        let values: Vec<f64> = (0..n).map(|_| draw(&mut rng)).collect();
        let mut sample = Sample::default();
        values.chunks(77_777).for_each(|piece| sample.extend(piece));
        assert_eq!(sample.len(), n as u64);
        (Ordered::of(values), sample.ordered())
    }

    #[test]
    fn counted_values_give_the_same_quantiles_as_kept_ones_far_below_any_tolerance() {
        let n = 2 * KEPT + 12_345;
        let (exact, counted) = both(n, |rng| rng.sample(StandardNormal));
        for p in [0.0005, 0.005, 0.025, 0.1, 0.5, 0.9, 0.975, 0.995, 0.9995] {
            let rank = (p * n as f64).round();
            let off = (exact.at_rank(rank) - counted.at_rank(rank)).abs();
            // a bin holds 2⁻¹³ of the probability; interpolation inside it leaves less than the text above promises
            let density = (-0.5 * exact.at_rank(rank).powi(2)).exp() / std::f64::consts::TAU.sqrt();
            assert!(off < 2.0 / 8192.0 / density, "{p}: {off}");
            assert!(off < 3e-4 || !(0.02..0.98).contains(&p), "{p}: {off}");
        }
        for rank in [1.0, 2.0, n as f64] {
            assert!((exact.at_rank(rank) - counted.at_rank(rank)).abs() < 0.5, "{rank}");
        }
        assert_eq!(exact.at_rank(1.0), counted.at_rank(1.0));
        assert_eq!(exact.at_rank(n as f64), counted.at_rank(n as f64));
    }

    #[test]
    fn heavy_tails_and_results_that_take_few_values_keep_their_quantiles() {
        let n = KEPT + 300_000;
        let cauchy = Cauchy::new(0.0, 1.0).unwrap();
        let (exact, counted) = both(n, |rng| rng.sample(cauchy));
        for p in [0.025, 0.3, 0.5, 0.975] {
            let rank = (p * n as f64).round();
            let (a, b) = (exact.at_rank(rank), counted.at_rank(rank));
            assert!((a - b).abs() < 1e-3 * (1.0 + a * a), "{p}: {a} {b}");
        }
        let (exact, counted) = both(n, |rng: &mut _| f64::from(rng.random_range(0..7)));
        for step in 0..=1000 {
            let rank = 1.0 + f64::from(step) / 1000.0 * (n as f64 - 1.0);
            assert_eq!(exact.at_rank(rank.round()), counted.at_rank(rank.round()), "{rank}");
        }
        let (exact, counted) = both(n, |_: &mut _| 4.0);
        assert_eq!(exact.at_rank(5.0), counted.at_rank(5.0));
    }

    #[test]
    fn counts_are_the_same_on_any_number_of_threads() {
        let counted = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| both(KEPT + 200_000, |rng| rng.next_u32().into()).1)
        };
        let (one, two) = (counted(1), counted(2));
        assert_eq!((one.values, one.ranks), (two.values, two.ranks));
    }
}
