//! Edits of keys from the page: tried in memory while a key is dragged, written when it is dropped.
//!
//! Invariant: a request names a file by the name that the shot has for it, and only a file that the shot was read from is opened; nothing is written that the page has not seen, that would not load
//! or that has no curve. One edit at a time. What is refused is left as it was.
//! Limits: a key is known by its place in a text of a certain fingerprint (BLAKE3): any other change of that file in between refuses the edit.

use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use super::token::Token;
use crate::bounds::{Budget, visible};
use crate::cli::prepared;
use crate::compile::Compiled;
use crate::input::key_text::{self, NewKey, Rewritten};
use crate::input::{self, Rejection, Source, Sources};
use crate::output::staged;
use crate::page::{self, Keys, SeenFile};
use crate::shot::{Key, Place, Shot, Track};

/// What the page asks: a key and where it is to be.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Ask {
    /// The file's name, as the page got it, and its fingerprint.
    file: String,
    seen: String,
    /// Where the key is written there.
    line: u32,
    column: u32,
    frame: f64,
    value: f64,
    /// How both are to be written: those that an earlier answer gave, to take an edit back.
    #[serde(default)]
    texts: Option<[String; 2]>,
    /// The pass whose limits are shown.
    #[serde(default)]
    pass: usize,
}

/// What the page gets of an edit that was written: all it needs to take it back.
#[derive(Serialize)]
struct Written<'a> {
    file: &'a str,
    seen: String,
    line: u32,
    column: u32,
    before: [String; 2],
    after: [String; 2],
    /// All keys as they are now written; `None` where nothing has changed.
    keys: Option<Keys>,
}

/// A status and a text: JSON, or a sentence.
pub(super) type Answer = Result<String, (u16, String)>;

/// Who takes edits.
pub(super) struct Editor {
    token: Token,
    shot: PathBuf,
    budget: Budget,
    now: Mutex<Now>,
    /// Held while an edit is written; true when none is taken any more.
    closed: Mutex<bool>,
}

/// The newest state that compiles.
#[derive(Default)]
struct Now {
    /// How many edits were written.
    edits: u64,
    state: Option<State>,
}

#[derive(Clone)]
struct State {
    compiled: Compiled,
    files: Vec<SeenFile>,
}

/// A key of the shot's own tracks.
struct Found<'a> {
    file: usize,
    source: &'a Source,
    track: &'a Track,
    key: usize,
    place: Place,
}

/// The files with their fingerprints, as the page gets them.
pub(super) fn seen(sources: &Sources) -> Vec<SeenFile> {
    sources.iter().map(|s| SeenFile { name: s.name().to_owned(), seen: fingerprint(s.bytes()) }).collect()
}

fn fingerprint(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

impl Editor {
    /// For a shot.
    pub(super) fn new(token: Token, shot: PathBuf, budget: Budget) -> Editor {
        Editor { token, shot, budget, now: Mutex::default(), closed: Mutex::default() }
    }

    /// What an edit must carry.
    pub(super) fn token(&self) -> &Token {
        &self.token
    }

    /// How many edits were written: to be asked before the files are read.
    pub(super) fn edits(&self) -> u64 {
        self.now().edits
    }

    /// Takes up a state that was read when so many edits had been written; an older one than the own is passed over.
    pub(super) fn take_up(&self, edits: u64, compiled: &Compiled, files: Vec<SeenFile>) {
        let mut now = self.now();
        if now.edits == edits {
            now.state = Some(State { compiled: compiled.clone(), files });
        }
    }

    /// Waits for the edit that is being written, and takes no more.
    pub(super) fn close(&self) {
        *self.closed.lock().unwrap_or_else(PoisonError::into_inner) = true;
    }

    fn now(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The curves with a key elsewhere, and what they use of their limits; nothing is written.
    pub(super) fn tried(&self, body: &[u8]) -> Answer {
        let ask = Ask::read(body)?;
        let Some(State { compiled, files }) = self.now().state.clone() else { return Err(refused("the shot does not compile yet")) };
        let file = files.iter().position(|f| f.name == ask.file).ok_or_else(no_key)?;
        if files.get(file).is_none_or(|f| f.seen != ask.seen) {
            return Err(changed(&ask.file));
        }
        let (index, track, key, _) = ask.key(compiled.shot(), file)?;
        let track = ask.moved(track, key)?;
        let channel = track.channel();
        let axes = compiled.stage().axes_of(channel);
        let moved = compiled.with_fresh_meter().with_track(index, track, &axes, &|_| true).map_err(|e| refused(&of_compiler(&e)))?;
        let moved = moved.ok_or_else(no_key)?;
        page::tried(&moved, channel, &axes, ask.pass, files).map_err(|e| refused(&e.to_string()))
    }

    /// Writes a key; what was there and is now.
    pub(super) fn edited(&self, body: &[u8]) -> Answer {
        let ask = Ask::read(body)?;
        let closed = self.closed.lock().unwrap_or_else(PoisonError::into_inner);
        if *closed {
            return Err((503, "the program is ending".to_owned()));
        }
        let loaded = input::load(&self.shot).map_err(|_| refused("the files have mistakes: correct them first"))?;
        let found = ask.find(&loaded.shot, &loaded.sources)?;
        ask.moved(found.track, found.key)?;
        let rewritten = found.rewritten(&ask)?;
        let (bytes, mut keys) = (found.source.bytes(), None);
        if rewritten.bytes != bytes {
            let moved = input::with_file(&loaded.sources, found.file, &rewritten.bytes);
            let made = moved.and_then(|moved| prepared::compiled(moved, self.budget));
            let (compiled, sources) = made.map_err(|rejection| refused(&of_rejection(&rejection)))?;
            let mut now = self.now();
            match staged::rewrite(found.source.path(), bytes, &rewritten.bytes) {
                Ok(true) => {}
                Ok(false) => return Err(changed(&ask.file)),
                Err(error) => return Err((500, error.to_string())),
            }
            let files = seen(&sources);
            keys = Keys::of(&compiled, files.clone());
            now.edits += 1;
            now.state = Some(State { compiled, files });
        }
        let (line, column) = rewritten.place;
        let Rewritten { before, after, bytes, .. } = rewritten;
        let written = Written { file: &ask.file, seen: fingerprint(&bytes), line, column, before, after, keys };
        serde_json::to_string(&written).map_err(|e| (500, e.to_string()))
    }
}

impl Ask {
    fn read(body: &[u8]) -> Result<Ask, (u16, String)> {
        let ask: Ask = serde_json::from_slice(body).map_err(|e| (400, format!("the body is not an edit: {e}")))?;
        // JSON has no other numbers; what reads it may.
        if !(ask.frame.is_finite() && ask.value.is_finite()) {
            return Err((400, "frame and value must be finite numbers".to_owned()));
        }
        Ok(ask)
    }

    /// The track and key at this place.
    fn key<'a>(&self, shot: &'a Shot, file: usize) -> Result<(usize, &'a Track, usize, Place), (u16, String)> {
        let place = Place { file: u32::try_from(file).map_err(|_| no_key())?, line: self.line, column: self.column };
        let is_here = |k: &Key| k.place == place;
        let own = shot.tracks().iter().enumerate().filter(|(_, t)| t.call().start.is_none());
        let found = own.filter_map(|(i, t)| Some((i, t, t.keys().iter().position(is_here)?))).next();
        found.map(|(i, t, key)| (i, t, key, place)).ok_or_else(no_key)
    }

    fn find<'a>(&self, shot: &'a Shot, sources: &'a Sources) -> Result<Found<'a>, (u16, String)> {
        let (file, source) = sources.iter().enumerate().find(|(_, s)| s.name() == self.file).ok_or_else(no_key)?;
        if fingerprint(source.bytes()) != self.seen {
            return Err(changed(&self.file));
        }
        let (_, track, key, place) = self.key(shot, file)?;
        Ok(Found { file, source, track, key, place })
    }

    /// The track with the key moved.
    fn moved(&self, track: &Track, key: usize) -> Result<Track, (u16, String)> {
        let beside = |k: Option<usize>| k.and_then(|k| track.keys().get(k)).map(|k| k.frame);
        let (before, after) = (beside(key.checked_sub(1)), beside(Some(key + 1)));
        if before.is_some_and(|f| !(f < self.frame)) || after.is_some_and(|f| !(self.frame < f)) {
            let between = match (before, after) {
                (Some(a), Some(b)) => format!("between frames {a} and {b}"),
                (Some(a), None) => format!("after frame {a}"),
                (None, Some(b)) => format!("before frame {b}"),
                (None, None) => String::new(),
            };
            return Err(refused(&format!("frame {}: a key cannot pass its neighbours; keep it {between}", self.frame)));
        }
        let flaw = |flaws: Vec<crate::bounds::Flaw>| {
            refused(&flaws.first().map_or(String::new(), |f| format!("{}: found {}, allowed {}", f.title, f.found, f.allowed)))
        };
        track.with_key(key, self.frame, self.value).map_err(flaw)
    }
}

impl Found<'_> {
    /// The text of the file with the key moved. The first file is the shot; its tracks' other files are key files.
    fn rewritten(&self, ask: &Ask) -> Result<Rewritten, (u16, String)> {
        let new = NewKey { frame: ask.frame, value: ask.value, texts: ask.texts.clone() };
        let write = if self.file == 0 { key_text::in_shot } else { key_text::in_key_file };
        write(self.source.bytes(), self.place, &new).map_err(|e| refused(&format!("{}: {e}", self.source.name())))
    }
}

fn refused(why: &str) -> (u16, String) {
    (409, visible(why).to_string())
}

fn changed(file: &str) -> (u16, String) {
    refused(&format!("{file} has changed since the page read it: nothing was written"))
}

fn no_key() -> (u16, String) {
    (404, "the shot's own tracks have no such key".to_owned())
}

/// The first mistake in one sentence.
fn of_rejection(rejection: &Rejection) -> String {
    rejection.to_string().lines().next().unwrap_or_default().to_owned()
}

fn of_compiler(errors: &[crate::compile::CompileError]) -> String {
    errors.first().map_or(String::new(), ToString::to_string)
}
