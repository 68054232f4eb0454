//! What stands in the `source/` of a folder, and what a file is called there. Reading it is handed in.

use std::path::{Component, Path, PathBuf};

use crate::shot::Shot;
use crate::stage::Stage;

/// What stands in a `source/` folder.
#[derive(Debug, Clone)]
pub(crate) struct Source {
    /// The stage.
    pub stage: Stage,
    /// The shot.
    pub shot: Shot,
    /// Every file that was read for them.
    pub files: Vec<PathBuf>,
}

/// Reads the shot file at a path and what it names; says in words why it cannot.
pub(crate) type ReadSource<'a> = dyn Fn(&Path) -> Result<Source, String> + 'a;

/// The name of a file below the folder, with `/`; `None` for one outside it.
pub(super) fn below(dir: &Path, file: &Path) -> Option<String> {
    let mut parts: Vec<String> = Vec::new();
    for part in file.strip_prefix(dir).ok()?.components() {
        match part {
            Component::Normal(name) => parts.push(name.to_string_lossy().into_owned()),
            Component::CurDir => {}
            Component::ParentDir => {
                parts.pop()?;
            }
            Component::Prefix(_) | Component::RootDir => return None,
        }
    }
    Some(parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_below_the_folder_are_found_through_steps_up() {
        let name = |f: &str| below(Path::new("out"), Path::new(f));
        assert_eq!(name("out/source/takes/../stage.toml").as_deref(), Some("source/stage.toml"));
        assert_eq!(name("out/../x"), None);
        assert_eq!(name("elsewhere/x"), None);
    }
}
