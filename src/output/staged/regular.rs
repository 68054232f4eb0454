//! Opening and reading files that must be regular: what stands in a folder that may have been changed by others.
//!
//! Invariant: a pipe or a device, which could block or never end, is refused before it is opened; no more than [`MOST_BYTES`] are held in memory, also where
//! the file grows while it is read.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::Path;

use crate::bounds::MOST_BYTES;

/// Opens a regular file.
///
/// # Errors
/// What the system says; anything but a regular file.
pub fn open(path: &Path) -> io::Result<File> {
    if !fs::metadata(path)?.is_file() {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is not a regular file"));
    }
    File::open(path)
}

/// The bytes of a regular file.
///
/// # Errors
/// As [`open`]; more than [`MOST_BYTES`] bytes.
pub fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let most = MOST_BYTES + 1;
    if open(path)?.take(most).read_to_end(&mut bytes)? as u64 == most {
        return Err(io::Error::new(io::ErrorKind::InvalidData, format!("it has more than {MOST_BYTES} bytes")));
    }
    Ok(bytes)
}
