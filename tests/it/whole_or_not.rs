//! Whatever happens while it is written, a target is the old one, complete, or the new one, complete, and what a dead run left is in nobody's way.
//!
//! What needs rights an ordinary user lacks (a full disk, a read-only one) or that the system's owner has anyway (no permission) is skipped with
//! its reason where it cannot be had.

#![cfg(unix)]

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::marsh::{LIFT, SHOT, STAGE};
use movewright::verify;

/// Bytes of every file below a folder, or of one file; empty where nothing is there.
type Tree = BTreeMap<PathBuf, Vec<u8>>;

fn tree(path: &Path) -> Tree {
    let (mut found, mut waiting) = (Tree::new(), vec![path.to_owned()]);
    while let Some(path) = waiting.pop() {
        match fs::symlink_metadata(&path) {
            Ok(meta) if meta.is_dir() => waiting.extend(fs::read_dir(&path).unwrap().map(|e| e.unwrap().path())),
            Ok(_) => drop(found.insert(path.clone(), fs::read(&path).unwrap())),
            Err(_) => {}
        }
    }
    found
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<_> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn leftovers(dir: &Path) -> usize {
    names(dir).iter().filter(|n| n.starts_with(".movewright")).count()
}

const AXIS: &str = "camera.track";

/// Two shots that differ in one key, in a folder with spaces and letters of many kinds in its name, and an empty folder to write in.
struct Marsh {
    temp: tempfile::TempDir,
    shots: [PathBuf; 2],
    out: PathBuf,
}

impl Marsh {
    fn new() -> Marsh {
        let temp = tempfile::tempdir().unwrap();
        fs::set_permissions(temp.path(), fs::Permissions::from_mode(0o755)).unwrap();
        let source = temp.path().join("Schilf am Südufer, 鷺 & co");
        let out = temp.path().join("out of 'doors' $HOME\nзапад");
        fs::create_dir(&source).unwrap();
        fs::create_dir(&out).unwrap();
        let other = SHOT.replacen("[12, 900.0]", "[12, 905.0]", 1);
        assert!(other != SHOT);
        for (name, text) in [("stage.toml", STAGE), ("dusk.toml", SHOT), ("dawn.toml", &other), ("lift.csv", LIFT)] {
            fs::write(source.join(name), text).unwrap();
        }
        Marsh { shots: [source.join("dusk.toml"), source.join("dawn.toml")], out, temp }
    }

    fn compile(&self, which: usize, out: &Path, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_movewright"));
        command.arg("compile").arg(&self.shots[which]).arg("--out").arg(out).args(more);
        quiet(command)
    }

    /// `report` or `plot`.
    fn page(&self, what: &str, which: usize, out: &Path, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_movewright"));
        command.arg(what).arg(&self.shots[which]).arg("--out").arg(out).args(more);
        quiet(command)
    }

    fn rows(&self, which: usize, out: &Path, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_movewright"));
        command.arg("rows").arg(&self.shots[which]).args(["--pass", "picture", "--out"]).arg(out).args(more);
        if !more.contains(&"--rate") {
            command.args(["--rate", "200"]);
        }
        quiet(command)
    }
}

fn quiet(mut command: Command) -> Command {
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn done(command: &mut Command) {
    let output = command.output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

/// Refused, with status 2 and these words, and the folder around the target is what it was.
fn refused(command: &mut Command, around: &Path, words: &str) {
    let before = (tree(around), names(around));
    let output = command.output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains(words), "{:?} lacks {words:?}", said(&output));
    assert!(!said(&output).contains(".movewright-partial"), "a name nobody will find: {}", said(&output));
    assert!((tree(around), names(around)) == before);
}

/// Its multiples fall evenly into every part of a whole.
const GOLDEN: f64 = 0.618_033_988_749_895;

/// Kills a hundred runs, one at a random moment of each hundredth of the time a run takes.
fn a_hundred_kills(marsh: &Marsh, target: &Path, command: &dyn Fn(usize) -> Command) {
    let mut versions = Vec::new();
    let mut takes = Duration::ZERO;
    for which in [0, 1] {
        let start = Instant::now();
        done(&mut command(which));
        takes = takes.max(start.elapsed());
        versions.push(tree(target));
    }
    assert!(versions[0] != versions[1]);
    let (mut state, mut killed, mut left) = (1, 0, 0);
    for k in 0..100 {
        if k % 4 == 3 {
            drop((fs::remove_dir_all(target), fs::remove_file(target)));
            state = 2;
        }
        let which = usize::from(state == 0);
        let mut run = command(which).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(takes.mul_f64((f64::from(k) + (f64::from(k) * GOLDEN).fract()) / 100.0));
        run.kill().unwrap();
        killed += usize::from(run.wait().unwrap().signal() == Some(9));
        left += leftovers(&marsh.out);
        assert!(leftovers(&marsh.out) <= 1, "each run cleans up after the last");
        let found = tree(target);
        state = match versions.iter().position(|v| *v == found) {
            Some(now) => {
                assert!(now == state || now == which);
                now
            }
            None => {
                assert!(state == 2 && fs::symlink_metadata(target).is_err(), "kill {k}: neither the old one nor the new one");
                2
            }
        };
    }
    eprintln!("{killed} of 100 runs killed before their end, {left} left something beside the target; a run takes {takes:?}");
    assert!(killed > 0 && left > 0, "no kill came while anything was written");
    done(&mut command(usize::from(state == 0)));
    assert_eq!(leftovers(&marsh.out), 0);
}

#[test]
fn a_folder_is_the_old_one_or_the_new_one_whenever_the_run_is_killed() {
    let marsh = Marsh::new();
    let target = marsh.out.join("columns");
    for which in [0, 1] {
        done(&mut marsh.compile(which, &target, &["--replace"]));
        let verdict = verify(&target).unwrap();
        assert!(verdict.holds(), "{:?}", verdict.faults);
    }
    a_hundred_kills(&marsh, &target, &|which| marsh.compile(which, &target, &["--replace"]));
    assert!(verify(&target).unwrap().holds());
}

#[test]
fn rows_are_the_old_ones_or_the_new_ones_whenever_the_run_is_killed() {
    let marsh = Marsh::new();
    let target = marsh.out.join("rows.csv");
    a_hundred_kills(&marsh, &target, &|which| marsh.rows(which, &target, &[]));
}

#[test]
fn two_runs_at_once_leave_one_whole_result_and_the_other_says_why_not() {
    let marsh = Marsh::new();
    let whole = |make: &dyn Fn(usize) -> Command, target: &Path| -> Vec<Tree> {
        let kinds = [0, 1].map(|which| {
            done(&mut make(which));
            tree(target)
        });
        assert!(kinds[0] != kinds[1]);
        kinds.into()
    };
    let both = |make: &dyn Fn(usize) -> Command| {
        let runs = [0, 1, 0, 1].map(|which| make(which).spawn().unwrap());
        runs.map(|run| run.wait_with_output().unwrap())
    };
    let (columns, rows, axes) = (marsh.out.join("columns"), marsh.out.join("rows.csv"), marsh.out.join("axes"));
    let replacing: [(&Path, &dyn Fn(usize) -> Command); 3] = [
        (&columns, &|which| marsh.compile(which, &columns, &["--replace"])),
        (&rows, &|which| marsh.rows(which, &rows, &[])),
        (&axes, &|which| marsh.rows(which, &axes, &["--per-axis"])),
    ];
    let mut kinds = Vec::new();
    for (target, make) in replacing {
        kinds = whole(make, target).into_iter().chain(kinds).collect();
        for _ in 0..3 {
            let outputs = both(make);
            assert!(outputs.iter().any(|o| o.status.success()));
            for output in outputs {
                assert!(output.status.success() || output.status.code() == Some(2), "{}", said(&output));
            }
            assert!(kinds.contains(&tree(target)));
            assert_eq!(leftovers(&marsh.out), 0);
        }
    }
    // Nobody asked to replace anything: the second is refused, unless it has made the same.
    for _ in 0..3 {
        fs::remove_dir_all(&columns).unwrap();
        let outputs = both(&|which| marsh.compile(which, &columns, &[]));
        let (fine, not): (Vec<_>, Vec<_>) = outputs.iter().partition(|o| o.status.success());
        assert_eq!((fine.len(), not.len()), (2, 2));
        assert!(not.iter().all(|o| o.status.code() == Some(2) && said(o).contains("different columns")));
        assert!(kinds.contains(&tree(&columns)));
        assert_eq!(leftovers(&marsh.out), 0);
    }
}

#[test]
fn runs_that_race_for_one_file_all_succeed_and_leave_one_whole_file() {
    let marsh = Marsh::new();
    let [rows, page, plot] = ["rows.csv", "move.html", "track.svg"].map(|name| marsh.out.join(name));
    let files: [(&Path, &dyn Fn(usize) -> Command); 3] = [
        (&rows, &|which| marsh.rows(which, &rows, &[])),
        (&page, &|which| marsh.page("report", which, &page, &[])),
        (&plot, &|which| marsh.page("plot", which, &plot, &["--axis", AXIS])),
    ];
    for (target, make) in files {
        let kinds = [0, 1].map(|which| {
            done(&mut make(which));
            fs::read(target).unwrap()
        });
        assert!(kinds[0] != kinds[1]);
        for round in 0..6 {
            // For a new name, and for one that exists.
            if round % 2 == 0 {
                fs::remove_file(target).unwrap();
            }
            for run in [0, 1, 0, 1].map(|which| make(which).spawn().unwrap()) {
                let output = run.wait_with_output().unwrap();
                assert_eq!(output.status.code(), Some(0), "{}", said(&output));
            }
            assert!(kinds.contains(&fs::read(target).unwrap()));
            assert_eq!(leftovers(&marsh.out), 0);
        }
    }
}

/// The same command, started by a shell that first runs `before`.
fn after(before: &str, command: &Command) -> Command {
    let mut shell = Command::new("sh");
    shell.args(["-c", &format!("{before}; exec \"$0\" \"$@\"")]).arg(command.get_program()).args(command.get_args());
    quiet(shell)
}

/// The same command with the signals as they are by default: whoever runs the tests in the background of a script may have ignored them.
#[cfg(target_os = "linux")]
fn heard(command: &Command) -> Command {
    let mut env = Command::new("env");
    env.arg("--default-signal=HUP,INT,TERM").arg(command.get_program()).args(command.get_args());
    quiet(env)
}

/// Starts a run, waits until it writes, and sends it a signal.
#[cfg(target_os = "linux")]
fn signalled(marsh: &Marsh, command: &mut Command, signal: &str) -> Output {
    let mut run = command.spawn().unwrap();
    let start = Instant::now();
    while leftovers(&marsh.out) == 0 {
        assert!(start.elapsed() < Duration::from_secs(60) && run.try_wait().unwrap().is_none(), "it never wrote");
        std::thread::sleep(Duration::from_millis(2));
    }
    std::thread::sleep(Duration::from_millis(20));
    assert!(Command::new("kill").args(["-s", signal]).arg(run.id().to_string()).status().unwrap().success());
    run.wait_with_output().unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn a_run_that_is_stopped_takes_its_staging_directory_with_it() {
    let marsh = Marsh::new();
    let (rows, axes, columns) = (marsh.out.join("rows.csv"), marsh.out.join("axes"), marsh.out.join("columns"));
    done(&mut marsh.rows(0, &rows, &[]));
    done(&mut marsh.rows(0, &axes, &["--per-axis"]));
    done(&mut marsh.compile(0, &columns, &[]));
    let before = tree(&marsh.out);
    // Rows enough for a minute.
    let long = ["--rate", "200000"];
    for (signal, number) in [("HUP", 1), ("INT", 2), ("TERM", 15)] {
        let runs = [
            marsh.rows(1, &rows, &long),
            marsh.rows(1, &axes, &[&long[..], &["--per-axis"]].concat()),
            marsh.compile(1, &columns, &["--replace", "--rows", "200000"]),
        ];
        for run in runs {
            let output = signalled(&marsh, &mut heard(&run), signal);
            assert_eq!(output.status.signal(), Some(number), "{}", said(&output));
            assert_eq!(leftovers(&marsh.out), 0);
            assert!(tree(&marsh.out) == before);
        }
    }
    // Whoever had a signal ignored (nohup) has it ignored.
    let mut run = after("trap '' HUP", &marsh.rows(1, &rows, &["--rate", "5000"]));
    let output = signalled(&marsh, &mut run, "HUP");
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(tree(&marsh.out) != before && leftovers(&marsh.out) == 0);
}

#[cfg(target_os = "linux")]
#[test]
fn a_limit_on_the_size_of_files_is_a_message() {
    let marsh = Marsh::new();
    let [rows, page, axes, columns] = ["rows.csv", "move.html", "axes", "columns"].map(|name| marsh.out.join(name));
    done(&mut marsh.rows(0, &rows, &[]));
    done(&mut marsh.page("report", 0, &page, &[]));
    done(&mut marsh.rows(0, &axes, &["--per-axis"]));
    done(&mut marsh.compile(0, &columns, &[]));
    let runs = [
        marsh.rows(1, &rows, &[]),
        marsh.page("report", 1, &page, &[]),
        marsh.rows(1, &axes, &["--per-axis"]),
        marsh.compile(1, &columns, &["--replace"]),
    ];
    for run in runs {
        refused(&mut after("ulimit -f 8", &run), &marsh.out, "File too large");
    }
}

#[test]
fn targets_that_are_somebodys_work_are_left_as_they_are() {
    let marsh = Marsh::new();
    let out = &marsh.out;
    fs::write(out.join("notes"), "lamp 3 flickers").unwrap();
    fs::create_dir(out.join("plans")).unwrap();
    fs::write(out.join("plans/marsh.txt"), "reeds left of the track").unwrap();
    std::os::unix::fs::symlink(out.join("gone"), out.join("link")).unwrap();
    let before = names(out);
    refused(&mut marsh.compile(0, &out.join("notes"), &["--replace"]), &out.join("plans"), "is a file");
    refused(&mut marsh.compile(0, &out.join("plans"), &["--replace"]), &out.join("plans"), "holds `marsh.txt`");
    refused(&mut marsh.compile(0, &out.join("notes/columns"), &[]), &out.join("plans"), "Not a directory");
    refused(&mut marsh.rows(0, &out.join("notes"), &[]), &out.join("plans"), "may not be rows with the same columns");
    refused(&mut marsh.rows(0, &out.join("plans"), &["--replace"]), &out.join("plans"), "is a folder");
    refused(&mut marsh.rows(0, &out.join("link"), &["--replace"]), &out.join("plans"), "a link that leads nowhere");
    refused(&mut marsh.rows(0, &out.join("notes"), &["--per-axis", "--replace"]), &out.join("plans"), "is a file, not a folder");
    refused(&mut marsh.rows(0, &out.join("plans"), &["--per-axis", "--replace"]), &out.join("plans"), "holds `marsh.txt`");
    refused(&mut marsh.page("report", 0, &out.join("notes"), &[]), &out.join("plans"), "may not be a report");
    refused(&mut marsh.page("plot", 0, &out.join("notes"), &["--axis", AXIS]), &out.join("plans"), "may not be a plot");
    assert_eq!(names(out), before);
    assert_eq!(fs::read_to_string(out.join("notes")).unwrap(), "lamp 3 flickers");
}

#[cfg(target_os = "linux")]
#[test]
fn a_device_that_is_full_says_so() {
    let marsh = Marsh::new();
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let words = "cannot write standard output: No space left";
    refused(marsh.rows(0, Path::new("-"), &[]).stdout(full()), &marsh.out, words);
    refused(marsh.page("report", 0, Path::new("-"), &[]).stdout(full()), &marsh.out, words);
    refused(marsh.page("plot", 0, Path::new("-"), &["--axis", AXIS]).stdout(full()), &marsh.out, words);
}

fn is_root(marsh: &Marsh) -> bool {
    fs::metadata(marsh.temp.path()).unwrap().uid() == 0
}

/// A file system in memory, unmounted when dropped.
struct Mounted(PathBuf);

impl Mounted {
    fn new(marsh: &Marsh, size: &str) -> Option<Mounted> {
        let at = marsh.temp.path().join("small disk");
        fs::create_dir(&at).unwrap();
        let output = Command::new("mount").args(["-t", "tmpfs", "-o", size, "tmpfs"]).arg(&at).output();
        match output {
            Ok(o) if o.status.success() => Some(Mounted(at)),
            other => {
                eprintln!("skipped: a small file system could not be mounted: {other:?}");
                None
            }
        }
    }

    fn read_only(&self) {
        let output = Command::new("mount").args(["-o", "remount,ro"]).arg(&self.0).output().unwrap();
        assert!(output.status.success(), "{output:?}");
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        drop(Command::new("umount").arg(&self.0).output());
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_and_a_read_only_one_lose_nothing() {
    let marsh = Marsh::new();
    let Some(disk) = Mounted::new(&marsh, "size=512k") else { return };
    let (columns, rows, axes) = (disk.0.join("columns"), disk.0.join("rows.csv"), disk.0.join("axes"));
    done(&mut marsh.compile(0, &columns, &[]));
    fs::write(&rows, "t_s,heron_a.lift\n0,1\n").unwrap();
    fs::create_dir(&axes).unwrap();
    fs::write(axes.join("heron_a.lift.csv"), "t_s,heron_a.lift\n0,1\n").unwrap();
    // Space for a part of each, and for none.
    let more = ["--replace", "--rate", "2000"];
    for room in [40_960, 0] {
        let ballast = disk.0.join("ballast");
        drop(fs::remove_file(&ballast));
        fill(&ballast, room);
        refused(&mut marsh.compile(1, &columns, &["--replace"]), &disk.0, "No space left");
        refused(&mut marsh.compile(1, &disk.0.join("second"), &[]), &disk.0, "No space left");
        refused(&mut marsh.rows(1, &rows, &more), &disk.0, "No space left");
        refused(&mut marsh.rows(1, &axes, &[&more[..], &["--per-axis"]].concat()), &disk.0, "No space left");
    }
    assert!(verify(&columns).unwrap().holds());
    disk.read_only();
    refused(&mut marsh.compile(1, &columns, &["--replace"]), &disk.0, "Read-only");
    refused(&mut marsh.rows(1, &rows, &["--replace"]), &disk.0, "Read-only");
    refused(&mut marsh.rows(1, &axes, &["--per-axis", "--replace"]), &disk.0, "Read-only");
}

/// Fills the disk but for about `room` bytes.
fn fill(ballast: &Path, room: u64) {
    use std::io::Write;
    let mut file = fs::File::create(ballast).unwrap();
    let mut bytes = 0;
    while let Ok(n) = file.write(&[7; 4096]) {
        bytes += n as u64;
    }
    file.set_len(bytes - room).unwrap();
}

#[test]
fn without_permission_nothing_is_written_and_nothing_lost() {
    let marsh = Marsh::new();
    // The owner of the system may do anything, so what it starts here is somebody else.
    let nobody = is_root(&marsh).then_some(65_534);
    let program = marsh.temp.path().join("movewright");
    // Another process copies it: a file that this one holds open for writing cannot be run while a child that another test starts holds it too.
    done(Command::new("cp").arg(env!("CARGO_BIN_EXE_movewright")).arg(&program));
    let as_somebody = |command: Command| {
        let mut other = Command::new(&program);
        other.args(command.get_args());
        if let Some(id) = nobody {
            other.uid(id).gid(id);
        }
        quiet(other)
    };
    let mut probe = Command::new(&program);
    if let Some(id) = nobody {
        probe.uid(id).gid(id);
    }
    let probed = quiet(probe).arg("check").arg(&marsh.shots[0]).output();
    if !probed.as_ref().is_ok_and(|o| o.status.success()) {
        eprintln!("skipped: nobody but the system's owner can run the program here: {probed:?}");
        return;
    }
    let closed = marsh.out.join("closed");
    fs::create_dir(&closed).unwrap();
    let (columns, rows) = (closed.join("columns"), closed.join("rows.csv"));
    done(&mut marsh.compile(0, &columns, &[]));
    done(&mut marsh.rows(0, &rows, &[]));
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
    refused(&mut as_somebody(marsh.compile(1, &columns, &["--replace"])), &closed, "Permission denied");
    refused(&mut as_somebody(marsh.compile(1, &closed.join("new"), &[])), &closed, "Permission denied");
    refused(&mut as_somebody(marsh.rows(1, &rows, &[])), &closed, "Permission denied");
    refused(&mut as_somebody(marsh.rows(1, &closed.join("axes"), &["--per-axis"])), &closed, "Permission denied");
    assert!(verify(&columns).unwrap().holds());
    // A folder that may not be looked into is not taken for an empty one.
    let shut = marsh.out.join("shut");
    fs::create_dir(&shut).unwrap();
    fs::write(shut.join("notes"), "lamp 3").unwrap();
    fs::set_permissions(&shut, fs::Permissions::from_mode(0o000)).unwrap();
    fs::set_permissions(&marsh.out, fs::Permissions::from_mode(0o777)).unwrap();
    for mut run in [marsh.compile(0, &shut, &["--replace"]), marsh.rows(0, &shut, &["--per-axis"])].map(as_somebody) {
        let output = run.output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains("Permission denied"), "{}", said(&output));
    }
    fs::set_permissions(&shut, fs::Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
    assert_eq!(fs::read_to_string(shut.join("notes")).unwrap(), "lamp 3");
}
