//! `daylight shell NAME` and `daylight manual`: completions and manual pages, made from the same words as `--help`.

use clap::CommandFactory;
use clap_complete::Shell;

use super::Cli;

/// What a shell needs to complete the command, to be put where it looks for that.
pub fn completions(shell: Shell) -> String {
    let mut out = vec![];
    clap_complete::generate(shell, &mut Cli::command(), "daylight", &mut out);
    String::from_utf8_lossy(&out).into_owned()
}

/// The manual page of the program, or of one verb.
///
/// # Errors
/// A verb that there is not, in words.
pub fn manual(verb: Option<&str>) -> Result<String, String> {
    let mut command = Cli::command();
    command.build();
    let page = match verb {
        None => command,
        Some(name) => command
            .find_subcommand(name)
            .cloned()
            .ok_or_else(|| format!("daylight: there is no verb `{name}`\nhint: `daylight --help` lists the verbs"))?,
    };
    let mut out = vec![];
    clap_mangen::Man::new(page).render(&mut out).map_err(|e| format!("the manual page could not be made: {e}"))?;
    Ok(String::from_utf8_lossy(&out).into_owned())
}

#[cfg(test)]
mod tests {
    use clap::{Parser, ValueEnum};

    use super::*;

    #[test]
    fn every_shell_gets_completions_for_every_verb() {
        for shell in Shell::value_variants() {
            let text = completions(*shell);
            for verb in Cli::command().get_subcommands() {
                assert!(text.contains(verb.get_name()), "{shell}: {}", verb.get_name());
            }
        }
    }

    #[test]
    fn every_verb_has_a_manual_page_and_an_example_that_can_be_typed() {
        assert!(manual(None).unwrap().contains("antennas"));
        assert!(manual(Some("nothing")).unwrap_err().contains("no verb `nothing`"));
        for verb in Cli::command().get_subcommands().filter(|v| v.get_name() != "help") {
            let page = manual(Some(verb.get_name())).unwrap();
            assert!(page.contains(".SH SYNOPSIS"), "{page}");
            let after = verb.get_after_help().map(ToString::to_string).unwrap_or_default();
            let example = after.lines().find_map(|l| l.trim().strip_prefix("daylight ")).unwrap_or_else(|| {
                panic!("{} has no example", verb.get_name());
            });
            let words = example.split(" > ").next().unwrap().split_whitespace().map(|w| w.trim_matches('"'));
            // names of two words stand in quotes
            let joined = words.collect::<Vec<_>>().join(" ").replace("2 m", "2m");
            let parsed = Cli::try_parse_from(std::iter::once("daylight").chain(joined.split(' ')));
            assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
        }
    }
}
