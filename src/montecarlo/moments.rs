//! Means, variances and covariances of several outputs from chunks, merged in the order of the chunks.
//!
//! Source: T. F. Chan, G. H. Golub and R. J. LeVeque, "Algorithms for computing the sample variance" (1983): the
//! pairwise update, exact to rounding for data with a large offset.

/// Number, means and sums of products of deviations of some trials.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// Number of trials.
    pub n: f64,
    /// Mean of each output.
    pub mean: Vec<f64>,
    /// Sums of products of deviations from the means, row by row.
    products: Vec<f64>,
}

impl Moments {
    /// Of no trials of `outputs` outputs.
    pub fn none(outputs: usize) -> Moments {
        Moments { n: 0.0, mean: vec![0.0; outputs], products: vec![0.0; outputs * outputs] }
    }

    /// Of a chunk, one slice an output.
    pub fn of(columns: &[&[f64]]) -> Moments {
        let m = columns.len();
        let n = columns.first().map_or(0, |c| c.len()) as f64;
        let mut moments = Moments { n, ..Moments::none(m) };
        if n == 0.0 {
            return moments;
        }
        for (mean, column) in moments.mean.iter_mut().zip(columns) {
            // about the first value, so that a large offset costs no digits
            let offset = column[0];
            *mean = offset + sum(column.iter().map(|y| y - offset)) / n;
        }
        for i in 0..m {
            for j in i..m {
                let (mi, mj) = (moments.mean[i], moments.mean[j]);
                let product = sum(columns[i].iter().zip(columns[j]).map(|(a, b)| (a - mi) * (b - mj)));
                (moments.products[i * m + j], moments.products[j * m + i]) = (product, product);
            }
        }
        moments
    }

    /// Adds those of a later chunk.
    pub fn merge(&mut self, later: &Moments) {
        let (a, b) = (self.n, later.n);
        if b == 0.0 {
            return;
        }
        let (n, m) = (a + b, self.mean.len());
        let step: Vec<f64> = self.mean.iter().zip(&later.mean).map(|(x, y)| y - x).collect();
        for i in 0..m {
            for j in 0..m {
                self.products[i * m + j] += later.products[i * m + j] + step[i] * step[j] * (a * b / n);
            }
        }
        self.mean.iter_mut().zip(&step).for_each(|(mean, step)| *mean += step * b / n);
        self.n = n;
    }

    /// The covariance of two outputs, with n − 1 below.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.products[i * self.mean.len() + j] / (self.n - 1.0)
    }

    /// The standard deviation of an output, with n − 1 below.
    pub fn standard_deviation(&self, i: usize) -> f64 {
        self.covariance(i, i).max(0.0).sqrt()
    }

    /// The correlation of two outputs; NaN where one does not vary.
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.covariance(i, j) / (self.standard_deviation(i) * self.standard_deviation(j))
    }
}

/// A sum in eight lanes, always the same ones: as fast as the machine adds, and the same bits everywhere.
fn sum(values: impl Iterator<Item = f64>) -> f64 {
    let mut lanes = [0.0; 8];
    for (i, value) in values.enumerate() {
        lanes[i & 7] += value;
    }
    lanes.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn merged_chunks_are_the_whole_even_with_a_large_offset() {
        let x: Vec<f64> = (0..1000).map(|i| 1e9 + f64::from(i * 7919 % 1000) / 1000.0).collect();
        let y: Vec<f64> = x.iter().map(|x| (x - 1e9) * (x - 1e9)).collect();
        let whole = Moments::of(&[&x, &y]);
        let mut merged = Moments::none(2);
        for range in [0..1, 1..333, 333..333, 333..1000] {
            merged.merge(&Moments::of(&[&x[range.clone()], &y[range]]));
        }
        for (i, j) in [(0, 0), (0, 1), (1, 1)] {
            let (a, b) = (merged.covariance(i, j), whole.covariance(i, j));
            assert!((a - b).abs() < 1e-9 * b.abs(), "{a} {b}");
        }
        // 0, 1, …, 999 thousandths in some order: variance n(n + 1)/12 of their steps
        assert!((whole.covariance(0, 0) - 1000.0 * 1001.0 / 12.0 / 1e6).abs() < 1e-7);
        assert!((whole.mean[0] - 1e9 - 0.4995).abs() < 1e-6);
    }
}
