//! Stage, shot and the move that was compiled from them, as one value.
//!
//! Invariant: the shot belongs to the stage, and the curves to both; every axis of the stage has one. What is built on it needs no other stage or shot,
//! and cannot be given a wrong one.

use std::sync::Arc;

use super::{AxisMove, CompileError, Edge, Move, NoRoom, Runners};
use crate::shot::{Pass, Shot};
use crate::stage::{AxisId, PerAxis, Stage};

/// A compiled shot. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Compiled {
    stage: Arc<Stage>,
    shot: Arc<Shot>,
    mv: Arc<Move>,
    files: Arc<[String]>,
}

impl Compiled {
    /// Compiles `shot` for `stage`.
    ///
    /// # Errors
    /// A shot of another stage; every cause for which a channel or axis has no curve.
    pub fn new(stage: impl Into<Arc<Stage>>, shot: impl Into<Arc<Shot>>) -> Result<Compiled, Vec<CompileError>> {
        let (stage, shot) = (stage.into(), shot.into());
        if stage.mark() != shot.mark() {
            return Err(vec![CompileError::OtherStage]);
        }
        let mv = Arc::new(Move::compile(&stage, &shot)?);
        Ok(Compiled { stage, shot, mv, files: Arc::new([]) })
    }

    /// The same with the names of the files it was read from, in the order of [`Place::file`](crate::shot::Place): for places in messages.
    #[must_use]
    pub fn with_files(mut self, files: Vec<String>) -> Compiled {
        self.files = files.into();
        self
    }

    /// Another shot on the same stage: how a change is tried.
    ///
    /// # Errors
    /// As [`Compiled::new`].
    pub fn with_shot(&self, shot: Shot) -> Result<Compiled, Vec<CompileError>> {
        Compiled::new(Arc::clone(&self.stage), shot).map(|c| Compiled { files: Arc::clone(&self.files), ..c })
    }

    /// The same curves run in other passes: no channel is compiled again, only run-up and run-down are chosen anew.
    ///
    /// # Errors
    /// Passes that do not make a shot, or a run-up that is no curve.
    pub fn with_passes(&self, passes: Vec<Pass>) -> Result<Compiled, Vec<CompileError>> {
        let shot = self.shot.with_passes(&self.stage, passes).map_err(|_| vec![CompileError::OtherStage])?;
        let mv = self.mv.for_passes(&self.stage, &shot)?;
        Ok(Compiled { shot: Arc::new(shot), mv: Arc::new(mv), ..self.clone() })
    }

    /// The axes that move at the edges, for choosing run-up and run-down at other paces.
    pub(crate) fn runners(&self) -> Runners<'_> {
        Runners::new(&self.stage, self.mv.axes.iter().map(|a| [a.node(Edge::RunUp), a.node(Edge::RunDown)]).collect())
    }

    /// Another shot on the same stage that differs in these axes alone: how a change of one track is tried.
    pub(crate) fn with_shot_of(&self, shot: Shot, axes: &[AxisId]) -> Result<Compiled, Vec<CompileError>> {
        let mv = self.mv.with_axes_again(&self.stage, &shot, axes)?;
        Ok(Compiled { shot: Arc::new(shot), mv: Arc::new(mv), ..self.clone() })
    }

    /// The stage.
    #[must_use]
    pub fn stage(&self) -> &Stage {
        &self.stage
    }

    /// The shot.
    #[must_use]
    pub fn shot(&self) -> &Shot {
        &self.shot
    }

    /// Names of the input files, for places in messages; empty where none are known.
    #[must_use]
    pub fn files(&self) -> &[String] {
        &self.files
    }

    /// Every axis's motion, in stage order.
    #[must_use]
    pub fn axes(&self) -> &PerAxis<AxisMove> {
        &self.mv.axes
    }

    /// The motion of an axis of this stage.
    pub(crate) fn motion(&self, id: AxisId) -> &AxisMove {
        &self.mv.axes[id]
    }

    /// Frames of the run-up; 0 where everything rests at the first exposure.
    #[must_use]
    pub fn run_up(&self) -> u32 {
        self.mv.run_up
    }

    /// Frames of the run-down.
    #[must_use]
    pub fn run_down(&self) -> u32 {
        self.mv.run_down
    }

    /// Axes that cannot come from rest into the shot or to rest after it.
    #[must_use]
    pub fn no_room(&self) -> &[NoRoom] {
        &self.mv.no_room
    }
}
