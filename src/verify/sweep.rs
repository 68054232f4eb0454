//! What a proxy sweeps in the picture over an exposure, seen anew.
//!
//! What: a line of the picture is a plane n through the pupil, and touches the ball (c, r) where (c . n)^2 = r^2 (n . n) (tangent plane of a sphere, any textbook of analytic geometry). Of the
//! two lines of one direction the outer one is how far the ball reaches that way, and c - n (c . n) / (n . n) the point where it touches. A capsule reaches as far as the farther of its
//! ends, the sweep as far as the farthest of nine instants. Invariant: shares no formula with the silhouettes that were written, which are hulls of points round the circles of touch. Units: mm, pixels.

use std::sync::LazyLock;

use super::figure::{Place, Point, add, dot, length, less};
use super::picture::{Pixel, View, apart};
use super::posed::{BEYOND_FIRST_ORDER, Posed};
use super::sine::{cosine, sine};
use crate::mechanism::Lens;

/// Directions looked at beside those of the outline's own sides and corners.
const DIRECTIONS: u32 = 16;

/// Shifts differ between the instants of an exposure, of which three are looked at.
const OTHER_INSTANTS: f64 = 1.5;

/// Rounding of pixels far outside the picture, as a share of them.
const ROUNDING: f64 = 1e-11;

/// Balls along a capsule on a distorted plate.
const BALLS: u32 = 9;

/// The near plane, in focal lengths.
const NEAR: f64 = 0.01;

/// A proxy over an exposure.
pub(super) struct Sweep<'v> {
    pub(super) views: &'v [View<'v>],
    radius: f64,
    pub(super) seen: Vec<Seen>,
    /// How far its ends may be off, mm.
    room: f64,
}

impl<'v> Sweep<'v> {
    pub(super) fn of(views: &'v [View<'v>], cameras: &[Posed], figure: &[Held], number: usize, radius: f64) -> Sweep<'v> {
        let none = [[f64::NAN; 3]; 2];
        let ends = |list: &[[Point; 2]]| list.get(number).copied().unwrap_or(none);
        let mut room = 0.0_f64;
        for (camera, figure) in cameras.iter().zip(figure) {
            let here = ends(&figure.ends);
            for (i, end) in here.into_iter().enumerate() {
                let other = |moved: [Point; 2]| moved.get(i).copied().unwrap_or([f64::NAN; 3]);
                let by_figure: f64 = figure.moved.iter().map(|m| length(less(other(ends(m)), end))).sum();
                let by_camera = |place: &Place| length(less(place.inward(end), camera.place.inward(end)));
                let by_camera: f64 = camera.moved.iter().map(by_camera).sum();
                room = room.max(BEYOND_FIRST_ORDER * (by_figure + by_camera) + ROUNDING * (1.0 + length(end)));
            }
        }
        let room = room * OTHER_INSTANTS;
        let instants = views.iter().zip(cameras).zip(figure);
        let seen =
            instants.map(|((view, camera), figure)| seen(view, ends(&figure.ends).map(|e| camera.place.inward(e)), radius, room)).collect();
        Sweep { views, radius, seen, room }
    }

    /// Every ball whose hull is what is seen at an instant, by the instant's number.
    fn balls(&self, of_each: u32) -> impl Iterator<Item = (usize, Point)> + '_ {
        let along = move |ends: [Point; 2]| {
            let [a, b] = ends;
            let one = a == b;
            let last = if one { 0 } else { of_each - 1 };
            (0..=last).map(move |k| {
                if k == 0 {
                    a
                } else if k == last {
                    b
                } else {
                    add(a, less(b, a).map(|x| x * f64::from(k) / f64::from(last)))
                }
            })
        };
        self.seen.iter().enumerate().filter_map(|(i, s)| Some((i, s.ends?))).flat_map(move |(i, ends)| along(ends).map(move |c| (i, c)))
    }

    /// How far it reaches in a direction of the undistorted picture, pixels from the picture's corner, and how far that may be off.
    pub(super) fn reach(&self, way: Pixel) -> (f64, f64) {
        let mut farthest: Option<(f64, &View<'_>, Point)> = None;
        for (i, centre) in self.balls(2) {
            let Some(view) = self.views.get(i) else { continue };
            let reach = touch(view, centre, self.radius, way).reach;
            if farthest.as_ref().is_none_or(|(most, ..)| reach > *most) {
                farthest = Some((reach, view, centre));
            }
        }
        let Some((reach, view, centre)) = farthest else { return (f64::NEG_INFINITY, 0.0) };
        // A ball that is off by so much is within the ball that is greater by as much.
        let wider = touch(view, centre, self.radius + self.room, way).reach - reach;
        (reach, wider + view.slack * (reach.abs() + size(view.lens)) + ROUNDING * reach.abs())
    }

    /// A quarter of the strongest bend over time in the directions looked at, pixels.
    pub(super) fn bend(&self) -> f64 {
        let mut most = 0.0_f64;
        for way in ways() {
            let at = |i: usize, end: usize| {
                let (view, ends) = (self.views.get(i)?, self.seen.get(i)?.ends?);
                Some(touch(view, *ends.get(end)?, self.radius, way).reach)
            };
            for end in 0..2 {
                for i in 1..self.seen.len().saturating_sub(1) {
                    if let (Some(a), Some(b), Some(c)) = (at(i - 1, end), at(i, end), at(i + 1, end)) {
                        most = most.max((a - 2.0 * b + c).abs());
                    }
                }
            }
        }
        most / 4.0
    }

    /// Points on the plate that touch it, within the reach of the distortion.
    pub(super) fn on_plate(&self) -> Vec<(Pixel, usize)> {
        let mut points = Vec::new();
        for (i, centre) in self.balls(BALLS) {
            let Some(view) = self.views.get(i) else { continue };
            for way in ways() {
                let place = View::on_plane(touch(view, centre, self.radius, way).point(centre));
                if apart(place, [0.0; 2]) <= view.lens.distortion().reach() {
                    points.push((view.distorted(place), i));
                }
            }
        }
        points
    }

    /// Whether a part of it is beyond the reach of the distortion; `None` where that is not certain.
    pub(super) fn is_beyond(&self) -> Option<bool> {
        let Some(reach) = self.views.first().map(|v| v.lens.distortion()).filter(|d| !d.is_none()).map(|d| d.reach()) else {
            return Some(false);
        };
        let mut all_within = true;
        for (_, centre) in self.balls(2) {
            let [x, y, z] = centre;
            let aside = (x * x + y * y).sqrt();
            if aside > 1.000_001 * reach * -z + self.room {
                return Some(true);
            }
            // The tangent of the sum of two angles: that of the centre from the axis, and half of the ball's.
            let square = dot(centre, centre) - self.radius * self.radius;
            let (t, half) = (aside / -z, self.radius / square.max(0.0).sqrt());
            all_within &= t * half < 1.0 && (t + half) / (1.0 - t * half) <= 0.999_999 * reach;
        }
        all_within.then_some(false)
    }
}

/// The ends of every proxy of a figure at one instant, in the stage's axes.
pub(super) struct Held {
    pub(super) ends: Vec<[Point; 2]>,
    /// For each channel that may be off, the same with that channel moved by as much.
    pub(super) moved: Vec<Vec<[Point; 2]>>,
    pub(super) known: bool,
}

/// A proxy at one instant in the camera's axes.
pub(super) struct Seen {
    /// Nothing where both ends are behind the near plane.
    pub(super) ends: Option<[Point; 2]>,
    pub(super) is_cut: bool,
    /// False where it is not certain on which side of the near plane an end is.
    pub(super) certain: bool,
}

/// A proxy at one instant, without what is behind the near plane.
fn seen(view: &View<'_>, [a, b]: [Point; 2], radius: f64, room: f64) -> Seen {
    let near = NEAR * view.focal_length + radius;
    let depth = |p: Point| -p[2];
    let at_near = |ahead: Point, behind: Point| {
        let share = (depth(ahead) - near) / (depth(ahead) - depth(behind));
        add(ahead, less(behind, ahead).map(|x| share * x))
    };
    let (ends, is_cut) = match (near <= depth(a), near <= depth(b)) {
        (true, true) => (Some([a, b]), false),
        (true, false) => (Some([a, at_near(a, b)]), true),
        (false, true) => (Some([at_near(b, a), b]), true),
        (false, false) => (None, true),
    };
    let slack = room + view.slack * near;
    let certain = [a, b].into_iter().all(|p| (depth(p) - near).abs() > slack);
    Seen { ends, is_cut, certain }
}

/// The outer of the two lines across a direction that touch a ball ahead of the near plane.
struct Touch {
    /// How far the line is out, pixels.
    reach: f64,
    /// The plane through the pupil and the line.
    plane: Point,
}

fn touch(view: &View<'_>, [x, y, z]: Point, radius: f64, way: Pixel) -> Touch {
    let ([width, height], [across, down]) = (view.lens.back(), view.lens.pixels().map(f64::from));
    // To the right and down on the plane at distance 1; the line is as far out as the greater solution of a quadratic equation.
    let (a, b) = (way[0] * view.focal_length * across / width, way[1] * view.focal_length * down / height);
    let (along, whole) = (a * x - b * y, a * a + b * b);
    let square = z * z - radius * radius;
    let out = (radius * (along * along + whole * square).sqrt() - along * z) / square;
    let [right, low] = view.undistorted([0.0; 2]);
    Touch { reach: out + way[0] * right + way[1] * low, plane: [a, -b, out] }
}

impl Touch {
    /// The point of the ball about this centre.
    fn point(&self, centre: Point) -> Point {
        let share = dot(centre, self.plane) / dot(self.plane, self.plane);
        less(centre, self.plane.map(|x| x * share))
    }
}

/// Directions all round.
pub(super) fn ways() -> impl Iterator<Item = Pixel> {
    static WAYS: LazyLock<Vec<Pixel>> =
        LazyLock::new(|| (0..DIRECTIONS).map(|k| f64::from(k) / f64::from(DIRECTIONS)).map(|turns| [cosine(turns), sine(turns)]).collect());
    WAYS.iter().copied()
}

/// Across and down the picture, whichever is more.
fn size(lens: &Lens) -> f64 {
    lens.pixels().map(f64::from).into_iter().fold(0.0, f64::max)
}

/// By how much a distorted side may leave the lines between balls along it: twice the longest second difference between neighbouring balls of one instant, a quarter of it.
pub(super) fn bow(plate: &[(Pixel, usize)]) -> f64 {
    let round = DIRECTIONS as usize;
    let rows: Vec<&[(Pixel, usize)]> = plate.chunks(round).collect();
    let second = |[a, b, c]: [&(Pixel, usize); 3]| {
        let same = a.1 == b.1 && b.1 == c.1;
        if same { apart([a.0[0] + c.0[0], a.0[1] + c.0[1]], [2.0 * b.0[0], 2.0 * b.0[1]]) } else { 0.0 }
    };
    let three = |w: &[&[(Pixel, usize)]]| {
        let [a, b, c] = w else { return 0.0 };
        a.iter().zip(*b).zip(*c).map(|((a, b), c)| second([a, b, c])).fold(0.0, f64::max)
    };
    0.5 * rows.windows(3).map(three).fold(0.0, f64::max)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
pub(super) mod tests {
    use super::*;
    use crate::mechanism::{Brown, LensSpec, Optics};

    pub(in crate::verify) fn lens() -> Lens {
        Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap()
    }

    pub(in crate::verify) fn sweep<'v>(views: &'v [View<'v>], ends: [Point; 2], radius: f64) -> Sweep<'v> {
        Sweep { views, radius, seen: views.iter().map(|v| seen(v, ends, radius, 0.0)).collect(), room: 0.0 }
    }

    /// By the angles: a ball of 600 mm 1000 mm ahead reaches 0.75 of 1500 px all round; one of 100 mm, 30 deg to the right, from 30 - 5.739 to 30 + 5.739 deg.
    #[test]
    fn balls_by_hand() {
        let lens = lens();
        let views = [View::of(&lens, (None, 0.0))];
        let ahead = sweep(&views, [[0.0, 0.0, -1000.0]; 2], 600.0);
        for way in ways() {
            let middle = 640.0 * way[0] + 512.0 * way[1];
            assert!((ahead.reach(way).0 - middle - 1125.0).abs() < 1e-9);
        }
        let (c, t) = (0.75_f64.sqrt(), 0.1 / (1.0 - 0.01_f64).sqrt());
        let aside = sweep(&views, [[500.0, 0.0, -1000.0 * c]; 2], 100.0);
        let at = |sign: f64| 1500.0 * (1.0 / 3.0_f64.sqrt() + sign * t) / (1.0 - sign * t / 3.0_f64.sqrt());
        assert!((aside.reach([1.0, 0.0]).0 - 640.0 - at(1.0)).abs() < 1e-9 && (aside.reach([-1.0, 0.0]).0 + 640.0 + at(-1.0)).abs() < 1e-9);
    }

    /// k1 = -0.2 draws a place at r^2 = 0.25 in by 5 per cent.
    #[test]
    fn a_distorted_plate_by_hand() {
        let lens = lens().with(Optics { distortion: Brown { k1: -0.2, ..Brown::default() }, ..Optics::default() }).unwrap();
        let views = [View::of(&lens, (None, 0.0))];
        let far = |x: f64| sweep(&views, [[x, 400.0, -1000.0], [300.0, 400.0, -1000.0]], 1e-9);
        let at = [640.0 + 450.0 * 0.95, 512.0 - 600.0 * 0.95];
        assert!(far(300.0).on_plate().iter().all(|(p, _)| apart(*p, at) < 1e-5));
        assert_eq!((far(300.0).is_beyond(), far(9000.0).is_beyond()), (Some(false), Some(true)));
    }
}
