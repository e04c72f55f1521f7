//! Small-sample standard errors and degrees of freedom of contrasts.
//!
//! Source: Kenward & Roger (1997), Biometrics 53:983–997, for V linear in θ. With Φ = (XᵀV⁻¹X)⁻¹,
//!
//! ```text
//! P_k  = −XᵀV⁻¹G_kV⁻¹X        Q_kl = XᵀV⁻¹G_kV⁻¹G_lV⁻¹X
//! I_kl = ½[tr(V⁻¹G_kV⁻¹G_l) − 2·tr(ΦQ_kl) + tr(ΦP_kΦP_l)]      W = I⁻¹
//! Φ_A  = Φ + 2Φ{Σ_kl W_kl(Q_kl − P_kΦP_l)}Φ
//! ν    = 2(LᵀΦL)²/(gᵀWg),  g_k = LᵀΦP_kΦL                       for one contrast L
//! ```

use super::layout::{Layout, Pattern};
use super::small_matrix::{multiply, solve_active};
use super::weights::{Theta, Weights};

/// What Kenward and Roger's adjustment needs of one fit.
#[derive(Debug, Clone)]
pub struct KenwardRoger {
    antennas: usize,
    theta: Theta,
    /// Covariance of the components, W; zero for inactive ones.
    pub covariance: [[f64; 4]; 4],
    phi: Vec<f64>,
    adjusted: Vec<f64>,
    sensitivity: [Vec<f64>; 4],
    /// Covariance of the estimates where V has another shape than the fit's; Φ if none.
    shaped: Option<Vec<f64>>,
}

/// A contrast's standard errors and degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContrastError {
    /// √(LᵀΦL): before the adjustment.
    pub model: f64,
    /// √(LᵀΦ_A·L): adjusted; stretched by √(LᵀSL/LᵀΦL) where S is the covariance of estimates that visits
    /// of unequal variance were weighed alike for.
    pub adjusted: f64,
    /// What `adjusted` was stretched by; 1 if by nothing.
    pub stretch: f64,
    /// Degrees of freedom ν.
    pub df: f64,
}

/// P_k, Q_kl (symmetrised, l ≤ k) and the expected information I, at one θ.
pub(super) struct Expected {
    p_matrix: [Vec<f64>; 4],
    q_matrix: [[Vec<f64>; 4]; 4],
    pub information: [[f64; 4]; 4],
}

/// Adjusts a fit with those `active` components, given the weights at θ. `None` where
/// the information about them is singular.
pub fn kenward_roger(layout: &Layout, weights: &Weights, theta: &Theta, active: &[bool; 4]) -> Option<KenwardRoger> {
    let p = layout.antennas();
    let expected = expected(layout, weights, theta);
    let mut covariance = [[0.0; 4]; 4];
    for k in (0..4).filter(|&k| active[k]) {
        let mut unit = [0.0; 4];
        unit[k] = 1.0;
        covariance[k] = solve_active(&expected.information, &unit, active)?;
    }
    let phi = &weights.phi;
    let mut product = vec![0.0; p * p];
    let mut phi_p = vec![0.0; p * p];
    let mut sensitivity: [Vec<f64>; 4] = Default::default(); // ΦP_kΦ
    for k in 0..4 {
        multiply(phi, &expected.p_matrix[k], p, &mut phi_p);
        multiply(&phi_p, phi, p, &mut product);
        sensitivity[k] = product.clone();
    }
    // Σ W_kl(ΦQ_klΦ − ΦP_kΦP_lΦ)
    let mut inner = vec![0.0; p * p];
    for k in (0..4).filter(|&k| active[k]) {
        for l in (0..4).filter(|&l| active[l]) {
            let q = &expected.q_matrix[k.max(l)][k.min(l)];
            for (out, q) in inner.iter_mut().zip(q) {
                *out += covariance[k][l] * q;
            }
        }
    }
    multiply(phi, &inner, p, &mut phi_p);
    multiply(&phi_p, phi, p, &mut inner);
    let mut weighted = vec![0.0; p * p];
    for k in (0..4).filter(|&k| active[k]) {
        weighted.fill(0.0);
        for l in (0..4).filter(|&l| active[l]) {
            for (out, x) in weighted.iter_mut().zip(&expected.p_matrix[l]) {
                *out += covariance[k][l] * x;
            }
        }
        multiply(&sensitivity[k], &weighted, p, &mut phi_p);
        multiply(&phi_p, phi, p, &mut product);
        for (out, x) in inner.iter_mut().zip(&product) {
            *out -= x;
        }
    }
    let adjusted = phi.iter().zip(&inner).map(|(phi, x)| phi + 2.0 * x).collect();
    Some(KenwardRoger { antennas: p, theta: *theta, covariance, phi: phi.clone(), adjusted, sensitivity, shaped: None })
}

impl KenwardRoger {
    /// The same, every standard error stretched to the covariance S, p×p, at the same θ.
    pub(super) fn stretched(self, covariance: Vec<f64>) -> KenwardRoger {
        KenwardRoger { shaped: Some(covariance), ..self }
    }

    /// Standard errors and degrees of freedom of `first − second`.
    pub fn difference(&self, first: usize, second: usize) -> ContrastError {
        let p = self.antennas;
        let at =
            |m: &[f64]| m[first * p + first] + m[second * p + second] - m[first * p + second] - m[second * p + first];
        self.error(at)
    }

    /// What each component adds to the variance LᵀΦL of `first − second`: θ_k·LᵀΦXᵀV⁻¹G_kV⁻¹XΦL. V is the sum of
    /// θ_kG_k, so these sum to it.
    pub fn parts_of_difference(&self, first: usize, second: usize) -> [f64; 4] {
        let p = self.antennas;
        std::array::from_fn(|k| {
            let m = &self.sensitivity[k];
            let at = m[first * p + first] + m[second * p + second] - m[first * p + second] - m[second * p + first];
            (-self.theta[k] * at).max(0.0)
        })
    }

    /// Standard errors and degrees of freedom of an antenna's own estimate.
    pub fn single(&self, antenna: usize) -> ContrastError {
        self.error(|m: &[f64]| m[antenna * self.antennas + antenna])
    }

    /// Standard errors and degrees of freedom of `antenna − mean of group`; the group holds the antenna.
    pub fn from_mean(&self, antenna: usize, group: &[usize]) -> ContrastError {
        let p = self.antennas;
        let n = group.len() as f64;
        let weight = |a: usize| f64::from(u8::from(a == antenna)) - 1.0 / n;
        self.error(|m: &[f64]| {
            let row = |i: usize| group.iter().map(|&j| m[i * p + j] * weight(j)).sum::<f64>();
            group.iter().map(|&i| weight(i) * row(i)).sum()
        })
    }

    /// Φ_A, row-major: the adjusted covariance of the estimates.
    pub fn adjusted_covariance(&self) -> &[f64] {
        &self.adjusted
    }

    fn error(&self, at: impl Fn(&[f64]) -> f64) -> ContrastError {
        let variance = at(&self.phi);
        let g: Vec<f64> = self.sensitivity.iter().map(|m| at(m)).collect();
        let mut spread = 0.0;
        for k in 0..4 {
            for l in 0..4 {
                spread += g[k] * self.covariance[k][l] * g[l];
            }
        }
        let df = if spread > 0.0 { 2.0 * variance * variance / spread } else { f64::INFINITY };
        // The adjustment adds the spread of Φ at estimated θ; rounding must not turn it into a loss.
        let stretch =
            self.shaped.as_ref().filter(|_| variance > 0.0).map_or(1.0, |s| (at(s) / variance).max(1.0)).sqrt();
        let adjusted = at(&self.adjusted).max(variance).max(0.0).sqrt() * stretch;
        ContrastError { model: variance.max(0.0).sqrt(), adjusted, stretch, df }
    }
}

/// P_k, Q_kl and the expected REML information, pattern of sessions by pattern. V⁻¹ acts between the visits of a
/// session as B = diag(a) − c·a·aᵀ, so every product is of the form X·K·B and costs one pass over X.
pub(super) fn expected(layout: &Layout, weights: &Weights, theta: &Theta) -> Expected {
    let p = layout.antennas();
    let zero = || vec![0.0; p * p];
    let four = || [zero(), zero(), zero(), zero()];
    let mut p_matrix = four();
    let mut q_matrix = [four(), four(), four(), four()];
    let mut trace = [[0.0; 4]; 4]; // tr(V⁻¹G_kV⁻¹G_l), l ≤ k

    for &Pattern { session: s, sessions } in &layout.patterns {
        let visits = layout.sessions[s].clone();
        let session = SessionInverse::new(layout, weights, s);
        let antennas: Vec<usize> = visits.clone().map(|j| layout.visits[j].antenna).collect();
        let n = antennas.len();
        let scatter = |from: &[f64], sign: f64, to: &mut [f64]| {
            for i in 0..n {
                for j in 0..n {
                    to[antennas[i] * p + antennas[j]] += sessions * sign * from[i * n + j];
                }
            }
        };
        let b = session.dense();
        for k in 0..4 {
            let y = session.times_kb(&b, k);
            scatter(&y, -1.0, &mut p_matrix[k]);
            for l in 0..=k {
                trace[k][l] += sessions * session.trace_with_k(&y, l);
                scatter(&session.times_kb(&y, l), 1.0, &mut q_matrix[k][l]);
            }
        }
        for (slot, j) in visits.clone().enumerate() {
            let Some(inside) = InsideVisit::new(layout, weights, j) else { continue };
            let diagonal = b[slot * n + slot];
            // B·Λ·B for a Λ with this one entry
            let column: Vec<f64> = (0..n).map(|i| b[i * n + slot]).collect();
            for (k, l) in [(2, 2), (3, 2), (3, 3)] {
                let lambda = inside.cross(k, l);
                trace[k][l] += sessions * (inside.trace(k, l) + 2.0 * diagonal * lambda);
                if lambda == 0.0 {
                    continue;
                }
                for i in 0..n {
                    for m in 0..n {
                        q_matrix[k][l][antennas[i] * p + antennas[m]] += sessions * lambda * column[i] * column[m];
                    }
                }
            }
        }
    }
    for k in 0..4 {
        for q in &mut q_matrix[k][..=k] {
            symmetrize(q, p);
        }
    }
    for (class, &omega) in layout.classes.iter().zip(&weights.omega) {
        let (n, square) = (class.readings, omega * omega);
        trace[2][2] += class.df / square;
        trace[3][2] += class.df / (square * n);
        trace[3][3] += class.df / (square * n * n);
    }
    if layout.df_reading > 0.0 {
        trace[3][3] += layout.df_reading / (theta[3] * theta[3]);
    }

    let mut phi_p = four();
    for k in 0..4 {
        multiply(&weights.phi, &p_matrix[k], p, &mut phi_p[k]);
    }
    let mut information = [[0.0; 4]; 4];
    for k in 0..4 {
        for l in 0..=k {
            let mut both = 0.0; // tr(ΦP_k·ΦP_l)
            for i in 0..p {
                for j in 0..p {
                    both += phi_p[k][i * p + j] * phi_p[l][j * p + i];
                }
            }
            let q = weights.trace_with_phi(&q_matrix[k][l]);
            information[k][l] = 0.5 * (trace[k][l] - 2.0 * q + both);
            information[l][k] = information[k][l];
        }
    }
    Expected { p_matrix, q_matrix, information }
}

/// Each entry of a p×p matrix, and the one across the diagonal, made their mean.
fn symmetrize(matrix: &mut [f64], p: usize) {
    for i in 0..p {
        for j in 0..i {
            let mean = 0.5 * (matrix[i * p + j] + matrix[j * p + i]);
            (matrix[i * p + j], matrix[j * p + i]) = (mean, mean);
        }
    }
}

/// B of one session, and how each component acts between its visits: K_s = 1·1ᵀ, the others diagonal.
struct SessionInverse<'a> {
    a: &'a [f64],
    c: f64,
    sum_a: f64,
    kappa: Vec<[f64; 4]>,
}

impl<'a> SessionInverse<'a> {
    fn new(layout: &Layout, weights: &'a Weights, s: usize) -> Self {
        let visits = layout.sessions[s].clone();
        SessionInverse {
            a: &weights.a[visits.clone()],
            c: weights.c[s],
            sum_a: weights.sum_a[s],
            kappa: visits.map(|j| weights.kappa(layout, j)).collect(),
        }
    }

    /// B as an n×n matrix.
    fn dense(&self) -> Vec<f64> {
        let n = self.a.len();
        let mut b = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..n {
                b[i * n + j] = -self.c * self.a[i] * self.a[j];
            }
            b[i * n + i] += self.a[i];
        }
        b
    }

    /// X·K_k·B.
    fn times_kb(&self, x: &[f64], k: usize) -> Vec<f64> {
        let n = self.a.len();
        let mut out = vec![0.0; n * n];
        for (row, out) in x.chunks_exact(n).zip(out.chunks_exact_mut(n)) {
            if k == 0 {
                let sum = row.iter().sum::<f64>() * (1.0 - self.c * self.sum_a);
                for (out, a) in out.iter_mut().zip(self.a) {
                    *out = sum * a;
                }
            } else {
                let mut dot = 0.0;
                for j in 0..n {
                    out[j] = row[j] * self.kappa[j][k] * self.a[j];
                    dot += out[j];
                }
                for (out, a) in out.iter_mut().zip(self.a) {
                    *out -= self.c * dot * a;
                }
            }
        }
        out
    }

    /// tr(X·K_k).
    fn trace_with_k(&self, x: &[f64], k: usize) -> f64 {
        let n = self.a.len();
        if k == 0 { x.iter().sum() } else { (0..n).map(|j| x[j * n + j] * self.kappa[j][k]).sum() }
    }
}

/// What happens inside a visit whose mountings hold unequal numbers of readings: there G_m and G_e
/// mix the weighted mean with the contrasts. C = diag(w) − w·wᵀ/W, e = w/W.
struct InsideVisit {
    cells: Vec<(f64, [f64; 2])>, // w, and the diagonals of G_m and G_e
    weight: f64,
}

impl InsideVisit {
    fn new(layout: &Layout, weights: &Weights, j: usize) -> Option<Self> {
        let range = layout.visits[j].cells.clone();
        (range.len() > 1).then(|| InsideVisit {
            cells: range
                .map(|i| {
                    let cell = layout.cells[i];
                    (weights.weight[i], [cell.mounting_share, cell.reading_share])
                })
                .collect(),
            weight: weights.visit_weight[j],
        })
    }

    fn sum(&self, f: impl Fn(f64, &[f64; 2]) -> f64) -> f64 {
        self.cells.iter().map(|(w, g)| f(*w, g)).sum()
    }

    /// tr(C·G_k·C·G_l).
    fn trace(&self, k: usize, l: usize) -> f64 {
        let (k, l) = (k - 2, l - 2);
        let square = self.sum(|w, g| g[k] * g[l] * w * w);
        let cube = self.sum(|w, g| g[k] * g[l] * w * w * w);
        let product = self.sum(|w, g| g[k] * w * w) * self.sum(|w, g| g[l] * w * w);
        square - 2.0 * cube / self.weight + product / (self.weight * self.weight)
    }

    /// eᵀ·G_k·C·G_l·e.
    fn cross(&self, k: usize, l: usize) -> f64 {
        let (k, l) = (k - 2, l - 2);
        if self.cells.iter().all(|(w, g)| *w == self.cells[0].0 && *g == self.cells[0].1) {
            return 0.0; // alike: C takes G_l·e, a multiple of 1, to nothing
        }
        let total = self.weight;
        let direct = self.sum(|w, g| g[k] * g[l] * w * w * w / (total * total));
        let product = self.sum(|w, g| g[k] * w * w / total) * self.sum(|w, g| g[l] * w * w / total);
        direct - product / total
    }
}
