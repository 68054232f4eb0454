//! A folder of a few texts, made where nothing stands: whole or not there.
//!
//! Invariant: what is there already is never touched, but for an empty folder, whose place the new one takes.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use super::{FolderError, Workplace, parent, refused};

/// Makes the folder `target` with `files`: a name and its text each.
///
/// # Errors
/// A target that is a file or not empty; whatever the system says. Nothing is then changed.
pub fn fresh(target: &Path, files: &[(&str, &str)]) -> Result<(), FolderError> {
    nothing_at(target)?;
    let parent = parent(target);
    fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
    let place = Workplace::within(&parent).map_err(refused("cannot write in", &parent))?;
    let new = place.new_path();
    fs::create_dir(&new).map_err(refused("cannot write in", &parent))?;
    for (name, text) in files {
        // Told by the name it will have: the other is gone when it is read.
        write(&new.join(name), text).map_err(refused("cannot write", &target.join(name)))?;
    }
    let Err(error) = place.name_folder(target) else { return Ok(()) };
    // Somebody may have put something there in between.
    nothing_at(target)?;
    Err(refused("cannot put in place", target)(error))
}

fn nothing_at(target: &Path) -> Result<(), FolderError> {
    let meta = match fs::symlink_metadata(target) {
        Ok(meta) => meta,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(refused("cannot look at", target)(e)),
    };
    if !meta.is_dir() {
        return Err(FolderError::NotAFolder { path: target.to_owned() });
    }
    match fs::read_dir(target).map_err(refused("cannot look into", target))?.next() {
        None => Ok(()),
        Some(entry) => {
            let found = entry.map_or_else(|_| "?".to_owned(), |e| e.file_name().to_string_lossy().into_owned());
            Err(FolderError::NotEmpty { path: target.to_owned(), found })
        }
    }
}

fn write(path: &Path, text: &str) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn an_empty_folder_is_filled_and_anything_else_left_as_it_is() {
        let dir = tempfile::tempdir().unwrap();
        let marsh = dir.path().join("a/marsh");
        fs::create_dir_all(&marsh).unwrap();
        fresh(&marsh, &[("shot.toml", "one"), ("stage.toml", "two")]).unwrap();
        assert_eq!(fs::read_to_string(marsh.join("stage.toml")).unwrap(), "two");
        let again = fresh(&marsh, &[("shot.toml", "three")]).unwrap_err();
        assert!(matches!(again, FolderError::NotEmpty { .. }), "{again}");
        assert_eq!(fs::read_to_string(marsh.join("shot.toml")).unwrap(), "one");
        let on_a_file = fresh(&marsh.join("shot.toml"), &[]).unwrap_err();
        assert!(matches!(on_a_file, FolderError::NotAFolder { .. }), "{on_a_file}");
    }

    #[test]
    fn a_file_that_cannot_be_written_leaves_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let marsh = dir.path().join("marsh");
        assert!(fresh(&marsh, &[("shot.toml", "one"), ("no/such/folder.toml", "two")]).is_err());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}
