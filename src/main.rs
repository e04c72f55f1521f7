//! The command: parse, run, print, and turn an error into words and an exit status.

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use clap::Parser;
use daylight::cli::{Cli, run, usage};
use daylight::report::text;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => match usage::words(&error) {
            Some(words) => return fail(&words),
            // help or the version, in colour only where there is a terminal that takes it
            None => error.exit(),
        },
    };
    if std::io::stdout().is_terminal()
        && let Some((width, _)) = terminal_size::terminal_size()
    {
        text::fit(width.0.into());
    }
    match run(&cli) {
        Ok(outcome) => match std::io::stdout().write_all(outcome.text.as_bytes()) {
            Ok(()) => ExitCode::from(outcome.status),
            // whoever was reading has seen enough
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::from(outcome.status),
            Err(error) => fail(&format!("the answer could not be printed: {error}")),
        },
        Err(message) => fail(&message),
    }
}

fn fail(message: &str) -> ExitCode {
    // nothing is left to do if even this cannot be written
    let _ = writeln!(std::io::stderr(), "{message}");
    ExitCode::from(2)
}
