//! A wrong call, and a shot that exceeds a limit: what the program says of them.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// The files that `diagnostics` plants mistakes in, in a folder, one of them changed.
fn in_folder(file: &str, from: &str, to: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for name in ["stage.toml", "shot.toml", "keys.csv"] {
        let mut text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/inside/diagnostics").join(name)).unwrap();
        if name == file {
            assert!(text.contains(from), "{file} has no {from:?}");
            text = text.replacen(from, to, 1);
        }
        fs::write(dir.path().join(name), text).unwrap();
    }
    dir
}

fn run_in(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

/// Lines broken for the window's width are one again.
fn said(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Each: the call, what was found, what is allowed or what to do. Nothing is written and nothing said on standard output.
#[test]
fn a_wrong_call_says_what_was_found_and_what_to_do() {
    let calls: &[(&[&str], &str, &str)] = &[
        (&["chek", "shot.toml"], "unrecognized subcommand 'chek'", "'check'"),
        (&["check", "shot.toml", "--jsn"], "unexpected argument '--jsn'", "a similar argument exists: '--json'"),
        (&["check"], "required arguments were not provided", "<SHOT>"),
        (&["compile", "shot.toml"], "required arguments were not provided", "--out <DIR>"),
        (&["compile", "shot.toml", "--out", "o", "--rows", "fast"], "`fast` is not a row rate", "allowed: more than 0"),
        (&["rows", "shot.toml", "--pass", "picture", "--rate", "0", "--out", "o.csv"], "`0` is not a row rate", "allowed: more than 0"),
        (&["rows", "shot.toml", "--pass", "picture", "--rate", "nan", "--out", "o.csv"], "`nan` is not a row rate", "allowed: more than 0"),
        (&["rows", "shot.toml", "--pass", "pictur", "--rate", "100", "--out", "o.csv"], "no pass `pictur`", "it has: picture, rods"),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "-", "--per-axis"],
            "--per-axis writes a folder",
            "name a folder",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--frames", "5"],
            "`5` is not a range of frames",
            "as 118..140",
        ),
        (&["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--frames", "9..5"], "`9..5`: ", "9"),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--frames", "1..99999"],
            "frames 1 to 99999 are not all photographed",
            "the shot has frames",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "-3"],
            "frame -3 is not photographed",
            "the shot has frames",
        ),
        (&["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "x"], "invalid value 'x'", "--at <N>"),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "5", "--return"],
            "cannot be used with",
            "--return",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "5", "--frames", "5..6"],
            "cannot be used with",
            "--frames",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--from", "keys.csv"],
            "required arguments were not provided",
            "--frames <N..M>",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "5", "--from", "none.csv"],
            "cannot read `none.csv`",
            "no such file",
        ),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "o.csv", "--at", "5", "--from", "keys.csv"],
            "keys.csv:1: the header is",
            "expected `axis,steps`",
        ),
        (&["plot", "shot.toml", "--axis", "camera.trakc", "--out", "o.svg"], "no axis `camera.trakc`", "`camera.track`"),
        (&["compile", "shot.toml", "--out", "letters"], "holds `letter.txt`, which movewright did not write", "name another folder"),
        (&["new", "letters"], "letters holds `letter.txt`", "name a folder that does not exist yet"),
        (&["verify", "letters"], "neither a manifest nor columns", "name a folder that movewright wrote"),
        (&["check", "shots.toml"], "cannot read `shots.toml`", "help: check its name"),
        (&["check", "letters"], "`letters` is not a file", "help: name a file"),
    ];
    let dir = in_folder("shot.toml", "format = 1", "format = 1");
    fs::create_dir(dir.path().join("letters")).unwrap();
    fs::write(dir.path().join("letters/letter.txt"), "herons").unwrap();
    let mut seen = BTreeSet::new();
    for (args, found, help) in calls {
        let out = run_in(dir.path(), args);
        let text = said(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{args:?}: {text}");
        // A folder is looked at when the move is ready to be written, and its table printed.
        assert!(out.stdout.is_empty() || args.contains(&"letters"), "{args:?}: {}", said(&out.stdout));
        for phrase in [found, help] {
            assert!(text.contains(phrase), "{args:?}: {phrase:?} is not in\n{text}");
        }
        assert_eq!(text.matches("error").count(), 1, "{args:?}: {text}");
        assert!(seen.insert(text), "{args:?} is told as another");
    }
    let left: BTreeSet<_> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["keys.csv", "letters", "shot.toml", "stage.toml"].map(Into::into).into());
}

/// Each: a change that makes the shot exceed one limit; which, and of what.
#[test]
fn what_is_over_a_limit_is_named_with_its_limit() {
    let over: &[(&str, &str, &str, &str, &str)] = &[
        ("stage.toml", "max_velocity = 300", "max_velocity = 0.2", "exceeded: camera.track: velocity", "the limit of 0.2 mm/s"),
        (
            "shot.toml",
            "seconds_per_frame = 12",
            "seconds_per_frame = 0.06",
            "exceeded: pass picture is too fast at 0.06 s per frame",
            "camera.track",
        ),
        ("shot.toml", "[96, 300.0]]", "[96, -300.0]]", "camera.track", "travel"),
        (
            "shot.toml",
            "settle = 3",
            "settle = 5.8",
            "the worst: heron_a.bridge: the move from frame",
            "only 0.200 s are available between exposures",
        ),
        ("stage.toml", "from = [0, 0, -3000]", "from = [100, 1200, 5500]", "exceeded: camera", "reeds"),
    ];
    for (file, from, to, what, limit) in over {
        let dir = in_folder(file, from, to);
        let out = run_in(dir.path(), &["check", "shot.toml"]);
        let text = said(&out.stdout);
        assert_eq!(out.status.code(), Some(1), "{to}: {text}{}", said(&out.stderr));
        let named = &text[text.find("exceeded: ").unwrap_or_else(|| panic!("{to}: {text}"))..];
        for phrase in [what, limit] {
            assert!(named.contains(phrase), "{to}: {phrase:?} is not in\n{named}");
        }
    }
}
