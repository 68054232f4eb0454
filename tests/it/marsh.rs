//! The files of a small stage and a shot of every kind of layer, for tests that run the program on them.

use std::path::{Path, PathBuf};

pub const STAGE: &str = include_str!("../marsh/stage.toml");
pub const SHOT: &str = include_str!("../marsh/shot.toml");
pub const LIFT: &str = include_str!("../marsh/lift.csv");

/// Writes the three files into a folder of their own below `temp`; the path of the shot.
pub fn write(temp: &Path) -> PathBuf {
    let source = temp.join("in");
    std::fs::create_dir(&source).unwrap();
    for (name, text) in [("stage.toml", STAGE), ("shot.toml", SHOT), ("lift.csv", LIFT)] {
        std::fs::write(source.join(name), text).unwrap();
    }
    source.join("shot.toml")
}
