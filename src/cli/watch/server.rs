//! The page on 127.0.0.1, and nothing else: `/` is the newest page, `/events` a stream of what happens (server-sent events, HTML Living Standard 9.2).
//!
//! Invariant: the address is the loopback's alone; a request that names another host is refused, so that no page of another site reads this one by a name of its own that leads here; no path
//! from the network is ever opened as a file; bodies are not read. Some pages may listen at once, others are told to come later.
//! Limits: HTTP/1.1 without encryption: whoever has an account on this machine can read the page.

use std::io::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::Builder;
use std::time::Duration;

use tiny_http::{Header, Method, Request, Response, Server, StatusCode};

use super::hub::Hub;
use crate::page;

/// Pages that may listen at once.
const LISTENERS: usize = 16;

/// Bytes of a body above which a request is refused; no request has one.
const MOST_BODY: usize = 64 * 1024;

/// How long a silent stream lasts until a line shows whether anybody listens.
const PATIENCE: Duration = Duration::from_secs(5);

/// Begins to serve; the port.
///
/// # Errors
/// What the system says, as text.
pub(super) fn start(port: u16, hub: Arc<Hub>) -> Result<u16, String> {
    let server = Server::http(("127.0.0.1", port)).map_err(|e| e.to_string())?;
    let port = server.server_addr().to_ip().map_or(port, |a| a.port());
    let listeners = Arc::new(AtomicUsize::new(0));
    let serve = move || {
        for request in server.incoming_requests() {
            answer(request, port, &hub, &listeners);
        }
    };
    Builder::new().name("server".to_owned()).spawn(serve).map_err(|e| e.to_string())?;
    Ok(port)
}

fn answer(request: Request, port: u16, hub: &Arc<Hub>, listeners: &Arc<AtomicUsize>) {
    let refuse = |request: Request, status: u16, why: &str| {
        let _gone = request.respond(Response::from_string(format!("{why}\n")).with_status_code(StatusCode(status)));
    };
    let host = request.headers().iter().filter(|h| h.field.equiv("Host")).map(|h| h.value.as_str().to_owned()).collect::<Vec<_>>();
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    let [host] = host.as_slice() else { return refuse(request, 400, "one Host is needed") };
    if !own.contains(host) {
        return refuse(request, 403, "this page is for this machine alone");
    }
    if request.body_length().is_some_and(|n| n > MOST_BODY) {
        return refuse(request, 413, "no request needs a body of this size");
    }
    if *request.method() != Method::Get {
        return refuse(request, 405, "only GET is answered");
    }
    match request.url() {
        "/" => {
            let text = hub.newest().map_or_else(page::waiting, |page| page.to_string());
            let mut response = Response::from_string(text);
            for (field, value) in
                [("Content-Type", "text/html; charset=utf-8"), ("Cache-Control", "no-store"), ("X-Content-Type-Options", "nosniff")]
            {
                if let Ok(header) = Header::from_bytes(field, value) {
                    response.add_header(header);
                }
            }
            // A page of megabytes takes its time to go out: who is slow keeps nobody waiting.
            let _started = Builder::new().name("page".to_owned()).spawn(move || request.respond(response));
        }
        "/events" => {
            if listeners.fetch_add(1, Ordering::Relaxed) >= LISTENERS {
                listeners.fetch_sub(1, Ordering::Relaxed);
                return refuse(request, 503, "too many pages are open");
            }
            let (hub, own) = (Arc::clone(hub), Arc::clone(listeners));
            let stream = move || {
                let _gone = stream(request, &hub);
                own.fetch_sub(1, Ordering::Relaxed);
            };
            if Builder::new().name("events".to_owned()).spawn(stream).is_err() {
                listeners.fetch_sub(1, Ordering::Relaxed);
            }
        }
        _ => refuse(request, 404, "there is nothing here"),
    }
}

/// Tells one page everything until it is gone.
fn stream(request: Request, hub: &Hub) -> std::io::Result<()> {
    let mut out = request.into_writer();
    out.write_all(b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\nCache-Control: no-store\r\nConnection: close\r\n\r\n")?;
    let mut number = 0;
    loop {
        let news = hub.after(number, PATIENCE);
        if news.is_empty() {
            // A comment: it fails where nobody listens any more.
            out.write_all(b":\n\n")?;
        }
        for message in news {
            number = message.number;
            // JSON has no line ends of its own.
            write!(out, "event: {}\ndata: {}\n\n", message.kind, message.text)?;
        }
        out.flush()?;
    }
}
