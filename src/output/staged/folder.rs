//! A folder: the output of a compiled shot, rows with one file per axis, or a few texts where nothing existed.
//!
//! Invariant: see the module; a folder that appears while this one is written is looked at again before anything is replaced.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::error::{StagedError, refused};
use super::ours::{OurFolder, Standing};
use super::sink::{Sink, is_unchanged};
use super::staging::StagingDirectory;
use super::written::Written;
use crate::output::manifest::{FileEntry, Manifest};

/// A folder being written in its staging directory.
#[derive(Debug)]
pub(crate) struct StagedFolder {
    target: PathBuf,
    ours: OurFolder,
    replace: bool,
    staging: StagingDirectory,
    files: Vec<FileEntry>,
}

impl StagedFolder {
    /// Looks at the target before any work, and makes the staging directory beside it. With `replace` a folder of ours with other content is replaced.
    ///
    /// # Errors
    /// A target that is not a folder of ours; a parent that cannot be written.
    pub(crate) fn beside(target: &Path, ours: OurFolder, replace: bool) -> Result<StagedFolder, StagedError> {
        if matches!(ours.at(target)?, Standing::Rows(false)) && !replace {
            return Err(differs(target, &ours));
        }
        let staging = StagingDirectory::beside(target)?;
        staging.make_folder(target)?;
        Ok(StagedFolder { target: target.to_owned(), ours, replace, staging, files: Vec::new() })
    }

    /// Adds a file, `path` relative with `/`, whose bytes `fill` gives.
    ///
    /// # Errors
    /// Whatever `fill` or the system says.
    pub(crate) fn file<E: From<StagedError>>(
        &mut self,
        path: &str,
        fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
    ) -> Result<(), E> {
        let hashed = !matches!(self.ours, OurFolder::Rows(_));
        let (bytes, hash) = write(&self.staging, &self.target, path, hashed, fill)?;
        self.files.extend(hash.map(|blake3| FileEntry { path: path.to_owned(), bytes, blake3 }));
        Ok(())
    }

    /// The files of an output folder so far.
    #[must_use]
    pub(crate) fn files(&self) -> &[FileEntry] {
        &self.files
    }

    /// Puts the folder in its place.
    ///
    /// # Errors
    /// A target with other content, unless it may be replaced; whatever the system says.
    pub(crate) fn put_in_place(mut self) -> Result<Written, StagedError> {
        let target = &self.target;
        let mut standing = self.ours.at(target)?;
        if matches!(standing, Standing::Nothing) {
            let Err(error) = self.staging.name_folder(target) else { return Ok(Written::New) };
            // Another run may have put its own there in between.
            standing = self.ours.at(target)?;
            if matches!(standing, Standing::Nothing) {
                return Err(refused("cannot put in place", target)(error));
            }
        }
        let may_replace = match &standing {
            Standing::Output(old) if same(old, target, &self.files) => return Ok(Written::UpToDate),
            Standing::Rows(true) => true,
            _ => self.replace,
        };
        if !may_replace {
            return Err(differs(target, &self.ours));
        }
        self.staging.exchange(target).map_err(refused("cannot replace", target))?;
        // What was at the target goes with the staging directory.
        Ok(Written::Replaced)
    }
}

/// Makes the folder `target` with `files`, a name and its text each, where nothing or an empty folder exists.
///
/// # Errors
/// A target that is a file or not empty; whatever the system says.
pub(crate) fn new_folder(target: &Path, files: &[(&str, &str)]) -> Result<(), StagedError> {
    let mut folder = StagedFolder::beside(target, OurFolder::New, false)?;
    for (name, text) in files {
        let cannot = refused("cannot write", &target.join(name));
        folder.file::<StagedError>(name, |out| out.write_all(text.as_bytes()).map_err(cannot))?;
    }
    folder.put_in_place().map(|_| ())
}

/// Writes and flushes a file of a folder that is being made; its length and, where asked for, its hash.
fn write<E: From<StagedError>>(
    staging: &StagingDirectory,
    target: &Path,
    path: &str,
    hashed: bool,
    fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
) -> Result<(u64, Option<String>), E> {
    let full = below(&staging.new_path(), path);
    // Errors give the name that the file will have: the other one is gone when they are read.
    let cannot = |error| refused("cannot write", &below(target, path))(error);
    // Each on its own, and never the staging directory: one that was discarded stays so.
    for (end, _) in path.match_indices('/') {
        match fs::create_dir(below(&staging.new_path(), path.get(..end).unwrap_or_default())) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(cannot(e).into()),
            _ => {}
        }
    }
    let file = File::create_new(&full).map_err(cannot)?;
    let (file, filled) = Sink::fill(file, hashed, |error: io::Error| cannot(error).into(), fill)?;
    file.sync_all().map_err(cannot)?;
    Ok((filled.bytes, filled.hash))
}

fn below(root: &Path, path: &str) -> PathBuf {
    path.split('/').fold(root.to_owned(), |p, part| p.join(part))
}

fn differs(target: &Path, ours: &OurFolder) -> StagedError {
    let what = match ours {
        OurFolder::New => "other files",
        OurFolder::Output => "different columns (the shot or the stage has changed since)",
        OurFolder::Rows(_) => "rows of other axes or with other columns",
    };
    StagedError::Differs { path: target.to_owned(), what }
}

/// True where the folder holds exactly these files, by their hashes on disk now.
fn same(old: &Manifest, target: &Path, files: &[FileEntry]) -> bool {
    let listed = old.files.len() + 1 == files.len();
    listed && files.iter().all(|f| is_unchanged(&below(target, &f.path), f.bytes, &f.blake3) == Ok(true))
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
        new_folder(&marsh, &[("shot.toml", "one"), ("stage.toml", "two")]).unwrap();
        assert_eq!(fs::read_to_string(marsh.join("stage.toml")).unwrap(), "two");
        let again = new_folder(&marsh, &[("shot.toml", "three")]).unwrap_err();
        assert!(matches!(again, StagedError::NotEmpty { .. }), "{again}");
        assert_eq!(fs::read_to_string(marsh.join("shot.toml")).unwrap(), "one");
        let on_a_file = new_folder(&marsh.join("shot.toml"), &[]).unwrap_err();
        assert!(matches!(on_a_file, StagedError::NotAFolder { .. }), "{on_a_file}");
    }

    #[test]
    fn a_file_that_cannot_be_written_leaves_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let marsh = dir.path().join("marsh");
        // A name of 300 bytes is longer than a file's name may be.
        assert!(new_folder(&marsh, &[("shot.toml", "one"), (&"x".repeat(300), "two")]).is_err());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}
