//! Every shape of a track by its textbook definition: a position at a frame time, and nothing else.
//!
//! Invariant: keys strictly rising (the shot is checked). Nothing here is fitted, stored in pieces or shared with the compiler.

use super::sine::{cosine, sine};
use super::spline::{EndCondition, Piecewise, spline};
use crate::shot::{Key, Shape, Track};

/// A track ready to be asked.
#[derive(Debug)]
pub(super) struct Course {
    shape: Shape,
    keys: Vec<(f64, f64)>,
    through: Option<Piecewise>,
    blend: Option<f64>,
}

/// Position, speed and acceleration at one end of a blend.
#[derive(Debug, Clone, Copy)]
struct State {
    p: f64,
    v: f64,
    a: f64,
}

impl Course {
    /// The course of a track; `None` where its equations have no finite solution.
    pub(super) fn new(track: &Track) -> Option<Course> {
        let keys: Vec<(f64, f64)> = track.keys().iter().map(|k| (k.frame, k.value)).collect();
        let (frames, values): (Vec<f64>, Vec<f64>) = keys.iter().copied().unzip();
        let still = [EndCondition { order: 1, value: 0.0 }, EndCondition { order: 2, value: 0.0 }];
        let through = match track.shape() {
            _ if keys.len() < 2 => None,
            Shape::MinimumJerk => Some(spline(&frames, &values, 5, &still)?),
            Shape::NaturalCubic => Some(spline(&frames, &values, 3, &[EndCondition { order: 2, value: 0.0 }])?),
            _ => None,
        };
        Some(Course { shape: track.shape(), keys, through, blend: track.blend() })
    }

    /// Position at `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        let (Some(first), Some(last)) = (self.keys.first(), self.keys.last()) else { return f64::NAN };
        if self.keys.len() == 1 {
            return first.1;
        }
        match self.shape {
            Shape::NaturalCubic => self.natural(t, *first, *last),
            Shape::Linear | Shape::Cosine | Shape::CatmullRom => self.blended(t),
            _ if t <= first.0 => first.1,
            _ if t >= last.0 => last.1,
            Shape::MinimumJerk => self.through.as_ref().map_or(f64::NAN, |s| s.at(t)),
            Shape::Monotone => monotone(&self.keys, t),
            Shape::StopAtKeys => {
                let (a, b) = self.neighbours(t);
                let u = (t - a.0) / (b.0 - a.0);
                a.1 + (b.1 - a.1) * u * u * u * (10.0 + u * (-15.0 + u * 6.0))
            }
        }
    }

    /// True for the shapes that are polynomials of degree five or less, which a curve of such pieces has exactly.
    pub(super) fn is_polynomial(&self) -> bool {
        matches!(self.shape, Shape::MinimumJerk | Shape::Monotone | Shape::NaturalCubic | Shape::StopAtKeys)
    }

    /// Largest value of a key, or of the terms that a spline adds up: where keys crowd they are far larger than the keys.
    pub(super) fn size(&self) -> f64 {
        let keys = self.keys.iter().fold(0.0_f64, |m, k| m.max(k.1.abs()));
        self.through.as_ref().map_or(keys, |s| keys.max(s.size()))
    }

    /// No slope is steeper, in units a frame, or by little.
    pub(super) fn steepest(&self) -> f64 {
        let chords = self.keys.iter().zip(self.keys.iter().skip(1)).map(|(a, b)| ((b.1 - a.1) / (b.0 - a.0)).abs());
        // A rest-to-rest quintic is 15/8 times as steep as its chord, a rounded corner or a monotone curve less than 3 times.
        let keyed = chords.fold(0.0, |m: f64, c| m.max(3.0 * c));
        self.through.as_ref().map_or(keyed, |s| keyed.max(s.steepest()))
    }

    fn natural(&self, t: f64, first: (f64, f64), last: (f64, f64)) -> f64 {
        let Some(s) = &self.through else { return f64::NAN };
        if t < first.0 {
            first.1 + s.start_slope().unwrap_or(f64::NAN) * (t - first.0)
        } else if t > last.0 {
            last.1 + s.end_slope().unwrap_or(f64::NAN) * (t - last.0)
        } else {
            s.at(t)
        }
    }

    fn neighbours(&self, t: f64) -> ((f64, f64), (f64, f64)) {
        between(&self.keys, t)
    }

    /// The bare shape, except around each key, where a quintic joins both sides.
    fn blended(&self, t: f64) -> f64 {
        let next = self.keys.partition_point(|k| k.0 <= t);
        for (i, key) in self.keys.iter().enumerate().take(next + 1).skip(next.saturating_sub(1)) {
            let width = self.half_width(i, key.0);
            let (from, to) = (key.0 - width, key.0 + width);
            if from < t && t < to {
                return hermite(self.bare(i, from), self.bare(i + 1, to), to - from, (t - from) / (to - from));
            }
        }
        self.bare(next, t).p
    }

    /// `blend`, or else one frame, but not more than half of the way to a neighbour.
    fn half_width(&self, i: usize, at: f64) -> f64 {
        let before = i.checked_sub(1).and_then(|b| self.keys.get(b)).map_or(f64::INFINITY, |k| at - k.0);
        let after = self.keys.get(i + 1).map_or(f64::INFINITY, |k| k.0 - at);
        self.blend.unwrap_or(1.0_f64.min(before / 2.0).min(after / 2.0))
    }

    /// The shape between keys `i - 1` and `i` without blends; a hold outside.
    fn bare(&self, i: usize, t: f64) -> State {
        let hold = |p| State { p, v: 0.0, a: 0.0 };
        let (Some(a), Some(b)) = (i.checked_sub(1).and_then(|b| self.keys.get(b)), self.keys.get(i)) else {
            let end = if i == 0 { self.keys.first() } else { self.keys.last() };
            return hold(end.map_or(f64::NAN, |k| k.1));
        };
        let (h, rise) = (b.0 - a.0, b.1 - a.1);
        let u = (t - a.0) / h;
        match self.shape {
            Shape::Linear => State { p: a.1 + rise * u, v: rise / h, a: 0.0 },
            // a + (b - a) (1 - cos pi u) / 2 with its two derivatives; half a turn is pi.
            Shape::Cosine => {
                let pi = core::f64::consts::PI;
                State {
                    p: a.1 + rise * (1.0 - cosine(u / 2.0)) / 2.0,
                    v: rise / h * pi * sine(u / 2.0) / 2.0,
                    a: rise / (h * h) * pi * pi * cosine(u / 2.0) / 2.0,
                }
            }
            // Cubic with the slope of the chord between its two neighbours at each key; beyond the ends the end chord goes on.
            _ => {
                let before = i.checked_sub(2).and_then(|x| self.keys.get(x)).copied().unwrap_or((a.0 - h, a.1 - rise));
                let after = self.keys.get(i + 1).copied().unwrap_or((b.0 + h, b.1 + rise));
                let m0 = (b.1 - before.1) / (b.0 - before.0) * h;
                let m1 = (after.1 - a.1) / (after.0 - a.0) * h;
                let (c2, c3) = (3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise);
                State {
                    p: a.1 + u * (m0 + u * (c2 + u * c3)),
                    v: (m0 + u * (2.0 * c2 + u * 3.0 * c3)) / h,
                    a: (2.0 * c2 + 6.0 * c3 * u) / (h * h),
                }
            }
        }
    }
}

/// The monotone curve through plain keys: tracks, amounts and rates are all made of it.
pub(super) fn monotone(keys: &[(f64, f64)], t: f64) -> f64 {
    let (Some(first), Some(last)) = (keys.first(), keys.last()) else { return f64::NAN };
    if t <= first.0 {
        return first.1;
    }
    if t >= last.0 {
        return last.1;
    }
    let i = keys.partition_point(|k| k.0 <= t);
    let (a, b) = between(keys, t);
    let at = |k: (f64, f64), slope: f64| State { p: k.1, v: slope, a: 0.0 };
    hermite(at(a, slope(keys, i.saturating_sub(1))), at(b, slope(keys, i)), b.0 - a.0, (t - a.0) / (b.0 - a.0))
}

/// Keys as pairs.
pub(super) fn pairs(keys: &[Key]) -> Vec<(f64, f64)> {
    keys.iter().map(|k| (k.frame, k.value)).collect()
}

fn between(keys: &[(f64, f64)], t: f64) -> ((f64, f64), (f64, f64)) {
    let i = keys.partition_point(|k| k.0 <= t);
    let nothing = (f64::NAN, f64::NAN);
    (i.checked_sub(1).and_then(|b| keys.get(b)).copied().unwrap_or(nothing), keys.get(i).copied().unwrap_or(nothing))
}

/// Slope of the monotone curve at key `i`: harmonic mean of the chord slopes, 0 at turning points and ends, 1.25 times the smaller one at most.
fn slope(keys: &[(f64, f64)], i: usize) -> f64 {
    let chord = |a: Option<&(f64, f64)>, b: Option<&(f64, f64)>| Some((b?.1 - a?.1) / (b?.0 - a?.0));
    let before = i.checked_sub(1).and_then(|b| chord(keys.get(b), keys.get(i)));
    let (Some(a), Some(b)) = (before, chord(keys.get(i), keys.get(i + 1))) else { return 0.0 };
    let rises = a > 0.0 && b > 0.0;
    let falls = a < 0.0 && b < 0.0;
    if !rises && !falls {
        return 0.0;
    }
    let size = (2.0 / (1.0 / a.abs() + 1.0 / b.abs())).min(1.25 * a.abs().min(b.abs()));
    if rises { size } else { -size }
}

/// The quintic with these states at both ends, in the basis of Hermite (any textbook on interpolation).
fn hermite(s: State, e: State, h: f64, u: f64) -> f64 {
    let (u2, u3) = (u * u, u * u * u);
    let (u4, u5) = (u3 * u, u3 * u2);
    s.p * (1.0 - 10.0 * u3 + 15.0 * u4 - 6.0 * u5)
        + s.v * h * (u - 6.0 * u3 + 8.0 * u4 - 3.0 * u5)
        + s.a * h * h * (0.5 * u2 - 1.5 * u3 + 1.5 * u4 - 0.5 * u5)
        + e.a * h * h * (0.5 * u3 - u4 + 0.5 * u5)
        + e.v * h * (-4.0 * u3 + 7.0 * u4 - 3.0 * u5)
        + e.p * (10.0 * u3 - 15.0 * u4 + 6.0 * u5)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::ChannelId;

    fn course(shape: Shape, blend: Option<f64>, keys: &[(f64, f64)]) -> Course {
        let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        Course::new(&Track::new(ChannelId::of_no_stage(), shape, blend, keys).unwrap()).unwrap()
    }

    #[test]
    fn two_keys_by_hand() {
        // Quintic from rest to rest, half way: 1/2; straight line and half cosine: 1/2; all hold outside but the natural spline.
        for shape in [Shape::MinimumJerk, Shape::Monotone, Shape::StopAtKeys, Shape::Linear, Shape::Cosine, Shape::CatmullRom] {
            let c = course(shape, None, &[(0.0, 1.0), (8.0, 3.0)]);
            assert!((c.at(4.0) - 2.0).abs() < 1e-14, "{shape:?}");
            assert_eq!((c.at(-5.0), c.at(20.0)), (1.0, 3.0), "{shape:?}");
        }
        let c = course(Shape::NaturalCubic, None, &[(0.0, 1.0), (8.0, 3.0)]);
        assert!((c.at(12.0) - 4.0).abs() < 1e-14 && (c.at(-4.0)).abs() < 1e-14);
    }

    #[test]
    fn the_monotone_slope_is_harmonic_and_capped() {
        let keys = [(0.0, 0.0), (1.0, 2.0), (2.0, 5.0), (3.0, 105.0), (4.0, 105.0)];
        for (i, want) in [(0, 0.0), (1, 2.4), (2, 3.75), (3, 0.0)] {
            assert!((slope(&keys, i) - want).abs() < 1e-15 * (1.0 + want), "{i}");
        }
    }

    #[test]
    fn a_blended_corner_of_two_lines_by_hand() {
        // Corner at (4, 4) of slopes 1 and 0, 2 frames to either side: the quintic between (2, 2) and (6, 4), half way 3.625.
        let c = course(Shape::Linear, Some(2.0), &[(0.0, 0.0), (4.0, 4.0), (12.0, 4.0)]);
        assert!((c.at(4.0) - 3.625).abs() < 1e-14, "{}", c.at(4.0));
        assert_eq!(c.at(2.0), 2.0);
        assert_eq!(c.at(7.0), 4.0);
    }
}
