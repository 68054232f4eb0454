//! Linear, cosine and Catmull-Rom tracks, sampled by the `splines` crate on jets, their corners blended.
//!
//! What: around each key, `blend` frames to either side, the corner is replaced by the quintic that meets position, velocity
//! and acceleration where it begins and ends; so the curve is C2 and passes a corner by instead of through it.
//! The crate has its traps (a NaN time panics, Catmull-Rom has no value in the first and last segment, unsorted or repeated keys are
//! taken silently): keys are validated before, phantom keys mirror the end chords, and the segment is chosen here.
//! Invariant: keys strictly rising, blends no wider than half of the way to a neighbour.

use splines::Interpolate;
use splines::interpolate::Interpolator;

use crate::motion::quintic::{Node, Quintic};
use crate::motion::signal::{Knot, Signal, SignalError};
use crate::number::Jet;
use crate::shot::layer::DEFAULT_BLEND;
use crate::shot::{Key, Shape};

/// A jet as the crate takes it: its traits are no part of our surface.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Sample(Jet);

impl Interpolator for Sample {
    fn normalize(self, start: Self, end: Self) -> Self {
        Sample((self.0 - start.0) / (end.0 - start.0))
    }
}

/// The crate's formulas on jets, term by term: its own macro would ask this crate for features of the crate's names.
impl Interpolate<Sample> for Sample {
    fn step(t: Sample, threshold: Sample, a: Self, b: Self) -> Self {
        if t < threshold { a } else { b }
    }

    fn cosine(Sample(t): Sample, a: Self, b: Self) -> Self {
        Self::lerp(Sample((1. - (t * core::f64::consts::PI).cos()) * 0.5), a, b)
    }

    fn lerp(Sample(t): Sample, Sample(a): Self, Sample(b): Self) -> Self {
        Sample(a * (1. - t) + b * t)
    }

    fn cubic_hermite(Sample(t): Sample, x: (Sample, Self), a: (Sample, Self), b: (Sample, Self), y: (Sample, Self)) -> Self {
        let [x, a, b, y] = [x, a, b, y].map(|(at, value)| (at.0, value.0));
        let (two_t, three_t, t2) = (t * 2., t * 3., t * t);
        let (t3, two_t3, two_t2, three_t2) = (t2 * t, t2 * two_t, t * two_t, t * three_t);
        let m0 = (b.1 - x.1) / (b.0 - x.0) * (b.0 - a.0);
        let m1 = (y.1 - a.1) / (y.0 - a.0) * (b.0 - a.0);
        Sample(a.1 * (two_t3 - three_t2 + 1.) + m0 * (t3 - two_t2 + t) + b.1 * (three_t2 - two_t3) + m1 * (t3 - t2))
    }

    fn quadratic_bezier(Sample(t): Sample, Sample(a): Self, Sample(u): Self, Sample(b): Self) -> Self {
        let one_t = 1. - t;
        Sample(u + (a - u) * (one_t * one_t) + (b - u) * t * t)
    }

    fn cubic_bezier(Sample(t): Sample, Sample(a): Self, Sample(u): Self, Sample(v): Self, Sample(b): Self) -> Self {
        let one_t = 1. - t;
        let (one_t2, t2) = (one_t * one_t, t * t);
        Sample(a * (one_t2 * one_t) + (u * one_t2 * t + v * one_t * t2) * 3. + b * t2 * t)
    }

    fn cubic_bezier_mirrored(t: Sample, a: Self, u: Self, v: Self, b: Self) -> Self {
        Self::cubic_bezier(t, a, u, Sample(b.0 + b.0 - v.0), b)
    }
}

/// Corners narrower than this, frames, are distinguished from one instant only by their ends.
const NARROW: f64 = 1e-3;

/// A track with blended corners.
#[derive(Debug)]
pub(crate) struct Blended {
    shape: Shape,
    keys: Vec<(f64, f64)>,
    corners: Vec<Corner>,
}

#[derive(Debug, Clone, Copy)]
struct Corner {
    from: f64,
    to: f64,
    quintic: Option<Quintic>,
}

impl Blended {
    /// The track through `keys` with corners of half-width `blend` frames; without one, [`DEFAULT_BLEND`] or half of the way to
    /// the nearer neighbour, whichever is less.
    #[must_use]
    pub(crate) fn new(keys: &[Key], shape: Shape, blend: Option<f64>) -> Self {
        let mut track = Blended { shape, keys: keys.iter().map(|k| (k.frame, k.value)).collect(), corners: Vec::new() };
        let frames: Vec<f64> = keys.iter().map(|k| k.frame).collect();
        track.corners = frames
            .iter()
            .enumerate()
            .map(|(i, at)| {
                let before = i.checked_sub(1).and_then(|b| frames.get(b)).map_or(f64::INFINITY, |b| at - b);
                let after = frames.get(i + 1).map_or(f64::INFINITY, |a| a - at);
                let width = blend.unwrap_or(DEFAULT_BLEND.min(0.5 * before).min(0.5 * after));
                track.corner(i, *at, width)
            })
            .collect();
        track
    }

    /// Value and derivatives at `t` by the formula that holds at `branch`.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        // The first corner that ends after `branch` is the one it is in or before.
        let i = self.corners.partition_point(|c| c.to <= branch);
        match self.corners.get(i) {
            Some(Corner { from, to, quintic: Some(q) }) if *from <= branch => {
                let h = to - from;
                q.jet((t - from) / h, h)
            }
            _ => self.segment(i, t),
        }
    }

    /// Knots: where corners begin and end, or the keys where nothing is blended.
    pub(crate) fn knots(&self, out: &mut Vec<Knot>) {
        let mut reached = f64::NEG_INFINITY;
        for c in &self.corners {
            if c.quintic.is_some() {
                // Ends of a narrow corner are kept like keys: merged into one instant they would leave a step in velocity.
                let width = c.to - c.from;
                let key = width < NARROW;
                // Two corners that meet half-way between their keys meet but for rounding.
                if !(key && c.from - reached < 1e-3 * width) {
                    out.push(Knot { at: c.from, key, is_break: false });
                }
                out.push(Knot { at: c.to, key, is_break: false });
                reached = c.to;
            } else {
                out.push(Knot { at: c.from, key: true, is_break: true });
            }
        }
    }

    fn corner(&self, i: usize, at: f64, width: f64) -> Corner {
        let (from, to) = (at - width, at + width);
        if !(from < to) {
            return Corner { from: at, to: at, quintic: None };
        }
        let (start, end) = (Node::from(self.segment(i, from)), Node::from(self.segment(i + 1, to)));
        Corner { from, to, quintic: Some(Quintic::between(start, end, to - from)) }
    }

    /// The shape between keys `i - 1` and `i`, unblended; a hold before the first and after the last key.
    fn segment(&self, i: usize, t: f64) -> Jet {
        let (before, after) = (i.checked_sub(1).and_then(|b| self.keys.get(b)), self.keys.get(i));
        let ((fa, a), (fb, b)) = match (before, after) {
            (Some(a), Some(b)) => (*a, *b),
            (Some(only), None) | (None, Some(only)) => return Jet::constant(only.1),
            (None, None) => return Jet::constant(0.0),
        };
        let constant = |x: f64| Sample(Jet::constant(x));
        let (ja, jb) = (constant(a), constant(b));
        let local = Sample(Jet::time(t)).normalize(constant(fa), constant(fb));
        let Sample(sample) = match self.shape {
            // Written so that equal keys hold exactly: the crate's weighted sum dithers in the last bit.
            Shape::Linear | Shape::Cosine if a == b => ja,
            Shape::Linear => Interpolate::lerp(local, ja, jb),
            Shape::Cosine => Interpolate::cosine(local, ja, jb),
            _ => {
                let (fx, x) = i.checked_sub(2).and_then(|x| self.keys.get(x)).copied().unwrap_or((fa - (fb - fa), a - (b - a)));
                let (fy, y) = self.keys.get(i + 1).copied().unwrap_or((fb + (fb - fa), b + (b - a)));
                Interpolate::cubic_hermite(
                    local,
                    (constant(fx), constant(x)),
                    (constant(fa), ja),
                    (constant(fb), jb),
                    (constant(fy), constant(y)),
                )
            }
        };
        sample
    }
}

impl Signal for Blended {
    fn jet(&self, t: f64, branch: f64) -> Jet {
        Blended::jet(self, t, branch)
    }

    fn knots(&self, _from: f64, _to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        Blended::knots(self, out);
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use splines::{Interpolation, Key as SplineKey, Spline};

    fn keys() -> Vec<Key> {
        [(0.0, 1.0), (10.0, 4.0), (16.0, 3.0), (30.0, 9.0)].iter().map(|(f, v)| Key::new(*f, *v)).collect()
    }

    fn library(shape: Interpolation<f64, f64>) -> Spline<f64, f64> {
        // Phantom keys at both ends, mirrored, for Catmull-Rom.
        let all = [(-10.0, -2.0), (0.0, 1.0), (10.0, 4.0), (16.0, 3.0), (30.0, 9.0), (44.0, 15.0)];
        Spline::from_vec(all.iter().map(|(f, v)| SplineKey::new(*f, *v, shape)).collect())
    }

    #[test]
    fn away_from_corners_it_is_the_library_s_own_sample() {
        for (shape, lib) in
            [(Shape::Linear, Interpolation::Linear), (Shape::Cosine, Interpolation::Cosine), (Shape::CatmullRom, Interpolation::CatmullRom)]
        {
            let track = Blended::new(&keys(), shape, Some(1.0));
            let spline = library(lib);
            for t in [1.0, 2.5, 5.0, 8.9, 11.0, 13.0, 17.0, 22.0, 28.9] {
                let (mine, theirs) = (track.jet(t, t).p, spline.sample(t).unwrap());
                assert!((mine - theirs).abs() < 1e-13, "{shape:?} {t} {mine} {theirs}");
            }
        }
    }

    #[test]
    fn corners_are_twice_continuous_where_they_begin_and_end() {
        for shape in [Shape::Linear, Shape::Cosine, Shape::CatmullRom] {
            let track = Blended::new(&keys(), shape, Some(2.0));
            let mut knots = Vec::new();
            track.knots(&mut knots);
            for k in knots {
                let (l, r) = (track.jet(k.at, k.at - 0.01), track.jet(k.at, k.at + 0.01));
                for (x, y) in [(l.p, r.p), (l.v, r.v), (l.a, r.a)] {
                    assert!((x - y).abs() < 1e-12, "{shape:?} at {}", k.at);
                }
            }
        }
    }

    #[test]
    fn trap_equal_keys_hold_exactly() {
        let keys = [(0.0, 0.1), (10.0, 0.35), (20.0, 0.35), (30.0, 0.1)].map(|(f, v)| Key::new(f, v));
        for shape in [Shape::Linear, Shape::Cosine] {
            let track = Blended::new(&keys, shape, Some(1.0));
            for i in 0..=100 {
                let t = 11.0 + 8.0 * f64::from(i) / 100.0;
                assert_eq!(track.jet(t, 15.0), Jet::constant(0.35));
            }
        }
    }
}
