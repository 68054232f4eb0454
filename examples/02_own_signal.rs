//! A signal of one's own: a pendulum's decaying swing, fitted to pieces and checked like any track.
//!
//! Run with `cargo run --example 02_own_signal`.

#![allow(clippy::print_stdout, reason = "an example")]
#![allow(
    clippy::disallowed_methods,
    reason = "of another machine exp, sin and cos may differ in the last bit: one that compiles the same shot elsewhere brings its own"
)]

use movewright::signal::{Jet, Knot, Signal, SignalError};
use movewright::{Axis, Compiled, Error, Shot, Stage};

/// amplitude x e^(-frame/decay) x sin(2 pi frame/period): infinitely smooth, one formula for ever.
#[derive(Debug)]
struct Swing {
    amplitude: f64,
    period: f64,
    decay: f64,
}

impl Signal for Swing {
    fn jet(&self, t: f64, _branch: f64) -> Jet {
        // Derivatives of e^(ct) sin(wt): multiply by c and rotate by w, once for each.
        let (c, w) = (-1.0 / self.decay, core::f64::consts::TAU / self.period);
        let size = self.amplitude * (c * t).exp();
        let (mut sine, mut cosine) = (size * (w * t).sin(), size * (w * t).cos());
        let mut next = || {
            let value = sine;
            (sine, cosine) = (c * sine + w * cosine, c * cosine - w * sine);
            value
        };
        Jet { p: next(), v: next(), a: next(), j: next() }
    }

    fn knots(&self, _from: f64, _to: f64, _out: &mut Vec<Knot>) -> Result<(), SignalError> {
        Ok(())
    }
}

fn main() -> Result<(), Error> {
    let sway = Axis::mm("sway").travel(-100.0..=100.0).velocity(20.0).acceleration(20.0).jerk(40.0).travel_per_rev(5.0).microsteps(16);
    let stage = Stage::builder("Marsh").group("lantern", [sway.build()?]).build()?;
    let mut shot = Shot::builder(&stage, "Lantern in the wind", 1..=96, "24")?;
    shot.signal("lantern.sway", Swing { amplitude: 60.0, period: 24.0, decay: 40.0 })?;
    shot.pass("picture").moving(4.0)?;
    let shot = shot.build()?;
    let compiled = Compiled::new(stage, shot)?;
    let report = compiled.check()?;
    report.approve()?;
    let axis = compiled.axis("lantern.sway")?;
    for frame in [1, 25, 49, 73] {
        println!("frame {frame}: {:.3} mm, step {}", axis.at(frame)?, axis.count(frame)?);
    }
    Ok(())
}
