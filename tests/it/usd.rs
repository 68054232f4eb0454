//! The scene as OpenUSD, read by usd-core: a real lens that breathes, limbs on limbs, wires, frames from 1001, samples within frames.
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

/// A wing of two parts that beats, and a wire from high above the body to its end; before the rods of the heron.
const FIGURE: &str = "[[group.limb]]\nname = \"wing\"\npivot = [10, 15, -30]\nturn = [1, 0, 0]\nchannel = \"wing\"\n\n[[group.limb]]\nname = \"hand\"\nparent = \"wing\"\n\
                      pivot = [0, 0, -90]\nturn = [1, 0, 0.2]\nchannel = \"wing\"\n\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 0, -60]\nradius = 10\nlimb = \"hand\"\n\
                      use = [\"picture\"]\n\n[[group.wire]]\nfrom = \"body\"\nto = \"hand\"\nat = [[0, 900, 0], [0, 0, -60]]\ndiameter = 0.6\n\n[[group.rod]]";

#[test]
fn usd_core_reads_the_scene_as_the_tables_have_it() {
    let Some(python) = python() else {
        eprintln!("SKIPPED: scene.usda is not read: no Python with usd-core");
        return;
    };
    for (options, lens) in [(&[][..], false), (&["--first-frame", "1001", "--samples-per-frame", "3"][..], true)] {
        let case = real_lens(&if lens { keys() } else { String::new() });
        let stage = std::fs::read_to_string(case.path().join("stage.toml")).unwrap();
        let stage = stage.replacen("[[group.rod]]", FIGURE, 1);
        case.write("stage.toml", &stage);
        let compiled = case.run(&[&["compile", "shot.toml", "--out", "written"][..], options].concat());
        assert!(compiled.status.success(), "{}", String::from_utf8_lossy(&compiled.stderr));
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/usd_check.py");
        let out = Command::new(&python).arg(script).arg(case.path().join("written")).output().unwrap();
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let said = String::from_utf8_lossy(&out.stdout);
        assert!(said.contains(" of 8 prims") && said.contains(" 192 wires"), "{said}");
    }
}
