//! One file of ours, written aside and renamed: a report, a plot.
//!
//! Invariant: at every instant the target is the old file, complete, or the new one, complete, or (before the first time) absent. A file that does
//! not begin as ours do is never touched; an empty one is nobody's work. Of two runs into one target the later one stands.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use super::folder::{Workplace, parent};

/// Why a file was not written. What stood there stands there still.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FileError {
    /// Something else stands there.
    #[error("{path} is there and is no {kind} of movewright's; it is left untouched: name another file")]
    NotOurs {
        /// The target.
        path: PathBuf,
        /// What is written.
        kind: &'static str,
    },
    /// The system refused.
    #[error("cannot write {path}: {error}")]
    Io {
        /// The target.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
}

/// Writes `text`, which begins with `begins`, to `target`; true where an older one of the same kind was replaced.
///
/// # Errors
/// A target that is something else; whatever the system says.
pub fn write(target: &Path, kind: &'static str, begins: &str, text: &str) -> Result<bool, FileError> {
    let refused = |error| FileError::Io { path: target.to_owned(), error };
    ours(target, kind, begins)?;
    let parent = parent(target);
    fs::create_dir_all(&parent).map_err(refused)?;
    let aside = Workplace::within(&parent).map_err(refused)?;
    let mut file = File::create(aside.new_path()).map_err(refused)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(refused)?;
    // Looked at again: something may have come there since.
    let over = ours(target, kind, begins)?;
    aside.name_file(target, over).map_err(refused)?;
    Ok(over)
}

/// True where a file of this kind, or an empty one, stands at the target; false where nothing does.
fn ours(target: &Path, kind: &'static str, begins: &str) -> Result<bool, FileError> {
    let not_ours = || FileError::NotOurs { path: target.to_owned(), kind };
    let refused = |error| FileError::Io { path: target.to_owned(), error };
    match fs::symlink_metadata(target) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(e) => Err(refused(e)),
        Ok(meta) if !meta.is_file() => Err(not_ours()),
        Ok(_) => {
            let mut start = Vec::new();
            let most = u64::try_from(begins.len()).unwrap_or(u64::MAX);
            File::open(target).map_err(refused)?.take(most).read_to_end(&mut start).map_err(refused)?;
            if start.is_empty() || start == begins.as_bytes() { Ok(true) } else { Err(not_ours()) }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn only_a_file_of_the_same_kind_is_replaced() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("new folder").join("move.html");
        let put = |text: &str| write(&at, "report", "<!-- ours", text).map_err(|e| e.to_string());
        assert_eq!((put("<!-- ours 1"), put("<!-- ours 2")), (Ok(false), Ok(true)));
        assert_eq!(fs::read_to_string(&at).unwrap(), "<!-- ours 2");
        fs::write(&at, "a letter").unwrap();
        assert!(put("<!-- ours 3").is_err_and(|e| e.contains("is no report of movewright's")));
        assert_eq!(fs::read_to_string(&at).unwrap(), "a letter");
        fs::write(&at, "").unwrap();
        assert_eq!(put("<!-- ours 4"), Ok(true));
        assert!(write(dir.path(), "report", "<!-- ours", "<!-- ours").is_err());
        // Nothing is left beside it.
        assert_eq!(fs::read_dir(at.parent().unwrap()).unwrap().count(), 1);
    }
}
