//! A single file: rows, a report, a plot.
//!
//! Invariant: see the module; a file that appears while this one is written is looked at again before anything is replaced.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use super::error::{StagedError, refused};
use super::ours::OurFile;
use super::sink::Sink;
use super::staging::StagingDirectory;
use super::written::Written;

/// How often a target may appear or vanish between the look at it and the renaming, before this run gives up.
const TRIES: usize = 16;

/// Writes the file `target`, whose bytes `fill` gives.
///
/// # Errors
/// A target that is no regular file or, without `replace`, not certainly ours; whatever `fill` or the system says.
pub(crate) fn file<E: From<StagedError>>(
    target: &Path,
    ours: &OurFile,
    replace: bool,
    fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
) -> Result<Written, E> {
    let exists = ours.at(target, replace)?;
    // A link stays a link: what it leads to is replaced.
    let real = if exists { fs::canonicalize(target).map_err(refused("cannot look at", target))? } else { target.to_owned() };
    let staging = StagingDirectory::beside(&real)?;
    let cannot = |error| refused("cannot write", target)(error);
    let made = File::create_new(staging.new_path()).map_err(cannot)?;
    let (made, _) = Sink::fill(made, false, |error| cannot(error).into(), fill)?;
    made.sync_all().map_err(cannot)?;
    for _ in 0..TRIES {
        // Looked at again: writing took its time.
        let over = ours.at(&real, replace)?;
        match staging.name_file(&real, over) {
            Ok(()) => return Ok(if over { Written::Replaced } else { Written::New }),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(refused("cannot put in place", target)(e).into()),
        }
    }
    Err(refused("cannot put in place", target)(io::ErrorKind::AlreadyExists.into()).into())
}

/// Writes to a stream that is there already, such as standard output, what `fill` gives. A reader that has read enough is no error.
///
/// # Errors
/// Whatever `fill` or the system says.
pub(crate) fn stream<E: From<StagedError>>(
    out: impl Write + Send,
    name: &Path,
    fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
) -> Result<(), E> {
    let mut closed = false;
    let refused = |error: io::Error| {
        closed = error.kind() == io::ErrorKind::BrokenPipe;
        refused("cannot write", name)(error).into()
    };
    let done = Sink::fill(out, false, refused, fill);
    if closed { Ok(()) } else { done.map(drop) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn put(at: &Path, text: &str, replace: bool) -> Result<Written, StagedError> {
        let ours = OurFile::marked("a report", "<!-- ours", "-->");
        file(at, &ours, replace, |out| out.write_all(text.as_bytes()).map_err(refused("cannot write", at)))
    }

    #[test]
    fn only_a_file_of_the_same_kind_is_replaced_without_a_request() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("new folder").join("move.html");
        let read = || fs::read_to_string(&at).unwrap();
        assert_eq!(put(&at, "<!-- ours 1 -->", false).unwrap(), Written::New);
        assert_eq!(put(&at, "<!-- ours 2 -->", false).unwrap(), Written::Replaced);
        assert_eq!(read(), "<!-- ours 2 -->");
        fs::write(&at, "a letter").unwrap();
        let refused = put(&at, "<!-- ours 3 -->", false).unwrap_err();
        assert!(refused.to_string().contains("may not be a report; it is left untouched: add --replace"), "{refused}");
        assert_eq!(read(), "a letter");
        assert_eq!(put(&at, "<!-- ours 4 -->", true).unwrap(), Written::Replaced);
        fs::write(&at, "").unwrap();
        assert_eq!(put(&at, "<!-- ours 5 -->", false).unwrap(), Written::Replaced);
        assert_eq!(read(), "<!-- ours 5 -->");
        // Nothing is left beside it.
        assert_eq!(fs::read_dir(at.parent().unwrap()).unwrap().count(), 1);
    }

    /// What somebody else puts there while this run writes: another kind of file is kept, one of ours is replaced, and one that is gone is no hindrance.
    #[test]
    fn what_appears_or_vanishes_meanwhile_is_looked_at_again() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("move.html");
        let ours = OurFile::marked("a report", "<!-- ours", "-->");
        let meanwhile = |what: &dyn Fn()| {
            file(&at, &ours, false, |out| {
                what();
                out.write_all(b"<!-- ours 2 -->").map_err(refused("cannot write", &at))
            })
        };
        let kept = meanwhile(&|| fs::write(&at, "a letter").unwrap()).unwrap_err();
        assert!(matches!(kept, StagedError::NotOurs { .. }) && fs::read(&at).unwrap() == b"a letter");
        fs::remove_file(&at).unwrap();
        assert_eq!(meanwhile(&|| fs::write(&at, "<!-- ours 1 -->").unwrap()).unwrap(), Written::Replaced);
        assert_eq!(meanwhile(&|| fs::remove_file(&at).unwrap()).unwrap(), Written::New);
        assert_eq!(fs::read(&at).unwrap(), b"<!-- ours 2 -->");
    }

    #[test]
    fn a_stream_says_what_failed_and_forgives_a_reader_that_left() {
        struct Fails(io::ErrorKind);
        impl Write for Fails {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(self.0.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let name = Path::new("standard output");
        let write = |kind| stream::<StagedError>(Fails(kind), name, |out| out.write_all(b"t_s").map_err(refused("nobody says", name)));
        assert!(write(io::ErrorKind::BrokenPipe).is_ok());
        let full = write(io::ErrorKind::StorageFull).unwrap_err().to_string();
        assert!(full.starts_with("cannot write standard output: "), "{full}");
    }
}
