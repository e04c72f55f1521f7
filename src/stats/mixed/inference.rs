//! From a fit to standard errors that do not profit from a component estimated at zero.
//!
//! Where REML finds every component above zero, inference is REML with Kenward and Roger's
//! adjustment. A component at zero means a stratum scattered less than the strata below it say it
//! should; pooling it with them would claim more degrees of freedom than the comparison has. So:
//!
//! * visit or mounting at zero: the strata below are dropped, and that level's scatter is measured by
//!   its own stratum alone, with the weights the bounded fit gives;
//! * session at zero: sessions become fixed effects, and antennas are compared inside sessions only.
//!   Antennas that no chain of sessions joins cannot be compared so; those pairs keep the session
//!   random.
//!
//! Where visits hold unequal numbers of mountings or readings, one mean a visit, all weighed alike, may be
//! expected to err less than the fit's own weights do; then it stands in for the levels below the visit
//! from the start (see [`super::even_visits`]), and only the last rule is left.
//!
//! On balanced data each case is the classical stratum test: squared standard error
//! 2·MS_visit/(sessions·mountings·readings) on (sessions − 1)(antennas − 1) degrees of freedom.
//! Source of the intra-session analysis: Yates (1940), Annals of Eugenics 10:317–325.

use super::collapsed::Collapsed;
use super::even_visits::EvenVisits;
use super::fit::{Fit, Precision, Start, fit_from};
use super::kenward_roger::{ContrastError, KenwardRoger, kenward_roger};
use super::layout::{Data, Layout};
use super::levels::{Level, LevelState};
use super::likelihood::Workspace;
use super::weights::{Theta, Weights};

/// What a session's variance is set to, as a multiple of a visit's, to make sessions act as fixed:
/// large enough to change no contrast by more than 10⁻⁷ of its spread and no standard error by more than
/// 10⁻⁶, small enough to lose no more digits than that.
const DIFFUSE: f64 = 1e7;

/// How the standard errors came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Basis {
    /// The level whose own stratum stands in for all strata below it, where a component was at zero.
    pub collapsed_to: Option<Level>,
    /// Whether antennas are compared inside sessions only.
    pub session_fixed: bool,
    /// Whether visits of unequal size were weighed alike.
    pub even_visits: bool,
}

/// Estimates of a set's antennas and what is needed for the standard error of any pair.
#[derive(Debug, Clone)]
pub struct Inference {
    /// REML estimates of the components, none below zero: what is reported, and what replays simulate.
    pub components: Theta,
    /// Standard errors of the components, from the expected information; 0 where not estimated.
    pub component_errors: Theta,
    /// −2 × REML log-likelihood at `components`.
    pub criterion: f64,
    /// How the standard errors came about.
    pub basis: Basis,
    /// Whether every fit on the way came to rest.
    pub converged: bool,
    /// Generalised least-squares estimates, one an antenna.
    pub estimates: Vec<f64>,
    /// Lower Cholesky factor of XᵀV⁻¹X of the fit the joint errors are scaled by.
    pub factor: Vec<f64>,
    /// The visits seen as one mean each, where they are weighed alike.
    pub even: Option<EvenVisits>,
    layout: Layout,
    within: KenwardRoger,
    across: Option<KenwardRoger>,
    absolute: KenwardRoger,
    session_levels: Vec<Vec<SessionLevel>>,
}

/// How well the common level of the antennas that sessions join is known: from the scatter of the
/// sessions' means alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupLevel {
    /// Standard error of the level.
    pub error: f64,
    /// Degrees of freedom: sessions less one.
    pub df: f64,
}

/// How one session's readings stand as a whole, its antennas' own parts taken away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionLevel {
    /// The session's place among the set's sessions, in their order.
    pub session: usize,
    /// Mean of its visits, each less its antenna's estimate; about the mean of the group's sessions.
    pub level: f64,
}

/// One replay's (or the log's) fit, settled by the rule above: estimates and Φ for pairs that sessions
/// join (`within`) and for pairs they don't (`across`).
#[derive(Debug, Clone)]
pub struct Settled {
    /// How it came about.
    pub basis: Basis,
    /// Whether every fit came to rest.
    pub converged: bool,
    theta: Theta,
    free: [bool; 4],
    collapsed: Option<Box<Collapsed>>,
    across: Option<Across>,
}

/// The estimates with sessions still random, kept before they are fixed.
#[derive(Debug, Clone)]
struct Across {
    beta: Vec<f64>,
    phi: Vec<f64>,
    factor: Vec<f64>,
    adjustment: Option<KenwardRoger>,
}

/// Runs the rule on the log itself, with the better of the two ways to weigh its visits. `None` where
/// the log shows no scatter at any level.
pub fn infer(layout: &Layout, data: &Data, floor: f64) -> Option<Inference> {
    infer_with(layout, data, floor, EvenVisits::if_better)
}

/// Runs the rule on the log itself, visits always weighed as the fit has them.
pub fn infer_weighed(layout: &Layout, data: &Data, floor: f64) -> Option<Inference> {
    infer_with(layout, data, floor, |_, _, _, _| None)
}

fn infer_with(
    layout: &Layout,
    data: &Data,
    floor: f64,
    evenly: impl Fn(&Layout, &Weights, &Theta, &KenwardRoger) -> Option<EvenVisits>,
) -> Option<Inference> {
    let mut workspace = Workspace::new(layout);
    let first = super::fit::fit(layout, data, floor, &mut workspace)?;
    let active = layout.active();
    let absolute = kenward_roger(layout, &workspace.weights, &first.theta, &active)?;
    let even = evenly(layout, &workspace.weights, &first.theta, &absolute);
    let level: f64 = workspace.beta.iter().sum::<f64>() / workspace.beta.len() as f64;
    let start = Start::at(&first.theta, &active);
    let how = Settling { floor, precision: Precision::FULL, adjust: true, even: even.as_ref() };
    let settled = settle(layout, data, start, how, &mut workspace)?;

    let (final_layout, final_workspace) = match &settled.collapsed {
        Some(c) => (&c.layout, &c.workspace),
        None => (layout, &workspace),
    };
    let mut within = kenward_roger(final_layout, &final_workspace.weights, &settled.theta, &settled.free)?;
    if let Some(even) = &even {
        within = within.stretched(even.covariance(&final_workspace.weights));
    }
    // contrasts from the settled fit, their common level from the bounded one
    let shift = level - final_workspace.beta.iter().sum::<f64>() / final_workspace.beta.len() as f64;
    let mut estimates: Vec<f64> = final_workspace.beta.iter().map(|b| b + shift + data.centre).collect();
    if let Some(across) = &settled.across {
        // groups that no session joins stand to each other as the fit with sessions random has them
        for group in 0..estimates.len() {
            let members: Vec<usize> = (0..estimates.len()).filter(|&a| layout.group(a) == group).collect();
            let n = members.len() as f64;
            let off = members.iter().map(|&a| across.beta[a] + data.centre - estimates[a]).sum::<f64>() / n;
            members.iter().for_each(|&a| estimates[a] += off);
        }
    }
    let factor = joint_factor(layout, &settled, final_workspace).to_vec();
    let session_levels = session_levels(layout, data, &final_workspace.beta);
    let component_errors = std::array::from_fn(|k| absolute.covariance[k][k].max(0.0).sqrt());
    Some(Inference {
        components: first.theta,
        component_errors,
        criterion: first.criterion,
        basis: settled.basis,
        converged: settled.converged && first.converged,
        estimates,
        factor,
        even,
        layout: layout.clone(),
        within,
        across: settled.across.as_ref().and_then(|a| a.adjustment.clone()),
        absolute,
        session_levels,
    })
}

/// How the sessions of each group of linked antennas stand: visits less their antenna's part, averaged by
/// session, about the group's mean. Indexed by group.
fn session_levels(layout: &Layout, data: &Data, beta: &[f64]) -> Vec<Vec<SessionLevel>> {
    let mut levels: Vec<Vec<SessionLevel>> = vec![vec![]; beta.len()];
    for (session, visits) in layout.sessions.iter().enumerate() {
        let visits = &layout.visits[visits.clone()];
        let sum: f64 = visits.iter().map(|v| layout.visit_mean(v, data) - beta[v.antenna]).sum();
        levels[layout.group(visits[0].antenna)].push(SessionLevel { session, level: sum / visits.len() as f64 });
    }
    for group in levels.iter_mut().filter(|g| !g.is_empty()) {
        let mean = group.iter().map(|s| s.level).sum::<f64>() / group.len() as f64;
        group.iter_mut().for_each(|s| s.level -= mean);
    }
    levels
}

/// The level of a group from how its sessions stand; `None` where it has one session.
fn group_level(sessions: &[SessionLevel]) -> Option<GroupLevel> {
    let n = sessions.len() as f64;
    let variance = sessions.iter().map(|s| s.level * s.level).sum::<f64>() / (n - 1.0);
    (sessions.len() > 1).then(|| GroupLevel { error: (variance / n).sqrt(), df: n - 1.0 })
}

impl Inference {
    /// Standard errors and degrees of freedom of `first − second`.
    ///
    /// A pair that no session joins differs by whole sessions too. However little those scatter in the fit, they can
    /// answer for no more degrees of freedom than there are sessions beyond the groups they fall into: a spread that came
    /// out small, or at zero, by luck must not borrow those of the visits.
    pub fn difference(&self, first: usize, second: usize) -> ContrastError {
        if self.layout.linked(first, second) {
            return self.within.difference(first, second);
        }
        let error = match &self.across {
            Some(across) => across.difference(first, second),
            None => self.within.difference(first, second),
        };
        match self.layout.states()[0] {
            LevelState::Seen => ContrastError { df: error.df.min(self.layout.strata()[0]), ..error },
            _ => error,
        }
    }

    /// What the scatter of each level adds to the variance of `first − second`, before the adjustment for small
    /// samples. A level that stands in for those inside it holds theirs.
    pub fn parts_of_difference(&self, first: usize, second: usize) -> [f64; 4] {
        let parts = match &self.across {
            Some(across) if !self.layout.linked(first, second) => across.parts_of_difference(first, second),
            _ => self.within.parts_of_difference(first, second),
        };
        match self.basis.even_visits || self.basis.collapsed_to == Some(Level::Visit) {
            true => self.inside_visits(first, second, parts),
            false => parts,
        }
    }

    /// Where visits stand in for all inside them, one figure holds the scatter of visits, mountings and readings. It is told
    /// apart as the components are: what each adds to a visit's mean, its mountings weighed alike.
    fn inside_visits(&self, first: usize, second: usize, parts: [f64; 4]) -> [f64; 4] {
        let visits = self.layout.visits.iter().filter(|v| v.antenna == first || v.antenna == second);
        let mut adds = [0.0; 3];
        for visit in visits {
            let cells = &self.layout.cells[visit.cells.clone()];
            let mountings: f64 = cells.iter().map(|c| c.mountings).sum();
            let readings: f64 = cells.iter().map(|c| c.mountings.powi(2) * c.reading_share).sum();
            adds[0] += self.components[1];
            adds[1] += self.components[2] / mountings;
            adds[2] += self.components[3] * readings / mountings.powi(2);
        }
        let (all, inside) = (adds.iter().sum::<f64>(), parts[1] + parts[2] + parts[3]);
        if !(all > 0.0) {
            return parts;
        }
        let [visit, mounting, reading] = adds.map(|a| inside * a / all);
        [parts[0], visit, mounting, reading]
    }

    /// Standard errors and degrees of freedom of an antenna's difference from the mean of a group it is in.
    pub fn from_mean(&self, antenna: usize, group: &[usize]) -> ContrastError {
        self.within.from_mean(antenna, group)
    }

    /// Standard errors and degrees of freedom of an antenna's own mean, sessions and all.
    pub fn single(&self, antenna: usize) -> ContrastError {
        self.absolute.single(antenna)
    }

    /// An antenna's own mean in two parts that err independently: the level its group of antennas shares,
    /// from the scatter of sessions, and its difference from the group's mean, from the scatter inside
    /// sessions. Half-widths of the two are joined as a root sum of squares: a spread between sessions
    /// that came out small by luck then narrows its own part alone, and that part has few degrees of
    /// freedom to answer for it. `None` where the group has one session.
    ///
    /// # Source
    /// Graybill & Wang (1980), J. Am. Stat. Assoc. 75:869–873: intervals on sums of variances.
    pub fn level_and_difference(&self, antenna: usize) -> Option<(GroupLevel, ContrastError)> {
        let group: Vec<usize> = (0..self.estimates.len()).filter(|&a| self.layout.linked(a, antenna)).collect();
        Some((group_level(self.session_levels(antenna))?, self.within.from_mean(antenna, &group)))
    }

    /// How the sessions of an antenna's group stand, in the set's order: what the meter and the site did to all
    /// antennas alike.
    pub fn session_levels(&self, antenna: usize) -> &[SessionLevel] {
        &self.session_levels[self.layout.group(antenna)]
    }

    /// Degrees of freedom of each component, 2·(θ/SE)²: of the chi-squared its estimate resembles.
    pub fn component_df(&self) -> [Option<f64>; 4] {
        std::array::from_fn(|k| {
            let (theta, error) = (self.components[k], self.component_errors[k]);
            (theta > 0.0 && error > 0.0).then(|| 2.0 * (theta / error).powi(2))
        })
    }
}

/// How a fit is settled.
#[derive(Debug, Clone, Copy)]
pub struct Settling<'a> {
    /// Variance that display rounding alone gives one reading.
    pub floor: f64,
    /// How precisely each fit is driven home.
    pub precision: Precision,
    /// Whether to keep what [`Inference::difference`] needs of pairs no session joins; replays do without.
    pub adjust: bool,
    /// The visits seen as one mean each, where they are weighed alike.
    pub even: Option<&'a EvenVisits>,
}

/// Fits from `start` and settles every component at zero.
pub fn settle(layout: &Layout, data: &Data, start: Start, how: Settling, workspace: &mut Workspace) -> Option<Settled> {
    let Settling { floor, precision, adjust, even } = how;
    let basis = Basis { even_visits: even.is_some(), ..Basis::default() };
    let mut settled = match even {
        None => {
            let fit = fit_from(layout, data, floor, start, precision, workspace)?;
            Settled::from(fit, *start.free, None, basis)
        }
        Some(even) => {
            let mut visits = Collapsed::evenly(even, layout, data);
            let free = visits.layout.active();
            let start = Start::from(&even.start, &free);
            let fit = fit_from(&visits.layout, &visits.data, floor, start, precision, &mut visits.workspace)?;
            Settled::from(fit, free, Some(Box::new(visits)), basis)
        }
    };
    loop {
        let current = settled.collapsed.as_deref().map_or(layout, |c| &c.layout);
        let zero = |k: usize| settled.free[k] && settled.theta[k] == 0.0;
        let next = if zero(1) {
            settled.basis.collapsed_to = Some(Level::Visit);
            Collapsed::to_visits(current, settled.data(data), &settled.workspace(workspace).weights, &settled.theta)
        } else if zero(2) {
            settled.basis.collapsed_to = Some(Level::Mounting);
            Collapsed::to_mountings(current, settled.data(data), &settled.theta)
        } else if zero(0) {
            settled.fix_session(layout, workspace, adjust);
            settled.refit(layout, data, floor, precision, workspace);
            continue;
        } else {
            break;
        };
        let (collapsed, theta, free) = next;
        settled.free = [free[0] && settled.free[0], free[1], free[2], free[3]];
        settled.theta = theta;
        settled.collapsed = Some(Box::new(collapsed));
        settled.refit(layout, data, floor, precision, workspace);
    }
    Some(settled)
}

impl Settled {
    fn from(fit: Fit, free: [bool; 4], collapsed: Option<Box<Collapsed>>, basis: Basis) -> Settled {
        Settled { basis, converged: fit.converged, theta: fit.theta, free, collapsed, across: None }
    }

    fn data<'a>(&'a self, whole: &'a Data) -> &'a Data {
        self.collapsed.as_deref().map_or(whole, |c| &c.data)
    }

    fn workspace<'a>(&'a self, whole: &'a Workspace) -> &'a Workspace {
        self.collapsed.as_deref().map_or(whole, |c| &c.workspace)
    }

    fn refit(&mut self, layout: &Layout, data: &Data, floor: f64, precision: Precision, workspace: &mut Workspace) {
        let (theta, free) = (self.theta, self.free);
        let start = Start::at(&theta, &free);
        let fit = match self.collapsed.as_deref_mut() {
            Some(c) => fit_from(&c.layout, &c.data, floor, start, precision, &mut c.workspace),
            None => fit_from(layout, data, floor, start, precision, workspace),
        };
        match fit {
            Some(fit) => {
                self.theta = fit.theta;
                self.converged &= fit.converged;
            }
            None => self.converged = false,
        }
    }

    /// Makes sessions act as fixed, after keeping the estimates that leave them random.
    fn fix_session(&mut self, layout: &Layout, workspace: &Workspace, adjust: bool) {
        let current = self.collapsed.as_deref().map_or(layout, |c| &c.layout);
        let w = self.workspace(workspace);
        let across = (!layout.all_linked()).then(|| Across {
            beta: w.beta.clone(),
            phi: w.weights.phi.clone(),
            factor: w.weights.factor.clone(),
            adjustment: if adjust { kenward_roger(current, &w.weights, &self.theta, &self.free) } else { None },
        });
        let a = &w.weights.a;
        let tau = a.iter().map(|a| 1.0 / a).sum::<f64>() / a.len() as f64;
        self.across = across;
        self.theta[0] = DIFFUSE * tau;
        self.free[0] = false;
        self.basis.session_fixed = true;
    }

    /// Estimates and Φ for a pair: with sessions random where no session joins it.
    pub fn beta_and_phi<'a>(&'a self, linked: bool, workspace: &'a Workspace) -> (&'a [f64], &'a [f64]) {
        match &self.across {
            Some(across) if !linked => (&across.beta, &across.phi),
            _ => {
                let w = self.workspace(workspace);
                (&w.beta, &w.weights.phi)
            }
        }
    }

    /// Estimates and the factor of XᵀV⁻¹X that joint errors are studentized by: with sessions random
    /// where some pair needs that.
    pub fn beta_and_factor<'a>(&'a self, workspace: &'a Workspace) -> (&'a [f64], &'a [f64]) {
        match &self.across {
            Some(across) => (&across.beta, &across.factor),
            None => {
                let w = self.workspace(workspace);
                (&w.beta, &w.weights.factor)
            }
        }
    }
}

fn joint_factor<'a>(layout: &Layout, settled: &'a Settled, workspace: &'a Workspace) -> &'a [f64] {
    match &settled.across {
        Some(across) if !layout.all_linked() => &across.factor,
        _ => &workspace.weights.factor,
    }
}
