//! A finding: one line of the audit, made wherever something is seen, and never lost on the way.

/// How bad a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Part of the log cannot be used as it stands.
    Error,
    /// Something is likely wrong or weakens a verdict.
    Warning,
    /// Worth knowing.
    Note,
}

/// Where a finding points: a file, and a line and column in it where there is one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
pub struct Place {
    /// The file, as the user would name it (relative to the season's folder).
    pub file: String,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column's name in a table of readings, or column number in a text file.
    pub column: Option<String>,
}

/// What kind of trouble a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// It cannot be so, whatever the scatter: a slip, a wrong unit, a cell that says nothing.
    Impossible,
    /// It can be so, but something else is likelier.
    Suspect,
    /// Nothing is wrong with it, but it cannot answer what is asked of it.
    WeakDesign,
}

/// Verdicts that a finding puts in doubt: those of every set that agrees with the names given.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
pub struct Stake {
    /// Quantity of the sets; any, if none is given.
    pub quantity: Option<String>,
    /// Band of the sets; any, if none is given.
    pub band: Option<String>,
    /// Meter of the sets; any, if none is given.
    pub meter: Option<String>,
    /// The antennas whose pairs are meant; every pair, if none is given.
    pub antennas: Vec<String>,
    /// Whether only pairs of two such antennas are meant, rather than all pairs with one of them.
    pub between: bool,
}

/// One line of the audit.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Finding {
    /// The rule that saw it.
    pub rule: &'static str,
    /// What kind of trouble it is.
    pub group: Group,
    /// How bad it is.
    pub severity: Severity,
    /// Where it is; of several places, the first.
    pub place: Place,
    /// The other places it concerns.
    pub others: Vec<Place>,
    /// The verdicts it puts in doubt.
    pub endangers: Vec<Stake>,
    /// What was seen.
    pub what: String,
    /// Why it matters for the verdicts.
    pub why: String,
    /// What was done about it, or what to do.
    pub action: String,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column {column}")?;
        }
        Ok(())
    }
}

impl Finding {
    /// A finding at one place, of a rule still to be named, that endangers no verdict in particular.
    pub fn new(
        severity: Severity,
        place: Place,
        what: impl Into<String>,
        why: impl Into<String>,
        action: impl Into<String>,
    ) -> Finding {
        Finding {
            rule: "",
            group: if severity == Severity::Error { Group::Impossible } else { Group::Suspect },
            severity,
            place,
            others: vec![],
            endangers: vec![],
            what: what.into(),
            why: why.into(),
            action: action.into(),
        }
    }

    /// The same, seen by a rule of that name.
    #[must_use]
    pub fn by(self, rule: &'static str) -> Finding {
        Finding { rule, ..self }
    }

    /// The same, with the verdicts it puts in doubt.
    #[must_use]
    pub fn endangering(self, endangers: Vec<Stake>) -> Finding {
        Finding { endangers, ..self }
    }
}
