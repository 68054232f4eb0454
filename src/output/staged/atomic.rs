//! Names that change in one step, and are flushed.
//!
//! Sources: renameat2(2), RENAME_EXCHANGE, of the Linux manual pages; the crate `tempfile` for a file that must not replace another.
//! Limits: where the file system cannot exchange two names, the caller does it in two renames; where it can neither rename onto nothing nor link
//! a file (some network and FAT file systems), what appears at the target in the last instant is replaced.

use std::fs::{self, File};
use std::io;
use std::path::Path;

use tempfile::TempPath;

/// Gives a file its name: over what exists, or where nothing does.
///
/// # Errors
/// What the system says; `AlreadyExists` where something exists and `over` is false. The file is then still at `new`.
pub(super) fn name_file(new: &Path, target: &Path, over: bool) -> io::Result<()> {
    if over {
        return fs::rename(new, target);
    }
    let Err(refused) = TempPath::try_from_path(new)?.persist_noclobber(target) else { return Ok(()) };
    // Kept: the caller may look again, and try again.
    let new = refused.path.keep().map_err(|e| e.error)?;
    let exists = refused.error.kind() == io::ErrorKind::AlreadyExists || fs::symlink_metadata(target).is_ok();
    if exists { Err(io::ErrorKind::AlreadyExists.into()) } else { fs::rename(new, target) }
}

/// Swaps two folders in one step, so that no instant sees neither; false where the file system cannot.
///
/// # Errors
/// What the system says.
#[cfg(target_os = "linux")]
pub(super) fn exchange(new: &Path, target: &Path) -> io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, new, CWD, target, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

#[cfg(not(target_os = "linux"))]
pub(super) fn exchange(_new: &Path, _target: &Path) -> io::Result<bool> {
    Ok(false)
}

/// Flushes a folder and those below it, so that a power cut after the rename finds every name in them.
pub(super) fn flush_folders(dir: &Path) {
    let mut waiting = vec![dir.to_owned()];
    while let Some(dir) = waiting.pop() {
        let below = fs::read_dir(&dir).into_iter().flatten().flatten();
        waiting.extend(below.filter(|e| e.file_type().is_ok_and(|t| t.is_dir())).map(|e| e.path()));
        flush(&dir);
    }
}

/// Names are flushed where the system can; its answer is ignored: some systems cannot, and the contents are flushed already.
pub(super) fn flush(dir: &Path) {
    if let Ok(dir) = opened(dir) {
        let _where_it_can = dir.sync_all();
    }
}

/// A folder, opened to be flushed or locked.
///
/// # Errors
/// What the system says; some systems open no folder.
pub(super) fn opened(dir: &Path) -> io::Result<File> {
    File::open(dir)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_file_onto_nothing_replaces_nothing_and_stays_for_another_try() {
        let dir = tempfile::tempdir().unwrap();
        let (new, target) = (dir.path().join("new"), dir.path().join("rows.csv"));
        fs::write(&new, "new").unwrap();
        fs::write(&target, "old").unwrap();
        assert_eq!(name_file(&new, &target, false).unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!((fs::read(&new).unwrap(), fs::read(&target).unwrap()), (b"new".to_vec(), b"old".to_vec()));
        name_file(&new, &target, true).unwrap();
        assert!(fs::read(&target).unwrap() == b"new" && !new.exists());
        fs::rename(&target, &new).unwrap();
        name_file(&new, &target, false).unwrap();
        assert!(fs::read(&target).unwrap() == b"new" && !new.exists());
        // Nothing to be had there: the system's own words, and the file is kept.
        fs::rename(&target, &new).unwrap();
        assert_eq!(name_file(&new, &dir.path().join("no/such"), false).unwrap_err().kind(), io::ErrorKind::NotFound);
        assert!(new.exists());
    }
}
