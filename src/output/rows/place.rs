//! Where rows go: a file or a folder that is whole or not there, written aside and renamed.
//!
//! Invariant: at every instant the target is the old one, complete, or the new one, complete, or (before the first time) absent. A file that
//! does not begin as rows do, and a folder that holds anything but such files, are never touched. What is no file at all (a device, a
//! named pipe) is written to as it stands.
//! Limits: an empty file or folder counts as nobody's work and is replaced. Of two runs into one target, the later one stands.

use std::fs;
use std::io::{self, Read};
use std::path::Path;

use super::RowsError;
use crate::output::folder::{Workplace, parent};

/// What became of a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placed {
    /// It was made.
    New,
    /// Older rows were replaced.
    Replaced,
    /// A device or a pipe was written to.
    Streamed,
}

/// How every file of rows begins.
const BEGINS: &[u8] = b"t_s,";

/// How often a target may change hands between the look at it and the renaming, before this run gives up.
const TRIES: usize = 16;

fn refused(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> RowsError {
    let path = path.to_owned();
    move |error| RowsError::Place { doing, path, error }
}

fn not_rows(path: &Path, what: impl Into<String>) -> RowsError {
    RowsError::NotRows { path: path.to_owned(), what: what.into() }
}

/// Writes a file; `fill` writes its bytes.
///
/// # Errors
/// A target that is not rows; whatever `fill` or the system says. The target is then what it was.
pub fn to_file(target: &Path, fill: impl FnOnce(&mut fs::File) -> Result<(), RowsError>) -> Result<Placed, RowsError> {
    let old = file_of_rows(target)?;
    if old.as_ref().is_some_and(|old| !old.is_file()) {
        let mut file = fs::OpenOptions::new().write(true).open(target).map_err(refused("cannot write to", target))?;
        fill(&mut file).map_err(named(target))?;
        return Ok(Placed::Streamed);
    }
    // A link stays a link: what it leads to is replaced.
    let real = if old.is_some() { fs::canonicalize(target).map_err(refused("cannot look at", target))? } else { target.to_owned() };
    let parent = parent(&real);
    fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
    let aside = Workplace::within(&parent).map_err(refused("cannot write in", &parent))?;
    write(&aside.new_path(), target, fill)?;
    for _ in 0..TRIES {
        // Looked at again: writing took its time.
        let over = file_of_rows(&real)?.is_some();
        match aside.name_file(&real, over) {
            Ok(()) => return Ok(if over { Placed::Replaced } else { Placed::New }),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(refused("cannot put in place", target)(e)),
        }
    }
    Err(refused("cannot put in place", target)(io::ErrorKind::AlreadyExists.into()))
}

/// Writes a folder of files; `fill` writes them into the folder it is given.
///
/// # Errors
/// A target that is not a folder of rows; whatever `fill` or the system says. The target is then what it was.
pub fn to_folder(target: &Path, fill: impl FnOnce(&Path) -> Result<(), RowsError>) -> Result<Placed, RowsError> {
    holds_rows(target)?;
    let parent = parent(target);
    fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
    let mut aside = Workplace::within(&parent).map_err(refused("cannot write in", &parent))?;
    let new = aside.new_path();
    fs::create_dir(&new).map_err(refused("cannot write in", &parent))?;
    fill(&new).map_err(|error| match error {
        // Told by the name it will have: the other is gone when it is read.
        RowsError::Place { doing, path, error } => {
            let path = path.strip_prefix(&new).map_or(path.clone(), |within| target.join(within));
            RowsError::Place { doing, path, error }
        }
        other => named(target)(other),
    })?;
    // Looked at again: writing took its time.
    if !holds_rows(target)? {
        let Err(error) = aside.name_folder(target) else { return Ok(Placed::New) };
        // Another run may have put its own there in between.
        if !holds_rows(target)? {
            return Err(refused("cannot put in place", target)(error));
        }
    }
    // What was the target goes with the place aside.
    aside.exchange(target).map_err(refused("cannot replace", target))?;
    Ok(Placed::Replaced)
}

/// Writes one file of a folder that is itself being written aside.
///
/// # Errors
/// Whatever `fill` or the system says.
pub fn within_folder(path: &Path, fill: impl FnOnce(&mut fs::File) -> Result<(), RowsError>) -> Result<(), RowsError> {
    write(path, path, fill)
}

/// Writes and flushes a file that is told of as `name`.
fn write(path: &Path, name: &Path, fill: impl FnOnce(&mut fs::File) -> Result<(), RowsError>) -> Result<(), RowsError> {
    let mut file = fs::File::create(path).map_err(refused("cannot write", name))?;
    fill(&mut file).map_err(named(name))?;
    file.sync_all().map_err(refused("cannot write", name))
}

/// What the system said of no file in particular, it said of this one.
fn named(path: &Path) -> impl FnOnce(RowsError) -> RowsError {
    let path = path.to_owned();
    move |error| match error {
        RowsError::Io(error) => RowsError::Place { doing: "cannot write", path, error },
        other => other,
    }
}

/// The file at the target, if it may be replaced or written to; `None` where nothing is there.
fn file_of_rows(target: &Path) -> Result<Option<fs::Metadata>, RowsError> {
    let meta = match fs::metadata(target) {
        Ok(meta) => meta,
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            return match fs::symlink_metadata(target) {
                Ok(_) => Err(not_rows(target, "is a link that leads nowhere")),
                Err(_) => Ok(None),
            };
        }
        Err(e) => return Err(refused("cannot look at", target)(e)),
    };
    if meta.is_dir() {
        return Err(not_rows(target, "is a folder (rows of all axes go to one file; --per-axis takes a folder)"));
    }
    if meta.is_file() && !begins_as_rows(target)? {
        return Err(not_rows(target, "is a file that does not begin with `t_s,`, as rows do"));
    }
    Ok(Some(meta))
}

/// True for an empty file too.
fn begins_as_rows(path: &Path) -> Result<bool, RowsError> {
    let mut start = Vec::new();
    let file = fs::File::open(path).map_err(refused("cannot read", path))?;
    file.take(4).read_to_end(&mut start).map_err(refused("cannot read", path))?;
    Ok(start.is_empty() || start == BEGINS)
}

/// True where the target is a folder with rows in it, false where it is absent or empty.
fn holds_rows(target: &Path) -> Result<bool, RowsError> {
    let meta = match fs::symlink_metadata(target) {
        Ok(meta) => meta,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(e) => return Err(refused("cannot look at", target)(e)),
    };
    if !meta.is_dir() {
        return Err(not_rows(target, "is not a folder (--per-axis writes one)"));
    }
    let mut any = false;
    for entry in fs::read_dir(target).map_err(refused("cannot look into", target))? {
        let entry = entry.map_err(refused("cannot look into", target))?;
        let (path, kind) = (entry.path(), entry.file_type().map_err(refused("cannot look into", target))?);
        let ours = kind.is_file() && path.extension().is_some_and(|e| e == "csv") && begins_as_rows(&path)?;
        if !ours {
            return Err(not_rows(target, format!("holds `{}`, which is not rows", entry.file_name().to_string_lossy())));
        }
        any = true;
    }
    Ok(any)
}
