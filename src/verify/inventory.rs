//! Every file of a folder against the list in its manifest, or in the entry of a measured hand-off: there, of the right length and hash, and no other.
//!
//! Invariant: nothing outside the folder is opened, whatever the list says; links are not followed. Memory does not grow with the size of a file.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use super::fault::{FaultKind, Faults};
use super::record::FileRecord;
use crate::files::{self, Unreadable};

/// Holds the folder to the list, which the file `list` has. The names of the files that are listed and can be opened.
pub(super) fn check(dir: &Path, list: &str, listed: &[FileRecord], faults: &mut Faults) -> BTreeSet<String> {
    let (found, folders) = walk(dir, faults);
    let mut names = BTreeSet::new();
    for file in listed {
        if !is_plain(&file.path) {
            faults.file(FaultKind::Manifest, list, format!("lists `{}`, which is no path below the folder", file.path));
            continue;
        }
        if !names.insert(file.path.clone()) {
            faults.file(FaultKind::Manifest, list, format!("lists `{}` twice", file.path));
            continue;
        }
        match found.get(&file.path) {
            None => faults.file(FaultKind::Missing, &file.path, format!("{list} lists it, and it is not there")),
            Some(path) => compare(path, list, file, faults),
        }
    }
    for name in found.keys().filter(|n| *n != list && !names.contains(*n)) {
        faults.file(FaultKind::Extra, name, format!("{list} does not list it"));
    }
    for folder in folders.iter().filter(|f| !names.iter().any(|n| n.starts_with(f.as_str()))) {
        faults.file(FaultKind::Extra, folder, "a folder that holds no listed file".to_owned());
    }
    names.retain(|n| found.contains_key(n));
    names
}

/// Length and hash of one file against its entry. Of a file of another length nothing is read.
fn compare(path: &Path, list: &str, file: &FileRecord, faults: &mut Faults) {
    let held = files::open(path).and_then(|opened| match opened.limit() {
        bytes if bytes == file.bytes => Ok((bytes, Some(digest(opened)?))),
        bytes => Ok((bytes, None)),
    });
    match held {
        Err(error) => faults.file(FaultKind::Missing, &file.path, format!("cannot be read: {error}")),
        Ok((bytes, None)) => {
            faults.file(FaultKind::Changed, &file.path, format!("has {bytes} bytes, {list} has {}", file.bytes));
        }
        Ok((_, Some(hash))) if hash != file.blake3 => {
            faults.file(FaultKind::Changed, &file.path, format!("has BLAKE3 {hash}, {list} has {}", file.blake3));
        }
        Ok(_) => {}
    }
}

fn digest(mut file: impl Read) -> Result<String, Unreadable> {
    let (mut hash, mut buffer) = (blake3::Hasher::new(), vec![0; 1 << 16]);
    loop {
        let n = file.read(&mut buffer).map_err(|e| Unreadable::Refused(e.to_string()))?;
        if n == 0 {
            return Ok(hash.finalize().to_hex().to_string());
        }
        hash.update(buffer.get(..n).unwrap_or_default());
    }
}

/// Files by their name below the folder, and folders, each with a `/` at its end.
fn walk(dir: &Path, faults: &mut Faults) -> (BTreeMap<String, PathBuf>, Vec<String>) {
    let (mut files, mut folders) = (BTreeMap::new(), Vec::new());
    let mut waiting = vec![(dir.to_owned(), String::new())];
    while let Some((path, prefix)) = waiting.pop() {
        let entries = match fs::read_dir(&path) {
            Ok(entries) => entries,
            Err(error) => {
                faults.file(FaultKind::Missing, &prefix, format!("cannot be looked into: {error}"));
                continue;
            }
        };
        for entry in entries.flatten() {
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => {
                    folders.push(format!("{name}/"));
                    waiting.push((entry.path(), format!("{name}/")));
                }
                Ok(kind) if kind.is_file() => {
                    files.insert(name, entry.path());
                }
                _ => faults.file(FaultKind::Extra, &name, "is neither a file nor a folder".to_owned()),
            }
        }
    }
    folders.sort();
    (files, folders)
}

/// True for a path that stays below the folder and reads the same on every system.
fn is_plain(path: &str) -> bool {
    !path.contains(['\\', ':', '\0']) && path.split('/').all(|part| !part.is_empty() && part != "." && part != "..")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trap_a_listed_path_cannot_lead_out_of_the_folder() {
        for bad in ["", "/etc/x", "../x", "a/../../x", "a//b", "./x", "c:x", "a\\b"] {
            assert!(!is_plain(bad), "{bad}");
        }
        assert!(is_plain("source/keys/wings.csv"));
    }
}
