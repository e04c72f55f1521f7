//! Dense algebra on the few-by-few matrices of one set, in place and without allocation: the inner
//! loop of every replay. Matrices are row-major slices of p·p values.

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
        // relative to the diagonal: a pivot lost to rounding means a contrast nothing estimates
        if !(pivot > 1e-13 * row_j[j].abs()) {
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
pub fn inverse_from_cholesky(l: &[f64], p: usize, scratch: &mut [f64], out: &mut [f64]) {
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
