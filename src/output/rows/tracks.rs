//! The axes of a program as rows need them: each with its curves, and how hard it is driven.
//!
//! Invariant: what is read here is the program's own; nothing is planned.

use super::{Extent, RowsError};
use crate::check;
use crate::motion::Peaks;
use crate::motion::curve::Curve;
use crate::program::{Leg, Program};
use crate::stage::{Axis, AxisId};
use crate::time::Seconds;

/// A program, its axes ready to be read row by row.
#[derive(Debug)]
pub(crate) struct Tracks<'a> {
    program: &'a Program,
    axes: Vec<Track<'a>>,
    extent: Extent,
}

/// One axis and how it goes.
#[derive(Debug)]
pub(super) struct Track<'a> {
    pub(super) id: AxisId,
    pub(super) axis: &'a Axis,
    pub(super) name: &'a str,
    pub(super) run: Run<'a>,
    /// From home to the start, in seconds; `None` where that takes no time, or the axis is parked.
    pub(super) move_to_start: Option<&'a Curve>,
    /// From the end of the program home, in seconds; as above.
    pub(super) return_home: Option<&'a Curve>,
    /// Greatest acceleration, unit/s2, and jerk, unit/s3; infinite where acceleration steps.
    pub(super) acceleration: f64,
    pub(super) jerk: f64,
}

/// How an axis goes once the move to start is over.
#[derive(Debug, Clone, Copy)]
pub(super) enum Run<'a> {
    /// It stands at home throughout.
    Parked,
    /// Along its curve.
    Moving(&'a Curve),
    /// From one point of its curve to the next, between exposures.
    Held(&'a Curve),
}

impl<'a> Tracks<'a> {
    /// The axes of one program. `report` is the check of its pass.
    ///
    /// # Errors
    /// [`RowsError::DoesNotFit`] where a held pass has a move that is longer than the time between two exposures.
    pub(crate) fn new(program: &'a Program, report: &check::PassReport) -> Result<Tracks<'a>, RowsError> {
        let compiled = program.compiled();
        let stage = compiled.stage();
        for v in &report.violations {
            if let check::Cause::TooLong { from, seconds, available, .. } = v.cause {
                let axis = stage.axis_name(v.subject.axis()).to_owned();
                return Err(RowsError::DoesNotFit { axis, from, seconds: seconds.0, available: available.0 });
            }
        }
        let pace = program.clock().pace().get();
        let axes = stage
            .each_axis()
            .map(|(id, axis)| {
                let curve = compiled.motion(id).curve();
                let photographed = &report.axes[id].photographed;
                let (run, acceleration, jerk) = match (program.parks(id), program.stations()) {
                    (true, _) => (Run::Parked, 0.0, 0.0),
                    (false, Some(_)) => (Run::Held(curve), photographed.acceleration.value, photographed.jerk.value),
                    (false, None) => {
                        let (a, j) = peaks(curve, pace);
                        (Run::Moving(curve), a, if compiled.motion(id).breaks().is_empty() { j } else { f64::INFINITY })
                    }
                };
                let move_to_start = program.way().curves(Leg::MoveToStart)[id].as_ref();
                let (a, j) = move_to_start.map_or((0.0, 0.0), |curve| peaks(curve, 1.0));
                let return_home = program.way().curves(Leg::ReturnHome)[id].as_ref();
                let (acceleration, jerk) = (acceleration.max(a), jerk.max(j));
                Track { id, axis, name: stage.axis_name(id), run, move_to_start, return_home, acceleration, jerk }
            })
            .collect();
        Ok(Tracks { program, axes, extent: Extent::Program })
    }

    /// As far as this.
    #[must_use]
    pub(crate) fn reaching(mut self, extent: Extent) -> Self {
        self.extent = extent;
        for track in self.axes.iter_mut().filter(|_| extent == Extent::ReturnHome) {
            let (a, j) = track.return_home.map_or((0.0, 0.0), |curve| peaks(curve, 1.0));
            (track.acceleration, track.jerk) = (track.acceleration.max(a), track.jerk.max(j));
        }
        self
    }

    /// How far rows go.
    #[must_use]
    pub(crate) fn extent(&self) -> Extent {
        self.extent
    }

    /// The end of what rows cover.
    #[must_use]
    pub(crate) fn end(&self) -> Seconds {
        match self.extent {
            Extent::ToStart => self.program.clock().begin(),
            Extent::Program => self.program.end(),
            Extent::ReturnHome => self.program.duration(),
        }
    }

    /// The program.
    #[must_use]
    pub(crate) fn program(&self) -> &'a Program {
        self.program
    }

    /// The step an axis (in stage order) is on at `t`, from 0 on: what the table of rows holds. After the end it stands where it came to rest.
    #[cfg(test)]
    pub(crate) fn count(&self, axis: usize, t: Seconds) -> Option<i64> {
        let track = self.axes.get(axis)?;
        let t = Seconds(t.0.min(self.program.end().0));
        track.axis.count(self.program.motion(track.id, t)?.position)
    }

    pub(super) fn axes(&self) -> &[Track<'a>] {
        &self.axes
    }
}

/// Greatest acceleration and jerk of a whole curve, in seconds.
fn peaks(curve: &Curve, pace: f64) -> (f64, f64) {
    Peaks::of(curve, 0..curve.len())
        .map_or((f64::INFINITY, f64::INFINITY), |p| (p.acceleration.value / (pace * pace), p.jerk.value / (pace * pace * pace)))
}
