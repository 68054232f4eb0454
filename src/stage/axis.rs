//! One motor of the stage: travel, home, limits, drive and load.
//!
//! Invariant of [`Axis`]: home within travel, all limits positive and finite, every count of the travel below 2^53 steps.

use super::drive::{Drive, DriveSpec};
use super::motor::Motor;
use super::name::check_name;
use crate::bounds::{self, Code, Flaw, with_unit};
use crate::mechanism::Unit;
use crate::number::whole;

/// Soft limits of travel. Unit: that of the axis. Invariant: lower < upper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travel {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// What an axis may do at most. Units: unit/s, unit/s2, unit/s3, steps/s.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Limits {
    /// Speed.
    pub velocity: f64,
    /// Acceleration, either direction.
    pub acceleration: f64,
    /// Jerk, either direction.
    pub jerk: f64,
    /// Step rate the drive's electronics can follow, where given.
    pub step_rate: Option<f64>,
}

/// What a motor has to move.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct LoadSpec {
    /// Mass in kg of an mm axis, or moment of inertia in kg m2 of a deg axis.
    pub inertia: f64,
    /// Friction in N (mm) or N m (deg) at the output.
    pub friction: f64,
    /// True where the load hangs: gravity pulls on it. Only for mm axes.
    pub vertical: bool,
    /// Efficiency of the drive, 0 to 1.
    pub efficiency: f64,
}

impl LoadSpec {
    /// A load that lies or turns, moved without loss. `inertia` in kg for an mm axis, kg m2 for a deg axis; `friction` in N or N m.
    #[must_use]
    pub fn new(inertia: f64, friction: f64) -> LoadSpec {
        LoadSpec { inertia, friction, vertical: false, efficiency: 1.0 }
    }
}

/// Everything an axis is made from; units as in the stage file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct AxisSpec {
    /// Name within its group, `[a-z][a-z0-9_]*`.
    pub name: String,
    /// Unit.
    pub unit: Unit,
    /// Soft limits of travel.
    pub travel: [f64; 2],
    /// Where step 0 is.
    pub home: f64,
    /// Limits.
    pub limits: Limits,
    /// Drive.
    pub drive: DriveSpec,
    /// Backlash in units, where known.
    pub backlash: Option<f64>,
    /// Motor, where the torque check is wanted.
    pub motor: Option<Motor>,
    /// Load, where the torque check is wanted.
    pub load: Option<LoadSpec>,
    /// Whether a brake holds it without power, where that is known.
    pub brake: Option<bool>,
    /// Openings of a gobo around one turn, for the flicker they cause; deg axes only.
    pub openings: Option<i64>,
}

impl AxisSpec {
    /// An axis with the given ends of travel and limits (velocity, acceleration, jerk), home at 0, a 200-step motor and one
    /// output revolution per 360 units.
    #[must_use]
    pub(crate) fn new(name: &str, unit: Unit, travel: [f64; 2], limits: [f64; 3]) -> Self {
        let [velocity, acceleration, jerk] = limits;
        AxisSpec {
            name: name.to_owned(),
            unit,
            travel,
            home: 0.0,
            limits: Limits { velocity, acceleration, jerk, step_rate: None },
            drive: DriveSpec::default(),
            backlash: None,
            motor: None,
            load: None,
            brake: None,
            openings: None,
        }
    }
}

/// A checked axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    name: String,
    unit: Unit,
    travel: Travel,
    home: f64,
    limits: Limits,
    drive: Drive,
    backlash: Option<f64>,
    motor: Option<Motor>,
    load: Option<LoadSpec>,
    brake: Option<bool>,
    openings: Option<u32>,
}

impl Axis {
    /// Checks an axis.
    ///
    /// # Errors
    /// Every flaw, each under the key of the stage file it belongs to.
    pub(crate) fn new(spec: AxisSpec) -> Result<Axis, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(check_name("name", &spec.name).err());
        let [lower, upper] = spec.travel;
        let unit = spec.unit.symbol();
        for (i, end) in [lower, upper].into_iter().enumerate() {
            flaws.extend(bounds::POSITION.in_unit(unit).check("travel", end).err().map(|f| f.at_index(i)));
        }
        if !(lower < upper) && flaws.iter().all(|f| f.field != "travel") {
            flaws.push(
                Flaw::new(Code::EmptyRange, "travel", "the lower end of travel is not below the upper end")
                    .found(format!("[{lower}, {upper}] {unit}"), "lower end first, upper end above it"),
            );
        }
        // Of a travel without length nothing is outside: that is its own mistake.
        let no_length = upper <= lower;
        if !no_length && !(lower..=upper).contains(&spec.home) {
            flaws.push(
                Flaw::new(Code::HomeOutsideTravel, "home", "the home is outside the travel")
                    .found(with_unit(spec.home, unit), format!("{lower} to {upper} {unit}"))
                    .help("set `home` to a position within the travel"),
            );
        }
        let l = spec.limits;
        let limits = [("max_velocity", l.velocity), ("max_acceleration", l.acceleration), ("max_jerk", l.jerk)];
        for ((field, value), unit) in limits.into_iter().zip(spec.unit.rates()) {
            flaws.extend(bounds::RATE_LIMIT.in_unit(unit).check(field, value).err());
        }
        flaws.extend(l.step_rate.and_then(|r| bounds::STEP_RATE.check("max_step_rate", r).err()));
        flaws.extend(spec.backlash.and_then(|b| bounds::BACKLASH.in_unit(unit).check("backlash", b).err()));
        if let Some(load) = spec.load {
            check_load(&mut flaws, spec.unit, load);
        }
        let openings = spec.openings.and_then(|n| bounds::OPENINGS.check_u32("openings", n).ok());
        if spec.openings.is_some() && !(openings.is_some() && spec.unit == Unit::Degree) {
            let (code, title) = if spec.unit == Unit::Degree {
                (Code::OutOfRange, "`openings` is out of range")
            } else {
                (Code::KeyDoesNotApply, "only a turning axis has `openings`")
            };
            flaws.push(
                Flaw::new(code, "openings", title)
                    .found(format!("{} on a {unit} axis", spec.openings.unwrap_or(0)), format!("{}, on a deg axis", bounds::OPENINGS)),
            );
        }
        if let Some(motor) = spec.motor.as_ref().filter(|m| m.full_steps_per_rev() != spec.drive.full_steps_per_rev) {
            flaws.push(
                Flaw::new(Code::ConflictingKeys, "full_steps_per_rev", "motor and drive have different full steps")
                    .found(format!("motor {}, drive {}", motor.full_steps_per_rev(), spec.drive.full_steps_per_rev), "one number"),
            );
        }
        let drive = match Drive::new(spec.drive) {
            Ok(drive) => Some(drive),
            Err(more) => {
                flaws.extend(more);
                None
            }
        };
        if let (Some(drive), true) = (drive, flaws.is_empty()) {
            let most = drive.steps(lower - spec.home).abs().max(drive.steps(upper - spec.home).abs());
            if !(most < whole::EXACT) {
                flaws.push(
                    Flaw::new(Code::TooManySteps, "travel", "the travel has too many steps")
                        .found(format!("{most:.0} steps"), "fewer than 9007199254740992 (2^53) steps")
                        .help("check `microsteps`, `gear_ratio` and `travel_per_rev`"),
                );
            }
            if flaws.is_empty() {
                return Ok(Axis {
                    name: spec.name,
                    unit: spec.unit,
                    travel: Travel { lower, upper },
                    home: spec.home,
                    limits: spec.limits,
                    drive,
                    backlash: spec.backlash,
                    motor: spec.motor,
                    load: spec.load,
                    brake: spec.brake,
                    openings,
                });
            }
        }
        Err(flaws)
    }

    /// Name within its group.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Unit of position.
    #[must_use]
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// Soft limits of travel.
    #[must_use]
    pub fn travel(&self) -> Travel {
        self.travel
    }

    /// Where step 0 is.
    #[must_use]
    pub fn home(&self) -> f64 {
        self.home
    }

    /// What the axis may do at most.
    #[must_use]
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// How positions become steps.
    #[must_use]
    pub(crate) fn drive(&self) -> &Drive {
        &self.drive
    }

    /// Backlash in units.
    #[must_use]
    pub fn backlash(&self) -> Option<f64> {
        self.backlash
    }

    /// Motor data.
    #[must_use]
    pub(crate) fn motor(&self) -> Option<&Motor> {
        self.motor.as_ref()
    }

    /// Load data.
    #[must_use]
    pub(crate) fn load(&self) -> Option<LoadSpec> {
        self.load
    }

    /// Whether a brake holds it without power; `None` where the stage does not say.
    #[must_use]
    pub(crate) fn brake(&self) -> Option<bool> {
        self.brake
    }

    /// Openings of a gobo around one turn.
    #[must_use]
    pub fn openings(&self) -> Option<u32> {
        self.openings
    }

    /// The nearest whole step at a position in units, ties to even.
    #[must_use]
    pub fn count(&self, position: f64) -> Option<i64> {
        self.drive.count(position - self.home)
    }

    /// The position of a step, in units. Range of steps: below 2^53 either way.
    #[must_use]
    pub(crate) fn position_of(&self, steps: i64) -> f64 {
        let way = if self.drive.is_reversed() { -1.0 } else { 1.0 };
        self.home + way * whole::real(steps) / self.drive.steps_per_unit()
    }
}

fn check_load(flaws: &mut Vec<Flaw>, unit: Unit, load: LoadSpec) {
    let (name, bound) = match unit {
        Unit::Millimetre => ("mass", bounds::MASS),
        Unit::Degree => ("inertia", bounds::INERTIA),
    };
    flaws.extend(bound.check(name, load.inertia).err());
    flaws.extend(bounds::FRICTION.check("friction", load.friction).err());
    flaws.extend(bounds::EFFICIENCY.check("efficiency", load.efficiency).err());
    if load.vertical && unit == Unit::Degree {
        flaws.push(
            Flaw::new(Code::KeyDoesNotApply, "vertical", "a turning axis cannot be vertical")
                .found("vertical = true on a deg axis", "vertical only on mm axes")
                .help("enter the unbalanced torque as `friction`"),
        );
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn spec() -> AxisSpec {
        AxisSpec::new("track", Unit::Millimetre, [0.0, 9000.0], [300.0, 150.0, 600.0])
    }

    #[test]
    fn a_home_outside_the_travel_is_refused() {
        let flaws = Axis::new(AxisSpec { home: -1.0, ..spec() }).unwrap_err();
        assert_eq!(flaws.first().unwrap().code, "home-outside-travel");
        assert!(Axis::new(AxisSpec { home: 9000.0, ..spec() }).is_ok());
    }

    #[test]
    fn counts_beyond_two_to_the_53_are_refused() {
        let mut s = spec();
        s.travel = [0.0, 1e9];
        s.drive.travel_per_rev = 1e-6;
        s.drive.microsteps = 4096;
        assert_eq!(Axis::new(s).unwrap_err().first().unwrap().code, "too-many-steps");
    }

    #[test]
    fn nan_fails_everywhere() {
        let mut s = spec();
        s.travel = [f64::NAN, 1.0];
        s.limits.velocity = f64::NAN;
        s.backlash = Some(f64::NAN);
        let fields: Vec<_> = Axis::new(s).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(fields, ["travel", "home", "max_velocity", "backlash"]);
    }
}
