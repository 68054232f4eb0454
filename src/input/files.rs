//! The files of an input: how they are read, and what it says where one cannot be.
//!
//! Invariant: at most [`MOST_BYTES`] of a file are read.

use std::path::Path;

use crate::bounds::{Code, Flaw, MOST_BYTES};
pub use crate::files::Unreadable;

/// How a file is read: its path relative to the shot's folder, `/` between folders, becomes its bytes.
pub type Read<'r> = &'r dyn Fn(&str) -> Result<Vec<u8>, Unreadable>;

/// The flaw that an unreadable file is in an input that names `name`.
pub(super) fn flaw(why: &Unreadable, name: &str) -> Flaw {
    let found = why.to_string();
    let unread = |code| Flaw::new(code, "", format!("cannot read `{name}`")).found(found.as_str(), "a file that can be read");
    match why {
        Unreadable::Missing => unread(Code::MissingFile).help("check its name, and the path from the shot's folder"),
        Unreadable::Refused(_) => unread(Code::UnreadableFile).help("check the permissions and the disk"),
        Unreadable::NotAFile(_) => {
            Flaw::new(Code::NotAFile, "", format!("`{name}` is not a file")).found(found, "a regular file").help("name a file")
        }
        Unreadable::TooLarge { most, .. } => {
            Flaw::new(Code::FileTooLarge, "", format!("`{name}` is too large")).found(found, format!("at most {most} bytes"))
        }
    }
}

/// A path from the shot's folder that is written from another folder; one that is not allowed anyway stays as it is.
pub(super) fn from_folder(folder: &str, written: &str) -> String {
    if written.is_empty() || written.starts_with('/') || written.contains([':', '\\']) {
        return written.to_owned();
    }
    let mut folders: Vec<&str> = folder.split('/').filter(|part| !part.is_empty()).collect();
    let mut rest = written;
    while let Some(shorter) = rest.strip_prefix("../") {
        match folders.last() {
            Some(last) if *last != ".." => drop(folders.pop()),
            _ => folders.push(".."),
        }
        rest = shorter;
    }
    folders.push(rest);
    folders.join("/")
}

/// The flaw that a folder is named where the shot in it is meant; `None` where there is none in it.
pub(super) fn folder_of_a_shot(path: &Path) -> Option<Flaw> {
    let shot = path.join("shot.toml");
    let is = path.is_dir() && shot.is_file();
    let flaw = || flaw(&Unreadable::NotAFile("a folder"), &path.display().to_string());
    is.then(|| flaw().help(format!("name the shot in it: {}", shot.display())))
}

/// The bytes of a file.
///
/// # Errors
/// [`Unreadable`].
pub(super) fn read(path: &Path) -> Result<Vec<u8>, Unreadable> {
    crate::files::read(path, MOST_BYTES)
}
