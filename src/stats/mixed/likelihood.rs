//! The REML criterion of a set at given variance components, its gradient, and the average
//! information: one pass over cells, visits and sessions. Notation as in [`super`].
//!
//! V is block-diagonal by session. Inside a visit, cell means have variances 1/w, and the visit's
//! weighted mean ȳ has variance τ = σ²_v + 1/W about its session and antenna. Between the visits of
//! a session V⁻¹ acts as B = diag(a) − c·a·aᵀ. θ may be negative wherever V stays positive definite.
//!
//! Sources: Patterson & Thompson (1971), Biometrika 58:545–554 (REML); Gilmour, Thompson & Cullis
//! (1995), Biometrics 51:1440–1450 (average information).

use super::layout::{Data, Layout};
use super::small_matrix::{LogProduct, cholesky, inverse_from_cholesky, trace_of_product};

/// Variance components, outermost level first; zero where a level is merged or unseen.
pub type Theta = [f64; 4];

/// Everything computed at one θ, and the scratch space for it: made once per thread, used for every fit.
#[derive(Debug, Clone)]
pub struct Workspace {
    pub(super) omega: Vec<f64>,  // per class: ω, variance of one mounting's mean within its visit
    pub(super) weight: Vec<f64>, // per cell: w = k/ω
    pub(super) visit_weight: Vec<f64>, // per visit: W = Σw
    pub(super) a: Vec<f64>,      // per visit: a = 1/τ
    pub(super) sum_a: Vec<f64>,  // per session: A
    pub(super) c: Vec<f64>,      // per session: c = σ²_s/(1 + σ²_s·A)
    pub(super) phi: Vec<f64>,    // Φ, p×p
    pub(super) factor: Vec<f64>, // lower Cholesky factor of H, p×p
    pub(super) beta: Vec<f64>,   // β̂, about the data's centre
    visit_mean: Vec<f64>,        // per visit: ȳ, then the residual r̄
    pub(super) scratch: Vec<f64>,
    phi_a: Vec<f64>,            // per visit of one session: Φa
    visit_kappa: Vec<[f64; 2]>, // per visit: κ of mounting and reading
    projected: [Vec<f64>; 4],   // per visit: V⁻¹f_k in visit space
    fixed: [Vec<f64>; 4],       // per antenna: XᵀV⁻¹f_k
    spread: [Vec<f64>; 4],      // per cell: f_k = G_k·P·y
    within: [Vec<f64>; 4],      // per visit: weighted mean of f_k
    /// −2 × the REML log-likelihood, constants included.
    pub criterion: f64,
}

/// The criterion's gradient by θ and half the average information, at one θ.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slope {
    pub gradient: [f64; 4],
    pub information: [[f64; 4]; 4],
}

impl Workspace {
    /// Scratch space for fits on that structure.
    pub fn new(layout: &Layout) -> Workspace {
        let p = layout.antennas;
        let (visits, cells) = (layout.visits.len(), layout.cells.len());
        let each = |n: usize| [vec![0.0; n], vec![0.0; n], vec![0.0; n], vec![0.0; n]];
        Workspace {
            omega: vec![0.0; layout.classes.len()],
            weight: vec![0.0; cells],
            visit_weight: vec![0.0; visits],
            a: vec![0.0; visits],
            sum_a: vec![0.0; layout.sessions.len()],
            c: vec![0.0; layout.sessions.len()],
            phi: vec![0.0; p * p],
            factor: vec![0.0; p * p],
            beta: vec![0.0; p],
            visit_mean: vec![0.0; visits],
            scratch: vec![0.0; p * p],
            phi_a: vec![0.0; visits],
            visit_kappa: vec![[0.0; 2]; visits],
            projected: each(visits),
            fixed: each(p),
            spread: each(cells),
            within: each(visits),
            criterion: f64::INFINITY,
        }
    }

    /// Generalised least-squares estimates at the last θ, about the data's centre.
    pub fn beta(&self) -> &[f64] {
        &self.beta
    }

    /// Φ = (XᵀV⁻¹X)⁻¹ at the last θ, p×p.
    pub fn phi(&self) -> &[f64] {
        &self.phi
    }

    /// Lower Cholesky factor of XᵀV⁻¹X at the last θ, p×p.
    pub fn factor(&self) -> &[f64] {
        &self.factor
    }

    /// Sets ω, w, W, a, A, c from θ; false where V is not positive definite, or lies below the
    /// variance `floor` that rounding alone gives each reading.
    fn weigh(&mut self, layout: &Layout, theta: &Theta, floor: f64) -> bool {
        let [session, visit, mounting, reading] = *theta;
        if layout.df_reading > 0.0 && !(reading > 0.0 && reading >= floor) {
            return false;
        }
        for (omega, class) in self.omega.iter_mut().zip(&layout.classes) {
            *omega = mounting + reading / class.readings;
            if !(*omega > 1e-9 * reading / class.readings && *omega > 0.0 && *omega * class.readings >= 0.999 * floor) {
                return false;
            }
        }
        for (s, visits) in layout.sessions.iter().enumerate() {
            let mut sum_a = 0.0;
            for j in visits.clone() {
                let cells = layout.visits[j].cells.clone();
                let mut weight = 0.0;
                let mut readings = 0.0;
                for i in cells {
                    let cell = layout.cells[i];
                    let w = cell.mountings / self.omega[cell.class];
                    readings += cell.mountings * layout.classes[cell.class].readings;
                    self.weight[i] = w;
                    weight += w;
                }
                let tau = visit + 1.0 / weight;
                if !(tau * weight > 1e-9 && tau * readings >= 0.999 * floor) {
                    return false;
                }
                self.visit_weight[j] = weight;
                self.a[j] = 1.0 / tau;
                sum_a += self.a[j];
            }
            let denominator = 1.0 + session * sum_a;
            if !(denominator > 1e-9) {
                return false;
            }
            self.sum_a[s] = sum_a;
            self.c[s] = session / denominator;
        }
        true
    }

    /// Computes the criterion, β̂ and Φ at θ; false where θ is not admissible (see `weigh`).
    ///
    /// criterion = log|V| + log|XᵀV⁻¹X| + (y − Xβ̂)ᵀV⁻¹(y − Xβ̂) + (N − p)·log 2π.
    pub(super) fn evaluate(&mut self, layout: &Layout, data: &Data, theta: &Theta, floor: f64) -> bool {
        if !self.weigh(layout, theta, floor) {
            self.criterion = f64::INFINITY;
            return false;
        }
        let p = layout.antennas;
        let mut sum = 0.0; // log|V| and the quadratic form, gathered together
        self.factor.fill(0.0);
        self.beta.fill(0.0);
        let mut precision = LogProduct::default(); // 1/|V| of the cells' means
        for (s, visits) in layout.sessions.iter().enumerate() {
            let c = self.c[s];
            let mut sum_ay = 0.0;
            for j in visits.clone() {
                let cells = layout.visits[j].cells.clone();
                let weight = self.visit_weight[j];
                let mean = if cells.len() == 1 {
                    data.cell_mean[cells.start]
                } else {
                    let mean = cells.clone().map(|i| self.weight[i] * data.cell_mean[i]).sum::<f64>() / weight;
                    for i in cells.clone() {
                        sum += self.weight[i] * (data.cell_mean[i] - mean).powi(2);
                    }
                    mean
                };
                if cells.len() == 1 {
                    precision.times(self.a[j]); // w = W
                } else {
                    cells.for_each(|i| precision.times(self.weight[i]));
                    precision.times(self.a[j] / weight);
                }
                self.visit_mean[j] = mean;
                sum_ay += self.a[j] * mean;
            }
            precision.times(1.0 - c * self.sum_a[s]); // 1/(1 + σ²_s·A)
            for j in visits.clone() {
                let (antenna, a) = (layout.visits[j].antenna, self.a[j]);
                self.beta[antenna] += a * (self.visit_mean[j] - c * sum_ay);
                self.factor[antenna * p + antenna] += a;
                let row = &mut self.factor[antenna * p..antenna * p + p];
                if c != 0.0 {
                    let so_far = visits.start..=j;
                    for (visit, other) in layout.visits[so_far.clone()].iter().zip(&self.a[so_far]) {
                        row[visit.antenna] -= c * a * other;
                    }
                }
            }
        }
        sum -= precision.ln();
        for (class, (&omega, &ss)) in layout.classes.iter().zip(self.omega.iter().zip(&data.class_ss)) {
            if class.df > 0.0 {
                sum += class.df * omega.ln() + ss / omega;
            }
        }
        if layout.df_reading > 0.0 {
            sum += layout.df_reading * theta[3].ln() + data.reading_ss / theta[3];
        }
        let Some(log_det) = cholesky(&mut self.factor, p) else {
            self.criterion = f64::INFINITY;
            return false;
        };
        inverse_from_cholesky(&self.factor, p, &mut self.scratch, &mut self.phi);
        // β̂ = Φ·XᵀV⁻¹y, then residuals of the visits
        let rhs = &mut self.scratch[..p];
        rhs.copy_from_slice(&self.beta);
        for i in 0..p {
            self.beta[i] = self.phi[i * p..i * p + p].iter().zip(&self.scratch[..p]).map(|(x, y)| x * y).sum();
        }
        for (s, visits) in layout.sessions.iter().enumerate() {
            let mut sum_ar = 0.0;
            for j in visits.clone() {
                let residual = self.visit_mean[j] - self.beta[layout.visits[j].antenna];
                self.visit_mean[j] = residual;
                sum_ar += self.a[j] * residual;
                sum += self.a[j] * residual * residual;
            }
            sum -= self.c[s] * sum_ar * sum_ar;
        }
        self.criterion = sum + log_det + layout.criterion_constant();
        self.criterion.is_finite()
    }

    /// The gradient of the criterion and half the average information, after `evaluate` at θ; the
    /// information is filled in for the `free` components alone.
    ///
    /// ∂/∂θ_k = tr(P·G_k) − yᵀP·G_k·P·y; information_kl = ½·yᵀP·G_k·P·G_l·P·y.
    pub(super) fn slope(&mut self, layout: &Layout, data: &Data, theta: &Theta, free: &[bool; 4]) -> Slope {
        let p = layout.antennas;
        let (mut trace, mut quadratic) = ([0.0; 4], [0.0; 4]);
        let mut information = [[0.0; 4]; 4];
        self.fixed.iter_mut().for_each(|f| f.fill(0.0));

        for (s, visits) in layout.sessions.iter().enumerate() {
            let (c, sum_a) = (self.c[s], self.sum_a[s]);
            let sum_ar: f64 = visits.clone().map(|j| self.a[j] * self.visit_mean[j]).sum();
            let session_u = sum_ar * (1.0 - c * sum_a);
            quadratic[0] += session_u * session_u;
            trace[0] += sum_a * (1.0 - c * sum_a);
            for j in visits.clone() {
                let a = self.a[j];
                let u = a * (self.visit_mean[j] - c * sum_ar);
                quadratic[1] += u * u;
                let b = a - c * a * a;
                trace[1] += b;
                let cells = layout.visits[j].cells.clone();
                if cells.len() == 1 {
                    // one cell is the visit's mean: shares are 1 and nothing deviates inside
                    let (i, cell) = (cells.start, layout.cells[cells.start]);
                    let (g_m, g_e) = (cell.mounting_share, cell.reading_share);
                    quadratic[2] += u * u * g_m;
                    quadratic[3] += u * u * g_e;
                    trace[2] += g_m * b;
                    trace[3] += g_e * b;
                    self.visit_kappa[j] = [g_m, g_e];
                    self.spread[2][i] = g_m * u;
                    self.spread[3][i] = g_e * u;
                    self.within[2][j] = g_m * u;
                    self.within[3][j] = g_e * u;
                } else {
                    self.slope_inside(layout, data, j, u, b, &mut trace, &mut quadratic);
                }
                self.within[0][j] = session_u;
                self.within[1][j] = u;
            }
            // V⁻¹f_k in visit space; the sums of all four run side by side
            let (a, own) = (&self.a[visits.clone()], &layout.visits[visits.clone()]);
            let within: [&[f64]; 4] = std::array::from_fn(|k| &self.within[k][visits.clone()]);
            let mut sums = [0.0; 4];
            for (j, a) in a.iter().enumerate() {
                sums.iter_mut().zip(within).for_each(|(sum, f)| *sum += a * f[j]);
            }
            for k in (0..4).filter(|&k| free[k]) {
                let (shared, fixed) = (c * sums[k], &mut self.fixed[k]);
                let projected = &mut self.projected[k][visits.clone()];
                for (((v, a), f), visit) in projected.iter_mut().zip(a).zip(within[k]).zip(own) {
                    *v = a * (f - shared);
                    fixed[visit.antenna] += *v;
                }
            }
        }
        self.subtract_fixed_traces(layout, &mut trace);
        self.information_between(layout, free, &mut information);
        for l in (0..4).filter(|&l| free[l]) {
            // Φ·g once for all that it is multiplied with
            for (x, row) in self.scratch.iter_mut().zip(self.phi.chunks_exact(p)) {
                *x = row.iter().zip(&self.fixed[l]).map(|(x, y)| x * y).sum();
            }
            for k in (l..4).filter(|&k| free[k]) {
                let correction: f64 = self.fixed[k].iter().zip(&self.scratch).map(|(x, y)| x * y).sum();
                information[k][l] -= correction;
            }
        }
        for (class, (&omega, &ss)) in layout.classes.iter().zip(self.omega.iter().zip(&data.class_ss)) {
            if class.df == 0.0 {
                continue;
            }
            let n = class.readings;
            trace[2] += class.df / omega;
            trace[3] += class.df / (omega * n);
            let (q, i) = (ss / (omega * omega), ss / (omega * omega * omega));
            quadratic[2] += q;
            quadratic[3] += q / n;
            information[2][2] += i;
            information[3][2] += i / n;
            information[3][3] += i / (n * n);
        }
        if layout.df_reading > 0.0 {
            let e = theta[3];
            trace[3] += layout.df_reading / e;
            quadratic[3] += data.reading_ss / (e * e);
            information[3][3] += data.reading_ss / (e * e * e);
        }
        let mut gradient = [0.0; 4];
        for k in 0..4 {
            gradient[k] = trace[k] - quadratic[k];
            for l in 0..=k {
                information[k][l] *= 0.5;
                information[l][k] = information[k][l];
            }
        }
        Slope { gradient, information }
    }

    /// The part of `slope` inside a visit of several cells, given u = (V⁻¹r) summed over it and b, its
    /// diagonal of B.
    #[allow(clippy::too_many_arguments)] // the caller's running sums
    fn slope_inside(
        &mut self,
        layout: &Layout,
        data: &Data,
        j: usize,
        u: f64,
        b: f64,
        trace: &mut [f64; 4],
        quadratic: &mut [f64; 4],
    ) {
        let weight = self.visit_weight[j];
        let cells = layout.visits[j].cells.clone();
        let centre = cells.clone().map(|i| self.weight[i] * data.cell_mean[i]).sum::<f64>() / weight;
        let (mut mean, mut kappa) = ([0.0; 2], [0.0; 2]);
        for i in cells {
            let (w, cell) = (self.weight[i], layout.cells[i]);
            let share = w / weight;
            let g = w * (data.cell_mean[i] - centre + u / weight);
            let diagonal = w - w * share + share * share * b;
            for (m, part) in [cell.mounting_share, cell.reading_share].into_iter().enumerate() {
                quadratic[2 + m] += g * g * part;
                trace[2 + m] += part * diagonal;
                self.spread[2 + m][i] = part * g;
                mean[m] += share * part * g;
                kappa[m] += share * share * part;
            }
        }
        self.visit_kappa[j] = kappa;
        self.within[2][j] = mean[0];
        self.within[3][j] = mean[1];
    }

    /// Subtracts tr(Φ·XᵀV⁻¹G_kV⁻¹X): in a session this is tr(Φ_s·B·K_k·B) with K_s = 1·1ᵀ, K_v = I
    /// and K_m, K_e the diagonal matrices of κ = Σ g·(w/W)² over a visit's cells.
    fn subtract_fixed_traces(&mut self, layout: &Layout, trace: &mut [f64; 4]) {
        let p = layout.antennas;
        for (s, visits) in layout.sessions.iter().enumerate() {
            let (c, shrink) = (self.c[s], 1.0 - self.c[s] * self.sum_a[s]);
            let mut whole = 0.0; // aᵀΦa
            let mut kappa_sum = [0.0; 4]; // Σκa²
            let mut mixed = [0.0; 4]; // (κa²)ᵀΦa
            let mut direct = [0.0; 4]; // Σκa²Φ_jj
            // Φa of the session's visits; the sums of all visits run side by side
            let (first, a) = (visits.start, &self.a[visits.clone()]);
            let own = &layout.visits[visits.clone()];
            let phi_a = &mut self.phi_a[..own.len()];
            phi_a.fill(0.0);
            for (visit, a) in own.iter().zip(a) {
                let row = &self.phi[visit.antenna * p..visit.antenna * p + p];
                phi_a.iter_mut().zip(own).for_each(|(sum, other)| *sum += row[other.antenna] * a);
            }
            for j in visits.clone() {
                let row = layout.visits[j].antenna * p;
                let phi_a = self.phi_a[j - first];
                let a = self.a[j];
                whole += a * phi_a;
                let kappa = [0.0, 1.0, self.visit_kappa[j][0], self.visit_kappa[j][1]];
                for k in 1..4 {
                    let ka = kappa[k] * a * a;
                    kappa_sum[k] += ka;
                    mixed[k] += ka * phi_a;
                    direct[k] += ka * self.phi[row + layout.visits[j].antenna];
                }
            }
            trace[0] -= shrink * shrink * whole;
            for k in 1..4 {
                trace[k] -= direct[k] - 2.0 * c * mixed[k] + c * c * kappa_sum[k] * whole;
            }
        }
    }

    /// κ of a visit: how each component's G acts on the visit's weighted mean (1 for the visit's own).
    pub(super) fn kappa(&self, layout: &Layout, j: usize) -> [f64; 4] {
        let (mut mounting, mut reading) = (0.0, 0.0);
        for i in layout.visits[j].cells.clone() {
            let cell = layout.cells[i];
            let share = self.weight[i] / self.visit_weight[j];
            mounting += share * share * cell.mounting_share;
            reading += share * share * cell.reading_share;
        }
        [0.0, 1.0, mounting, reading]
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
                    let m = self.spread[2][i] - self.within[2][j];
                    let e = self.spread[3][i] - self.within[3][j];
                    information[2][2] += self.weight[i] * m * m;
                    information[3][2] += self.weight[i] * m * e;
                    information[3][3] += self.weight[i] * e * e;
                }
            }
        }
    }

    /// tr(Φ·M) for a symmetric p×p matrix M.
    pub(super) fn trace_with_phi(&self, matrix: &[f64]) -> f64 {
        trace_of_product(&self.phi, matrix)
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

impl Layout {
    /// The part of the criterion that no parameter changes: (N − p)·log 2π, and what the change from
    /// readings to means, and from mountings to cells, adds to log|V|.
    fn criterion_constant(&self) -> f64 {
        let p = self.antennas as f64;
        let means: f64 = self
            .cells
            .iter()
            .map(|cell| {
                let n = self.classes[cell.class].readings;
                cell.mountings * n.ln() + cell.mountings.ln()
            })
            .sum();
        let seen = self.df_reading + self.cells.iter().map(|c| c.mountings).sum::<f64>();
        (seen - p) * std::f64::consts::TAU.ln() + means
    }
}
