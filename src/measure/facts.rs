//! What must be known of the axes, and what is asked for.

use crate::stage::Axis;

/// Pixels that a position may be off where nothing else is asked for.
pub const TOLERANCE_PIXELS: f64 = 0.5;

/// Steps that a position may be off where nothing else is asked for and its place in the picture is not known.
pub const TOLERANCE_STEPS: f64 = 1.0;

/// What must be known of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisFacts {
    /// Full name.
    pub name: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Steps of one unit, positive.
    pub steps_per_unit: f64,
    /// True where positive travel counts negative steps.
    pub reversed: bool,
    /// Steps of one full step of the motor.
    pub microsteps: u32,
    /// Backlash in units, where the stage has it.
    pub backlash: Option<f64>,
    /// Pixels that one unit moves the picture at most, where that is known.
    pub pixels_per_unit: Option<f64>,
}

impl AxisFacts {
    /// The facts of an axis of a stage; its place in the picture is not known from it alone.
    #[must_use]
    pub fn of(name: &str, axis: &Axis) -> AxisFacts {
        let drive = axis.drive();
        AxisFacts {
            name: name.to_owned(),
            unit: axis.unit().symbol(),
            steps_per_unit: drive.steps_per_unit(),
            reversed: drive.is_reversed(),
            microsteps: drive.microsteps(),
            backlash: axis.backlash(),
            pixels_per_unit: None,
        }
    }

    /// Steps of one of the numbers of a table, in the direction of positive travel.
    pub(super) fn to_steps(&self, units: LogUnits) -> f64 {
        match units {
            LogUnits::Steps if self.reversed => -1.0,
            LogUnits::Steps => 1.0,
            LogUnits::Units => self.steps_per_unit,
        }
    }

    /// What a position is multiplied with where units are read as steps, or steps as units.
    pub(super) fn mistaken(&self, units: LogUnits) -> f64 {
        let factor = if self.reversed { -self.steps_per_unit } else { self.steps_per_unit };
        match units {
            LogUnits::Steps => 1.0 / factor,
            LogUnits::Units => factor,
        }
    }

    /// Steps that a position may be off; more than any where it is not judged.
    pub(super) fn most(&self, options: &Options) -> f64 {
        let steps = |pixels: f64| self.pixels_per_unit.map(|per_unit| pixels / per_unit * self.steps_per_unit);
        match (options.tolerance_steps, options.tolerance_pixels) {
            (None, None) => steps(TOLERANCE_PIXELS).unwrap_or(TOLERANCE_STEPS),
            (of_steps, of_pixels) => of_steps.unwrap_or(f64::INFINITY).min(of_pixels.and_then(steps).unwrap_or(f64::INFINITY)),
        }
    }
}

/// What the numbers of a log are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum LogUnits {
    /// Steps from home.
    #[default]
    Steps,
    /// mm or deg.
    Units,
}

/// What is asked for. Without a tolerance it is [`TOLERANCE_PIXELS`], or [`TOLERANCE_STEPS`] where an axis's place in the picture is not known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[non_exhaustive]
pub struct Options {
    /// What pass and logs are in.
    pub units: LogUnits,
    /// Steps a position may be off; not negative.
    pub tolerance_steps: Option<f64>,
    /// Pixels a position may be off, for axes whose place in the picture is known; not negative.
    pub tolerance_pixels: Option<f64>,
}
