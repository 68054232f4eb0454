//! Why an output was not written: one error for every kind of target.

use std::io;
use std::path::{Path, PathBuf};

/// Why an output was not written. Nothing at the target was changed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StagedError {
    /// A folder is written, and the target is something else.
    #[error("{path} is {what}, not a folder; it is left untouched: name a folder that does not exist yet, or one written by movewright")]
    NotAFolder {
        /// The target.
        path: PathBuf,
        /// What was found.
        what: &'static str,
    },
    /// The target must be a new folder, and holds something.
    #[error("{path} holds `{found}`; it is left untouched: name a folder that does not exist yet, or an empty one")]
    NotEmpty {
        /// The target.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The target is a folder that holds something that is not ours.
    #[error("{path} holds `{found}`, which movewright did not write; it is left untouched: name another folder")]
    Foreign {
        /// The target.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The target is a folder of ours with other content.
    #[error("{path} holds {what}; add --replace to replace it, or name another folder")]
    Differs {
        /// The target.
        path: PathBuf,
        /// What it holds.
        what: &'static str,
    },
    /// The target is a regular file that is not certainly ours.
    #[error("{path} exists and may not be {kind}; it is left untouched: add --replace to replace it, or name another file")]
    NotOurs {
        /// The target.
        path: PathBuf,
        /// What would be replaced without a request.
        kind: &'static str,
    },
    /// A file is written, and the target is something else.
    #[error("{path} is {what}, not a regular file; it is left untouched: name a file, or write `--out -` for standard output")]
    NotAFile {
        /// The target.
        path: PathBuf,
        /// What was found.
        what: &'static str,
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

/// The system's refusal of something at a path.
pub(super) fn refused(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> StagedError + use<> {
    let path = path.to_owned();
    move |error| StagedError::Io { doing, path, error }
}
