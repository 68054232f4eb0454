//! The staged writer: folders and files that are written completely or not at all.
//!
//! What: output is made in a staging directory beside its target, flushed, and moved there by one atomic replace.
//! Invariant: at every instant the target is the old output, complete, or the new one, complete, or (before the first time) absent. What a killed
//! run left beside the target, the next run removes.
//! The rule for what exists: an empty file or folder counts as absent. A file that is certainly an earlier output of the same kind ([`OurFile`]) is
//! replaced; any other regular file only on request. A folder of ours ([`OurFolder`]) whose content differs is replaced on request, rows of the same
//! axes and columns without; a folder that holds anything else never. A link to a file stays a link: what it leads to is replaced. Anything else
//! (a device, a pipe, a folder where a file is written, a file where a folder is) is refused. A file of somebody else's is changed by
//! [`rewrite`] alone, which is given what it holds; a record that only grows by [`append`].
//! Limits: of two runs into one target, the later one remains; what appears at the target after the last look at it may be replaced.

mod append;
mod atomic;
mod error;
mod file;
mod folder;
mod ours;
mod rewrite;
mod sink;
mod staging;
mod written;

pub(crate) use append::append;
pub(crate) use error::StagedError;
pub(crate) use file::{file, stream};
pub(crate) use folder::{StagedFolder, new_folder};
pub(crate) use ours::{OurFile, OurFolder};
pub(crate) use rewrite::rewrite;
#[cfg(test)]
pub(crate) use sink::hash_of;
pub(crate) use sink::is_unchanged;
#[cfg(target_os = "linux")]
pub(crate) use staging::discard;
pub use written::Written;
