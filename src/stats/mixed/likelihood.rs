//! The REML criterion of a set at given variance components, its gradient, and the average
//! information: one pass over cells, visits and sessions. Notation as in [`super`]; what θ alone determines is in
//! [`super::weights`].
//!
//! Sources: Patterson & Thompson (1971), Biometrika 58:545–554 (REML); Gilmour, Thompson & Cullis
//! (1995), Biometrics 51:1440–1450 (average information).

use super::folded::Eigen;
use super::layout::{Data, Layout};
use super::weights::{Theta, Weights};

/// Everything computed at one θ, and the scratch space for it: made once per thread, used for every fit.
#[derive(Debug, Clone)]
pub struct Workspace {
    pub(super) weights: Weights,
    pub(super) beta: Vec<f64>, // β̂, about the data's centre
    visit_mean: Vec<f64>,      // per visit: ȳ, then the residual r̄
    antennas: [Vec<f64>; 2],   // scratch, per antenna
    projected: [Vec<f64>; 4],  // per visit: V⁻¹f_k in visit space, of all sessions that its own stands for
    fixed: [Vec<f64>; 4],      // per antenna: XᵀV⁻¹f_k
    spread: [Vec<f64>; 2],     // per cell of visits that have several: f_k = G_k·P·y, k mounting and reading
    within: [Vec<f64>; 4],     // per visit: weighted mean of f_k
    /// −2 × the REML log-likelihood, constants included.
    pub criterion: f64,
}

impl Workspace {
    /// Scratch space for fits on that structure.
    pub fn new(layout: &Layout) -> Workspace {
        let p = layout.antennas;
        let (visits, cells) = (layout.visits.len(), layout.cells.len());
        let each = |n: usize| [vec![0.0; n], vec![0.0; n], vec![0.0; n], vec![0.0; n]];
        Workspace {
            weights: Weights::new(layout),
            beta: vec![0.0; p],
            visit_mean: vec![0.0; visits],
            antennas: [vec![0.0; p], vec![0.0; p]],
            projected: each(visits),
            fixed: each(p),
            // the cell of a visit that has one needs no place
            spread: if cells == visits { [vec![], vec![]] } else { [vec![0.0; cells], vec![0.0; cells]] },
            within: each(visits),
            criterion: f64::INFINITY,
        }
    }

    /// Generalised least-squares estimates at the last θ, about the data's centre.
    pub fn beta(&self) -> &[f64] {
        &self.beta
    }

    /// What θ alone determines, at the last θ.
    pub fn weights(&self) -> &Weights {
        &self.weights
    }

    /// Computes the criterion, β̂ and Φ at θ; false where θ is not admissible (see [`Weights::set`]).
    pub(super) fn evaluate(&mut self, layout: &Layout, data: &Data, theta: &Theta, floor: f64) -> bool {
        if !self.weights.set(layout, theta, floor) {
            self.criterion = f64::INFINITY;
            return false;
        }
        self.estimate(layout, data, theta)
    }

    /// The same where the weights at θ are known.
    pub(super) fn evaluate_with(&mut self, weights: &Weights, layout: &Layout, data: &Data, theta: &Theta) -> bool {
        self.weights.copy(weights);
        self.estimate(layout, data, theta)
    }

    /// criterion = log|V| + log|XᵀV⁻¹X| + (y − Xβ̂)ᵀV⁻¹(y − Xβ̂) + (N − p)·log 2π, with β̂ = Φ·XᵀV⁻¹y.
    fn estimate(&mut self, layout: &Layout, data: &Data, theta: &Theta) -> bool {
        let p = layout.antennas;
        let weights = &self.weights;
        let mut sum = 0.0; // the quadratic form
        let right = &mut self.antennas[0]; // XᵀV⁻¹y
        right.fill(0.0);
        for (s, visits) in layout.sessions.iter().enumerate() {
            let own = &layout.visits[visits.clone()];
            let a = &weights.a[visits.clone()];
            let means = &mut self.visit_mean[visits.clone()];
            let mut sum_ay = 0.0;
            for (j, visit) in own.iter().enumerate() {
                let cells = visit.cells.clone();
                means[j] = match cells.len() {
                    1 => data.cell_mean[cells.start],
                    _ => {
                        let (w, y) = (&weights.weight[cells.clone()], &data.cell_mean[cells]);
                        let mean = dot(w, y) / weights.visit_weight[visits.start + j];
                        sum += w.iter().zip(y).map(|(w, y)| w * (y - mean).powi(2)).sum::<f64>();
                        mean
                    }
                };
                sum_ay += a[j] * means[j];
            }
            let (shared, times) = (weights.c[s] * sum_ay, layout.times[s]);
            for ((visit, a), mean) in own.iter().zip(a).zip(means) {
                right[visit.antenna] += times * a * (*mean - shared);
            }
        }
        for (beta, row) in self.beta.iter_mut().zip(weights.phi.chunks_exact(p)) {
            *beta = dot(row, &self.antennas[0]);
        }
        for (s, visits) in layout.sessions.iter().enumerate() {
            let (mut sum_ar, mut squares) = (0.0, 0.0);
            let own = layout.visits[visits.clone()].iter().zip(&weights.a[visits.clone()]);
            for ((visit, a), mean) in own.zip(&mut self.visit_mean[visits.clone()]) {
                let residual = *mean - self.beta[visit.antenna];
                *mean = residual;
                sum_ar += a * residual;
                squares += a * residual * residual;
            }
            sum += layout.times[s] * (squares - weights.c[s] * sum_ar * sum_ar);
        }
        for (fold, scatter) in layout.folds.iter().zip(&data.folds) {
            let Eigen { b, .. } = fold.eigen(layout, weights);
            sum += b[0] * scatter[0] + b[1] * scatter[1];
        }
        for (class, (&omega, &ss)) in layout.classes.iter().zip(weights.omega.iter().zip(&data.class_ss)) {
            if class.df > 0.0 {
                sum += ss / omega;
            }
        }
        if layout.df_reading > 0.0 {
            sum += data.reading_ss / theta[3];
        }
        self.criterion = weights.log_determinants + sum;
        self.criterion.is_finite()
    }

    /// The gradient of the criterion, after `evaluate` at θ: ∂/∂θ_k = tr(P·G_k) − yᵀP·G_k·P·y.
    pub(super) fn gradient(&mut self, layout: &Layout, data: &Data, theta: &Theta) -> [f64; 4] {
        let trace = self.weights.trace(layout, theta);
        let mut quadratic = [0.0; 4];
        self.project(layout, data, &mut quadratic);
        for (class, (&omega, &ss)) in layout.classes.iter().zip(self.weights.omega.iter().zip(&data.class_ss)) {
            if class.df > 0.0 {
                quadratic[2] += ss / (omega * omega);
                quadratic[3] += ss / (omega * omega) / class.readings;
            }
        }
        if layout.df_reading > 0.0 {
            quadratic[3] += data.reading_ss / (theta[3] * theta[3]);
        }
        std::array::from_fn(|k| trace[k] - quadratic[k])
    }

    /// f_k = G_k·P·y, as means of visits and inside them; and yᵀP·G_k·P·y of what lies between the cells.
    fn project(&mut self, layout: &Layout, data: &Data, quadratic: &mut [f64; 4]) {
        for (s, visits) in layout.sessions.iter().enumerate() {
            let weights = &self.weights;
            let c = weights.c[s];
            let sum_ar = dot(&weights.a[visits.clone()], &self.visit_mean[visits.clone()]);
            let session_u = sum_ar * (1.0 - c * weights.sum_a[s]);
            let times = layout.times[s];
            quadratic[0] += times * session_u * session_u;
            let shared = c * sum_ar;
            for j in visits.clone() {
                let u = self.weights.a[j] * (self.visit_mean[j] - shared);
                let square = times * u * u;
                quadratic[1] += square;
                self.within[0][j] = session_u;
                self.within[1][j] = u;
                let cells = &layout.visits[j].cells;
                if cells.len() == 1 {
                    // one cell is the visit's mean: nothing deviates inside
                    let cell = &layout.cells[cells.start];
                    let (g_m, g_e) = (cell.mounting_share, cell.reading_share);
                    quadratic[2] += square * g_m;
                    quadratic[3] += square * g_e;
                    self.within[2][j] = g_m * u;
                    self.within[3][j] = g_e * u;
                } else {
                    self.project_inside(layout, data, j, u, quadratic);
                }
            }
        }
        for (fold, scatter) in layout.folds.iter().zip(&data.folds) {
            let Eigen { b, lambda } = fold.eigen(layout, &self.weights);
            for ((b, lambda), ss) in b.into_iter().zip(lambda).zip(scatter) {
                quadratic.iter_mut().zip(lambda).for_each(|(sum, lambda)| *sum += lambda * b * b * ss);
            }
        }
    }

    /// The part of `project` inside a visit of several cells, given u = (V⁻¹r) summed over it.
    fn project_inside(&mut self, layout: &Layout, data: &Data, j: usize, u: f64, quadratic: &mut [f64; 4]) {
        let weight = self.weights.visit_weight[j];
        let cells = layout.visits[j].cells.clone();
        let centre = dot(&self.weights.weight[cells.clone()], &data.cell_mean[cells.clone()]) / weight;
        let mut mean = [0.0; 2];
        for i in cells {
            let (w, cell) = (self.weights.weight[i], layout.cells[i]);
            let g = w * (data.cell_mean[i] - centre + u / weight);
            for (m, part) in [cell.mounting_share, cell.reading_share].into_iter().enumerate() {
                quadratic[2 + m] += g * g * part;
                self.spread[m][i] = part * g;
                mean[m] += w / weight * part * g;
            }
        }
        self.within[2][j] = mean[0];
        self.within[3][j] = mean[1];
    }

    /// Half the average information about the `free` components, after `gradient`: ½·yᵀP·G_k·P·G_l·P·y = ½·f_kᵀP·f_l.
    pub(super) fn information(
        &mut self,
        layout: &Layout,
        data: &Data,
        theta: &Theta,
        free: &[bool; 4],
    ) -> [[f64; 4]; 4] {
        let p = layout.antennas;
        self.fixed.iter_mut().for_each(|f| f.fill(0.0));
        for (s, visits) in layout.sessions.iter().enumerate() {
            // V⁻¹f_k in visit space; the sums of all four run side by side
            let (a, own) = (&self.weights.a[visits.clone()], &layout.visits[visits.clone()]);
            let within: [&[f64]; 4] = std::array::from_fn(|k| &self.within[k][visits.clone()]);
            let mut sums = [0.0; 4];
            for (j, a) in a.iter().enumerate() {
                sums.iter_mut().zip(within).for_each(|(sum, f)| *sum += a * f[j]);
            }
            let times = layout.times[s];
            for k in (0..4).filter(|&k| free[k]) {
                let (shared, fixed) = (self.weights.c[s] * sums[k], &mut self.fixed[k]);
                let projected = &mut self.projected[k][visits.clone()];
                for (((v, a), f), visit) in projected.iter_mut().zip(a).zip(within[k]).zip(own) {
                    *v = times * a * (f - shared);
                    fixed[visit.antenna] += *v;
                }
            }
        }
        let mut information = [[0.0; 4]; 4];
        self.information_between(layout, free, &mut information);
        for (fold, scatter) in layout.folds.iter().zip(&data.folds) {
            let Eigen { b, lambda } = fold.eigen(layout, &self.weights);
            for ((b, lambda), ss) in b.into_iter().zip(lambda).zip(scatter) {
                for k in 0..4 {
                    (0..=k).for_each(|l| information[k][l] += lambda[k] * lambda[l] * b * b * b * ss);
                }
            }
        }
        let product = &mut self.antennas[1];
        for l in (0..4).filter(|&l| free[l]) {
            // Φ·g once for all that it is multiplied with
            for (x, row) in product.iter_mut().zip(self.weights.phi.chunks_exact(p)) {
                *x = dot(row, &self.fixed[l]);
            }
            for k in (l..4).filter(|&k| free[k]) {
                information[k][l] -= dot(&self.fixed[k], product);
            }
        }
        for (class, (&omega, &ss)) in layout.classes.iter().zip(self.weights.omega.iter().zip(&data.class_ss)) {
            if class.df > 0.0 {
                let (n, i) = (class.readings, ss / (omega * omega * omega));
                information[2][2] += i;
                information[3][2] += i / n;
                information[3][3] += i / (n * n);
            }
        }
        if layout.df_reading > 0.0 {
            information[3][3] += data.reading_ss / (theta[3] * theta[3] * theta[3]);
        }
        for k in 0..4 {
            for l in 0..=k {
                information[k][l] *= 0.5;
                information[l][k] = information[k][l];
            }
        }
        information
    }

    /// Adds f_kᵀV⁻¹f_l: inside visits (only mounting and reading vary there) and between them.
    fn information_between(&self, layout: &Layout, free: &[bool; 4], information: &mut [[f64; 4]; 4]) {
        for k in (0..4).filter(|&k| free[k]) {
            for l in (0..=k).filter(|&l| free[l]) {
                information[k][l] += dot(&self.within[k], &self.projected[l]);
            }
        }
        for (j, visit) in layout.visits.iter().enumerate() {
            if visit.cells.len() > 1 {
                for i in visit.cells.clone() {
                    let m = self.spread[0][i] - self.within[2][j];
                    let e = self.spread[1][i] - self.within[3][j];
                    let w = self.weights.weight[i];
                    information[2][2] += w * m * m;
                    information[3][2] += w * m * e;
                    information[3][3] += w * e * e;
                }
            }
        }
    }
}

fn dot(x: &[f64], y: &[f64]) -> f64 {
    // four sums side by side: the compiler may not reorder one
    let mut sums = [0.0; 4];
    let (mut x4, mut y4) = (x.chunks_exact(4), y.chunks_exact(4));
    for (a, b) in (&mut x4).zip(&mut y4) {
        for i in 0..4 {
            sums[i] += a[i] * b[i];
        }
    }
    let rest: f64 = x4.remainder().iter().zip(y4.remainder()).map(|(a, b)| a * b).sum();
    sums[0] + sums[1] + sums[2] + sums[3] + rest
}
