//! What the motors themselves ask for: loads that are heavy beside the rotor, speeds at which a motor resonates while the shutter is open, steps so few and so large that they show one by one.
//!
//! What: the load's inertia at the motor over the rotor's, above 10 a note (common practice, no source). Bands of resonance: the exact time during exposures at which an axis runs within them, from the roots
//! of its speed. Grain of blur: an axis of which a step is worth more than a quarter pixel and that makes fewer than eight of them within an exposure draws separate images, no blur (common practice, no source).
//! Invariant: notes alone; nothing here exceeds a limit. Limits: held passes stand during exposures; grain is looked at in the frames that pixels are looked at in.

use super::notes::{Note, NoteKind};
use super::pixels::{PixelReport, WORTH_KNOWING};
use crate::compile::{AxisMove, Compiled, frame_time};
use crate::motion::bernstein::{Bernstein, roots};
use crate::number::elementary::TURN;
use crate::number::whole;
use crate::program::Program;
use crate::shot::Exposure;
use crate::stage::{Axis, AxisId, Motor, Stage, Unit};
use crate::time::{ExposedFrames, FrameTime};

/// Load over rotor above which a note is given.
const HEAVY: f64 = 10.0;

/// Steps within an exposure from which on they count as blur.
const SMOOTH: i64 = 8;

/// The inertia of an axis's load at its motor, kg m2; `None` without a load.
#[must_use]
fn reflected(axis: &Axis) -> Option<f64> {
    let (load, revs) = (axis.load()?, axis.drive().motor_revs_per_unit());
    let turns = match axis.unit() {
        // Radians of the motor for one metre, or for one radian.
        Unit::Millimetre => TURN * revs * 1000.0,
        Unit::Degree => 360.0 * revs,
    };
    Some(load.inertia / (turns * turns))
}

/// Axes whose load is heavy beside the rotor.
pub(super) fn heavy(stage: &Stage) -> Vec<Note> {
    let of = |(id, axis): (AxisId, &Axis)| {
        let rotor = axis.motor().and_then(Motor::rotor_inertia).filter(|rotor| *rotor > 0.0)?;
        let ratio = reflected(axis)? / rotor;
        (ratio > HEAVY).then_some(Note { axis: Some(id), frame: None, value: Some(ratio), kind: NoteKind::InertiaRatio })
    };
    stage.each_axis().filter_map(of).collect()
}

/// Axes that run within a band of resonance of their motor during exposures of a moving pass.
pub(super) fn resonant(program: &Program) -> Vec<Note> {
    let (compiled, pass) = (program.compiled(), program.pass());
    if pass.exposure() == Exposure::Held {
        return Vec::new();
    }
    let mut notes = Vec::new();
    for (id, axis) in compiled.stage().each_axis().filter(|(id, _)| !program.parks(*id)) {
        let Some(motor) = axis.motor() else { continue };
        let rate = f64::from(axis.drive().full_steps_per_rev()) * axis.drive().motor_revs_per_unit();
        for band in motor.resonance() {
            let within = Within {
                rate,
                band: *band,
                pace: program.clock().pace().get(),
                half: 0.5 * program.clock().open(),
                exposed: program.clock().exposed(),
            };
            if let Some((seconds, first)) = within.over(compiled.motion(id)) {
                let kind = NoteKind::Resonance { pass: pass.name().to_owned(), band: *band };
                notes.push(Note { axis: Some(id), frame: Some(FrameTime(first)), value: Some(seconds), kind });
            }
        }
    }
    notes
}

/// A band of an axis in a pass.
struct Within {
    /// Full steps of one unit.
    rate: f64,
    /// Full steps/s.
    band: [f64; 2],
    pace: f64,
    /// Half of the part of a frame for which the shutter is open.
    half: f64,
    exposed: ExposedFrames,
}

impl Within {
    /// Seconds during exposures within the band, and the first frame time of them.
    fn over(&self, m: &AxisMove) -> Option<(f64, f64)> {
        let [least, most] = self.band;
        let (mut frames, mut first) = (0.0, None);
        for piece in m.curve().pieces().skip(m.photographed().start).take(m.photographed().len()) {
            let scale = self.rate / (piece.length() * self.pace);
            let speed = piece.quintic.velocity().map(|c| c * scale);
            let (lo, hi) = Bernstein::from_power(speed).hull();
            if hi < least && lo > -least || lo > most || hi < -most {
                continue;
            }
            let mut cuts = vec![0.0, 1.0];
            for edge in [least, most, -least, -most] {
                let [c0, rest @ ..] = speed;
                let [c1, c2, c3, c4] = rest;
                roots([c0 - edge, c1, c2, c3, c4], &mut |u| cuts.push(u));
            }
            cuts.sort_by(f64::total_cmp);
            for (a, b) in cuts.iter().zip(cuts.iter().skip(1)).filter(|(a, b)| a < b) {
                let u = 0.5 * (a + b);
                let v = speed.iter().rev().fold(0.0, |sum, c| sum * u + c).abs();
                if least <= v && v <= most {
                    let at = |u: f64| piece.start + u * piece.length();
                    let (open, begins) = self.open(at(*a), at(*b));
                    frames += open;
                    first = first.or(begins);
                }
            }
        }
        first.map(|first| (frames * self.pace, first))
    }

    /// Frames of a stretch of frame time during which the shutter is open, and where that begins.
    fn open(&self, from: f64, to: f64) -> (f64, Option<f64>) {
        let (mut sum, mut first) = (0.0, None);
        let mut n = (from - self.half).ceil();
        while n - self.half < to {
            let (a, b) = ((n - self.half).max(from), (n + self.half).min(to));
            if a < b && whole::nearest(n).is_some_and(|n| self.exposed.contains(n)) {
                sum += b - a;
                first = first.or(Some(a));
            }
            n += 1.0;
        }
        (sum, first)
    }
}

/// Axes whose few steps within an exposure show one by one, looked at in one of `stride` frames.
pub(super) fn grain(compiled: &Compiled, pixels: &[PixelReport], stride: u64) -> Vec<Note> {
    let (stage, frames) = (compiled.stage(), compiled.shot().frames());
    let stride = usize::try_from(stride).unwrap_or(usize::MAX);
    let mut notes = Vec::new();
    for pass in compiled.shot().passes().iter().filter(|p| p.exposure() == Exposure::Moving) {
        let half = 0.5 * pass.shutter().fraction();
        for p in pixels.iter().filter(|p| p.step > WORTH_KNOWING && !pass.parks(stage, p.axis)) {
            let (axis, m) = (stage.axis(p.axis), compiled.motion(p.axis));
            let count = |t: f64| m.at(FrameTime(t)).and_then(|at| axis.count(at));
            let few = pass.exposed(frames).frames().step_by(stride).filter_map(|n| {
                let steps = (count(frame_time(n) + half)? - count(frame_time(n) - half)?).abs();
                (0 < steps && steps < SMOOTH).then_some((n, steps))
            });
            let few: Vec<(i64, i64)> = few.collect();
            let Some((first, steps)) = few.first().copied() else { continue };
            let kind = NoteKind::Grain { pass: pass.name().to_owned(), camera: p.camera, steps, frames: few.len() };
            notes.push(Note { axis: Some(p.axis), frame: Some(FrameTime(whole::real(first))), value: Some(p.step), kind });
        }
    }
    notes
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::{AxisSpec, LoadSpec};
    use crate::time::FrameSpan;

    /// Linear moving loads reflected to the motor, Yaskawa: E-V-MD series manual 2.2.2, 250 kg on a 10 mm screw behind 2:1, 1.58e-4 kg m2; Sigma-II manual 11.1.1, 500 kg on a 10 mm screw, 12.7e-4 kg m2.
    /// Table behind a gear: 0.88 kg m2 behind 101:1 is 0.88 / 101^2.
    #[test]
    fn reflected_inertias_are_the_published_ones() {
        let of = |unit, inertia: f64, ratio: f64, travel: f64| {
            let mut spec = AxisSpec::new("x", unit, [0.0, 100.0], [1.0; 3]);
            spec.load = Some(LoadSpec::new(inertia, 0.0));
            (spec.drive.gear_ratio, spec.drive.travel_per_rev) = (ratio, travel);
            reflected(&Axis::new(spec).unwrap()).unwrap()
        };
        assert!((of(Unit::Millimetre, 250.0, 2.0, 10.0) - 1.58e-4).abs() < 0.005e-4);
        assert!((of(Unit::Millimetre, 500.0, 1.0, 10.0) - 12.7e-4).abs() < 0.05e-4);
        assert!((of(Unit::Degree, 0.88, 101.0, 360.0) - 0.88 / 10_201.0).abs() < 1e-12);
    }

    #[test]
    fn open_time_is_that_of_the_windows() {
        let one_in = |step| {
            let exposed = ExposedFrames::new(FrameSpan::new(0, 9).unwrap(), step);
            Within { rate: 1.0, band: [1.0, 2.0], pace: 1.0, half: 0.25, exposed }
        };
        let w = one_in(1);
        assert_eq!(w.open(0.0, 4.0), (0.25 + 3.0 * 0.5 + 0.25, Some(0.0)));
        assert_eq!(w.open(1.3, 1.7), (0.0, None));
        assert_eq!(w.open(0.8, 0.9).1, Some(0.8));
        assert_eq!(one_in(3).open(0.5, 9.5), (1.5, Some(2.75)));
    }
}
