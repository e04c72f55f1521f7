//! The one way a file of the user's is read: it has to be a file, and no larger than what it can be for.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// The largest text of settings (a season, a budget) that is read.
pub const LARGEST_SETTINGS: u64 = 16 << 20;

/// Why a file was not read.
#[derive(Debug)]
pub enum Trouble {
    /// It is a folder, a pipe, a device: reading it may never end.
    NotAFile,
    /// It holds more bytes than this.
    TooLarge(u64),
    /// What the system says.
    System(io::Error),
}

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Trouble::NotAFile => write!(f, "this is not a file, but a folder, a pipe or a device"),
            Trouble::TooLarge(most) => write!(f, "this file is larger than {} MiB", most >> 20),
            Trouble::System(error) => write!(f, "this can't be read: {}", error.kind()),
        }
    }
}

/// Whether a path leads to a file, by links too.
///
/// # Errors
/// It leads to nothing, or to anything else.
pub fn is_file(path: &Path) -> Result<(), Trouble> {
    let known = std::fs::metadata(path).map_err(Trouble::System)?;
    if known.is_file() { Ok(()) } else { Err(Trouble::NotAFile) }
}

/// All bytes of a file.
///
/// # Errors
/// It is no file, is larger than `most` bytes, or can't be read.
pub fn read(path: &Path, most: u64) -> Result<Vec<u8>, Trouble> {
    // asked before it is opened: opening a pipe waits for someone to write to it
    is_file(path)?;
    let mut bytes = vec![];
    // it may grow while it is read
    let file = File::open(path).map_err(Trouble::System)?;
    file.take(most.saturating_add(1)).read_to_end(&mut bytes).map_err(Trouble::System)?;
    if bytes.len() as u64 > most { Err(Trouble::TooLarge(most)) } else { Ok(bytes) }
}
