//! The written folder that something is compared with, and why nothing was compared.

use std::fs::File;
use std::io::Take;
use std::path::{Path, PathBuf};

use super::Outcome;
use super::coded::Coded;
use super::terminal;
use crate::bounds::{Budget, Code, MOST_BYTES, MOST_MANIFEST_BYTES};
use crate::compile::Compiled;
use crate::files::{self, Unreadable};
use crate::input::{self, Loaded, Rejection};
use crate::measure::{AxisFacts, Input, LogUnits};
use crate::output::handoff::sampling::Wishes;
use crate::output::manifest::{Manifest, PassEntry};
use crate::output::staged::is_unchanged;
use crate::shot::Pass;

/// Why nothing was compared.
pub(super) enum Failure {
    /// Errors with their codes.
    Coded(Vec<(Code, String)>),
    /// The shot in the folder cannot be read.
    Rejected(Box<Rejection>),
}

impl Failure {
    /// Prints it.
    pub(super) fn printed(self) -> Outcome {
        match self {
            Failure::Coded(errors) => errors.into_iter().for_each(|(code, text)| terminal::error(code, text)),
            Failure::Rejected(rejection) => terminal::rejection(&rejection),
        }
        Outcome::Wrong
    }
}

/// One error with its code.
pub(super) fn wrong(code: Code, text: impl core::fmt::Display) -> Failure {
    Failure::Coded(vec![(code, text.to_string())])
}

/// A folder that was written, and the pass of it that was run.
pub(super) struct WrittenFolder {
    dir: PathBuf,
    pub(super) manifest: Manifest,
    /// The manifest as it is, and its BLAKE3.
    pub(super) bytes: Vec<u8>,
    pub(super) hash: String,
    pass: String,
    /// Stage and shot that it was made from.
    pub(super) loaded: Loaded,
}

impl WrittenFolder {
    /// Reads the manifest and the sources of a folder.
    ///
    /// # Errors
    /// What cannot be read; a pass that it does not have.
    pub(super) fn open(dir: &Path, pass: &str) -> Result<WrittenFolder, Failure> {
        let path = dir.join("manifest.json");
        let bytes = files::read(&path, MOST_MANIFEST_BYTES).map_err(|why| unreadable(&path, &why))?;
        let manifest: Manifest = serde_json::from_slice(&bytes)
            .map_err(|e| wrong(Code::InvalidManifest, format!("{} is not a manifest: {e}", path.display())))?;
        if manifest.passes.iter().all(|p| p.name != pass) {
            let names: Vec<&str> = manifest.passes.iter().map(|p| p.name.as_str()).collect();
            return Err(wrong(Code::UnknownPass, format!("--pass: found `{pass}`, this folder has {}", names.join(", "))));
        }
        let loaded = input::load_written(dir).map_err(|rejection| Failure::Rejected(Box::new(rejection)))?;
        let hash = blake3::hash(&bytes).to_hex().to_string();
        Ok(WrittenFolder { dir: dir.to_owned(), manifest, bytes, hash, pass: pass.to_owned(), loaded })
    }

    fn entry(&self) -> Option<&PassEntry> {
        self.manifest.passes.iter().find(|p| p.name == self.pass)
    }

    /// The pass that was run.
    pub(super) fn pass(&self) -> Option<&Pass> {
        self.loaded.shot.passes().iter().find(|p| p.name() == self.pass)
    }

    /// The table of the pass in these units.
    ///
    /// # Errors
    /// A table that has changed.
    pub(super) fn columns(&self, units: LogUnits) -> Result<PathBuf, Failure> {
        self.table(self.entry().map_or("", |entry| match units {
            LogUnits::Steps => entry.steps.as_str(),
            LogUnits::Units => entry.units.as_str(),
        }))
    }

    /// A table of the folder, which must be the one that was written, or every figure would be beside the truth.
    ///
    /// # Errors
    /// A table that has changed.
    pub(super) fn table(&self, name: &str) -> Result<PathBuf, Failure> {
        let changed = |what: &str| Err(wrong(Code::FileChanged, format!("{name}: {what}; run `movewright verify` on the folder")));
        let Some(entry) = self.manifest.files.iter().find(|f| f.path == name) else { return changed("the manifest does not list it") };
        let path = self.dir.join(name);
        match is_unchanged(&path, entry.bytes, &entry.blake3) {
            Ok(true) => Ok(path),
            Ok(false) => changed("it has changed since it was written"),
            Err(e) => changed(&format!("cannot be read: {e}")),
        }
    }

    /// Every file below `source/`, with that name, as it was written.
    ///
    /// # Errors
    /// A file that has changed.
    pub(super) fn sources(&self) -> Result<Vec<(String, Vec<u8>)>, Failure> {
        let listed = self.manifest.files.iter().filter(|f| f.path.starts_with("source/"));
        let read = |name: &String| {
            let path = self.table(name)?;
            let bytes = files::read(&path, MOST_BYTES).map_err(|why| unreadable(&path, &why))?;
            Ok((name.clone(), bytes))
        };
        listed.map(|f| read(&f.path)).collect()
    }

    /// What was asked of its hand-off files.
    pub(super) fn wishes(&self) -> Wishes {
        let entry = self.manifest.hand_off.as_ref();
        Wishes {
            full_size: self.manifest.files.iter().any(|f| f.path.contains(".full_size.")),
            first_frame: entry.map(|e| e.first_frame),
            samples: entry.and_then(|e| u8::try_from(e.samples_per_frame).ok()).filter(|n| *n > 1),
        }
    }

    /// What must be known of its axes.
    pub(super) fn axes(&self) -> Vec<AxisFacts> {
        let stage = &self.loaded.stage;
        stage.axes().iter().zip(stage.axis_names()).map(|(axis, name)| AxisFacts::of(name, axis)).collect()
    }

    /// The shot with its curves. What was written once may be read, whatever it cost.
    ///
    /// # Errors
    /// A shot that no longer compiles.
    pub(super) fn compiled(&self) -> Result<Compiled, Failure> {
        Compiled::within(Budget::Large, self.loaded.stage.clone(), self.loaded.shot.clone())
            .map_err(|errors| Failure::Coded(errors.iter().map(|e| (e.flaw().code, e.to_string())).collect()))
    }
}

/// A file that cannot be read.
pub(super) fn unreadable(path: &Path, why: &Unreadable) -> Failure {
    wrong(why.code(), format!("cannot read {}: {why}", path.display()))
}

/// A table to read.
///
/// # Errors
/// A file that cannot be opened.
pub(super) fn opened(path: &Path) -> Result<Input<Take<File>>, Failure> {
    let reader = files::open(path).map_err(|why| unreadable(path, &why))?;
    Ok(Input { name: path.display().to_string(), reader })
}
