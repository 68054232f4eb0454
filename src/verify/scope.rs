//! How far a folder was looked at: what was worked out anew, what only its hash vouches for, what was not looked at.
//!
//! Invariant: data only; sentences are the command line's.

/// What was done with a folder.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct Scope {
    /// True of a hand-off with measured positions.
    pub measured: bool,
    /// True where columns were worked out anew: positions, labels, register.
    pub columns: bool,
    /// True where a test pass exposes only some of the frames.
    pub some_frames: bool,
    /// True where times of moves between held exposures were.
    pub moves: bool,
    /// Rows for a controller that were, over all passes; `None` where the folder has none.
    pub rows: Option<u64>,
    /// True where poses of cameras or figures, and the scene, were.
    pub poses: bool,
    /// True where rods in the picture and their outlines were.
    pub rods: bool,
    /// True where silhouettes were.
    pub silhouettes: bool,
    /// True where the table of haze was.
    pub haze: bool,
    /// True where limits were judged again.
    pub limits: bool,
    /// Of a folder that says it exceeds limits: whether one was found exceeded.
    pub exceeded: Option<bool>,
    /// True where the manifest states clearances, motors and loads, so that they could be compared with the source.
    pub stated: bool,
    /// True where figures hang that may swing: how far was not looked at.
    pub swings: bool,
    /// True where figures hang on three wires: what these carry was not looked at.
    pub hangs: bool,
    /// Files below `source/`.
    pub sources: usize,
}
