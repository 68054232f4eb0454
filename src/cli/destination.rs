//! Where the output of a command goes. One rule for all: a command that writes one file writes it to a named file, or to standard output for `-`;
//! a command that writes a folder names a folder, and `-` is none.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::terminal;
use crate::bounds::Code;
use crate::output::Written;
use crate::output::staged::{self, OurFile, StagedError};

/// Options of every command that writes a single file.
#[derive(Debug, ClapArgs)]
pub(super) struct Destination {
    /// The file to write, `-` for standard output
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Replace a file even if it may not be an earlier output of this command
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

/// False for `-`, which is then refused; `what` writes the folder.
pub(super) fn is_folder(out: &Path, what: &str) -> bool {
    let folder = out.as_os_str() != "-";
    if !folder {
        let text = format!("{what} writes a folder, but `-` means standard output: name a folder (`./-` if it is called `-`)");
        terminal::error(Code::NotAFolder, text);
    }
    folder
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
