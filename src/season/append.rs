//! Readings onto the end of a sheet, so that what was acknowledged is there whatever happens next.
//!
//! Every writer holds the file's lock while it writes, so two at once take turns. A row is written in two steps, each
//! on the disk before the next: its place is taken by a line of [`FILL`] with a line end, then the row is
//! written over that line. A machine or program that stops in between leaves a line that begins or ends with the
//! fill, which the reader sets aside and tells of ([`marks`]); a row half written can never be read as
//! another number, nor run into the next one; and a disk that is full says so at the first step, when the sheet
//! can still be left as it was. Only then is the row acknowledged. Nothing that is in the sheet is ever changed.
//!
//! [`marks`]: crate::season::readings::marks

mod place;
mod style;
mod tail;

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

pub use place::{Target, place};
pub use style::{Entry, Style, safe};
pub use tail::Repair;

use crate::season::readings::marks::FILL;
use crate::season::readings::{ReadError, sheet_style};
use crate::season::template;
use tail::Tail;

/// How long another writer is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// Readings that could not be written; the sheet is as it was.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AppendError {
    /// The sheet is no longer the one that was read: it was edited meanwhile.
    #[error("{0}: this was changed meanwhile by something else")]
    Changed(String),
    /// Another program holds its lock.
    #[error(
        "{0}: another program has had this open for writing for ten seconds\nhint: close it there, and type the line again"
    )]
    Held(String),
    /// No room.
    #[error(
        "{0}: the disk is full: nothing was written\nhint: make room, and type the line again; what was acknowledged before is safe"
    )]
    Full(String),
    /// The system refuses.
    #[error(
        "{file}: nothing was written: {source}\nhint: what was acknowledged before is safe; see to the file, and type the line again"
    )]
    Io {
        /// The file.
        file: String,
        /// What the system says.
        source: io::Error,
    },
    /// The file is not a sheet that rows can follow.
    #[error("{0}")]
    Sheet(#[from] ReadError),
}

/// Rows that are on the disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appended {
    /// Line of each, from 1.
    pub lines: Vec<usize>,
    /// What others have written since the sheet was last looked at.
    pub others: String,
    /// The line that begins on.
    pub others_line: usize,
    /// What was done to an unfinished last line before, and to which.
    pub repaired: Option<(usize, Repair)>,
}

/// A sheet of readings that rows can be appended to.
#[derive(Debug, Clone)]
pub struct Sheet {
    path: PathBuf,
    style: Style,
    /// Its header line as it stands.
    header: Vec<u8>,
    /// How much of it has been looked at, and where that ends.
    length: u64,
    tail: Tail,
}

impl Sheet {
    /// Looks at a sheet; also gives its text.
    ///
    /// # Errors
    /// It can't be read, isn't UTF-8, or has no header that readings can stand under.
    pub fn open(path: &Path) -> Result<(Sheet, String), ReadError> {
        let shown = path.display().to_string();
        let unreadable = |e: io::Error| ReadError::Unreadable { file: shown.clone(), reason: e.to_string() };
        let bytes = settled(path).map_err(unreadable)?;
        let (style, header) = sheet_style(&shown, &bytes)?;
        let mut tail = Tail::new(style.delimiter);
        tail.feed(&bytes);
        let sheet =
            Sheet { path: path.into(), style, header: bytes[..header].to_vec(), length: bytes.len() as u64, tail };
        Ok((sheet, String::from_utf8_lossy(&bytes).into_owned()))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How it is written.
    pub fn style(&self) -> &Style {
        &self.style
    }

    /// Makes a new sheet that holds these rows, complete before it gets its name; `None` where something has
    /// that name already.
    ///
    /// # Errors
    /// The system does not allow it.
    pub fn create(path: &Path, entries: &[Entry]) -> Result<Option<(Sheet, Appended)>, AppendError> {
        let style = new_style();
        let text = template::READINGS.to_string() + &entries.iter().map(|e| style.line(e)).collect::<String>();
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let made = builder.prefix(".daylight-").tempfile_in(folder).and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.as_file().sync_all()?;
            Ok(file)
        });
        let file = made.map_err(|e| failed(path, e))?;
        match file.persist_noclobber(path) {
            Ok(_) => {}
            Err(taken) if taken.error.kind() == io::ErrorKind::AlreadyExists => return Ok(None),
            Err(other) => return Err(failed(path, other.error)),
        }
        // its name, too, must outlast a crash
        #[cfg(unix)]
        File::open(folder).and_then(|f| f.sync_all()).map_err(|e| failed(path, e))?;
        let (sheet, _) = Sheet::open(path)?;
        let lines = (0..entries.len()).map(|i| i + 2).collect();
        Ok(Some((sheet, Appended { lines, others: String::new(), others_line: 0, repaired: None })))
    }

    /// Writes rows at the sheet's end, all or none; they are on the disk when this returns.
    ///
    /// # Errors
    /// Nothing was written, for the reason given.
    pub fn append(&mut self, entries: &[Entry]) -> Result<Appended, AppendError> {
        let mut file = self.locked()?;
        let io = |e: io::Error| failed(&self.path, e);
        let end = file.metadata().map_err(io)?.len();
        let mut header = vec![0; self.header.len()];
        let as_before = end >= self.length && file.read_exact(&mut header).is_ok() && header == self.header;
        if !as_before {
            return Err(AppendError::Changed(self.shown()));
        }
        let mut others = vec![];
        file.seek(SeekFrom::Start(self.length)).map_err(io)?;
        file.read_to_end(&mut others).map_err(io)?;
        let mut tail = self.tail.clone();
        let others_line = tail.line();
        tail.feed(&others);
        let mut length = self.length + others.len() as u64;

        let unfinished = tail.repair(self.style.columns.len()).map(|repair| (tail.line(), repair));
        if let Some((_, repair)) = unfinished {
            let text = repair.text() + self.style.line_end;
            self.put(&mut file, length, text.as_bytes())?;
            tail.feed(text.as_bytes());
            length += text.len() as u64;
        }
        let mut lines = vec![];
        let mut block = String::new();
        for entry in entries {
            lines.push(tail.line() + block.matches('\n').count());
            block += &self.style.line(entry);
        }
        if !block.is_empty() {
            let place: Vec<u8> = block.bytes().map(|b| if b == b'\n' { b } else { FILL as u8 }).collect();
            self.put(&mut file, length, &place)?;
            self.put(&mut file, length, block.as_bytes())?;
            tail.feed(block.as_bytes());
            length += block.len() as u64;
        }
        (self.tail, self.length) = (tail, length);
        let others = String::from_utf8_lossy(&others).into_owned();
        Ok(Appended { lines, others, others_line, repaired: unfinished })
    }

    /// Writes at a place, onto the disk; where that fails, the sheet ends there again.
    fn put(&self, file: &mut File, at: u64, bytes: &[u8]) -> Result<(), AppendError> {
        let written =
            file.seek(SeekFrom::Start(at)).and_then(|_| file.write_all(bytes)).and_then(|()| file.sync_data());
        written.map_err(|error| {
            // should this fail too, what is left is no row, and the reader says so
            let _ = file.set_len(at).and_then(|()| file.sync_data());
            failed(&self.path, error)
        })
    }

    /// The file, locked: the one that now has the name.
    fn locked(&self) -> Result<File, AppendError> {
        let since = Instant::now();
        loop {
            let opened = OpenOptions::new().read(true).write(true).open(&self.path);
            let file = match opened {
                Err(e) if e.kind() == io::ErrorKind::NotFound => return Err(AppendError::Changed(self.shown())),
                opened => opened.map_err(|e| failed(&self.path, e))?,
            };
            while let Err(refused) = file.try_lock() {
                match refused {
                    std::fs::TryLockError::WouldBlock if since.elapsed() > PATIENCE => {
                        return Err(AppendError::Held(self.shown()));
                    }
                    std::fs::TryLockError::WouldBlock => std::thread::sleep(Duration::from_millis(1)),
                    std::fs::TryLockError::Error(e) => return Err(failed(&self.path, e)),
                }
            }
            // an editor may have put another file in its place before the lock was had
            if same_file(&file, &self.path) {
                return Ok(file);
            }
        }
    }

    fn shown(&self) -> String {
        self.path.display().to_string()
    }
}

/// A sheet's bytes when nobody is half through a row; as they are, where locks mean nothing.
fn settled(path: &Path) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    let since = Instant::now();
    while let Err(std::fs::TryLockError::WouldBlock) = file.try_lock_shared() {
        if since.elapsed() > PATIENCE {
            break;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    let mut bytes = vec![];
    file.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The style of a sheet of our own.
pub fn new_style() -> Style {
    let columns = template::READINGS.trim_end().split(',').map(String::from).collect();
    Style { columns, delimiter: b',', line_end: "\n", decimal_comma: false }
}

#[cfg(unix)]
fn same_file(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let of = |m: io::Result<std::fs::Metadata>| m.ok().map(|m| (m.dev(), m.ino()));
    of(file.metadata()) == of(std::fs::metadata(path))
}

#[cfg(not(unix))]
fn same_file(_: &File, _: &Path) -> bool {
    true
}

fn failed(path: &Path, source: io::Error) -> AppendError {
    let file = path.display().to_string();
    match source.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => AppendError::Full(file),
        _ => AppendError::Io { file, source },
    }
}
