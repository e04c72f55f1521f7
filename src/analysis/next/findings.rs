//! What the audit found: each mend by the verdicts it takes out of doubt.

use std::collections::BTreeMap;

use super::{Kind, Questions, Step};
use crate::season::finding::{Finding, Group, Place, Severity};

impl Questions<'_> {
    /// Takes up findings, each with the number of verdicts it puts in doubt. Those of one rule with one remedy
    /// make one step.
    pub fn findings(&mut self, found: &[(&Finding, usize)]) {
        let mut by_rule: BTreeMap<(&str, &str), Vec<(&Finding, usize)>> = BTreeMap::new();
        for &(finding, verdicts) in found.iter().filter(|(f, n)| f.severity != Severity::Note && *n > 0) {
            by_rule.entry((finding.rule, finding.action.as_str())).or_default().push((finding, verdicts));
        }
        for all in by_rule.values() {
            let (finding, most) = all.iter().copied().fold(all[0], |most, x| if x.1 > most.1 { x } else { most });
            // a weak design takes another session to mend; a slip in the log takes a look at each place
            let weak = finding.group == Group::WeakDesign;
            let minutes = if weak {
                self.habit.minutes(1, 2, self.reference.is_some(), 1, &self.effort)
            } else {
                self.effort.check_minutes * all.len() as f64
            };
            let others = match all.len() {
                1 => String::new(),
                n => format!(" (and {} more like it)", n - 1),
            };
            // the first clause says what it is; the audit tells the rest
            let what = finding.what.split([';', ':', '(']).next().unwrap_or(&finding.what).trim_end();
            let place = Place { column: None, ..finding.place.clone() };
            self.steps.push(Step {
                kind: Kind::Mend,
                what: format!("{place}{others}: {what}"),
                because: format!(
                    "{} {most} {} on it.",
                    sentence(finding.action.trim_start_matches("kept; ")),
                    if most == 1 { "verdict hangs" } else { "verdicts hang" }
                ),
                settles: most as f64,
                minutes,
                sessions: usize::from(weak),
                antennas: vec![],
            });
        }
    }
}

fn sentence(text: &str) -> String {
    format!("{}.", super::capital(text).trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::super::session::Habit;
    use super::*;
    use crate::season::config::Config;

    #[test]
    fn of_two_mends_of_equal_effort_the_one_more_verdicts_hang_on_comes_first() {
        let config = Config::default();
        let mut questions = Questions::new(&config, Habit { mountings: 2, readings: 2 });
        let place = |line| Place { file: "log.csv".into(), line: Some(line), column: None };
        let finding = |line, action: &str| {
            Finding::new(Severity::Warning, place(line), "digits swapped", "", action).by("typing slip")
        };
        let (few, many) = (finding(3, "look at the sheet"), finding(9, "look at the photograph"));
        let note = Finding { severity: Severity::Note, ..finding(1, "nothing") };
        questions.findings(&[(&few, 4), (&many, 30), (&note, 99)]);
        let steps = questions.steps();
        assert_eq!(steps.len(), 2);
        assert!(steps[0].what.contains("log.csv:9"), "{steps:?}");
        assert!(steps[0].because.contains("30 verdicts"));
    }
}
