//! Nothing that an input names can act on a terminal: escape sequences, characters that turn the direction of writing, characters of no width. Names for people
//! and names of files are refused with them; whatever else holds them is shown escaped.

#![cfg(unix)]

use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::visible::is_hidden;

/// Clears the window, writes a verdict of its own, turns the direction, and takes no width; C1 too.
const PLANTED: &str = "x\u{1b}[2J\u{1b}[H\nno limit is exceeded today\u{9b}8m\u{202e}\u{200b}\u{2066}\u{feff}";

/// The same in quotes of TOML and JSON.
fn quoted() -> String {
    PLANTED.chars().map(|c| if is_hidden(c) { format!("\\u{:04x}", u32::from(c)) } else { c.to_string() }).collect()
}

fn run<S: AsRef<OsStr>>(dir: &Path, args: &[S]) -> Output {
    let mut run = Command::new(env!("CARGO_BIN_EXE_movewright"));
    run.current_dir(dir).args(args).output().unwrap()
}

/// What was said, once it is plain that no terminal acts on it.
fn said(what: &str, output: &Output) -> String {
    let text = String::from_utf8([&output.stdout[..], &output.stderr].concat()).unwrap();
    let hidden = text.chars().find(|c| is_hidden(*c) && *c != '\n');
    assert!(hidden.is_none(), "{what}: {hidden:?} in {text:?}");
    assert!(!text.lines().any(|line| line.trim_start().starts_with("no limit is exceeded today")), "{what}: {text}");
    text
}

struct Marsh {
    temp: tempfile::TempDir,
}

impl Marsh {
    fn new() -> Marsh {
        let marsh = Marsh { temp: tempfile::tempdir().unwrap() };
        let good = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/two_keys_too_close");
        for file in ["good.toml", "stage.toml"] {
            fs::copy(good.join(file), marsh.at(file)).unwrap();
        }
        marsh
    }

    fn at(&self, name: &str) -> PathBuf {
        self.temp.path().join(name)
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.at(name)).unwrap()
    }

    /// Runs, expects this status, and gives what was said.
    fn says<S: AsRef<OsStr>>(&self, args: &[S], status: i32) -> String {
        let output = run(self.temp.path(), args);
        let text = said(&args.iter().map(|a| a.as_ref().to_string_lossy()).collect::<Vec<_>>().join(" "), &output);
        assert_eq!(output.status.code(), Some(status), "{text}");
        text
    }
}

/// The text with its first `from` replaced.
fn with(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from:?} is not there");
    text.replacen(from, to, 1)
}

#[test]
fn trap_names_of_shots_stages_obstacles_boxes_and_motors_are_refused_with_hidden_characters() {
    let marsh = Marsh::new();
    let (shot, stage) = (marsh.read("good.toml"), marsh.read("stage.toml"));
    let name = format!("name = \"{}\"", quoted());
    let obstacle = format!("{stage}\n[[obstacle]]\n{name}\nfrom = [0, 0, 0]\nto = [1, 0, 0]\nradius = 1\n");
    let keep_out = format!("{stage}\n[[keep_out]]\n{name}\nleast = [0, 0, 0]\ngreatest = [1, 1, 1]\n");
    let motor = format!("{stage}\n[motor.\"{}\"]\nfull_steps_per_rev = 200\n", quoted());
    let planted = [
        ("good.toml", with(&shot, "name = \"A heron leaves its stone\"", &name)),
        ("stage.toml", with(&stage, "name = \"Marsh, one bridge\"", &name)),
        ("stage.toml", obstacle),
        ("stage.toml", keep_out),
        ("stage.toml", motor),
    ];
    for (file, text) in planted {
        fs::write(marsh.at("good.toml"), &shot).unwrap();
        fs::write(marsh.at("stage.toml"), &stage).unwrap();
        fs::write(marsh.at(file), text).unwrap();
        for args in [&["check", "good.toml"][..], &["compile", "good.toml", "--out", "new"], &["report", "good.toml", "--out", "-"]] {
            let text = marsh.says(args, 2);
            assert!(
                text.starts_with("error[hidden-character]: ") && text.contains("U+001B as character 2 of the name, in `x\\u{1b}[2J"),
                "{text}"
            );
        }
        assert!(!marsh.at("new").exists());
    }
}

#[test]
fn every_single_character_of_each_kind_is_refused_and_what_people_write_is_not() {
    let marsh = Marsh::new();
    let shot = marsh.read("good.toml");
    for c in "\u{0}\t\n\u{1b}\u{7f}\u{85}\u{9b}\u{ad}\u{200b}\u{200d}\u{200e}\u{202a}\u{202e}\u{2060}\u{2066}\u{2069}\u{feff}\u{2028}\u{e0041}\u{3164}".chars() {
        fs::write(marsh.at("good.toml"), with(&shot, "A heron", &format!("A \\U{:08x}heron", u32::from(c)))).unwrap();
        let text = marsh.says(&["check", "good.toml"], 2);
        assert!(text.contains(&format!("U+{:04X} as character 3 of the name", u32::from(c))), "{text}");
    }
    let name = "Schilf am Südufer: 鷺 & <Kraniche> – 3½ «камыши» सारस";
    fs::write(marsh.at("good.toml"), with(&shot, "A heron leaves its stone", name)).unwrap();
    assert!(marsh.says(&["check", "good.toml"], 0).starts_with(name));
}

#[test]
fn trap_names_of_groups_passes_channels_and_keys_are_shown_escaped_with_their_lines() {
    let marsh = Marsh::new();
    let (shot, stage) = (marsh.read("good.toml"), marsh.read("stage.toml"));
    let q = quoted();
    let planted = [
        ("stage.toml", with(&stage, "name = \"heron\"", &format!("name = \"{q}\"")), "invalid-name"),
        ("good.toml", with(&shot, "name = \"picture\"", &format!("name = \"{q}\"")), "invalid-name"),
        ("good.toml", with(&shot, "channel = \"heron.bridge\"", &format!("channel = \"{q}\"")), "unknown-channel"),
        ("good.toml", with(&shot, "frame_rate = \"24\"", &format!("frame_rate = \"{q}\"")), "invalid-frame-rate"),
        ("good.toml", with(&shot, "[[pass]]", &format!("[[pass]]\n\"{q}\" = 1")), "unknown-key"),
        // In the excerpt alone, as they are.
        (
            "good.toml",
            with(&shot, "frame_rate = \"24\"", "frame_rate = \"\u{202e}42\u{200b}\u{2066}\" # \u{feff}\u{202e}"),
            "invalid-frame-rate",
        ),
        ("good.toml", with(&shot, "frames = ", "frames = \u{202e}\u{200b} "), "invalid-toml"),
    ];
    for (file, text, code) in planted {
        fs::write(marsh.at("good.toml"), &shot).unwrap();
        fs::write(marsh.at("stage.toml"), &stage).unwrap();
        fs::write(marsh.at(file), text).unwrap();
        let text = marsh.says(&["check", "good.toml"], 2);
        assert!(text.contains(&format!("error[{code}]")) && text.contains("\\u{202e}"), "{file}: {text}");
    }
}

#[test]
fn trap_names_of_files_are_refused_with_hidden_characters_and_shown_escaped() {
    let marsh = Marsh::new();
    let shot = marsh.read("good.toml");
    let keys = with(&shot, "keys = [", &format!("keys = \"{}.csv\" # [", quoted()));
    for (text, key) in [(with(&shot, "stage = \"stage.toml\"", &format!("stage = \"{}\"", quoted())), "stage"), (keys, "keys")] {
        fs::write(marsh.at("planted.toml"), text).unwrap();
        let text = marsh.says(&["check", "planted.toml"], 2);
        assert!(text.contains("error[invalid-file-name]") && text.contains(&format!("| {key} = \"x\\u001b")), "{text}");
    }
    // The shot's own name, and that of the folder it is in.
    let own = format!("{PLANTED}.toml");
    fs::copy(marsh.at("good.toml"), marsh.at(&own)).unwrap();
    let text = marsh.says(&["check", &own], 2);
    assert!(text.starts_with("error[invalid-file-name]: the name of a file holds a character that cannot be seen"), "{text}");
    fs::create_dir(marsh.at(PLANTED)).unwrap();
    for file in ["good.toml", "stage.toml"] {
        fs::copy(marsh.at(file), marsh.at(PLANTED).join(file)).unwrap();
    }
    marsh.says(&["check", &format!("{PLANTED}/good.toml")], 0);
    marsh.says(&["check", &format!("{PLANTED}/none.toml")], 2);
    // What is written, and where.
    let text = marsh.says(&["compile", "good.toml", "--out", &format!("{PLANTED}/out")], 0);
    assert!(text.contains("written: x\\u{1b}[2J\\u{1b}[H\\u{a}no limit"), "{text}");
    marsh.says(&["verify", &format!("{PLANTED}/out")], 0);
    marsh.says(&["compile", "good.toml", "--out", PLANTED], 2);
    marsh.says(&["report", "good.toml", "--out", &own], 2);
    marsh.says(&["new", &format!("{PLANTED}/new")], 0);
    marsh.says(&["plot", "good.toml", "--axis", PLANTED, "--out", "x.svg"], 2);
    marsh.says(&["rows", "good.toml", "--pass", PLANTED, "--rate", "1", "--out", "-"], 2);
    marsh.says(&["rows", "good.toml", "--pass", "picture", "--rate", PLANTED, "--out", "-"], 2);
}

#[test]
fn trap_a_name_that_is_not_utf8_is_refused_as_that() {
    let marsh = Marsh::new();
    let name = OsStr::from_bytes(b"sh\xffot.toml");
    if fs::copy(marsh.at("good.toml"), marsh.temp.path().join(name)).is_err() {
        eprintln!("skipped: this file system takes no such name");
        return;
    }
    for args in [&[OsStr::new("check"), name][..], &[OsStr::new("report"), name, OsStr::new("--out"), OsStr::new("-")]] {
        let text = marsh.says(args, 2);
        assert!(text.starts_with("error[invalid-file-name]: the name of the file is not UTF-8 text"), "{text}");
        assert!(text.contains("found: `sh\u{fffd}ot.toml`") && !text.contains("regular file"), "{text}");
    }
}

#[test]
fn trap_headers_and_names_of_logs_are_shown_escaped() {
    let marsh = Marsh::new();
    marsh.says(&["compile", "good.toml", "--out", "columns"], 0);
    let steps = marsh.read("columns/picture.steps.csv");
    let one_line = PLANTED.replace('\n', " ");
    for header in [format!("frame,heron.{one_line}\n1,0\n"), format!("{one_line},heron.bridge\n1,0\n")] {
        fs::write(marsh.at("take.csv"), header).unwrap();
        let text = marsh.says(&["compare", "columns", "--pass", "picture", "take.csv"], 2);
        assert!(text.contains("error[invalid-log]") && text.contains("\\u{1b}[2J"), "{text}");
    }
    fs::write(marsh.at("take.csv"), with(&steps, "\n1,", &format!("\n{one_line},"))).unwrap();
    marsh.says(&["compare", "columns", "--pass", "picture", "take.csv"], 2);
    // A key file's header.
    let shot = with(&marsh.read("good.toml"), "keys = [", "keys = \"keys.csv\" # [");
    fs::write(marsh.at("keyed.toml"), shot).unwrap();
    fs::write(marsh.at("keys.csv"), format!("frame,{one_line}\n1,0\n")).unwrap();
    assert!(marsh.says(&["check", "keyed.toml"], 2).contains("\\u{1b}[2J"));
    // A log's own name, in the table and in JSON, where it keeps its value.
    fs::write(marsh.at(PLANTED), &steps).unwrap();
    let text = marsh.says(&["compare", "columns", "--pass", "picture", PLANTED], 0);
    assert!(text.contains("x\\u{1b}[2J\\u{1b}[H\\u{a}no limit"), "{text}");
    let text = marsh.says(&["compare", "columns", "--pass", "picture", PLANTED, "--json"], 0);
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["takes"][0]["log"], PLANTED);
    marsh.says(&["compare", "columns", "--pass", PLANTED, "take.csv"], 2);
}

/// Every text of a manifest, one after the other, and every file that it lists.
#[test]
fn trap_texts_of_a_manifest_are_shown_escaped() {
    let marsh = Marsh::new();
    marsh.says(&["compile", "good.toml", "--out", "columns"], 0);
    fs::copy(marsh.at("columns/picture.steps.csv"), marsh.at("take.csv")).unwrap();
    let sound: serde_json::Value = serde_json::from_str(&marsh.read("columns/manifest.json")).unwrap();
    fn texts(value: &serde_json::Value, at: String, all: &mut Vec<String>) {
        match value {
            serde_json::Value::String(_) => all.push(at),
            serde_json::Value::Array(list) => list.iter().enumerate().for_each(|(i, v)| texts(v, format!("{at}/{i}"), all)),
            serde_json::Value::Object(map) => map.iter().for_each(|(k, v)| texts(v, format!("{at}/{k}"), all)),
            _ => {}
        }
    }
    let mut all = Vec::new();
    texts(&sound, String::new(), &mut all);
    assert!(all.len() > 20, "{all:?}");
    let mut shown = 0;
    for at in all {
        let mut planted = sound.clone();
        *planted.pointer_mut(&at).unwrap() = PLANTED.into();
        fs::write(marsh.at("columns/manifest.json"), planted.to_string()).unwrap();
        for args in [
            &["verify", "columns", "--all"][..],
            &["compare", "columns", "--pass", "picture", "take.csv"],
            &["compile", "good.toml", "--out", "columns"],
        ] {
            shown += said(&format!("{at}: {args:?}"), &run(marsh.temp.path(), args)).matches("\\u{1b}[2J").count();
        }
    }
    assert!(shown > 20, "{shown}");
    // A file that stands in the folder and is listed nowhere.
    fs::write(marsh.at("columns/manifest.json"), sound.to_string()).unwrap();
    fs::write(marsh.at("columns").join(PLANTED), "").unwrap();
    assert!(marsh.says(&["verify", "columns"], 1).contains("extra: x\\u{1b}[2J"));
    assert!(marsh.says(&["compile", "good.toml", "--out", "columns", "--replace"], 2).contains("holds `x\\u{1b}[2J"));
}
