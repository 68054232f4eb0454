//! A place beside the target where a result is made, locked while it is in use; places of runs that died are cleaned by a later run.
//!
//! Form: a folder `.movewright-partial-XXXXXX` that holds `lock` and, until it is put in place, `new` (a file or a folder).
//! Invariant: whoever removes a place holds its lock, so no run loses the one it works in; a folder of that prefix with any other name in it is
//! left alone. Limits: where the system has no file locks, places of dead runs stay; where it cannot exchange two folders in one step, a run
//! killed between the two renames leaves the old folder whole as `old` in its place, and no run removes that.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// A locked place of this run's own. It is removed, with what is in it, when dropped.
#[derive(Debug)]
pub(in crate::output) struct Workplace {
    // Dropped in this order: the folder goes while its lock is held.
    dir: TempDir,
    _lock: File,
}

const PREFIX: &str = ".movewright-partial-";
const LOCK: &str = "lock";
const NEW: &str = "new";
const OLD: &str = "old";

/// How often a fresh place may be taken for a dead one, between its making and its lock, before this run gives up.
const TRIES: usize = 16;

impl Workplace {
    /// Cleans up after dead runs in `parent`, and makes a place there.
    ///
    /// # Errors
    /// A folder that cannot be written.
    pub(in crate::output) fn within(parent: &Path) -> io::Result<Workplace> {
        clean(parent);
        for _ in 0..TRIES {
            let dir = tempfile::Builder::new().prefix(PREFIX).tempdir_in(parent).map_err(without_path)?;
            let lock = match locked(dir.path()) {
                Ok((lock, Hold::Ours | Hold::NoLocks)) => lock,
                Ok((_, Hold::Lost)) => continue,
                Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                Err(e) => return Err(e),
            };
            return Ok(Workplace { dir, _lock: lock });
        }
        Err(io::Error::other("other runs cleaned up here all the time; try again"))
    }

    /// Where the result is made.
    pub(in crate::output) fn new_path(&self) -> PathBuf {
        self.dir.path().join(NEW)
    }

    /// Gives a folder its name, where nothing or an empty folder stands.
    ///
    /// # Errors
    /// What the system says; a folder that is not empty is refused.
    pub(in crate::output) fn name_folder(&self, target: &Path) -> io::Result<()> {
        flush_folders(&self.new_path());
        fs::rename(self.new_path(), target)?;
        flush(super::parent(target).as_path());
        Ok(())
    }

    /// Gives a file its name. Without `over`, only where nothing stands (on Linux; elsewhere what appears in the last instant is replaced).
    ///
    /// # Errors
    /// What the system says; `AlreadyExists` where something stands.
    pub(in crate::output) fn name_file(&self, target: &Path, over: bool) -> io::Result<()> {
        if over {
            fs::rename(self.new_path(), target)?
        } else {
            rename_onto_nothing(&self.new_path(), target)?
        }
        flush(super::parent(target).as_path());
        Ok(())
    }

    /// Swaps the folder made with the one at the target. The old one is then in this place, and goes with it.
    ///
    /// # Errors
    /// What the system says.
    pub(in crate::output) fn exchange(&mut self, target: &Path) -> io::Result<()> {
        flush_folders(&self.new_path());
        if !exchange_at_once(&self.new_path(), target)? {
            self.exchange_in_two(target)?;
        }
        flush(super::parent(target).as_path());
        Ok(())
    }

    /// The old folder steps aside first; between the two renames it stands in this place, whole.
    fn exchange_in_two(&mut self, target: &Path) -> io::Result<()> {
        let old = self.dir.path().join(OLD);
        fs::rename(target, &old)?;
        let Err(error) = fs::rename(self.new_path(), target) else { return Ok(()) };
        if fs::rename(&old, target).is_ok() {
            return Err(error);
        }
        self.dir.disable_cleanup(true);
        Err(io::Error::other(format!("{error}; what stood there is kept in {}", old.display())))
    }
}

/// What the system said, without the name of a place that was not made.
fn without_path(error: io::Error) -> io::Error {
    let text = error.to_string();
    let said = text.split_once(" at path ").map(|(said, _)| io::Error::new(error.kind(), said));
    said.unwrap_or(error)
}

/// What came of locking a place.
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

/// Removes the places of dead runs. What cannot be removed is left: it is in nobody's way.
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

/// Swaps two names in one step, so that no instant sees neither; false where the file system cannot.
#[cfg(target_os = "linux")]
fn exchange_at_once(new: &Path, target: &Path) -> io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, new, CWD, target, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

#[cfg(not(target_os = "linux"))]
fn exchange_at_once(_new: &Path, _target: &Path) -> io::Result<bool> {
    Ok(false)
}

#[cfg(target_os = "linux")]
fn rename_onto_nothing(new: &Path, target: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, new, CWD, target, RenameFlags::NOREPLACE) {
        Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => fs::rename(new, target),
        done => done.map_err(io::Error::from),
    }
}

#[cfg(not(target_os = "linux"))]
fn rename_onto_nothing(new: &Path, target: &Path) -> io::Result<()> {
    fs::rename(new, target)
}

/// Flushes a folder and those below it, so that a power cut after the rename finds every name in them.
fn flush_folders(dir: &Path) {
    let mut waiting = vec![dir.to_owned()];
    while let Some(dir) = waiting.pop() {
        let below = fs::read_dir(&dir).into_iter().flatten().flatten();
        waiting.extend(below.filter(|e| e.file_type().is_ok_and(|t| t.is_dir())).map(|e| e.path()));
        flush(&dir);
    }
}

/// Names are flushed where the system can; what it says is not asked: some cannot, and the contents are flushed already.
fn flush(dir: &Path) {
    if let Ok(dir) = File::open(dir) {
        let _where_it_can = dir.sync_all();
    }
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
    fn places_of_the_dead_go_and_those_in_use_and_of_others_stay() {
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
        let at_work = Workplace::within(parent.path()).unwrap();
        fs::write(at_work.new_path(), "half").unwrap();
        let second = Workplace::within(parent.path()).unwrap();
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
        let mut place = Workplace::within(parent.path()).unwrap();
        assert!(place.exchange_in_two(&target).is_err(), "nothing was made yet");
        assert_eq!(names(&target), ["first"]);
        fs::create_dir_all(place.new_path().join("second")).unwrap();
        place.exchange_in_two(&target).unwrap();
        assert_eq!(names(&target), ["second"]);
        drop(place);
        assert_eq!(names(parent.path()), ["dusk"]);
    }
}
