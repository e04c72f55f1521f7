//! The session that would settle most for its minutes: which antennas, together in how many sessions.

use std::collections::{BTreeMap, BTreeSet};

use super::question::{Knowledge, Question};
use crate::analysis::antennas::sets::Set;
use crate::analysis::plan::reference;
use crate::season::config::Effort;

/// The numbers of sessions that are weighed.
const SESSIONS: [usize; 9] = [1, 2, 3, 4, 6, 8, 12, 20, 30];

/// So many groups of antennas are weighed against each other; those beyond settle least.
const MOST_GROUPS: usize = 400;

/// A habit holds no more readings of a mounting than this. One summarised row may stand for hundreds, taken by the
/// meter itself: nobody fills in so many boxes, and beyond ten what is left of the scatter is the mounting's.
const MOST_READINGS: f64 = 10.0;

/// How this season measures: what one more visit is taken to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Habit {
    /// Mountings a visit.
    pub mountings: usize,
    /// Readings a mounting, in one set.
    pub readings: usize,
}

impl Habit {
    /// Means over the sets of a season, to whole numbers, at most ten readings; two and two where there is none.
    pub fn of(sets: &[Set]) -> Habit {
        let visits: usize = sets
            .iter()
            .map(|s| s.mountings.iter().map(|m| (m.session, m.antenna)).collect::<BTreeSet<_>>().len())
            .sum();
        let mountings: usize = sets.iter().map(|s| s.mountings.len()).sum();
        // capped one by one: a single row that stands for thousands says nothing of the others
        let readings: f64 = sets.iter().flat_map(|s| &s.mountings).map(|m| m.readings.min(MOST_READINGS)).sum();
        if visits == 0 {
            return Habit { mountings: 2, readings: 2 };
        }
        let whole = |sum: f64, of: usize| (sum / of as f64).round().max(1.0) as usize;
        Habit { mountings: whole(mountings as f64, visits), readings: whole(readings, mountings) }
    }

    /// Mountings of one session with so many antennas, the reference antenna among them where there is one.
    pub fn all_mountings(&self, antennas: usize, with_reference: bool) -> usize {
        let own = if with_reference { reference::mountings(self.mountings) } else { 0 };
        (antennas - usize::from(with_reference && antennas > 0)) * self.mountings + own
    }

    /// Minutes of `sessions` sessions with so many antennas, the reference antenna among them where there is one,
    /// `meters` meters read on each mounting (a meter on two bands counts twice).
    pub fn minutes(
        &self,
        sessions: usize,
        antennas: usize,
        with_reference: bool,
        meters: usize,
        effort: &Effort,
    ) -> f64 {
        let mountings = self.all_mountings(antennas, with_reference) as f64;
        let each = effort.mounting_minutes + effort.reading_minutes * (self.readings * meters) as f64;
        sessions as f64 * (effort.session_minutes + mountings * each)
    }
}

/// Antennas, together in so many more sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Sessions {
    /// How many.
    pub sessions: usize,
    /// The antennas, what settles most first; the reference antenna among them.
    pub antennas: Vec<String>,
    /// Questions expected to be settled.
    pub settles: f64,
    /// Minutes it takes.
    pub minutes: f64,
    /// The likeliest question to be settled, and its chance.
    pub first: Option<(usize, f64)>,
}

/// What is asked, with which antennas and by which means.
pub struct Bench<'a> {
    /// Open questions.
    pub questions: &'a [Question],
    /// The reference antenna.
    pub reference: Option<&'a str>,
    /// What measuring costs.
    pub effort: Effort,
    /// What a visit holds.
    pub habit: Habit,
}

impl Bench<'_> {
    /// The best for its minutes, or `None` where no session is expected to settle anything worth the name.
    /// Antennas are taken up one by one, as long as that settles more a minute.
    pub fn best(&self) -> Option<Sessions> {
        let all = SESSIONS.iter().filter_map(|&n| self.grow(n, |_| true));
        all.filter(|s| s.settles >= 0.25).reduce(|best, s| if rate(&s) > rate(&best) { s } else { best })
    }

    /// The single question that is cheapest to settle with at least even odds.
    pub fn surest(&self) -> Option<(usize, Sessions)> {
        let one = |(i, q): (usize, &Question)| {
            // a convention is no answer that anything is near to
            let known = !matches!(q.knowledge, Knowledge::Blind);
            let sessions = SESSIONS.into_iter().find(|&n| known && q.chance(n) >= 0.5)?;
            let with_reference = self.reference.is_some_and(|r| !q.antennas.iter().any(|a| a == r));
            let antennas = q.antennas.len() + usize::from(with_reference);
            let minutes = self.habit.minutes(sessions, antennas, self.reference.is_some(), 1, &self.effort);
            let settles = q.chance(sessions);
            let first = Some((i, settles));
            Some((i, Sessions { sessions, antennas: q.antennas.clone(), settles, minutes, first }))
        };
        let all = self.questions.iter().enumerate().filter_map(one);
        all.reduce(|best, s| if rate(&s.1) > rate(&best.1) { s } else { best })
    }

    /// The best choice of antennas for so many sessions.
    fn grow(&self, sessions: usize, wanted: impl Fn(&Question) -> bool) -> Option<Sessions> {
        let asked: Vec<(usize, &Question)> = self.questions.iter().enumerate().filter(|(_, q)| wanted(q)).collect();
        // questions on the same antennas count as one, with their chances added
        let mut worth: BTreeMap<Vec<&str>, f64> = BTreeMap::new();
        for (_, q) in &asked {
            let mut key: Vec<&str> = q.antennas.iter().map(String::as_str).collect();
            key.sort_unstable();
            *worth.entry(key).or_default() += q.chance(sessions);
        }
        // the heaviest; stable, so that ties stay in order of name
        let mut worth: Vec<(Vec<&str>, f64)> = worth.into_iter().collect();
        worth.sort_by(|a, b| b.1.total_cmp(&a.1));
        worth.truncate(MOST_GROUPS);
        let seed = worth.first()?;
        let mut chosen: Vec<&str> = seed.0.clone();
        chosen.extend(self.reference.filter(|r| !seed.0.contains(r)));
        let names: BTreeSet<&str> = worth.iter().flat_map(|w| w.0.iter().copied()).collect();
        let sum = |chosen: &[&str]| -> f64 {
            worth.iter().filter(|(k, _)| k.iter().all(|a| chosen.contains(a))).map(|(_, w)| w).sum()
        };
        let meters = asked.iter().map(|(_, q)| &q.reading).collect::<BTreeSet<_>>().len();
        let minutes =
            |antennas: usize| self.habit.minutes(sessions, antennas, self.reference.is_some(), meters, &self.effort);
        let mut settles = sum(&chosen);
        loop {
            let more = |a: &str| -> f64 {
                let with = |x: &&str| *x == a || chosen.contains(x);
                let key = |k: &Vec<&str>| k.contains(&a) && k.iter().all(&with);
                worth.iter().filter(|(k, _)| key(k)).map(|(_, w)| w).sum()
            };
            let next = names
                .iter()
                .filter(|a| !chosen.contains(a))
                .map(|&a| (a, more(a)))
                .reduce(|best, x| if x.1 > best.1 { x } else { best });
            let Some((antenna, gain)) = next else { break };
            let better = (settles + gain) / minutes(chosen.len() + 1) > settles / minutes(chosen.len());
            if !better {
                break;
            }
            chosen.push(antenna);
            settles += gain;
        }
        let inside = |q: &Question| q.antennas.iter().all(|a| chosen.contains(&a.as_str()));
        let first = asked
            .iter()
            .filter(|(_, q)| inside(q))
            .map(|(i, q)| (*i, q.chance(sessions)))
            .reduce(|best, x| if x.1 > best.1 { x } else { best });
        Some(Sessions {
            sessions,
            minutes: minutes(chosen.len()),
            antennas: chosen.into_iter().map(String::from).collect(),
            settles,
            first,
        })
    }
}

/// Questions settled a minute.
fn rate(s: &Sessions) -> f64 {
    s.settles / s.minutes
}

#[cfg(test)]
mod tests {
    use super::super::question::Gap;
    use super::*;
    use crate::season::config::Config;
    use crate::stats::mixed::MountingSummary;

    fn question(antennas: &[&str], distance: f64) -> Question {
        let gap =
            Gap { distance, scatter: 1.0, lasting: 0.0, error: 0.2, visits: 2.0, across_days: 0.0, even_within: None };
        Question {
            words: antennas.join(" against "),
            reading: ("2 m".into(), "analyzer".into()),
            antennas: antennas.iter().map(|a| (*a).to_string()).collect(),
            knowledge: Knowledge::Known(gap),
        }
    }

    fn bench(questions: &[Question]) -> Bench<'_> {
        let habit = Habit { mountings: 2, readings: 2 };
        Bench { questions, reference: Some("r"), effort: Effort::default(), habit }
    }

    #[test]
    fn the_session_takes_up_the_antennas_that_settle_something_and_the_reference_antenna() {
        let asked = [question(&["a", "b"], 0.95), question(&["a", "c"], 0.9), question(&["d", "e"], 0.05)];
        let best = bench(&asked).best().unwrap();
        let mut antennas = best.antennas.clone();
        antennas.sort();
        assert_eq!(antennas, ["a", "b", "c", "r"], "{best:?}");
        assert!(best.settles > 1.0 && best.settles <= 2.0, "{best:?}");
        assert_eq!(best.first.unwrap().0, 0);
    }

    #[test]
    fn nothing_is_proposed_where_no_session_would_settle_anything() {
        let gap = Gap {
            distance: 0.1,
            scatter: 1.0,
            lasting: 2.0,
            error: 0.2,
            visits: 2.0,
            across_days: 0.0,
            even_within: None,
        };
        let stuck = Question { knowledge: Knowledge::Known(gap), ..question(&["a", "b"], 0.1) };
        assert_eq!(bench(&[stuck]).best(), None);
        assert_eq!(bench(&[]).best(), None);
    }

    #[test]
    fn a_summarised_row_of_thousands_is_no_habit_of_so_many_readings() {
        let mounting = |session, readings| MountingSummary {
            session,
            antenna: 0,
            readings,
            df: readings - 1.0,
            mean: 1.0,
            sum_of_squares: 0.1,
        };
        let habit = |mountings: Vec<MountingSummary>| {
            Habit::of(&[Set {
                moduli: vec![],
                quantity: Config::default().quantity("field_strength").unwrap(),
                band: "2 m".into(),
                meter: "field".into(),
                antennas: vec!["a".into()],
                sessions: vec!["1".into(), "2".into()],
                mountings,
                line_factor: 1.0,
                resolution: 0.1,
                resolution_declared: false,
                correction: None,
            }])
        };
        assert_eq!(habit(vec![mounting(0, 4000.0), mounting(1, 4000.0)]), Habit { mountings: 1, readings: 10 });
        assert_eq!(habit(vec![mounting(0, 4000.0), mounting(1, 2.0)]), Habit { mountings: 1, readings: 6 });
        assert_eq!(habit(vec![mounting(0, 3.0), mounting(0, 3.0)]), Habit { mountings: 2, readings: 3 });
    }

    #[test]
    fn a_dearer_session_makes_each_one_fuller() {
        let asked = [question(&["a", "b"], 0.95), question(&["c", "d"], 0.75)];
        let with = |session_minutes: f64| {
            let effort = Effort { session_minutes, ..Effort::default() };
            Bench { effort, ..bench(&asked) }.best().unwrap().antennas.len()
        };
        assert!(with(1.0) <= with(400.0), "{} {}", with(1.0), with(400.0));
    }
}
