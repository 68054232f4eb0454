//! The staging directory beside a target, locked while it is in use. Those of runs that died are removed by a later run.
//!
//! Form: a folder `.movewright-partial-XXXXXX` that holds `lock` and, until it is put in place, `new` (a file or a folder).
//! Invariant: whoever removes a staging directory holds its lock, so no run loses the one it works in; a folder of that prefix with any other name
//! in it is left alone. A process that is about to end by a signal removes its own, and from then on puts nothing in place ([`discard`]).
//! Limits: where the system has no file locks, those of dead runs stay; where it cannot exchange two folders in one step, a run
//! killed between the two renames leaves the old folder whole as `old` in its staging directory, and no run removes that.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tempfile::TempDir;

use super::atomic;
use super::error::{StagedError, refused};

/// A locked staging directory of this run's own. It is removed, with what is in it, when dropped.
#[derive(Debug)]
pub(super) struct StagingDirectory {
    // Dropped in this order: the folder goes while it is on the list and its lock is held.
    dir: TempDir,
    _listed: Listed,
    _lock: File,
}

/// A path on the list of this process.
#[derive(Debug)]
struct Listed(PathBuf);

const PREFIX: &str = ".movewright-partial-";
const LOCK: &str = "lock";
const NEW: &str = "new";
const OLD: &str = "old";

/// How often a new staging directory may be taken for a dead one, between its making and its lock, before this run gives up.
const TRIES: usize = 16;

/// Staging directories of this process. Whoever makes, moves or removes one holds the list.
static LIVE: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn live() -> MutexGuard<'static, Vec<PathBuf>> {
    LIVE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// While it exists, no output of this process is put in staging.
#[cfg(target_os = "linux")]
#[derive(Debug)]
pub(crate) struct Discarded(#[allow(dead_code, reason = "held, never read")] MutexGuard<'static, Vec<PathBuf>>);

/// Removes the staging directories of this process, for a process that is about to end. Keep the result until the end: threads at work wait for it.
#[cfg(target_os = "linux")]
#[must_use]
pub(crate) fn discard() -> Discarded {
    let live = live();
    for dir in live.iter().filter(|dir| holds_only_our_names(dir)) {
        // A thread at work may add a file to a folder that is being removed.
        let _left_to_the_next_run = (0..TRIES).any(|_| fs::remove_dir_all(dir).is_ok());
    }
    Discarded(live)
}

impl StagingDirectory {
    /// Makes the target's parent where needed, cleans up after dead runs in it, and makes a staging directory there.
    ///
    /// # Errors
    /// A parent that cannot be made or written.
    pub(super) fn beside(target: &Path) -> Result<StagingDirectory, StagedError> {
        let parent = parent(target);
        fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
        StagingDirectory::create_in(&parent).map_err(refused("cannot write in", &parent))
    }

    fn create_in(parent: &Path) -> io::Result<StagingDirectory> {
        clean(parent);
        for _ in 0..TRIES {
            let mut live = live();
            let dir = tempfile::Builder::new().prefix(PREFIX).tempdir_in(parent).map_err(without_path)?;
            let lock = match locked(dir.path()) {
                Ok((lock, Hold::Ours | Hold::NoLocks)) => lock,
                Ok((_, Hold::Lost)) => continue,
                Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                Err(e) => return Err(e),
            };
            let path = dir.path().to_owned();
            live.push(path.clone());
            return Ok(StagingDirectory { dir, _listed: Listed(path), _lock: lock });
        }
        Err(io::Error::other("other runs cleaned up here all the time; try again"))
    }

    /// Where the result is made.
    pub(super) fn new_path(&self) -> PathBuf {
        self.dir.path().join(NEW)
    }

    /// Makes the folder in which the result is made.
    ///
    /// # Errors
    /// A parent of the target that cannot be written.
    pub(super) fn make_folder(&self, target: &Path) -> Result<(), StagedError> {
        fs::create_dir(self.new_path()).map_err(refused("cannot write in", &parent(target)))
    }

    /// Gives a folder its name, where nothing or an empty folder exists.
    ///
    /// # Errors
    /// What the system says; a folder that is not empty is refused.
    pub(super) fn name_folder(&self, target: &Path) -> io::Result<()> {
        atomic::flush_folders(&self.new_path());
        let live = live();
        fs::rename(self.new_path(), target)?;
        drop(live);
        atomic::flush(&parent(target));
        Ok(())
    }

    /// Gives a file its name. Without `over`, only where nothing exists.
    ///
    /// # Errors
    /// What the system says; `AlreadyExists` where something exists.
    pub(super) fn name_file(&self, target: &Path, over: bool) -> io::Result<()> {
        let live = live();
        atomic::name_file(&self.new_path(), target, over)?;
        drop(live);
        atomic::flush(&parent(target));
        Ok(())
    }

    /// Swaps the folder made with the one at the target. The old one is then in this staging directory, and goes with it.
    ///
    /// # Errors
    /// What the system says.
    pub(super) fn exchange(&mut self, target: &Path) -> io::Result<()> {
        atomic::flush_folders(&self.new_path());
        let live = live();
        if !atomic::exchange(&self.new_path(), target)? {
            self.exchange_in_two(target)?;
        }
        drop(live);
        atomic::flush(&parent(target));
        Ok(())
    }

    /// The old folder steps aside first; between the two renames it is in this staging directory, whole.
    fn exchange_in_two(&mut self, target: &Path) -> io::Result<()> {
        let old = self.dir.path().join(OLD);
        fs::rename(target, &old)?;
        let Err(error) = fs::rename(self.new_path(), target) else { return Ok(()) };
        if fs::rename(&old, target).is_ok() {
            return Err(error);
        }
        self.dir.disable_cleanup(true);
        Err(io::Error::other(format!("{error}; what was there is kept in {}", old.display())))
    }
}

impl Drop for Listed {
    fn drop(&mut self) {
        live().retain(|dir| *dir != self.0);
    }
}

/// The folder a path is in.
pub(super) fn parent(path: &Path) -> PathBuf {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// What the system said, without the name of a directory that was not made.
fn without_path(error: io::Error) -> io::Error {
    let text = error.to_string();
    let said = text.split_once(" at path ").map(|(said, _)| io::Error::new(error.kind(), said));
    said.unwrap_or(error)
}

/// What came of locking a staging directory.
enum Hold {
    /// Locked.
    Ours,
    /// Another run holds it, or has removed it.
    Lost,
    /// The system has no locks here.
    NoLocks,
}

fn locked(dir: &Path) -> io::Result<(File, Hold)> {
    let path = dir.join(LOCK);
    let file = OpenOptions::new().write(true).create(true).truncate(false).open(&path)?;
    let hold = match file.try_lock() {
        Ok(()) if is_at(&file, &path) => Hold::Ours,
        Ok(()) | Err(TryLockError::WouldBlock) => Hold::Lost,
        Err(TryLockError::Error(_)) => Hold::NoLocks,
    };
    Ok((file, hold))
}

/// False where the file was removed after it was opened, and before it was locked.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |m: &fs::Metadata| (m.dev(), m.ino());
    matches!((file.metadata(), fs::symlink_metadata(path)), (Ok(a), Ok(b)) if id(&a) == id(&b))
}

#[cfg(not(unix))]
fn is_at(_file: &File, path: &Path) -> bool {
    path.exists()
}

/// Removes the staging directories of dead runs. What cannot be removed is left: it is in nobody's way.
fn clean(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else { return };
    for entry in entries.flatten() {
        let ours = entry.file_name().to_str().is_some_and(|name| name.starts_with(PREFIX));
        let dir = entry.path();
        if !ours || !entry.file_type().is_ok_and(|t| t.is_dir()) || !holds_only_our_names(&dir) {
            continue;
        }
        if let Ok((lock, Hold::Ours)) = locked(&dir) {
            // Looked at again: only now can nobody be at work in it.
            if holds_only_our_names(&dir) {
                let _left_to_the_next_run = fs::remove_dir_all(&dir);
            }
            drop(lock);
        }
    }
}

fn holds_only_our_names(dir: &Path) -> bool {
    let Ok(mut entries) = fs::read_dir(dir) else { return false };
    entries.all(|entry| entry.is_ok_and(|e| e.file_name() == LOCK || e.file_name() == NEW))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn names(dir: &Path) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn directories_of_the_dead_go_and_those_in_use_and_of_others_stay() {
        let parent = tempfile::tempdir().unwrap();
        let p = |name: &str| parent.path().join(name);
        // Killed: at work, before its lock, and after the rename.
        fs::create_dir_all(p(&format!("{PREFIX}dead-1/new/a/b"))).unwrap();
        fs::create_dir(p(&format!("{PREFIX}dead-2"))).unwrap();
        fs::create_dir(p(&format!("{PREFIX}dead-3"))).unwrap();
        fs::write(p(&format!("{PREFIX}dead-3/lock")), "").unwrap();
        // Somebody's, or an old result between two renames, or no folder.
        fs::create_dir_all(p(&format!("{PREFIX}kept-old/old"))).unwrap();
        fs::create_dir_all(p(&format!("{PREFIX}kept-notes/notes"))).unwrap();
        fs::write(p(&format!("{PREFIX}kept-file")), "").unwrap();
        fs::create_dir_all(p("partial-kept/new")).unwrap();
        let at_work = StagingDirectory::create_in(parent.path()).unwrap();
        fs::write(at_work.new_path(), "half").unwrap();
        let second = StagingDirectory::create_in(parent.path()).unwrap();
        assert_eq!(fs::read_to_string(at_work.new_path()).unwrap(), "half");
        let left = names(parent.path());
        assert_eq!(left.iter().filter(|n| n.contains("kept")).count(), 4, "{left:?}");
        assert_eq!(left.len(), 6, "{left:?}");
        drop((at_work, second));
        assert_eq!(names(parent.path()).len(), 4);
        assert_eq!(names(&p(&format!("{PREFIX}kept-old"))), ["old"], "not even a lock is added");
    }

    #[test]
    fn two_renames_do_what_one_exchange_does_and_put_back_what_they_cannot_replace() {
        let parent = tempfile::tempdir().unwrap();
        let target = parent.path().join("dusk");
        fs::create_dir_all(target.join("first")).unwrap();
        let mut staging = StagingDirectory::create_in(parent.path()).unwrap();
        assert!(staging.exchange_in_two(&target).is_err(), "nothing was made yet");
        assert_eq!(names(&target), ["first"]);
        fs::create_dir_all(staging.new_path().join("second")).unwrap();
        staging.exchange_in_two(&target).unwrap();
        assert_eq!(names(&target), ["second"]);
        drop(staging);
        assert_eq!(names(parent.path()), ["dusk"]);
    }
}
