//! One file a verb: arguments → library call → what to print.

pub mod add;
pub mod antennas;
pub mod audit;
pub mod budget;
mod choice;
pub mod claims;
pub mod export;
pub mod meters;
pub mod plan;
mod progress;
mod prompt;
pub mod report;
pub mod shell;
pub mod start;
pub mod terminal;
pub mod usage;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::analysis::antennas::set_analysis::Options;
use crate::season::Season;

/// Says which differences between bench-tested antennas are real, which are inside the noise, and
/// which a log cannot tell.
#[derive(Debug, Parser)]
#[command(name = "daylight", version, about, max_term_width = 80)]
pub struct Cli {
    /// What to ask.
    #[command(subcommand)]
    pub verb: Verb,
}

/// The questions.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Make a new season, commented, ready to fill in
    #[command(after_help = "Example:\n  daylight start summer")]
    Start {
        /// Its folder, made if need be
        dir: PathBuf,
        /// A log there is already, a sheet as you keep it: copied in, and its layout suggested from its header
        #[arg(long, value_name = "FILE")]
        from: Option<PathBuf>,
    },
    /// Write readings into the log: from the command line, or line by line
    #[command(
        after_help = "Example:\n  daylight add datasets/bench-day --session 2026-07-18 robin inline swr 1.43 1.44"
    )]
    Add(AddArgs),
    /// Plan the next session: how many would settle what is open, what to repeat, and the running order
    #[command(
        after_help = "Example:\n  daylight plan datasets/lowland-search --antenna heron --antenna snipe --sheet paper"
    )]
    Plan(PlanArgs),
    /// Rank the antennas and say which pairs are apart
    #[command(after_help = "Example:\n  daylight antennas datasets/lowland-search --quantity swr --band \"2 m\"")]
    Antennas(AntennasArgs),
    /// Say what is wrong or weak in the log, before any verdict rests on it
    #[command(after_help = "Example:\n  daylight audit datasets/record-sheet")]
    Audit(AuditArgs),
    /// Say how far each meter reads from each other and from check loads, and since when
    #[command(after_help = "Example:\n  daylight meters datasets/lowland-search --quantity swr --plots plots")]
    Meters(MetersArgs),
    /// Hold every maker's claim against what was measured: met, missed, or not shown
    #[command(after_help = "Example:\n  daylight claims datasets/lowland-search --risk 0.05")]
    Claims(ClaimsArgs),
    /// Write all of it into one page to show to others: verdicts, plots, tables, and how to make it again
    #[command(
        after_help = "Example:\n  daylight report datasets/lowland-search --html season.html --plots plots --markdown season.md"
    )]
    Report(ReportArgs),
    /// Write readings, findings and results as plain tables, CSV or Parquet, to carry on elsewhere
    #[command(after_help = "Example:\n  daylight export datasets/lowland-search tables --form parquet")]
    Export(ExportArgs),
    /// Work out the uncertainty of any quantity, from a file of inputs and an expression
    #[command(after_help = "Example:\n  daylight budget datasets/budgets/power-at-antenna.toml")]
    Budget(BudgetArgs),
    /// Print what a shell needs to complete this command
    #[command(after_help = "Example:\n  daylight shell bash > ~/.local/share/bash-completion/completions/daylight")]
    Shell {
        /// The shell
        #[arg(value_name = "NAME")]
        name: clap_complete::Shell,
    },
    /// Print the manual page, of the program or of one verb
    #[command(after_help = "Example:\n  daylight manual antennas > daylight-antennas.1")]
    Manual {
        /// A verb; the whole program if not given
        verb: Option<String>,
    },
}

/// What a table is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum TableForm {
    /// Comma-separated text in UTF-8
    Csv,
    /// Parquet
    Parquet,
}

/// Arguments of `export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// A season's folder, or one file of readings by itself
    pub season: PathBuf,
    /// The folder to write into; not the season's own
    pub dir: PathBuf,
    /// What to write
    #[arg(long, value_enum, default_value_t = TableForm::Csv)]
    pub form: TableForm,
    /// How the replays behind the results are made
    #[command(flatten)]
    pub replays: ReplayArgs,
}

/// Arguments of `budget`.
#[derive(Debug, Args)]
pub struct BudgetArgs {
    /// A budget file: TOML with `[[input]]` and `[[output]]` entries
    pub file: PathBuf,
    /// Seed of the draws: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Number of Monte Carlo trials, instead of as many as the figures need
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1000..))]
    pub trials: Option<u32>,
    /// Threads to use; all cores if not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Show no progress
    #[arg(long)]
    pub quiet: bool,
    /// Also draw every output's histogram and contributions, as SVG and PNG, into this folder
    #[arg(long, value_name = "DIR")]
    pub plots: Option<PathBuf>,
    /// Print JSON instead of words and tables
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `add`.
#[derive(Debug, Args)]
pub struct AddArgs {
    /// A season's folder, or one CSV file of readings by itself
    pub season: PathBuf,
    /// What is read and what was read, such as: plover 2m inline swr 1.52 1.53; nothing, to be asked line by line
    #[arg(value_name = "WORD", allow_negative_numbers = true)]
    pub words: Vec<String>,
    /// The session; today's date if not given, and then each reading gets its time
    #[arg(long, value_name = "NAME")]
    pub session: Option<String>,
    /// The sheet to write into, a file in the season's folder; made if need be
    #[arg(long, value_name = "FILE")]
    pub into: Option<String>,
    /// Date, or date and time, of the readings
    #[arg(long, value_name = "WHEN")]
    pub when: Option<String>,
    /// A note to every reading given here
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Answer in JSON, an object a line
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `antennas`.
#[derive(Debug, Args)]
pub struct AntennasArgs {
    /// A season's folder, several of them taken as one, or one file of readings by itself
    #[arg(required = true)]
    pub season: Vec<PathBuf>,
    /// Only this quantity, such as swr or field_strength
    #[arg(long, value_name = "NAME")]
    pub quantity: Option<String>,
    /// Only this band
    #[arg(long, value_name = "NAME")]
    pub band: Option<String>,
    /// Only this meter
    #[arg(long, value_name = "NAME")]
    pub meter: Option<String>,
    /// How the replays are made
    #[command(flatten)]
    pub replays: ReplayArgs,
    /// Print JSON instead of words and tables
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `plan`.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// A season's folder, with readings or without; or one file of readings by itself
    pub season: PathBuf,
    /// Plan for this quantity, such as swr or field_strength
    #[arg(long, value_name = "NAME")]
    pub quantity: Option<String>,
    /// Plan for this band
    #[arg(long, value_name = "NAME")]
    pub band: Option<String>,
    /// Plan for this meter
    #[arg(long, value_name = "NAME")]
    pub meter: Option<String>,
    /// An antenna to compare; name two or more, each with its own --antenna; the top three if not given
    #[arg(long = "antenna", value_name = "NAME")]
    pub antennas: Vec<String>,
    /// An antenna never measured, to be compared with the reference antenna
    #[arg(long, value_name = "NAME")]
    pub new: Option<String>,
    /// Minutes to be had, all sessions together
    #[arg(long, value_name = "N", value_parser = minutes)]
    pub minutes: Option<f64>,
    /// What to call the next session, such as its date
    #[arg(long, value_name = "NAME")]
    pub session: Option<String>,
    /// Also write the next session's record sheet, as CSV and as a page to print, into this folder
    #[arg(long, value_name = "DIR")]
    pub sheet: Option<PathBuf>,
    /// How the simulations are made: `--trials` continuations a plan
    #[command(flatten)]
    pub replays: ReplayArgs,
    /// Print JSON instead of words and tables
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `audit`.
#[derive(Debug, Args)]
pub struct AuditArgs {
    /// A season's folder, several of them taken as one, or one file of readings by itself
    #[arg(required = true)]
    pub season: Vec<PathBuf>,
    /// Print JSON instead of words
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `meters`.
#[derive(Debug, Args)]
pub struct MetersArgs {
    /// A season's folder, several of them taken as one, or one file of readings by itself
    #[arg(required = true)]
    pub season: Vec<PathBuf>,
    /// Only this quantity, such as swr or field_strength
    #[arg(long, value_name = "NAME")]
    pub quantity: Option<String>,
    /// Only this band
    #[arg(long, value_name = "NAME")]
    pub band: Option<String>,
    /// Only pairs that hold this meter
    #[arg(long, value_name = "NAME")]
    pub meter: Option<String>,
    /// How the shuffles behind the p-values are made
    #[command(flatten)]
    pub replays: ReplayArgs,
    /// Print JSON instead of words and tables
    #[arg(long)]
    pub json: bool,
    /// Draw every pair of meters into this folder, as SVG and PNG
    #[arg(long, value_name = "DIR")]
    pub plots: Option<PathBuf>,
}

/// Arguments of `claims`.
#[derive(Debug, Args)]
pub struct ClaimsArgs {
    /// A season's folder
    pub season: PathBuf,
    /// The chance allowed of a wrong verdict on a claim, from 0.0005 to 0.4; if not given, half of what the confidence leaves: 0.025 at 0.95
    #[arg(long, value_name = "P", value_parser = risk)]
    pub risk: Option<f64>,
    /// How the draws are made
    #[command(flatten)]
    pub replays: ReplayArgs,
    /// Print JSON instead of words and tables
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// A season's folder, or one file of readings by itself
    pub season: PathBuf,
    /// The page to write: one HTML file, complete in itself
    #[arg(long, value_name = "FILE", default_value = "daylight-report.html")]
    pub html: PathBuf,
    /// Also write every plot into this folder, as SVG and PNG
    #[arg(long, value_name = "DIR")]
    pub plots: Option<PathBuf>,
    /// Also write a summary in Markdown
    #[arg(long, value_name = "FILE")]
    pub markdown: Option<PathBuf>,
    /// Open the page when it is written, where there is a desktop
    #[arg(long)]
    pub open: bool,
    /// The chance allowed of a wrong verdict on a claim, from 0.0005 to 0.4; if not given, half of what the confidence leaves
    #[arg(long, value_name = "P", value_parser = risk)]
    pub risk: Option<f64>,
    /// How the replays are made
    #[command(flatten)]
    pub replays: ReplayArgs,
}

/// How replays are made.
#[derive(Debug, Args)]
pub struct ReplayArgs {
    /// Seed of the replays: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Number of replays a set, instead of as many as the figures need
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    pub trials: Option<u32>,
    /// Confidence of every interval and family, above 0.5 and at most 0.999; the season's if not given
    #[arg(long, value_name = "P", value_parser = confidence)]
    pub confidence: Option<f64>,
    /// Threads to use; all cores if not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Show no progress
    #[arg(long)]
    pub quiet: bool,
}

impl ReplayArgs {
    /// What these say of a season's analysis.
    fn options(&self, season: &Season) -> Options {
        Options {
            confidence: self.confidence.unwrap_or(season.config.confidence),
            seed: self.seed,
            trials: self.trials.map(|t| t as usize),
        }
    }
}

fn confidence(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(p) if p > 0.5 && p <= 0.999 => Ok(p),
        _ => Err("wanted a number above 0.5 and at most 0.999, such as 0.95".into()),
    }
}

fn minutes(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(m) if m > 0.0 && m <= 100_000.0 => Ok(m),
        _ => Err("wanted a number of minutes above 0, such as 180".into()),
    }
}

fn risk(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(p) if (0.0005..=0.4).contains(&p) => Ok(p),
        _ => Err("wanted a number from 0.0005 to 0.4, such as 0.05".into()),
    }
}

/// What a verb has to say, and with which exit status.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// For standard output.
    pub text: String,
    /// 0 done; 1 done, and something found is an error.
    pub status: u8,
}

/// The seasons, as the user named them.
fn shown(seasons: &[PathBuf]) -> String {
    seasons.iter().map(|s| s.display().to_string()).collect::<Vec<_>>().join(", ")
}

/// Does the work on so many threads; on all cores if not told.
fn on_threads<T: Send>(threads: Option<u16>, work: impl FnOnce() -> T + Send) -> Result<T, String> {
    let Some(threads) = threads else { return Ok(work()) };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build();
    Ok(pool.map_err(|e| format!("no {threads} threads to be had: {e}"))?.install(work))
}

/// Runs the verb.
///
/// # Errors
/// Input or command that can't be used, in words for the person at the bench: exit status 2.
pub fn run(cli: &Cli) -> Result<Outcome, String> {
    let answered = answer(cli).map_err(terminal::harmless)?;
    // what is for a shell or a formatter is the program's own, and needs its tabs
    if matches!(cli.verb, Verb::Shell { .. } | Verb::Manual { .. }) {
        return Ok(answered);
    }
    Ok(Outcome { text: terminal::harmless(answered.text), ..answered })
}

fn answer(cli: &Cli) -> Result<Outcome, String> {
    match &cli.verb {
        Verb::Add(args) => add::run(args),
        Verb::Start { dir, from } => {
            let made = from.as_ref().map_or_else(|| start::run(dir), |from| start::run_from(dir, from));
            made.map(|text| Outcome { text, status: 0 }).map_err(|e| e.to_string())
        }
        Verb::Plan(args) => plan::run(args),
        Verb::Antennas(args) => antennas::run(args),
        Verb::Audit(args) => audit::run(args),
        Verb::Meters(args) => meters::run(args),
        Verb::Claims(args) => claims::run(args),
        Verb::Report(args) => report::run(args),
        Verb::Export(args) => export::run(args),
        Verb::Budget(args) => budget::run(args),
        Verb::Shell { name } => Ok(Outcome { text: shell::completions(*name), status: 0 }),
        Verb::Manual { verb } => shell::manual(verb.as_deref()).map(|text| Outcome { text, status: 0 }),
    }
}
