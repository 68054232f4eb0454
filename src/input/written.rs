//! The shot that a folder of columns was compiled from: it lies in the folder's `source/`, and the manifest names it.
//!
//! Invariant: a name that leads out of the folder is refused.

use std::path::{Component, Path, PathBuf};

use serde::Deserialize;

use super::files::flaw;
use crate::bounds::{Code, Flaw, MOST_MANIFEST_BYTES};
use crate::files::{self, Unreadable};

/// What is read of a manifest.
#[derive(Deserialize)]
struct Manifest {
    source: String,
}

/// The path of the shot: the path itself, or where it is a folder with a manifest, that of the shot in it.
///
/// # Errors
/// A manifest that cannot be read or names no file of the folder.
pub(super) fn shot_of(path: &Path) -> Result<PathBuf, Flaw> {
    let manifest = path.join("manifest.json");
    let shown = manifest.display().to_string();
    let bytes = match files::read(&manifest, MOST_MANIFEST_BYTES) {
        Ok(bytes) => bytes,
        Err(Unreadable::Missing | Unreadable::NotAFile(_)) => return Ok(path.to_owned()),
        // Of a file there is nothing to look for below it.
        Err(_) if !path.is_dir() => return Ok(path.to_owned()),
        Err(why) => return Err(flaw(&why, &shown)),
    };
    let invalid = |found: String, allowed: &str| {
        Flaw::new(Code::InvalidManifest, "source", format!("`{shown}` does not name the shot"))
            .found(found, allowed)
            .help("name the shot itself, or compile it again")
    };
    let Manifest { source } = serde_json::from_slice(&bytes).map_err(|e| invalid(e.to_string(), "the manifest of a compiled folder"))?;
    if source.is_empty() || !Path::new(&source).components().all(|part| matches!(part, Component::Normal(_))) {
        return Err(invalid(format!("`{source}`"), "a file below `source`"));
    }
    Ok(path.join("source").join(source))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_its_shot_and_a_file_is_itself() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("shot.toml");
        assert_eq!(shot_of(&file).unwrap(), file);
        std::fs::write(&file, "").unwrap();
        assert_eq!(shot_of(&file).unwrap(), file);
        assert_eq!(shot_of(dir.path()).unwrap(), dir.path());
        for (text, named) in [("{\"source\": \"shot.toml\"}", "shot.toml"), ("{\"source\": \"takes/a.toml\", \"x\": 1}", "takes/a.toml")] {
            std::fs::write(dir.path().join("manifest.json"), text).unwrap();
            assert_eq!(shot_of(dir.path()).unwrap(), dir.path().join("source").join(named));
        }
        for text in
            ["", "{}", "{\"source\": \"\"}", "{\"source\": \"../a.toml\"}", "{\"source\": \"/a.toml\"}", "{\"source\": \"a/../../b\"}"]
        {
            std::fs::write(dir.path().join("manifest.json"), text).unwrap();
            assert_eq!(shot_of(dir.path()).unwrap_err().code, Code::InvalidManifest, "{text}");
        }
    }
}
