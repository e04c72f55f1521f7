//! A command that can't be used, said as every other error is: what is wrong, and what to do after `hint:`.

use std::error::Error as _;

use clap::error::{ContextKind, ContextValue, ErrorKind};

/// The words for it; `None` where help or the version was asked for, which is no error.
pub fn words(error: &clap::Error) -> Option<String> {
    let told = |kind: ContextKind| match error.get(kind) {
        Some(ContextValue::String(text)) => Some(text.clone()),
        Some(ContextValue::Strings(texts)) => Some(texts.join("`, `")),
        _ => None,
    };
    let argument = told(ContextKind::InvalidArg).unwrap_or_default();
    let value = told(ContextKind::InvalidValue).unwrap_or_default();
    let help = "`daylight --help` lists the verbs, `daylight VERB --help` what each takes".to_string();
    let meant = |kind: ContextKind| told(kind).map(|name| format!("did you mean `{name}`?"));
    let (what, hint) = match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            return None;
        }
        ErrorKind::UnknownArgument if !argument.starts_with('-') => {
            (format!("`{argument}` is one word too many"), None)
        }
        ErrorKind::UnknownArgument if is_digit(argument.trim_start_matches('-')) => {
            let hint = "a number below zero goes with a point, as in -31.5; no option takes one";
            (format!("`{argument}` is no option and no number"), Some(hint.into()))
        }
        ErrorKind::UnknownArgument => (format!("unknown option `{argument}`"), meant(ContextKind::SuggestedArg)),
        ErrorKind::InvalidSubcommand => {
            let name = told(ContextKind::InvalidSubcommand).unwrap_or_default();
            (format!("there is no verb `{name}`"), meant(ContextKind::SuggestedSubcommand))
        }
        ErrorKind::MissingSubcommand => ("a verb is missing".to_string(), None),
        ErrorKind::MissingRequiredArgument => (format!("`{}` is missing", argument.trim_end_matches("...")), None),
        ErrorKind::InvalidValue if value.is_empty() => (format!("`{argument}` has no value"), None),
        ErrorKind::InvalidValue => {
            let known = told(ContextKind::ValidValue).map(|known| format!("wanted one of `{known}`"));
            (format!("`{argument}` is `{value}`"), known)
        }
        ErrorKind::ValueValidation => {
            let why = error.source().map(ToString::to_string);
            // the library's own word for a whole number that is none
            let why = why.map(|w| if w.starts_with("invalid digit") { "wanted a whole number".into() } else { w });
            (format!("`{argument}` is `{value}`"), why)
        }
        ErrorKind::ArgumentConflict => (format!("`{argument}` is given twice, or with what excludes it"), None),
        _ => {
            let text = error.to_string();
            let first = text.lines().next().unwrap_or_default();
            (first.trim_start_matches("error: ").to_string(), None)
        }
    };
    Some(format!("daylight: {what}\nhint: {}", hint.unwrap_or(help)))
}

fn is_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::Cli;

    fn said(command: &str) -> String {
        let error = Cli::try_parse_from(command.split(' ')).unwrap_err();
        super::words(&error).unwrap()
    }

    #[test]
    fn a_command_that_cannot_be_used_is_told_like_every_other_error() {
        assert_eq!(said("daylight antena s"), "daylight: there is no verb `antena`\nhint: did you mean `antennas`?");
        assert_eq!(
            said("daylight antennas s --bnd x"),
            "daylight: unknown option `--bnd`\nhint: did you mean `--band`?"
        );
        assert_eq!(
            said("daylight antennas"),
            "daylight: `<SEASON>` is missing\nhint: `daylight --help` lists the verbs, `daylight VERB --help` what each takes"
        );
        assert!(said("daylight claims s t").starts_with("daylight: `t` is one word too many\nhint: "));
        assert!(said("daylight add s swr -31,5").contains("hint: a number below zero goes with a point"));
        assert!(said("daylight antennas s --trials 1e3").ends_with("is `1e3`\nhint: wanted a whole number"));
        let confidence = said("daylight antennas s --confidence 2");
        assert_eq!(
            confidence,
            "daylight: `--confidence <P>` is `2`\nhint: wanted a number above 0.5 and at most 0.999, such as 0.95"
        );
        let shell = said("daylight shell csh");
        assert!(shell.starts_with("daylight: `<NAME>` is `csh`\nhint: wanted one of `bash`"), "{shell}");
        let help = Cli::try_parse_from(["daylight", "--help"]).unwrap_err();
        assert_eq!(super::words(&help), None);
    }
}
