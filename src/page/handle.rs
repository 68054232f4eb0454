//! The keys that a page shows for dragging: where each is on film, where it is written, and why one stays.
//!
//! Invariant: a key that can be dragged is written in the shot's own tracks, and each frame of its choreography is on film exactly once.
//! Limits: keys that no axis follows are not shown.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::compile::Compiled;
use crate::shot::Track;
use crate::signal::{Retiming, Source, SourceKind};
use crate::stage::{ChannelId, Stage};

/// A file that keys are written in, as it was read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct SeenFile {
    /// Its name, as messages show it.
    pub(crate) name: String,
    /// Fingerprint of its content.
    pub(crate) seen: String,
}

/// One key of one layer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Handle {
    /// Film frame at which it is drawn.
    film: f64,
    /// Index of its track, and its own in the track: the same key has the same while it is dragged.
    track: usize,
    key: usize,
    /// Frame and value as written.
    frame: f64,
    value: f64,
    /// Index of its file, line and column.
    file: u32,
    line: u32,
    column: u32,
    /// Frames of its choreography per film frame.
    rate: f64,
    /// The first and last whole frame that it can have; `None` without a neighbour there.
    within: [Option<f64>; 2],
    /// Why it stays where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    fixed: Option<String>,
}

/// Every key of a shot as a page would have it, by the names of its axes and channels.
#[derive(Serialize)]
pub(crate) struct Keys {
    files: Vec<SeenFile>,
    handles: BTreeMap<String, Vec<Handle>>,
}

impl Keys {
    /// Of a compiled shot that was read from `files`; `None` where it has too many.
    pub(crate) fn of(compiled: &Compiled, files: Vec<SeenFile>) -> Option<Keys> {
        let all = Handles::new(compiled, files)?;
        let stage = compiled.stage();
        let handles = driving(stage).iter().map(|c| (stage.channel_name(*c).to_owned(), all.of(compiled, &[*c]))).collect();
        Some(Keys { files: all.files, handles })
    }
}

/// Keys beyond which a page shows none for dragging.
const MOST_HANDLES: usize = 20_000;

/// What handles are made from: the files that the shot was read from.
pub(super) struct Handles {
    files: Vec<SeenFile>,
}

impl Handles {
    /// For a shot that was read from `files`: the shot file, the stage file and the others. `None` where it has too many keys.
    pub(super) fn new(compiled: &Compiled, files: Vec<SeenFile>) -> Option<Handles> {
        let tracks = compiled.shot().tracks();
        let channels = driving(compiled.stage());
        let sources = channels.iter().flat_map(|c| compiled.sources_of(*c)).filter(|s| s.kind == SourceKind::Track);
        let keys: usize = sources.filter_map(|s| tracks.get(s.index)).map(|t| t.keys().len()).sum();
        if keys > MOST_HANDLES {
            return None;
        }
        Some(Handles { files })
    }

    /// The files.
    pub(super) fn files(&self) -> &[SeenFile] {
        &self.files
    }

    /// Every key that a layer of these channels has, as far as it is on film.
    pub(super) fn of(&self, compiled: &Compiled, channels: &[ChannelId]) -> Vec<Handle> {
        let mut all = Vec::new();
        for channel in channels {
            let time = compiled.time_of(*channel);
            for source in compiled.sources_of(*channel).iter().filter(|s| s.kind == SourceKind::Track) {
                let Some(track) = compiled.shot().tracks().get(source.index) else { continue };
                let fixed = self.fixed(compiled, source, track, time.as_deref());
                for (i, key) in track.keys().iter().enumerate() {
                    let at = key.frame + source.delay;
                    let Some(film) = time.as_ref().map_or(Some(at), |t| t.film(at)) else { continue };
                    let neighbours =
                        [i.checked_sub(1).and_then(|b| track.keys().get(b)), track.keys().get(i + 1)].map(|k| k.map(|k| k.frame));
                    all.push(Handle {
                        film,
                        track: source.index,
                        key: i,
                        frame: key.frame,
                        value: key.value,
                        file: key.place.file,
                        line: key.place.line,
                        column: key.place.column,
                        rate: time.as_ref().map_or(1.0, |t| t.time(film, film).0.v),
                        within: within(neighbours),
                        fixed: fixed.clone(),
                    });
                }
            }
        }
        all
    }

    /// Why the keys of a layer stay where they are.
    fn fixed(&self, compiled: &Compiled, source: &Source, track: &Track, time: Option<&Retiming>) -> Option<String> {
        if let Some(copy) = source.copy.and_then(|i| compiled.shot().copies().get(i)) {
            return Some(format!("copied from {}: change the key there", compiled.stage().group_name(copy.from())));
        }
        if track.call().start.is_some() {
            let file = track.keys().first().and_then(|k| self.files.get(usize::try_from(k.place.file).ok()?));
            return Some(format!("a key of a routine: change it in {}", file.map_or("its file", |f| f.name.as_str())));
        }
        let holds = time.is_some_and(|t| !t.is_one_to_one());
        holds.then(|| "a retime holds this group: several film frames show the same frame of its keys".to_owned())
    }
}

/// Every channel that drives an axis.
fn driving(stage: &Stage) -> BTreeSet<ChannelId> {
    stage.axis_ids().flat_map(|id| stage.channels_of(id)).collect()
}

/// The first and last whole frame between neighbours.
fn within([before, after]: [Option<f64>; 2]) -> [Option<f64>; 2] {
    [before.map(|f| f.floor() + 1.0), after.map(|f| f.ceil() - 1.0)]
}
