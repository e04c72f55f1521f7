//! Where the uncertainty of a set's differences comes from: the scatter of each level and each declared source, as
//! shares of a difference's variance.

use super::result::{PairResult, Share, ShareOf, Verdict};
use super::sources::SetSources;
use crate::montecarlo::simultaneous::SetFit;
use crate::stats::mixed::Level;

/// The shares, averaged over the pairs that are compared, largest first; they sum to one. Empty where no pair is.
pub fn shares(pairs: &[PairResult], fit: Option<&SetFit>, sources: &SetSources) -> Vec<Share> {
    let mut levels = [0.0; 4];
    let mut declared = vec![0.0; sources.applied.len()];
    let mut compared = 0.0;
    for pair in pairs.iter().filter(|p| p.verdict != Verdict::Unlinked) {
        let scatter = fit.map_or([0.0; 4], |f| f.inference.parts_of_difference(pair.first, pair.second));
        let known = sources.parts_of_difference(pair.first, pair.second);
        let whole = scatter.iter().sum::<f64>() + known.iter().map(|k| k.1).sum::<f64>();
        if !(whole > 0.0 && whole.is_finite()) {
            continue;
        }
        compared += 1.0;
        levels.iter_mut().zip(scatter).for_each(|(sum, part)| *sum += part / whole);
        known.into_iter().for_each(|(i, part)| declared[i] += part / whole);
    }
    if compared == 0.0 {
        return vec![];
    }
    let of_levels = Level::ALL.iter().zip(levels).map(|(level, sum)| (ShareOf::Scatter(*level), sum));
    let of_sources = sources.applied.iter().zip(declared).map(|(a, sum)| (ShareOf::Source(a.name.clone()), sum));
    let mut out: Vec<Share> = of_levels
        .chain(of_sources)
        .map(|(of, sum)| Share { of, share: sum / compared })
        .filter(|s| s.share > 0.0)
        .collect();
    out.sort_by(|a, b| b.share.total_cmp(&a.share));
    out
}
