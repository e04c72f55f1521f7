//! What to measure next: the one piece of logic that every verb asks, ranked by how much a step would settle for
//! the minutes it takes.
//!
//! Each analysis hands over what it left open: [`Questions::pairs`], [`Questions::claims`],
//! [`Questions::meters`], [`Questions::findings`]. From the open questions that sessions can settle comes the session
//! that would settle most ([`session`]); beside it stand the checks and mends that need no session.
//! [`Questions::steps`] puts them in order.

mod claims;
mod findings;
mod meters;
mod pairs;
pub mod question;
pub mod session;

use std::collections::BTreeSet;

use crate::season::config::{Config, Effort};
use question::{Knowledge, Question};
use session::{Bench, Habit, Sessions};

/// At most so many steps are told.
const MOST_STEPS: usize = 5;

/// What kind of step it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Antennas measured together in more sessions.
    Sessions,
    /// The same for one question alone: the one nearest to an answer.
    Nearest,
    /// Something read or looked up at the bench, without a session: a check load, a line's loss.
    Check,
    /// Something put right in the log or in season.toml.
    Mend,
}

/// One thing to do next.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Step {
    /// What kind it is.
    pub kind: Kind,
    /// What to do, as a sentence without its full stop.
    pub what: String,
    /// Why: one or more sentences.
    pub because: String,
    /// How many open questions, or verdicts in doubt, it is expected to settle.
    pub settles: f64,
    /// Minutes it takes, all sessions together.
    pub minutes: f64,
    /// Sessions it takes; 0 for a check or a mend.
    pub sessions: usize,
    /// Antennas it needs.
    pub antennas: Vec<String>,
}

impl Step {
    /// The step in words.
    pub fn words(&self) -> String {
        format!("{}. {}", self.what, self.because)
    }

    /// What it settles a minute.
    fn rate(&self) -> f64 {
        self.settles / self.minutes.max(1.0)
    }
}

/// Something worth saying of an antenna that a step takes up.
#[derive(Debug, Clone, PartialEq)]
struct Remark {
    antennas: BTreeSet<String>,
    words: String,
}

/// What a season left open.
#[derive(Debug, Clone)]
pub struct Questions<'a> {
    reference: Option<&'a str>,
    effort: Effort,
    habit: Habit,
    open: Vec<Question>,
    remarks: Vec<Remark>,
    steps: Vec<Step>,
}

impl<'a> Questions<'a> {
    /// Nothing asked yet.
    pub fn new(config: &'a Config, habit: Habit) -> Questions<'a> {
        let reference = config.reference.as_deref();
        Questions { reference, effort: config.effort, habit, open: vec![], remarks: vec![], steps: vec![] }
    }

    /// Open questions that sessions may settle.
    pub fn open(&self) -> &[Question] {
        &self.open
    }

    /// Steps, what settles most for its minutes first; empty where nothing is open that measuring could settle.
    pub fn steps(self) -> Vec<Step> {
        let bench = Bench { questions: &self.open, reference: self.reference, effort: self.effort, habit: self.habit };
        let best = bench.best();
        let mut steps = self.steps.clone();
        let one = self.open.len() == 1;
        let surest = bench.surest().filter(|(_, s)| {
            // where the best session is hardly more than that question's own, it has been said
            one || best.as_ref().is_none_or(|b| b.sessions != s.sessions || b.antennas.len() > s.antennas.len() + 1)
        });
        if !one || surest.is_none() {
            steps.extend(best.as_ref().map(|s| self.together(s)));
        }
        steps.extend(surest.map(|(i, s)| self.nearest(i, &s)));
        steps.sort_by(|a, b| b.rate().total_cmp(&a.rate()));
        steps.truncate(MOST_STEPS);
        steps
    }

    fn together(&self, s: &Sessions) -> Step {
        let names = self.in_order(&s.antennas);
        let who = match names.len() {
            1 => names[0].to_string(),
            2..=9 => format!("{} together", list(&names)),
            n => format!("{n} antennas together ({} and {} more)", names[..6].join(", "), n - 6),
        };
        let how_many = match s.sessions {
            1 => "one more session".to_string(),
            n => format!("{} more sessions", number(n)),
        };
        let first = s.first.map(|(i, _)| self.open[i].words.as_str()).unwrap_or_default();
        let asked = self.open.iter().filter(|q| q.antennas.iter().all(|a| s.antennas.contains(a)));
        let blind = asked.clone().all(|q| matches!(q.knowledge, Knowledge::Blind));
        let mut because = match (s.settles, self.open.len()) {
            _ if blind => format!(
                "Nothing in the log shows what another day changes; after that {} can be answered, how many nobody can say yet.",
                match asked.count() {
                    1 => "one open question".to_string(),
                    n => format!("{n} open questions"),
                }
            ),
            (x, 1) => format!("That settles {first} with a chance of about {:.0} %.", (x * 10.0).round() * 10.0),
            (x, n) if x < 0.75 => format!("That may settle one of {n} open questions, likeliest {first}."),
            (x, n) => format!("That would settle about {x:.0} of {n} open questions, likeliest {first}."),
        };
        let remark = self.remarks.iter().find(|r| r.antennas.iter().all(|a| s.antennas.contains(a)));
        if let Some(remark) = remark {
            because = format!("{because} {}.", remark.words);
        }
        Step {
            kind: Kind::Sessions,
            what: format!("Measure {who} in {how_many}, {}", duration(s.minutes)),
            because,
            settles: s.settles,
            minutes: s.minutes,
            sessions: s.sessions,
            antennas: names.iter().map(|n| (*n).to_string()).collect(),
        }
    }

    fn nearest(&self, i: usize, s: &Sessions) -> Step {
        let question = &self.open[i];
        let with = if question.antennas.len() > 1 { "both" } else { "it" };
        let sessions = match s.sessions {
            1 => "one more session".to_string(),
            n => format!("about {} more sessions", number(n)),
        };
        Step {
            kind: Kind::Nearest,
            what: format!("The question nearest to an answer is {}", question.words),
            because: format!("{} with {with} would settle it more likely than not.", capital(&sessions)),
            settles: s.settles,
            minutes: s.minutes,
            sessions: s.sessions,
            antennas: s.antennas.clone(),
        }
    }

    /// The reference antenna first, the others as they were taken up.
    fn in_order<'b>(&self, antennas: &'b [String]) -> Vec<&'b str> {
        let mut names: Vec<&str> = antennas.iter().map(String::as_str).collect();
        names.sort_by_key(|n| Some(*n) != self.reference);
        names
    }
}

/// "a", "a and b", "a, b and c".
pub fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_string(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

/// "about 40 minutes", "about 2 hours": no finer than anyone can tell beforehand.
pub fn duration(minutes: f64) -> String {
    match minutes {
        m if m < 8.0 => "a few minutes".into(),
        m if m < 80.0 => format!("about {:.0} minutes", (m / 10.0).round() * 10.0),
        m if m < 570.0 => {
            let halves = (m / 30.0).round();
            let whole = (halves / 2.0).floor();
            let half = if halves % 2.0 == 1.0 { "½" } else { "" };
            format!("about {whole:.0}{half} {}", if halves <= 2.0 { "hour" } else { "hours" })
        }
        m => format!("about {:.0} hours", m / 60.0),
    }
}

/// A small number in words.
fn number(n: usize) -> String {
    const WORDS: [&str; 9] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight"];
    WORDS.get(n).map_or_else(|| n.to_string(), |w| (*w).to_string())
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

#[cfg(test)]
mod tests {
    use super::question::{Gap, Knowledge};
    use super::*;

    #[test]
    fn durations_are_told_no_finer_than_anyone_knows() {
        let said = [3.0, 43.0, 61.0, 80.0, 95.0, 150.0, 1200.0].map(duration);
        let wanted = [
            "a few minutes",
            "about 40 minutes",
            "about 60 minutes",
            "about 1½ hours",
            "about 1½ hours",
            "about 2½ hours",
            "about 20 hours",
        ];
        assert_eq!(said, wanted);
    }

    #[test]
    fn a_check_of_ten_minutes_comes_before_a_session_that_settles_as_much() {
        let config = Config::default();
        let mut questions = Questions::new(&config, Habit { mountings: 2, readings: 2 });
        // so near that a single session settles it likelier than not: told by itself
        let gap = Gap {
            distance: 1.0,
            scatter: 0.9,
            lasting: 0.0,
            error: 0.1,
            visits: 2.0,
            across_days: 0.0,
            even_within: None,
        };
        questions.open.push(Question {
            words: "heron against plover (SWR)".into(),
            reading: ("2 m".into(), "analyzer".into()),
            antennas: vec!["heron".into(), "plover".into()],
            knowledge: Knowledge::Known(gap),
        });
        questions.steps.push(Step {
            kind: Kind::Check,
            what: "Read a check load".into(),
            because: "It tells which meter is off.".into(),
            settles: 1.0,
            minutes: 10.0,
            sessions: 0,
            antennas: vec![],
        });
        let steps = questions.steps();
        assert_eq!(steps.iter().map(|s| s.kind).collect::<Vec<_>>(), [Kind::Check, Kind::Nearest]);
        let words = "The question nearest to an answer is heron against plover (SWR). One more session with both would \
                     settle it more likely than not.";
        assert_eq!(steps[1].words(), words);
    }
}
