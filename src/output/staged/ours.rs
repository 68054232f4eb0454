//! What counts as ours: an output folder with its manifest, a folder of rows with one file per axis, a single file.
//!
//! Invariant: something is ours only where it is so with certainty. An output folder holds a manifest of our kind and no file that the manifest does not
//! list; a folder of rows holds files whose whole header is that of rows of the axis they are named after, and nothing else; a single file begins
//! with a whole mark (a header line or a comment) and has the right end.

use std::fs::{self, File, Metadata};
use std::io::{self, Read, Seek, SeekFrom, Take};
use std::path::Path;

use super::error::{StagedError, refused};
use crate::bounds::MOST_MANIFEST_BYTES;
use crate::files::{self, Unreadable};
use crate::output::manifest::{KIND, Manifest};

/// A folder that may be replaced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum OurFolder {
    /// A new folder, or an empty one.
    New,
    /// An output folder with its manifest.
    Output,
    /// A folder of rows: the axis and the header line of every file that is written, `AXIS.csv`.
    Rows(Vec<(String, String)>),
}

/// A single file that is replaced without a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OurFile {
    kind: &'static str,
    begins: String,
    ends: &'static str,
}

/// What exists at the target of a folder.
#[derive(Debug)]
pub(super) enum Standing {
    /// Nothing, or an empty folder.
    Nothing,
    /// An output folder.
    Output(Box<Manifest>),
    /// A folder of rows; true where its files have the names and headers of those that are written.
    Rows(bool),
}

impl OurFolder {
    /// Looks at the target.
    ///
    /// # Errors
    /// A target that is not a folder of ours.
    pub(super) fn at(&self, target: &Path) -> Result<Standing, StagedError> {
        match (folder_at(target)?, self) {
            (None, _) => Ok(Standing::Nothing),
            (Some(found), OurFolder::New) => Err(StagedError::NotEmpty { path: target.to_owned(), found }),
            (Some(first), OurFolder::Output) => output_at(target, first).map(|m| Standing::Output(Box::new(m))),
            (Some(_), OurFolder::Rows(files)) => rows_at(target, files).map(Standing::Rows),
        }
    }
}

impl OurFile {
    /// Rows under this header line.
    #[must_use]
    pub(crate) fn rows(header: &str) -> OurFile {
        OurFile { kind: "rows with the same columns", begins: format!("{header}\n"), ends: "" }
    }

    /// A file that begins and ends like this, blanks at its end left out.
    #[must_use]
    pub(crate) fn marked(kind: &'static str, begins: &str, ends: &'static str) -> OurFile {
        OurFile { kind, begins: begins.to_owned(), ends }
    }

    /// Looks at the target, and through a link; true where a file exists that may be replaced, false where nothing exists.
    ///
    /// # Errors
    /// A target that is no regular file; without `replace`, one that is not certainly ours.
    pub(super) fn at(&self, target: &Path, replace: bool) -> Result<bool, StagedError> {
        let Some(meta) = metadata(target, true)? else { return Ok(false) };
        if !meta.is_file() {
            return Err(StagedError::NotAFile { path: target.to_owned(), what: files::kind(&meta) });
        }
        if replace || meta.len() == 0 || self.is(target).map_err(refused("cannot read", target))? {
            return Ok(true);
        }
        Err(StagedError::NotOurs { path: target.to_owned(), kind: self.kind })
    }

    /// True where a regular file has our beginning and our end.
    fn is(&self, path: &Path) -> io::Result<bool> {
        let mut file = open(path)?;
        if !begins_with(&mut file, &self.begins)? {
            return Ok(false);
        }
        // Space for an end and for a line end of any system.
        let length = file.seek(SeekFrom::End(0))?;
        let room = self.ends.len() as u64 + 8;
        file.seek(SeekFrom::Start(length.saturating_sub(room)))?;
        let mut last = Vec::new();
        file.take(room).read_to_end(&mut last)?;
        Ok(last.trim_ascii_end().ends_with(self.ends.as_bytes()))
    }
}

/// The name of something in a folder, or `None` where the target is absent or empty.
///
/// # Errors
/// A target that is no folder. A link is none.
pub(super) fn folder_at(target: &Path) -> Result<Option<String>, StagedError> {
    let Some(meta) = metadata(target, false)? else { return Ok(None) };
    if !meta.is_dir() {
        return Err(StagedError::NotAFolder { path: target.to_owned(), what: files::kind(&meta) });
    }
    let first = fs::read_dir(target).map_err(refused("cannot look into", target))?.next();
    Ok(first.map(|entry| entry.map_or_else(|_| "?".to_owned(), |e| e.file_name().to_string_lossy().into_owned())))
}

fn metadata(target: &Path, through_links: bool) -> Result<Option<Metadata>, StagedError> {
    match fs::symlink_metadata(target) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(refused("cannot look at", target)(e)),
        Ok(meta) if !(through_links && meta.is_symlink()) => return Ok(Some(meta)),
        Ok(_) => {}
    }
    match fs::metadata(target) {
        Ok(meta) => Ok(Some(meta)),
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            Err(StagedError::NotAFile { path: target.to_owned(), what: "a link that leads nowhere" })
        }
        Err(e) => Err(refused("cannot look at", target)(e)),
    }
}

fn open(path: &Path) -> io::Result<File> {
    files::open(path).map(Take::into_inner).map_err(io::Error::other)
}

fn begins_with(file: &mut File, text: &str) -> io::Result<bool> {
    let mut start = Vec::with_capacity(text.len());
    file.take(text.len() as u64).read_to_end(&mut start)?;
    Ok(start == text.as_bytes())
}

/// The manifest of an output folder; `first` is the name of something in it.
fn output_at(target: &Path, first: String) -> Result<Manifest, StagedError> {
    let foreign = |found: String| StagedError::Foreign { path: target.to_owned(), found };
    let path = target.join("manifest.json");
    let text = match files::read(&path, MOST_MANIFEST_BYTES) {
        Ok(text) => text,
        Err(Unreadable::Missing) => return Err(foreign(first)),
        Err(Unreadable::Refused(why)) => return Err(refused("cannot read", &path)(io::Error::other(why))),
        Err(_) => return Err(foreign("manifest.json".to_owned())),
    };
    let manifest: Manifest = serde_json::from_slice(&text).map_err(|_| foreign("manifest.json".to_owned()))?;
    if manifest.kind != KIND {
        return Err(foreign("manifest.json".to_owned()));
    }
    match unlisted(target, &manifest)? {
        Some(found) => Err(foreign(found)),
        None => Ok(manifest),
    }
}

/// A file in the folder that the manifest does not list.
fn unlisted(target: &Path, manifest: &Manifest) -> Result<Option<String>, StagedError> {
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

/// True where a folder of rows has the names and headers of `files`.
fn rows_at(target: &Path, files: &[(String, String)]) -> Result<bool, StagedError> {
    let (mut same, mut count) = (true, 0);
    for entry in fs::read_dir(target).map_err(refused("cannot look into", target))? {
        let entry = entry.map_err(refused("cannot look into", target))?;
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        let regular = entry.file_type().map_err(refused("cannot look at", &path))?.is_file();
        let header = match name.strip_suffix(".csv") {
            Some(axis) if regular => header_of_rows(&path, axis).map_err(refused("cannot read", &path))?.map(|h| (axis, h)),
            _ => None,
        };
        let Some((axis, header)) = header else { return Err(StagedError::Foreign { path: target.to_owned(), found: name }) };
        count += 1;
        same &= files.iter().any(|(a, h)| a == axis && *h == header);
    }
    Ok(same && count == files.len())
}

/// The header line of a file of rows of one axis; `None` for any other file.
fn header_of_rows(path: &Path, axis: &str) -> io::Result<Option<String>> {
    let mut file = open(path)?;
    let velocity = format!(",{axis}:steps_per_s");
    let marks = ["", ",shutter", ",frame", ",shutter,frame"].into_iter().flat_map(|marks| [marks.to_owned(), format!("{marks},warning")]);
    let marks: Vec<String> = marks.collect();
    for rates in [String::new(), velocity.clone(), format!("{velocity},{axis}:steps_per_s2")] {
        for marks in &marks {
            let header = format!("t_s,{axis}{rates}{marks}");
            file.seek(SeekFrom::Start(0))?;
            if begins_with(&mut file, &format!("{header}\n"))? {
                return Ok(Some(header));
            }
        }
    }
    Ok(None)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_ours_by_its_whole_beginning_and_its_end() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("x");
        let ours = |ours: &OurFile, text: &str| {
            fs::write(&at, text).unwrap();
            let found = ours.at(&at, false);
            assert!(matches!(found, Ok(true) | Err(StagedError::NotOurs { .. })), "{found:?}");
            found.is_ok()
        };
        let rows = OurFile::rows("t_s,heron.rise");
        for (text, want) in [
            ("t_s,heron.rise\n", true),
            ("t_s,heron.rise\n0,1\n", true),
            ("", true),
            ("t_s,heron.rise", false),
            ("t_s,heron.rise,shutter\n0,1,0\n", false),
            ("t_s,heron.rise\r\n0,1\r\n", false),
            ("t_s,water level\n0,1\n", false),
            (" t_s,heron.rise\n", false),
        ] {
            assert_eq!(ours(&rows, text), want, "{text:?}");
        }
        let page = OurFile::marked("a report", "<!-- ours -->", "</html>");
        for (text, want) in [
            ("<!-- ours --><p></html>", true),
            ("<!-- ours --><p></html>\r\n", true),
            ("<!-- ours --><p></html><p>and my notes", false),
            ("<!-- ours --><p></html", false),
            ("<!-- ours", false),
        ] {
            assert_eq!(ours(&page, text), want, "{text:?}");
        }
        fs::write(&at, "a letter").unwrap();
        assert!(page.at(&at, true).unwrap(), "on request");
        assert!(!page.at(&dir.path().join("y"), true).unwrap());
        assert!(matches!(page.at(dir.path(), true), Err(StagedError::NotAFile { .. })), "never");
    }

    #[test]
    fn a_folder_of_rows_is_ours_by_every_name_and_header() {
        let dir = tempfile::tempdir().unwrap();
        let file = |axis: &str, header: &str| (axis.to_owned(), header.to_owned());
        let ours = OurFolder::Rows(vec![file("a.x", "t_s,a.x"), file("a.y", "t_s,a.y")]);
        let at = |target: &Path| ours.at(target);
        assert!(matches!(at(&dir.path().join("none")), Ok(Standing::Nothing)));
        assert!(matches!(at(dir.path()), Ok(Standing::Nothing)));
        fs::write(dir.path().join("a.x.csv"), "t_s,a.x\n0,0\n").unwrap();
        assert!(matches!(at(dir.path()), Ok(Standing::Rows(false))), "an axis is missing");
        fs::write(dir.path().join("a.y.csv"), "t_s,a.y\n").unwrap();
        assert!(matches!(at(dir.path()), Ok(Standing::Rows(true))));
        fs::write(dir.path().join("a.y.csv"), "t_s,a.y,a.y:steps_per_s,shutter\n").unwrap();
        assert!(matches!(at(dir.path()), Ok(Standing::Rows(false))), "other columns");
        fs::write(dir.path().join("a.y.csv"), "t_s,a.y,shutter,frame\n").unwrap();
        assert!(matches!(at(dir.path()), Ok(Standing::Rows(false))), "with the frame");
        for foreign in ["t_s,a.x\n", "t_s,tide\n", "t_s,a.y,mine\n", ""] {
            fs::write(dir.path().join("a.y.csv"), foreign).unwrap();
            assert!(matches!(at(dir.path()), Err(StagedError::Foreign { .. })), "{foreign:?}");
        }
    }
}
