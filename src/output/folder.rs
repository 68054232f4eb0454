//! Folders that are whole or not there: written aside, flushed, then renamed.
//!
//! Invariant: at every instant the target is the old folder, complete, or the new one, complete, or (before the first time) absent. A folder that is not ours
//! is never touched; one of ours with other content only on request. What a killed run left beside the target, the next run removes.

mod fresh;
mod workplace;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::manifest::{FileEntry, KIND, Manifest};

pub use fresh::fresh;
pub(super) use workplace::Workplace;

/// What became of a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// The folder was made.
    New,
    /// A folder of ours with other content was replaced.
    Replaced,
    /// A folder of ours with the same content was left as it is.
    UpToDate,
}

/// Why a folder was not written. Nothing at the target was changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// The target is there and is a file.
    #[error("{path} is a file; name a folder that is not there yet, or one written by movewright")]
    IsFile {
        /// The target.
        path: PathBuf,
    },
    /// The target is there, is no folder, and a new one is wanted.
    #[error("{path} is there and is no folder; it is left untouched: name a folder that is not there yet")]
    NotAFolder {
        /// The target.
        path: PathBuf,
    },
    /// The target is there and holds something, and a new one is wanted.
    #[error("{path} holds `{found}`; it is left untouched: name a folder that is not there yet, or an empty one")]
    NotEmpty {
        /// The target.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The target is there and holds something that is not ours.
    #[error("{path} holds `{found}`, which movewright did not write; it is left untouched: name another folder")]
    NotOurs {
        /// The target.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The target is ours and differs.
    #[error("{path} holds other columns (the shot or the stage changed since); add --replace to replace it, or name another folder")]
    Differs {
        /// The target.
        path: PathBuf,
    },
    /// The system refused.
    #[error("{doing} {path}: {error}")]
    Io {
        /// What was tried.
        doing: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
}

/// A folder being written beside its target.
#[derive(Debug)]
pub struct Aside {
    target: PathBuf,
    place: Workplace,
    files: Vec<FileEntry>,
}

fn refused(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> FolderError {
    let path = path.to_owned();
    move |error| FolderError::Io { doing, path, error }
}

impl Aside {
    /// Looks at the target before any work, and makes a folder beside it.
    ///
    /// # Errors
    /// A target that is a file or not ours; a parent that cannot be written.
    pub fn beside(target: &Path) -> Result<Aside, FolderError> {
        existing(target)?;
        let parent = parent(target);
        fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
        let place = Workplace::within(&parent).map_err(refused("cannot write in", &parent))?;
        fs::create_dir(place.new_path()).map_err(refused("cannot write in", &parent))?;
        Ok(Aside { target: target.to_owned(), place, files: Vec::new() })
    }

    /// Adds a file, `path` relative with `/`, whose bytes `fill` writes.
    ///
    /// # Errors
    /// Whatever `fill` or the system says.
    pub fn file<E: From<FolderError>>(
        &mut self,
        path: &str,
        fill: impl FnOnce(&mut (dyn io::Write + Send)) -> Result<(), E>,
    ) -> Result<(), E> {
        let under = |root: &Path| path.split('/').fold(root.to_owned(), |p, part| p.join(part));
        let full = under(&self.place.new_path());
        // Told by the name it will have: the other is gone when it is read.
        let cannot = |error| refused("cannot write", &under(&self.target))(error);
        if let Some(parent) = full.parent() {
            fs::create_dir_all(parent).map_err(cannot)?;
        }
        let file = fs::File::create(&full).map_err(cannot)?;
        let mut hashed = Hashed { out: io::BufWriter::with_capacity(1 << 16, file), hash: blake3::Hasher::new(), bytes: 0, error: None };
        let filled = fill(&mut hashed);
        if filled.is_ok() {
            let _kept_below = io::Write::flush(&mut hashed);
        }
        if let Some(error) = hashed.error.take() {
            return Err(cannot(error).into());
        }
        filled?;
        let file = hashed.out.into_inner().map_err(|e| cannot(e.into_error()))?;
        file.sync_all().map_err(cannot)?;
        self.files.push(FileEntry { path: path.to_owned(), bytes: hashed.bytes, blake3: hashed.hash.finalize().to_hex().to_string() });
        Ok(())
    }

    /// The files so far.
    #[must_use]
    pub fn files(&self) -> &[FileEntry] {
        &self.files
    }

    /// Puts the folder in its place.
    ///
    /// # Errors
    /// A target with other content, unless `replace`; whatever the system says.
    pub fn into_place(mut self, replace: bool) -> Result<Written, FolderError> {
        let target = &self.target;
        let mut old = existing(target)?;
        if old.is_none() {
            let Err(error) = self.place.name_folder(target) else { return Ok(Written::New) };
            // Another run may have put its own there in between.
            old = existing(target)?;
            if old.is_none() {
                return Err(refused("cannot put in place", target)(error));
            }
        }
        if old.is_some_and(|old| same(&old, target, &self.files)) {
            return Ok(Written::UpToDate);
        }
        if !replace {
            return Err(FolderError::Differs { path: target.clone() });
        }
        self.place.exchange(target).map_err(refused("cannot replace", target))?;
        // What was the target goes with the place.
        Ok(Written::Replaced)
    }
}

/// The folder a path is in.
pub(super) fn parent(path: &Path) -> PathBuf {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// The manifest of a folder of ours; `None` where nothing is there.
fn existing(target: &Path) -> Result<Option<Manifest>, FolderError> {
    let meta = match fs::symlink_metadata(target) {
        Ok(meta) => meta,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(refused("cannot look at", target)(e)),
    };
    if !meta.is_dir() {
        return Err(FolderError::IsFile { path: target.to_owned() });
    }
    let not_ours = |found: String| FolderError::NotOurs { path: target.to_owned(), found };
    let path = target.join("manifest.json");
    let text = match fs::read(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            let first = fs::read_dir(target).map_err(refused("cannot look into", target))?.next();
            return match first {
                // An empty folder is nobody's work: the new one takes its place.
                None => Ok(None),
                Some(entry) => Err(not_ours(entry.map_or_else(|_| "?".to_owned(), |e| e.file_name().to_string_lossy().into_owned()))),
            };
        }
        Err(e) => return Err(refused("cannot read", &path)(e)),
    };
    let manifest: Manifest = serde_json::from_slice(&text).map_err(|_| not_ours("manifest.json".to_owned()))?;
    if manifest.kind != KIND {
        return Err(not_ours("manifest.json".to_owned()));
    }
    if let Some(stranger) = stranger(target, &manifest)? {
        return Err(not_ours(stranger));
    }
    Ok(Some(manifest))
}

/// A file in the folder that the manifest does not list.
fn stranger(target: &Path, manifest: &Manifest) -> Result<Option<String>, FolderError> {
    let mut waiting = vec![(target.to_owned(), String::new())];
    while let Some((dir, prefix)) = waiting.pop() {
        for entry in fs::read_dir(&dir).map_err(refused("cannot look into", &dir))? {
            let entry = entry.map_err(refused("cannot look into", &dir))?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            if entry.file_type().map_err(refused("cannot look at", &entry.path()))?.is_dir() {
                waiting.push((entry.path(), format!("{name}/")));
            } else if name != "manifest.json" && manifest.files.iter().all(|f| f.path != name) {
                return Ok(Some(name));
            }
        }
    }
    Ok(None)
}

/// True where the folder holds exactly these files, by their hashes on disk now.
fn same(old: &Manifest, target: &Path, files: &[FileEntry]) -> bool {
    let listed = old.files.len() + 1 == files.len();
    listed
        && files.iter().all(|f| {
            let full = f.path.split('/').fold(target.to_owned(), |p, part| p.join(part));
            hash_of(&full).is_ok_and(|(bytes, hash)| bytes == f.bytes && hash == f.blake3)
        })
}

/// Length and BLAKE3 of a file.
///
/// # Errors
/// What the system says.
pub fn hash_of(path: &Path) -> io::Result<(u64, String)> {
    let mut hash = blake3::Hasher::new();
    let bytes = io::copy(&mut fs::File::open(path)?, &mut hash)?;
    Ok((bytes, hash.finalize().to_hex().to_string()))
}

struct Hashed {
    out: io::BufWriter<fs::File>,
    hash: blake3::Hasher,
    bytes: u64,
    /// What the system said first, whatever becomes of it on the way up.
    error: Option<io::Error>,
}

impl Hashed {
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

impl io::Write for Hashed {
    fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
        let done = self.out.write(buf);
        let n = self.kept(done)?;
        if let Some(taken) = buf.get(..n) {
            self.hash.update(taken);
            self.bytes += taken.len() as u64;
        }
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        let done = self.out.flush();
        self.kept(done)
    }
}
