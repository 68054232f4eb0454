//! One retime as a function: from the time asked to an earlier or later one, in straight parts joined by rounded corners.
//!
//! What: between two keys time runs straight, and straight on outside them. Around each inner key, `ease` frames to either side, its speed goes from that before the
//! key to that after it by s = x^3 (10 - 15 x + 6 x^2), x from 0 to 1 over the corner: s, its slope and its curvature are 0, 0, 0 at one end and 1, 0, 0 at the other. So
//! speed is C2 and time is C3 (three derivatives continuous), monotone since speed stays between its two ends, and what is C2 in choreography time stays C2 on film. The
//! integral of s is x^4 (5/2 - 3 x + x^2), a half at x = 1: the corner ends exactly where the straight part begins, and passes its key by 5/32 of ease x change of speed.
//! Invariant: never falls; at the two keys of a straight part, and wherever products are exact, it has the key's choreography frame bit for bit; a part of slope 1 is
//! t + offset, a part of slope 0 a constant.
//! Limits: the inverse of a corner is found by halving and Newton's steps to the last bits of the frame time.

use crate::number::Jet;
use crate::shot::retime::{Course, DEFAULT_EASE, Retime};

/// A retime as parts in rising order; each reaches to the next one's start, the first from the beginning of time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TimeMap {
    parts: Vec<Part>,
}

/// A stretch of one formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    /// Where it begins; of the first, minus infinity.
    from: f64,
    law: Law,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Law {
    /// t + offset.
    Shift(f64),
    /// Straight through two points (time asked, time given).
    Line([(f64, f64); 2]),
    /// From one straight part to the next.
    Corner { start: (f64, f64), end: (f64, f64), slopes: [f64; 2] },
}

impl TimeMap {
    /// The function of a retime; `None` where it changes nothing.
    pub(super) fn of(retime: &Retime) -> Option<TimeMap> {
        let whole = |law| TimeMap { parts: vec![Part { from: f64::NEG_INFINITY, law }] };
        let map = match retime.course() {
            Course::Later(delay) => whole(Law::Shift(-delay)),
            Course::Keyed(keys, ease) => {
                let points: Vec<(f64, f64)> = keys.iter().map(|k| (k.frame, k.value)).collect();
                TimeMap { parts: parts(&points, *ease) }
            }
        };
        (map != whole(Law::Shift(0.0))).then_some(map)
    }

    /// The part that holds at `branch`.
    pub(super) fn part(&self, branch: f64) -> Option<&Part> {
        self.parts.get(self.parts.partition_point(|p| p.from <= branch).saturating_sub(1))
    }

    /// Where one part ends and the next begins, in rising order.
    pub(super) fn edges(&self) -> impl Iterator<Item = f64> {
        self.parts.iter().skip(1).map(|p| p.from)
    }

    /// True where every time given is given once.
    pub(super) fn is_one_to_one(&self) -> bool {
        !self.parts.iter().any(Part::is_hold)
    }

    /// The part that reaches a time given first; `None` where it is never reached, or only in a part that stands still.
    pub(super) fn reaching(&self, given: f64) -> Option<&Part> {
        // The last part that begins before it: times given never fall from part to part.
        let after = self.parts.partition_point(|p| p.from == f64::NEG_INFINITY || p.at(p.from) < given);
        self.parts.get(after.checked_sub(1)?).filter(|part| !part.is_hold())
    }
}

/// The parts through points, at least two.
fn parts(points: &[(f64, f64)], ease: Option<f64>) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    let mut from = f64::NEG_INFINITY;
    let lines: Vec<Law> = points.iter().zip(points.iter().skip(1)).map(|(a, b)| line(*a, *b)).collect();
    for (i, law) in lines.iter().enumerate() {
        if parts.last().is_none_or(|last| last.law != *law) {
            parts.push(Part { from, law: *law });
        }
        let (Some(next), Some(key)) = (lines.get(i + 1), points.get(i + 1)) else { continue };
        let slopes = [law.slope(), next.slope()];
        let [before, after] = slopes;
        if before == after {
            from = key.0;
            continue;
        }
        let gap = |other: Option<&(f64, f64)>| other.map_or(f64::INFINITY, |o| 0.5 * (o.0 - key.0).abs());
        let half = ease.unwrap_or(DEFAULT_EASE.min(gap(points.get(i))).min(gap(points.get(i + 2))));
        let (start, end) = (key.0 - half, key.0 + half);
        parts.push(Part { from: start, law: Law::Corner { start: (start, law.at(start)), end: (end, next.at(end)), slopes } });
        from = end;
    }
    parts
}

fn line(a: (f64, f64), b: (f64, f64)) -> Law {
    if b.1 - a.1 == b.0 - a.0 { Law::Shift(a.1 - a.0) } else { Law::Line([a, b]) }
}

/// The smooth step, its integral from 0, and its first two derivatives.
fn step(x: f64) -> [f64; 4] {
    let rest = 1.0 - x;
    [
        x * x * x * (10.0 + x * (6.0 * x - 15.0)),
        x * x * x * x * (2.5 + x * (x - 3.0)),
        30.0 * x * x * rest * rest,
        60.0 * x * rest * (rest - x),
    ]
}

impl Law {
    fn slope(&self) -> f64 {
        match self {
            Law::Shift(_) => 1.0,
            Law::Line([a, b]) => (b.1 - a.1) / (b.0 - a.0),
            Law::Corner { .. } => f64::NAN,
        }
    }

    fn at(&self, t: f64) -> f64 {
        match self {
            Law::Shift(offset) => t + offset,
            Law::Line([a, b]) => along(*a, *b, t),
            Law::Corner { start, end, slopes: [before, after] } => {
                let width = end.0 - start.0;
                let (x, y) = ((t - start.0) / width, (end.0 - t) / width);
                // From the nearer end, so that it is exact at both.
                if x <= y {
                    start.1 + width * (before * x + (after - before) * step(x)[1])
                } else {
                    end.1 - width * (after * y + (before - after) * step(y)[1])
                }
            }
        }
    }
}

/// The line through `a` and `b` at `t`, from the nearer of the two: exact at both.
fn along(a: (f64, f64), b: (f64, f64), t: f64) -> f64 {
    let (dt, rise) = (b.0 - a.0, b.1 - a.1);
    if t - a.0 <= b.0 - t { a.1 + (t - a.0) * rise / dt } else { b.1 + (t - b.0) * rise / dt }
}

impl Part {
    /// The time given at `t`, by this part's formula even outside it.
    pub(super) fn at(&self, t: f64) -> f64 {
        self.law.at(t)
    }

    /// The time given for a time asked that is itself a function of film time.
    pub(super) fn through(&self, t: Jet) -> Jet {
        match &self.law {
            Law::Shift(offset) => Jet { p: t.p + offset, ..t },
            Law::Line(_) => t.through(self.at(t.p), self.law.slope(), 0.0, 0.0),
            Law::Corner { start, end, slopes: [before, after] } => {
                let width = end.0 - start.0;
                let change = after - before;
                let [s, _, slope, curvature] = step((t.p - start.0) / width);
                t.through(self.at(t.p), before + change * s, change * slope / width, change * curvature / (width * width))
            }
        }
    }

    /// True where it is straight.
    pub(super) fn is_straight(&self) -> bool {
        !matches!(self.law, Law::Corner { .. })
    }

    /// The offset of a part of slope 1.
    pub(super) fn shift(&self) -> Option<f64> {
        if let Law::Shift(offset) = self.law { Some(offset) } else { None }
    }

    /// True where time stands still.
    pub(super) fn is_hold(&self) -> bool {
        matches!(self.law, Law::Line([a, b]) if a.1 == b.1)
    }

    /// The time to ask for a time given, by this part's formula; not to be asked of a part that stands still.
    pub(super) fn inverse(&self, given: f64) -> f64 {
        match &self.law {
            Law::Shift(offset) => given - offset,
            Law::Line([a, b]) => along((a.1, a.0), (b.1, b.0), given),
            Law::Corner { start, end, slopes } => {
                let (mut below, mut above) = (start.0, end.0);
                if !(start.1 < given) {
                    return below;
                }
                if !(given < end.1) {
                    return above;
                }
                let mut t = below + (above - below) * (given - start.1) / (end.1 - start.1);
                for _ in 0..200 {
                    let miss = self.at(t) - given;
                    if miss == 0.0 {
                        return t;
                    }
                    if miss > 0.0 {
                        above = t;
                    } else {
                        below = t;
                    }
                    let [s, ..] = step((t - start.0) / (end.0 - start.0));
                    let next = t - miss / (slopes[0] + (slopes[1] - slopes[0]) * s);
                    let next = if below < next && next < above { next } else { 0.5 * (below + above) };
                    // Newton's steps on one side of the root leave the other end of the bracket: they end where they no longer move.
                    if (next - t).abs() <= 1e-15 * (1.0 + t.abs()) {
                        return next;
                    }
                    t = next;
                }
                t
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::shot::Key;
    use proptest::prelude::*;

    fn map(keys: &[(f64, f64)], ease: Option<f64>) -> Option<TimeMap> {
        let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        TimeMap::of(&Retime::new(None, Course::Keyed(keys, ease)).unwrap())
    }

    const HOLD: [(f64, f64); 4] = [(1.0, 1.0), (100.0, 100.0), (112.0, 100.0), (348.0, 336.0)];

    #[test]
    fn a_hold_is_exact_between_its_eases_and_the_rest_is_an_offset() {
        let map = map(&HOLD, None).unwrap();
        let at = |t: f64| map.part(t).unwrap().at(t);
        assert_eq!(map.edges().collect::<Vec<_>>(), [96.0, 104.0, 108.0, 116.0]);
        for (t, given) in
            [(-7.25, -7.25), (96.0, 96.0), (104.0, 100.0), (106.0, 100.0), (108.0, 100.0), (116.0, 104.0), (500.1, 500.1 - 12.0)]
        {
            assert_eq!(at(t), given, "{t}");
        }
        // The corner passes its key by 5/32 of ease x change of speed: speed falls by 1.
        assert_eq!(at(100.0), 100.0 - 4.0 * 5.0 / 32.0);
    }

    #[test]
    fn what_changes_nothing_is_no_map() {
        assert_eq!(map(&[(1.0, 1.0), (50.0, 50.0), (336.0, 336.0)], None), None);
        assert_eq!(TimeMap::of(&Retime::new(None, Course::Later(0.0)).unwrap()), None);
        assert!(TimeMap::of(&Retime::new(None, Course::Later(1e-9)).unwrap()).is_some());
    }

    #[test]
    fn ten_per_cent_slower_comes_to_whole_choreography_frames_exactly() {
        let map = map(&[(1.0, 1.0), (111.0, 101.0)], None).unwrap();
        for k in -30..60_i32 {
            let (film, choreography) = (f64::from(1 + 11 * k), f64::from(1 + 10 * k));
            let part = map.part(film).unwrap();
            assert_eq!((part.at(film), part.inverse(choreography)), (choreography, film));
        }
    }

    #[test]
    fn times_given_are_found_again_but_not_inside_a_hold() {
        let map = map(&HOLD, Some(3.0)).unwrap();
        assert_eq!(map.reaching(100.0).map(|p| p.inverse(100.0)), Some(103.0));
        let ends = [(1.0, 5.0), (9.0, 5.0), (20.0, 30.0), (30.0, 30.0)].map(|(f, v)| Key::new(f, v)).to_vec();
        let map = TimeMap::of(&Retime::new(None, Course::Keyed(ends, None)).unwrap()).unwrap();
        assert!(map.reaching(4.0).is_none() && map.reaching(31.0).is_none());
        assert!(map.reaching(12.0).is_some());
    }

    /// The time and its first three derivatives are continuous at every edge. It never falls, and its inverse returns the time that it was given.
    fn is_c3_and_monotone(steps: &[(f64, f64)], ease: Option<f64>) -> Result<(), TestCaseError> {
        let mut key = (0.0, 10.0);
        let mut keys = vec![key];
        for (gap, slope) in steps {
            key = (key.0 + gap, key.1 + gap * slope);
            keys.push(key);
        }
        let Some(map) = map(&keys, ease) else { return Ok(()) };
        for edge in map.edges().collect::<Vec<_>>() {
            let [l, r] = [edge - 1e-6, edge].map(|b| map.part(b).unwrap().through(Jet::time(edge)));
            // Two parts of one slope may differ by the rounding of their keys.
            prop_assert!((l.p - r.p).abs() <= 1e-15 * (r.p.abs() + edge.abs()), "{l:?} {r:?}");
            // Third derivative: change of speed x 60 x (1 - x) (1 - 2 x) over the width squared, 0 at both ends but for rounding.
            for (a, b) in [(l.v, r.v), (l.a, r.a), (l.j, r.j)] {
                prop_assert!((a - b).abs() < 1e-10, "{l:?} {r:?}");
            }
        }
        let mut before = f64::NEG_INFINITY;
        for i in 0..2000_i32 {
            let t = -5.0 + f64::from(i) * (key.0 + 10.0) / 2000.0;
            let given = map.part(t).unwrap().at(t);
            prop_assert!(before - given <= 1e-12, "{before} {given}");
            before = given;
            if let Some(part) = map.reaching(given) {
                prop_assert!((part.at(part.inverse(given)) - given).abs() < 1e-11);
            }
        }
        Ok(())
    }

    proptest! {
        #[test]
        fn it_is_c3_and_monotone(
            steps in prop::collection::vec((2.0..40.0_f64, prop::sample::select(vec![0.0, 0.3, 1.0, 1.0, 2.5])), 1..8),
            ease in prop::sample::select(vec![None, Some(0.7)]),
        ) {
            is_c3_and_monotone(&steps, ease)?;
        }
    }

    /// A case that once failed.
    #[test]
    fn two_parts_of_one_slope_meet_but_for_rounding() {
        is_c3_and_monotone(&[(6.203_724_461_912_247, 2.5), (33.026_114_263_702_29, 1.0), (2.0, 1.0)], None).unwrap();
    }
}
