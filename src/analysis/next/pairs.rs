//! Pairs of antennas that are inside the noise, or that the log cannot compare.

use std::collections::BTreeSet;

use statrs::distribution::{ContinuousCDF, Normal};

use super::question::{Gap, Knowledge, Question};
use super::{Questions, Remark};
use crate::analysis::antennas::result::{OrdinalResult, PairResult, SetResult, Verdict, label};
use crate::analysis::antennas::shown::matters_on_scale;

impl Questions<'_> {
    /// Takes up the pairs that `antennas` left open. `confidence` is that of their families.
    pub fn pairs(&mut self, sets: &[SetResult], ordinal: &[OrdinalResult], confidence: f64) {
        self.another_day(sets);
        self.strangers(sets, ordinal);
        for set in sets {
            let joined = visit_gap(set);
            let open = set.pairs.iter().filter(|p| matches!(p.verdict, Verdict::Noise | Verdict::Unlinked));
            let questions = open.map(|pair| Question {
                words: words(&set.antennas[pair.first].antenna, &set.antennas[pair.second].antenna, &set.label()),
                reading: (set.band.clone(), set.meter.clone()),
                antennas: [pair.first, pair.second].map(|a| set.antennas[a].antenna.clone()).to_vec(),
                knowledge: knowledge(set, pair, joined),
            });
            self.open.extend(questions);
        }
        for set in ordinal {
            let name = label(&set.quantity.name, &set.band, &set.meter);
            let open = set.pairs.iter().filter(|p| matches!(p.verdict, Verdict::Noise | Verdict::Unlinked));
            let count = set.pairs.len() as f64;
            for pair in open {
                let (a, b) = (&set.antennas[pair.first].antenna, &set.antennas[pair.second].antenna);
                self.open.push(Question {
                    words: words(a, b, &name),
                    reading: (set.band.clone(), set.meter.clone()),
                    antennas: vec![a.clone(), b.clone()],
                    knowledge: grades(pair.sessions, pair.p_adjusted, count, confidence),
                });
            }
        }
    }

    /// Sets where every antenna was seen on one visit.
    fn another_day(&mut self, sets: &[SetResult]) {
        let blind = |s: &&SetResult| s.antennas.len() > 1 && s.pairs.iter().all(|p| p.verdict == Verdict::Unlinked);
        let blind: Vec<&SetResult> = sets.iter().filter(blind).collect();
        let Some(first) = blind.first() else { return };
        let sets =
            if blind.len() == 1 { first.label() } else { format!("{} and {} more", first.label(), blind.len() - 1) };
        let mounted_once = blind.iter().all(|s| s.antennas.iter().all(|a| a.mountings == a.visits));
        let remount = if mounted_once { "; take each off once in between and put it back" } else { "" };
        self.remarks.push(Remark {
            antennas: BTreeSet::new(),
            words: format!(
                "With one visit each, nothing in this log shows what another day would change ({sets}){remount}"
            ),
        });
    }

    /// Antennas that never met the others; the one that stands alone in most sets first.
    fn strangers(&mut self, sets: &[SetResult], ordinal: &[OrdinalResult]) {
        let mut alone: Vec<(String, usize)> = vec![];
        let mut note = |name: &str| match alone.iter_mut().find(|(n, _)| n == name) {
            Some((_, count)) => *count += 1,
            None => alone.push((name.to_string(), 1)),
        };
        for set in sets.iter().filter(|s| s.antennas.len() > 1) {
            let met = |a: usize| set.pairs.iter().any(|p| (p.first == a || p.second == a) && p.met);
            (0..set.antennas.len()).filter(|&a| !met(a)).for_each(|a| note(&set.antennas[a].antenna));
        }
        for set in ordinal.iter().filter(|s| s.antennas.len() > 1) {
            let met = |a: usize| set.pairs.iter().any(|p| (p.first == a || p.second == a) && p.sessions > 0);
            (0..set.antennas.len()).filter(|&a| !met(a)).for_each(|a| note(&set.antennas[a].antenna));
        }
        alone.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        self.remarks.extend(alone.into_iter().map(|(name, count)| {
            let sets = if count == 1 { "one set".to_string() } else { format!("{count} sets") };
            Remark {
                words: format!(
                    "No session joins {name} to any other antenna in {sets}, so its comparisons rest on how much whole days differ"
                ),
                antennas: BTreeSet::from([name]),
            }
        }));
    }
}

fn words(first: &str, second: &str, set: &str) -> String {
    format!("{first} against {second} ({set})")
}

/// The gap that one visit of each of two antennas in one session would leave in this set: the middle one of
/// those pairs that met, scaled to one visit. Half-width of scatter and its standard error.
fn visit_gap(set: &SetResult) -> Option<(f64, f64)> {
    let mut met: Vec<(f64, f64)> = set
        .pairs
        .iter()
        .filter(|p| p.met)
        .filter_map(|p| {
            let (scatter, _, error) = parts(p)?;
            let visits = visits(set, p).sqrt();
            Some((scatter * visits, error * visits))
        })
        .collect();
    met.sort_by(|a, b| a.0.total_cmp(&b.0));
    met.get(met.len() / 2).copied()
}

/// Half-width of the scatter, of what is declared, and the scatter's standard error.
fn parts(pair: &PairResult) -> Option<(f64, f64, f64)> {
    let (range, share, error) = (pair.range?, pair.share_declared?, pair.standard_error?);
    let half = (range.high - range.low) / 2.0;
    Some((half * (1.0 - share).sqrt(), half * share.sqrt(), error * (1.0 - share).sqrt()))
}

fn visits(set: &SetResult, pair: &PairResult) -> f64 {
    set.antennas[pair.first].visits.min(set.antennas[pair.second].visits) as f64
}

fn knowledge(set: &SetResult, pair: &PairResult, joined: Option<(f64, f64)>) -> Knowledge {
    let middle = (set.antennas[pair.first].estimate + set.antennas[pair.second].estimate) / 2.0;
    let even_within = set.matters.map(|m| matters_on_scale(&set.quantity, m, middle, 0.0));
    let gap = |scatter, lasting, error, visits, across_days| {
        let distance = pair.difference;
        Knowledge::Known(Gap { distance, scatter, lasting, error, visits, across_days, even_within })
    };
    match (pair.met, parts(pair), joined) {
        (true, Some((scatter, lasting, error)), _) => gap(scatter, lasting, error, visits(set, pair), 0.0),
        // two that never met: what a session with both would bring, their difference no surer than its own error
        (false, Some((_, lasting, across_days)), Some((scatter, error))) => {
            gap(scatter, lasting, error, 0.0, across_days)
        }
        _ => Knowledge::Blind,
    }
}

/// A pair of reports: its adjusted p-value as a distance in standard errors, which grows with √sessions.
fn grades(sessions: usize, p_adjusted: Option<f64>, pairs: f64, confidence: f64) -> Knowledge {
    let Some(p) = p_adjusted.filter(|_| sessions > 0) else { return Knowledge::Blind };
    let z = |p: f64| Normal::standard().inverse_cdf(1.0 - (p / pairs).clamp(1e-12, 0.5) / 2.0);
    Knowledge::Known(Gap {
        distance: z(p),
        scatter: z(1.0 - confidence),
        lasting: 0.0,
        error: 1.0,
        visits: sessions as f64,
        across_days: 0.0,
        even_within: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reports_just_short_of_a_verdict_are_likely_settled_by_another_session_and_even_ones_are_not() {
        let chance = |p: f64| {
            let knowledge = grades(6, Some(p), 3.0, 0.95);
            Question { words: String::new(), reading: Default::default(), antennas: vec![], knowledge }.chance(2)
        };
        assert!(chance(0.06) > 0.4, "{}", chance(0.06));
        assert!(chance(1.0) < 0.1, "{}", chance(1.0));
        assert_eq!(grades(0, None, 3.0, 0.95), Knowledge::Blind);
    }
}
