//! What a measurement says about an axis of the stage file: its scale, its direction, its backlash, and the lines that correct the file.
//!
//! Units: of the axis. Invariant: a finding has a probability below [`chance::RARE`] if there were noise alone, and exceeds half a step and the last decimal of the gauge somewhere in the travel; each line is in the range of its key, rounded by
//! at most a twentieth of its standard error. Limits: an axis measured from one side has no backlash; where the gauge itself is off by 1 %, so is the scale.

use super::chance;
use super::fit::{Estimate, Fit};
use super::measurement::Measurement;
use super::positioning::Positioning;
use super::residual::{Residual, Shape, Uneven};
use crate::bounds::{self, Code, Flaw};
use crate::number::student;
use crate::stage::{Axis, Unit};

/// Beyond this ratio of measured to commanded, either way, the file is in another unit.
const MOST_RATIO: f64 = 50.0;

/// Something that the stage file should not be left with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Finding {
    /// The axis moves another distance than is commanded.
    Scale,
    /// It moves the other way.
    Sign,
    /// It has another backlash than the file says, or one that the file does not say.
    Backlash,
    /// The gauge shows more from below than from above, which no backlash does.
    Sides,
    /// The deviations are bent. Unit of the height: unit.
    Bow(f64),
    /// The deviations repeat: period and amplitude. Unit: unit.
    Periodic(Shape, f64),
    /// One target stands out.
    Uneven(Uneven),
}

impl Finding {
    /// Its name in JSON.
    #[must_use]
    pub(crate) fn name(&self) -> &'static str {
        match self {
            Finding::Scale => "scale",
            Finding::Sign => "sign",
            Finding::Backlash => "backlash",
            Finding::Sides => "sides",
            Finding::Bow(_) => "bow",
            Finding::Periodic(..) => "periodic",
            Finding::Uneven(_) => "uneven",
        }
    }
}

/// A line of the stage file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StageLine {
    /// Key.
    pub(crate) key: &'static str,
    /// Its value, as TOML.
    pub(crate) value: String,
    /// What it was.
    pub(crate) was: String,
}

/// What a measurement says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Calibration {
    /// The line through the readings.
    pub(crate) fit: Fit,
    /// Steps of one measured unit, positive.
    pub(crate) steps_per_unit: Estimate,
    /// Backlash, not negative unless the sides are swapped; `None` where only one side was measured.
    pub(crate) backlash: Option<Estimate>,
    /// Figures with the stage file as it is; `None` where the axis moves the other way.
    pub(crate) as_it_is: Option<Positioning>,
    /// Figures with scale and direction corrected.
    pub(crate) corrected: Positioning,
    /// What is left.
    pub(crate) residual: Residual,
    /// What follows.
    pub(crate) findings: Vec<Finding>,
    /// What to write into the stage file; empty where nothing changes.
    pub(crate) lines: Vec<StageLine>,
}

impl Calibration {
    /// Judges a measurement of an axis.
    ///
    /// # Errors
    /// Measured positions in another unit, that do not move, or whose side cannot be distinguished from their position.
    pub(crate) fn of(axis: &Axis, measurement: &Measurement) -> Result<Calibration, Flaw> {
        let residual = Residual::of(axis, measurement);
        let Some(fit) = Fit::of(measurement, &residual.columns) else {
            return Err(Flaw::new(Code::TooFewReadings, "", "the side of approach cannot be distinguished from the position")
                .found("low positions from one side, high positions from the other", "positions that are measured from both sides"));
        };
        let (drive, length) = (axis.drive(), axis.travel().upper - axis.travel().lower);
        let smallest = measurement.smallest(axis);
        let ratio = fit.slope.value.abs();
        in_the_same_unit(axis.unit(), &fit)?;
        let way = if fit.slope.value < 0.0 { -1.0 } else { 1.0 };
        let steps_per_unit = drive.steps_per_unit() / ratio;
        let backlash = fit.reversal.map(|r| Estimate { value: -way * r.value, error: r.error });
        let improbable =
            |estimate: Estimate, from: f64| student::beyond((estimate.value - from) / estimate.error, fit.freedom) < chance::RARE;
        let mut findings = Vec::new();
        let scale = Estimate { value: ratio, error: fit.slope.error };
        if improbable(scale, 1.0) && (ratio - 1.0).abs() * length >= smallest {
            findings.push(Finding::Scale);
        }
        if way < 0.0 {
            findings.push(Finding::Sign);
        }
        if let Some(b) = backlash {
            let stated = axis.backlash().unwrap_or(0.0);
            if improbable(b, 0.0) && b.value <= -smallest {
                findings.push(Finding::Sides);
            } else if improbable(b, stated) && (b.value - stated).abs() >= smallest {
                findings.push(Finding::Backlash);
            }
        }
        findings.extend(residual.patterns.iter().map(|p| match p.shape {
            Shape::Bow => Finding::Bow(p.amplitude),
            wave => Finding::Periodic(wave, p.amplitude),
        }));
        findings.extend(residual.uneven.map(Finding::Uneven));
        let deviations =
            |of: &dyn Fn(f64, f64) -> f64| measurement.readings().iter().map(|r| of(r.measured, r.commanded)).collect::<Vec<_>>();
        let raw = deviations(&|measured, commanded| measured - commanded);
        let corrected = deviations(&|measured, commanded| way * (measured - fit.level - fit.slope.value * (commanded - fit.middle)));
        let mut calibration = Calibration {
            steps_per_unit: Estimate { value: steps_per_unit, error: steps_per_unit * fit.slope.error / ratio },
            backlash,
            as_it_is: (way > 0.0).then(|| Positioning::of(measurement, &raw)),
            corrected: Positioning::of(measurement, &corrected),
            residual,
            findings,
            lines: Vec::new(),
            fit,
        };
        calibration.lines = calibration.lines(axis);
        Ok(calibration)
    }

    /// True where the stage file says what was measured.
    #[must_use]
    pub(crate) fn agrees(&self) -> bool {
        self.findings.is_empty()
    }

    /// True where this was found.
    #[must_use]
    pub(crate) fn has(&self, finding: Finding) -> bool {
        self.findings.contains(&finding)
    }

    fn lines(&self, axis: &Axis) -> Vec<StageLine> {
        let drive = axis.drive();
        let mut lines = Vec::new();
        if self.has(Finding::Scale) {
            let ratio = self.fit.slope.value.abs();
            let value = rounded(drive.travel_per_rev() * ratio, drive.travel_per_rev() * self.fit.slope.error);
            if value.parse().is_ok_and(|x| bounds::TRAVEL_PER_REV.contains(x)) {
                lines.push(StageLine { key: "travel_per_rev", value, was: drive.travel_per_rev().to_string() });
            }
        }
        if self.has(Finding::Sign) {
            lines.push(StageLine { key: "reverse", value: (!drive.is_reversed()).to_string(), was: drive.is_reversed().to_string() });
        }
        if let Some(backlash) = self.backlash.filter(|_| self.has(Finding::Backlash)) {
            let value = rounded(backlash.value.max(0.0), backlash.error);
            if value.parse().is_ok_and(|x| bounds::BACKLASH.contains(x)) {
                lines.push(StageLine { key: "backlash", value, was: axis.backlash().map_or("not given".to_owned(), |b| b.to_string()) });
            }
        }
        lines
    }
}

/// Refuses what is in metres or inches, or does not move.
fn in_the_same_unit(unit: Unit, fit: &Fit) -> Result<(), Flaw> {
    let ratio = fit.slope.value.abs();
    if (1.0 / MOST_RATIO..=MOST_RATIO).contains(&ratio) {
        return Ok(());
    }
    let symbol = unit.symbol();
    let known: &[(f64, &str)] = match unit {
        Unit::Millimetre => &[(1e-3, "metres"), (1e3, "micrometres"), (1.0 / 304.8, "feet")],
        Unit::Degree => {
            &[(core::f64::consts::PI / 180.0, "radians"), (1.0 / 360.0, "turns"), (60.0, "minutes of arc"), (3600.0, "seconds of arc")]
        }
    };
    let near = known.iter().find(|(factor, _)| (ratio / factor - 1.0).abs() < 0.05);
    let help = match near {
        Some((_, word)) => format!("it looks like {word}: give `measured` in {symbol}"),
        None => format!("give `measured` in {symbol}, and check that the gauge follows the axis"),
    };
    Err(Flaw::new(Code::OtherUnit, "measured", "the measured positions are in another unit, or the axis does not move")
        .found(format!("{:.4e} measured for 1 {symbol} commanded", fit.slope.value), format!("1/{MOST_RATIO} to {MOST_RATIO}, either way"))
        .help(help))
}

/// A positive number as few decimals as keep rounding below a twentieth of its standard error; twelve digits where there is none.
fn rounded(x: f64, error: f64) -> String {
    let fine = (0.1 * error).max(x * 1e-12);
    let mut place = 1.0;
    let mut decimals = 0_usize;
    while decimals < 17 && !(place <= fine) {
        place /= 10.0;
        decimals += 1;
    }
    let text = format!("{x:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
