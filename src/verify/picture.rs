//! The picture of a lens: where a point falls, the convex outline of points, and whether an outline touches the picture.
//!
//! What: f X / Z in lengths of the film back, counted from the left and the top of the picture (any textbook of photogrammetry), distorted as Brown's model is written with matrices: the
//! radial factor times the point, and 2 (p . x) x + (x . x) p with p = (p2, p1). The focal length in effect is read from the table anew. The outline is found by
//! wrapping a line round the points (R. A. Jarvis, Information Processing Letters 2(1), 1973). Two convex shapes are apart where one side of either parts them.
//! Limits: how far the distortion is one to one is taken over from the lens; that no place up to there folds is tried at a thousand of them ([`is_one_to_one`]).

use super::figure::Point;
use super::sine::{cosine, sine};
use crate::mechanism::{Brown, Lens};

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

/// A lens at one focus.
#[derive(Debug, Clone, Copy)]
pub(super) struct View<'a> {
    pub(super) lens: &'a Lens,
    /// Focal length in effect, mm.
    pub(super) focal_length: f64,
    /// By which share of itself it may be off.
    pub(super) slack: f64,
}

impl<'a> View<'a> {
    /// The lens focused at a distance that may be off by `room`.
    pub(super) fn of(lens: &'a Lens, (focus, room): (Option<f64>, f64)) -> View<'a> {
        let points = lens.breathing().points();
        let at = |s: f64| breathed(points, s).unwrap_or_else(|| lens.focal_length());
        let Some(s) = focus else { return View { lens, focal_length: lens.focal_length(), slack: 0.0 } };
        let off = f64::max((at(s + room) - at(s)).abs(), (at(s - room) - at(s)).abs());
        View { lens, focal_length: at(s), slack: off / at(s) }
    }

    /// Where a point before the camera is on the plane at distance 1, to the right and down.
    pub(super) fn on_plane([x, y, z]: Point) -> Pixel {
        [x / -z, y / z]
    }

    /// The pixel of a place on that plane.
    pub(super) fn undistorted(&self, [x, y]: Pixel) -> Pixel {
        let (lens, f) = (self.lens, self.focal_length);
        let ([width, height], [across, down], [aside, below]) = (lens.back(), lens.pixels().map(f64::from), lens.optics().principal_point);
        [(0.5 + (f * x + aside) / width) * across, (0.5 + (f * y + below) / height) * down]
    }

    /// The place on that plane of an undistorted pixel.
    pub(super) fn back_on_plane(&self, [right, down]: Pixel) -> Pixel {
        let (lens, f) = (self.lens, self.focal_length);
        let ([width, height], [across, high], [aside, below]) = (lens.back(), lens.pixels().map(f64::from), lens.optics().principal_point);
        [((right / across - 0.5) * width - aside) / f, ((down / high - 0.5) * height - below) / f]
    }

    /// How many times as wide and high an undistorted picture about the middle must be to hold the whole plate: at 16 parts of each edge, each place undistorted by applying its own
    /// correction again and again until it stays. `None` where it does not.
    pub(super) fn overscan(&self) -> Option<f64> {
        let k = self.lens.distortion().spec();
        if k == Brown::default() {
            return Some(1.0);
        }
        let [across, down] = self.lens.pixels().map(f64::from);
        let mut most = 0.0_f64;
        for i in 0..=16_u8 {
            let share = f64::from(i) / 16.0;
            for edge in [[share * across, 0.0], [share * across, down], [0.0, share * down], [across, share * down]] {
                let plate = self.back_on_plane(edge);
                let mut place = plate;
                for _ in 0..10_000 {
                    let [x, y] = bent(&k, place);
                    let off = [plate[0] - x, plate[1] - y];
                    place = [place[0] + 0.5 * off[0], place[1] + 0.5 * off[1]];
                    if off[0].abs() + off[1].abs() < 1e-13 {
                        break;
                    }
                }
                let [x, y] = bent(&k, place);
                if !(apart([x, y], plate) <= 1e-9) {
                    return None;
                }
                let [right, low] = self.undistorted(place);
                most = most.max((2.0 * right / across - 1.0).abs()).max((2.0 * low / down - 1.0).abs());
            }
        }
        Some(most)
    }

    /// How many times as long a short line at a place becomes in the direction in which it becomes longest: over ways round half a turn, by small differences.
    pub(super) fn stretch(&self, [x, y]: Pixel) -> f64 {
        let k = self.lens.distortion().spec();
        if k == Brown::default() {
            return 1.0;
        }
        let h = 1e-5 * (1.0 + apart([x, y], [0.0; 2]));
        let longer = |turns: f64| {
            let (dx, dy) = (h * cosine(turns), h * sine(turns));
            apart(bent(&k, [x + dx, y + dy]), bent(&k, [x - dx, y - dy])) / (2.0 * h)
        };
        // The square of the length is a constant and a wave of two periods a turn: three ways give its greatest value.
        let [a, b, c] = [0.0, 1.0 / 6.0, 1.0 / 3.0].map(|turns| longer(turns) * longer(turns));
        let mean = (a + b + c) / 3.0;
        let wave = (2.0 / 3.0 * ((a - mean) * (a - mean) + (b - mean) * (b - mean) + (c - mean) * (c - mean))).sqrt();
        (mean + wave).sqrt()
    }

    /// The pixel of a place on that plane as the lens distorts it.
    pub(super) fn distorted(&self, place: Pixel) -> Pixel {
        self.undistorted(bent(&self.lens.distortion().spec(), place))
    }
}

/// A place as Brown's model moves it.
fn bent(k: &Brown, [x, y]: Pixel) -> Pixel {
    let (r2, along) = (x * x + y * y, 2.0 * (k.p2 * x + k.p1 * y));
    let radial = 1.0 + k.k1 * r2 + k.k2 * r2 * r2 + k.k3 * r2 * r2 * r2;
    [(radial + along) * x + r2 * k.p2, (radial + along) * y + r2 * k.p1]
}

/// False where two places near each other, within the reach of a lens, exchange their order: slopes by small differences, on rings and rays.
pub(super) fn is_one_to_one(lens: &Lens) -> bool {
    let (k, reach) = (lens.distortion().spec(), lens.distortion().reach());
    let step = 1e-5;
    (1..=40_u8).all(|ring| {
        (0..25_u8).all(|ray| {
            let (r, turns) = (0.999 * reach * f64::from(ring) / 40.0, f64::from(ray) / 25.0);
            let [x, y] = [r * cosine(turns), r * sine(turns)];
            let h = step * (1.0 + r);
            let slope = |dx: f64, dy: f64| {
                let (a, b) = (bent(&k, [x + dx, y + dy]), bent(&k, [x - dx, y - dy]));
                [(a[0] - b[0]) / (2.0 * h), (a[1] - b[1]) / (2.0 * h)]
            };
            let ([a, c], [b, d]) = (slope(h, 0.0), slope(0.0, h));
            a * d - b * c > 0.0
        })
    })
}

/// Focal length at a focus distance: straight over 1 / distance; beyond the ends those of the ends.
pub(super) fn breathed(points: &[[f64; 2]], distance: f64) -> Option<f64> {
    let above = points.iter().position(|p| p[0] >= distance);
    match above.map(|i| (i.checked_sub(1).and_then(|j| points.get(j)), points.get(i))) {
        None => points.last().map(|p| p[1]),
        Some((None, after)) => after.map(|p| p[1]),
        Some((Some([s0, f0]), Some([s1, f1]))) => {
            // Weights of 1/s at s0 and s1, multiplied out.
            let share = (distance - s0) * s1 / ((s1 - s0) * distance);
            Some(f0 * (1.0 - share) + f1 * share)
        }
        Some((Some(_), None)) => None,
    }
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
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::LensSpec;

    /// Source: Corke, Machine Vision Toolbox README: f 15 mm, pixel 10 um, principal point (640, 512), point (0.3, 0.4, 3) m with y down
    /// and z ahead: (790, 712).
    #[test]
    fn the_published_projection() {
        let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        let [x, y] = View::of(&lens, (None, 0.0)).distorted(View::on_plane([300.0, -400.0, -3000.0]));
        assert!((x - 790.0).abs() < 1e-12 && (y - 712.0).abs() < 1e-12);
    }

    /// Source: OpenCV, `projectPoints`, by `tests/golden/distortion.py`.
    #[test]
    fn the_values_of_opencv() {
        for line in include_str!("../../tests/golden/distortion.csv").lines().filter(|l| !l.starts_with('#')).skip(1) {
            let n: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
            let k = Brown { k1: n[0], k2: n[1], k3: n[2], p1: n[3], p2: n[4] };
            let [x, y] = bent(&k, [n[5], n[6]]);
            assert!((x - n[7]).abs() <= 1e-14 && (y - n[8]).abs() <= 1e-14, "{line}");
        }
    }

    #[test]
    fn focal_lengths_by_hand() {
        let table = [[600.0, 24.6], [3000.0, 24.1], [1e6, 24.0]];
        for (s, f) in [(10.0, 24.6), (600.0, 24.6), (1000.0, 24.35), (3000.0, 24.1), (1e6, 24.0), (1e7, 24.0)] {
            assert!(breathed(&table, s).is_some_and(|found| (found - f).abs() < 1e-12), "{s}");
        }
        assert_eq!(breathed(&[], 600.0), None);
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
