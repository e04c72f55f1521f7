//! Levels that the log doesn't replicate, each with the least that would show it.

use super::super::Rule;
use super::super::log::{Log, LogSet};
use crate::season::config::Scope;
use crate::season::finding::{Finding, Group, Place, Severity};
use crate::stats::mixed::{Layout, Level, LevelState};

/// The rule.
pub const RULE: Rule = Rule {
    name: "levels not repeated",
    group: Group::WeakDesign,
    asks: "nothing to compare, or a level with no replication: one antenna, one session, one visit an antenna, one mounting a visit, one reading a mounting",
    source: "degrees of freedom of the strata: Searle, Casella & McCulloch, Variance Components (1992), chapter 3",
    beside_verdicts: false,
    check,
};

fn check(log: &Log) -> Vec<Finding> {
    let compared: Vec<(&LogSet, [LevelState; 4])> = log
        .sets
        .iter()
        .filter(|s| s.set.antennas.len() > 1)
        .filter_map(|s| Some((s, Layout::new(s.set.antennas.len(), &s.set.mountings)?.0.states())))
        .collect();
    let mut out: Vec<Finding> = alone(log).into_iter().collect();
    for level in Level::ALL {
        let lacking: Vec<&LogSet> = compared
            .iter()
            .filter(|(s, states)| states[level as usize] != LevelState::Seen && !told_above(s, states, level))
            .map(|(s, _)| *s)
            .collect();
        let unseen = |s: &&LogSet| {
            compared.iter().any(|(t, states)| std::ptr::eq(*t, *s) && states[level as usize] == LevelState::Unseen)
        };
        let (unseen, merged): (Vec<&LogSet>, Vec<&LogSet>) = lacking.into_iter().partition(unseen);
        out.extend(finding(log, level, &unseen, compared.len(), true));
        // a quantity read once a mounting is no weakness beside others that are read twice
        if level <= Level::Visit || merged.len() == compared.len() {
            out.extend(finding(log, level, &merged, compared.len(), false));
        }
    }
    out
}

/// A log in which no set holds a second antenna.
fn alone(log: &Log) -> Option<Finding> {
    let one = log.sets.iter().all(|s| s.set.antennas.len() < 2) && log.ordinal.iter().all(|s| s.antennas.len() < 2);
    let first = log.sets.first().filter(|_| one)?;
    let what = format!("one antenna alone: of no quantity, band and meter is a second one read ({})", first.label());
    let why = "there is nothing to compare it with";
    let action = "the least that mends it: another antenna in the same sessions, read by the same meter";
    let place = Place { file: log.files.first().map_or("readings".into(), Clone::clone), line: None, column: None };
    Some(Finding::new(Severity::Warning, place, what, why, action))
}

/// Where nothing repeats a visit, visit and session lack for one reason, told once, of the session.
fn told_above(set: &LogSet, states: &[LevelState; 4], level: Level) -> bool {
    let one_session = set.set.sessions.len() == 1;
    let no_session = states[Level::Session as usize] == LevelState::Unseen;
    level == Level::Visit && (one_session || no_session)
}

fn finding(log: &Log, level: Level, sets: &[&LogSet], of: usize, unseen: bool) -> Option<Finding> {
    let first = sets.first()?;
    let whose = match (sets.len(), of) {
        (1, 1) => first.label(),
        (n, of) if n == of => format!("all {of} sets"),
        (n, of) => format!("{n} of {of} sets, the first {}", first.label()),
    };
    let sessions = sets.iter().map(|s| s.set.sessions.len()).max().unwrap_or(1);
    let (what, why, action) = match level {
        Level::Session if sessions == 1 => (
            format!("one session: nothing shows what another day would change ({whose})"),
            "whether another day would agree is no part of any interval: such pairs are unlinked",
            "the least that mends it: all antennas again in a second session, and better a third",
        ),
        Level::Session if unseen => (
            format!("no antenna was measured in two sessions: nothing shows what another day would change ({whose})"),
            "antennas that never met cannot be compared",
            "the least that mends it: one session with all of them, or the reference antenna in every session",
        ),
        Level::Session => (
            format!("sessions cannot be told from visits: in each only one antenna comes back ({whose})"),
            "what whole days differ by is counted as what visits differ by, so comparisons within a day look worse than they are",
            "the least that mends it: two or more antennas together in two sessions",
        ),
        Level::Visit => (
            format!("what another visit would change cannot be told from what another mounting would ({whose})"),
            "mountings of one visit may be more alike than those of different days, and this log would not show it",
            "the least that mends it: in two sessions, take each antenna off once and put it back",
        ),
        Level::Mounting if unseen => (
            format!("no antenna was taken off and put back: nothing shows what re-mounting changes ({whose})"),
            "repeats on one mounting show how the display jitters, not how well an antenna's result repeats",
            "the least that mends it: in one session, take each antenna off once and put it back",
        ),
        Level::Mounting => (
            format!(
                "each mounting was read once, so what re-mounting changes and what readings scatter by are one ({whose})"
            ),
            "no verdict suffers; but whether more readings or more mountings would help cannot be told",
            "if you want to know: read some mountings twice",
        ),
        Level::Reading if unseen => (
            format!("no reading was repeated ({whose})"),
            "without any repeat there is no scatter to hold a difference against",
            "the least that mends it: read each mounting twice",
        ),
        Level::Reading => (
            format!("what readings scatter by cannot be told from what mountings do ({whose})"),
            "the two are counted as one, which is right as long as every mounting is read as often",
            "if you want to know: read some mountings twice",
        ),
    };
    let scope = [Scope::Session, Scope::Visit, Scope::Mounting, Scope::Reading][level as usize];
    let declared =
        |s: &&&LogSet| log.config().sources.iter().any(|d| d.shared_by == scope && d.quantity == s.set.quantity.name);
    let bare = sets.iter().filter(|s| !declared(s)).count();
    let severity = if unseen && bare > 0 { Severity::Warning } else { Severity::Note };
    let place = log.files.first().map_or("readings".into(), Clone::clone);
    let place = Place { file: place, line: None, column: None };
    let stakes = if unseen || level == Level::Session { sets.iter().map(|s| s.stake(&[])).collect() } else { vec![] };
    Some(Finding::new(severity, place, what, why, action).endangering(stakes))
}

#[cfg(test)]
mod tests {
    use super::super::tests::findings;
    use super::*;

    /// A balanced season of two antennas.
    fn season(sessions: usize, mountings: usize, readings: usize) -> Vec<Finding> {
        let mut text = String::from("session,antenna,band,meter,quantity,value,mounting\n");
        for session in 0..sessions {
            for antenna in ["a", "b"] {
                for mounting in 1..=mountings {
                    for reading in 0..readings {
                        let x = 0.1 * ((session * 7 + mounting * 3 + reading * 5) % 6) as f64;
                        text += &format!("d{session},{antenna},2 m,field,field_strength,{x:.1},{mounting}\n");
                    }
                }
            }
        }
        findings("levels not repeated", "", &text)
    }

    #[test]
    fn a_season_with_every_level_repeated_has_nothing_to_mend() {
        assert!(season(3, 2, 2).is_empty(), "{:#?}", season(3, 2, 2));
    }

    #[test]
    fn one_antenna_alone_is_nothing_to_compare() {
        let text = "session,antenna,band,meter,quantity,value\nd1,a,2 m,m,swr,1.2\nd2,a,2 m,m,swr,1.3\n";
        let found = findings("levels not repeated", "", text);
        assert_eq!(found.len(), 1, "{found:#?}");
        assert!(found[0].what.starts_with("one antenna alone") && found[0].what.contains("SWR, 2 m, m"), "{found:#?}");
    }

    #[test]
    fn one_session_is_told_once_and_endangers_every_pair() {
        let found = season(1, 2, 2);
        assert_eq!(found.len(), 1, "{found:#?}");
        assert!(found[0].what.starts_with("one session"));
        assert_eq!((found[0].severity, found[0].endangers.len()), (Severity::Warning, 1));
    }

    #[test]
    fn repeats_of_one_mounting_are_no_remounting() {
        let found = season(1, 1, 4);
        assert!(found.iter().any(|f| f.what.contains("taken off and put back")), "{found:#?}");
    }

    #[test]
    fn single_readings_of_a_remounted_antenna_are_only_a_note() {
        let found = season(3, 2, 1);
        assert!(!found.is_empty() && found.iter().all(|f| f.severity == Severity::Note), "{found:#?}");
    }
}
