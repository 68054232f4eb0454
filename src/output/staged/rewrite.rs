//! A file of somebody else's, written anew where it still is what was read.
//!
//! Invariant: at every instant the file is the old text, whole, or the new one. It keeps its permissions; a link stays a link: what it leads to is replaced. A file that is not what was read, or that
//! may not be written, is left as it is.
//! Limits: it belongs to whoever runs the program from then on, and other names of the same file (hard links) keep the old text; a save in the instant between the last look and the renaming is lost.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::Path;

use super::error::{StagedError, refused};
use super::staging::StagingDirectory;
use crate::files;

/// Replaces `was` by `bytes` in the file `target`; false, with nothing written, where it holds something else.
///
/// # Errors
/// A file that cannot be read or may not be written; whatever the system says.
pub(crate) fn rewrite(target: &Path, was: &[u8], bytes: &[u8]) -> Result<bool, StagedError> {
    let real = fs::canonicalize(target).map_err(refused("cannot look at", target))?;
    let cannot = |error: io::Error| refused("cannot write", target)(error);
    let is_still = || files::read(&real, u64::try_from(was.len()).unwrap_or(u64::MAX)).is_ok_and(|now| now == was);
    if !is_still() {
        return Ok(false);
    }
    let permissions = fs::metadata(&real).map_err(cannot)?.permissions();
    if permissions.readonly() {
        return Err(cannot(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only")));
    }
    let staging = StagingDirectory::beside(&real)?;
    let mut made = File::create_new(staging.new_path()).map_err(cannot)?;
    made.write_all(bytes).map_err(cannot)?;
    made.set_permissions(permissions).map_err(cannot)?;
    made.sync_all().map_err(cannot)?;
    if !is_still() {
        return Ok(false);
    }
    staging.name_file(&real, true).map_err(cannot)?;
    Ok(true)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn only_what_was_read_is_replaced_and_nothing_is_left_beside_it() {
        let dir = tempfile::tempdir().unwrap();
        let at = dir.path().join("shot.toml");
        fs::write(&at, "old").unwrap();
        assert!(rewrite(&at, b"old", b"newer").unwrap());
        assert_eq!(fs::read(&at).unwrap(), b"newer");
        assert!(!rewrite(&at, b"old", b"newest").unwrap());
        assert!(!rewrite(&at, b"newer ", b"newest").unwrap());
        assert_eq!(fs::read(&at).unwrap(), b"newer");
        assert!(rewrite(&dir.path().join("none.toml"), b"", b"x").is_err());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_and_links_stay_and_a_read_only_file_is_left() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let (at, link) = (dir.path().join("shot.toml"), dir.path().join("link.toml"));
        fs::write(&at, "old").unwrap();
        std::os::unix::fs::symlink(&at, &link).unwrap();
        let mode = |mode| fs::set_permissions(&at, fs::Permissions::from_mode(mode)).unwrap();
        mode(0o640);
        assert!(rewrite(&link, b"old", b"new").unwrap());
        assert_eq!(fs::metadata(&at).unwrap().permissions().mode() & 0o777, 0o640);
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        mode(0o440);
        let refused = rewrite(&at, b"new", b"newer").unwrap_err().to_string();
        assert!(refused.contains("read-only") && fs::read(&at).unwrap() == b"new", "{refused}");
    }
}
