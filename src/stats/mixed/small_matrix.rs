//! Dense algebra on the few-by-few matrices of one set, in place and without allocation: the inner
//! loop of every replay. Matrices are row-major slices of p·p values.

use pulp::Arch;

/// [`cholesky`] and [`inverse_from_cholesky`] at once: of matrices of up to 16 rows in rows of one length, which the
/// compiler makes of the vector instructions that the machine at hand has. No operation is fused or reordered, so every
/// machine gives the same bits.
pub fn factor_and_invert(m: &mut [f64], p: usize, scratch: &mut [f64], out: &mut [f64]) -> Option<f64> {
    let arch = Arch::new();
    match p.div_ceil(4) {
        1 => arch.dispatch(
            #[inline(always)]
            || padded::<4>(m, p, out),
        ),
        2 => arch.dispatch(
            #[inline(always)]
            || padded::<8>(m, p, out),
        ),
        3 => arch.dispatch(
            #[inline(always)]
            || padded::<12>(m, p, out),
        ),
        4 => arch.dispatch(
            #[inline(always)]
            || padded::<16>(m, p, out),
        ),
        _ => {
            let log_det = cholesky(m, p)?;
            inverse_from_cholesky(m, p, scratch, out);
            Some(log_det)
        }
    }
}

/// As [`factor_and_invert`], p ≤ S: every row is filled up with zeros.
#[inline(always)]
fn padded<const S: usize>(m: &mut [f64], p: usize, out: &mut [f64]) -> Option<f64> {
    let mut upper = [[0.0; S]; S]; // Lᵀ, in the end
    for (i, row) in m.chunks_exact(p).enumerate() {
        (0..=i).for_each(|j| upper[j][i] = row[j]);
    }
    let (mut reciprocal, mut log_det) = ([0.0; S], LogProduct::default());
    for k in 0..p {
        let pivot = upper[k][k];
        if !is_pivot(pivot, m[k * p + k]) {
            return None;
        }
        log_det.times(pivot);
        reciprocal[k] = 1.0 / pivot.sqrt();
        let row: [f64; S] = std::array::from_fn(|j| if j < k { 0.0 } else { upper[k][j] * reciprocal[k] });
        upper[k] = row;
        for i in k + 1..p {
            let factor = row[i];
            (0..S).for_each(|j| upper[i][j] -= factor * row[j]);
        }
    }
    let mut inverse = [[0.0; S]; S]; // L⁻¹
    for i in 0..p {
        let mut row = [0.0; S];
        for k in 0..i {
            let factor = upper[k][i];
            (0..S).for_each(|j| row[j] -= factor * inverse[k][j]);
        }
        row.iter_mut().for_each(|x| *x *= reciprocal[i]);
        row[i] = reciprocal[i];
        inverse[i] = row;
    }
    let mut product = [[0.0; S]; S]; // L⁻ᵀ·L⁻¹
    for (k, row) in inverse[..p].iter().enumerate() {
        for i in 0..=k {
            let factor = row[i];
            (0..S).for_each(|j| product[i][j] += factor * row[j]);
        }
    }
    for i in 0..p {
        (0..p).for_each(|j| m[i * p + j] = upper[j][i]);
        out[i * p..i * p + p].copy_from_slice(&product[i][..p]);
    }
    Some(log_det.ln())
}

/// Whether what is left of a diagonal is more than rounding: a pivot lost to that means a contrast nothing estimates.
fn is_pivot(left: f64, diagonal: f64) -> bool {
    left > 1e-13 * diagonal.abs()
}

/// Replaces the symmetric positive definite `m` by its lower Cholesky factor L (m = L·Lᵀ; the part
/// above the diagonal is zeroed) and returns log det m, or `None` where a pivot is not positive.
pub fn cholesky(m: &mut [f64], p: usize) -> Option<f64> {
    let mut log_det = LogProduct::default();
    for j in 0..p {
        let (above, row_j_on) = m.split_at_mut(j * p);
        let row_j = &mut row_j_on[..p];
        for i in 0..j {
            let row_i = &above[i * p..i * p + p];
            let dot: f64 = row_j[..i].iter().zip(&row_i[..i]).map(|(x, y)| x * y).sum();
            row_j[i] = (row_j[i] - dot) / row_i[i];
        }
        let pivot = row_j[j] - row_j[..j].iter().map(|x| x * x).sum::<f64>();
        if !is_pivot(pivot, row_j[j]) {
            return None;
        }
        log_det.times(pivot);
        row_j[j] = pivot.sqrt();
        row_j[j + 1..].fill(0.0);
    }
    Some(log_det.ln())
}

/// The logarithm of a product of positive factors: logarithms cost more than the rest of a fit, so one
/// is taken only when the product nears the end of the range of f64.
#[derive(Debug, Clone, Copy)]
pub struct LogProduct {
    product: f64,
    sum: f64,
}

impl Default for LogProduct {
    fn default() -> Self {
        LogProduct { product: 1.0, sum: 0.0 }
    }
}

impl LogProduct {
    /// Multiplies by a positive factor.
    pub fn times(&mut self, factor: f64) {
        let product = self.product * factor;
        if (1e-150..1e150).contains(&product) {
            self.product = product;
        } else {
            self.sum += self.product.ln() + factor.ln();
            self.product = 1.0;
        }
    }

    /// The logarithm of the product so far.
    pub fn ln(&self) -> f64 {
        self.sum + self.product.ln()
    }
}

/// Writes into `out` the inverse of L·Lᵀ, given the lower Cholesky factor `l`.
fn inverse_from_cholesky(l: &[f64], p: usize, scratch: &mut [f64], out: &mut [f64]) {
    // scratch := L⁻¹ by rows, lower triangle; out := L⁻ᵀ·L⁻¹. Row upon row: the sums of a row run side by side
    for i in 0..p {
        let pivot = 1.0 / l[i * p + i];
        let (above, from_i) = scratch.split_at_mut(i * p);
        let row = &mut from_i[..=i];
        row.fill(0.0);
        for (k, factor) in l[i * p..i * p + i].iter().enumerate() {
            row[..=k].iter_mut().zip(&above[k * p..=k * p + k]).for_each(|(x, y)| *x += factor * y);
        }
        row[..i].iter_mut().for_each(|x| *x = -*x * pivot);
        row[i] = pivot;
    }
    out.fill(0.0);
    for k in 0..p {
        let row = &scratch[k * p..=k * p + k];
        for (i, factor) in row.iter().enumerate() {
            out[i * p..=i * p + i].iter_mut().zip(row).for_each(|(x, y)| *x += factor * y);
        }
    }
    for i in 0..p {
        for j in 0..i {
            out[j * p + i] = out[i * p + j];
        }
    }
}

/// Solves the symmetric system m·x = b of the `active` rows and columns by Gaussian elimination with
/// pivoting; x is zero elsewhere. `None` where the system is singular. For the 4×4 systems of θ.
pub fn solve_active(m: &[[f64; 4]; 4], b: &[f64; 4], active: &[bool; 4]) -> Option<[f64; 4]> {
    let index: Vec<usize> = (0..4).filter(|&k| active[k]).collect();
    let q = index.len();
    // scaled to a unit diagonal: the components' sizes may differ by many orders
    let scale: Vec<f64> = index.iter().map(|&k| m[k][k].abs().sqrt()).collect();
    if scale.iter().any(|s| !(*s > 0.0) || !s.is_finite()) {
        return None;
    }
    let mut a = [[0.0; 5]; 4];
    for r in 0..q {
        for c in 0..q {
            a[r][c] = m[index[r]][index[c]] / (scale[r] * scale[c]);
        }
        a[r][q] = b[index[r]] / scale[r];
    }
    for col in 0..q {
        let pivot = (col..q).max_by(|&x, &y| a[x][col].abs().total_cmp(&a[y][col].abs()))?;
        if !(a[pivot][col].abs() > 1e-12) {
            return None;
        }
        a.swap(col, pivot);
        for row in 0..q {
            if row != col {
                let factor = a[row][col] / a[col][col];
                for k in col..=q {
                    a[row][k] -= factor * a[col][k];
                }
            }
        }
    }
    let mut x = [0.0; 4];
    for r in 0..q {
        x[index[r]] = a[r][q] / a[r][r] / scale[r];
    }
    Some(x)
}

/// out := x·y for p×p matrices.
pub fn multiply(x: &[f64], y: &[f64], p: usize, out: &mut [f64]) {
    out.fill(0.0);
    for i in 0..p {
        for k in 0..p {
            let factor = x[i * p + k];
            for j in 0..p {
                out[i * p + j] += factor * y[k * p + j];
            }
        }
    }
}

/// tr(x·y) for symmetric p×p matrices: the sum of their element-wise product.
pub fn trace_of_product(x: &[f64], y: &[f64]) -> f64 {
    x.iter().zip(y).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_times_the_matrix_is_the_identity() {
        let p = 4;
        let a: Vec<f64> = (0..16).map(|i| f64::from((i * 7 + 3) % 11)).collect();
        let mut m = vec![0.0; 16];
        for i in 0..p {
            for j in 0..p {
                m[i * p + j] =
                    (0..p).map(|k| a[i * p + k] * a[j * p + k]).sum::<f64>() + if i == j { 5.0 } else { 0.0 };
            }
        }
        let (mut l, mut scratch, mut inverse, mut product) = (m.clone(), vec![0.0; 16], vec![0.0; 16], vec![0.0; 16]);
        assert!(cholesky(&mut l, p).is_some());
        inverse_from_cholesky(&l, p, &mut scratch, &mut inverse);
        multiply(&m, &inverse, p, &mut product);
        for i in 0..p {
            for j in 0..p {
                assert!((product[i * p + j] - f64::from(u8::from(i == j))).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn factor_and_inverse_in_padded_rows_are_those_in_plain_ones() {
        for p in 1..=18 {
            let scrambled = |i: usize| (i as f64 * 0.618_033_988_749_895).fract() - 0.5;
            let a: Vec<f64> = (0..p * p).map(scrambled).collect();
            let product = |i: usize, j: usize| (0..p).map(|k| a[i * p + k] * a[j * p + k]).sum::<f64>();
            let m: Vec<f64> = (0..p * p)
                .map(|at| product(at / p, at % p) + if at / p == at % p { 0.1 * (1 + at % 3) as f64 } else { 0.0 })
                .collect();
            let room = || vec![0.0; p * p];
            let (mut scratch, mut plain, mut padded) = (room(), room(), room());
            let (mut l, mut own) = (m.clone(), m.clone());
            let log_det = cholesky(&mut l, p).unwrap();
            inverse_from_cholesky(&l, p, &mut scratch, &mut plain);
            let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-10 * b.abs().max(1.0), "{p}: {a} {b}");
            close(factor_and_invert(&mut own, p, &mut scratch, &mut padded).unwrap(), log_det);
            own.iter().zip(&l).for_each(|(a, b)| close(*a, *b));
            padded.iter().zip(&plain).for_each(|(a, b)| close(*a, *b));
            // one row twice: no inverse
            let of = |i: usize| i.max(usize::from(p > 1));
            let mut twice: Vec<f64> = (0..p * p).map(|at| product(of(at / p), of(at % p))).collect();
            assert_eq!(factor_and_invert(&mut twice, p, &mut scratch, &mut padded).is_none(), p > 1);
        }
    }

    #[test]
    fn a_singular_matrix_has_no_cholesky_factor() {
        assert_eq!(cholesky(&mut [1.0, 1.0, 1.0, 1.0], 2), None);
        assert!((cholesky(&mut [4.0, 2.0, 2.0, 3.0], 2).unwrap() - 8f64.ln()).abs() < 1e-14);
    }

    #[test]
    fn the_small_solver_leaves_inactive_unknowns_at_zero() {
        let m = [[2.0, 9.0, 1.0, 0.0], [9.0, 9.0, 9.0, 9.0], [1.0, 9.0, 3.0, 0.0], [0.0, 9.0, 0.0, 1e-9]];
        let x = solve_active(&m, &[3.0, 7.0, 4.0, 1e-9], &[true, false, true, true]).unwrap();
        assert!((x[0] - 1.0).abs() < 1e-12 && x[1] == 0.0 && (x[2] - 1.0).abs() < 1e-12 && (x[3] - 1.0).abs() < 1e-12);
        assert_eq!(solve_active(&[[0.0; 4]; 4], &[1.0; 4], &[true; 4]), None);
    }
}
