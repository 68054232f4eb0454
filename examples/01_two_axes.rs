//! A stage built in code, a shot of two axes, its peaks, and its columns on standard output.
//!
//! Run with `cargo run --example 01_two_axes`.

#![allow(clippy::print_stderr, reason = "an example")]

use movewright::write::Column;
use movewright::{Axis, Compiled, Error, Shot, Stage};

fn main() -> Result<(), Error> {
    // A bridge that carries a heron across the marsh, and a wing that beats on the way.
    let bridge = Axis::mm("bridge")
        .travel(0.0..=4000.0)
        .velocity(40.0)
        .acceleration(20.0)
        .jerk(40.0)
        .travel_per_rev(60.0)
        .microsteps(10)
        .gear_ratio(3.0);
    let wing = Axis::deg("wing").travel(-40.0..=60.0).velocity(30.0).acceleration(30.0).jerk(60.0).microsteps(8).gear_ratio(10.0);
    let stage = Stage::builder("Marsh").scale(0.25).group("heron", [bridge.build()?, wing.build()?]).build()?;

    let mut shot = Shot::builder(&stage, "Over the reeds", 1..=48, "24")?.timecode_start("10:00:00:00").cycle_start(1.0);
    shot.track("heron.bridge")?.minimum_jerk([(1, 100.0), (20, 900.0), (48, 2600.0)])?;
    let beat = shot.cycle("heron.wing", 16.0)?.amount([(1, 0.0), (12, 1.0), (36, 1.0), (48, 0.0)]);
    beat.keys([(0.0, -18.0), (0.35, 42.0), (0.6, 10.0)])?;
    shot.pass("picture").shutter(180.0).moving(12.0)?;
    let shot = shot.build()?;

    let compiled = Compiled::new(stage, shot)?;
    let report = compiled.check()?;
    for pass in &report.passes {
        for (name, axis) in compiled.stage().axis_names().iter().zip(pass.axes.iter()) {
            let v = &axis.photographed.velocity;
            eprintln!("{name}: {:.3} of {} per s at frame {:.1}", v.value, v.limit.unwrap_or(f64::INFINITY), v.frame.0);
        }
        if let Some(pace) = pass.fastest.seconds_per_frame {
            eprintln!("fastest pace: {pace:.3} s per frame");
        }
    }
    report.approve()?.columns(std::io::stdout().lock(), "picture", Column::Steps)
}
