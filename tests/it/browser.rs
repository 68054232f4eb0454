//! The page in a real browser, headless: no errors, the slider moves the stage, keys go from axis to axis, it is there in a second, and
//! what is planted in it is not run.
//!
//! Needs Debian's `chromium` and `chromium-driver`; run with `cargo test --test it browser:: -- --ignored`. The browser is driven by the W3C WebDriver
//! protocol over plain HTTP; the small client is below, so that nothing more need be installed.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

impl Browser {
    pub fn open() -> Browser {
        let profile = tempfile::tempdir().unwrap();
        let mut driver =
            Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("chromedriver");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = lines
            .find_map(|line| line.unwrap().rsplit_once("on port ")?.1.trim_end_matches('.').parse().ok().filter(|port| *port > 0_u16))
            .expect("a port");
        std::thread::spawn(move || lines.for_each(drop));
        let mut browser = Browser { driver, port, session: String::new(), _profile: profile };
        let mut arguments = vec![
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--disable-quic".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--window-size=1500,1200".to_owned(),
        ];
        arguments.push(format!("--user-data-dir={}", browser._profile.path().display()));
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "goog:chromeOptions": { "args": arguments },
            "goog:loggingPrefs": { "browser": "ALL" },
        } } });
        let answer = browser.ask("POST", "/session", Some(wanted));
        browser.session = answer["sessionId"].as_str().expect("a session").to_owned();
        browser
    }

    /// One request of the protocol, its `value` back.
    pub fn ask(&self, method: &str, path: &str, body: Option<Value>) -> Value {
        let until = Instant::now() + Duration::from_secs(30);
        let mut stream = loop {
            match TcpStream::connect(("127.0.0.1", self.port)) {
                Ok(stream) => break stream,
                Err(error) => {
                    assert!(Instant::now() < until, "{error}");
                    std::thread::sleep(Duration::from_millis(50));
                }
            }
        };
        let body = body.map_or(String::new(), |b| b.to_string());
        let (port, length) = (self.port, body.len());
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}"
        )
        .unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).expect("an answer within a minute");
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().unwrap();
            }
            if line.trim().is_empty() {
                break;
            }
        }
        let mut content = vec![0; length];
        reader.read_exact(&mut content).unwrap();
        let content = String::from_utf8(content).unwrap();
        let value = serde_json::from_str::<Value>(&content).unwrap_or_else(|e| panic!("{e}: {content}"))["value"].clone();
        assert!(value.get("error").is_none(), "{method} {path}: {}", value["message"]);
        value
    }

    pub fn within(&self, path: &str) -> String {
        format!("/session/{}/{path}", self.session)
    }

    pub fn go(&self, page: &Path) {
        self.ask("POST", &self.within("url"), Some(json!({ "url": format!("file://{}", page.display()) })));
    }

    /// What a script on the page returns.
    pub fn script(&self, text: &str) -> Value {
        self.ask("POST", &self.within("execute/sync"), Some(json!({ "script": text, "args": [] })))
    }

    /// A command of the browser's own protocol: another screen, other media.
    pub fn as_if(&self, command: &str, how: Value) {
        self.ask("POST", &self.within("goog/cdp/execute"), Some(json!({ "cmd": command, "params": how })));
    }

    /// Presses keys, as on a keyboard.
    fn press(&self, keys: &str) {
        let actions: Vec<Value> =
            keys.chars().flat_map(|k| [json!({ "type": "keyDown", "value": k }), json!({ "type": "keyUp", "value": k })]).collect();
        self.ask("POST", &self.within("actions"), Some(json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": actions }] })));
    }

    /// Everything that was written to the console.
    pub fn console(&self) -> Vec<Value> {
        let log = self.ask("POST", &self.within("se/log"), Some(json!({ "type": "browser" })));
        log.as_array().unwrap().clone()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let session = format!("/session/{}", self.session);
            let _closed = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.ask("DELETE", &session, None)));
        }
        let _gone = self.driver.kill();
        let _over = self.driver.wait();
    }
}

const DOWN: &str = "\u{E015}";
const UP: &str = "\u{E013}";
const RIGHT: &str = "\u{E014}";
const ESCAPE: &str = "\u{E00C}";

fn report(shot: &Path, dir: &Path) -> std::path::PathBuf {
    report_with(shot, dir, &[])
}

fn report_with(shot: &Path, dir: &Path, more: &[&std::ffi::OsStr]) -> std::path::PathBuf {
    let out = dir.join("move of the day ä.html");
    let run = Command::new(env!("CARGO_BIN_EXE_movewright")).arg("report").arg(shot).args(more).arg("--out").arg(&out).output().unwrap();
    assert!(out.is_file(), "{}", String::from_utf8_lossy(&run.stderr));
    out
}

pub fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

#[test]
#[ignore = "needs chromium and its driver"]
fn the_demo_is_looked_at() {
    let dir = tempfile::tempdir().unwrap();
    let page = report(&fixture("herons/shot.toml"), dir.path());
    let b = Browser::open();
    b.go(&page);
    let ready = b.script("return document.documentElement.dataset.ready").as_str().unwrap().parse::<f64>().unwrap();
    assert!(ready > 0.0);
    println!("the demo is ready after {ready} ms of script");

    // The slider moves bodies, rods and the frame's number, by hand and by key.
    let plan = "return document.querySelector('#plan g').innerHTML";
    let picture = "return document.querySelector('#picture g').innerHTML";
    let (first, first_picture) = (b.script(plan), b.script(picture));
    b.script("const f = document.getElementById('frame'); f.value = 200; f.dispatchEvent(new Event('input'));");
    assert_ne!(b.script(plan), first);
    assert_ne!(b.script(picture), first_picture);
    assert_eq!(b.script("return document.getElementById('frame_text').textContent"), "200");
    assert!(b.script("return document.querySelectorAll('#picture .rod').length").as_u64().unwrap() > 0);
    b.script("document.getElementById('frame').focus()");
    b.press(RIGHT);
    assert_eq!(b.script("return document.getElementById('frame_text').textContent"), "201");

    // Rows: a key opens an axis with its four curves, the next key the next axis, Escape closes.
    assert_eq!(b.script("return document.getElementById('axis').hidden"), true);
    b.script("document.querySelector('#map .row').focus()");
    b.press(DOWN);
    let name = "return document.getElementById('axis_name').textContent";
    assert_eq!(b.script(name), "camera.lift, pass beauty");
    b.press(&DOWN.repeat(5));
    assert_eq!(b.script(name), "heron_a.bridge, pass beauty");
    assert_eq!(
        b.script("return [...document.querySelectorAll('#curves svg')].map((s) => s.dataset.panel).join()"),
        "position,velocity,acceleration,jerk,wires"
    );
    assert!(b.script("return document.querySelectorAll('#curves .key').length").as_u64().unwrap() > 1);
    b.press(UP);
    assert_eq!(b.script(name), "camera.focus, pass beauty");
    b.press(ESCAPE);
    assert_eq!(b.script("return document.getElementById('axis').hidden"), true);

    // Another pass: held, herons parked.
    b.script("const p = document.getElementById('pass'); p.value = '4'; p.dispatchEvent(new Event('change'));");
    assert_eq!(b.script("return document.querySelectorAll('#map .most')[7].textContent"), "parked");

    // Play goes on by itself, and stops.
    b.script("document.getElementById('play').click()");
    let until = Instant::now() + Duration::from_secs(20);
    while b.script("return Number(document.getElementById('frame').value)").as_u64().unwrap() < 204 {
        assert!(Instant::now() < until, "it does not play");
    }
    b.script("document.getElementById('play').click()");
    assert_eq!(b.script("return document.getElementById('play').textContent"), "Play");

    // Nothing is wider than the window, nothing was loaded, nothing complained.
    assert_eq!(b.script("return document.documentElement.scrollWidth <= window.innerWidth"), true);
    assert_eq!(b.script("return performance.getEntriesByType('resource').length"), 0);
    assert_eq!(b.console(), Vec::<Value>::new());
}

/// Texts of a drawing that meet each other or stick out of it, by the boxes that the browser gives them; and drawings wider than the page.
pub const MEETING: &str = "const found = [];
    for (const s of document.querySelectorAll('#curves svg, #plan svg, #side svg, #turned svg, #picture svg')) {
        const own = s.getBoundingClientRect(), boxes = [...s.querySelectorAll('text')].filter((t) => t.textContent).map((t) => [t.textContent, t.getBoundingClientRect()]);
        boxes.forEach(([name, a], i) => {
            if (a.left < own.left - 1 || own.right + 1 < a.right || a.top < own.top - 1 || own.bottom + 1 < a.bottom) found.push('cut: ' + name);
            for (const [other, b] of boxes.slice(i + 1))
                if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 3 && b.top < a.bottom - 3) found.push(name + ' on ' + other);
        });
    }
    if (document.documentElement.scrollWidth > window.innerWidth) found.push('wider than the window: ' + document.documentElement.scrollWidth);
    return found";

/// On a large screen and on a phone, light and dark, at several frames, passes, axes and turns.
#[test]
#[ignore = "needs chromium and its driver"]
fn no_label_meets_another_or_is_cut() {
    let dir = tempfile::tempdir().unwrap();
    let page = report(&fixture("herons/shot.toml"), dir.path());
    let b = Browser::open();
    for (width, height, phone, dark) in [(1500, 1200, false, false), (390, 844, true, false), (900, 700, false, true)] {
        b.as_if("Emulation.setDeviceMetricsOverride", json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone }));
        let scheme = if dark { "dark" } else { "light" };
        b.as_if("Emulation.setEmulatedMedia", json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }));
        b.go(&page);
        for (pass, frame, axis) in [(0, 1, 0), (0, 85, 30), (1, 150, 12), (4, 288, 60)] {
            b.script(&format!(
                "const p = document.getElementById('pass'); p.value = '{pass}'; p.dispatchEvent(new Event('change'));\
                 document.querySelectorAll('#map .row')[{axis}].click();\
                 const f = document.getElementById('frame'); f.value = {frame}; f.dispatchEvent(new Event('input'));\
                 document.getElementById('turned').focus();"
            ));
            b.press(&RIGHT.repeat(3));
            assert_eq!(b.script(MEETING), json!([]), "{width} px, pass {pass}, frame {frame}, axis {axis}");
        }
        // What can be named is named.
        let names = b.script("return [...document.querySelectorAll('#plan text')].map((t) => t.textContent).join()");
        assert!(["camera", "heron_a", "heron_d", "boom post"].iter().all(|n| names.as_str().unwrap().contains(n)), "{names}");
    }
    assert_eq!(b.console(), Vec::<Value>::new());
}

/// The pass without figures parks them: they stand at home in its views, and move in the others.
#[test]
#[ignore = "needs chromium and its driver"]
fn parked_figures_stand_parked_and_tight_places_are_marked() {
    let dir = tempfile::tempdir().unwrap();
    let page = report(&fixture("herons/shot.toml"), dir.path());
    let b = Browser::open();
    b.go(&page);
    let places = |pass: usize| -> Vec<Value> {
        let at = |frame: u32| {
            b.script(&format!(
                "const p = document.getElementById('pass'); p.value = '{pass}'; p.dispatchEvent(new Event('change'));\
                 const f = document.getElementById('frame'); f.value = {frame}; f.dispatchEvent(new Event('input'));\
                 return [...document.querySelectorAll('#plan [data-body=heron_a]')].map((l) => l.outerHTML).join().replaceAll(' tight', '')"
            ))
        };
        vec![at(1), at(200)]
    };
    let (moving, parked) = (places(0), places(2));
    assert_ne!(moving[0], moving[1]);
    assert_eq!(parked[0], parked[1]);
    assert!(parked[0].as_str().unwrap().contains("proxy"), "{parked:?}");
    assert_eq!(b.script("return [...document.querySelectorAll('#plan text')].some((t) => t.textContent === 'heron_a (parked)')"), true);
    // The button of the tightest pair goes to its frame, where both bodies are marked.
    b.script("const p = document.getElementById('pass'); p.value = '0'; p.dispatchEvent(new Event('change')); document.querySelector('#near button').click();");
    assert!(b.script("return document.querySelectorAll('#plan .tight').length").as_u64().unwrap() > 1);
    // Limbs are seen in the picture, and what moves is seen swept.
    assert!(b.script("return document.querySelectorAll('#picture .outline').length").as_u64().unwrap() > 20);
    assert!(b.script("return document.querySelectorAll('#picture .wire').length").as_u64().unwrap() > 4);
    // A channel of a mechanism stands below its axes, with its keys.
    b.script("[...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('heron_a.lift_fore')).click()");
    let panels = b.script("return [...document.querySelectorAll('#curves svg')].map((s) => s.dataset.panel).join()");
    assert_eq!(panels, "position,velocity,acceleration,jerk,heron_a.heave,heron_a.pitch,heron_a.roll,wires");
    assert_eq!(b.console(), Vec::<Value>::new());
}

/// The old version lies in grey under the new one: in the curves of the axis that changed, and in the picture where the figure was.
#[test]
#[ignore = "needs chromium and its driver"]
fn an_old_version_lies_under_the_new_one() {
    let dir = tempfile::tempdir().unwrap();
    let new = dir.path().join("new");
    std::fs::create_dir(&new).unwrap();
    for entry in std::fs::read_dir(fixture("herons")).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, new.join(path.file_name().unwrap())).unwrap();
    }
    let text = std::fs::read_to_string(new.join("shot.toml")).unwrap();
    let later = text.replacen("delay = 19", "delay = 31", 1);
    assert_ne!(later, text);
    std::fs::write(new.join("shot.toml"), later).unwrap();
    let old = fixture("herons/shot.toml");
    let page = report_with(&new.join("shot.toml"), dir.path(), &["--against".as_ref(), old.as_os_str()]);
    let b = Browser::open();
    b.go(&page);
    b.script("[...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('heron_b.bridge')).click()");
    let panels =
        "return [...document.querySelectorAll('#curves svg')].filter((s) => s.querySelector('.before')).map((s) => s.dataset.panel).join()";
    assert_eq!(b.script(panels), "position,velocity,acceleration,jerk");
    // The old curve is drawn before the new one, and is another.
    let under = "const s = document.querySelector('#curves svg'), [a, b] = [s.querySelector('.before'), s.querySelector('.curve')];\
        return !!(a.compareDocumentPosition(b) & Node.DOCUMENT_POSITION_FOLLOWING) && a.getAttribute('d') !== b.getAttribute('d')";
    assert_eq!(b.script(under), true);
    b.script("const f = document.getElementById('frame'); f.value = 120; f.dispatchEvent(new Event('input'));");
    let were = b.script("return [...new Set([...document.querySelectorAll('#picture .before')].map((o) => o.dataset.was))].join()");
    assert_eq!(were, "heron_b");
    // An axis that is as it was has nothing under it.
    b.script("[...document.querySelectorAll('#map .row')].find((r) => r.textContent.includes('heron_a.bridge')).click()");
    assert_eq!(b.script("return document.querySelectorAll('#curves .before').length"), 0);
    assert_eq!(b.script(MEETING), json!([]));
    assert!(b.script("return document.getElementById('changes').textContent").as_str().unwrap().contains("heron_b.bridge"));
    assert_eq!(b.console(), Vec::<Value>::new());
}

#[test]
#[ignore = "needs chromium and its driver"]
fn a_refused_move_shows_what_is_over() {
    let dir = tempfile::tempdir().unwrap();
    let page = report(&fixture("broken/too_fast.toml"), dir.path());
    let b = Browser::open();
    b.go(&page);
    assert_eq!(b.script("return document.querySelector('.verdict').textContent"), "1 limit exceeded");
    assert_eq!(b.script("return document.getElementById('axis_name').textContent"), "camera.track, pass picture");
    assert_eq!(b.script("return document.querySelectorAll('#map .row.over').length"), 1);
    assert_eq!(b.script("return [...document.querySelectorAll('#curves svg')].filter((s) => s.querySelector('.curve.over')).map((s) => s.dataset.panel).join()"), "velocity");
    assert_eq!(b.console(), Vec::<Value>::new());
    // The cell of the worst frame, 120, has the accent; that of frame 30 has not.
    let pixel = |frame: u32| {
        let text = format!(
            "const c = document.querySelector('#map canvas'); const x = Math.floor(({frame} - 0.5) * c.width / 240);\
             return [...c.getContext('2d').getImageData(x, 0, 1, 16).data].join()"
        );
        b.script(&text).as_str().unwrap().to_owned()
    };
    assert!(pixel(120).contains("213,94,0,255") && !pixel(30).contains("213,94,0,255"));
}

/// What somebody plants in a page: a script, handlers, a link that is a script, a style, a base and a form.
fn planted(port: u16) -> String {
    let did = |what: &str| format!("document.documentElement.dataset.{what} = 'ran'");
    format!(
        "<base href='http://127.0.0.1:{port}/'><script>{}</script><style>html {{ --planted: 1 }}</style><svg onload=\"{}\"></svg>\
         <button id='handler' onclick=\"{}\">x</button><a id='link' href=\"javascript:void({})\">x</a>\
         <form action='http://127.0.0.1:{port}/sent'><input name='take' value='3'><button id='send'>x</button></form>",
        did("script"),
        did("load"),
        did("click"),
        did("link")
    )
}

/// A server that answers whatever it is asked, at once, so that no browser waits for it; it keeps what it was asked.
struct Server {
    port: u16,
    asked: Arc<Mutex<String>>,
}

impl Server {
    fn start() -> Server {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let (port, asked) = (listener.local_addr().unwrap().port(), Arc::default());
        let kept = Arc::clone(&asked);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let kept: Arc<Mutex<String>> = Arc::clone(&kept);
                // A browser connects ahead of what it asks for: each connection waits by itself.
                std::thread::spawn(move || {
                    let mut reader = BufReader::new(&stream);
                    let mut line = String::new();
                    while reader.read_line(&mut line).is_ok_and(|n| n > 0) && !line.ends_with("\r\n\r\n") {}
                    kept.lock().unwrap().push_str(&line);
                    let _answered = (&stream).write_all(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
                });
            }
        });
        Server { port, asked }
    }

    fn was_sent(&self) -> bool {
        self.asked.lock().unwrap().contains("/sent?take=3")
    }
}

/// What ran of it, whether its style and its base hold, and whether its form was sent.
fn what_ran(b: &Browser, page: &Path, server: &Server) -> (String, bool) {
    b.go(page);
    let state = "const d = document.documentElement.dataset;\
        return [d.script, d.load, d.click, d.link].map((x) => x || 'no').join()\
          + ',' + (getComputedStyle(document.documentElement).getPropertyValue('--planted') || 'no')\
          + ',' + document.baseURI.startsWith('http')";
    b.script("document.getElementById('handler').click(); document.getElementById('link').click();");
    let until = Instant::now() + Duration::from_secs(2);
    let ran = loop {
        let ran = b.script(state).as_str().unwrap().to_owned();
        if !ran.contains("no") || Instant::now() > until {
            break ran;
        }
    };
    b.script("setTimeout(() => document.getElementById('send').click(), 0)");
    let until = Instant::now() + Duration::from_secs(5);
    while !server.was_sent() && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    (ran, server.was_sent())
}

#[test]
#[ignore = "needs chromium and its driver"]
fn trap_what_is_planted_in_the_page_is_not_run_and_sends_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(report(&fixture("broken/too_fast.toml"), dir.path())).unwrap();
    let server = Server::start();
    let with = text.replacen("<body>", &format!("<body>{}", planted(server.port)), 1);
    let begin = with.find("<meta http-equiv=\"Content-Security-Policy\"").unwrap();
    let end = begin + with[begin..].find('>').unwrap() + 1;
    let without_policy = with[..begin].to_owned() + &with[end..];
    let (guarded, open) = (dir.path().join("guarded.html"), dir.path().join("open.html"));
    std::fs::write(&guarded, with).unwrap();
    std::fs::write(&open, without_policy).unwrap();
    let b = Browser::open();
    assert_eq!(what_ran(&b, &guarded, &server), ("no,no,no,no,no,false".to_owned(), false));
    // Its own script ran all the same, and the browser says what it refused.
    assert_eq!(b.script("return document.getElementById('axis_name').textContent"), "camera.track, pass picture");
    let console: String = b.console().iter().map(|entry| entry["message"].as_str().unwrap().to_owned() + "\n").collect();
    for directive in ["script-src", "style-src-elem", "form-action", "base-uri"] {
        assert!(console.contains(directive), "{directive}: {console}");
    }
    // Without the policy all of it works: it is the policy that stops it.
    assert_eq!(what_ran(&b, &open, &server), ("ran,ran,ran,ran,1,true".to_owned(), true));
}

/// 56 axes of 12 keys over 700 frames open in less than a second of script, from a page below 5 MB.
#[test]
#[ignore = "needs chromium and its driver"]
fn fifty_six_axes_are_there_in_a_second() {
    let dir = tempfile::tempdir().unwrap();
    let mut stage = "format = 1\nname = \"Marsh\"\n[motor.frame57]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n".to_owned();
    let mut shot = "format = 1\nname = \"Many herons\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 700]\n".to_owned();
    for i in 0..56 {
        stage += &format!(
            "[[group.axis]]\nname = \"wire_{i}\"\nunit = \"mm\"\ntravel = [-900, 900]\nmax_velocity = 50\nmax_acceleration = 50\n\
             max_jerk = 50\nmotor = \"frame57\"\ntravel_per_rev = 5\n"
        );
        let keys: Vec<String> = (0..12).map(|k| format!("[{}, {}]", 1 + k * 63, (i * 37 + k * k * 53) % 400)).collect();
        shot += &format!("[[track]]\nchannel = \"heron.wire_{i}\"\nkeys = [{}]\n", keys.join(", "));
    }
    shot += "[[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 6\nshutter = 180\n\
             [[pass]]\nname = \"rods\"\nexposure = \"moving\"\nseconds_per_frame = 5\nshutter = 180\n";
    std::fs::write(dir.path().join("stage.toml"), stage).unwrap();
    std::fs::write(dir.path().join("shot.toml"), shot).unwrap();
    let page = report(&dir.path().join("shot.toml"), dir.path());
    let bytes = std::fs::metadata(&page).unwrap().len();
    let b = Browser::open();
    b.go(&page);
    let ready = b.script("return document.documentElement.dataset.ready").as_str().unwrap().parse::<f64>().unwrap();
    println!("{bytes} bytes, ready after {ready} ms of script");
    assert!(bytes < 5_000_000);
    // What is asked of the page by those who open it; seen far below.
    assert!(ready < 1000.0, "{ready} ms");
    assert_eq!(b.script("return document.querySelectorAll('#map .row').length"), 56);
    assert_eq!(b.script("return document.getElementById('stage').hidden"), true);
    assert_eq!(b.console(), Vec::<Value>::new());
}
