//! Rows where they go: files, folders and streams, and the command as a person runs it.

use std::fs;
use std::io;
use std::path::Path;
use std::process::Command;

use crate::case::short_herons;

/// One rule for every command that writes a single file: a device, a named pipe and a folder are refused, and the message names the way to pipe.
#[cfg(unix)]
#[test]
fn trap_what_is_no_regular_file_is_neither_written_to_nor_replaced() {
    use std::os::unix::fs::FileTypeExt;
    let dir = tempfile::tempdir().unwrap();
    let shot = format!("{}/examples/two_keys_too_close/good.toml", env!("CARGO_MANIFEST_DIR"));
    let (pipe, link) = (dir.path().join("pipe"), dir.path().join("link"));
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    std::os::unix::fs::symlink("/dev/null", &link).unwrap();
    let calls: [&[&str]; 3] =
        [&["rows", &shot, "--pass", "picture", "--rate", "0.1"], &["report", &shot], &["plot", &shot, "--axis", "heron.bridge"]];
    for call in calls {
        for (target, what) in [(Path::new("/dev/null"), "a device"), (&link, "a device"), (&pipe, "a named pipe"), (dir.path(), "a folder")]
        {
            for more in [&["--replace"][..], &[]] {
                let out = Command::new(env!("CARGO_BIN_EXE_movewright")).args(call).args(more).arg("--out").arg(target).output().unwrap();
                let said = String::from_utf8(out.stderr).unwrap();
                assert_eq!(out.status.code(), Some(2), "{call:?} {target:?}: {said}");
                assert!(
                    said.contains(&format!("is {what}, not a regular file")) && said.contains("`--out -` for standard output"),
                    "{said}"
                );
            }
        }
    }
    assert!(fs::metadata("/dev/null").unwrap().file_type().is_char_device());
    assert!(fs::metadata(&pipe).unwrap().file_type().is_fifo() && fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 2);
}

/// One column of a table, without its header.
fn column(table: &str, name: &str) -> Vec<String> {
    let mut lines = table.lines();
    let at = lines.next().unwrap().split(',').position(|h| h == name).unwrap();
    lines.map(|l| l.split(',').nth(at).unwrap().to_owned()).collect()
}

/// One rule for every command that writes a folder: standard output is none.
#[test]
fn trap_a_folder_is_not_written_to_standard_output() {
    let dir = tempfile::tempdir().unwrap();
    let shot = format!("{}/examples/two_keys_too_close/good.toml", env!("CARGO_MANIFEST_DIR"));
    let calls: [&[&str]; 4] = [
        &["compile", &shot, "--out", "-"],
        &["man", "--out", "-"],
        &["new", "-"],
        &["rows", &shot, "--pass", "picture", "--rate", "1", "--per-axis", "--out", "-"],
    ];
    for call in calls {
        let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(call).output().unwrap();
        let said = String::from_utf8(out.stderr).unwrap();
        assert_eq!((out.status.code(), out.stdout.len()), (Some(2), 0), "{call:?}: {said}");
        assert!(
            said.starts_with("error[not-a-folder]: ") && said.contains(" writes a folder, but `-` means standard output"),
            "{call:?}: {said}"
        );
    }
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    let made = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(["new", "./-"]).output().unwrap();
    assert!(made.status.success() && dir.path().join("-/shot.toml").is_file());
}

fn rows_of_the_demo(more: &[&str]) -> std::process::Output {
    rows_of(&format!("{}/fixtures/herons/shot.toml", env!("CARGO_MANIFEST_DIR")), more)
}

fn rows_of(shot: &str, more: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).args(["rows", shot, "--pass", "beauty"]).args(more).output().unwrap()
}

#[test]
fn the_command_writes_files_folders_and_streams_alike() {
    let dir = tempfile::tempdir().unwrap();
    let (file, folder) = (dir.path().join("rows.csv"), dir.path().join("axes"));
    let (file_name, folder_name) = (file.to_str().unwrap(), folder.to_str().unwrap());
    let streamed = rows_of_the_demo(&["--rate", "0.5", "--out", "-", "--columns", "position,velocity", "--shutter"]);
    assert_eq!(streamed.status.code(), Some(0), "{}", String::from_utf8_lossy(&streamed.stderr));
    let written = rows_of_the_demo(&["--rate", "0.5", "--out", file_name, "--columns", "position,velocity", "--shutter"]);
    assert_eq!(written.status.code(), Some(0));
    assert!(written.stdout.is_empty(), "rows go where they are asked to go");
    assert!(fs::read(&file).unwrap() == streamed.stdout);
    let said = String::from_utf8(written.stderr).unwrap();
    assert!(
        said.contains("straight lines: at most") && said.contains("rows per second or more") && said.contains("not a safety function"),
        "{said}"
    );
    let all = String::from_utf8(streamed.stdout).unwrap();
    let header: Vec<&str> = all.lines().next().unwrap().split(',').collect();
    let axes = (header.len() - 2) / 2;
    assert_eq!((header[0], *header.last().unwrap()), ("t_s", "shutter"));
    assert_eq!(format!("{}:steps_per_s", header[1]), header[1 + axes]);

    // One file an axis, column by column the same.
    assert_eq!(rows_of_the_demo(&["--rate", "0.5", "--out", folder_name, "--per-axis"]).status.code(), Some(0));
    assert_eq!(fs::read_dir(&folder).unwrap().count(), axes);
    for name in &header[1..=axes] {
        let one = fs::read_to_string(folder.join(format!("{name}.csv"))).unwrap();
        assert_eq!(column(&one, name), column(&all, name));
        assert_eq!(column(&one, "t_s"), column(&all, "t_s"));
    }
    let replaced = rows_of_the_demo(&["--rate", "0.25", "--out", folder_name, "--per-axis"]);
    assert!(String::from_utf8(replaced.stderr).unwrap().starts_with("replaced: "));
    let differs = rows_of_the_demo(&["--rate", "0.25", "--out", folder_name, "--per-axis", "--shutter"]);
    assert_eq!(differs.status.code(), Some(2));
    assert!(String::from_utf8(differs.stderr).unwrap().contains("rows of other axes or with other columns; add --replace"));
    let replaced = rows_of_the_demo(&["--rate", "0.25", "--out", folder_name, "--per-axis", "--shutter", "--replace"]);
    assert!(String::from_utf8(replaced.stderr).unwrap().starts_with("replaced: "));
}

#[test]
fn the_command_replaces_its_own_rows_and_anything_else_on_request() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("rows.csv");
    let name = out.to_str().unwrap();
    let run = |more: &[&str]| {
        let o = rows_of_the_demo(&[&["--rate", "0.5", "--out", name], more].concat());
        (o.status.code(), String::from_utf8(o.stderr).unwrap().lines().next().unwrap().to_owned())
    };
    let tide = "t_s,water level\n0,1.2\n";
    fs::write(&out, tide).unwrap();
    let (status, said) = run(&[]);
    assert_eq!(status, Some(2));
    assert!(said.contains("may not be rows with the same columns; it is left untouched: add --replace"), "{said}");
    assert_eq!(fs::read_to_string(&out).unwrap(), tide);
    let replaced = |(status, said): (Option<i32>, String)| status == Some(0) && said.starts_with("replaced: ");
    assert!(replaced(run(&["--replace"])));
    let rows = fs::read_to_string(&out).unwrap();
    assert!(rows.starts_with("t_s,camera.track,"));
    assert!(replaced(run(&[])), "the same header");
    let (status, _) = run(&["--shutter"]);
    assert!(status == Some(2) && fs::read_to_string(&out).unwrap() == rows, "another header");
    assert!(replaced(run(&["--shutter", "--replace"])));
    assert!(fs::read_to_string(&out).unwrap().lines().next().unwrap().ends_with(",shutter"));
}

#[test]
fn wrong_calls_write_nothing_and_say_why() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("rows.csv");
    let name = out.to_str().unwrap();
    for (more, what) in [
        (vec!["--rate", "0", "--out", name], "more than 0"),
        (vec!["--rate", "NaN", "--out", name], "more than 0"),
        (vec!["--rate", "2e6", "--out", name], "at most 1000000"),
        (vec!["--rate", "1", "--out", "-", "--per-axis"], "--per-axis"),
        (vec!["--rate", "1", "--out", dir.path().to_str().unwrap()], "is a folder"),
    ] {
        let refused = rows_of_the_demo(&more);
        assert_eq!(refused.status.code(), Some(2), "{more:?}");
        let said = String::from_utf8(refused.stderr).unwrap();
        assert!(said.contains(what), "{more:?}: {said}");
    }
    let shot = |name: &str| format!("{}/fixtures/{name}", env!("CARGO_MANIFEST_DIR"));
    let unknown = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .args(["rows", &shot("herons/shot.toml"), "--pass", "dusk", "--rate", "1", "--out", name])
        .output()
        .unwrap();
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8(unknown.stderr).unwrap().contains("it has: beauty"));
    let over = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .args(["rows", &shot("broken/too_fast.toml"), "--pass", "picture", "--rate", "1", "--out", name])
        .output()
        .unwrap();
    assert_eq!(over.status.code(), Some(1));
    // A part is judged alone: these frames are too fast, those before them are not, and neither is the way to one of them.
    let part = |part: &[&str]| {
        let shot = shot("broken/too_fast.toml");
        let run = ["rows", &shot, "--pass", "picture", "--rate", "1", "--out", name];
        Command::new(env!("CARGO_BIN_EXE_movewright")).args(run).args(part).output().unwrap()
    };
    let over = part(&["--frames", "110..130"]);
    assert_eq!(over.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&over.stderr).contains("nothing was written: a limit is exceeded"));
    assert!(fs::read_dir(dir.path()).unwrap().next().is_none(), "nothing was written");
    for holds in [["--frames", "1..40"], ["--at", "120"]] {
        let within = part(&holds);
        assert_eq!(within.status.code(), Some(0), "{}", String::from_utf8_lossy(&within.stderr));
        fs::remove_file(&out).unwrap();
    }
}

/// A part as the command writes it: at the middle of each frame the counts of the whole; where it is told to start, it starts.
#[test]
fn parts_of_a_pass_have_the_counts_of_the_whole() {
    let dir = tempfile::tempdir().unwrap();
    let shot = format!("{}/examples/two_keys_too_close/good.toml", env!("CARGO_MANIFEST_DIR"));
    let rows = |more: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_movewright"))
            .args(["rows", &shot, "--pass", "picture", "--rate", "2", "--frame", "--out", "-"])
            .args(more)
            .output()
            .unwrap();
        assert_eq!(out.status.code(), Some(0), "{more:?}: {}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).unwrap()
    };
    let exposed = |table: &str| -> Vec<String> {
        let lines = table.lines().skip(1).filter(|l| !l.ends_with(','));
        lines.map(|l| l.split_once(',').unwrap().1.to_owned()).collect()
    };
    let whole = exposed(&rows(&[]));
    let wanted: Vec<String> =
        whole.iter().filter(|l| (58..=70).contains(&l.rsplit_once(',').unwrap().1.parse::<i64>().unwrap())).cloned().collect();
    assert!(wanted.len() >= 13 * 4);
    let stands = dir.path().join("stands.csv");
    fs::write(&stands, "axis,steps\nheron.bridge,2000\nheron.hoist,-150000\n").unwrap();
    let from = ["--frames", "58..70", "--from", stands.to_str().unwrap(), "--accept"];
    for more in [&from[..2], &from] {
        let part = rows(more);
        assert_eq!(exposed(&part), wanted, "{more:?}");
        assert_eq!(part.lines().nth(1).unwrap(), if more.len() == 2 { "0.0,0,0," } else { "0.0,2000,-150000," });
    }
    // The way to a frame ends on its count at mid-exposure.
    let out = dir.path().join("good");
    assert!(Command::new(env!("CARGO_BIN_EXE_movewright")).args(["compile", &shot, "--out"]).arg(&out).output().unwrap().status.success());
    let steps = fs::read_to_string(out.join("picture.steps.csv")).unwrap();
    for frame in ["1", "64", "120"] {
        let there = rows(&["--at", frame]);
        assert_eq!(exposed(&there), Vec::<String>::new());
        let last: Vec<&str> = there.lines().last().unwrap().split(',').collect();
        let line: Vec<&str> = steps.lines().find(|l| l.starts_with(&format!("{frame},"))).unwrap().split(',').collect();
        assert_eq!(last[1..3], line[2..4], "frame {frame}");
    }
}

#[test]
fn a_reader_that_has_read_enough_is_not_an_error() {
    use std::io::BufRead;
    let shot = format!("{}/fixtures/herons/shot.toml", env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .args(["rows", &shot, "--pass", "beauty", "--rate", "100", "--out", "-"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    io::BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    assert!(line.starts_with("t_s,camera.track,"));
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn a_compiled_folder_holds_the_rows_the_command_writes_and_lists_them() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("herons");
    let (shot, _source) = short_herons();
    let shot = shot.to_str().unwrap();
    let compile = |hz: &str| {
        let run = Command::new(env!("CARGO_BIN_EXE_movewright")).args(["compile", shot, "--rows", hz, "--out"]).arg(&out).output().unwrap();
        run.status.code()
    };
    assert_eq!(compile("0"), Some(2));
    assert!(!out.exists(), "a rate that is none writes nothing");
    assert_eq!(compile("2"), Some(0));
    let asked = rows_of(shot, &["--rate", "2", "--out", "-", "--shutter"]);
    let bytes = fs::read(out.join("beauty.rows.csv")).unwrap();
    assert!(bytes == asked.stdout, "the same bytes as `rows` writes");
    let manifest: serde_json::Value = serde_json::from_slice(&fs::read(out.join("manifest.json")).unwrap()).unwrap();
    let rows = &manifest["passes"][0]["rows"];
    assert_eq!((rows["file"].as_str(), rows["rate"].as_str(), rows["rate_hz"].as_f64()), (Some("beauty.rows.csv"), Some("2"), Some(2.0)));
    let text = String::from_utf8(bytes).unwrap();
    assert_eq!(rows["rows"].as_u64().unwrap(), text.lines().count() as u64 - 1);
    let listed = manifest["files"].as_array().unwrap().iter().find(|f| f["path"] == "beauty.rows.csv").unwrap();
    let written = fs::read(out.join("beauty.rows.csv")).unwrap();
    let hash = blake3::hash(&written).to_hex();
    assert_eq!((listed["bytes"].as_u64(), listed["blake3"].as_str()), (Some(written.len() as u64), Some(hash.as_str())));

    // Every axis is at home at 0 s and stands still through the last of the move to start; the shutter first opens when the manifest says.
    let cells = |t: f64| -> Vec<String> {
        text.lines().find(|l| l.split(',').next().unwrap().parse::<f64>() == Ok(t)).unwrap().split(',').map(str::to_owned).collect()
    };
    assert!(cells(0.0).iter().skip(1).all(|n| n == "0"));
    let (begin, opens) = (rows["move_to_start_s"].as_f64().unwrap(), rows["first_opening_s"].as_f64().unwrap());
    let shutter = |t: f64| cells(t).last().unwrap().clone();
    assert_eq!((shutter(opens - 0.5), shutter(opens)), ("0".to_owned(), "1".to_owned()));
    assert!(cells(begin)[1..] != cells(0.0)[1..]);

    // The folder holds, and another rate is another folder.
    let verify = || Command::new(env!("CARGO_BIN_EXE_movewright")).arg("verify").arg(&out).output().unwrap();
    assert_eq!(verify().status.code(), Some(0), "{}", String::from_utf8_lossy(&verify().stdout));
    assert_eq!((compile("2"), compile("4")), (Some(0), Some(2)));
}

#[test]
fn a_rate_of_film_is_taken_by_both_commands() {
    let dir = tempfile::tempdir().unwrap();
    let shot = crate::marsh::write(dir.path()).to_str().unwrap().to_owned();
    let run = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(args).output().unwrap();
        assert_eq!(
            out.status.code(),
            Some(0),
            "{args:?}: {}{}",
            String::from_utf8_lossy(&out.stdout),
            String::from_utf8_lossy(&out.stderr)
        );
        out
    };
    run(&["compile", &shot, "--rows", "30000/1001", "--out", "columns"]);
    run(&["verify", "columns"]);
    let manifest: serde_json::Value = serde_json::from_slice(&std::fs::read(dir.path().join("columns/manifest.json")).unwrap()).unwrap();
    let entry = &manifest["passes"][0]["rows"];
    assert_eq!((entry["rate"].as_str(), entry["rate_hz"].as_f64()), (Some("30000/1001"), Some(30_000.0 / 1001.0)));
    let pass = manifest["passes"][0]["name"].as_str().unwrap();
    let out = run(&["rows", &shot, "--pass", pass, "--rate", "30000/1001", "--out", "rows.csv", "--shutter"]);
    assert!(String::from_utf8_lossy(&out.stderr).contains("30000/1001 per second"), "{}", String::from_utf8_lossy(&out.stderr));
    let rows = std::fs::read_to_string(dir.path().join("rows.csv")).unwrap();
    assert_eq!(rows, std::fs::read_to_string(dir.path().join("columns").join(entry["file"].as_str().unwrap())).unwrap());
    let at: Vec<f64> = rows.lines().skip(1).map(|l| l.split(',').next().unwrap().parse().unwrap()).collect();
    assert!(at.iter().enumerate().all(|(k, t)| t.to_bits() == (k as f64 * 1001.0 / 30_000.0).to_bits()));
    let end = entry["duration_s"].as_f64().unwrap();
    assert!(at[at.len() - 2] < end && end <= at[at.len() - 1]);
}
