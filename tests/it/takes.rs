//! `movewright take` as a person runs it: the record grows, no take is lost, and `changes` and `pace` say which passes are shot and which takes are stale.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::thread;

use serde_json::Value;

fn run(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder with the shot of `new`, compiled into `columns`.
fn compiled() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    assert!(run(dir.path(), &["new", "marsh"]).status.success());
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns"]).status.success());
    dir
}

fn take(dir: &Path, more: &[&str]) -> Output {
    run(dir, &[&["take", "columns", "--pass", "picture"], more].concat())
}

#[test]
fn takes_are_added_one_after_the_other_and_nothing_else_changes() {
    let dir = compiled();
    let record = dir.path().join("takes.csv");
    fs::write(dir.path().join("home.csv"), "axis,steps\ncamera.track,3\ncamera.pan,-1\n").unwrap();
    let first = take(
        dir.path(),
        &["--good", "--slate", "12A", "--stop", "22", "--filters", "UV 403, ND 0.3", "--home", "home.csv", "--haze", "14 m"],
    );
    assert!(first.status.success() && out(&first).starts_with("take 1 of picture, frames 1 to 96 (96 frames), good"), "{}", said(&first));
    let before = fs::read(&record).unwrap();
    let hash = blake3::hash(&fs::read(dir.path().join("columns/manifest.json")).unwrap()).to_hex().to_string();
    assert_eq!(
        String::from_utf8(before.clone()).unwrap(),
        format!(
            "slate,pass,take,folder,folder_hash,first_frame,last_frame,lens,stop,filters,haze,home,good,note\n12A,picture,1,columns,{hash},1,96,,22,\"UV 403, ND 0.3\",14 m,camera.track=3 camera.pan=-1,yes,\n"
        )
    );
    let second = take(dir.path(), &["--bad", "--slate", "12A", "--frames", "40..96", "--note", "a gust, \"strong\""]);
    assert!(
        second.status.success() && out(&second).contains("take 2 of picture, frames 40 to 96 (57 frames), not good"),
        "{}",
        out(&second)
    );
    assert!(out(&second).contains("\n  picture: shot, 1 good take, 1 bad take\n  clean: not shot\n"), "{}", out(&second));
    let after = fs::read(&record).unwrap();
    assert!(after.starts_with(&before) && after.len() > before.len());
    // Another slate counts from 1; a number that was used is refused.
    assert!(out(&take(dir.path(), &["--good"])).contains("take 1 of picture"));
    let again = take(dir.path(), &["--good", "--slate", "12A", "--take", "2"]);
    assert!(
        again.status.code() == Some(2) && said(&again).contains("error[duplicate-take]") && said(&again).contains("the next is 3"),
        "{}",
        said(&again)
    );
    // The folder still verifies: the record is beside it.
    assert!(run(dir.path(), &["verify", "columns"]).status.success());
}

#[test]
fn a_folder_compiled_anew_makes_its_takes_stale() {
    let dir = compiled();
    assert!(take(dir.path(), &["--good", "--frames", "1..40"]).status.success());
    let shot = dir.path().join("marsh/shot.toml");
    let edited = fs::read_to_string(&shot).unwrap().replace("[96, -6]", "[96, -9]");
    fs::write(&shot, edited).unwrap();
    let changes = run(dir.path(), &["changes", "columns", "marsh/shot.toml"]);
    assert!(out(&changes).contains("\n  picture: 40 of 96 frames shot, 1 good take\n  clean: not shot\n"), "{}", out(&changes));
    let pace = || out(&run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "takes.csv"]));
    assert!(pace().contains("picture: 40 of 96 frames shot, 1 good take"), "{}", pace());
    let json = run(dir.path(), &["changes", "columns", "marsh/shot.toml", "--json"]);
    let json: Value = serde_json::from_str(&out(&json)).unwrap();
    assert_eq!(
        json["takes"][0],
        serde_json::json!({ "pass": "picture", "good_takes": 1, "bad_takes": 0, "stale_takes": 0, "frames": [[1, 40]], "frames_shot": 40, "frames_exposed": 96 })
    );
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--replace"]).status.success());
    let stale = "picture: not shot; stale: 1 good take of an older version of the folder";
    assert!(pace().contains(stale), "{}", pace());
    assert!(out(&run(dir.path(), &["changes", "columns", "marsh/shot.toml"])).contains(stale));
    // The old version again, and it is as before.
    let back = fs::read_to_string(&shot).unwrap().replace("[96, -9]", "[96, -6]");
    fs::write(&shot, back).unwrap();
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--replace"]).status.success());
    assert!(pace().contains("picture: 40 of 96 frames shot, 1 good take"), "{}", pace());
}

#[test]
fn runs_at_the_same_time_lose_no_take() {
    let dir = compiled();
    thread::scope(|scope| {
        for _ in 0..4 {
            let dir = dir.path();
            scope.spawn(move || (0..5).for_each(|_| assert!(take(dir, &["--good"]).status.success())));
        }
    });
    let text = fs::read_to_string(dir.path().join("takes.csv")).unwrap();
    let mut numbers: Vec<u32> = text.lines().skip(1).map(|l| l.split(',').nth(2).unwrap().parse().unwrap()).collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=20).collect::<Vec<u32>>());
}

#[test]
fn wrong_calls_and_records_end_with_2_and_change_nothing() {
    let dir = compiled();
    let write = |name: &str, text: &str| fs::write(dir.path().join(name), text).unwrap();
    write("unknown.csv", "axis,steps\ncamera.trak,3\n");
    write("half.csv", "axis,steps\ncamera.track,0.5\n");
    write("twice.csv", "axis,steps\ncamera.track,1\ncamera.track,2\n");
    write("count.csv", "axis,count\ncamera.track,1\n");
    write("empty.csv", "axis,steps\n");
    let long = "x".repeat(501);
    let calls: &[(&[&str], &str)] = &[
        (&[], "required arguments were not provided"),
        (&["--good", "--bad"], "cannot be used with"),
        (&["--good", "--take", "0"], "invalid value '0'"),
        (&["--good", "--frames", "40"], "error[invalid-frame-span]"),
        (&["--good", "--frames", "90..97"], "within 1..96"),
        (&["--good", "--frames", "9..5"], "error[invalid-frame-span]"),
        (&["--good", "--stop", "NaN"], "error[out-of-range]"),
        (&["--good", "--stop", "0"], "error[out-of-range]"),
        (&["--good", "--note", "=1+1"], "error[unsuitable-text]"),
        (&["--good", "--note", "two\nlines"], "error[hidden-character]"),
        (&["--good", "--slate", "12\u{202e}A"], "error[hidden-character]"),
        (&["--good", "--lens", &long], "error[unsuitable-text]"),
        (&["--good", "--home", "none.csv"], "error[missing-file]"),
        (&["--good", "--home", "count.csv"], "the header is `axis,count`, expected `axis,steps`"),
        (&["--good", "--home", "empty.csv"], "has no count"),
        (&["--good", "--home", "unknown.csv"], "unknown.csv, line 2:"),
        (&["--good", "--home", "half.csv"], "half.csv, line 2:"),
        (&["--good", "--home", "twice.csv"], "camera.track has 2 counts"),
    ];
    for (args, found) in calls {
        let output = take(dir.path(), args);
        assert!(
            output.status.code() == Some(2) && output.stdout.is_empty() && said(&output).contains(found),
            "{args:?}: {}",
            said(&output)
        );
    }
    let output = run(dir.path(), &["take", "columns", "--pass", "pictur", "--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[unknown-pass]"));
    let output = run(dir.path(), &["take", "marsh", "--pass", "picture", "--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[not-a-folder]"));
    assert!(!dir.path().join("takes.csv").exists());
    let foreign = "shopping\nmilk\n";
    write("takes.csv", foreign);
    let output = take(dir.path(), &["--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[invalid-takes]"), "{}", said(&output));
    assert_eq!(run(dir.path(), &["changes", "columns", "marsh/shot.toml"]).status.code(), Some(2));
    assert_eq!(fs::read_to_string(dir.path().join("takes.csv")).unwrap(), foreign);
    assert_eq!(run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "none.csv"]).status.code(), Some(2));
}

/// A pass that exposes one frame in eight, and a wedge: their own frames count, and no others.
#[test]
fn frames_of_test_passes_and_wedges_are_counted() {
    let dir = tempfile::tempdir().unwrap();
    assert!(run(dir.path(), &["new", "marsh"]).status.success());
    let shot = dir.path().join("marsh/shot.toml");
    let more = "[[pass]]\nname = \"slop\"\nexposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\nevery = 8\n\n[[pass]]\nname = \"strip\"\nexposure = \"held\"\nseconds_per_frame = 12\nshutter = 180\nsettle = 2\nwedge = { frame = 40, stops = [-1, 0, 1] }\n";
    fs::write(&shot, fs::read_to_string(&shot).unwrap() + "\n" + more).unwrap();
    let written = run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns"]);
    assert!(written.status.success(), "{}", said(&written));
    let take = |pass: &str, more: &[&str]| run(dir.path(), &[&["take", "columns", "--pass", pass, "--good"], more].concat());
    let slop = take("slop", &["--frames", "1..40"]);
    assert!(out(&slop).starts_with("take 1 of slop, frames 1 to 40 (5 frames exposed), good"), "{}{}", out(&slop), said(&slop));
    assert!(out(&slop).contains("\n  slop: 5 of 12 frames shot, 1 good take\n  strip: not shot\n"), "{}", out(&slop));
    // Without --frames: the frames of the pass, 1, 9 ... 89; of the wedge its one.
    assert!(out(&take("slop", &[])).contains("frames 1 to 89 (12 frames exposed), good"));
    let strip = take("strip", &[]);
    assert!(out(&strip).starts_with("take 1 of strip, frame 40, good"), "{}", out(&strip));
    assert!(out(&strip).contains("\n  slop: shot, 2 good takes\n  strip: shot, 1 good take\n"), "{}", out(&strip));
    for (pass, frames, allowed) in [("slop", "2..8", "one of frames 1, 9, ... 89"), ("strip", "41..96", "a span with frame 40")] {
        let wrong = take(pass, &["--frames", frames]);
        assert!(wrong.status.code() == Some(2) && said(&wrong).contains("error[invalid-frame-span]"), "{}", said(&wrong));
        assert!(said(&wrong).contains(allowed), "{}", said(&wrong));
    }
    let csv = out(&run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "takes.csv", "--csv"]));
    let cells: Vec<Vec<&str>> = csv.lines().map(|line| line.split(',').rev().take(5).collect()).collect();
    assert_eq!(cells[0], ["stale_takes", "bad_takes", "good_takes", "frames_exposed", "frames_shot"], "{csv}");
    assert_eq!(
        (&cells[1][..], &cells[3][..], &cells[4][..]),
        (&["0", "0", "0", "96", "0"][..], &["0", "0", "2", "12", "12"][..], &["0", "0", "1", "1", "1"][..])
    );
    let plain = out(&run(dir.path(), &["pace", "marsh/shot.toml", "--csv"]));
    assert!(plain.starts_with("pass,light,stop,filters,start,end,exposures,notes\n"), "{plain}");
}

#[test]
fn report_compare_and_pace_say_which_passes_are_shot_and_what_is_stale() {
    let dir = compiled();
    assert!(take(dir.path(), &["--good", "--frames", "1..40"]).status.success());
    let log = dir.path().join("log.csv");
    let plain = |line: &str| line.split(',').enumerate().filter(|(i, _)| *i != 1).map(|(_, cell)| cell).collect::<Vec<_>>().join(",");
    let keep = |pass: &str| {
        let text = fs::read_to_string(dir.path().join(format!("columns/{pass}.steps.csv"))).unwrap();
        fs::write(&log, text.lines().map(|line| plain(line) + "\n").collect::<String>()).unwrap();
    };
    keep("picture");
    let compare = |more: &[&str]| run(dir.path(), &[&["compare", "columns", "--pass", "picture", "log.csv"], more].concat());
    let page = || {
        assert!(run(dir.path(), &["report", "marsh/shot.toml", "--takes", "takes.csv", "--out", "page.html"]).status.success());
        fs::read_to_string(dir.path().join("page.html")).unwrap()
    };
    let json = |output: &Output| serde_json::from_str::<Value>(&out(output)).unwrap();
    assert!(out(&compare(&[])).contains("\ntakes in takes.csv: picture: 40 of 96 frames shot, 1 good take\n"), "{}", out(&compare(&[])));
    assert_eq!(json(&compare(&["--json"]))["record"]["frames_shot"], 40);
    assert!(page().contains("<td>picture</td><td>40 of 96 frames shot</td><td>1 to 40</td><td>1</td><td>0</td><td>0</td>"));
    let pace = json(&run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "takes.csv", "--json"]));
    assert_eq!(
        (&pace["passes"][0]["takes"]["frames"], &pace["passes"][1]["takes"]["good_takes"]),
        (&serde_json::json!([[1, 40]]), &serde_json::json!(0))
    );
    let shot = dir.path().join("marsh/shot.toml");
    fs::write(&shot, fs::read_to_string(&shot).unwrap().replace("[96, -6]", "[96, -9]")).unwrap();
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--replace"]).status.success());
    keep("picture");
    let stale = "takes in takes.csv: picture: not shot; stale: 1 good take of an older version of the folder";
    assert!(said_of(&compare(&[])).contains(stale), "{}", out(&compare(&[])));
    assert_eq!(json(&compare(&["--json"]))["record"]["stale_takes"], 1);
    assert!(page().contains("<td>picture</td><td>not shot</td><td>-</td><td>0</td><td>0</td><td>1</td>"));
    // Without the record: nothing, and a page that was not asked for it is as before.
    fs::rename(dir.path().join("takes.csv"), dir.path().join("away.csv")).unwrap();
    assert!(!out(&compare(&[])).contains("takes in") && json(&compare(&["--json"]))["record"].is_null());
    let none = run(dir.path(), &["report", "marsh/shot.toml", "--takes", "takes.csv", "--out", "none.html"]);
    assert!(none.status.code() == Some(2) && said(&none).contains("error[missing-file]") && !dir.path().join("none.html").exists());
    assert!(run(dir.path(), &["report", "marsh/shot.toml", "--out", "plain.html"]).status.success());
    assert!(!fs::read_to_string(dir.path().join("plain.html")).unwrap().contains("<h2>Takes</h2>"));
    // A record that was edited is refused, whoever reads it.
    fs::write(dir.path().join("takes.csv"), fs::read_to_string(dir.path().join("away.csv")).unwrap().replace(",1,40,", ",1,4O,")).unwrap();
    let report = run(dir.path(), &["report", "marsh/shot.toml", "--takes", "takes.csv", "--out", "none.html"]);
    for refused in [compare(&[]), report] {
        assert!(refused.status.code() == Some(2) && said(&refused).contains("takes.csv:2:"), "{}", said(&refused));
    }
}

/// Lines joined, for sentences that were folded.
fn said_of(output: &Output) -> String {
    out(output).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Logs of the clean pass, in units, at half the rate and with other numbers, as a person has them.
#[test]
fn a_log_of_something_else_is_recognised() {
    let dir = compiled();
    let columns = |table: &str| {
        let text = fs::read_to_string(dir.path().join(format!("columns/{table}.csv"))).unwrap();
        let cells = |line: &str| line.split(',').enumerate().filter(|(i, _)| *i != 1).map(|(_, c)| c.to_owned()).collect::<Vec<_>>();
        text.lines().map(cells).collect::<Vec<Vec<String>>>()
    };
    let compare = |rows: &[Vec<String>], more: &[&str]| {
        fs::write(dir.path().join("log.csv"), rows.iter().map(|row| row.join(",") + "\n").collect::<String>()).unwrap();
        run(dir.path(), &[&["compare", "columns", "--pass", "picture", "log.csv"], more].concat())
    };
    let numbered = |rows: Vec<Vec<String>>, first: i64| -> Vec<Vec<String>> {
        let number = |(i, row): (usize, Vec<String>)| match i {
            0 => row,
            i => [&[(first + i as i64 - 1).to_string()], &row[1..]].concat(),
        };
        rows.into_iter().enumerate().map(number).collect()
    };
    let half: Vec<Vec<String>> =
        columns("picture.steps").into_iter().enumerate().filter(|(i, _)| *i == 0 || i % 2 == 1).map(|(_, r)| r).collect();
    for (rows, pass, said, frames) in [
        (columns("clean.steps"), "clean", "log.csv: fits pass clean, not picture (6 axes that deviate from picture fit)", [1, 1]),
        (columns("picture.units"), "picture", "log.csv: fits pass picture, in mm and deg: use --log-units units", [1, 1]),
        (numbered(half, 1), "picture", "log.csv: fits pass picture, with 1 row for every 2 frames", [1, 2]),
    ] {
        let text = said_of(&compare(&rows, &[]));
        assert!(text.contains(said), "{text}");
        let json: Value = serde_json::from_str(&out(&compare(&rows, &["--json"]))).unwrap();
        let fits = &json["fitting_passes"];
        assert_eq!((fits.as_array().map(Vec::len), fits[0]["pass"].as_str()), (Some(1), Some(pass)), "{fits}");
        assert_eq!(serde_json::json!([fits[0]["rows"], fits[0]["for_frames"]]), serde_json::json!(frames));
    }
    let renumbered = compare(&numbered(columns("picture.steps"), 0), &["--json"]);
    assert_eq!(renumbered.status.code(), Some(2));
    assert!(said(&renumbered).contains("; it fits pass picture, if its first row, 0, is frame 1 (8 axes fit)"), "{}", said(&renumbered));
    assert!(out(&renumbered).contains("it fits pass picture, if its first row, 0, is frame 1"), "{}", out(&renumbered));
    // Another shot: nothing is claimed.
    let other: Vec<Vec<String>> = columns("picture.steps")
        .into_iter()
        .enumerate()
        .map(|(i, row)| {
            let bend = |c: &String| c.parse::<i64>().map_or(c.clone(), |n| (n + 3000 * ((i as i64 * i as i64) % 1009)).to_string());
            std::iter::once(row[0].clone()).chain(row[1..].iter().map(bend)).collect()
        })
        .collect();
    let json: Value = serde_json::from_str(&out(&compare(&other, &["--json"]))).unwrap();
    assert_eq!((json["fitting_passes"].as_array().map(Vec::len), json["takes"][0]["another_move"].as_bool()), (Some(0), Some(true)));
    assert!(said_of(&compare(&other, &[])).contains("no pass of this folder fits, at any rate that was tried"));
    // A table that was changed is not tried, and that is said.
    let at = dir.path().join("columns/clean.steps.csv");
    fs::write(&at, fs::read_to_string(&at).unwrap().replacen("4267", "4268", 1)).unwrap();
    let json: Value = serde_json::from_str(&out(&compare(&columns("clean.steps"), &["--json"]))).unwrap();
    assert_eq!((&json["fitting_passes"], &json["tables_not_read"]), (&serde_json::json!([]), &serde_json::json!(["clean.steps.csv"])));
    assert!(said_of(&compare(&columns("clean.steps"), &[])).contains("not tried, because changed or not readable: clean.steps.csv"));
}
