//! Where a command's single file goes: a named file, or standard output for `-`. One rule for every command that writes one.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::terminal;
use crate::output::Written;
use crate::output::staged::{self, OurFile, StagedError};

/// Options of every command that writes a single file.
#[derive(Debug, ClapArgs)]
pub(super) struct Destination {
    /// The file to write, `-` for standard output
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Replace a file even where it is not certainly an earlier output of this command
    #[arg(long)]
    pub(super) replace: bool,
}

impl Destination {
    /// True for standard output.
    pub(super) fn is_stream(&self) -> bool {
        self.out.as_os_str() == "-"
    }

    /// Writes what `fill` gives; `None` where it went to standard output. A reader that has read enough is no error.
    pub(super) fn write<E: From<StagedError>>(
        &self,
        ours: &OurFile,
        fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>,
    ) -> Result<Option<Written>, E> {
        if self.is_stream() {
            return terminal::stream(fill).map(|()| None);
        }
        staged::file(&self.out, ours, self.replace, fill).map(Some)
    }
}

/// `written: FILE`, `replaced: FILE` or `up to date: FILE`.
pub(super) fn remark(written: Written, out: &Path) -> String {
    let what = match written {
        Written::New => "written",
        Written::Replaced => "replaced",
        Written::UpToDate => "up to date",
    };
    format!("{what}: {}", out.display())
}
