//! A mechanism of one's own: a crank that lifts a heron, compiled and checked like any mechanism of a stage file.
//!
//! Run with `cargo run --example 03_own_mechanism`.

#![allow(clippy::print_stdout, reason = "an example")]

use movewright::mechanism::{IntervalJet, Mechanism, OutOfReach, Quantity, Real, Unit, one_to_one};
use movewright::report::Report;
use movewright::signal::Jet;
use movewright::{Axis, Compiled, Error, Shot, Stage};

/// A crank of length `r` that turns about an axle, and a rod of length `l` from its pin to a slide above the axle. At 0 deg the crank points up, at 180 deg down;
/// height y of the slide: y = r cos(turn) + sqrt(l^2 - r^2 sin(turn)^2). Back by the law of cosines: cos(turn) = (r^2 + y^2 - l^2) / (2 r y). Unit: mm.
#[derive(Debug)]
struct Crank {
    r: f64,
    l: f64,
}

impl Crank {
    // Written over `Real`, one formula serves jets and ranges.
    fn height<T: Real>(&self, turn: T) -> Result<T, OutOfReach> {
        let found = turn.value();
        if !(0.0 < found && found < 180.0) {
            return Err(OutOfReach::Range { quantity: "turn", found, least: 0.0, most: 180.0, unit: "deg" });
        }
        let angle = turn.to_radians_of_degrees();
        let across = angle.sine().times(self.r);
        Ok(angle.cosine().times(self.r) + (T::constant(self.l * self.l) - across * across).sqrt())
    }

    fn turn(&self, height: Jet) -> Result<Jet, OutOfReach> {
        let [least, most] = [self.l - self.r, self.l + self.r];
        if !(least < height.p && height.p < most) {
            return Err(OutOfReach::Range { quantity: "height", found: height.p, least, most, unit: "mm" });
        }
        let cosine = (height * height + (self.r * self.r - self.l * self.l)) / (height * (2.0 * self.r));
        Ok(cosine.acos().to_degrees_of_radians())
    }
}

impl Mechanism for Crank {
    fn kind(&self) -> &str {
        "crank"
    }

    fn channels(&self) -> &[Quantity] {
        &[Quantity { name: "height", unit: Unit::Millimetre }]
    }

    fn axes(&self) -> &[Unit] {
        &[Unit::Degree]
    }

    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(channels, axes, |height| self.turn(height))
    }

    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |turn| self.height(turn))
    }

    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        Some([0.0, 180.0])
    }

    // Only needed where bodies hang on it whose clearance is to be proven.
    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        one_to_one(axes, channels, |turn| self.height(turn)).ok()
    }
}

/// The heron rises to near the top of the crank, where the crank has to turn much for little height.
fn check(stage: &Stage, seconds_per_frame: f64) -> Result<Report, Error> {
    let mut shot = Shot::builder(stage, "Heron rises", 1..=48, "24")?;
    shot.track("heron.height")?.minimum_jerk([(1, 80.0), (40, 138.0), (48, 136.0)])?;
    shot.pass("picture").moving(seconds_per_frame)?;
    let shot = shot.build()?;
    Compiled::new(stage.clone(), shot)?.check()
}

fn main() -> Result<(), Error> {
    let motor = Axis::deg("crank").travel(1.0..=179.0).home(90.0).velocity(20.0).acceleration(30.0).jerk(90.0).microsteps(16);
    let stage = Stage::builder("Marsh")
        .group("heron", [motor.gear_ratio(10.0).build()?])
        .mechanism(Crank { r: 40.0, l: 100.0 }, ["heron.height"], ["heron.crank"])
        .build()?;

    // Too fast: the check says what is exceeded, and where.
    let report = check(&stage, 0.1)?;
    if let Err(error) = report.approve() {
        println!("{error}");
    }

    // At the fastest pace the same move is within its limits.
    let fastest = report.passes.first().and_then(|pass| pass.fastest.seconds_per_frame).unwrap_or(f64::INFINITY);
    let report = check(&stage, fastest)?;
    report.approve()?;
    println!("{fastest:.4} s per frame is within the limits");
    let crank = report.compiled().axis("heron.crank")?;
    for frame in [1, 24, 48] {
        println!("frame {frame}: {:.3} deg, step {}", crank.at(frame)?, crank.count(frame)?);
    }
    Ok(())
}
