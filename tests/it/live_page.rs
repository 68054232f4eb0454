//! `movewright watch` in a real browser: the page follows every save and keeps its place. Needs Debian's `chromium` and `chromium-driver`:
//! `cargo test --test it live_page:: -- --ignored`.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::browser::{Browser, fixture};
use crate::watch::Watch;

/// The page that follows: a save of one key changes the curve in place, the pass, frame and open axis are kept, the verdict follows; a slip is shown with its place. How long 20 saves took is
/// printed.
#[test]
#[ignore = "needs chromium and its driver"]
fn the_live_page_follows_every_save_and_keeps_its_place() {
    let dir = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(fixture("herons")).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, dir.path().join(path.file_name().unwrap())).unwrap();
    }
    let shot = dir.path().join("shot.toml");
    let good = std::fs::read_to_string(&shot).unwrap();
    let key = "[70, -280, 50, -200]";
    let key = if good.contains(key) {
        key.to_owned()
    } else {
        good.lines().find(|l| l.trim_start().starts_with("[70, ")).unwrap().trim().trim_end_matches(',').to_owned()
    };
    let watch = Watch::start(&shot, &[]);
    let b = Browser::open();
    b.ask("POST", &b.within("url"), Some(json!({ "url": format!("http://127.0.0.1:{}/", watch.port) })));
    let until = |script: &str| {
        let end = Instant::now() + Duration::from_secs(60);
        while b.script(script) != true {
            assert!(Instant::now() < end, "{script}: {}", b.script("return document.getElementById('live_state').textContent"));
        }
    };
    until("return document.getElementById('data') !== null && document.getElementById('live_state').textContent.startsWith('checked')");
    b.script(
        "const p = document.getElementById('pass'); p.value = '1'; p.dispatchEvent(new Event('change'));\
         [...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('camera.pan')).click();\
         const f = document.getElementById('frame'); f.value = 65; f.dispatchEvent(new Event('input'));\
         window.marks = []; new MutationObserver(() => window.marks.push([performance.timeOrigin + performance.now(), document.body.classList.contains('pending')]))\
            .observe(document.body, { attributes: true, attributeFilter: ['class'] });",
    );
    let now = || std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs_f64() * 1000.0;
    let (mut curves, mut verdicts) = (Vec::new(), Vec::new());
    let path = "return document.querySelector('#curves .curve').getAttribute('d')";
    let mut before = b.script(path);
    for i in 0..20 {
        b.script("window.marks.length = 0");
        let start = now();
        let moved = key.replacen("[70", &format!("[{}", 71 + i % 7), 1);
        std::fs::write(&shot, good.replacen(&key, &moved, 1)).unwrap();
        until("return window.marks.some((m) => m[1]) && window.marks.length > 1 && !document.body.classList.contains('pending')");
        let marks = b.script("return [window.marks.find((m) => m[1])[0], window.marks[window.marks.length - 1][0]]");
        curves.push(marks[0].as_f64().unwrap() - start);
        verdicts.push(marks[1].as_f64().unwrap() - start);
        let after = b.script(path);
        assert_ne!(after, before, "save {i}");
        before = after;
        assert!(
            b.script("return document.getElementById('live_text').textContent")
                .as_str()
                .unwrap()
                .contains("camera.pan: changed from frame")
        );
    }
    for list in [&mut curves, &mut verdicts] {
        list.sort_by(f64::total_cmp);
    }
    println!(
        "20 saves: curves after {:.0} ms (median; {:.0} at most), verdict after {:.0} ms ({:.0} at most)",
        curves[10], curves[19], verdicts[10], verdicts[19]
    );
    // The place is kept.
    let place = b.script("return [document.getElementById('pass').value, document.getElementById('frame').value, document.getElementById('axis_name').textContent].join()");
    assert_eq!(place, "1,65,camera.pan, pass matte");
    std::fs::write(&shot, good.replacen("exposure = \"moving\"", "exposure = \"moveing\"", 1)).unwrap();
    until("return document.body.classList.contains('mistaken') && document.getElementById('live_text').textContent.includes('moveing')");
    assert_eq!(b.script("return document.querySelectorAll('#curves .curve').length > 0"), true);
    assert_eq!(b.console(), Vec::<Value>::new());
}
