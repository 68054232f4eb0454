//! An axis described step by step.

use core::ops::RangeInclusive;

use super::Error;
use crate::stage::{Axis, AxisSpec, LoadSpec, Motor, Unit};

/// What an axis is made from; [`AxisBuilder::build`] checks it.
///
/// Travel, velocity, acceleration and jerk are required. The rest has the defaults of the stage file: home at 0, a motor of 200 full steps without
/// microsteps, no gear, 360 units for one revolution.
#[derive(Debug, Clone)]
pub struct AxisBuilder {
    spec: AxisSpec,
    motor_given: bool,
    steps_given: bool,
}

impl Axis {
    /// An axis in millimetres. `name` within its group, `[a-z][a-z0-9_]*`.
    ///
    /// ```
    /// use movewright::Axis;
    ///
    /// let bridge = Axis::mm("bridge").travel(0.0..=4000.0).velocity(40.0).acceleration(20.0).jerk(40.0).build()?;
    /// assert_eq!(bridge.travel().upper, 4000.0);
    /// assert!(Axis::mm("bridge").travel(0.0..=4000.0).build().is_err()); // no velocity, acceleration, jerk
    /// # Ok::<(), movewright::Error>(())
    /// ```
    #[must_use]
    pub fn mm(name: &str) -> AxisBuilder {
        AxisBuilder::new(name, Unit::Millimetre)
    }

    /// An axis in degrees.
    #[must_use]
    pub fn deg(name: &str) -> AxisBuilder {
        AxisBuilder::new(name, Unit::Degree)
    }
}

impl AxisBuilder {
    fn new(name: &str, unit: Unit) -> AxisBuilder {
        // What is not given is no number, so that it is refused by name.
        AxisBuilder { spec: AxisSpec::new(name, unit, [0.0, 0.0], [f64::NAN; 3]), motor_given: false, steps_given: false }
    }

    /// Soft limits, both included. Unit: that of the axis.
    #[must_use]
    pub fn travel(mut self, travel: RangeInclusive<f64>) -> Self {
        self.spec.travel = [*travel.start(), *travel.end()];
        self
    }

    /// Where step 0 is; within the travel. Default 0.
    #[must_use]
    pub fn home(mut self, home: f64) -> Self {
        self.spec.home = home;
        self
    }

    /// Greatest speed, unit/s.
    #[must_use]
    pub fn velocity(mut self, limit: f64) -> Self {
        self.spec.limits.velocity = limit;
        self
    }

    /// Greatest acceleration, unit/s2.
    #[must_use]
    pub fn acceleration(mut self, limit: f64) -> Self {
        self.spec.limits.acceleration = limit;
        self
    }

    /// Greatest jerk, unit/s3.
    #[must_use]
    pub fn jerk(mut self, limit: f64) -> Self {
        self.spec.limits.jerk = limit;
        self
    }

    /// Greatest step rate, steps/s.
    #[must_use]
    pub fn step_rate(mut self, limit: f64) -> Self {
        self.spec.limits.step_rate = Some(limit);
        self
    }

    /// Full steps of one motor revolution, 1 to 100,000. Default 200, or the motor's.
    #[must_use]
    pub fn full_steps_per_rev(mut self, steps: u32) -> Self {
        self.spec.drive.full_steps_per_rev = i64::from(steps);
        self.steps_given = true;
        self
    }

    /// Microsteps of one full step, 1 to 4096. Default 1.
    #[must_use]
    pub fn microsteps(mut self, microsteps: u32) -> Self {
        self.spec.drive.microsteps = i64::from(microsteps);
        self
    }

    /// Motor revolutions for one output revolution. Default 1.
    #[must_use]
    pub fn gear_ratio(mut self, ratio: f64) -> Self {
        self.spec.drive.gear_ratio = ratio;
        self
    }

    /// Travel for one output revolution, unit. Default 360.
    #[must_use]
    pub fn travel_per_rev(mut self, travel: f64) -> Self {
        self.spec.drive.travel_per_rev = travel;
        self
    }

    /// Positive travel counts negative steps.
    #[must_use]
    pub fn reversed(mut self) -> Self {
        self.spec.drive.reverse = true;
        self
    }

    /// Backlash, unit.
    #[must_use]
    pub fn backlash(mut self, backlash: f64) -> Self {
        self.spec.backlash = Some(backlash);
        self
    }

    /// The motor, for the torque check; its full steps count unless others are given.
    #[must_use]
    pub fn motor(mut self, motor: Motor) -> Self {
        self.spec.motor = Some(motor);
        self.motor_given = true;
        self
    }

    /// What the motor has to move, for the torque check.
    #[must_use]
    pub fn load(mut self, load: LoadSpec) -> Self {
        self.spec.load = Some(load);
        self
    }

    /// Openings round the turn of a gobo, 1 to 1000; deg axes only.
    #[must_use]
    pub fn openings(mut self, openings: u32) -> Self {
        self.spec.openings = Some(i64::from(openings));
        self
    }

    /// The axis.
    ///
    /// # Errors
    /// Every flaw, each with the key of the stage file it belongs to; a motor of other full steps than the drive.
    pub fn build(mut self) -> Result<Axis, Error> {
        if let (Some(motor), false) = (&self.spec.motor, self.steps_given) {
            self.spec.drive.full_steps_per_rev = motor.full_steps_per_rev();
        }
        Ok(Axis::new(self.spec)?)
    }
}
