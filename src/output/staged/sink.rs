//! Where the bytes of one file go: counted, hashed on request, the system's first error kept.
//!
//! Invariant: whatever the code that fills it makes of an error, the one that the system gave first is reported.

use std::io::{self, BufWriter, Read, Write};
use std::path::Path;

use crate::files::{self, Unreadable};

/// A writer with a buffer in front.
pub(super) struct Sink<W: Write> {
    out: BufWriter<W>,
    hash: Option<blake3::Hasher>,
    bytes: u64,
    error: Option<io::Error>,
}

/// Length of what was written, and its BLAKE3 in hexadecimal where it was asked for.
pub(super) struct Filled {
    pub(super) bytes: u64,
    pub(super) hash: Option<String>,
}

impl<W: Write + Send> Sink<W> {
    /// Writes to `out` what `fill` gives.
    ///
    /// # Errors
    /// The system's first error, as `refused` says it; else that of `fill`.
    pub(super) fn fill<E>(
        out: W,
        hashed: bool,
        refused: impl FnOnce(io::Error) -> E,
        fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
    ) -> Result<(W, Filled), E> {
        let hash = hashed.then(blake3::Hasher::new);
        let mut sink = Sink { out: BufWriter::with_capacity(1 << 16, out), hash, bytes: 0, error: None };
        let filled = fill(&mut sink);
        if filled.is_ok() {
            let _kept_below = sink.flush();
        }
        // Taken apart before anything returns: a buffer that is dropped would be written once more.
        let Sink { out, hash, bytes, error } = sink;
        let (out, _unwritten) = out.into_parts();
        if let Some(error) = error {
            return Err(refused(error));
        }
        filled?;
        Ok((out, Filled { bytes, hash: hash.map(|h| h.finalize().to_hex().to_string()) }))
    }
}

impl<W: Write> Sink<W> {
    fn kept<T>(&mut self, done: io::Result<T>) -> io::Result<T> {
        done.map_err(|e| {
            let kind = e.kind();
            if kind != io::ErrorKind::Interrupted {
                self.error.get_or_insert(e);
            }
            kind.into()
        })
    }
}

impl<W: Write> Write for Sink<W> {
    fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
        let done = self.out.write(buf);
        let n = self.kept(done)?;
        if let (Some(taken), Some(hash)) = (buf.get(..n), &mut self.hash) {
            hash.update(taken);
        }
        self.bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        let done = self.out.flush();
        self.kept(done)
    }
}

/// Length and BLAKE3 of a regular file.
///
/// # Errors
/// [`Unreadable`].
#[cfg(test)]
pub(crate) fn hash_of(path: &Path) -> Result<(u64, String), Unreadable> {
    hash(files::open(path)?)
}

/// True where a regular file has this length and this BLAKE3. Of a file of another length nothing is read.
///
/// # Errors
/// [`Unreadable`].
pub(crate) fn is_unchanged(path: &Path, bytes: u64, blake3: &str) -> Result<bool, Unreadable> {
    let file = files::open(path)?;
    Ok(file.limit() == bytes && hash(file)? == (bytes, blake3.to_owned()))
}

fn hash(mut file: impl Read) -> Result<(u64, String), Unreadable> {
    let mut hash = blake3::Hasher::new();
    let bytes = io::copy(&mut file, &mut hash).map_err(|e| Unreadable::Refused(e.to_string()))?;
    Ok((bytes, hash.finalize().to_hex().to_string()))
}
