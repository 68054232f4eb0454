//! A stage built in code, a shot of two axes, its peaks, and its columns on standard output.
//!
//! Run with `cargo run --example 01_two_axes`.

#![allow(clippy::print_stderr, reason = "an example")]

use std::error::Error;

use movewright::check::check;
use movewright::compile::Move;
use movewright::output::columns::{self, Column};
use movewright::shot::{Cycle, Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use movewright::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};
use movewright::time::{FrameRate, FrameSpan, Timecode};

fn main() -> Result<(), Box<dyn Error>> {
    // A bridge that carries a heron across the marsh, and a wing that beats on the way.
    let mut bridge = AxisSpec::new("bridge", Unit::Millimetre, [0.0, 4000.0], [40.0, 20.0, 40.0]);
    bridge.drive.travel_per_rev = 60.0;
    bridge.drive.microsteps = 10;
    bridge.drive.gear_ratio = 3.0;
    let mut wing = AxisSpec::new("wing", Unit::Degree, [-40.0, 60.0], [30.0, 30.0, 60.0]);
    wing.drive.microsteps = 8;
    wing.drive.gear_ratio = 10.0;
    let axes = vec![Axis::new(bridge).map_err(all)?, Axis::new(wing).map_err(all)?];
    let stage = Stage::new("Marsh", 0.25, vec![GroupSpec { name: "heron".into(), axes }]).map_err(all)?;

    let channel = |name| stage.channel(name).ok_or("no such channel");
    let keys = |pairs: &[(f64, f64)]| pairs.iter().map(|(f, v)| Key::new(*f, *v)).collect::<Vec<_>>();
    let flight = Track::new(channel("heron.bridge")?, Shape::MinimumJerk, None, keys(&[(1.0, 100.0), (20.0, 900.0), (48.0, 2600.0)]))
        .map_err(all)?;
    let beat = Cycle::new(
        channel("heron.wing")?,
        16.0,
        0.0,
        keys(&[(0.0, -18.0), (0.35, 42.0), (0.6, 10.0)]),
        keys(&[(1.0, 0.0), (12.0, 1.0), (36.0, 1.0), (48.0, 0.0)]),
        Vec::new(),
    )
    .map_err(all)?;
    let rate = FrameRate::parse("24")?;
    let shot = Shot::new(
        &stage,
        ShotSpec {
            name: "Over the reeds".into(),
            frame_rate: rate,
            frames: FrameSpan::new(1, 48)?,
            timecode_start: Timecode::parse("10:00:00:00", rate)?,
            tracks: vec![flight],
            cycles: vec![beat],
            drifts: Vec::new(),
            copies: Vec::new(),
            passes: vec![Pass::new(&stage, "picture", Exposure::Moving, 12.0, 180.0, 0.0, Vec::new()).map_err(all)?],
        },
    )
    .map_err(all)?;

    let mv = Move::compile(&stage, &shot).map_err(|e| e.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))?;
    let report = check(&stage, &shot, &mv, &[]);
    for pass in &report.passes {
        for axis in &pass.axes {
            let s = &axis.photographed;
            eprintln!(
                "{}: {:.3} of {} /s at frame {:.1}",
                stage.axis_name(axis.axis),
                s.velocity.value,
                s.velocity.limit.unwrap_or(f64::NAN),
                s.velocity.frame
            );
        }
        eprintln!("fastest pace: {:.3} s a frame", pass.fastest.seconds_per_frame);
    }
    for pass in shot.passes() {
        columns::write(std::io::stdout().lock(), &stage, &shot, &mv, pass, Column::Steps)?;
    }
    Ok(())
}

fn all(flaws: Vec<movewright::bounds::Flaw>) -> String {
    flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}
