//! Files written whole or not at all: into a file beside the one that is meant, which then takes its name.

use std::io::Write;
use std::path::{Path, PathBuf};

/// A file that can't be written. Nothing of it is left behind, and what stood there before still does.
#[derive(Debug, thiserror::Error)]
#[error("{}: this can't be written: {reason}\nhint: {}", path.display(), hint(reason.kind()))]
pub struct WriteError {
    path: PathBuf,
    reason: std::io::Error,
}

impl WriteError {
    /// Of a file that the system would not have written.
    pub fn new(path: PathBuf, reason: std::io::Error) -> WriteError {
        WriteError { path, reason }
    }
}

fn hint(kind: std::io::ErrorKind) -> &'static str {
    use std::io::ErrorKind::{
        IsADirectory, NotADirectory, NotFound, PermissionDenied, ReadOnlyFilesystem, StorageFull,
    };
    match kind {
        NotFound => "make its folder first, or name another",
        PermissionDenied | ReadOnlyFilesystem => "name a folder that you may write to",
        IsADirectory | NotADirectory => "name a file in a folder that is there",
        StorageFull => "free some space and run it again; nothing was written",
        _ => "nothing was written; name another place",
    }
}

/// Writes one file.
///
/// # Errors
/// The folder is not there, or can't be written to; the disk is full.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    write_all(&[(path.to_path_buf(), bytes)])
}

/// Writes several files: all are whole before the first takes its name.
///
/// # Errors
/// As [`write`], for the first that can't be.
pub fn write_all<B: AsRef<[u8]>>(files: &[(PathBuf, B)]) -> Result<(), WriteError> {
    for (path, part) in parts(files)? {
        part.persist(path).map_err(|e| WriteError { path: path.clone(), reason: e.error })?;
    }
    Ok(())
}

/// The same, over nothing that is there already.
///
/// # Errors
/// As [`write`]; a file of that name is there.
pub fn write_all_new<B: AsRef<[u8]>>(files: &[(PathBuf, B)]) -> Result<(), WriteError> {
    for (path, part) in parts(files)? {
        part.persist_noclobber(path).map_err(|e| WriteError { path: path.clone(), reason: e.error })?;
    }
    Ok(())
}

/// Every file, whole, under a passing name.
fn parts<B: AsRef<[u8]>>(files: &[(PathBuf, B)]) -> Result<Vec<(&PathBuf, tempfile::NamedTempFile)>, WriteError> {
    let mut parts = vec![];
    for (path, bytes) in files {
        let fail = |reason| WriteError { path: path.clone(), reason };
        // a folder of that name would only be found out when the last file takes its place
        if path.is_dir() {
            return Err(fail(std::io::ErrorKind::IsADirectory.into()));
        }
        let mut part = part_beside(path).map_err(fail)?;
        part.write_all(bytes.as_ref()).and_then(|()| part.flush()).map_err(fail)?;
        parts.push((path, part));
    }
    Ok(parts)
}

/// A file to be renamed to `path` when it is whole, as readable as any new file; gone again if it never is.
pub fn part_beside(path: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666)); // less the user's umask
    builder.prefix(".part-").tempfile_in(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_files_are_written_all_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let (one, two) = (folder.path().join("one"), folder.path().join("none").join("two"));
        std::fs::write(&one, "before").unwrap();
        let error = write_all(&[(one.clone(), "after"), (two, "after")]).unwrap_err();
        assert!(error.to_string().contains("two: this can't be written: "), "{error}");
        assert!(error.to_string().contains("\nhint: make its folder first"), "{error}");
        assert_eq!(std::fs::read_to_string(&one).unwrap(), "before");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no part is left behind");
        write_all(&[(one.clone(), "after")]).unwrap();
        assert_eq!(std::fs::read_to_string(&one).unwrap(), "after");
    }

    #[test]
    fn a_folder_in_the_way_is_said_before_anything_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let (one, two) = (folder.path().join("one"), folder.path().join("two"));
        std::fs::create_dir(&two).unwrap();
        let error = write_all(&[(one.clone(), "x"), (two, "x")]).unwrap_err().to_string();
        assert!(error.contains("name a file in a folder that is there"), "{error}");
        assert!(!one.exists());
    }
}
