//! Distortion of a lens: Brown's model, how far it can be trusted, and its inverse.
//!
//! On the plane at distance 1 before the pupil, x to the right and y down, r^2 = x^2 + y^2: x' = x (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x y + p2 (r^2 + 2 x^2), and y' likewise
//! with p1 (r^2 + 2 y^2) + 2 p2 x y. Source: D. C. Brown, Photogrammetric Engineering 32(3), 1966; written as in the calibration chapter of the OpenCV manual.
//!
//! Invariant: within [`Distortion::reach`] no two points fall on one. Proof: the derivative's radial part has the eigenvalues 1 + k1 r^2 + ... and 1 + 3 k1 r^2 + 5 k2 r^4 + 7 k3 r^6, its
//! tangential part is no longer than 6 |p| r; where the first exceed the second, the derivative is positive definite, and such a map on a disc is one to one (D. Gale, H. Nikaido,
//! Mathematische Annalen 159, 1965). That is shown piece by piece from the axis outwards, with bounds of each term. Limits: the reach may be smaller than where the model really folds.

use super::real::Real;
use crate::bounds::{DISTORTION, Flaw};

/// Coefficients as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Brown {
    /// Radial, of r^2.
    pub k1: f64,
    /// Radial, of r^4.
    pub k2: f64,
    /// Radial, of r^6.
    pub k3: f64,
    /// Tangential, mostly down.
    pub p1: f64,
    /// Tangential, mostly to the right.
    pub p2: f64,
}

/// A checked model with its reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Distortion {
    spec: Brown,
    reach: f64,
    covers: f64,
}

/// Nobody asks for points further off: 89.4 degrees from the axis.
const FARTHEST: f64 = 100.0;
/// The reach is found to this much.
const FINEST: f64 = 1e-7;
/// Halvings and steps of the inverse.
const MOST_STEPS: usize = 64;

impl Distortion {
    /// Checks coefficients and finds the reach.
    ///
    /// # Errors
    /// Every coefficient out of its range.
    pub(crate) fn new(spec: Brown) -> Result<Distortion, Vec<Flaw>> {
        let named = [("k1", spec.k1), ("k2", spec.k2), ("k3", spec.k3), ("p1", spec.p1), ("p2", spec.p2)];
        let flaws: Vec<Flaw> = named.into_iter().filter_map(|(name, value)| DISTORTION.check(name, value).err()).collect();
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let reach = reach(&spec);
        let tangential = tangential(&spec);
        let covers = |r: f64| r * radial(&spec, r * r) - 3.0 * tangential * r * r;
        let covers = (1..=64_u8).map(|i| covers(reach * f64::from(i) / 64.0)).fold(0.0, f64::max);
        Ok(Distortion { spec, reach, covers })
    }

    /// True where nothing is distorted.
    #[must_use]
    pub(crate) fn is_none(&self) -> bool {
        self.spec == Brown::default()
    }

    /// The coefficients.
    #[must_use]
    pub(crate) fn spec(&self) -> Brown {
        self.spec
    }

    /// Distance from the axis up to which points are distorted one to one; in units of the distance ahead.
    #[must_use]
    pub(crate) fn reach(&self) -> f64 {
        self.reach
    }

    /// Distance from the axis up to which every distorted place has an undistorted one within the reach.
    #[must_use]
    pub(crate) fn covers(&self) -> f64 {
        self.covers
    }

    /// Where an undistorted point falls. Beyond the reach the answer means nothing.
    #[must_use]
    pub(crate) fn apply<T: Real>(&self, [x, y]: [T; 2]) -> [T; 2] {
        if self.is_none() {
            return [x, y];
        }
        let Brown { k1, k2, k3, p1, p2 } = self.spec;
        let (xx, yy, xy) = (x * x, y * y, x * y);
        let r2 = xx + yy;
        let factor = T::constant(1.0) + r2 * (T::constant(k1) + r2 * (T::constant(k2) + r2.times(k3)));
        [x * factor + xy.times(2.0 * p1) + (r2 + xx.times(2.0)).times(p2), y * factor + (r2 + yy.times(2.0)).times(p1) + xy.times(2.0 * p2)]
    }

    /// How many times as long a short line at a point is made, in the direction in which it is made longest: the larger eigenvalue of the derivative.
    #[must_use]
    pub(crate) fn stretch(&self, at: [f64; 2]) -> f64 {
        if self.is_none() {
            return 1.0;
        }
        // The derivative is symmetric: its larger eigenvalue.
        let [[a, b], [_, d]] = self.slopes(at);
        0.5 * (a + d + length([a - d, 2.0 * b]))
    }

    /// The undistorted point of a distorted one, by Newton's method from the solution without the tangential part. `None` where none within the reach is certain.
    #[must_use]
    pub(crate) fn undo(&self, at: [f64; 2]) -> Option<[f64; 2]> {
        let far = length(at);
        if self.is_none() {
            return Some(at);
        }
        if !(far < self.covers) {
            return None;
        }
        let (mut near, mut beyond) = (0.0, self.reach);
        for _ in 0..MOST_STEPS {
            let middle = 0.5 * (near + beyond);
            if middle * radial(&self.spec, middle * middle) <= far { near = middle } else { beyond = middle }
        }
        let by = if far > 0.0 { near / far } else { 1.0 };
        let mut here = [at[0] * by, at[1] * by];
        for _ in 0..MOST_STEPS {
            let there = self.apply(here);
            let off = [there[0] - at[0], there[1] - at[1]];
            if length(off) <= 1e-14 * (1.0 + far) {
                return (length(here) < self.reach).then_some(here);
            }
            let [[a, b], [c, d]] = self.slopes(here);
            let det = a * d - b * c;
            let step = [(d * off[0] - b * off[1]) / det, (a * off[1] - c * off[0]) / det];
            // Halved until it comes nearer within the reach; a positive definite derivative promises that it does.
            let mut share = 1.0;
            let next = loop {
                let next = [here[0] - share * step[0], here[1] - share * step[1]];
                let left = self.apply(next);
                if length(next) < self.reach && length([left[0] - at[0], left[1] - at[1]]) < length(off) {
                    break Some(next);
                }
                share *= 0.5;
                if !(share > 1e-9) {
                    break None;
                }
            };
            match next {
                Some(next) => here = next,
                // Rounding stops the last steps; a billionth of a pixel is nearer than anybody asks.
                None => return (length(off) <= 1e-12 * (1.0 + far) && length(here) < self.reach).then_some(here),
            }
        }
        None
    }

    /// Derivative: of x' by x and y, then of y'.
    fn slopes(&self, [x, y]: [f64; 2]) -> [[f64; 2]; 2] {
        let Brown { k1, k2, k3, p1, p2 } = self.spec;
        let r2 = x * x + y * y;
        let (factor, rate) = (radial(&self.spec, r2), k1 + r2 * (2.0 * k2 + 3.0 * k3 * r2));
        let mixed = 2.0 * x * y * rate + 2.0 * p1 * x + 2.0 * p2 * y;
        [
            [factor + 2.0 * x * x * rate + 2.0 * p1 * y + 6.0 * p2 * x, mixed],
            [mixed, factor + 2.0 * y * y * rate + 6.0 * p1 * y + 2.0 * p2 * x],
        ]
    }
}

fn radial(spec: &Brown, r2: f64) -> f64 {
    1.0 + r2 * (spec.k1 + r2 * (spec.k2 + r2 * spec.k3))
}

fn tangential(spec: &Brown) -> f64 {
    length([spec.p1, spec.p2])
}

fn length([x, y]: [f64; 2]) -> f64 {
    (x * x + y * y).sqrt()
}

/// From the axis outwards in pieces, each shown to be one to one; a piece that is not shown is halved.
fn reach(spec: &Brown) -> f64 {
    let Brown { k1, k2, k3, .. } = *spec;
    let along = -6.0 * tangential(spec);
    let held = |from: f64, to: f64| {
        let least = |c: f64, power: i32| {
            let r = if c < 0.0 { to } else { from };
            (0..power).fold(c, |product, _| product * r)
        };
        let across = 1.0 + least(along, 1) + least(k1, 2) + least(k2, 4) + least(k3, 6);
        let outwards = 1.0 + least(along, 1) + least(3.0 * k1, 2) + least(5.0 * k2, 4) + least(7.0 * k3, 6);
        across > FINEST && outwards > FINEST
    };
    let (mut from, mut step) = (0.0, 0.01);
    while from < FARTHEST && step > FINEST {
        let to = f64::min(from + step, FARTHEST);
        if held(from, to) {
            from = to;
            step *= 2.0;
        } else {
            step *= 0.5;
        }
    }
    from
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::real::oracle::{both, same};
    use super::*;

    fn model(k1: f64, k2: f64, k3: f64, p1: f64, p2: f64) -> Distortion {
        Distortion::new(Brown { k1, k2, k3, p1, p2 }).unwrap()
    }

    /// Source: OpenCV, `projectPoints`, by `tests/golden/distortion.py`, which writes the table.
    #[test]
    fn the_values_of_opencv() {
        let mut rows = 0;
        for line in include_str!("../../tests/golden/distortion.csv").lines().filter(|l| !l.starts_with('#')).skip(1) {
            let n: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
            let lens = model(n[0], n[1], n[2], n[3], n[4]);
            let [x, y] = lens.apply([n[5], n[6]]);
            assert!((x - n[7]).abs() <= 1e-14 && (y - n[8]).abs() <= 1e-14, "{line}: {x} {y}");
            let [x, y] = lens.undo([n[7], n[8]]).unwrap();
            assert!((x - n[5]).abs() <= 1e-12 && (y - n[6]).abs() <= 1e-12, "{line}: {x} {y}");
            rows += 1;
        }
        assert!(rows >= 40, "{rows}");
    }

    /// Derived: with k1 alone, r + k1 r^3 turns back at r = 1 / sqrt(-3 k1), having come to 2/3 of that.
    #[test]
    fn the_reach_ends_where_the_model_folds() {
        for k1 in [-0.02_f64, -0.2, -1.0 / 3.0, -3.0] {
            let folds = 1.0 / (-3.0 * k1).sqrt();
            let lens = model(k1, 0.0, 0.0, 0.0, 0.0);
            assert!(lens.reach() <= folds && folds - lens.reach() <= 1e-5 * folds, "{k1}: {} {folds}", lens.reach());
            assert!((lens.covers() - folds * 2.0 / 3.0).abs() <= 1e-4, "{k1}: {}", lens.covers());
            assert_eq!(lens.undo([0.7 * folds, 0.0]), None);
            assert!(lens.undo([0.66 * folds, 0.0]).is_some());
        }
        assert_eq!(model(0.1, 0.0, 0.0, 0.0, 0.0).reach(), FARTHEST);
        assert_eq!(model(0.0, 0.0, 0.0, 0.0, 0.0).undo([7.0, 8.0]), Some([7.0, 8.0]));
    }

    #[test]
    fn coefficients_that_are_no_numbers_are_refused() {
        let found = Distortion::new(Brown { k2: f64::NAN, p1: 1e9, ..Brown::default() }).unwrap_err();
        assert_eq!(found.into_iter().map(|f| f.field).collect::<Vec<_>>(), ["k2", "p1"]);
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        let (x, y) = (both(0.3, 0.01, -0.002, 0.003), both(-0.2, 0.02, 0.001, -0.004));
        let lens = model(-0.2, 0.05, -0.01, 0.001, -0.002);
        let (mine, theirs) = (lens.apply([x.0, y.0]), lens.apply([x.1, y.1]));
        same(mine[0], theirs[0], 1e-13);
        same(mine[1], theirs[1], 1e-13);
    }

    proptest! {
        /// Two points within the reach never fall on one: they come no nearer than the least slope between them allows, which is above zero.
        #[test]
        fn within_the_reach_nothing_folds(
            k in prop::array::uniform3(-0.5..0.5_f64), p in prop::array::uniform2(-0.05..0.05_f64),
            a in (0.0..1.0_f64, 0.0..6.3_f64), b in (0.0..1.0_f64, 0.0..6.3_f64),
        ) {
            let lens = model(k[0], k[1], k[2], p[0], p[1]);
            let point = |(share, turn): (f64, f64)| {
                let r = 0.999 * lens.reach().min(3.0) * share;
                [r * crate::number::elementary::cos(turn), r * crate::number::elementary::sin(turn)]
            };
            let (a, b) = (point(a), point(b));
            let (fa, fb) = (lens.apply(a), lens.apply(b));
            let along = (fa[0] - fb[0]) * (a[0] - b[0]) + (fa[1] - fb[1]) * (a[1] - b[1]);
            prop_assert!(along > 0.0 || length([a[0] - b[0], a[1] - b[1]]) < 1e-6);
            // What is covered is found again.
            if length(fa) < lens.covers() {
                let back = lens.undo(fa).unwrap();
                prop_assert!(length([back[0] - a[0], back[1] - a[1]]) <= 1e-6 * (1.0 + length(a)), "{back:?} {a:?}");
            }
        }
    }
}
