//! What a figure carries, on the page in a real browser: swing, wires, settling below the curves of its axes, and the band of the stop. Needs Debian's `chromium` and `chromium-driver`:
//! `cargo test --test it load_panels:: -- --ignored`.

use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

use crate::browser::{Browser, MEETING};

fn axis(name: &str, unit: &str, travel: [f64; 2], limits: [f64; 3]) -> String {
    format!(
        "[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = {travel:?}\nhome = {}\nmax_velocity = {}\nmax_acceleration = {}\nmax_jerk = {}\nmotor = \"m\"\n\
         microsteps = 10\ntravel_per_rev = 20\n",
        travel[0] + 50.0,
        limits[0],
        limits[1],
        limits[2]
    )
}

/// A figure on three wires under a bridge that stops too late when it runs fast, a fault being noticed after a second, and that nods until a wire is slack.
fn written(dir: &Path) -> std::path::PathBuf {
    let axes = axis("bridge", "mm", [250.0, 467.0], [60.0, 15.0, 20.0]) + &axis("nod", "deg", [-50.0, 60.0], [20.0, 20.0, 40.0]);
    let stage = format!(
        "format = 1\nname = \"Marsh\"\nreaction = 1\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n{axes}\
         [[group.joint]]\nname = \"bridge\"\nslide = [1, 0, 0]\nchannel = \"bridge\"\n[[group.joint]]\nturn = [0, 0, 1]\nchannel = \"nod\"\n\
         [group.swing]\njoint = \"bridge\"\nlength = 1600\nlimit = 1\n\
         [group.hang]\nmass = 1.9\ncentre = [0, -30, 4]\nwires = [[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]\nleast_tension = 0.25\n"
    );
    let shot = "format = 1\nname = \"Reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 40]\n\
         [[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [14, 420], [40, 380]]\n[[track]]\nchannel = \"heron.nod\"\nkeys = [[5, 0], [25, 40], [40, 0]]\n\
         [[pass]]\nname = \"fast\"\nexposure = \"moving\"\nseconds_per_frame = 0.4\nshutter = 180\n\
         [[pass]]\nname = \"held\"\nexposure = \"held\"\nseconds_per_frame = 20\nshutter = 90\nsettle = 2\n";
    std::fs::write(dir.join("stage.toml"), stage).unwrap();
    std::fs::write(dir.join("shot.toml"), shot).unwrap();
    dir.join("shot.toml")
}

#[test]
#[ignore = "needs chromium and its driver"]
fn a_figure_s_loads_are_drawn_below_its_axes() {
    let dir = tempfile::tempdir().unwrap();
    let (shot, page) = (written(dir.path()), dir.path().join("page.html"));
    let run = |args: &[&str]| Command::new(env!("CARGO_BIN_EXE_movewright")).args(args).output().unwrap();
    run(&["report", shot.to_str().unwrap(), "--out", page.to_str().unwrap()]);
    let check: Value = serde_json::from_slice(&run(&["check", shot.to_str().unwrap(), "--json"]).stdout).unwrap();
    let b = Browser::open();
    for (width, height, phone) in [(1500, 1200, false), (390, 844, true)] {
        b.as_if("Emulation.setDeviceMetricsOverride", json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone }));
        b.go(&page);
        let choose = |pass: usize| {
            b.script(&format!(
                "const p = document.getElementById('pass'); p.value = '{pass}'; p.dispatchEvent(new Event('change')); document.querySelectorAll('#map .row')[0].click();\
                 const f = document.getElementById('frame'); f.value = 20; f.dispatchEvent(new Event('input'));"
            ));
            assert_eq!(b.script(MEETING), json!([]), "{width} px, pass {pass}");
            b.script("return [...document.querySelectorAll('#curves svg')].map((s) => s.dataset.panel).join('|')")
        };
        assert_eq!(choose(1), "position|swing|settling|wires");
        assert_eq!(b.script("return document.querySelectorAll('.stop').length"), 0);
        let settling = b.script("return document.querySelector('[data-panel=settling] .value').textContent");
        assert!(settling.as_str().unwrap().starts_with("frame 20: rests "), "{settling}");
        assert_eq!(choose(0), "position|velocity|acceleration|jerk|swing|wires");
        // The accent lies where the check says that a limit is exceeded.
        let over = "return [...document.querySelectorAll('#curves svg')].filter((s) => s.querySelector('.curve.over, .stop.over')).map((s) => s.dataset.panel).join('|')";
        assert_eq!(b.script(over), "position|swing|wires");
        let exceeded: Vec<&str> =
            check["passes"][0]["violations"].as_array().unwrap().iter().map(|v| v["limit"].as_str().unwrap()).collect();
        assert!(["stopping", "swing", "slack"].iter().all(|l| exceeded.contains(l)) && exceeded.len() == 3, "{exceeded:?}");
    }
    // The band's upper edge at the frame at which least room is left: what the check computes in another language, to a pixel's worth.
    let stop = check["passes"][0]["stopping"].as_array().unwrap().iter().find(|s| s["axis"] == "heron.bridge").unwrap();
    let number = |key: &str| stop[key].as_f64().unwrap();
    let edge = b.script(&format!(
        "const s = document.querySelector('[data-panel=position]'), [low, high] = s.plot.range, D = JSON.parse(document.getElementById('data').textContent), axis = D.axes[0];\
         const points = [...s.querySelector('.stop').getAttribute('d').matchAll(/([\\d.-]+) ([\\d.-]+)/g)].map((m) => [Number(m[1]), Number(m[2])]);\
         const cuts = [...s.querySelectorAll('.cut')].map((c) => Number(c.getAttribute('x1'))), x = cuts[0] + (cuts[1] - cuts[0]) * ({} - D.first + 0.5) / (D.last - D.first + 1);\
         const near = points.filter((p) => Math.abs(p[0] - x) < 1).map((p) => p[1]);\
         return [high - (Math.min(...near) - 26) / s.plot.height * (high - low), (high - low) / s.plot.height, axis.travel[1]]",
        number("frame")
    ));
    let (found, pixel, end) = (edge[0].as_f64().unwrap(), edge[1].as_f64().unwrap(), edge[2].as_f64().unwrap());
    let wanted = end - number("room") + number("distance");
    assert!((found - wanted).abs() < pixel, "{found} {wanted}, a pixel is {pixel}");
    assert_eq!(b.console(), Vec::<Value>::new());
}
