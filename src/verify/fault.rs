//! What does not hold, as data.

use std::collections::BTreeMap;

/// Name of the manifest, the one file that no list holds.
pub(super) const MANIFEST: &str = "manifest.json";

/// Kind of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum FaultKind {
    /// A file that should be there is not, or cannot be read.
    Missing,
    /// A file that nothing lists.
    Extra,
    /// A file whose length or hash is not the one the manifest has.
    Changed,
    /// The manifest is not one, or says what the stage and shot do not.
    Manifest,
    /// The files in `source/` are not a stage and a shot, or not the ones listed.
    Source,
    /// A table's header is not the stage's axes in order.
    Columns,
    /// A row is missing, too many, out of place, or of the wrong form.
    Rows,
    /// A timecode label is not its frame's.
    Timecode,
    /// A position that the stage and shot do not lead to.
    Position,
    /// Steps and units of one position do not agree.
    Agreement,
    /// Two passes do not stand on the same step at the same exposure.
    Register,
    /// An axis of a parked group is not at home.
    Parked,
    /// A position outside the travel, though the manifest says that all is within limits.
    Travel,
    /// Counts that no curve under the axis's limits could have made, though the manifest says that all is within limits.
    Limits,
    /// Moves between held exposures that are not the counts'.
    Moves,
    /// A pose, a lens, a rod in the picture or a scene that the stage and shot do not lead to.
    HandOff,
}

impl FaultKind {
    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            FaultKind::Missing => "missing",
            FaultKind::Extra => "extra",
            FaultKind::Changed => "changed",
            FaultKind::Manifest => "manifest",
            FaultKind::Source => "source",
            FaultKind::Columns => "columns",
            FaultKind::Rows => "rows",
            FaultKind::Timecode => "timecode",
            FaultKind::Position => "position",
            FaultKind::Agreement => "agreement",
            FaultKind::Register => "register",
            FaultKind::Parked => "parked",
            FaultKind::Travel => "travel",
            FaultKind::Limits => "limits",
            FaultKind::Moves => "moves",
            FaultKind::HandOff => "hand-off",
        }
    }
}

/// One thing that does not hold.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Fault {
    /// Kind.
    pub kind: FaultKind,
    /// The file it stands in, below the folder; empty for the folder itself.
    pub file: String,
    /// Full name of the axis, or name of the body, where one is concerned.
    pub axis: Option<String>,
    /// The first frame it was seen at.
    pub frame: Option<i64>,
    /// How many times it was seen in this file and axis.
    pub times: u64,
    /// One line with what was found and what was expected.
    pub message: String,
}

/// Collects faults: one for each kind, file and axis, with its first place and how often it was seen, so that memory does not grow with rows.
#[derive(Debug, Default)]
pub(super) struct Faults {
    list: Vec<Fault>,
    known: BTreeMap<(FaultKind, String, Option<String>), usize>,
}

impl Faults {
    /// Records a fault of a file.
    pub(super) fn file(&mut self, kind: FaultKind, file: &str, message: String) {
        self.list.push(Fault { kind, file: file.to_owned(), axis: None, frame: None, times: 1, message });
    }

    /// Records that a file which a pass needs is not among those that are there.
    pub(super) fn needed(&mut self, file: &str) {
        self.file(FaultKind::Missing, file, "the pass needs it, and the manifest does not list it or it is not there".to_owned());
    }

    /// Records a fault at a frame; `message` is asked only for the first of its kind, file and axis.
    pub(super) fn at(&mut self, kind: FaultKind, file: &str, axis: Option<&str>, frame: i64, message: impl FnOnce() -> String) {
        self.place(kind, file, axis, Some(frame), message);
    }

    /// Records a fault at a frame, or at a place that its message names.
    pub(super) fn place(&mut self, kind: FaultKind, file: &str, axis: Option<&str>, frame: Option<i64>, message: impl FnOnce() -> String) {
        let key = (kind, file.to_owned(), axis.map(str::to_owned));
        match self.known.get(&key).and_then(|i| self.list.get_mut(*i)) {
            Some(fault) => fault.times += 1,
            None => {
                self.known.insert(key, self.list.len());
                self.list.push(Fault { kind, file: file.to_owned(), axis: axis.map(str::to_owned), frame, times: 1, message: message() });
            }
        }
    }

    /// The faults in the order in which they were found.
    pub(super) fn into_list(self) -> Vec<Fault> {
        self.list
    }
}
