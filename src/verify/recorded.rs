//! The curve near a recording, taken from the manifest and held to the samples in `source/`.
//!
//! What: the quintic between neighbouring knots by its six end conditions, straight on outside. Checked: which channel, distance and ends; knots at rising frames from the first sample to the last; position, velocity
//! and acceleration go on across every knot and both ends; no sample is missed by more than `within`.
//! Invariant: nothing here chooses knots or solves for a curve. What the manifest says of the curve is what the counts are held to.
//! Limit: that the knots are few, and the jerk the least, is not checked here.

use super::fault::{FaultKind, Faults, MANIFEST};
use super::record::{FitRecord, Record};
use crate::shot::{Recording, Shot};
use crate::stage::Stage;

/// What text and the six conditions may differ by, as a share of the numbers that go into them.
const ARITHMETIC: f64 = 1e-11;

/// The curve.
#[derive(Debug, Clone)]
pub(super) struct Recorded {
    knots: Vec<[f64; 4]>,
}

/// The curves of all recordings, in order; faults where they do not hold.
pub(super) fn check(record: &Record, stage: &Stage, shot: &Shot, faults: &mut Faults) -> Vec<Recorded> {
    let mut say = |what: String| faults.file(FaultKind::Manifest, MANIFEST, what);
    if record.fits.len() != shot.recordings().len() {
        say(format!("number of recordings: found {}, expected {}", record.fits.len(), shot.recordings().len()));
    }
    let mut curves = Vec::new();
    for (i, recording) in shot.recordings().iter().enumerate() {
        let channel = stage.channel_name(recording.channel());
        let Some(fit) = record.fits.get(i) else {
            curves.push(Recorded { knots: Vec::new() });
            continue;
        };
        for what in wrong(fit, recording, channel) {
            say(format!("recording of {channel}: {what}"));
        }
        curves.push(Recorded { knots: fit.knots.clone() });
    }
    curves
}

fn wrong(fit: &FitRecord, recording: &Recording, channel: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let ends = if recording.rests() { "rest" } else { "straight" };
    if fit.channel != channel {
        wrong.push(format!("channel: found `{}`", fit.channel));
    }
    if fit.within != recording.within() || fit.ends != ends {
        let (within, found) = (recording.within(), &fit.ends);
        wrong.push(format!("within and ends: found {} and `{found}`, expected {within} and `{ends}`", fit.within));
    }
    if fit.samples != recording.samples().len() {
        wrong.push(format!("samples: found {}, expected {}", fit.samples, recording.samples().len()));
    }
    let knots = &fit.knots;
    let (Some(first), Some(last)) = (recording.samples().first(), recording.samples().last()) else { return wrong };
    match (knots.as_slice(), knots.iter().zip(knots.iter().skip(1)).all(|([a, ..], [b, ..])| a < b)) {
        ([[from, _, v0, a0], .., [to, _, v1, a1]], true) if *from == first.frame && *to == last.frame => {
            if *a0 != 0.0 || *a1 != 0.0 || (recording.rests() && (*v0 != 0.0 || *v1 != 0.0)) {
                wrong.push("velocity or acceleration jumps at an end".to_owned());
            }
        }
        _ => {
            wrong.push(format!("knots do not rise from frame {} to frame {}", first.frame, last.frame));
            return wrong;
        }
    }
    let curve = Recorded { knots: knots.clone() };
    for frame in curve.jumps() {
        wrong.push(format!("position, velocity or acceleration jumps at the knot at frame {frame}"));
    }
    let worst = recording.samples().iter().map(|s| ((curve.at(s.frame) - s.value).abs(), s.frame));
    if let Some((miss, frame)) = worst.max_by(|a, b| a.0.total_cmp(&b.0))
        && !(miss <= recording.within() + ARITHMETIC * curve.size())
    {
        wrong.push(format!("the sample at frame {frame} is missed by {miss}, allowed {}", recording.within()));
    }
    wrong
}

impl Recorded {
    /// Position at `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        let (Some(first), Some(last)) = (self.knots.first(), self.knots.last()) else { return f64::NAN };
        let line = |[frame, p, v, _]: [f64; 4]| p + v * (t - frame);
        if t <= first[0] {
            return line(*first);
        }
        if t >= last[0] {
            return line(*last);
        }
        let next = self.knots.partition_point(|k| k[0] <= t);
        match (self.knots.get(next - 1), self.knots.get(next)) {
            (Some(a), Some(b)) => {
                let c = conditions(*a, *b);
                let u = (t - a[0]) / (b[0] - a[0]);
                c.iter().rev().fold(0.0, |sum, c| sum * u + c)
            }
            _ => f64::NAN,
        }
    }

    /// Largest number that goes into a position.
    pub(super) fn size(&self) -> f64 {
        let pairs = self.knots.iter().zip(self.knots.iter().skip(1));
        pairs.flat_map(|(a, b)| conditions(*a, *b)).fold(0.0_f64, |m, c| m.max(c.abs()))
    }

    /// At least the greatest slope, units per frame.
    pub(super) fn steepest(&self) -> f64 {
        let pairs = self.knots.iter().zip(self.knots.iter().skip(1));
        let slope = |(a, b): (&[f64; 4], &[f64; 4])| {
            let [_, c1, c2, c3, c4, c5] = conditions(*a, *b).map(f64::abs);
            (c1 + 2.0 * c2 + 3.0 * c3 + 4.0 * c4 + 5.0 * c5) / (b[0] - a[0])
        };
        pairs.map(slope).fold(0.0, f64::max)
    }

    /// Frames of knots where a piece does not end as the next one begins.
    fn jumps(&self) -> Vec<f64> {
        let mut jumps = Vec::new();
        for (a, b) in self.knots.iter().zip(self.knots.iter().skip(1)) {
            let h = b[0] - a[0];
            let [c0, c1, c2, c3, c4, c5] = conditions(*a, *b);
            let size = [c0, c1, c2, c3, c4, c5].iter().fold(0.0_f64, |m, c| m.max(c.abs()));
            let end = [
                c0 + c1 + c2 + c3 + c4 + c5,
                (c1 + 2.0 * c2 + 3.0 * c3 + 4.0 * c4 + 5.0 * c5) / h,
                (2.0 * c2 + 6.0 * c3 + 12.0 * c4 + 20.0 * c5) / (h * h),
            ];
            let scale = [1.0, h, h * h];
            let off = end.iter().zip(&b[1..]).zip(scale).map(|((found, wanted), s)| (found - wanted).abs() * s);
            if !(off.fold(0.0_f64, f64::max) <= ARITHMETIC * 100.0 * size) {
                jumps.push(b[0]);
            }
        }
        jumps
    }
}

/// Coefficients over 0..1 of the quintic that has position, velocity and acceleration of both knots (frame, position, velocity, acceleration).
fn conditions([f0, p0, v0, a0]: [f64; 4], [f1, p1, v1, a1]: [f64; 4]) -> [f64; 6] {
    let h = f1 - f0;
    // Start: the first three. What is left of the end conditions is a system of three rows, solved by hand.
    let (c0, c1, c2) = (p0, v0 * h, a0 * h * h / 2.0);
    let p = p1 - (c0 + c1 + c2);
    let v = v1 * h - (c1 + 2.0 * c2);
    let a = a1 * h * h - 2.0 * c2;
    [c0, c1, c2, 10.0 * p - 4.0 * v + a / 2.0, -15.0 * p + 7.0 * v - a, 6.0 * p - 3.0 * v + a / 2.0]
}
