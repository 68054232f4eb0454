//! A rod or wire in the picture at one instant, seen anew.
//!
//! What: the part behind the near plane is cut off, then the part beyond the reach of the distortion; what is left is looked at in its ends, or, distorted, in nine points. A wire is
//! as wide as its silhouette, in the direction in which pixels and distortion widen it most. Invariant: shares no formula with the lines that were written. Units: mm, pixels.

use super::figure::{Place, Point, length};
use super::picture::{Pixel, View, apart, turned};

/// Spaces between the points of a distorted line.
const PARTS: u32 = 8;

/// A rod at one instant: its points on the plate, its ends undistorted, and which end is not to be seen.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    /// `None` where nothing of it is to be seen, and whether that is for the distortion.
    pub(super) path: Result<Vec<Pixel>, bool>,
    pub(super) undistorted: [Pixel; 2],
    pub(super) cut: [bool; 2],
    /// How wide something 1 mm thick is at the two ends: on the plate, then undistorted; pixels.
    pub(super) widths: [[f64; 2]; 2],
    /// How far ahead of the camera the ends are, mm.
    pub(super) depths: [f64; 2],
    /// Focal length in effect, mm, and by which share of itself it may be off.
    pub(super) focal_length: (f64, f64),
}

impl Line {
    pub(super) fn path(&self) -> &[Pixel] {
        self.path.as_deref().unwrap_or_default()
    }

    pub(super) fn ends(&self) -> Option<[Pixel; 2]> {
        Some([*self.path().first()?, *self.path().last()?])
    }

    /// How far the points leave the line between the ends: the area of the triangle over its base.
    pub(super) fn bow(&self) -> f64 {
        let Some([a, b]) = self.ends() else { return 0.0 };
        let base = apart(a, b);
        let off = |p: &Pixel| if base > 0.0 { turned(a, b, *p).abs() / base } else { apart(a, *p) };
        self.path().iter().map(off).fold(0.0, f64::max)
    }

    pub(super) fn sag(&self) -> f64 {
        self.path().windows(3).map(|w| if let [a, b, c] = w { second_difference(*a, *b, *c) / 4.0 } else { 0.0 }).fold(0.0, f64::max)
    }
}

/// The near plane, in focal lengths.
const NEAR: f64 = 0.01;

/// The rod of a body in the picture of a camera.
pub(super) fn line(view: &View<'_>, camera: &Place, ends: [Point; 2]) -> Line {
    let near = NEAR * view.focal_length;
    let [from, to] = ends.map(|end| camera.inward(end));
    let depth = |p: Point| -p[2];
    let passing = |ahead: Point, behind: Point| {
        let share = (depth(ahead) - near) / (depth(ahead) - depth(behind));
        let [x, y, _] = [0, 1, 2].map(|i: usize| {
            let (a, b) = (ahead.get(i).copied().unwrap_or(0.0), behind.get(i).copied().unwrap_or(0.0));
            a + share * (b - a)
        });
        [x, y, -near]
    };
    let nothing = |beyond: bool| Line {
        path: Err(beyond),
        undistorted: [[0.0; 2]; 2],
        cut: [false; 2],
        widths: [[0.0; 2]; 2],
        depths: [f64::NAN; 2],
        focal_length: (view.focal_length, view.slack),
    };
    let (ends, behind) = match (near <= depth(from), near <= depth(to)) {
        (true, true) => ([from, to], [false, false]),
        (true, false) => ([from, passing(from, to)], [false, true]),
        (false, true) => ([passing(to, from), to], [true, false]),
        (false, false) => return nothing(false),
    };
    let [a, b] = ends.map(View::on_plane);
    let thin = widening(ends);
    let ([width, height], [across, down]) = (view.lens.back(), view.lens.pixels().map(f64::from));
    let scale = view.focal_length * f64::max(across / width, down / height);
    let wide = |p: Pixel, depth: f64| [scale * thin / depth * view.stretch(p), scale * thin / depth];
    if view.lens.distortion().is_none() {
        let both = [a, b].map(|p| view.undistorted(p));
        let depths = ends.map(depth);
        let widths = [wide(a, depths[0]), wide(b, depths[1])];
        return Line {
            path: Ok(both.to_vec()),
            undistorted: both,
            cut: behind,
            widths,
            depths,
            focal_length: (view.focal_length, view.slack),
        };
    }
    // The point of the line nearest to the axis, and from there half of the chord of the circle either way.
    let (reach, length) = (view.lens.distortion().reach(), apart(a, b));
    let inside = [a, b].map(|p| apart(p, [0.0; 2]) <= reach);
    let way = if length > 0.0 { [(b[0] - a[0]) / length, (b[1] - a[1]) / length] } else { [0.0; 2] };
    let middle = -(a[0] * way[0] + a[1] * way[1]);
    let off = a[0] * way[1] - a[1] * way[0];
    let half = (reach * reach - off * off).max(0.0).sqrt();
    let first = if inside[0] { 0.0 } else { middle - half };
    let last = if inside[1] { length } else { middle + half };
    if inside != [true; 2] && !(off.abs() <= reach && 0.0 <= first && first < last && last <= length) {
        return nothing(true);
    }
    let at = |along: f64| [a[0] + along * way[0], a[1] + along * way[1]];
    // Of the point of the line between the ends that is seen at a place: its depth times the places' difference is that of the ends.
    let [da, db] = ends.map(depth);
    let depth_at = |along: f64| {
        let share = if length > 0.0 { along / length } else { 0.0 };
        da * db / (db + share * (da - db))
    };
    let depths = [first, last].map(depth_at);
    let places: Vec<Pixel> = (0..=PARTS).map(|k| at(first + (last - first) * f64::from(k) / f64::from(PARTS))).collect();
    Line {
        path: Ok(places.iter().map(|p| view.distorted(*p)).collect()),
        undistorted: [at(first), at(last)].map(|p| view.undistorted(p)),
        widths: [wide(at(first), depths[0]), wide(at(last), depths[1])],
        depths,
        cut: [behind[0] || !inside[0], behind[1] || !inside[1]],
        focal_length: (view.focal_length, view.slack),
    }
}

/// By how much a thin cylinder is wider in the picture than its diameter over its depth: the distance of the pupil from its middle line, against the distance between that line
/// and the one parallel to the optical axis through the pupil, both times the cylinder's direction.
fn widening([a, b]: [Point; 2]) -> f64 {
    let n = cross(a, b);
    let (whole, across) = (length(n), length([n[0], n[1], 0.0]));
    if across > 1e-9 * whole { whole / across } else { length(a) / a[2].abs() }
}

fn cross([a, b, c]: Point, [x, y, z]: Point) -> Point {
    [b * z - c * y, c * x - a * z, a * y - b * x]
}

pub(super) fn second_difference(a: Pixel, b: Pixel, c: Pixel) -> f64 {
    apart([a[0] + c[0], a[1] + c[1]], [2.0 * b[0], 2.0 * b[1]])
}
