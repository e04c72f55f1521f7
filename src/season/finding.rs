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

/// One line of the audit.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Finding {
    /// How bad it is.
    pub severity: Severity,
    /// Where it is.
    pub place: Place,
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
