//! `movewright watch --edit` in a real browser: a key is dragged and moved with arrow keys, the curve follows, the file is written, and undo takes it back. Needs Debian's `chromium` and
//! `chromium-driver`: `cargo test --test it live_edit:: -- --ignored`.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::browser::{Browser, fixture};
use crate::watch::Watch;

/// Where the key of camera.roll at frame 186 is drawn, on the screen.
const KEY: &str = "const c = [...document.querySelectorAll('#curves circle.free')].find((c) => { const k = c.ownerSVGElement.plot.keys[Number(c.dataset.key)]; return k.key === 1; });";

fn pointer(b: &Browser, actions: Vec<Value>) {
    let action = json!({ "type": "pointer", "id": "mouse", "parameters": { "pointerType": "mouse" }, "actions": actions });
    b.ask("POST", &b.within("actions"), Some(json!({ "actions": [action] })));
}

#[test]
#[ignore = "needs chromium and its driver"]
fn a_key_is_dragged_tried_written_and_taken_back() {
    let dir = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(fixture("herons")).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, dir.path().join(path.file_name().unwrap())).unwrap();
    }
    let shot = dir.path().join("shot.toml");
    let read = || std::fs::read_to_string(&shot).unwrap();
    let good = read();
    let watch = Watch::start(&shot, &["--edit"]);
    let b = Browser::open();
    b.ask("POST", &b.within("url"), Some(json!({ "url": format!("http://127.0.0.1:{}/#{}", watch.port, watch.token) })));
    let said = || {
        b.script("return document.getElementById('live_state').textContent + ' / ' + (document.getElementById('edit_text') || { textContent: '' }).textContent")
    };
    let until = |script: &str| {
        let end = Instant::now() + Duration::from_secs(60);
        while b.script(script) != true {
            assert!(Instant::now() < end, "{script}: {}", said());
        }
    };
    let checked = "return document.getElementById('data') !== null && document.getElementById('live_state').textContent.startsWith('checked') && !document.body.classList.contains('pending')";
    until(checked);
    b.script("[...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('camera.roll')).click()");
    let advice = b.script("return document.getElementById('edit_text').textContent");
    assert!(advice.as_str().unwrap().contains("left and right by 1 frame, up and down by 0."), "{advice}");
    let curve = "return document.querySelector('#curves .curve').getAttribute('d')";
    let before = b.script(curve);
    // What was checked last may still be the file as it was.
    let drawn_as = |wanted: &Value| {
        let end = Instant::now() + Duration::from_secs(60);
        while b.script(curve) != *wanted {
            assert!(Instant::now() < end, "{}", said());
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    let at = b.script(&format!("{KEY} c.scrollIntoView({{ block: 'center' }}); const r = c.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2];"));
    let (x, y) = (at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    let to = |dx: f64, dy: f64| json!({ "type": "pointerMove", "duration": 0, "x": (x + dx).round(), "y": (y + dy).round() });
    pointer(&b, vec![to(0.0, 0.0), json!({ "type": "pointerDown", "button": 0 })]);
    // While it is held the curve follows, and nothing is written.
    let mut took = Vec::new();
    for i in 1..=20 {
        b.script("delete document.documentElement.dataset.tried");
        pointer(&b, vec![to(f64::from(i) * 4.0, f64::from(i) * 2.0)]);
        until("return document.documentElement.dataset.tried !== undefined");
        took.push(b.script("return document.documentElement.dataset.tried").as_str().unwrap().parse::<f64>().unwrap());
    }
    took.sort_by(f64::total_cmp);
    println!("a key that is dragged: its axis's curve and limits after {:.0} ms (median of 20; {:.0} at most)", took[10], took[19]);
    let limits = b.script("return document.getElementById('edit_limits').textContent");
    assert!(limits.as_str().unwrap().contains("velocity") && limits.as_str().unwrap().contains("% of limit"), "{limits}");
    let followed = b.script(curve);
    assert_ne!(followed, before);
    assert_eq!(read(), good);
    pointer(&b, vec![json!({ "type": "pointerUp", "button": 0 })]);
    until("return !document.getElementById('undo').disabled && !document.body.classList.contains('held')");
    let moved = read();
    let changed: Vec<(&str, &str)> = good.lines().zip(moved.lines()).filter(|(a, b)| a != b).collect();
    assert!(changed.len() == 1 && changed[0].0.contains("[186, -3.0]") && !changed[0].1.contains("[186, -3.0]"), "{changed:?}");
    // The verdict comes, and the curve is the one that was tried.
    until("return document.getElementById('live_text').textContent.includes('camera.roll: changed from frame')");
    until(checked);
    assert_ne!(b.script(curve), before);
    // Two frames on by the keyboard are one edit.
    b.script(&format!("{KEY} c.focus()"));
    // In one request: the page writes shortly after the last of them.
    let strokes = |keys: Vec<Value>| {
        b.ask("POST", &b.within("actions"), Some(json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": keys }] })));
    };
    let down = |k: &str| json!({ "type": "keyDown", "value": k });
    let up = |k: &str| json!({ "type": "keyUp", "value": k });
    let press = |keys: &[&str]| strokes(keys.iter().map(|k| down(k)).chain(keys.iter().rev().map(|k| up(k))).collect());
    strokes(["\u{e014}", "\u{e014}", "\u{e015}"].iter().flat_map(|k| [down(k), up(k)]).collect());
    let end = Instant::now() + Duration::from_secs(20);
    while read() == moved {
        assert!(Instant::now() < end, "{}", said());
        std::thread::sleep(Duration::from_millis(20));
    }
    let fine = read();
    let frame = |text: &str| {
        text.lines()
            .find(|l| l.contains("[270, 0.0]]"))
            .unwrap()
            .split("], [")
            .nth(1)
            .unwrap()
            .split(',')
            .next()
            .unwrap()
            .parse::<i64>()
            .unwrap()
    };
    assert_eq!(frame(&fine), frame(&moved) + 2, "{}", said());
    // Undo twice, redo once, undo again: to the last byte.
    let undo = || press(&["\u{e009}", "z"]);
    let wait = |text: &str| {
        let end = Instant::now() + Duration::from_secs(20);
        while read() != text {
            assert!(Instant::now() < end, "{}", said());
            std::thread::sleep(Duration::from_millis(20));
        }
        until("return !document.getElementById('undo').disabled || !document.getElementById('redo').disabled");
        std::thread::sleep(Duration::from_millis(200));
    };
    undo();
    wait(&moved);
    undo();
    wait(&good);
    press(&["\u{e009}", "\u{e008}", "Z"]);
    wait(&moved);
    b.script("document.getElementById('undo').click()");
    wait(&good);
    until("return document.getElementById('undo').disabled");
    // Somebody saves meanwhile: the edit is refused in words, and the curve goes back.
    drawn_as(&before);
    until(checked);
    b.script(&format!("{KEY} c.focus()"));
    let (resting, drawn) = (b.script(curve), "return document.getElementById('edit_text').textContent");
    assert_eq!(resting, before);
    press(&["\u{e014}"]);
    std::fs::write(&shot, format!("{good}# a note\n")).unwrap();
    until(&format!(
        "return !document.body.classList.contains('held') && ({}).includes('has changed since the page read it')",
        &drawn["return ".len()..]
    ));
    assert_eq!(read(), format!("{good}# a note\n"), "{}", said());
    drawn_as(&resting);
    until(checked);
    assert_eq!(b.script(curve), resting);
    let refusal = b.script(drawn);
    assert!(refusal.as_str().unwrap().contains("shot.toml has changed since the page read it: nothing was written"), "{refusal}");
    // A key of a routine is shown and stays.
    b.script("[...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('heron_a.trolley')).click()");
    assert_eq!(b.script("return document.querySelectorAll('#curves circle.fixed').length > 0 && document.querySelectorAll('#curves circle.free').length === 0"), true);
    let why = b.script("return document.querySelector('#curves circle.fixed title').textContent");
    assert!(why.as_str().unwrap().contains("a key of a routine: change it in"), "{why}");
    let console = b.console();
    let refused = |e: &Value| e["message"].as_str().unwrap().contains("409");
    assert!(console.iter().all(refused), "{console:?}");
    assert_eq!(watch.interrupted(), Some(0));
}
