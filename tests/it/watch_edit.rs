//! `movewright watch --edit` with a real client: a key that is moved changes one line and comes back to the last byte, and everything else is refused and writes nothing.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Value, json};

use crate::browser::fixture;
use crate::watch::{Watch, status};

/// A copy of the demo, and the program at work on it.
struct Demo {
    dir: tempfile::TempDir,
    watch: Watch,
}

impl Demo {
    fn start(more: &[&str]) -> Demo {
        let dir = tempfile::tempdir().unwrap();
        for entry in std::fs::read_dir(fixture("herons")).unwrap() {
            let path = entry.unwrap().path();
            std::fs::copy(&path, dir.path().join(path.file_name().unwrap())).unwrap();
        }
        let watch = Watch::start(&dir.path().join("shot.toml"), more);
        watch.events().next("checked");
        Demo { dir, watch }
    }

    fn at(&self, name: &str) -> std::path::PathBuf {
        self.dir.path().join(name)
    }

    fn files(&self) -> BTreeMap<String, Vec<u8>> {
        files(self.dir.path())
    }

    /// What the page's script reads.
    fn data(&self) -> Value {
        let page = self.watch.get("/");
        let text = page.split_once("id=\"data\" type=\"application/json\">").unwrap().1.split_once("</script>").unwrap().0;
        serde_json::from_str(text).unwrap()
    }

    /// An edit of the key of this axis or channel at this frame, as the page would send it.
    fn edit(&self, name: &str, frame: f64) -> Value {
        let data = self.data();
        let mut all = ["axes", "channels"].into_iter().flat_map(|list| data[list].as_array().unwrap());
        let of = all.find(|a| a["name"] == name && a["handles"].is_array()).unwrap();
        let handle = of["handles"].as_array().unwrap().iter().find(|h| h["frame"] == frame && h["fixed"].is_null()).unwrap();
        let file = &data["files"][usize::try_from(handle["file"].as_u64().unwrap()).unwrap()];
        json!({ "file": file["name"], "seen": file["seen"], "line": handle["line"], "column": handle["column"], "frame": handle["frame"], "value": handle["value"] })
    }

    /// Status and text of the answer.
    fn post(&self, path: &str, body: &str) -> (String, String) {
        self.post_with(path, body, &format!("Authorization: Bearer {}\r\nOrigin: http://127.0.0.1:{}", self.watch.token, self.watch.port))
    }

    fn post_with(&self, path: &str, body: &str, fields: &str) -> (String, String) {
        let (port, length) = (self.watch.port, body.len());
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n{fields}"
        );
        let answer = self.watch.ask(head.trim_end(), body.as_bytes());
        (status(&answer).to_owned(), answer.split_once("\r\n\r\n").unwrap_or_default().1.to_owned())
    }

    /// An edit that is written; what takes it back.
    fn written(&self, edit: &Value) -> Value {
        let (status, text) = self.post("/edit", &edit.to_string());
        assert_eq!(status, "200", "{text}");
        let a: Value = serde_json::from_str(&text).unwrap();
        let number = |i: usize| a["before"][i].as_str().unwrap().parse::<f64>().unwrap();
        json!({ "file": a["file"], "seen": a["seen"], "line": a["line"], "column": a["column"], "frame": number(0), "value": number(1), "texts": a["before"] })
    }
}

fn files(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let read = |e: std::fs::DirEntry| (e.file_name().into_string().unwrap(), std::fs::read(e.path()).unwrap());
    std::fs::read_dir(dir).unwrap().map(|e| read(e.unwrap())).collect()
}

fn moved(edit: &Value, frame: f64, value: f64) -> Value {
    let mut edit = edit.clone();
    (edit["frame"], edit["value"]) = (json!(frame), json!(value));
    edit
}

/// Lines that differ, old and new.
fn changed_lines(old: &[u8], new: &[u8]) -> Vec<(String, String)> {
    let lines = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap().split('\n').map(str::to_owned).collect::<Vec<_>>();
    let (old, new) = (lines(old), lines(new));
    assert_eq!(old.len(), new.len());
    old.into_iter().zip(new).filter(|(a, b)| a != b).collect()
}

#[test]
fn a_key_that_is_moved_changes_one_line_and_comes_back_to_the_last_byte() {
    let demo = Demo::start(&["--edit"]);
    let before = demo.files();
    let line = |file: &str| {
        let now = demo.files();
        let others = |all: &BTreeMap<String, Vec<u8>>| {
            all.iter().filter(|(name, _)| *name != file).map(|(n, b)| (n.clone(), b.clone())).collect::<Vec<_>>()
        };
        assert_eq!(others(&before), others(&now));
        changed_lines(&before[file], &now[file])
    };
    let mut events = demo.watch.events();
    events.next("checked");
    // In the shot file: frame and value, whose decimals are kept.
    let edit = demo.edit("camera.roll", 186.0);
    let back = demo.written(&moved(&edit, 190.0, -2.0));
    let old = "keys = [[100, 0.0], [186, -3.0], [270, 0.0]]";
    assert_eq!(line("shot.toml"), [(old.to_owned(), old.replace("[186, -3.0]", "[190, -2.0]"))]);
    // Pan and tilt are aimed through the roll, and focus follows along the optical axis.
    let curves: Value = serde_json::from_str(&events.next("curves")).unwrap();
    assert_eq!(
        curves["axes"].as_array().unwrap().iter().map(|a| a["name"].as_str().unwrap()).collect::<Vec<_>>(),
        ["camera.pan", "camera.tilt", "camera.roll", "camera.focus"]
    );
    // The same edit again is one of a file that has changed.
    let now = demo.files();
    let (status, text) = demo.post("/edit", &edit.to_string());
    assert!(status == "409" && text.contains("shot.toml has changed since the page read it"), "{status} {text}");
    assert_eq!(demo.files(), now);
    let forth = demo.written(&back);
    assert_eq!(demo.files(), before);
    demo.written(&forth);
    assert_eq!(demo.files(), now);
    demo.written(&back);
    assert_eq!(demo.files(), before);
    // In a key file: the value of a key that shares its line, whose frame stays.
    let edit = demo.edit("heron_c.hoist", 72.0);
    let back = demo.written(&moved(&edit, 72.0, 612.5));
    assert_eq!(line("heron_c.csv"), [("72,1570,,600,".to_owned(), "72,1570,,612.5,".to_owned())]);
    demo.written(&back);
    assert_eq!(demo.files(), before);
    // At another frame it leaves the other keys of its line where they are.
    let back = demo.written(&moved(&edit, 73.0, 600.0));
    let now = String::from_utf8(demo.files()["heron_c.csv"].clone()).unwrap();
    let old = String::from_utf8(before["heron_c.csv"].clone()).unwrap();
    assert_eq!(now, old.replace("72,1570,,600,\n", "72,1570,,,\n73,,,600,\n"));
    demo.written(&back);
    assert_eq!(demo.files(), before);
    // And one that has a line of its own.
    let edit = demo.edit("heron_b.trolley", 80.0);
    let back = demo.written(&moved(&edit, 101.0, 270.0));
    assert_eq!(line("heron_b.csv"), [("80,,270,,".to_owned(), "101,,270,,".to_owned())]);
    demo.written(&back);
    assert_eq!(demo.files(), before);
    assert_eq!(demo.watch.interrupted(), Some(0));
    assert_eq!(files(demo.dir.path()), before, "nothing is left beside the files");
}

#[test]
fn keys_of_copies_and_routines_are_shown_with_the_reason_that_they_stay() {
    let demo = Demo::start(&["--edit"]);
    let data = demo.data();
    let reasons = |name: &str| {
        let of = data["axes"].as_array().unwrap().iter().find(|a| a["name"] == name).unwrap();
        of["handles"].as_array().unwrap().iter().map(|h| h["fixed"].as_str().unwrap_or("free").to_owned()).collect::<Vec<_>>()
    };
    let (a, b) = (reasons("heron_a.trolley"), reasons("heron_b.trolley"));
    assert!(!a.is_empty() && a.iter().all(|r| r.contains("a key of a routine: change it in take_off.")), "{a:?}");
    assert!(b.iter().any(|r| r == "free") && b.iter().any(|r| r == "copied from heron_a: change the key there"), "{b:?}");
    // Not even by the place where it is written.
    let before = demo.files();
    let file = data["files"].as_array().unwrap().iter().find(|f| f["name"] == "take_off.csv").unwrap();
    let edit = json!({ "file": file["name"], "seen": file["seen"], "line": 3, "column": 4, "frame": 26, "value": 2281 });
    assert_eq!(demo.post("/edit", &edit.to_string()).0, "404");
    assert_eq!(demo.files(), before);
}

/// A retime at double speed, and one with a hold.
#[test]
fn keys_of_a_retimed_group_are_edited_in_its_own_frames_unless_it_holds() {
    let demo = Demo::start(&["--edit"]);
    let good = std::fs::read_to_string(demo.at("shot.toml")).unwrap();
    let retimes = "\n[[retime]]\ngroups = [\"gobo_left\"]\nkeys = [[1, 1], [101, 201]]\n\n[[retime]]\ngroups = [\"gobo_right\"]\nkeys = [[1, 1], [100, 100], [112, 100], [348, 336]]\n";
    let mut events = demo.watch.events();
    std::fs::write(demo.at("shot.toml"), good.clone() + retimes).unwrap();
    while !events.next("checked").contains("gobo_left.turn: changed") {}
    let data = demo.data();
    let handles = |name: &str| {
        let of = data["axes"].as_array().unwrap().iter().find(|a| a["name"] == name).unwrap();
        of["handles"].as_array().unwrap().clone()
    };
    let key = handles("gobo_left.turn").into_iter().find(|h| h["frame"] == 96.0).unwrap();
    assert_eq!(
        (&key["film"], &key["rate"], &key["fixed"], &key["within"]),
        (&json!(48.5), &json!(2.0), &Value::Null, &json!([2.0, 199.0]))
    );
    assert!(handles("gobo_right.slide").iter().all(|h| h["fixed"].as_str().unwrap().contains("a retime holds this group")));
    demo.written(&moved(&demo.edit("gobo_left.turn", 96.0), 98.0, 56.0));
    assert_eq!(std::fs::read_to_string(demo.at("shot.toml")).unwrap(), good.replace("[96, 56.0]", "[98, 56.0]") + retimes);
}

#[test]
fn what_is_tried_is_drawn_and_judged_and_not_written() {
    let demo = Demo::start(&["--edit"]);
    let before = demo.files();
    let edit = demo.edit("camera.roll", 186.0);
    let tried = |edit: &Value| -> Value {
        let (status, text) = demo.post("/try", &edit.to_string());
        assert_eq!(status, "200", "{text}");
        serde_json::from_str(&text).unwrap()
    };
    // Where it is: the curve that the page has, and what it uses of its limits.
    let (data, same) = (demo.data(), tried(&edit));
    let i = data["axes"].as_array().unwrap().iter().position(|a| a["name"] == "camera.roll").unwrap();
    assert_eq!(same["axes"], json!([data["axes"][i]]));
    assert_eq!(same["usage"], json!([data["passes"][0]["usage"][i]]));
    assert_eq!(same["over"], json!([]));
    assert!(same["limits"][0][0]["text"].as_str().unwrap().starts_with("velocity 0."), "{same}");
    // Far off: other curves, and limits exceeded in words.
    let far = tried(&moved(&edit, 186.0, -400.0));
    assert_ne!(far["axes"], same["axes"]);
    assert!(far["over"][0]["message"].as_str().unwrap().contains("camera.roll"), "{far}");
    // A channel that a mechanism turns into axes brings them all.
    let roll = tried(&demo.edit("heron_c.roll", 96.0));
    assert_eq!((roll["axes"].as_array().unwrap().len(), &roll["channels"][0]["name"]), (3, &json!("heron_c.roll")));
    assert_eq!(demo.post("/try", &json!({ "pass": 99 }).to_string()).0, "400");
    let mut no_pass = edit.clone();
    no_pass["pass"] = json!(99);
    assert_eq!(demo.post("/try", &no_pass.to_string()).0, "409");
    assert_eq!(demo.files(), before);
}

#[test]
fn whatever_is_no_edit_of_a_key_of_this_shot_is_refused_and_writes_nothing() {
    let demo = Demo::start(&["--edit"]);
    let before = demo.files();
    let good = demo.edit("camera.roll", 186.0);
    let with = |key: &str, value: Value| {
        let mut edit = good.clone();
        edit[key] = value;
        edit.to_string()
    };
    let text = good.to_string();
    let secret = demo.dir.path().join("shot.toml").display().to_string();
    for (body, expected) in [
        (String::new(), "400"),
        ("{".to_owned(), "400"),
        ("[]".to_owned(), "400"),
        ("\u{0}".to_owned(), "400"),
        (text.replace("186.0", "NaN"), "400"),
        (text.replace("186.0", "1e999"), "400"),
        (with("value", json!("Infinity")), "400"),
        (with("value", json!(null)), "400"),
        (with("line", json!(-1)), "400"),
        (with("line", json!(4_294_967_296_u64)), "400"),
        (with("path", json!("/etc/passwd")), "400"),
        (with("line", json!(1)), "404"),
        (with("column", json!(1)), "404"),
        (with("file", json!("../shot.toml")), "404"),
        (with("file", json!("./shot.toml")), "404"),
        (with("file", json!("/etc/passwd")), "404"),
        (with("file", json!("shot.toml\u{0}")), "404"),
        (with("file", json!(secret)), "404"),
        (with("file", json!("stage.toml")), "409"),
        (with("seen", json!("")), "409"),
        // Past a neighbour, onto it, out of what a shot may hold, and with another text.
        (with("frame", json!(99)), "409"),
        (with("frame", json!(270)), "409"),
        (with("value", json!(1e300)), "409"),
        (with("texts", json!(["186", "-2"])), "409"),
        (with("texts", json!(["186", "-3.0]]\nkeys2 = [[1, 2"])), "409"),
    ] {
        for path in ["/edit", "/try"] {
            let (status, answer) = demo.post(path, &body);
            // What is tried is not written, and its text is not looked at.
            let tried = path == "/try" && body.contains("\"texts\"");
            assert_eq!(status, if tried { "200" } else { expected }, "{path} {body}: {answer}");
            assert!(!answer.contains("root:"), "{answer}");
        }
    }
    let (own, port) = (format!("Authorization: Bearer {}", demo.watch.token), demo.watch.port);
    let other: String = demo.watch.token.chars().rev().collect();
    for (fields, expected) in [
        (String::new(), "401"),
        ("Authorization: Bearer ".to_owned(), "403"),
        (format!("Authorization: Bearer {other}"), "403"),
        (format!("{own}\r\nOrigin: http://marsh.example"), "403"),
        (format!("{own}\r\nOrigin: http://127.0.0.1:{}", port ^ 1), "403"),
        (format!("{own}\r\nContent-Length: {}", text.len()), "411"),
        (format!("{own}\r\nTransfer-Encoding: chunked"), "411"),
    ] {
        assert_eq!(demo.post_with("/edit", &moved(&good, 190.0, -2.0).to_string(), &fields).0, expected, "{fields}");
    }
    let large = format!("{}{}", moved(&good, 190.0, -2.0), " ".repeat(65_536));
    assert_eq!(demo.post("/edit", &large).0, "413");
    let short = demo.watch.ask(
        &format!("POST /edit HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{own}\r\nContent-Type: application/json\r\nContent-Length: 4000"),
        b"{}",
    );
    assert_eq!(status(&short), "400", "{short}");
    for head in
        [format!("POST /edit HTTP/1.1\r\nHost: marsh.example:{port}"), format!("POST /edit HTTP/1.1\r\nHost: 127.0.0.1:{}", port ^ 1)]
    {
        let answer = demo
            .watch
            .ask(&format!("{head}\r\n{own}\r\nContent-Type: application/json\r\nContent-Length: {}", text.len()), text.as_bytes());
        assert_eq!(status(&answer), "403", "{answer}");
    }
    for (method, path, expected) in [
        ("GET", "/edit", "404"),
        ("PUT", "/edit", "405"),
        ("OPTIONS", "/edit", "405"),
        ("POST", "/", "405"),
        ("POST", "/edit/", "405"),
        ("POST", "/edit?x", "405"),
    ] {
        let answer = demo.watch.ask(&format!("{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{own}"), b"");
        assert_eq!(status(&answer), expected, "{method} {path}");
    }
    assert_eq!(demo.files(), before);
    // Whoever saved in between is not overwritten, wherever the file differs.
    std::fs::write(demo.at("shot.toml"), [before["shot.toml"].as_slice(), b"# a note\n"].concat()).unwrap();
    let saved = demo.files();
    assert_eq!(demo.post("/edit", &moved(&good, 190.0, -2.0).to_string()).0, "409");
    assert_eq!(demo.files(), saved);
}

#[test]
fn without_edit_nothing_takes_an_edit() {
    let demo = Demo::start(&[]);
    let (before, data) = (demo.files(), demo.data());
    assert!(demo.watch.token.is_empty() && data.get("files").is_none() && data["axes"][0].get("handles").is_none());
    let page = demo.watch.get("/");
    assert!(!page.contains("id=\"edit\"") && !page.contains("\"/edit\""));
    let body = json!({ "file": "shot.toml", "seen": "", "line": 1, "column": 1, "frame": 1, "value": 1 }).to_string();
    for path in ["/edit", "/try"] {
        for fields in ["", "Authorization: Bearer ", "Authorization: Bearer 00"] {
            assert_eq!(demo.post_with(path, &body, fields).0, "405");
        }
    }
    assert_eq!(demo.files(), before);
    assert_eq!(demo.watch.interrupted(), Some(0));
}
