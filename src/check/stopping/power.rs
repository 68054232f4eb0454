//! What happens without power: what hangs drops unless a brake holds it, what lies coasts until friction has stopped it.
//!
//! What: a load that hangs asks for `brake = true` or `brake = false`; without the key a note does. Of an axis without a brake that carries no weight, load and friction say how it slows down: friction over
//! moved mass, the rotor's inertia included. Invariant: nothing here exceeds a limit: notes alone. Limits: detent torque and losses of the drive, which stop it sooner, are left out; without friction in the stage
//! file nothing is said of coasting.

use super::found::Stopping;
use crate::check::notes::{Note, NoteKind};
use crate::number::elementary::{TURN, degrees};
use crate::program::Program;
use crate::stage::{Axis, AxisId, Stage, Unit};

/// What an axis does without power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum WithoutPower {
    /// A brake holds it.
    Brake,
    /// Its load hangs, and there is no brake.
    Drops,
    /// It coasts.
    Coasts,
    /// The stage file does not say.
    Unknown,
}

impl WithoutPower {
    /// Of an axis.
    #[must_use]
    pub(crate) fn of(axis: &Axis) -> WithoutPower {
        match (axis.brake(), axis.load()) {
            (Some(true), _) => WithoutPower::Brake,
            (Some(false), Some(load)) if load.vertical => WithoutPower::Drops,
            (None, Some(load)) if load.vertical => WithoutPower::Unknown,
            _ if slows(axis).is_some() => WithoutPower::Coasts,
            _ => WithoutPower::Unknown,
        }
    }

    /// Its name in files; none where it is not known.
    #[must_use]
    pub(crate) fn name(self) -> Option<&'static str> {
        match self {
            WithoutPower::Brake => Some("brake"),
            WithoutPower::Drops => Some("drops"),
            WithoutPower::Coasts => Some("coasts"),
            WithoutPower::Unknown => None,
        }
    }
}

/// How fast friction alone slows an axis down, unit/s2; `None` where a brake does, where its load hangs, and where the stage file does not say enough.
pub(super) fn slows(axis: &Axis) -> Option<f64> {
    let load = axis.load().filter(|load| axis.brake() != Some(true) && !load.vertical && load.friction > 0.0)?;
    let (rotor, revs) = (axis.motor().and_then(crate::stage::Motor::rotor_inertia).unwrap_or(0.0), axis.drive().motor_revs_per_unit());
    let slows = match axis.unit() {
        Unit::Millimetre => {
            // Radians of the rotor for one metre.
            let turns = TURN * revs * 1000.0;
            1000.0 * load.friction / (load.inertia + rotor * turns * turns)
        }
        Unit::Degree => {
            let turns = 360.0 * revs;
            degrees(load.friction / (load.inertia + rotor * turns * turns))
        }
    };
    (slows > 0.0 && slows.is_finite()).then_some(slows)
}

/// Vertical axes of which it is not said what holds them, and those that nothing holds.
pub(in crate::check) fn notes(stage: &Stage) -> Vec<Note> {
    let of = |(id, axis): (AxisId, &Axis)| {
        let load = axis.load().filter(|load| load.vertical)?;
        let kind = match axis.brake() {
            Some(true) => return None,
            Some(false) => NoteKind::Drops,
            None => NoteKind::BrakeNotStated,
        };
        Some(Note { axis: Some(id), frame: None, value: Some(load.inertia), kind })
    };
    stage.each_axis().filter_map(of).collect()
}

/// Axes that coast beyond the ends of their travel.
pub(in crate::check) fn too_far(program: &Program, coasts: &[(AxisId, Option<Stopping>)]) -> Vec<Note> {
    let far = coasts.iter().filter_map(|(_, s)| *s).filter(|s| s.utilisation().is_exceeded());
    far.map(|s| Note {
        axis: Some(s.axis),
        frame: s.at.frame(),
        value: Some(s.distance),
        kind: NoteKind::CoastsTooFar { pass: program.pass().name().to_owned(), room: s.room },
    })
    .collect()
}
