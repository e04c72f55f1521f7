//! What the variance components alone make of a set's structure: the weights of its visits, Φ, the logarithms of
//! determinants, and the traces in the criterion's gradient. Nothing here depends on readings, so that all replays
//! that start at one θ share it. Notation as in [`super`].
//!
//! V is block-diagonal by session. Inside a visit, cell means have variances 1/w, and the visit's weighted mean ȳ has
//! variance τ = σ²_v + 1/W about its session and antenna. Between the visits of a session V⁻¹ acts as B = diag(a) −
//! c·a·aᵀ. θ may be negative wherever V stays positive definite. Visits of one kind (as many mountings, of as many
//! readings) have the same weights, and sessions of one pattern the same B.

use super::layout::{Layout, Pattern};
use super::small_matrix::{LogProduct, factor_and_invert, trace_of_product};

/// Variance components, outermost level first; zero where a level is merged or unseen.
pub type Theta = [f64; 4];

/// Everything that θ alone determines, at one θ.
#[derive(Debug, Clone)]
pub struct Weights {
    pub(super) omega: Vec<f64>,  // per class: ω, variance of one mounting's mean within its visit
    pub(super) weight: Vec<f64>, // per cell: w = k/ω
    pub(super) visit_weight: Vec<f64>, // per visit: W = Σw
    pub(super) a: Vec<f64>,      // per visit: a = 1/τ
    pub(super) sum_a: Vec<f64>,  // per session: A
    pub(super) c: Vec<f64>,      // per session: c = σ²_s/(1 + σ²_s·A)
    pub(super) phi: Vec<f64>,    // Φ, p×p
    pub(super) factor: Vec<f64>, // lower Cholesky factor of H, p×p
    /// log|V| + log|XᵀV⁻¹X| + (N − p)·log 2π.
    pub(super) log_determinants: f64,
    /// tr(P·G_k), once [`Weights::trace`] was asked.
    trace: Option<[f64; 4]>,
    kinds: Vec<OfKind>,
    by_antenna: Vec<f64>, // of one session: a, 0 for antennas not in it
    phi_a: Vec<f64>,      // of one session: Φa
    scratch: Vec<f64>,    // p×p
}

/// What all visits of a kind share.
#[derive(Debug, Clone, Copy, Default)]
struct OfKind {
    /// W and a.
    weight: f64,
    a: f64,
    /// κ of mounting and reading: how G acts on the visit's weighted mean, Σ g·(w/W)² over its cells.
    kappa: [f64; 2],
    /// tr(G·C) inside the visit, of mounting and reading: Σ g·(w − w²/W).
    inside: [f64; 2],
}

impl Weights {
    /// Room for the weights of that structure.
    pub fn new(layout: &Layout) -> Weights {
        let p = layout.antennas;
        let (visits, sessions) = (layout.visits.len(), layout.sessions.len());
        Weights {
            omega: vec![0.0; layout.classes.len()],
            weight: vec![0.0; layout.cells.len()],
            visit_weight: vec![0.0; visits],
            a: vec![0.0; visits],
            sum_a: vec![0.0; sessions],
            c: vec![0.0; sessions],
            phi: vec![0.0; p * p],
            factor: vec![0.0; p * p],
            log_determinants: f64::NAN,
            trace: None,
            kinds: vec![OfKind::default(); layout.kinds.len()],
            by_antenna: vec![0.0; p],
            phi_a: vec![0.0; p],
            scratch: vec![0.0; p * p],
        }
    }

    /// The weights at θ; `None` where θ is not admissible.
    pub fn at(layout: &Layout, theta: &Theta, floor: f64) -> Option<Weights> {
        let mut weights = Weights::new(layout);
        weights.set(layout, theta, floor).then_some(weights)
    }

    /// Takes over another's, of the same structure.
    pub(super) fn copy(&mut self, other: &Weights) {
        let vectors = [
            (&mut self.omega, &other.omega),
            (&mut self.weight, &other.weight),
            (&mut self.visit_weight, &other.visit_weight),
            (&mut self.a, &other.a),
            (&mut self.sum_a, &other.sum_a),
            (&mut self.c, &other.c),
            (&mut self.phi, &other.phi),
            (&mut self.factor, &other.factor),
        ];
        for (to, from) in vectors {
            to.copy_from_slice(from);
        }
        self.kinds.copy_from_slice(&other.kinds);
        (self.log_determinants, self.trace) = (other.log_determinants, other.trace);
    }

    /// Moves to θ; false where θ is not admissible: V is not positive definite, or lies below the variance `floor` that
    /// rounding alone gives each reading, or an antenna's level is not determined.
    pub fn set(&mut self, layout: &Layout, theta: &Theta, floor: f64) -> bool {
        self.trace = None;
        self.weigh(layout, theta, floor) && self.determine(layout, theta)
    }

    /// Sets ω, w, W, a, A, c from θ.
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
        for (of_kind, kind) in self.kinds.iter_mut().zip(&layout.kinds) {
            let mut weight = 0.0;
            for i in kind.cells.clone() {
                self.weight[i] = layout.cells[i].mountings / self.omega[layout.cells[i].class];
                weight += self.weight[i];
            }
            let tau = visit + 1.0 / weight;
            if !(tau * weight > 1e-9 && tau * kind.readings >= 0.999 * floor) {
                return false;
            }
            let (mut kappa, mut inside) = ([0.0; 2], [0.0; 2]);
            for i in kind.cells.clone() {
                let (w, share) = (self.weight[i], self.weight[i] / weight);
                for (m, g) in [layout.cells[i].mounting_share, layout.cells[i].reading_share].into_iter().enumerate() {
                    kappa[m] += g * share * share;
                    inside[m] += g * (w - w * share);
                }
            }
            *of_kind = OfKind { weight, a: 1.0 / tau, kappa, inside };
        }
        for (s, visits) in layout.sessions.iter().enumerate() {
            let mut sum_a = 0.0;
            for j in visits.clone() {
                let visit = &layout.visits[j];
                let (kind, of_kind) = (&layout.kinds[visit.kind], self.kinds[visit.kind]);
                match visit.cells.len() {
                    1 => self.weight[visit.cells.start] = of_kind.weight,
                    _ => self.weight.copy_within(kind.cells.clone(), visit.cells.start),
                }
                self.visit_weight[j] = of_kind.weight;
                self.a[j] = of_kind.a;
                sum_a += of_kind.a;
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

    /// H = Σ B over the sessions, its factor, Φ, and the logarithms of the determinants.
    fn determine(&mut self, layout: &Layout, theta: &Theta) -> bool {
        let p = layout.antennas;
        self.factor.fill(0.0);
        for pattern in &layout.patterns {
            let visits = layout.sessions[pattern.session].clone();
            let times_c = pattern.sessions * self.c[pattern.session];
            self.by_antenna.fill(0.0);
            let first = layout.visits[visits.start].antenna;
            // antennas of a session stand in order: the rows end at the diagonal
            for (visit, &a) in layout.visits[visits.clone()].iter().zip(&self.a[visits]) {
                self.by_antenna[visit.antenna] = a;
                let row = &mut self.factor[visit.antenna * p..visit.antenna * p + p];
                row[visit.antenna] += pattern.sessions * a;
                let (row, so_far) = (&mut row[first..=visit.antenna], &self.by_antenna[first..=visit.antenna]);
                let shared = times_c * a;
                row.iter_mut().zip(so_far).for_each(|(x, other)| *x -= shared * other);
            }
        }
        let mut shrunk = LogProduct::default(); // Π 1/(1 + σ²_s·A)
        let mut sum = 0.0;
        for &Pattern { session, sessions } in &layout.patterns {
            let shrink = 1.0 - self.c[session] * self.sum_a[session];
            // the logarithm of several at once
            if sessions > 1.0 { sum -= sessions * shrink.ln() } else { shrunk.times(shrink) }
        }
        sum -= shrunk.ln();
        for (of_kind, kind) in self.kinds.iter().zip(&layout.kinds) {
            let mut precision = LogProduct::default(); // of the cells' means, in one visit
            precision.times(of_kind.a);
            if kind.cells.len() > 1 {
                // w = W where there is one
                kind.cells.clone().for_each(|i| precision.times(self.weight[i]));
                precision.times(1.0 / of_kind.weight);
            }
            sum -= kind.visits * precision.ln();
        }
        for (class, &omega) in layout.classes.iter().zip(&self.omega) {
            if class.df > 0.0 {
                sum += class.df * omega.ln();
            }
        }
        if layout.df_reading > 0.0 {
            sum += layout.df_reading * theta[3].ln();
        }
        let log_det = factor_and_invert(&mut self.factor, p, &mut self.scratch, &mut self.phi);
        let Some(log_det) = log_det else { return false };
        self.log_determinants = sum + log_det + layout.criterion_constant;
        true
    }

    /// tr(P·G_k) at θ, where the weights stand.
    pub(super) fn trace(&mut self, layout: &Layout, theta: &Theta) -> [f64; 4] {
        if let Some(trace) = self.trace {
            return trace;
        }
        let mut trace = [0.0; 4];
        for pattern in &layout.patterns {
            let of_session = self.trace_of_session(layout, pattern.session);
            trace.iter_mut().zip(of_session).for_each(|(sum, one)| *sum += pattern.sessions * one);
        }
        for (class, &omega) in layout.classes.iter().zip(&self.omega) {
            if class.df > 0.0 {
                trace[2] += class.df / omega;
                trace[3] += class.df / (omega * class.readings);
            }
        }
        if layout.df_reading > 0.0 {
            trace[3] += layout.df_reading / theta[3];
        }
        self.trace = Some(trace);
        trace
    }

    /// The expected information about component k where it is the only one above zero but for sessions that act as
    /// fixed: ½·tr(P·G_k·P·G_k) = tr(P·G_k)/(2θ_k), since then P·V·P = P with V = θ_k·G_k.
    pub(super) fn information_alone(&mut self, layout: &Layout, theta: &Theta, k: usize) -> [[f64; 4]; 4] {
        let mut information = [[0.0; 4]; 4];
        information[k][k] = self.trace(layout, theta)[k] / (2.0 * theta[k]);
        information
    }

    /// A session's part of tr(P·G_k) = tr(V⁻¹·G_k) − tr(Φ·XᵀV⁻¹G_kV⁻¹X). The latter is tr(Φ_s·B·K_k·B) with K_s = 1·1ᵀ,
    /// K_v = I and K_m, K_e the diagonal matrices of κ.
    fn trace_of_session(&mut self, layout: &Layout, s: usize) -> [f64; 4] {
        let p = layout.antennas;
        let visits = layout.sessions[s].clone();
        let (own, a) = (&layout.visits[visits.clone()], &self.a[visits]);
        let (c, shrink) = (self.c[s], 1.0 - self.c[s] * self.sum_a[s]);
        self.phi_a.fill(0.0);
        for (visit, a) in own.iter().zip(a) {
            let row = &self.phi[visit.antenna * p..visit.antenna * p + p];
            self.phi_a.iter_mut().zip(row).for_each(|(sum, phi)| *sum += phi * a);
        }
        let mut trace = [self.sum_a[s] * shrink, 0.0, 0.0, 0.0];
        let mut whole = 0.0; // aᵀΦa
        let mut kappa_sum = [0.0; 4]; // Σκa²
        let mut mixed = [0.0; 4]; // (κa²)ᵀΦa
        for (visit, &a) in own.iter().zip(a) {
            let (of_kind, phi_a) = (&self.kinds[visit.kind], self.phi_a[visit.antenna]);
            let [mounting, reading] = of_kind.kappa;
            let (kappa, inside) = ([0.0, 1.0, mounting, reading], [0.0, 0.0, of_kind.inside[0], of_kind.inside[1]]);
            whole += a * phi_a;
            let left = a - c * a * a - a * a * self.phi[visit.antenna * p + visit.antenna];
            for k in 1..4 {
                trace[k] += inside[k] + kappa[k] * left;
                let ka = kappa[k] * a * a;
                kappa_sum[k] += ka;
                mixed[k] += ka * phi_a;
            }
        }
        trace[0] -= shrink * shrink * whole;
        for k in 1..4 {
            trace[k] += 2.0 * c * mixed[k] - c * c * kappa_sum[k] * whole;
        }
        trace
    }

    /// κ of a visit, by component: 1 for the visit's own.
    pub(super) fn kappa(&self, layout: &Layout, j: usize) -> [f64; 4] {
        let [mounting, reading] = self.kinds[layout.visits[j].kind].kappa;
        [0.0, 1.0, mounting, reading]
    }

    /// Φ = (XᵀV⁻¹X)⁻¹, p×p.
    pub fn phi(&self) -> &[f64] {
        &self.phi
    }

    /// Lower Cholesky factor of XᵀV⁻¹X, p×p.
    pub fn factor(&self) -> &[f64] {
        &self.factor
    }

    /// tr(Φ·M) for a symmetric p×p matrix M.
    pub(super) fn trace_with_phi(&self, matrix: &[f64]) -> f64 {
        trace_of_product(&self.phi, matrix)
    }
}
