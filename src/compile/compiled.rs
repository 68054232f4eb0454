//! Stage, shot and the move that was compiled from them, as one value.
//!
//! Invariant: the shot belongs to the stage, and the curves to both; every axis of the stage has one. What is built on it needs no other stage or shot,
//! and cannot be given a wrong one.

use std::sync::Arc;

use super::axis_move::Shown;
use super::fit::{Costs, FitError};
use super::pendulum;
use super::{AsBefore, AxisMove, Basis, CompileError, Counts, Edge, Entry, Move, NoRoom, Runners};
use crate::bounds::{Budget, Effort, Meter};
use crate::motion::Peaks;
use crate::shot::{Pass, Shot, Track};
use crate::signal::{AxisSignal, Layers, Retiming, Source};
use crate::stage::{AxisId, ChannelId, PerAxis, Stage};

/// The work that goes into curves.
const CURVES: [Effort; 2] = [Effort::Places, Effort::Pieces];

/// What it takes to check a key of a tried track again and to draw the curve through it, as so many layers.
const TRIED_KEY: u64 = 4;

/// A compiled shot. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Compiled {
    stage: Arc<Stage>,
    shot: Arc<Shot>,
    mv: Arc<Move>,
    layers: Arc<Layers>,
    budget: Budget,
    work: Arc<Meter>,
    /// What curves taken over from shots before may have cost, by the kinds of [`CURVES`].
    carried: [u64; CURVES.len()],
    files: Arc<[String]>,
    entry: Option<Arc<Entry>>,
}

impl Compiled {
    /// Compiles `shot` for `stage`, within the usual budget of work.
    ///
    /// # Errors
    /// A shot of another stage; every cause for which a channel or axis has no curve; more work than the budget allows.
    pub(crate) fn compile(stage: impl Into<Arc<Stage>>, shot: impl Into<Arc<Shot>>) -> Result<Compiled, Vec<CompileError>> {
        Compiled::within(Budget::Usual, stage, shot)
    }

    /// Compiles `shot` for `stage` within a budget of work, which everything made from it keeps too.
    ///
    /// # Errors
    /// As [`Compiled::compile`].
    pub(crate) fn within(budget: Budget, stage: impl Into<Arc<Stage>>, shot: impl Into<Arc<Shot>>) -> Result<Compiled, Vec<CompileError>> {
        Compiled::following(budget, stage, shot, None)
    }

    /// The same, after a shot on an equal stage was compiled: axes that do what they did there keep their curves.
    ///
    /// # Errors
    /// As [`Compiled::compile`].
    pub(crate) fn following(
        budget: Budget,
        stage: impl Into<Arc<Stage>>,
        shot: impl Into<Arc<Shot>>,
        before: Option<&Compiled>,
    ) -> Result<Compiled, Vec<CompileError>> {
        let (stage, shot) = (stage.into(), shot.into());
        // Near its budget a shot is computed whole: what was taken over might make it too large.
        let before = before.filter(|old| old.has_spent_at_most(2) && old.shot.frames() == shot.frames());
        if stage.mark() != shot.mark() {
            return Err(vec![CompileError::OtherStage]);
        }
        let counts = Counts::of(&stage, &shot);
        if counts.product() > budget.most_counts() {
            return Err(vec![CompileError::TooLarge { counts, most: budget.most_counts() }]);
        }
        if counts.stations() > budget.most_stations() {
            return Err(vec![CompileError::TooManyStations { frames: counts.frames, held: counts.held, most: budget.most_stations() }]);
        }
        if counts.all_pairs() > budget.most_pairs() {
            return Err(vec![CompileError::TooManyPairs { pairs: counts.pairs, passes: counts.passes, most: budget.most_pairs() }]);
        }
        let layers = Layers::of(&shot, budget, before.map(|old| (&*old.shot, &*old.layers)))
            .map_err(|(c, e)| vec![CompileError::layer(&stage, &shot, c, e)])?;
        let known = |id: AxisId, signal: &AxisSignal<'_>| before?.known(id, signal);
        let [work, again] = [(); 2].map(|()| Meter::new(budget, counts.product()));
        let basis = Basis {
            stage: &stage,
            shot: &shot,
            layers: &layers,
            costs: Costs { meter: &work, places: Effort::Places, pieces: Effort::Pieces },
            before: before.map(|_| &known as &AsBefore<'_>),
        };
        let mv = Arc::new(Move::compile(basis, &again)?);
        pendulum::have_lengths(basis, &mv)?;
        let carried = before.map_or([0; CURVES.len()], Compiled::spent_on_curves);
        let (layers, work, files) = (Arc::new(layers), Arc::new(work), Arc::from([]));
        let compiled = Compiled { stage, shot, mv, layers, budget, work, carried, files, entry: None };
        if before.is_some() && !compiled.has_spent_at_most(1) {
            // Perhaps more than is allowed: computed alone, it is known.
            return Compiled::following(budget, compiled.stage, compiled.shot, None);
        }
        Ok(compiled)
    }

    /// What its curves cost, at most: those taken over count whole, though some of them may be gone.
    fn spent_on_curves(&self) -> [u64; CURVES.len()] {
        let mut spent = self.carried;
        CURVES.iter().zip(&mut spent).for_each(|(effort, n)| *n = n.saturating_add(self.work.used(*effort)));
        spent
    }

    /// True where no more than so many times of this went into its curves as the budget allows.
    fn has_spent_at_most(&self, part_of: u64) -> bool {
        let counts = Counts::of(&self.stage, &self.shot).product();
        CURVES.iter().zip(self.spent_on_curves()).all(|(effort, n)| n.saturating_mul(part_of) <= self.budget.most(*effort, counts))
    }

    /// The photographed span of an axis, where its signal is as it was.
    fn known(&self, id: AxisId, signal: &AxisSignal<'_>) -> Option<Shown> {
        let was = AxisSignal::of(&self.stage, &self.shot, &self.layers, id).ok()?;
        signal.is_like(&was).then(|| self.motion(id).shown())
    }

    /// The budget of work that it keeps.
    #[must_use]
    pub(crate) fn budget(&self) -> Budget {
        self.budget
    }

    /// What has been spent on it so far: on its curves, or, of what a check holds, on the check.
    #[must_use]
    pub(crate) fn work(&self) -> &Meter {
        &self.work
    }

    /// The same with nothing spent: what a check begins with.
    pub(crate) fn with_fresh_meter(&self) -> Compiled {
        Compiled { work: Arc::new(Meter::new(self.budget, Counts::of(&self.stage, &self.shot).product())), ..self.clone() }
    }

    /// What curves of another shot are made from, at the cost of trials.
    fn basis<'a>(&'a self, shot: &'a Shot, layers: &'a Layers) -> Basis<'a> {
        let costs = Costs { meter: &self.work, places: Effort::Trials, pieces: Effort::Trials };
        Basis { stage: &self.stage, shot, layers, costs, before: None }
    }

    /// The same with the names of the files it was read from, in the order of [`Place::file`](crate::shot::Place): for places in messages.
    #[must_use]
    pub(crate) fn with_files(mut self, files: Vec<String>) -> Compiled {
        self.files = files.into();
        self
    }

    /// Another shot on the same stage: how a change is tried.
    ///
    /// # Errors
    /// As [`Compiled::compile`].
    pub(crate) fn with(&self, shot: Shot) -> Result<Compiled, Vec<CompileError>> {
        Compiled::within(self.budget, Arc::clone(&self.stage), shot).map(|c| Compiled {
            files: Arc::clone(&self.files),
            entry: self.entry.clone(),
            ..c
        })
    }

    /// The same as a part of another pass: how its programs begin.
    #[must_use]
    pub(crate) fn with_entry(self, entry: Entry) -> Compiled {
        Compiled { entry: Some(Arc::new(entry)), ..self }
    }

    /// How its programs begin; `None` for at home.
    #[must_use]
    pub(crate) fn entry(&self) -> Option<&Entry> {
        self.entry.as_deref()
    }

    /// The same curves run in other passes: no channel is compiled again, only run-up and run-down are chosen anew.
    ///
    /// # Errors
    /// Passes that do not make a shot, or a run-up that is no curve.
    pub(crate) fn with_passes(&self, passes: Vec<Pass>) -> Result<Compiled, Vec<CompileError>> {
        let shot = self.shot.with_passes(&self.stage, passes).map_err(|_| vec![CompileError::OtherStage])?;
        let mv = self.mv.for_passes(self.basis(&shot, &self.layers))?;
        Ok(Compiled { shot: Arc::new(shot), mv: Arc::new(mv), ..self.clone() })
    }

    /// The same with other curves.
    pub(super) fn with_motions(&self, axes: PerAxis<AxisMove>) -> Compiled {
        let mv = Move { axes, run_up: self.mv.run_up, run_down: self.mv.run_down, no_room: self.mv.no_room.clone() };
        Compiled { mv: Arc::new(mv), ..self.clone() }
    }

    /// Which axes run as they did before, over the same frames, run-up and run-down included; the stages are equal.
    #[must_use]
    pub(crate) fn unchanged_since(&self, before: &Compiled) -> PerAxis<bool> {
        let same = self.shot.frames() == before.shot.frames();
        PerAxis::new(&self.stage, |id| same && self.motion(id).curve() == before.motion(id).curve())
    }

    /// The axes that move at the edges, for choosing run-up and run-down at other paces.
    pub(crate) fn runners(&self) -> Runners<'_> {
        Runners::new(&self.stage, self.mv.axes.iter().map(|a| [a.node(Edge::RunUp), a.node(Edge::RunDown)]).collect())
    }

    /// The same with one track replaced, which these axes follow: how a change is tried. `None` where the first of them, which is compiled first, does not
    /// pass `may` with its peaks over the photographed span.
    pub(crate) fn with_track(
        &self,
        index: usize,
        track: Track,
        axes: &[AxisId],
        may: &dyn Fn(&Peaks) -> bool,
    ) -> Result<Option<Compiled>, Vec<CompileError>> {
        let keys = u64::try_from(track.keys().len()).unwrap_or(u64::MAX);
        if let (Some(id), Err(excess)) = (axes.first(), self.work.spend(Effort::Trials, TRIED_KEY * keys)) {
            let error = FitError::TooCostly { at: 0.0, excess };
            return Err(vec![CompileError::axis(&self.stage, &self.shot, &self.layers, *id, error)]);
        }
        let layers = self.layers.with_track(index, &track).map_err(|(c, e)| vec![CompileError::layer(&self.stage, &self.shot, c, e)])?;
        let shot = self.shot.with_track(index, track);
        let basis = self.basis(&shot, &layers);
        let Some(mv) = self.mv.with_axes_again(basis, axes, may)? else { return Ok(None) };
        pendulum::have_lengths(basis, &mv)?;
        Ok(Some(Compiled { shot: Arc::new(shot), mv: Arc::new(mv), layers: Arc::new(layers), ..self.clone() }))
    }

    /// Another shot that differs in copies and retimes alone, on which these axes depend: how a change is tried.
    ///
    /// # Errors
    /// As [`Compiled::compile`].
    pub(crate) fn with_axes_of(&self, shot: Shot, axes: &[AxisId]) -> Result<Compiled, Vec<CompileError>> {
        let layers = self.layers.with_shot(&shot);
        let basis = self.basis(&shot, &layers);
        if let (Some(id), Err(error)) =
            (axes.first(), basis.costs.spend(Effort::Trials, layers.sources(&self.stage, &shot).together(), 0.0))
        {
            return Err(vec![basis.error(*id, error)]);
        }
        let mv = self.mv.with_axes_again(basis, axes, &|_| true)?.map_or_else(|| Arc::clone(&self.mv), Arc::new);
        pendulum::have_lengths(basis, &mv)?;
        Ok(Compiled { shot: Arc::new(shot), mv, layers: Arc::new(layers), ..self.clone() })
    }

    /// The layers that drive a channel; none where it has too many to be compiled at all.
    pub(crate) fn sources_of(&self, channel: ChannelId) -> &[Source] {
        self.layers.sources(&self.stage, &self.shot).on(channel).unwrap_or_default()
    }

    /// The choreography time of a channel's group; `None` where it is film time.
    pub(crate) fn time_of(&self, channel: ChannelId) -> Option<Arc<Retiming>> {
        self.layers.time_of_channel(&self.stage, channel)
    }

    /// The choreography time of what these channels drive together; `None` where it is film time.
    pub(crate) fn time_of_channels(&self, channels: &[ChannelId]) -> Option<Arc<Retiming>> {
        self.layers.time_of_channels(&self.stage, channels)
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
    pub(crate) fn files(&self) -> &[String] {
        &self.files
    }

    /// Every axis's motion, in stage order.
    #[cfg(test)]
    pub(crate) fn axes(&self) -> &crate::stage::PerAxis<AxisMove> {
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
    pub(crate) fn no_room(&self) -> &[NoRoom] {
        &self.mv.no_room
    }
}
