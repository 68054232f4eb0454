//! The picture of a lens: where a point falls, the convex outline of points, and whether an outline touches the picture.
//!
//! What: a pinhole, f X / Z in lengths of the film back, counted from the left and the top of the picture (any textbook of photogrammetry). The outline is found by
//! wrapping a line round the points (R. A. Jarvis, Information Processing Letters 2(1), 1973). Two convex shapes are apart where one side of either parts them.
//! Limits: no distortion, the axis in the middle of the picture.

use super::figure::Point;
use crate::mechanism::Lens;

/// Pixels from the left and from the top.
pub(super) type Pixel = [f64; 2];

/// Where something before the camera is with respect to the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Where {
    In,
    Part,
    Out,
}

impl Where {
    /// As in files.
    pub(super) fn name(self) -> &'static str {
        match self {
            Where::In => "in_picture",
            Where::Part => "part_in_picture",
            Where::Out => "out_of_picture",
        }
    }
}

/// Where a point before the camera falls, seen in the camera's own axes.
pub(super) fn projected(lens: &Lens, [x, y, z]: Point) -> Pixel {
    let ([width, height], [across, down]) = (lens.back(), lens.pixels().map(f64::from));
    let on_film = [lens.focal_length() * x / -z, lens.focal_length() * y / -z];
    [(0.5 + on_film[0] / width) * across, (0.5 - on_film[1] / height) * down]
}

/// The corners of the convex outline, in order round it.
pub(super) fn outline(points: &[Pixel]) -> Vec<Pixel> {
    let Some(start) = points.iter().copied().reduce(|a, b| if (b[0], b[1]) < (a[0], a[1]) { b } else { a }) else { return Vec::new() };
    let mut corners = vec![start];
    while corners.len() <= points.len() {
        let Some(here) = corners.last().copied() else { break };
        // The point with all others on one side of the way to it; of several on one line the farthest.
        let further = |a: Pixel, b: Pixel| {
            let turn = turned(here, a, b);
            turn < 0.0 || (turn == 0.0 && apart(here, b) > apart(here, a))
        };
        let next = points.iter().copied().filter(|p| *p != here).reduce(|a, b| if further(a, b) { b } else { a });
        match next {
            Some(next) if next != start => corners.push(next),
            _ => break,
        }
    }
    corners
}

/// Twice the area of a triangle, above 0 where it runs from right to down.
pub(super) fn turned(a: Pixel, b: Pixel, c: Pixel) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

pub(super) fn apart(a: Pixel, b: Pixel) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    (x * x + y * y).sqrt()
}

/// How far a point is outside a convex outline of at least one corner; 0 inside.
pub(super) fn outside(corners: &[Pixel], p: Pixel) -> f64 {
    let sides = || corners.iter().zip(corners.iter().skip(1).chain(corners.first()));
    if corners.len() > 2 && sides().all(|(a, b)| turned(*a, *b, p) >= 0.0) {
        return 0.0;
    }
    let from_side = |(a, b): (&Pixel, &Pixel)| {
        let (along, length) = ([b[0] - a[0], b[1] - a[1]], apart(*a, *b));
        let share = if length > 0.0 { ((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / (length * length) } else { 0.0 };
        let share = share.clamp(0.0, 1.0);
        apart(p, [a[0] + share * along[0], a[1] + share * along[1]])
    };
    sides().map(from_side).fold(f64::INFINITY, f64::min)
}

/// Where an outline widened by `margin` is.
pub(super) fn place_of(lens: &Lens, corners: &[Pixel], margin: f64) -> Where {
    let [across, down] = lens.pixels().map(f64::from);
    let inside = |p: &Pixel| margin <= p[0] && p[0] <= across - margin && margin <= p[1] && p[1] <= down - margin;
    if corners.iter().all(inside) {
        return Where::In;
    }
    let all = |beyond: &dyn Fn(&Pixel) -> f64| corners.iter().all(|p| beyond(p) > margin);
    let past_an_edge = all(&|p| -p[0]) || all(&|p| p[0] - across) || all(&|p| -p[1]) || all(&|p| p[1] - down);
    let edges = [[0.0, 0.0], [across, 0.0], [across, down], [0.0, down]];
    let mut sides = corners.iter().zip(corners.iter().skip(1).chain(corners.first()));
    let mut past_a_side = || sides.any(|(a, b)| edges.iter().all(|c| turned(*a, *b, *c) < -margin * apart(*a, *b)));
    if past_an_edge || past_a_side() { Where::Out } else { Where::Part }
}

/// True where an outline of these corners, each up to `room` off, with a margin up to `slack` off may honestly be said to be there.
pub(super) fn may_be(lens: &Lens, corners: &[Pixel], margin: f64, room: f64, said: &str) -> bool {
    // A wider margin makes In rarer and Out rarer; a narrower one the other way round.
    [margin, margin - room, margin + room].into_iter().any(|m| place_of(lens, corners, m).name() == said)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::LensSpec;

    /// Source: Corke, Machine Vision Toolbox README: f 15 mm, pixel 10 um, principal point (640, 512), point (0.3, 0.4, 3) m with y down
    /// and z ahead: (790, 712).
    #[test]
    fn the_published_projection() {
        let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        let [x, y] = projected(&lens, [300.0, -400.0, -3000.0]);
        assert!((x - 790.0).abs() < 1e-12 && (y - 712.0).abs() < 1e-12);
    }

    #[test]
    fn outlines_by_hand() {
        let square = [[1.0, 1.0], [0.0, 2.0], [2.0, 0.0], [1.0, 0.0], [0.0, 0.0], [2.0, 2.0], [0.0, 0.0]];
        assert_eq!(outline(&square), [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]);
        assert_eq!(outline(&[[3.0, 1.0], [3.0, 1.0]]), [[3.0, 1.0]]);
        assert_eq!(outline(&[[3.0, 3.0], [1.0, 1.0], [2.0, 2.0]]), [[1.0, 1.0], [3.0, 3.0]]);
        assert_eq!(outside(&outline(&square), [1.5, 0.5]), 0.0);
        assert_eq!(outside(&outline(&square), [5.0, 6.0]), 5.0);
        assert_eq!(outside(&[[1.0, 1.0], [3.0, 1.0]], [2.0, 4.0]), 3.0);
    }

    #[test]
    fn edges_and_lines_that_pass_a_corner() {
        let lens = Lens::new(LensSpec { focal_length: 35.0, back: [36.0, 24.0], pixels: [300, 200] }).unwrap();
        assert_eq!(place_of(&lens, &[[0.0, 0.0], [300.0, 200.0]], 0.0), Where::In);
        assert_eq!(place_of(&lens, &[[-20.0, 100.0], [100.0, -20.0]], 0.0), Where::Part);
        // right + down = -4 passes the corner 2.83 px away.
        assert_eq!(place_of(&lens, &[[-44.0, 40.0], [40.0, -44.0]], 2.82), Where::Out);
        assert!(may_be(&lens, &[[-44.0, 40.0], [40.0, -44.0]], 2.82, 0.02, "part_in_picture"));
        assert!(!may_be(&lens, &[[-44.0, 40.0], [40.0, -44.0]], 2.8, 0.02, "part_in_picture"));
    }

    proptest! {
        /// Whole coordinates: every product is exact.
        #[test]
        fn no_point_is_outside_its_outline(points in prop::collection::vec((-50..50_i32, -50..50_i32), 1..40)) {
            let points: Vec<Pixel> = points.into_iter().map(|(x, y)| [f64::from(x), f64::from(y)]).collect();
            let corners = outline(&points);
            prop_assert!(corners.iter().all(|c| points.contains(c)));
            prop_assert!(points.iter().all(|p| outside(&corners, *p) < 1e-12));
        }
    }
}
