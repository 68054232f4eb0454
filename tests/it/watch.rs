//! `movewright watch` with a real client: what is served, what is refused, what every save brings, and how it ends.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::case::Case;

/// The running program.
pub struct Watch {
    child: Child,
    pub port: u16,
    /// What edits must carry; empty without `--edit`.
    pub token: String,
}

impl Watch {
    pub fn start(shot: &Path, more: &[&str]) -> Watch {
        let mut child = Command::new(env!("CARGO_BIN_EXE_movewright"))
            .arg("watch")
            .arg(shot)
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let (address, token) = line.trim().split_once('#').unwrap_or((line.trim(), ""));
        let port = address.strip_prefix("http://127.0.0.1:").and_then(|l| l.strip_suffix('/')).and_then(|p| p.parse().ok());
        Watch { child, port: port.unwrap_or_else(|| panic!("{line}")), token: token.to_owned() }
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream
    }

    /// The whole answer to a request of these lines.
    pub fn ask(&self, lines: &str, body: &[u8]) -> String {
        let mut stream = self.connect();
        write!(stream, "{lines}\r\nConnection: close\r\n\r\n").unwrap();
        // A refused body may not be read at all.
        let _refused = stream.write_all(body);
        let mut text = Vec::new();
        let _reset = stream.read_to_end(&mut text);
        String::from_utf8_lossy(&text).into_owned()
    }

    pub fn get(&self, path: &str) -> String {
        self.ask(&format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}", self.port), b"")
    }

    /// The stream of events.
    pub fn events(&self) -> Events {
        let mut stream = self.connect();
        write!(stream, "GET /events HTTP/1.1\r\nHost: localhost:{}\r\n\r\n", self.port).unwrap();
        Events(BufReader::new(stream))
    }

    /// Asked to end as from the keyboard; its exit status.
    pub fn interrupted(mut self) -> Option<i32> {
        let sent = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
        self.child.wait().unwrap().code()
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _gone = self.child.kill();
        let _status = self.child.wait();
    }
}

pub struct Events(BufReader<TcpStream>);

impl Events {
    /// The next event of this kind; what comes before it is passed over.
    pub fn next(&mut self, kind: &str) -> String {
        let (mut found, mut before) = (false, String::new());
        loop {
            let mut line = String::new();
            assert!(self.0.read_line(&mut line).unwrap() > 0, "the stream ended before `{kind}`: {before}");
            before.push_str(&line);
            if let Some(data) = line.strip_prefix("data: ").filter(|_| found) {
                return data.trim_end().to_owned();
            }
            found = line.trim_end() == format!("event: {kind}") || (found && line.starts_with("data"));
        }
    }
}

fn marsh() -> Case {
    let case = Case::new("", "");
    let made = case.run(&["new", "marsh"]);
    assert!(made.status.success());
    case
}

pub fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or("none")
}

#[test]
fn every_save_brings_curves_then_a_verdict_and_mistakes_come_with_their_place() {
    let case = marsh();
    let shot = case.path().join("marsh/shot.toml");
    let watch = Watch::start(&shot, &[]);
    let mut events = watch.events();
    events.next("checked");
    let page = watch.get("/");
    assert!(page.starts_with("HTTP/1.1 200") && page.contains("connect-src 'self'") && page.contains("id=\"live\""), "{}", &page[..200]);
    let good = std::fs::read_to_string(&shot).unwrap();
    let listing = || {
        let mut all: Vec<_> = std::fs::read_dir(case.path().join("marsh")).unwrap().map(|e| e.unwrap().file_name()).collect();
        all.sort();
        all
    };
    let before = listing();
    // One key: its axis alone is sent, then the verdict, and what changed.
    let edited = good.replacen("[96, ", "[95, ", 1);
    assert_ne!(edited, good);
    std::fs::write(&shot, &edited).unwrap();
    let curves: serde_json::Value = serde_json::from_str(&events.next("curves")).unwrap();
    assert!((1..4).contains(&curves["axes"].as_array().unwrap().len()), "{curves}");
    let since: serde_json::Value = serde_json::from_str(&events.next("checked")).unwrap();
    assert!(since["since"].as_str().unwrap().contains("changed from frame"), "{since}");
    // A slip: the mistake with its place; the page stays.
    std::fs::write(&shot, edited.replacen("exposure = \"moving\"", "exposure = \"moveing\"", 1)).unwrap();
    let mistake = events.next("mistakes");
    assert!(mistake.contains("shot.toml:") && mistake.contains("moveing"), "{mistake}");
    assert!(status(&watch.get("/")) == "200");
    // Written anew under another name and renamed, as editors do; and the stage, which is another file.
    let other = case.path().join("marsh/shot.new");
    std::fs::write(&other, &good).unwrap();
    std::fs::rename(&other, &shot).unwrap();
    assert!(events.next("checked").contains("changed from frame"));
    let stage = case.path().join("marsh/stage.toml");
    let text = std::fs::read_to_string(&stage).unwrap();
    std::fs::write(&stage, text.replacen("focal_length = ", "focal_length = 1", 1)).unwrap();
    assert!(events.next("checked").contains("the lens of camera has changed, focal length"));
    assert_eq!(listing(), before, "nothing is written");
    assert_eq!(watch.interrupted(), Some(0));
}

#[test]
fn a_shot_that_begins_with_a_mistake_is_served_when_it_is_mended() {
    let case = marsh();
    let shot = case.path().join("marsh/shot.toml");
    let good = std::fs::read_to_string(&shot).unwrap();
    std::fs::write(&shot, "format = 1\n").unwrap();
    let watch = Watch::start(&shot, &["--port", "0"]);
    let mut events = watch.events();
    events.next("mistakes");
    let page = watch.get("/");
    assert!(page.contains("id=\"live\"") && !page.contains("id=\"data\""));
    std::fs::write(&shot, good).unwrap();
    events.next("checked");
    assert!(watch.get("/").contains("id=\"data\""));
}

#[test]
fn hostile_requests_are_refused() {
    let case = marsh();
    let watch = Watch::start(&case.path().join("marsh/shot.toml"), &[]);
    let mut first = watch.events();
    first.next("checked");
    let own = format!("Host: 127.0.0.1:{}", watch.port);
    for (lines, body, expected) in [
        (format!("GET / HTTP/1.1\r\nHost: marsh.example:{}", watch.port), 0, "403"),
        (format!("GET / HTTP/1.1\r\nHost: 127.0.0.1.marsh.example:{}", watch.port), 0, "403"),
        ("GET / HTTP/1.1\r\nHost: 127.0.0.1".to_owned(), 0, "403"),
        ("GET / HTTP/1.1".to_owned(), 0, "400"),
        (format!("GET / HTTP/1.1\r\n{own}\r\nHost: marsh.example"), 0, "400"),
        (format!("GET /../../../etc/passwd HTTP/1.1\r\n{own}"), 0, "404"),
        (format!("GET /%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\n{own}"), 0, "404"),
        (format!("GET /shot.toml HTTP/1.1\r\n{own}"), 0, "404"),
        (format!("GET file:///etc/passwd HTTP/1.1\r\n{own}"), 0, "404"),
        (format!("GET / HTTP/1.1\r\n{own}\r\nX: {}", "x".repeat(20_000)), 0, "431"),
        (format!("POST / HTTP/1.1\r\n{own}\r\nContent-Length: -1"), 0, "413"),
        (format!("POST / HTTP/1.1\r\n{own}\r\nContent-Length: 10"), 10, "405"),
        (format!("PUT /events HTTP/1.1\r\n{own}\r\nContent-Length: 65536"), 65_536, "405"),
        (format!("POST / HTTP/1.1\r\n{own}\r\nContent-Length: 65537"), 65_537, "413"),
        (format!("POST / HTTP/1.1\r\n{own}\r\nContent-Length: 99999999999"), 100_000, "413"),
    ] {
        let answer = watch.ask(&lines, &vec![b'x'; body]);
        assert_eq!(status(&answer), expected, "{lines}: {answer}");
        assert!(!answer.contains("root:"), "{answer}");
    }
    // The address is the loopback's alone.
    let listening = std::fs::read_to_string("/proc/net/tcp").unwrap_or_default();
    let port = format!(":{:04X}", watch.port);
    let addresses: Vec<&str> = listening
        .lines()
        .filter_map(|l| l.split_whitespace().nth(1).filter(|a| a.ends_with(&port) && l.split_whitespace().nth(3) == Some("0A")))
        .collect();
    assert_eq!(addresses, [format!("0100007F{port}")]);
    // Sixteen may listen, the next is told to come later; when they have left there is room again.
    let more = (0..15).map(|_| watch.events()).map(|mut e| {
        e.next("checked");
        e
    });
    let many: Vec<Events> = core::iter::once(first).chain(more).collect();
    assert_eq!(status(&watch.get("/events")), "503");
    drop(many);
    let until = std::time::Instant::now() + Duration::from_secs(30);
    loop {
        let mut stream = watch.connect();
        write!(stream, "GET /events HTTP/1.1\r\n{own}\r\n\r\n").unwrap();
        let mut line = String::new();
        BufReader::new(stream).read_line(&mut line).unwrap();
        if line.contains("200") {
            break;
        }
        assert!(std::time::Instant::now() < until, "no room again: {line}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// A thousand guests that say nothing keep nobody out for good, also where the system has no more files for them.
#[test]
fn a_thousand_silent_guests_keep_nobody_out_for_good() {
    let case = marsh();
    let watch = Watch::start(&case.path().join("marsh/shot.toml"), &[]);
    watch.events().next("checked");
    let mut guests = Vec::new();
    for _ in 0..1000 {
        match TcpStream::connect_timeout(&([127, 0, 0, 1], watch.port).into(), Duration::from_secs(2)) {
            Ok(guest) => guests.push(guest),
            Err(_) => break,
        }
    }
    assert!(guests.len() > 200, "{}", guests.len());
    drop(guests);
    let until = std::time::Instant::now() + Duration::from_secs(60);
    while status(&watch.get("/")) != "200" {
        assert!(std::time::Instant::now() < until, "nobody is answered");
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn a_port_in_use_is_said_and_nothing_is_served() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let case = marsh();
    let out = case.run(&["watch", "marsh/shot.toml", "--port", &port]);
    assert_eq!(out.status.code(), Some(2));
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(said.contains("error[port-unavailable]") && said.contains(&port) && out.stdout.is_empty(), "{said}");
}
