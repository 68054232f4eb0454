//! What goes to standard output arrives or is an error: a full disk, a limit on the size of files, a descriptor that cannot be written. A reader that left is none.

#![cfg(target_os = "linux")]

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_movewright"));
    command.stdin(Stdio::null()).stderr(Stdio::piped());
    command
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn in_repository(path: &str) -> String {
    format!("{}/{path}", env!("CARGO_MANIFEST_DIR"))
}

/// Every way to have something written to standard output, and the status where it arrives. `columns` is a written folder of the shot, `take.csv` a log.
fn calls() -> Vec<(Vec<String>, i32)> {
    let (good, refused) = (in_repository("examples/two_keys_too_close/good.toml"), in_repository("fixtures/broken/too_fast.toml"));
    let calls: [(&str, i32); 34] = [
        ("--help", 0),
        ("--version", 0),
        ("help rows", 0),
        ("check --help", 0),
        ("check GOOD", 0),
        ("check GOOD --all", 0),
        ("check GOOD --json", 0),
        ("check REFUSED", 1),
        ("check REFUSED --json", 1),
        ("pace GOOD", 0),
        ("pace REFUSED --json", 1),
        ("compile GOOD --out new", 0),
        ("compile REFUSED --out new", 1),
        ("verify columns", 0),
        ("verify changed", 1),
        ("changes GOOD GOOD", 0),
        ("changes GOOD GOOD --json", 0),
        ("changes GOOD REFUSED", 1),
        ("compare columns --pass picture take.csv", 0),
        ("compare columns --pass picture take.csv --json", 0),
        ("study RECORDING --body chest", 0),
        ("study RECORDING --json", 0),
        ("rig STAGE", 0),
        ("rig STAGE --json", 0),
        ("take columns --pass picture --good", 0),
        ("schema", 0),
        ("schema shot", 0),
        ("schema --reference", 0),
        ("schema --errors", 0),
        ("man", 0),
        ("completions bash", 0),
        ("report GOOD --out -", 0),
        ("plot GOOD --axis heron.bridge --out -", 0),
        ("rows GOOD --pass picture --rate 1 --out -", 0),
    ];
    let word = |word: &str| match word {
        "GOOD" => good.clone(),
        "REFUSED" => refused.clone(),
        "STAGE" => in_repository("examples/two_keys_too_close/stage.toml"),
        "RECORDING" => in_repository("fixtures/recordings/study_two.csv"),
        word => word.to_owned(),
    };
    calls.iter().map(|(call, status)| (call.split(' ').map(word).collect(), *status)).collect()
}

/// A folder with what the calls read.
fn marsh() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for out in ["columns", "changed"] {
        let mut compile = program();
        compile.args(["compile", &in_repository("examples/two_keys_too_close/good.toml"), "--out", out]).current_dir(dir.path());
        let written = compile.stdout(Stdio::null()).output().unwrap();
        assert_eq!(written.status.code(), Some(0), "{}", said(&written));
    }
    fs::copy(dir.path().join("columns/picture.steps.csv"), dir.path().join("take.csv")).unwrap();
    fs::write(dir.path().join("changed/picture.steps.csv"), "frame\n").unwrap();
    dir
}

/// Every call with this standard output.
fn with(dir: &Path, mut stdout: impl FnMut() -> Stdio, mut judge: impl FnMut(&[String], i32, &Output)) {
    for (call, status) in calls() {
        let _gone = fs::remove_dir_all(dir.join("new"));
        // A record of takes only grows.
        let _none = fs::remove_file(dir.join("takes.csv"));
        let output = program().args(&call).current_dir(dir).stdout(stdout()).output().unwrap();
        judge(&call, status, &output);
    }
}

#[test]
fn every_command_that_writes_to_it_is_among_the_calls() {
    let help = String::from_utf8(program().arg("--help").stdout(Stdio::piped()).output().unwrap().stdout).unwrap();
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let commands: BTreeSet<&str> =
        list.lines().filter(|l| l.starts_with("  ") && !l.starts_with("   ")).map(|l| l.split_whitespace().next().unwrap()).collect();
    let calls = calls();
    let called: BTreeSet<&str> = calls.iter().map(|(call, _)| call[0].as_str()).collect();
    // `new` says on standard error what it wrote; `watch` runs until it is ended, and is tried below.
    let missing: Vec<_> = commands.difference(&called).filter(|c| !["new", "watch"].contains(c)).collect();
    assert!(commands.len() > 10 && missing.is_empty(), "{missing:?}");
}

#[test]
fn trap_what_a_full_device_loses_is_an_error_in_one_line() {
    let dir = marsh();
    with(
        dir.path(),
        || OpenOptions::new().write(true).open("/dev/full").unwrap().into(),
        |call, _, output| {
            assert_eq!(output.status.code(), Some(2), "{call:?}: {}", said(output));
            assert_eq!(
                said(output),
                "error[write-failed]: cannot write standard output: No space left on device (os error 28)\n",
                "{call:?}"
            );
            assert!(!dir.path().join("new").exists(), "{call:?}: status 2 says that nothing was written");
        },
    );
}

#[test]
fn trap_a_descriptor_that_is_not_open_for_writing_loses_everything() {
    let dir = marsh();
    with(
        dir.path(),
        || File::open("/dev/null").unwrap().into(),
        |call, _, output| {
            assert_eq!(output.status.code(), Some(2), "{call:?}: {}", said(output));
            assert_eq!(said(output), "error[write-failed]: cannot write standard output: Bad file descriptor (os error 9)\n", "{call:?}");
        },
    );
}

#[test]
fn a_reader_that_left_is_no_error_and_the_status_is_the_verdict() {
    let dir = marsh();
    with(
        dir.path(),
        || {
            let (reader, writer) = std::io::pipe().unwrap();
            drop(reader);
            writer.into()
        },
        |call, status, output| {
            assert_eq!(output.status.code(), Some(status), "{call:?}: {}", said(output));
            assert!(!said(output).contains("error"), "{call:?}: {}", said(output));
        },
    );
}

#[test]
fn trap_a_limit_on_the_size_of_files_is_a_message_and_no_signal() {
    let dir = marsh();
    let mut cut = 0;
    for (call, status) in calls() {
        let whole = program().args(&call).current_dir(dir.path()).output().unwrap();
        let _gone = fs::remove_dir_all(dir.path().join("new"));
        let _none = fs::remove_file(dir.path().join("takes.csv"));
        let mut shell = Command::new("sh");
        // Four blocks, of 512 bytes or of 1024.
        shell.args(["-c", "ulimit -f 4; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_movewright")]).args(&call).current_dir(dir.path());
        let out = dir.path().join("output");
        let output = shell.stdout(File::create(&out).unwrap()).output().unwrap();
        if whole.stdout.len() > 4096 {
            cut += 1;
            assert_eq!(output.status.code(), Some(2), "{call:?}: {}", said(&output));
            assert_eq!(said(&output), "error[write-failed]: cannot write standard output: File too large (os error 27)\n", "{call:?}");
        } else if whole.stdout.len() <= 2048 && call[0] != "compile" {
            assert_eq!(output.status.code(), Some(status), "{call:?}: {}", said(&output));
            assert_eq!(fs::read(&out).unwrap(), whole.stdout, "{call:?}");
        }
        let _gone = fs::remove_dir_all(dir.path().join("new"));
    }
    assert!(cut >= 10, "{cut}");
}

/// The address that nobody can read is an error too, and nothing is served.
#[test]
fn watch_ends_where_its_address_cannot_be_written() {
    let dir = marsh();
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let out = program()
        .args(["watch", &in_repository("examples/two_keys_too_close/good.toml")])
        .current_dir(dir.path())
        .stdout(full())
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(2), "{}", said(&out));
    assert_eq!(said(&out).lines().count(), 1, "{}", said(&out));
}
