//! `daylight add SEASON`: readings into the log, from the command line or line by line.
//!
//! The only verb that asks a clock, for the session's name where none is given and for the time of its readings; with
//! `--session` it asks none.

use std::path::PathBuf;

use super::{AddArgs, Outcome, prompt};
use crate::analysis::add::Bench;
use crate::analysis::add::grammar::{Line, read_words};
use crate::analysis::add::result::Answer;
use crate::analysis::add::words::Word;
use crate::report::{add_json, add_text, text};
use crate::season::append::{AppendError, Appended, Entry, Sheet, Style, Target, new_style, place};
use crate::season::config::Config;
use crate::season::error::Kind;
use crate::season::{Season, parse};

/// A session's sheet, and what is known while it is filled.
pub struct Desk {
    season: PathBuf,
    into: Option<String>,
    when: Option<String>,
    /// Whether a clock may be asked.
    clock: bool,
    target: Target,
    /// What is known.
    pub bench: Bench,
    /// The season's title.
    pub title: String,
    /// Why earlier readings can't be looked at, where they can't.
    pub trouble: Option<String>,
}

/// What came of a line.
pub enum Reply {
    /// Something was written.
    Answer(Box<Answer>),
    /// Nothing was, and why.
    Refused(String),
    /// What the next reading is of has changed, or nothing.
    Noted,
    /// What was written is to be shown.
    Show,
    /// Help is wanted.
    Help,
    /// Done.
    Done,
}

/// Why nothing could be written.
enum Stopped {
    /// The sheet was changed under us.
    Changed(String),
    /// In words.
    Said(String),
}

impl From<AppendError> for Stopped {
    fn from(error: AppendError) -> Stopped {
        match error {
            AppendError::Changed(file) => Stopped::Changed(file),
            other => Stopped::Said(other.to_string()),
        }
    }
}

/// Writes what the command line says, or asks line by line where it says nothing.
///
/// # Errors
/// Input that can't be used, or a reading that is not written, in words.
pub fn run(args: &AddArgs) -> Result<Outcome, String> {
    let session = args.session.clone().unwrap_or_else(|| local("%Y-%m-%d"));
    let session = session.trim();
    if session.is_empty() || session.chars().any(char::is_control) {
        return Err("a session needs a name, such as its date\nhint: leave --session out for today's".into());
    }
    let mut desk = Desk::open(args, session)?;
    if args.words.is_empty() {
        return prompt::run(&mut desk, args.json).map(|status| Outcome { text: String::new(), status });
    }
    let words: Vec<Word> = args.words.iter().map(|w| Word { text: w.clone(), quoted: false }).collect();
    let line = read_words(&words, args.note.clone(), desk.bench.vocabulary()).map_err(|e| e.to_string())?;
    let text = match desk.line(&line) {
        Reply::Answer(answer) if args.json => add_json::answer(&desk.bench.session, 1, &answer),
        Reply::Answer(answer) => add_text::answer(&answer, true, text::WIDTH),
        Reply::Refused(why) => return Err(format!("{}: {why}", args.season.display())),
        Reply::Show => add_text::shown(&desk.bench, text::WIDTH, usize::MAX),
        Reply::Help => add_text::help(desk.bench.vocabulary(), text::WIDTH),
        Reply::Noted | Reply::Done => {
            return Err("no reading on the command line\nhint: give a number after the names, or no words at all for line by line".into());
        }
    };
    let trouble = desk.trouble.map_or(String::new(), |t| format!("  : {t}\n"));
    Ok(Outcome { text: if args.json { text } else { text + &trouble }, status: 0 })
}

/// The local time, written as told.
fn local(format: &str) -> String {
    let now = jiff::Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::system());
    now.strftime(format).to_string()
}

impl Desk {
    fn open(args: &AddArgs, session: &str) -> Result<Desk, String> {
        let (title, config, season, trouble) = look(&args.season)?;
        let (target, rows) = place(&args.season, session, args.into.as_deref()).map_err(|e| e.to_string())?;
        let bench = bench(season.as_ref(), &config, session, &target, rows)?;
        Ok(Desk {
            season: args.season.clone(),
            into: args.into.clone(),
            when: args.when.clone(),
            clock: args.session.is_none(),
            target,
            bench,
            title,
            trouble,
        })
    }

    /// The sheet's name, and whether it is still to be made.
    pub fn sheet(&self) -> (String, bool) {
        (file_name(&self.target), matches!(self.target, Target::New(_)))
    }

    /// The season, as the user names it.
    pub fn season(&self) -> &std::path::Path {
        &self.season
    }

    /// Does what a line says.
    pub fn line(&mut self, line: &Line) -> Reply {
        let done = match line {
            Line::Empty => return Reply::Noted,
            Line::Show => return Reply::Show,
            Line::Help => return Reply::Help,
            Line::Done => return Reply::Done,
            Line::Steps { .. } | Line::TakeBack { .. } => self.write(line),
        };
        let again = match done {
            Err(Stopped::Changed(_)) => self.reopen().and_then(|()| self.write(line)),
            done => done,
        };
        match again {
            Ok(Some(answer)) => Reply::Answer(Box::new(answer)),
            Ok(None) => Reply::Noted,
            Err(Stopped::Changed(file)) => {
                Reply::Refused(format!("{file} changes faster than it can be read: not written"))
            }
            Err(Stopped::Said(why)) => Reply::Refused(why),
        }
    }

    fn write(&mut self, line: &Line) -> Result<Option<Answer>, Stopped> {
        let said = |e: crate::analysis::add::result::Refused| Stopped::Said(e.to_string());
        if let Line::TakeBack { note } = line {
            let (at, entry) = self.bench.take_back(note).map_err(said)?;
            let appended = self.append(&[entry])?;
            return Ok(Some(self.bench.taken_back(at, &appended)));
        }
        let Line::Steps { steps, forced } = line else { return Ok(None) };
        let stamp = self.when.clone().or_else(|| self.clock.then(|| local("%Y-%m-%dT%H:%M:%S")));
        let batch = self.bench.prepare(steps, *forced, stamp.as_deref()).map_err(said)?;
        if batch.entries.is_empty() {
            self.bench.turn_to(batch);
            return Ok(None);
        }
        let appended = self.append(&batch.entries)?;
        Ok(Some(self.bench.written(batch, &appended)))
    }

    fn append(&mut self, entries: &[Entry]) -> Result<Appended, Stopped> {
        match &mut self.target {
            Target::Sheet(sheet) => Ok(sheet.append(entries)?),
            Target::New(path) => {
                let path = path.clone();
                let Some((sheet, appended)) = Sheet::create(&path, entries)? else {
                    // someone else has just made it
                    return Err(Stopped::Changed(path.display().to_string()));
                };
                self.target = Target::Sheet(Box::new(sheet));
                Ok(appended)
            }
        }
    }

    /// Looks at season and sheet again.
    fn reopen(&mut self) -> Result<(), Stopped> {
        let session = self.bench.session.clone();
        let (_, config, season, trouble) = look(&self.season).map_err(Stopped::Said)?;
        let name = self.into.clone().or_else(|| self.season.is_dir().then(|| file_name(&self.target)));
        let placed = place(&self.season, &session, name.as_deref());
        let (target, rows) = placed.map_err(|e| Stopped::Said(e.to_string()))?;
        let mut again = bench(season.as_ref(), &config, &session, &target, rows).map_err(Stopped::Said)?;
        again.resume(&self.bench);
        (self.bench, self.target, self.trouble) = (again, target, trouble);
        Ok(())
    }
}

/// A season's title, what it says, its readings where they can be had, and why not where they can't.
fn look(path: &std::path::Path) -> Result<(String, Config, Option<Season>, Option<String>), String> {
    let config = if path.is_dir() { parse::read(path).map_err(|e| e.to_string())? } else { Config::default() };
    let title = if config.title.is_empty() { path.display().to_string() } else { config.title.clone() };
    match Season::load(path) {
        Ok(season) => Ok((title, config, Some(season), None)),
        Err(error) if matches!(error.kind(), Some(Kind::NoReadings)) => Ok((title, config, None, None)),
        Err(error) if path.is_dir() => {
            let why = error.to_string();
            let first = why.lines().next().unwrap_or_default();
            let trouble =
                format!("earlier readings can't be looked at, so new ones are not held against them: {first}");
            Ok((title, config, None, Some(trouble)))
        }
        Err(error) => Err(error.to_string()),
    }
}

fn bench(
    season: Option<&Season>,
    config: &Config,
    session: &str,
    target: &Target,
    rows: Vec<(usize, Entry)>,
) -> Result<Bench, String> {
    let style: Style = match target {
        Target::Sheet(sheet) => sheet.style().clone(),
        Target::New(_) => new_style(),
    };
    let bench = Bench::new(season, config, session, (&file_name(target), &style), rows);
    bench.map_err(|e| format!("the readings could not be laid out: {e}"))
}

fn file_name(target: &Target) -> String {
    target.path().file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned())
}
