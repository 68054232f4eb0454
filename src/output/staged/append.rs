//! A record that only grows: lines are added at its end, and nothing that is in it ever changes.
//!
//! Invariant: at every instant the file is the old record, complete, or the old record with the new lines behind it. Runs that add to one record wait for each other: each holds a lock on the record's folder
//! from before it reads until after the renaming, so no line is lost. What the caller refuses is left as it is.
//! Limits: where the system cannot lock a folder, two runs at the same instant may still meet; the later one then finds the record changed and adds nothing.

use std::fs::{self, File, TryLockError};
use std::io::{self, Write as _};
use std::path::Path;
use std::thread;
use std::time::Duration;

use super::atomic;
use super::error::{StagedError, refused};
use super::rewrite::rewrite;
use super::staging::{StagingDirectory, parent};
use crate::files::{self, Unreadable};

/// How often, and how long each time, a run waits for another one: ten seconds in all. Adding a line takes milliseconds.
const TRIES: usize = 500;
const WAIT: Duration = Duration::from_millis(20);

/// Adds to the record `target`, of at most `most` bytes, what `lines` makes of its bytes now; none where it does not exist.
///
/// # Errors
/// What is no regular file, too large or refused by the system; a lock that another run keeps; whatever `lines` says.
pub(crate) fn append<E: From<StagedError>>(target: &Path, most: u64, lines: impl FnOnce(&[u8]) -> Result<Vec<u8>, E>) -> Result<(), E> {
    let folder = parent(target);
    let _lock = locked(&folder)?;
    let (exists, mut bytes) = match files::read(target, most) {
        Ok(bytes) => (true, bytes),
        Err(Unreadable::Missing) => (false, Vec::new()),
        Err(Unreadable::NotAFile(what)) => return Err(StagedError::NotAFile { path: target.to_owned(), what }.into()),
        Err(why) => return Err(refused("cannot read", target)(io::Error::other(why.to_string())).into()),
    };
    let was = bytes.clone();
    bytes.extend(lines(&was)?);
    let changed = || refused("cannot add to", target)(io::Error::other("it changed meanwhile; run the command again"));
    if exists {
        return if rewrite(target, &was, &bytes)? { Ok(()) } else { Err(changed().into()) };
    }
    let staging = StagingDirectory::beside(target)?;
    let cannot = |error: io::Error| refused("cannot write", target)(error);
    let mut made = File::create_new(staging.new_path()).map_err(cannot)?;
    made.write_all(&bytes).map_err(cannot)?;
    made.sync_all().map_err(cannot)?;
    match staging.name_file(target, false) {
        Ok(()) => Ok(()),
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => Err(changed().into()),
        Err(e) => Err(cannot(e).into()),
    }
}

/// The folder, locked; `None` where the system has no such locks.
fn locked(folder: &Path) -> Result<Option<File>, StagedError> {
    fs::create_dir_all(folder).map_err(refused("cannot make the folder", folder))?;
    let Ok(file) = atomic::opened(folder) else { return Ok(None) };
    for _ in 0..TRIES {
        match file.try_lock() {
            Ok(()) => return Ok(Some(file)),
            Err(TryLockError::WouldBlock) => thread::sleep(WAIT),
            Err(TryLockError::Error(_)) => return Ok(None),
        }
    }
    Err(refused("cannot lock", folder)(io::Error::other("another run has kept it for ten seconds")))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn add(at: &Path, line: &str) -> Result<(), StagedError> {
        append(at, 1 << 20, |_| Ok(format!("{line}\n").into_bytes()))
    }

    /// Eight threads, forty lines each: every line is in the record once, and nothing is left beside it.
    #[test]
    fn no_line_is_lost_where_many_add_at_once() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("takes.csv");
        thread::scope(|scope| {
            for t in 0..8 {
                let at = &at;
                scope.spawn(move || (0..40).for_each(|i| add(at, &format!("{t} {i}")).unwrap()));
            }
        });
        let text = fs::read_to_string(&at).unwrap();
        let mut lines: Vec<&str> = text.lines().collect();
        lines.sort_unstable();
        lines.dedup();
        assert_eq!((lines.len(), text.lines().count()), (320, 320));
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn what_is_refused_stays_and_what_is_no_file_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("takes.csv");
        add(&at, "one").unwrap();
        let refused = append(&at, 1 << 20, |was| {
            assert_eq!(was, b"one\n");
            Err::<Vec<u8>, _>(StagedError::NotAFile { path: at.clone(), what: "foreign" })
        });
        assert!(refused.is_err() && fs::read(&at).unwrap() == b"one\n");
        assert!(append::<StagedError>(&at, 3, |_| Ok(Vec::new())).is_err());
        assert!(matches!(add(dir.path(), "x"), Err(StagedError::NotAFile { .. })));
        // What somebody else writes meanwhile is not overwritten.
        let met = append::<StagedError>(&at, 1 << 20, |_| {
            fs::write(&at, "two\n").unwrap();
            Ok(b"three\n".to_vec())
        });
        assert!(met.unwrap_err().to_string().contains("changed meanwhile") && fs::read(&at).unwrap() == b"two\n");
    }
}
