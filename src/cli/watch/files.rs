//! Which files wake the command: those that the shot reads, wherever they lie.
//!
//! What: folders are watched, not files, for editors write a new file and rename it. Only an event about a file of the shot wakes. A name that could not be read yet is watched as well.
//! Limits: a folder that does not exist is not watched until the shot or stage is saved again.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};

use notify::{Event, RecommendedWatcher, RecursiveMode, Watcher as _};

use crate::input::Sources;

/// What wakes the command.
pub(super) enum Wake {
    /// A file that may belong to the shot was saved.
    Saved,
    /// The person is done.
    Stop,
}

/// The folders and files watched.
pub(super) struct Watched {
    watcher: RecommendedWatcher,
    folders: BTreeSet<PathBuf>,
    names: Arc<Mutex<BTreeSet<PathBuf>>>,
}

impl Watched {
    /// Watches nothing yet.
    ///
    /// # Errors
    /// Whatever the system says.
    pub(super) fn start(wake: Sender<Wake>) -> Result<Watched, notify::Error> {
        let names: Arc<Mutex<BTreeSet<PathBuf>>> = Arc::default();
        let known = Arc::clone(&names);
        let heard = move |event: notify::Result<Event>| {
            let Ok(event) = event else { return };
            let known = known.lock().unwrap_or_else(PoisonError::into_inner);
            if !event.kind.is_access() && event.paths.iter().any(|p| known.contains(p)) {
                let _gone = wake.send(Wake::Saved);
            }
        };
        Ok(Watched { watcher: notify::recommended_watcher(heard)?, folders: BTreeSet::new(), names })
    }

    /// Watches the files of a shot, beside those it read before; true where some are new.
    pub(super) fn follow(&mut self, shot: &Path, sources: &Sources) -> bool {
        let mut some_are_new = false;
        for path in core::iter::once(shot).chain(sources.iter().map(|s| s.path())) {
            let Ok(folder) = folder_of(path).canonicalize() else { continue };
            let Some(name) = path.file_name() else { continue };
            some_are_new |= self.names.lock().unwrap_or_else(PoisonError::into_inner).insert(folder.join(name));
            if !self.folders.contains(&folder) && self.watcher.watch(&folder, RecursiveMode::NonRecursive).is_ok() {
                self.folders.insert(folder);
            }
        }
        some_are_new
    }
}

/// The folder that holds a file; the present one where it is named alone.
fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
