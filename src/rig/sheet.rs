//! What the stage file says of one axis, as a rigger needs it.
//!
//! Units: of the axis, and steps. Invariant: nothing is added that the stage does not say or that does not follow from it.

use super::fraction::Fraction;
use super::targets::Targets;
use crate::stage::{Axis, AxisId, Motor, Stage};

/// One axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct AxisSheet<'s> {
    /// Full name.
    pub(crate) name: &'s str,
    /// The axis.
    pub(crate) axis: &'s Axis,
    /// Steps of one unit, exactly; `None` where the fraction is too long.
    pub(crate) fraction: Option<Fraction>,
    /// Steps from home at the ends of the travel, lower end first.
    pub(crate) travel_steps: [i64; 2],
    /// Where to measure; `None` where there is no room for both sides.
    pub(crate) targets: Option<Targets>,
}

impl<'s> AxisSheet<'s> {
    /// The sheet of an axis.
    #[must_use]
    pub(crate) fn of(stage: &'s Stage, id: AxisId) -> AxisSheet<'s> {
        let axis = stage.axis(id);
        let travel = axis.travel();
        // Every count of a checked travel fits.
        let steps = |position: f64| axis.count(position).unwrap_or(0);
        AxisSheet {
            name: stage.axis_name(id),
            axis,
            fraction: Fraction::steps_per_unit(axis.drive()),
            travel_steps: [steps(travel.lower), steps(travel.upper)],
            targets: Targets::of(axis),
        }
    }

    /// Steps of one unit, positive.
    #[must_use]
    pub(crate) fn steps_per_unit(&self) -> f64 {
        self.axis.drive().steps_per_unit()
    }

    /// What one step is worth.
    #[must_use]
    pub(crate) fn step(&self) -> f64 {
        1.0 / self.steps_per_unit()
    }

    /// What one full step is worth.
    #[must_use]
    pub(crate) fn full_step(&self) -> f64 {
        f64::from(self.axis.drive().microsteps()) / self.steps_per_unit()
    }

    /// What one turn of the motor is worth.
    #[must_use]
    pub(crate) fn motor_turn(&self) -> f64 {
        1.0 / self.axis.drive().motor_revs_per_unit()
    }

    /// Name of the motor; `None` where the stage was not read from a file.
    #[must_use]
    pub(crate) fn motor(&self) -> Option<&str> {
        self.axis.motor().and_then(Motor::name)
    }
}
