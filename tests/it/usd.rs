//! The scene as OpenUSD, read by usd-core: a real lens that breathes, frames from 1001, samples within frames.
//!
//! Needs a Python with usd-core (PyPI), named by `USD_PYTHON` or `python3`; where there is none the test says SKIPPED and checks nothing. `.ci/usd` makes one.

use std::path::Path;
use std::process::Command;

use crate::lens::{keys, real_lens};

fn python() -> Option<String> {
    let python = std::env::var("USD_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let found = Command::new(&python).args(["-c", "from pxr import UsdValidation"]).output().is_ok_and(|o| o.status.success());
    found.then_some(python)
}

#[test]
fn usd_core_reads_the_scene_as_the_tables_have_it() {
    let Some(python) = python() else {
        eprintln!("SKIPPED: scene.usda is not read: no Python with usd-core");
        return;
    };
    for (options, lens) in [(&[][..], false), (&["--first-frame", "1001", "--samples-per-frame", "3"][..], true)] {
        let case = real_lens(&if lens { keys() } else { String::new() });
        let compiled = case.run(&[&["compile", "shot.toml", "--out", "written"][..], options].concat());
        assert!(compiled.status.success(), "{}", String::from_utf8_lossy(&compiled.stderr));
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/usd_check.py");
        let out = Command::new(&python).arg(script).arg(case.path().join("written")).output().unwrap();
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    }
}
