//! The files an input was read from.
//!
//! Invariant: the shot file comes first, the stage file second, then the tables of the stage, then key files, each once. Names are relative to the shot's folder, with `/` between folders
//! and `..` only at their start, so that they mean the same on every system and the copies below one folder find each other by the same names.

use core::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::bounds::{Code, Flaw};
use crate::stage::check_display_name;

/// One file that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    name: String,
    path: PathBuf,
    bytes: Arc<[u8]>,
}

impl Source {
    pub(super) fn new(name: &str, bytes: Arc<[u8]>) -> Source {
        Source { name: name.to_owned(), path: PathBuf::from(name), bytes }
    }

    /// Path relative to the shot's folder, as messages show it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where it was read from.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What was read.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
}

/// All files that were read, in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sources {
    list: Vec<Source>,
    /// Names of the folders that lead to the shot, outermost first.
    folders: Vec<String>,
    /// How many of the files were read by the end of the stage: the shot, the stage and its tables.
    until_stage: usize,
}

impl Sources {
    pub(super) fn in_folders(folders: Vec<String>) -> Sources {
        Sources { list: Vec::new(), folders, until_stage: 0 }
    }

    pub(super) fn push(&mut self, source: Source) -> usize {
        self.list.push(source);
        self.list.len() - 1
    }

    /// What the stage file and the tables that it names hold: equal where the stages are.
    #[must_use]
    pub(crate) fn stage(&self) -> Vec<u8> {
        let mut all = Vec::new();
        for file in self.list.iter().take(self.until_stage).skip(1) {
            all.extend(format!("{}\n{}\n", file.name, file.bytes.len()).bytes());
            all.extend(file.bytes.iter());
        }
        all
    }

    /// The stage has been read.
    pub(super) fn stage_is_read(&mut self) {
        self.until_stage = self.list.len();
    }

    pub(super) fn found_below(&mut self, folder: &Path) {
        for source in &mut self.list {
            source.path = folder.join(&source.name);
        }
    }

    /// The files lie where those of the same names do in `others`.
    pub(super) fn found_as(&mut self, others: &Sources) {
        for source in &mut self.list {
            if let Some(other) = others.list.iter().find(|other| other.name == source.name) {
                source.path.clone_from(&other.path);
            }
        }
    }

    /// Names of the folders that lead to the shot.
    pub(super) fn folders(&self) -> &[String] {
        &self.folders
    }

    /// The file of this index.
    #[must_use]
    pub fn get(&self, index: usize) -> Option<&Source> {
        self.list.get(index)
    }

    /// The files in order: shot, stage, key files.
    pub fn iter(&self) -> impl Iterator<Item = &Source> {
        self.list.iter()
    }

    /// Their names in order, as messages write them.
    #[must_use]
    pub(crate) fn names(&self) -> Vec<String> {
        self.list.iter().map(|s| s.name.clone()).collect()
    }

    /// How many files were read.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// True where no file could be read.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Every file for a copy of the input: its path below the innermost folder that holds them all, with `/` between folders, and its bytes. The shot comes first.
    #[must_use]
    pub(crate) fn for_copying(&self) -> Vec<(String, Vec<u8>)> {
        let most_up = self.list.iter().map(|s| steps_up(&s.name)).max().unwrap_or(0);
        let mut copies: Vec<(String, Vec<u8>)> = Vec::new();
        for source in &self.list {
            let up = steps_up(&source.name);
            let skip = self.folders.len().saturating_sub(most_up);
            let mut path = String::new();
            for folder in self.folders.iter().skip(skip).take(most_up - up) {
                let _ = write!(path, "{folder}/");
            }
            path.push_str(without_up(&source.name));
            if copies.iter().all(|(other, _)| *other != path) {
                copies.push((path, source.bytes.to_vec()));
            }
        }
        copies
    }

    /// The name in its plain form, if it is one that files may have.
    ///
    /// # Errors
    /// Absolute paths, backslashes, drive letters, hidden characters, `..` behind a folder or above the outermost folder.
    pub(super) fn plain_name(&self, written: &str) -> Result<String, Flaw> {
        let refused = |what: &str| {
            Flaw::new(Code::PathNotAllowed, "", what)
                .found(super::values::quoted(written), "a path from the shot's folder, with / between folders and .. only at its start")
        };
        if written.is_empty() {
            return Err(refused("the path is empty").help("write the file's name"));
        }
        if written.starts_with('/') || written.chars().nth(1) == Some(':') {
            return Err(refused("absolute paths are not allowed: the folder could not be moved to another machine")
                .help("put the file in or beside the shot's folder, and write the path from there"));
        }
        if written.contains('\\') {
            return Err(refused("the path contains a backslash").help("write / between folders"));
        }
        check_file_name(written)?;
        let mut up = 0;
        let mut parts: Vec<&str> = Vec::new();
        for part in written.split('/') {
            match part {
                "" | "." => {}
                ".." if parts.is_empty() => up += 1,
                ".." => return Err(refused("the path has `..` after a folder").help("write the shortest path")),
                _ => parts.push(part),
            }
        }
        if parts.is_empty() || written.ends_with('/') {
            return Err(refused("the path names a folder").help("name a file"));
        }
        if up > self.folders.len() {
            return Err(refused("the path leads above the outermost folder"));
        }
        // `../here/file` with `here` the shot's own folder is `file`.
        let mut rest = parts.as_slice();
        while let (true, Some((first, more))) = (up > 0, rest.split_first()) {
            let own = self.folders.get(self.folders.len() - up);
            if more.is_empty() || own.is_none_or(|own| own != first) {
                break;
            }
            up -= 1;
            rest = more;
        }
        Ok("../".repeat(up) + &rest.join("/"))
    }
}

/// Checks that a name, or a path of names, holds nothing that a reader does not see.
///
/// # Errors
/// A flaw of the whole file with the first hidden character.
pub(super) fn check_file_name(name: &str) -> Result<(), Flaw> {
    check_display_name("", name).map_err(|flaw| Flaw {
        code: Code::InvalidFileName,
        title: "the name of a file holds a character that cannot be seen".to_owned(),
        help: "rename the file".to_owned(),
        ..flaw
    })
}

fn steps_up(name: &str) -> usize {
    name.split('/').take_while(|part| *part == "..").count()
}

fn without_up(name: &str) -> &str {
    let mut rest = name;
    while let Some(shorter) = rest.strip_prefix("../") {
        rest = shorter;
    }
    rest
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn sources() -> Sources {
        Sources::in_folders(vec!["film".into(), "marsh".into(), "takes".into()])
    }

    #[test]
    fn copies_lie_below_the_folder_that_holds_them_all() {
        let mut sources = sources();
        for name in ["shot.toml", "../stage.toml", "keys/wings.csv"] {
            sources.push(Source::new(name, name.as_bytes().into()));
        }
        let paths: Vec<_> = sources.for_copying().into_iter().map(|(p, _)| p).collect();
        assert_eq!(paths, ["takes/shot.toml", "stage.toml", "takes/keys/wings.csv"]);
    }

    #[test]
    fn one_file_has_one_plain_name() {
        for (written, plain) in [
            ("keys.csv", "keys.csv"),
            ("./a//b.csv", "a/b.csv"),
            ("../stage.toml", "../stage.toml"),
            ("../takes/keys.csv", "keys.csv"),
            ("../../marsh/x.csv", "../x.csv"),
            ("../../marsh/takes/x.csv", "x.csv"),
        ] {
            assert_eq!(sources().plain_name(written).unwrap(), plain);
        }
    }

    #[test]
    fn paths_that_mean_different_files_elsewhere_are_refused() {
        for bad in ["", "/etc/stage.toml", "C:/stage.toml", "a\\b.csv", "a/../b.csv", "..", "../../../../x.csv", "a/"] {
            assert_eq!(sources().plain_name(bad).unwrap_err().code, "path-not-allowed", "{bad:?}");
        }
        for bad in ["a\u{0}b", "keys\u{202e}vsc.csv", "a/\u{200b}b.csv"] {
            assert_eq!(sources().plain_name(bad).unwrap_err().code, "invalid-file-name", "{bad:?}");
        }
    }
}
