//! What others would do with the same data.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex};

use daylight::montecarlo::stream::stream;
use daylight::stats::mixed::MountingSummary;
use daylight::stats::student_t::t_quantile;
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};

/// Differences and half-widths of all pairs; `None` where the method has no answer.
pub type Pairs = Vec<Option<(f64, f64)>>;

/// (a) Two-sample t-tests of all readings pooled, each pair by itself at 95 %.
pub fn pooled_t(antennas: usize, mountings: &[MountingSummary]) -> Pairs {
    let pooled: Vec<(f64, f64, f64)> = (0..antennas)
        .map(|a| {
            let own: Vec<&MountingSummary> = mountings.iter().filter(|m| m.antenna == a).collect();
            let n: f64 = own.iter().map(|m| m.readings).sum();
            let mean = own.iter().map(|m| m.readings * m.mean).sum::<f64>() / n;
            let ss = own.iter().map(|m| m.sum_of_squares + m.readings * (m.mean - mean).powi(2)).sum();
            (n, mean, ss)
        })
        .collect();
    all_pairs(antennas, |i, j| {
        let ((n, x, s), (m, y, t)) = (pooled[i], pooled[j]);
        let df = n + m - 2.0;
        let error = ((s + t) / df * (1.0 / n + 1.0 / m)).sqrt();
        (df > 0.0).then(|| (x - y, t_quantile(0.975, df) * error))
    })
}

fn all_pairs(antennas: usize, mut f: impl FnMut(usize, usize) -> Option<(f64, f64)>) -> Pairs {
    let mut out = vec![];
    for i in 0..antennas {
        for j in i + 1..antennas {
            out.push(f(i, j));
        }
    }
    out
}

/// Mean and weight structure of the visits: (session, antenna, mean of its mountings' means).
fn visit_means(mountings: &[MountingSummary]) -> Vec<(usize, usize, f64)> {
    let mut sums: HashMap<(usize, usize), (f64, f64)> = HashMap::new();
    for m in mountings {
        let entry = sums.entry((m.session, m.antenna)).or_default();
        entry.0 += m.mean;
        entry.1 += 1.0;
    }
    let mut visits: Vec<_> = sums.into_iter().map(|((s, a), (sum, n))| (s, a, sum / n)).collect();
    visits.sort_by_key(|v| (v.0, v.1));
    visits
}

/// (b) Antennas and sessions fixed, visit means as data, Tukey's range (Tukey–Kramer where unbalanced).
pub fn blocks(antennas: usize, sessions: usize, mountings: &[MountingSummary]) -> Pairs {
    let visits = visit_means(mountings);
    let in_session = |s: usize| visits.iter().filter(move |v| v.0 == s);
    // reduced normal equations of the antennas: C = diag(r) − N·K⁻¹·Nᵀ, made regular by adding 1·1ᵀ
    let mut matrix = vec![vec![1.0; antennas]; antennas];
    let mut rhs = vec![0.0; antennas];
    let mut used = 0.0;
    for s in 0..sessions {
        let k = in_session(s).count() as f64;
        if k == 0.0 {
            continue;
        }
        used += 1.0;
        let mean = in_session(s).map(|v| v.2).sum::<f64>() / k;
        for v in in_session(s) {
            matrix[v.1][v.1] += 1.0;
            rhs[v.1] += v.2 - mean;
            for w in in_session(s) {
                matrix[v.1][w.1] -= 1.0 / k;
            }
        }
    }
    let Some(inverse) = inverse(matrix) else { return vec![None; antennas * (antennas - 1) / 2] };
    let estimate: Vec<f64> = inverse.iter().map(|row| row.iter().zip(&rhs).map(|(a, b)| a * b).sum()).collect();
    let df = visits.len() as f64 - used - antennas as f64 + 1.0;
    let mut residual = 0.0;
    for s in 0..sessions {
        let of: Vec<f64> = in_session(s).map(|v| v.2 - estimate[v.1]).collect();
        let mean = of.iter().sum::<f64>() / of.len().max(1) as f64;
        residual += of.iter().map(|r| (r - mean).powi(2)).sum::<f64>();
    }
    if df < 0.5 {
        return vec![None; antennas * (antennas - 1) / 2];
    }
    let critical = studentized_range(antennas, df) / 2f64.sqrt();
    all_pairs(antennas, |i, j| {
        let variance = inverse[i][i] + inverse[j][j] - 2.0 * inverse[i][j];
        Some((estimate[i] - estimate[j], critical * (residual / df * variance).sqrt()))
    })
}

/// (c) Generalised least squares with the true components, and the largest |z| over the pairs.
/// Also returns the smallest standard error of a difference.
pub fn oracle(antennas: usize, sessions: usize, mountings: &[MountingSummary], sd: [f64; 4], id: u64) -> (Pairs, f64) {
    let square = sd.map(|s| s * s);
    let mut matrix = vec![vec![0.0; antennas]; antennas];
    let mut rhs = vec![0.0; antennas];
    for s in 0..sessions {
        let mut visits: Vec<(usize, f64, f64)> = vec![]; // antenna, precision, mean
        for a in 0..antennas {
            let own = mountings.iter().filter(|m| m.session == s && m.antenna == a);
            let (mut weight, mut sum) = (0.0, 0.0);
            for m in own {
                let w = 1.0 / (square[2] + square[3] / m.readings);
                weight += w;
                sum += w * m.mean;
            }
            if weight > 0.0 {
                visits.push((a, 1.0 / (square[1] + 1.0 / weight), sum / weight));
            }
        }
        let total: f64 = visits.iter().map(|v| v.1).sum();
        let c = square[0] / (1.0 + square[0] * total);
        let weighted: f64 = visits.iter().map(|v| v.1 * v.2).sum();
        for v in &visits {
            matrix[v.0][v.0] += v.1;
            rhs[v.0] += v.1 * (v.2 - c * weighted);
            for w in &visits {
                matrix[v.0][w.0] -= c * v.1 * w.1;
            }
        }
    }
    let Some(inverse) = inverse(matrix) else { return (vec![None; antennas * (antennas - 1) / 2], f64::NAN) };
    let estimate: Vec<f64> = inverse.iter().map(|row| row.iter().zip(&rhs).map(|(a, b)| a * b).sum()).collect();
    let error = |i: usize, j: usize| (inverse[i][i] + inverse[j][j] - 2.0 * inverse[i][j]).sqrt();
    let critical = largest_z(&inverse, id);
    let pairs = all_pairs(antennas, |i, j| Some((estimate[i] - estimate[j], critical * error(i, j))));
    let mut smallest = f64::INFINITY;
    for i in 0..antennas {
        for j in i + 1..antennas {
            smallest = smallest.min(error(i, j));
        }
    }
    (pairs, smallest)
}

/// The 95 % quantile of the largest |z| over all pairs of normal estimates with that covariance.
fn largest_z(covariance: &[Vec<f64>], id: u64) -> f64 {
    let n = covariance.len();
    let mut factor = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            factor[i][j] =
                if i == j { (covariance[i][i] - dot).max(0.0).sqrt() } else { (covariance[i][j] - dot) / factor[j][j] };
        }
    }
    let mut rng = stream(id, 1 << 23, 0);
    let mut largest: Vec<f64> = (0..2000)
        .map(|_| {
            let z: Vec<f64> = (0..n).map(|_| rng.sample(StandardNormal)).collect();
            let x: Vec<f64> = (0..n).map(|i| (0..=i).map(|k| factor[i][k] * z[k]).sum()).collect();
            let mut most: f64 = 0.0;
            for i in 0..n {
                for j in i + 1..n {
                    let v = covariance[i][i] + covariance[j][j] - 2.0 * covariance[i][j];
                    most = most.max((x[i] - x[j]).abs() / v.sqrt());
                }
            }
            most
        })
        .collect();
    largest.sort_by(f64::total_cmp);
    largest[1899]
}

/// The upper 5 % point of the studentized range, simulated once for each size and degrees of freedom.
fn studentized_range(groups: usize, df: f64) -> f64 {
    static KNOWN: LazyLock<Mutex<HashMap<(usize, u64), f64>>> = LazyLock::new(Mutex::default);
    let key = (groups, df as u64);
    if let Some(q) = KNOWN.lock().expect("no thread fails while it holds the lock").get(&key) {
        return *q;
    }
    let mut rng = stream(1, 0, key.1 << 8 | groups as u64);
    let chi = ChiSquared::new(df).expect("positive degrees of freedom");
    let mut ranges: Vec<f64> = (0..400_000)
        .map(|_| {
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for _ in 0..groups {
                let z: f64 = rng.sample(StandardNormal);
                low = low.min(z);
                high = high.max(z);
            }
            (high - low) / (rng.sample(chi) / df).sqrt()
        })
        .collect();
    ranges.sort_by(f64::total_cmp);
    let q = ranges[ranges.len() * 95 / 100];
    KNOWN.lock().expect("no thread fails while it holds the lock").insert(key, q);
    q
}

/// Gauss–Jordan inverse; `None` where singular.
fn inverse(mut m: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = m.len();
    for (i, row) in m.iter_mut().enumerate() {
        row.extend((0..n).map(|j| f64::from(u8::from(i == j))));
    }
    for col in 0..n {
        let pivot = (col..n).max_by(|&a, &b| m[a][col].abs().total_cmp(&m[b][col].abs()))?;
        if m[pivot][col].abs() < 1e-9 {
            return None;
        }
        m.swap(col, pivot);
        let scale = m[col][col];
        m[col].iter_mut().for_each(|x| *x /= scale);
        let row = m[col].clone();
        for (i, other) in m.iter_mut().enumerate() {
            if i != col {
                let factor = other[col];
                other.iter_mut().zip(&row).for_each(|(x, y)| *x -= factor * y);
            }
        }
    }
    Some(m.into_iter().map(|row| row[n..].to_vec()).collect())
}
