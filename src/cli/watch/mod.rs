//! `movewright watch`: the report in a browser, alive. Every save of a file that the shot reads is compiled and shown.
//!
//! What: curves and places go out as soon as the shot is compiled, the verdict when it is checked; mistakes go out with their places while the last good drawing stays. Only with `--edit` is anything
//! written: keys that were moved in the page, into the files that they were read from.
//! Invariant: one save at a time, the newest one; what the page shows as a verdict is that of the files as they were read.
//! Limits: a save that arrives while another is checked waits for that check.

mod edit;
mod files;
mod hub;
mod server;
mod token;

use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::Duration;

use super::args::WatchArgs;
use super::changes_text::lines;
use super::{Outcome, prepared, signals, terminal};
use crate::bounds::{Budget, Code, visible};
use crate::check::{Report, changes};
use crate::compile::Compiled;
use crate::input::{self, Rejection, Sources};
use crate::page::{self, Pictured, SeenFile};
use edit::Editor;
use files::{Wake, Watched};
use hub::Hub;
use token::Token;

/// How long a save may take to settle: editors write in several steps.
const SETTLE: Duration = Duration::from_millis(12);

pub(super) fn run(args: &WatchArgs) -> Outcome {
    let hub = Arc::new(Hub::default());
    let editor = || io::Result::Ok(Arc::new(Editor::new(Token::new()?, args.shot.clone(), args.size.budget())));
    let editor = args.edit.then(editor).transpose();
    let served = editor.and_then(|editor| Ok((server::start(args.port, Arc::clone(&hub), editor.clone())?, editor)));
    let (port, editor) = match served {
        Ok(served) => served,
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
    // Behind the #, which no browser sends anywhere by itself.
    let token = editor.as_ref().map_or(String::new(), |e| format!("#{}", e.token().text()));
    if let Outcome::Wrong = terminal::result(&format!("http://127.0.0.1:{port}/{token}\n"), Outcome::Fine) {
        return Outcome::Wrong;
    }
    let mut live = Live { shot: args.shot.clone(), budget: args.size.budget(), hub, editor, built: None, seen: None, good: None };
    let outcome = live.follow(&mut watched, &wakes);
    if let Some(editor) = &live.editor {
        editor.close();
    }
    outcome
}

/// The shot as it was last seen.
struct Live {
    shot: PathBuf,
    budget: Budget,
    hub: Arc<Hub>,
    /// Who takes edits, where they are taken.
    editor: Option<Arc<Editor>>,
    /// The files of the last state that was compiled, and how many edits were written before.
    built: Option<(Sources, u64)>,
    /// The last state that was compiled and drawn.
    seen: Option<Seen>,
    /// The last state without a mistake that was checked.
    good: Option<Good>,
}

/// A state whose curves and places the page shows, with the stage file it had: what the next one shares with it is not computed again.
struct Seen {
    compiled: Compiled,
    stage: Arc<[u8]>,
    drawn: page::Drawn,
}

/// A checked state.
struct Good {
    report: Report,
    pictured: Pictured,
    stage: Arc<[u8]>,
}

impl Live {
    /// Builds at every save until somebody ends it.
    fn follow(&mut self, watched: &mut Watched, wakes: &Receiver<Wake>) -> Outcome {
        loop {
            self.build(watched);
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

    /// Shows curves and places, checks, shows the verdict; why not, where that fails.
    fn show(&mut self, compiled: &Compiled, stage: Arc<[u8]>, files: Option<Vec<SeenFile>>) -> Result<(), String> {
        let before = self.seen.as_ref().filter(|seen| seen.stage == stage).map(|seen| (&seen.compiled, &seen.drawn));
        let drawn = page::drawn(compiled, files, before).map_err(|e| e.to_string())?;
        if let Some(seen) = &self.seen {
            self.hub.curves(&drawn.since(&seen.drawn));
        }
        let drawn = &self.seen.insert(Seen { compiled: compiled.clone(), stage: Arc::clone(&stage), drawn }).drawn;
        let good = self.good.as_ref().filter(|good| good.stage == stage);
        let report = compiled.checked_after(good.map(|g| &g.report)).map_err(|e| e.to_string())?;
        let since = self.good.as_ref().map(|old| lines(&changes::between(&old.report.compiled, &report.compiled), &self.shot, false));
        let before = good.map(|g| (&g.report.compiled, &g.pictured));
        let pictured = page::pictured(&report.compiled, before).map_err(|e| e.to_string())?;
        let text = page::live(&report, drawn, &pictured, self.editor.is_some()).map_err(|e| e.to_string())?;
        self.hub.page(text, &since.unwrap_or_default());
        self.good = Some(Good { report, pictured, stage });
        Ok(())
    }

    /// Reads and compiles the shot and shows it, or its mistakes.
    fn build(&mut self, watched: &mut Watched) {
        let edits = self.editor.as_ref().map_or(0, |e| e.edits());
        let mut loaded = input::load(&self.shot);
        // What was saved before its file was watched woke nobody: it is read again.
        while watched.follow(&self.shot, loaded.as_ref().map_or_else(|r| r.sources(), |l| &l.sources)) {
            loaded = input::load(&self.shot);
        }
        let loaded = match loaded {
            Ok(loaded) => loaded,
            Err(rejection) => return self.refused(&rejection),
        };
        // Editors save in several steps; the same files once more would say that nothing has changed.
        let built = (loaded.sources.clone(), edits);
        if self.built.as_ref() == Some(&built) {
            return;
        }
        self.built = Some(built);
        let stage: Arc<[u8]> = loaded.sources.stage().into();
        let before = self.seen.as_ref().filter(|seen| seen.stage == stage).map(|seen| &seen.compiled);
        let compiled = prepared::compiled_after(loaded, self.budget, before);
        match compiled {
            Ok((compiled, sources)) => {
                let files = self.editor.as_ref().map(|editor| {
                    let files = edit::seen(&sources);
                    editor.take_up(edits, &compiled, files.clone());
                    files
                });
                if let Err(why) = self.show(&compiled, stage, files) {
                    self.hub.mistakes(&visible(&why));
                }
            }
            Err(rejection) => self.refused(&rejection),
        }
    }

    /// Shows mistakes.
    fn refused(&mut self, rejection: &Rejection) {
        self.built = None;
        self.hub.mistakes(&rejection.render(false));
    }
}
