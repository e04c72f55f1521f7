//! The linear mixed model of a set of readings,
//!
//! ```text
//! y = antenna (fixed) + session + visit + mounting + reading      (random, nested as the levels are)
//! ```
//!
//! fitted by residual maximum likelihood (REML) on the sufficient statistics of the mountings. The
//! derivation, with the symbols used here, is `notebooks-md/model.md`.
//!
//! Symbols: θ = (σ²_s, σ²_v, σ²_m, σ²_e) the variance components; ω the variance of one mounting's
//! mean about its visit; w, W weights inside a visit; τ the variance of a visit's mean about its
//! session and antenna, a = 1/τ; A = Σa over a session, c = σ²_s/(1 + σ²_s·A); H = XᵀV⁻¹X, Φ = H⁻¹;
//! G_k = ∂V/∂θ_k; P = V⁻¹ − V⁻¹XΦXᵀV⁻¹.

mod collapsed;
pub mod even_visits;
pub mod fit;
mod folded;
pub mod inference;
pub mod kenward_roger;
pub mod layout;
pub mod levels;
pub mod likelihood;
pub mod posterior;
pub mod simulate;
mod small_matrix;
pub mod weights;

pub use even_visits::EvenVisits;
pub use fit::{Fit, fit};
pub use inference::{Basis, Inference, SessionLevel, infer, infer_weighed};
pub use kenward_roger::{ContrastError, KenwardRoger, kenward_roger};
pub use layout::{Data, Layout, MountingSummary};
pub use levels::{Level, LevelState};
pub use likelihood::Workspace;
pub use posterior::Draw;
pub use simulate::{EstimateErrors, Simulator};
pub use weights::{Theta, Weights};
