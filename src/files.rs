//! Opening files to read them: the one place that does so, whoever named the file and wherever it is.
//!
//! Invariant: only regular files are read, and of each no more than it held when it was opened, so that nothing can block or go on for ever. A pipe or a device
//! is refused before it is opened. One that takes a file's place in that instant is opened without waiting, and refused then.
//! Source: open(2) of the Linux manual pages, O_NONBLOCK. Limits: elsewhere than on Linux what takes a file's place in that instant may block.

use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Read, Take};
use std::path::Path;

/// Why a file could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unreadable {
    /// Nothing is there.
    #[error("there is no such file")]
    Missing,
    /// A folder, a pipe or a device; in words.
    #[error("it is {0}, not a regular file")]
    NotAFile(&'static str),
    /// More bytes than are read.
    #[error("it has {bytes} bytes or more; at most {most} are read")]
    TooLarge {
        /// How many were seen.
        bytes: u64,
        /// How many are allowed.
        most: u64,
    },
    /// The system refused; what it said.
    #[error("{0}")]
    Refused(String),
}

/// Opens a regular file; the bytes that it holds now.
///
/// # Errors
/// [`Unreadable`].
pub(crate) fn open(path: &Path) -> Result<Take<File>, Unreadable> {
    regular(&fs::metadata(path).map_err(refused)?)?;
    let file = without_waiting().open(path).map_err(refused)?;
    let about = file.metadata().map_err(refused)?;
    regular(&about)?;
    Ok(file.take(about.len()))
}

/// The bytes of a file of at most `most` bytes.
///
/// # Errors
/// [`Unreadable`].
pub(crate) fn read(path: &Path, most: u64) -> Result<Vec<u8>, Unreadable> {
    let mut file = open(path)?;
    if file.limit() > most {
        return Err(Unreadable::TooLarge { bytes: file.limit(), most });
    }
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes).map_err(refused)?;
    Ok(bytes)
}

/// What is there, in words.
pub(crate) fn kind(about: &Metadata) -> &'static str {
    if about.is_dir() {
        "a folder"
    } else if about.is_file() {
        "a file"
    } else if about.is_symlink() {
        "a link"
    } else {
        special(about)
    }
}

fn regular(about: &Metadata) -> Result<(), Unreadable> {
    if about.is_file() { Ok(()) } else { Err(Unreadable::NotAFile(kind(about))) }
}

#[cfg(target_os = "linux")]
fn without_waiting() -> OpenOptions {
    use rustix::fs::OFlags;
    use std::os::unix::fs::OpenOptionsExt;
    let mut options = OpenOptions::new();
    options.read(true).custom_flags((OFlags::NONBLOCK | OFlags::NOCTTY).bits().cast_signed());
    options
}

#[cfg(not(target_os = "linux"))]
fn without_waiting() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true);
    options
}

#[cfg(unix)]
fn special(about: &Metadata) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    let kind = about.file_type();
    if kind.is_fifo() {
        "a named pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    }
}

#[cfg(not(unix))]
fn special(_about: &Metadata) -> &'static str {
    "a device"
}

fn refused(error: io::Error) -> Unreadable {
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Unreadable::Missing,
        io::ErrorKind::IsADirectory => Unreadable::NotAFile("a folder"),
        _ => Unreadable::Refused(error.to_string()),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_regular_file_or_too_large_is_refused_with_its_kind() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("keys.csv");
        assert_eq!(read(&at, 4), Err(Unreadable::Missing));
        fs::write(&at, "reed").unwrap();
        assert_eq!(read(&at, 4).unwrap(), b"reed");
        assert_eq!(read(&at, 3), Err(Unreadable::TooLarge { bytes: 4, most: 3 }));
        assert_eq!(read(&at.join("no"), 4), Err(Unreadable::Missing));
        assert_eq!(read(dir.path(), 4), Err(Unreadable::NotAFile("a folder")));
    }

    #[test]
    fn a_file_that_grows_is_read_as_it_was_when_it_was_opened() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("take.csv");
        fs::write(&at, "reed").unwrap();
        let mut opened = open(&at).unwrap();
        fs::write(&at, "reeds and herons").unwrap();
        let mut bytes = String::new();
        opened.read_to_string(&mut bytes).unwrap();
        assert_eq!(bytes, "reed");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn devices_are_refused_and_a_pipe_is_opened_without_waiting() {
        use rustix::fs::{CWD, FileType, Mode, mknodat};
        assert_eq!(read(Path::new("/dev/zero"), 4), Err(Unreadable::NotAFile("a device")));
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("pipe");
        mknodat(CWD, &at, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
        assert_eq!(read(&at, 4), Err(Unreadable::NotAFile("a named pipe")));
        // As if it had taken a file's place after the look at it.
        assert!(!without_waiting().open(&at).unwrap().metadata().unwrap().is_file());
    }
}
