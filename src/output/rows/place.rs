//! Where rows go: a file or a folder that is whole or not there, written aside and renamed.
//!
//! Invariant: at every instant the target is the old one, complete, or the new one, complete, or (before the first time) absent. A file that
//! does not begin as rows do, and a folder that holds anything but such files, are never touched. What is no file at all (a device, a
//! named pipe) is written to as it stands.
//! Limits: an empty file or folder counts as nobody's work and is replaced.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::RowsError;

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

const ASIDE: &str = ".movewright-partial-";

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
    let old = match fs::metadata(target) {
        Ok(meta) => Some(meta),
        Err(e) if e.kind() == io::ErrorKind::NotFound => None,
        Err(e) => return Err(refused("cannot look at", target)(e)),
    };
    let mut real = target.to_owned();
    if let Some(old) = &old {
        if old.is_dir() {
            return Err(not_rows(target, "is a folder (rows of all axes go to one file; --per-axis takes a folder)"));
        }
        if !old.is_file() {
            let mut file = fs::OpenOptions::new().write(true).open(target).map_err(refused("cannot write to", target))?;
            fill(&mut file)?;
            return Ok(Placed::Streamed);
        }
        if !begins_as_rows(target)? {
            return Err(not_rows(target, "is a file that does not begin with `t_s,`, as rows do"));
        }
        // A link stays a link: what it leads to is replaced.
        real = fs::canonicalize(target).map_err(refused("cannot look at", target))?;
    }
    let parent = parent(&real);
    fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(ASIDE);
    rights(&mut builder, 0o666);
    let mut aside = builder.tempfile_in(&parent).map_err(refused("cannot write in", &parent))?;
    fill(aside.as_file_mut())?;
    aside.as_file().sync_all().map_err(refused("cannot write", target))?;
    aside.persist(&real).map_err(|e| refused("cannot put in place", target)(e.error))?;
    Ok(if old.is_some() { Placed::Replaced } else { Placed::New })
}

/// Writes a folder of files; `fill` writes them into the folder it is given.
///
/// # Errors
/// A target that is not a folder of rows; whatever `fill` or the system says. The target is then what it was.
pub fn to_folder(target: &Path, fill: impl FnOnce(&Path) -> Result<(), RowsError>) -> Result<Placed, RowsError> {
    let old = holds_rows(target)?;
    let parent = parent(target);
    fs::create_dir_all(&parent).map_err(refused("cannot make the folder", &parent))?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(ASIDE);
    rights(&mut builder, 0o777);
    let aside = builder.tempdir_in(&parent).map_err(refused("cannot write in", &parent))?;
    fill(aside.path())?;
    if old {
        exchange(aside.path(), target)?;
        // What was the target is now the folder aside, and goes when `aside` is dropped.
        return Ok(Placed::Replaced);
    }
    fs::rename(aside.path(), target).map_err(refused("cannot put in place", target))?;
    // The folder has moved: there is nothing left to clean up.
    let _moved = aside.keep();
    Ok(Placed::New)
}

/// Writes one file of a folder that is itself being written aside.
///
/// # Errors
/// Whatever `fill` or the system says.
pub fn within_folder(path: &Path, fill: impl FnOnce(&mut fs::File) -> Result<(), RowsError>) -> Result<(), RowsError> {
    let mut file = fs::File::create(path).map_err(refused("cannot write", path))?;
    fill(&mut file)?;
    file.sync_all().map_err(refused("cannot write", path))
}

fn parent(path: &Path) -> PathBuf {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_owned(),
        _ => PathBuf::from("."),
    }
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

/// Temporary files are for their owner's eyes alone; these become the result, and get the rights any new file or folder has.
#[cfg(unix)]
fn rights(builder: &mut tempfile::Builder<'_, '_>, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(mode));
}

#[cfg(not(unix))]
fn rights(_builder: &mut tempfile::Builder<'_, '_>, _mode: u32) {}

/// Swaps two folders in one step, so that no instant sees neither.
#[cfg(target_os = "linux")]
fn exchange(new: &Path, target: &Path) -> Result<(), RowsError> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, new, CWD, target, RenameFlags::EXCHANGE).map_err(|e| refused("cannot replace", target)(e.into()))
}

/// Where the system has no exchange: the old folder steps aside first; between the two renames it stands beside, whole.
#[cfg(not(target_os = "linux"))]
fn exchange(new: &Path, target: &Path) -> Result<(), RowsError> {
    let old = new.with_extension("old");
    fs::rename(target, &old).map_err(refused("cannot replace", target))?;
    fs::rename(new, target).map_err(refused("cannot replace", target))?;
    fs::rename(&old, new).map_err(refused("cannot clean up", &old))
}
