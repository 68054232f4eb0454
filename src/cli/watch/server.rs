//! The page on 127.0.0.1, and nothing else: `/` is the newest page, `/events` a stream of what happens (server-sent events, HTML Living Standard 9.2). Where keys may be edited, `/try` and `/edit`
//! take what the page asks.
//!
//! Invariant: the address is the loopback's alone; a request that names another host is refused, so that no page of another site reads this one by a name of its own that leads here; no path
//! from the network is ever opened as a file; only the body of an edit with the right token is read, and nothing is as large as a client says. At most [`GUESTS`] guests are answered at once, and at most [`LISTENERS`] pages listen;
//! the others get status 503. Every answer ends its connection (RFC 9112); requests are read by `httparse`.
//! Limits: HTTP/1.1 without encryption: whoever has an account on this machine can read the page.

use std::io::{self, Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::Builder;
use std::time::{Duration, Instant};

use httparse::{EMPTY_HEADER, Status};

use super::edit::{Answer, Editor};
use super::hub::Hub;
use super::token::Token;
use crate::page;

/// Guests that are answered at once.
const GUESTS: usize = 64;

/// Pages that may listen at once.
const LISTENERS: usize = 16;

/// Bytes of a request's head, and how many fields it may have.
const MOST_HEAD: usize = 16 * 1024;
const MOST_FIELDS: usize = 100;

/// Bytes of a body above which a request is refused for that alone.
const MOST_BODY: usize = 64 * 1024;

/// How long a guest may take to say what it wants, and to take its answer.
const SPEECH: Duration = Duration::from_secs(5);
const TAKING: Duration = Duration::from_secs(30);

/// How long a silent stream lasts until a line shows whether anybody listens.
const PATIENCE: Duration = Duration::from_secs(5);

/// Until guests are asked in again where the system has no room for one.
const AGAIN: Duration = Duration::from_millis(50);

/// Begins to serve; the port.
///
/// # Errors
/// Whatever the system says.
pub(super) fn start(port: u16, hub: Arc<Hub>, editor: Option<Arc<Editor>>) -> io::Result<u16> {
    let door = TcpListener::bind(("127.0.0.1", port))?;
    let port = door.local_addr()?.port();
    let [guests, listeners] = [(); 2].map(|()| Arc::new(AtomicUsize::new(0)));
    let serve = move || {
        loop {
            let Ok((guest, _)) = door.accept() else {
                std::thread::sleep(AGAIN);
                continue;
            };
            let Some(seat) = Seat::take(&guests, GUESTS) else {
                let _gone = tell(&guest, 503, "too many guests");
                continue;
            };
            let (hub, listeners, editor) = (Arc::clone(&hub), Arc::clone(&listeners), editor.clone());
            let answer = move || {
                // A guest that leaves early is no error of anybody's.
                let _gone = answer(&guest, port, &hub, &listeners, editor.as_deref());
                drop(seat);
            };
            // Where no thread can be had, the guest is sent away by the end of its connection.
            let _started = Builder::new().name("guest".to_owned()).spawn(answer);
        }
    };
    Builder::new().name("server".to_owned()).spawn(serve)?;
    Ok(port)
}

/// One of so many places.
struct Seat(Arc<AtomicUsize>);

impl Seat {
    fn take(of: &Arc<AtomicUsize>, most: usize) -> Option<Seat> {
        let seat = |taken: usize| (taken < most).then_some(taken + 1);
        of.fetch_update(Ordering::Relaxed, Ordering::Relaxed, seat).ok().map(|_| Seat(Arc::clone(of)))
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// What is asked, or the status and the reason of a refusal.
type Asked = Result<Wish, (u16, &'static str)>;

#[derive(Debug, PartialEq)]
enum Wish {
    Page,
    Events,
    /// An edit, or one to be tried; where its body begins, and its length.
    Edit {
        written: bool,
        body: usize,
        length: usize,
    },
}

fn answer(mut guest: &TcpStream, port: u16, hub: &Hub, listeners: &Arc<AtomicUsize>, editor: Option<&Editor>) -> io::Result<()> {
    guest.set_read_timeout(Some(SPEECH))?;
    guest.set_write_timeout(Some(TAKING))?;
    let mut head = Vec::new();
    let mut part = [0; 2048];
    let asked = loop {
        let n = guest.read(&mut part)?;
        head.extend_from_slice(part.get(..n).unwrap_or_default());
        if let Some(asked) = asked(&head, port, editor.map(Editor::token)) {
            break asked;
        }
        if n == 0 || head.len() > MOST_HEAD {
            break Err((431, "the head of the request is too long, or ends early"));
        }
    };
    match asked {
        Err((status, why)) => refuse(guest, status, why),
        Ok(Wish::Page) => {
            let text = hub.newest().map_or_else(page::waiting, |page| page.to_string());
            give(guest, "text/html; charset=utf-8", &text)
        }
        Ok(Wish::Events) => match Seat::take(listeners, LISTENERS) {
            Some(_seat) => stream(guest, hub),
            None => refuse(guest, 503, "too many pages are open"),
        },
        Ok(Wish::Edit { written, body, length }) => {
            let Some(editor) = editor else { return refuse(guest, 404, "there is nothing here") };
            let mut text = head.split_off(body.min(head.len()));
            text.truncate(length);
            let until = Instant::now() + SPEECH;
            while text.len() < length && Instant::now() < until {
                match guest.read(&mut part) {
                    Ok(0) | Err(_) => break,
                    Ok(n) => text.extend_from_slice(part.get(..n.min(length - text.len())).unwrap_or_default()),
                }
            }
            if text.len() < length {
                return refuse(guest, 400, "the body ends early, or comes too slowly");
            }
            let answer: Answer = if written { editor.edited(&text) } else { editor.tried(&text) };
            match answer {
                Ok(json) => give(guest, "application/json", &json),
                Err((status, why)) => refuse(guest, status, &why),
            }
        }
    }
}

fn give(mut guest: &TcpStream, kind: &str, text: &str) -> io::Result<()> {
    let head = "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\nConnection: close";
    write!(guest, "HTTP/1.1 200 OK\r\nContent-Type: {kind}\r\n{head}\r\nContent-Length: {}\r\n\r\n", text.len())?;
    guest.write_all(text.as_bytes())?;
    guest.shutdown(Shutdown::Write)
}

/// What the head of a request asks; `None` where it is not whole yet. Edits are asked for with a token.
fn asked(head: &[u8], port: u16, token: Option<&Token>) -> Option<Asked> {
    let mut fields = [EMPTY_HEADER; MOST_FIELDS];
    let mut request = httparse::Request::new(&mut fields);
    let body = match request.parse(head) {
        Ok(Status::Partial) => return None,
        Ok(Status::Complete(body)) => body,
        Err(_) => return Some(Err((400, "this is no request"))),
    };
    let of = |name: &str| request.headers.iter().filter(|h| h.name.eq_ignore_ascii_case(name)).map(|h| h.value).collect::<Vec<_>>();
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    let [host] = *of("Host") else { return Some(Err((400, "one Host is needed"))) };
    if !own.iter().any(|own| own.as_bytes() == host) {
        return Some(Err((403, "this page is for this machine alone")));
    }
    let lengths: Vec<Option<usize>> = of("Content-Length").iter().map(|text| core::str::from_utf8(text).ok()?.parse().ok()).collect();
    if lengths.iter().any(|n| n.is_none_or(|n| n > MOST_BODY)) {
        return Some(Err((413, "no request needs a body of this size")));
    }
    let written = match (request.method, request.path, token) {
        (Some("GET"), Some("/"), _) => return Some(Ok(Wish::Page)),
        (Some("GET"), Some("/events"), _) => return Some(Ok(Wish::Events)),
        (Some("POST"), Some(path @ ("/edit" | "/try")), Some(_)) => path == "/edit",
        (Some("GET"), ..) => return Some(Err((404, "there is nothing here"))),
        _ => return Some(Err((405, "only GET is answered here"))),
    };
    let is_own = |origin: &[u8]| own.iter().any(|own| origin.strip_prefix(b"http://") == Some(own.as_bytes()));
    if !of("Origin").into_iter().all(is_own) {
        return Some(Err((403, "edits are accepted from this page only")));
    }
    let given = of("Authorization");
    let [given] = *given else { return Some(Err((401, "an edit needs the token of the address"))) };
    if !token.is_some_and(|token| given.strip_prefix(b"Bearer ").is_some_and(|given| token.is(given))) {
        return Some(Err((403, "this is not the token of the address: open the address that the program printed")));
    }
    if *of("Content-Type") != [b"application/json"] {
        return Some(Err((415, "an edit is application/json")));
    }
    Some(match *lengths {
        [Some(length)] if of("Transfer-Encoding").is_empty() => Ok(Wish::Edit { written, body, length }),
        _ => Err((411, "an edit needs one Content-Length")),
    })
}

/// Says no, and waits for nothing.
fn tell(mut guest: &TcpStream, status: u16, why: &str) -> io::Result<()> {
    guest.set_write_timeout(Some(AGAIN))?;
    write!(
        guest,
        "HTTP/1.1 {status} Refused\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{why}\n",
        why.len() + 1
    )?;
    guest.shutdown(Shutdown::Write)
}

fn refuse(mut guest: &TcpStream, status: u16, why: &str) -> io::Result<()> {
    tell(guest, status, why)?;
    // What is still under way is passed over for a moment: a connection that ends on it may take the answer along.
    guest.set_read_timeout(Some(AGAIN))?;
    let mut part = [0; 4096];
    for _ in 0..32 {
        if !guest.read(&mut part).is_ok_and(|n| n > 0) {
            break;
        }
    }
    Ok(())
}

/// Sends one page every message until it is gone.
fn stream(mut guest: &TcpStream, hub: &Hub) -> io::Result<()> {
    guest.write_all(b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\nCache-Control: no-store\r\nConnection: close\r\n\r\n")?;
    let mut number = 0;
    loop {
        let news = hub.after(number, PATIENCE);
        if news.is_empty() {
            // A comment: it fails where nobody listens any more.
            guest.write_all(b":\n\n")?;
        }
        for message in news {
            number = message.number;
            // JSON has no line ends of its own.
            guest.write_all(format!("event: {}\ndata: {}\n\n", message.kind, message.text).as_bytes())?;
        }
    }
}

#[cfg(test)]
#[allow(clippy::panic, reason = "tests")]
mod tests {
    use super::*;

    fn of(head: &str) -> Option<Asked> {
        asked(head.as_bytes(), 8700, None)
    }

    #[test]
    fn an_edit_needs_its_token_and_its_own_origin() {
        let token = Token::new().unwrap_or_else(|e| panic!("{e}"));
        let own = format!("Authorization: Bearer {}", token.text());
        let ask = |fields: &[&str]| {
            let head = format!("POST /edit HTTP/1.1\r\nHost: 127.0.0.1:8700\r\n{}\r\n\r\n{{}}", fields.join("\r\n"));
            (asked(head.as_bytes(), 8700, Some(&token)).map(|asked| asked.map_err(|e| e.0)), head.len())
        };
        let (json, length) = ("Content-Type: application/json", "Content-Length: 2");
        let (wish, end) = ask(&[&own, json, length, "Origin: http://127.0.0.1:8700"]);
        assert_eq!(wish, Some(Ok(Wish::Edit { written: true, body: end - 2, length: 2 })));
        for (fields, status) in [
            (vec![json, length], 401),
            (vec![&own, &own, json, length], 401),
            (vec!["Authorization: Bearer ", json, length], 403),
            (vec!["Authorization: Basic abc", json, length], 403),
            (vec![&own, json, length, "Origin: http://marsh.example"], 403),
            (vec![&own, json, length, "Origin: null"], 403),
            (vec![&own, json, length, "Origin: http://127.0.0.1:8700", "Origin: http://marsh.example"], 403),
            (vec![&own, length], 415),
            (vec![&own, "Content-Type: text/plain", length], 415),
            (vec![&own, json], 411),
            (vec![&own, json, length, "Content-Length: 3"], 411),
            (vec![&own, json, length, "Transfer-Encoding: chunked"], 411),
            (vec![&own, json, "Content-Length: 65537"], 413),
        ] {
            assert_eq!(ask(&fields).0, Some(Err(status)), "{fields:?}");
        }
        assert!(matches!(of("POST /edit HTTP/1.1\r\nHost: 127.0.0.1:8700\r\nContent-Length: 2\r\n\r\n{}"), Some(Err((405, _)))));
    }

    #[test]
    fn only_two_things_can_be_asked_and_only_under_the_own_name() {
        let get = |path: &str, host: &str| of(&format!("GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n"));
        assert_eq!(get("/", "127.0.0.1:8700"), Some(Ok(Wish::Page)));
        assert_eq!(get("/events", "localhost:8700"), Some(Ok(Wish::Events)));
        for host in ["localhost", "localhost:8701", "localhost:87000", "marsh.example", "[::1]:8700", "127.0.0.1:8700.marsh.example"] {
            assert!(matches!(get("/", host), Some(Err((403, _)))), "{host}");
        }
        for path in ["/events/", "/events?x", "//", "/../etc/passwd", "http://127.0.0.1:8700/"] {
            assert!(matches!(get(path, "127.0.0.1:8700"), Some(Err((404, _)))), "{path}");
        }
        assert_eq!(of("GET / HTTP/1.1\r\nHost: 127.0.0.1:8700\r\n"), None);
        assert!(matches!(of("GET / HTTP/1.1\r\n\r\n"), Some(Err((400, _)))));
        assert!(matches!(of("\0\0\r\n\r\n"), Some(Err((400, _)))));
    }

    #[test]
    fn a_seat_is_free_again_when_its_guest_has_left() {
        let of = Arc::new(AtomicUsize::new(0));
        let both = [Seat::take(&of, 2), Seat::take(&of, 2)];
        assert!(both.iter().all(Option::is_some) && Seat::take(&of, 2).is_none());
        drop(both);
        assert!(Seat::take(&of, 1).is_some());
    }
}
