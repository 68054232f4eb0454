//! Convex outlines in the picture, and whether they touch it.
//!
//! The hull is the monotone chain of A. M. Andrew, Information Processing Letters 9(5), 1979; whether two convex shapes meet is asked of the lines
//! that could part them, the sides of either (separating axes, any textbook of computational geometry). Limits: rounding may keep or drop a corner
//! that lies on a side to the last bits; the outline stays the same to those bits.

use crate::mechanism::{Lens, Pixel};

/// Where something is with respect to the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum State {
    /// Whole in the picture.
    In,
    /// Part of it is in the picture, part beyond an edge or behind the camera.
    Part,
    /// Before the camera, but beyond the edges of the picture.
    Out,
    /// All of it is behind the camera.
    Behind,
    /// It is before the camera, but so far off the axis that the distortion says nothing of it.
    Beyond,
}

impl State {
    /// `in_picture`, `part_in_picture`, `out_of_picture`, `behind_camera` or `beyond_distortion`, as in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            State::In => "in_picture",
            State::Part => "part_in_picture",
            State::Out => "out_of_picture",
            State::Behind => "behind_camera",
            State::Beyond => "beyond_distortion",
        }
    }
}

/// The corners of the convex hull of some points, in order round it, each once; points on its sides are no corners.
#[must_use]
pub(crate) fn hull(points: &[Pixel]) -> Vec<Pixel> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.right.total_cmp(&b.right).then(a.down.total_cmp(&b.down)));
    sorted.dedup_by(|a, b| a.right == b.right && a.down == b.down);
    if sorted.len() < 3 {
        return sorted;
    }
    let mut round = half(sorted.iter().copied());
    let back = half(sorted.iter().rev().copied());
    // Each half ends where the other begins.
    round.pop();
    round.extend(back);
    round.pop();
    round
}

/// One side of the hull of points in sorted order, both ends included.
fn half(sorted: impl Iterator<Item = Pixel>) -> Vec<Pixel> {
    let mut side: Vec<Pixel> = Vec::new();
    for next in sorted {
        while let [.., a, b] = side.as_slice() {
            if turn(*a, *b, next) > 0.0 {
                break;
            }
            side.pop();
        }
        side.push(next);
    }
    side
}

/// Twice the area of the triangle; over zero where the way from `a` over `b` to `c` turns from right to down.
fn turn(a: Pixel, b: Pixel, c: Pixel) -> f64 {
    (b.right - a.right) * (c.down - a.down) - (b.down - a.down) * (c.right - a.right)
}

/// Where a convex outline of at least one corner, widened by `margin` pixels all round, is with respect to the picture.
#[must_use]
pub(crate) fn state(lens: &Lens, corners: &[Pixel], margin: f64) -> State {
    let [across, down] = lens.pixels().map(f64::from);
    let inside = |p: &Pixel| margin <= p.right && p.right <= across - margin && margin <= p.down && p.down <= down - margin;
    if corners.iter().all(inside) {
        return State::In;
    }
    let beyond = |far: &dyn Fn(&Pixel) -> f64| corners.iter().all(|p| far(p) > margin);
    let apart = beyond(&|p| -p.right) || beyond(&|p| p.right - across) || beyond(&|p| -p.down) || beyond(&|p| p.down - down);
    if apart || parted(corners, [across, down], margin) { State::Out } else { State::Part }
}

/// True where the whole picture lies further than `margin` outside one side of the outline.
fn parted(corners: &[Pixel], [across, down]: [f64; 2], margin: f64) -> bool {
    let edges = [(0.0, 0.0), (across, 0.0), (across, down), (0.0, down)].map(|(right, down)| Pixel { right, down });
    let ends = corners.iter().skip(1).chain(corners.first());
    corners.iter().zip(ends).any(|(a, b)| {
        let (x, y) = (b.right - a.right, b.down - a.down);
        let length = (x * x + y * y).sqrt();
        edges.iter().all(|c| turn(*a, *b, *c) < -margin * length)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::LensSpec;

    fn at(right: f64, down: f64) -> Pixel {
        Pixel { right, down }
    }

    fn lens() -> Lens {
        Lens::new(LensSpec { focal_length: 35.0, back: [36.0, 24.0], pixels: [300, 200] }).unwrap()
    }

    #[test]
    fn the_hull_of_a_square_with_points_on_and_in_it() {
        let points = [at(1.0, 1.0), at(0.0, 2.0), at(2.0, 0.0), at(1.0, 0.0), at(0.0, 0.0), at(2.0, 2.0), at(0.0, 0.0)];
        assert_eq!(hull(&points), [at(0.0, 0.0), at(2.0, 0.0), at(2.0, 2.0), at(0.0, 2.0)]);
        assert_eq!(hull(&[at(3.0, 1.0), at(3.0, 1.0)]), [at(3.0, 1.0)]);
        assert_eq!(hull(&[at(3.0, 3.0), at(1.0, 1.0), at(2.0, 2.0)]), [at(1.0, 1.0), at(3.0, 3.0)]);
    }

    proptest! {
        /// Whole coordinates, so that every product is exact: each point is on the inner side of each side of the hull.
        #[test]
        fn no_point_is_outside_its_hull(points in prop::collection::vec((-50..50_i32, -50..50_i32), 1..40)) {
            let points: Vec<Pixel> = points.into_iter().map(|(x, y)| at(f64::from(x), f64::from(y))).collect();
            let corners = hull(&points);
            for (a, b) in corners.iter().zip(corners.iter().skip(1).chain(corners.first())) {
                prop_assert!(points.iter().all(|p| turn(*a, *b, *p) >= 0.0));
            }
            prop_assert!(corners.iter().all(|c| points.contains(c)));
        }
    }

    /// The line right + down = 80 passes through the picture's corner; right + down = -4 passes it outside, 4 / sqrt 2 = 2.83 px away, though
    /// its ends are not both beyond any one edge.
    #[test]
    fn lines_that_pass_a_corner() {
        assert_eq!(state(&lens(), &[at(-20.0, 100.0), at(100.0, -20.0)], 0.0), State::Part);
        let outside = [at(-44.0, 40.0), at(40.0, -44.0)];
        assert_eq!(state(&lens(), &outside, 0.0), State::Out);
        assert_eq!(state(&lens(), &outside, 2.82), State::Out);
        assert_eq!(state(&lens(), &outside, 2.84), State::Part);
    }

    #[test]
    fn edges_belong_to_the_picture() {
        assert_eq!(state(&lens(), &[at(0.0, 0.0), at(300.0, 200.0)], 0.0), State::In);
        assert_eq!(state(&lens(), &[at(0.0, 0.0), at(300.0, 200.0)], 0.5), State::Part);
        assert_eq!(state(&lens(), &[at(300.0, 10.0), at(400.0, 10.0)], 0.0), State::Part);
        assert_eq!(state(&lens(), &[at(301.0, 10.0), at(400.0, 10.0)], 0.0), State::Out);
    }
}
