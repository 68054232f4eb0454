//! Whatever takes the place of a file that is read (a pipe, a device, a folder, a file that is far too large) is refused with its name, at once and in little memory.

#![cfg(target_os = "linux")]

use std::fs;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program in 1 GB of address space and, where it hangs, killed after a minute.
fn run(dir: &Path, args: &[&str]) -> Output {
    let mut run = Command::new("timeout");
    run.args(["60", "sh", "-c", "ulimit -v 1000000; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_movewright")]).args(args);
    run.current_dir(dir).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr].concat()).into_owned()
}

fn pipe(at: &Path) {
    assert!(Command::new("mkfifo").arg(at).status().unwrap().success());
}

/// A shot, a written folder of it, and a log that holds to it.
fn marsh() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_owned();
    let good = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/two_keys_too_close");
    for file in ["good.toml", "stage.toml"] {
        fs::copy(good.join(file), at.join(file)).unwrap();
    }
    let written = run(&at, &["compile", "good.toml", "--out", "columns"]);
    assert_eq!(written.status.code(), Some(0), "{}", said(&written));
    fs::copy(at.join("columns/picture.steps.csv"), at.join("take.csv")).unwrap();
    let compared = run(&at, &["compare", "columns", "--pass", "picture", "take.csv"]);
    assert_eq!(compared.status.code(), Some(0), "{}", said(&compared));
    (dir, at)
}

/// What may take a file's place, by what is said of it.
fn put(what: &str, at: &Path) {
    let _gone = fs::remove_file(at);
    match what {
        "a named pipe" => pipe(at),
        "a device" => symlink("/dev/zero", at).unwrap(),
        "a folder" => fs::create_dir(at).unwrap(),
        _ => fs::File::create(at).unwrap().set_len(1 << 40).unwrap(),
    }
}

fn take_away(at: &Path) {
    if fs::symlink_metadata(at).unwrap().is_dir() { fs::remove_dir(at) } else { fs::remove_file(at) }.unwrap();
}

const WHAT: [&str; 4] = ["a named pipe", "a device", "a folder", "1099511627776 bytes or more"];

#[test]
fn trap_a_manifest_is_a_regular_file_of_bounded_size() {
    let (_dir, at) = marsh();
    let manifest = at.join("columns/manifest.json");
    for what in WHAT {
        put(what, &manifest);
        let verified = run(&at, &["verify", "columns"]);
        assert_eq!(verified.status.code(), Some(1), "{what}: {}", said(&verified));
        // Lines are broken where they end.
        let lines = said(&verified).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            lines.contains(&format!("manifest.json: cannot be read: it {} {what}", if what.starts_with('1') { "has" } else { "is" })),
            "{lines}"
        );
        let compared = run(&at, &["compare", "columns", "--pass", "picture", "take.csv"]);
        assert_eq!(compared.status.code(), Some(2), "{what}: {}", said(&compared));
        let code = if what.starts_with('1') { "file-too-large" } else { "not-a-file" };
        assert!(said(&compared).starts_with(&format!("error[{code}]: cannot read columns/manifest.json: it ")), "{}", said(&compared));
        let compiled = run(&at, &["compile", "good.toml", "--out", "columns", "--replace"]);
        assert_eq!(compiled.status.code(), Some(2), "{what}: {}", said(&compiled));
        assert!(said(&compiled).contains("error[not-ours]: columns holds `"), "{}", said(&compiled));
        take_away(&manifest);
    }
}

#[test]
fn trap_columns_and_logs_are_regular_files() {
    let (_dir, at) = marsh();
    let columns = at.join("columns/picture.steps.csv");
    for what in WHAT {
        put(what, &columns);
        let verified = run(&at, &["verify", "columns"]);
        assert_eq!(verified.status.code(), Some(1), "{what}: {}", said(&verified));
        let compared = run(&at, &["compare", "columns", "--pass", "picture", "take.csv"]);
        assert_eq!(compared.status.code(), Some(2), "{what}: {}", said(&compared));
        let words =
            if what.starts_with('1') { "it has changed since it was written".to_owned() } else { format!("cannot be read: it is {what}") };
        assert!(said(&compared).contains(&format!("picture.steps.csv: {words}")), "{}", said(&compared));
        take_away(&columns);
    }
    fs::copy(at.join("take.csv"), &columns).unwrap();
    for what in WHAT {
        put(what, &at.join("log.csv"));
        let compared = run(&at, &["compare", "columns", "--pass", "picture", "log.csv"]);
        assert_eq!(compared.status.code(), Some(2), "{what}: {}", said(&compared));
        let words = if what.starts_with('1') { "error[invalid-log]: log.csv, line 1: the next line is longer than" } else { what };
        assert!(said(&compared).contains(words), "{}", said(&compared));
        take_away(&at.join("log.csv"));
    }
}

#[test]
fn trap_shots_stages_and_keys_are_regular_files_of_bounded_size() {
    let (_dir, at) = marsh();
    let shot = fs::read_to_string(at.join("good.toml")).unwrap();
    fs::write(at.join("keyed.toml"), shot.replacen("keys = [", "keys = \"keys.csv\" # [", 1)).unwrap();
    for (file, shot) in [("shot.toml", "shot.toml"), ("stage.toml", "good.toml"), ("keys.csv", "keyed.toml")] {
        for what in WHAT {
            put(what, &at.join(file));
            let checked = run(&at, &["check", shot]);
            assert_eq!(checked.status.code(), Some(2), "{file}, {what}: {}", said(&checked));
            let code = if what.starts_with('1') { "file-too-large" } else { "not-a-file" };
            assert!(said(&checked).contains(code) && said(&checked).contains(what), "{file}, {what}: {}", said(&checked));
            take_away(&at.join(file));
        }
    }
}

/// The system refuses: that is said, and nothing about what the folder holds.
#[test]
fn trap_without_permission_nothing_is_said_about_the_contents() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let (_dir, at) = marsh();
    let program = at.join("movewright");
    assert!(Command::new("cp").arg(env!("CARGO_BIN_EXE_movewright")).arg(&program).status().unwrap().success());
    fs::set_permissions(&at, fs::Permissions::from_mode(0o755)).unwrap();
    let as_somebody = |args: &[&str]| {
        let mut run = Command::new(&program);
        // The owner of the system may read anything, so what it starts here is somebody else.
        if Command::new("id").arg("-u").output().unwrap().stdout == b"0\n" {
            run.uid(65_534).gid(65_534);
        }
        run.args(args).current_dir(&at).output()
    };
    if !as_somebody(&["verify", "columns"]).is_ok_and(|run| run.status.success()) {
        eprintln!("skipped: nobody but the system's owner can run the program here");
        return;
    }
    fs::set_permissions(at.join("columns"), fs::Permissions::from_mode(0o000)).unwrap();
    for args in
        [&["verify", "columns"][..], &["compare", "columns", "--pass", "picture", "take.csv"], &["check", "columns/source/good.toml"]]
    {
        let run = as_somebody(args).unwrap();
        assert_eq!(run.status.code(), Some(2), "{args:?}: {}", said(&run));
        assert!(said(&run).starts_with("error[unreadable-file]: cannot ") && said(&run).contains("Permission denied"), "{}", said(&run));
        assert!(!said(&run).contains("neither a manifest"), "{}", said(&run));
    }
    fs::set_permissions(at.join("columns"), fs::Permissions::from_mode(0o755)).unwrap();
}
