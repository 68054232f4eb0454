//! Reading files: the only place of this room that touches the disk.
//!
//! Invariant: only regular files are read, and never more than [`MOST_BYTES`] of one, also where it grows while it is read. A pipe or a device, which could block or
//! never end, is refused before it is opened.

use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

use crate::bounds::{Code, Flaw, MOST_BYTES};

/// How a file is read: its path relative to the shot's folder, `/` between folders, becomes its bytes.
pub type Read<'r> = &'r dyn Fn(&str) -> Result<Vec<u8>, Unreadable>;

/// Why a file could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unreadable {
    /// Nothing is there.
    #[error("there is no such file")]
    Missing,
    /// A folder, a pipe or a device.
    #[error("it is not a regular file")]
    NotAFile,
    /// More than [`MOST_BYTES`].
    #[error("it has {bytes} bytes or more")]
    TooLarge {
        /// How many were seen.
        bytes: u64,
    },
    /// The system refused; what it said.
    #[error("{0}")]
    Refused(String),
}

impl Unreadable {
    /// The flaw this is in an input that names `name`.
    pub(super) fn flaw(&self, name: &str) -> Flaw {
        let found = self.to_string();
        let unread = |code| {
            Flaw::new(code, "", format!("cannot read `{name}`"))
                .found(found.as_str(), "a file that can be read")
                .help("check its name, and that it lies where the path leads from the shot's folder")
        };
        match self {
            Unreadable::Missing => unread(Code::MissingFile),
            Unreadable::Refused(_) => unread(Code::UnreadableFile),
            Unreadable::NotAFile => {
                Flaw::new(Code::NotAFile, "", format!("`{name}` is not a file")).found(found, "a file").help("name a file")
            }
            Unreadable::TooLarge { .. } => {
                Flaw::new(Code::FileTooLarge, "", format!("`{name}` is too large")).found(found, format!("at most {MOST_BYTES} bytes"))
            }
        }
    }
}

/// The bytes of a file.
///
/// # Errors
/// [`Unreadable`].
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, Unreadable> {
    let about = fs::metadata(path).map_err(refused)?;
    if !about.is_file() {
        return Err(Unreadable::NotAFile);
    }
    if about.len() > MOST_BYTES {
        return Err(Unreadable::TooLarge { bytes: about.len() });
    }
    let mut bytes = Vec::new();
    fs::File::open(path).map_err(refused)?.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(refused)?;
    match u64::try_from(bytes.len()) {
        Ok(length) if length <= MOST_BYTES => Ok(bytes),
        _ => Err(Unreadable::TooLarge { bytes: MOST_BYTES + 1 }),
    }
}

fn refused(error: io::Error) -> Unreadable {
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Unreadable::Missing,
        io::ErrorKind::IsADirectory => Unreadable::NotAFile,
        _ => Unreadable::Refused(error.to_string()),
    }
}
