//! The page of `movewright study --report` in a real browser: every panel is drawn, no text is cut, small or on another, on a large screen and a phone, light and dark. Needs Debian's `chromium` and
//! `chromium-driver`: `cargo test --test it study_page:: -- --ignored`.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::browser::{Browser, fixture};

/// Texts of a panel that meet each other, stick out of it or are hard to read, and what is wider than the window.
const MISPLACED: &str = "const found = [];
    for (const panel of document.querySelectorAll('.panel')) {
        const own = panel.getBoundingClientRect(), boxes = [...panel.querySelectorAll('text')].map((t) => [t.textContent, t.getBoundingClientRect()]);
        if (boxes.length < 6) found.push('few texts: ' + boxes.length);
        boxes.forEach(([name, a], i) => {
            if (a.left < own.left || own.right < a.right || a.top < own.top || own.bottom < a.bottom) found.push('cut: ' + name);
            if (a.height < 13) found.push('small: ' + name);
            for (const [other, b] of boxes.slice(i + 1))
                if (a.left < b.right && b.left < a.right && a.top < b.bottom - 3 && b.top < a.bottom - 3) found.push(name + ' on ' + other);
        });
    }
    if (document.documentElement.scrollWidth > window.innerWidth) found.push('wider than the window: ' + document.documentElement.scrollWidth);
    return found";

/// Dots and lines of every panel: points of each, how far they reach across the drawing and up, as shares of it, and whether they have another colour than what is behind them.
const DRAWN: &str = "return [...document.querySelectorAll('.panel')].map((panel) => {
        const own = panel.querySelector('svg').getBoundingClientRect(), behind = getComputedStyle(document.body).backgroundColor;
        return [...panel.querySelectorAll('path')].map((p) => {
            const box = p.getBoundingClientRect(), colour = getComputedStyle(p).stroke;
            return { of: p.getAttribute('class'), points: [...p.getAttribute('d').matchAll(/[ML]([\\d.-]+) ([\\d.-]+)/g)].map((m) => [Number(m[1]), Number(m[2])]),
                across: box.width / own.width, up: box.height / own.height, seen: colour !== 'none' && colour !== behind };
        });
    })";

fn report(recording: &Path, dir: &Path, more: &[&str]) -> PathBuf {
    let out = dir.join("page.html");
    let run =
        Command::new(env!("CARGO_BIN_EXE_movewright")).arg("study").arg(recording).args(more).arg("--report").arg(&out).output().unwrap();
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    out
}

/// Opens a page in every size and scheme, and sees that no text is misplaced and nothing complained; `look` sees the rest.
fn in_every_size(page: &Path, look: impl Fn(&Browser)) {
    let b = Browser::open();
    for (width, height, phone) in [(1500, 1200, false), (900, 700, false), (390, 844, true)] {
        for scheme in ["light", "dark"] {
            b.as_if(
                "Emulation.setDeviceMetricsOverride",
                json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone }),
            );
            b.as_if("Emulation.setEmulatedMedia", json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }));
            b.go(page);
            assert_eq!(b.script(MISPLACED), json!([]), "{width} px, {scheme}");
            look(&b);
        }
    }
    assert_eq!(b.script("return performance.getEntriesByType('resource').length"), 0);
    assert_eq!(b.console(), Vec::<Value>::new());
}

fn points(drawn: &Value) -> Vec<[f64; 2]> {
    serde_json::from_value(drawn["points"].clone()).unwrap()
}

/// The wing beat of the guide: what drives leave, drives over a beat, and markers as recorded and as rebuilt.
#[test]
#[ignore = "needs chromium and its driver"]
fn a_wing_beat_is_looked_at() {
    let dir = tempfile::tempdir().unwrap();
    let page = report(&fixture("performance/wing_beat.csv"), dir.path(), &["--body", "chest,back,rump,belly", "--within", "3"]);
    in_every_size(&page, |b| {
        let panels = b.script(DRAWN);
        let panels: Vec<&Vec<Value>> = panels.as_array().unwrap().iter().map(|p| p.as_array().unwrap()).collect();
        assert_eq!(panels.len(), 1 + 4 + 4);
        for drawn in panels.iter().flat_map(|p| p.iter()) {
            let share = |key: &str| drawn[key].as_f64().unwrap();
            assert_eq!(drawn["seen"], true, "{}", drawn["of"]);
            // All but the dots that are farther off than allowed, and what is level, fill their panel.
            if drawn["of"] != "dots over" {
                assert!(share("across") > 0.95 && share("across") < 1.05, "{}", drawn["of"]);
                assert!(share("up") < 1.05 && (share("up") > 0.7 || panels[0].contains(drawn)), "{}", drawn["of"]);
            }
        }
        let of = |panel: usize, class: &str| points(panels[panel].iter().find(|d| d["of"] == class).unwrap());
        // Drives leave less, the more there are; four of them leave more than 3 mm, and these are marked.
        let (worst, limit, over) = (of(0, "line"), of(0, "line limit"), of(0, "dots over"));
        let rms = of(0, "line second");
        assert!(rms.windows(2).all(|w| w[0][1] < w[1][1]) && rms.len() == 12 && worst.len() == 12);
        assert_eq!((over.len(), &over[..]), (4, &worst[..4]));
        assert!(over.iter().all(|p| p[1] < limit[0][1]) && worst[4..].iter().all(|p| p[1] >= limit[0][1]));
        // The mean beat goes through the rows: a thirtieth of the height off in the mean square.
        for panel in 1..=4 {
            let beat = of(panel, "line");
            let near = |x: f64| beat.iter().min_by(|a, b| (a[0] - x).abs().total_cmp(&(b[0] - x).abs())).unwrap()[1];
            let rows = of(panel, "dots");
            assert_eq!(rows.len(), 533);
            let square = rows.iter().map(|p| (p[1] - near(p[0])) * (p[1] - near(p[0]))).sum::<f64>() / rows.len() as f64;
            assert!(square.sqrt() < 1000.0 / 30.0, "panel {panel}: {}", square.sqrt());
        }
        // Markers are rebuilt row by row, within 3 mm of some hundred.
        for panel in 5..=8 {
            let (recorded, rebuilt) = (of(panel, "dots"), of(panel, "line"));
            assert_eq!(recorded.len(), rebuilt.len());
            assert!(recorded.iter().zip(&rebuilt).all(|(a, b)| a[0] == b[0] && (a[1] - b[1]).abs() < 40.0), "panel {panel}");
        }
        // A table that is wider than a phone is scrolled, and not broken within words.
        assert_eq!(b.script("return document.querySelectorAll('.scroll tbody tr').length"), 2);
    });
}

/// Without a beat, far from the origin, with small motions and names as long as they may be: numbers of many digits beside the panels.
#[test]
#[ignore = "needs chromium and its driver"]
fn long_numbers_and_names_have_room() {
    let dir = tempfile::tempdir().unwrap();
    let name = "a_marker_of_the_left_wing_tip_".repeat(2);
    let mut text = format!("time_s,{name}.x,{name}.y,root.x,root.y\n");
    for i in 0..200_u32 {
        let t = 3600.0 + f64::from(i) / 100.0;
        text += &format!("{t},{},{:.6},-98765.4,0\n", -98765.4 + 20.0 * (t - 3600.0), 12345.67 + 0.0004 * (t * 5.0).sin());
    }
    let recording = dir.path().join("a-recording-with-a-long-name-that-has-no-place-to-break-it-on-a-phone.csv");
    std::fs::write(&recording, text).unwrap();
    for more in [&[][..], &["--within", "0.00001"]] {
        let page = report(&recording, dir.path(), &[more, &["--replace"]].concat());
        in_every_size(&page, |b| {
            assert!(b.script("return document.querySelectorAll('.panel .dots').length").as_u64().unwrap() >= 3);
        });
    }
}
