//! `movewright watch`: the report in a browser, alive. Every save of a file that the shot reads is compiled and shown.
//!
//! What: curves and places go out as soon as the shot is compiled, the verdict when it is checked; mistakes go out with their places while the last good drawing stays. Nothing is ever written.
//! Invariant: one save at a time, the newest one; what the page shows as a verdict is that of the files as they were read.
//! Limits: a save that arrives while another is checked waits for that check.

mod files;
mod hub;
mod server;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

use super::args::WatchArgs;
use super::changes_text::lines;
use super::{Outcome, prepared, signals, terminal};
use crate::bounds::{Budget, Code, visible};
use crate::check::changes;
use crate::compile::Compiled;
use crate::input::{self, Sources};
use crate::page;
use files::{Wake, Watched};
use hub::Hub;

/// How long a save may take to settle: editors write in several steps.
const SETTLE: Duration = Duration::from_millis(12);

pub(super) fn run(args: &WatchArgs) -> Outcome {
    let hub = Arc::new(Hub::default());
    let port = match server::start(args.port, Arc::clone(&hub)) {
        Ok(port) => port,
        Err(what) => {
            terminal::error(Code::PortUnavailable, format!("127.0.0.1 port {} cannot be served: {what}", args.port));
            return Outcome::Wrong;
        }
    };
    let (send, wakes) = mpsc::channel();
    let stop = send.clone();
    signals::when_ended(move || {
        let _gone = stop.send(Wake::Stop);
    });
    let mut watched = match Watched::start(send) {
        Ok(watched) => watched,
        Err(what) => {
            terminal::error(Code::UnreadableFile, format!("files cannot be watched: {what}"));
            return Outcome::Wrong;
        }
    };
    if let Outcome::Wrong = terminal::result(&format!("http://127.0.0.1:{port}/\n"), Outcome::Fine) {
        return Outcome::Wrong;
    }
    let mut live = Live { shot: args.shot.clone(), budget: args.size.budget(), hub, good: None, seen: None };
    loop {
        let sources = live.build();
        watched.follow(&args.shot, &sources);
        match wakes.recv() {
            Ok(Wake::Saved) => {}
            Ok(Wake::Stop) | Err(_) => return Outcome::Fine,
        }
        loop {
            match wakes.recv_timeout(SETTLE) {
                Ok(Wake::Saved) => {}
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return Outcome::Fine,
                Err(RecvTimeoutError::Timeout) => break,
            }
        }
    }
}

/// The shot as it was last seen.
struct Live {
    shot: PathBuf,
    budget: Budget,
    hub: Arc<Hub>,
    /// The last state without a mistake that was checked.
    good: Option<Compiled>,
    /// What the page shows of curves and places.
    seen: Option<page::Drawn>,
}

impl Live {
    /// Shows curves and places, checks, shows the verdict; why not, where that fails.
    fn show(&mut self, compiled: Compiled) -> Result<(), String> {
        let drawn = page::drawn(&compiled).map_err(|e| e.to_string())?;
        if let Some(seen) = &self.seen {
            self.hub.curves(&drawn.since(seen));
        }
        let drawn = self.seen.insert(drawn);
        let report = compiled.checked().map_err(|e| e.to_string())?;
        let since = self.good.as_ref().map(|old| lines(&changes::between(old, &report.compiled), false));
        let text = page::live(&report, drawn).map_err(|e| e.to_string())?;
        self.hub.page(text, &since.unwrap_or_default());
        self.good = Some(report.compiled);
        Ok(())
    }

    /// Reads and compiles the shot and shows it, or its mistakes; the files that were read.
    fn build(&mut self) -> Sources {
        match input::load(&self.shot).and_then(|loaded| prepared::compiled(loaded, self.budget)) {
            Ok((compiled, sources)) => {
                if let Err(why) = self.show(compiled) {
                    self.hub.mistakes(&visible(&why));
                }
                sources
            }
            Err(rejection) => {
                self.hub.mistakes(&rejection.render(false));
                rejection.sources().clone()
            }
        }
    }
}
