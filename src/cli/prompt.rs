//! `daylight add SEASON` line by line: on a terminal with a prompt that says what the next number is of; from a pipe
//! with nothing but the answers.
//!
//! Each line is on the disk before it is answered, so whatever ends the program, the terminal's going included, takes
//! nothing with it that was answered. A last line with no line end was never entered, and is not written.

use std::io::{self, BufRead, IsTerminal, Read, Write};

use super::add::{Desk, Reply};
use super::terminal::harmless;
use crate::analysis::add::grammar::{Misread, read};
use crate::analysis::add::vocabulary::Column;
use crate::report::{add_json, add_text, text};
use crate::season::error::argument;

/// Longest line that is taken for one, in bytes.
const LONGEST: usize = 4000;

/// Where answers go, and in which form.
struct Screen {
    terminal: bool,
    json: bool,
}

impl Screen {
    /// Columns and rows.
    fn size(&self) -> (usize, usize) {
        let size = if self.terminal { terminal_size::terminal_size() } else { None };
        size.map_or((text::WIDTH, 24), |(w, h)| (usize::from(w.0).clamp(20, text::WIDTH), usize::from(h.0).max(8)))
    }

    fn width(&self) -> usize {
        self.size().0
    }

    /// Prints; whoever was reading may have gone, and then nothing is left to tell.
    fn say(&self, words: &str) -> Result<(), Gone> {
        let mut out = io::stdout().lock();
        out.write_all(harmless(words.to_string()).as_bytes()).and_then(|()| out.flush()).map_err(|_| Gone)
    }

    fn refuse(&self, desk: &Desk, input: usize, why: &str) -> Result<(), Gone> {
        if self.json {
            return self.say(&add_json::refused(&desk.bench.session, input, why));
        }
        if self.terminal {
            return self.say(&add_text::refused(why, self.width()));
        }
        // a program at the other end reads answers from one stream, and what was refused from the other
        let _ = writeln!(io::stderr(), "{}", harmless(format!("line {input}: {why}")));
        Ok(())
    }
}

/// Nobody is there to be answered.
struct Gone;

/// What was done, counted.
#[derive(Default)]
struct Count {
    written: usize,
    taken_back: usize,
    refused: usize,
}

/// Takes lines until there are no more; gives the exit status.
///
/// # Errors
/// None that is not answered line by line.
pub fn run(desk: &mut Desk, json: bool) -> Result<u8, String> {
    let terminal = !json && io::stdin().is_terminal() && io::stdout().is_terminal();
    let screen = Screen { terminal, json };
    let mut count = Count::default();
    // gone before the end: what was answered is safe, and nothing else was promised
    let _ = converse(desk, &screen, &mut count);
    Ok(u8::from(!terminal && count.refused > 0))
}

fn converse(desk: &mut Desk, screen: &Screen, count: &mut Count) -> Result<(), Gone> {
    if screen.terminal {
        screen.say(&greeting(desk, screen.width()))?;
    } else if let Some(trouble) = &desk.trouble {
        let _ = writeln!(io::stderr(), "{}", harmless(trouble.clone()));
    }
    let mut input = io::stdin().lock();
    for number in 1.. {
        if screen.terminal {
            screen.say(&prompt(desk, screen.width()))?;
        }
        // a terminal that went away reads as an error; it is the end all the same
        let bytes = next_line(&mut input).unwrap_or_default();
        if bytes.is_empty() {
            break;
        }
        if !bytes.ends_with(b"\n") {
            if bytes.iter().any(|b| !b.is_ascii_whitespace()) {
                count.refused += 1;
                screen.refuse(desk, number, "this last line has no line end, so it may not be whole: not written")?;
            }
            break;
        }
        let reply = match std::str::from_utf8(&bytes) {
            Ok(line) if bytes.len() <= LONGEST => match read(line, desk.bench.vocabulary()) {
                Ok(line) => desk.line(&line),
                Err(misread) => {
                    desk.bench.misread(&misread);
                    Reply::Refused(misread.to_string())
                }
            },
            Ok(_) => not_a_line(desk, "this line is too long to be one of readings: not written"),
            Err(_) => not_a_line(desk, "this line is not UTF-8 text: not written"),
        };
        match reply {
            Reply::Answer(answer) => {
                count.written += answer.written.len();
                count.taken_back += usize::from(answer.taken_back.is_some());
                screen.say(&if screen.json {
                    add_json::answer(&desk.bench.session, number, &answer)
                } else {
                    add_text::answer(&answer, !screen.terminal, screen.width())
                })?;
            }
            Reply::Refused(why) => {
                count.refused += 1;
                screen.refuse(desk, number, &why)?;
            }
            Reply::Noted => {}
            Reply::Show if !screen.json => {
                let (width, height) = screen.size();
                screen.say(&add_text::shown(&desk.bench, width, height.saturating_sub(4)))?;
            }
            Reply::Help if !screen.json => screen.say(&add_text::help(desk.bench.vocabulary(), screen.width()))?,
            Reply::Show | Reply::Help => {}
            Reply::Done => break,
        }
    }
    if screen.terminal {
        screen.say(&farewell(desk, count, screen.width()))?;
    }
    Ok(())
}

/// A line of which nothing can be read: nor whether it named another antenna.
fn not_a_line(desk: &mut Desk, why: &str) -> Reply {
    desk.bench.misread(&Misread::of_name(why, vec![Column::Antenna]));
    Reply::Refused(why.into())
}

/// One line with its end; of one that is too long, only its beginning and its end.
fn next_line(input: &mut impl BufRead) -> io::Result<Vec<u8>> {
    let mut bytes = vec![];
    input.by_ref().take(LONGEST as u64 + 1).read_until(b'\n', &mut bytes)?;
    while bytes.len() > LONGEST && !bytes.ends_with(b"\n") {
        let more = input.fill_buf()?;
        let end = more.iter().position(|b| *b == b'\n');
        let (used, over) = (end.map_or(more.len(), |at| at + 1), more.is_empty());
        input.consume(used);
        if end.is_some() {
            bytes.push(b'\n');
        } else if over {
            break;
        }
    }
    Ok(bytes)
}

fn greeting(desk: &Desk, width: usize) -> String {
    let (file, new) = desk.sheet();
    let wrap = |line: &str| text::wrap_to(line, "", width);
    let into = format!("Session {}, into {file}{}.", desk.bench.session, if new { ", a new sheet" } else { "" });
    let mut lines = vec![wrap(&desk.title), wrap(&into)];
    lines.extend(desk.trouble.as_deref().map(wrap));
    lines.extend([String::new(), wrap(add_text::CAUTIONS), String::new(), wrap(add_text::IN_SHORT), String::new()]);
    lines.join("\n") + "\n"
}

/// What the next number is of, on a line of its own where the screen is narrow.
fn prompt(desk: &Desk, width: usize) -> String {
    let context = add_text::context(desk.bench.now());
    let room = width.saturating_sub(context.chars().count());
    match context.as_str() {
        "" => "> ".into(),
        _ if room < 24 => format!("{}\n> ", text::wrap_to(&context, "", width)),
        _ => format!("{context} > "),
    }
}

fn farewell(desk: &Desk, count: &Count, width: usize) -> String {
    let readings = crate::report::number::plural(count.written, "reading", "readings");
    let back = if count.taken_back > 0 { format!(", {} taken back", count.taken_back) } else { String::new() };
    let next = format!("Next: daylight audit {}", argument(desk.season()));
    format!("{}\n{}\n", text::wrap_to(&format!("{readings} written{back}, in {}.", desk.sheet().0), "", width), next)
}
