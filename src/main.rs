//! The command: parse, run, print, and turn an error into words and an exit status.

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;
use daylight::cli::{Cli, run};

fn main() -> ExitCode {
    let cli = Cli::parse();
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
