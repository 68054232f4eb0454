//! A straight thing in the picture at one instant: its course on the plate, as far as the lens shows it.
//!
//! What: seen from the camera, the part behind the near plane is cut off, then the part beyond the reach of the distortion; what is left is straight in the undistorted picture and a curve
//! on the plate, looked at in nine points. An undistorted lens needs the ends alone. Source: clipping of a line by a plane and by a circle, any textbook of computer graphics.
//! Limits: between the points the curve may leave the line from one to the next by [`Line::sag`], an estimate.

use super::outline::{State, hull, state};
pub(crate) use crate::mechanism::silhouette::Spot;

use crate::mechanism::silhouette::NEAR;
use crate::mechanism::{Lens, Pixel, Vector};
use crate::number::whole;

/// Spaces between the points of a curve.
const PARTS: usize = 8;

/// Which end is not to be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    /// The first.
    From,
    /// The second.
    To,
    /// Neither is.
    Both,
}

impl Cut {
    /// As in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Cut::From => "from",
            Cut::To => "to",
            Cut::Both => "both",
        }
    }

    fn of(from: bool, to: bool) -> Option<Cut> {
        match (from, to) {
            (false, false) => None,
            (true, false) => Some(Cut::From),
            (false, true) => Some(Cut::To),
            (true, true) => Some(Cut::Both),
        }
    }
}

/// How wide a thin wire is at one place, pixels, in the direction in which pixels and distortion widen it most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Width {
    /// On the plate.
    pub plate: f64,
    /// In the undistorted picture.
    pub undistorted: f64,
}

/// A rod as a camera sees it at one instant.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// From end to end, as far as it is to be seen; empty where nothing of it is.
    pub path: Vec<Spot>,
    /// The ends that are behind the camera or beyond the distortion.
    pub cut: Option<Cut>,
    /// How wide a wire is at either end; `None` for a rod, and where nothing is to be seen.
    pub widths: Option<[Width; 2]>,
    /// Where it is.
    pub state: State,
}

impl Line {
    /// A rod of which nothing is to be seen.
    #[must_use]
    pub(crate) fn unseen(state: State) -> Line {
        Line { path: Vec::new(), cut: None, widths: None, state }
    }

    /// Its ends.
    #[must_use]
    pub(crate) fn ends(&self) -> Option<[Spot; 2]> {
        Some([*self.path.first()?, *self.path.last()?])
    }

    /// How far its points leave the straight line between its ends, pixels.
    #[must_use]
    pub(crate) fn bow(&self) -> f64 {
        let Some([a, b]) = self.ends() else { return 0.0 };
        let (x, y) = (b.plate.right - a.plate.right, b.plate.down - a.plate.down);
        let length = (x * x + y * y).sqrt();
        let off = |s: &Spot| {
            let (right, down) = (s.plate.right - a.plate.right, s.plate.down - a.plate.down);
            if length > 0.0 { ((x * down - y * right) / length).abs() } else { (right * right + down * down).sqrt() }
        };
        let inner = self.path.get(1..self.path.len().saturating_sub(1)).unwrap_or_default();
        inner.iter().map(off).fold(0.0, f64::max)
    }

    /// How far the curve may leave the line from point to point, pixels.
    #[must_use]
    pub(crate) fn sag(&self) -> f64 {
        self.path
            .windows(3)
            .map(|w| if let [a, b, c] = w { second_difference(a.plate, b.plate, c.plate) / 4.0 } else { 0.0 })
            .fold(0.0, f64::max)
    }
}

/// Length of a - 2 b + c, pixels.
#[must_use]
pub(crate) fn second_difference(a: Pixel, b: Pixel, c: Pixel) -> f64 {
    let (x, y) = (a.right - b.right - (b.right - c.right), a.down - b.down - (b.down - c.down));
    (x * x + y * y).sqrt()
}

/// A straight line between two ends, mm in the camera's own axes, in its picture; a wire has a diameter, mm.
#[must_use]
pub(crate) fn line(lens: &Lens, [from, to]: [Vector; 2], diameter: Option<f64>) -> Line {
    let near = NEAR * lens.focal_length();
    let ahead = |v: &Vector| near <= -v.z;
    let (from_behind, to_behind) = (!ahead(&from), !ahead(&to));
    let ends = match (from_behind, to_behind) {
        (false, false) => [from, to],
        (false, true) => [from, at_near(from, to, near)],
        (true, false) => [at_near(to, from, near), to],
        (true, true) => return Line::unseen(State::Behind),
    };
    let [Ok(a), Ok(b)] = ends.map(Lens::on_plane) else { return Line::unseen(State::Behind) };
    let distortion = lens.distortion();
    let Some([first, last]) = within(a, b, if distortion.is_none() { f64::INFINITY } else { distortion.reach() }) else {
        return Line::unseen(State::Beyond);
    };
    let cut = Cut::of(from_behind || first > 0.0, to_behind || last < 1.0);
    let parts = if distortion.is_none() { 1 } else { PARTS };
    let place = |share: f64| {
        // The ends bit for bit.
        let between = |a: f64, b: f64| {
            if share == 0.0 {
                a
            } else if share == 1.0 {
                b
            } else {
                a + share * (b - a)
            }
        };
        [between(a[0], b[0]), between(a[1], b[1])]
    };
    let at = |k: usize| {
        let place = place(match k {
            0 => first,
            k if k == parts => last,
            k => first + (last - first) * whole::count(k) / whole::count(parts),
        });
        Spot { plate: lens.pixel(distortion.apply(place)), undistorted: lens.pixel(place) }
    };
    let widths = diameter.map(|diameter| {
        let thin = diameter * widening(a, b);
        let [near, far] = ends.map(|end| -1.0 / end.z);
        // 1 / depth is straight over the picture.
        [first, last].map(|share| width(lens, place(share), thin * (near + share * (far - near))))
    });
    let mut line = Line { path: (0..=parts).map(at).collect(), cut, widths, state: State::In };
    let corners = hull(&line.path.iter().map(|s| s.plate).collect::<Vec<_>>());
    line.state = match state(lens, &corners, line.sag()) {
        State::In if cut.is_some() => State::Part,
        other => other,
    };
    line
}

/// By how much a thin cylinder is wider in the picture than its diameter over its depth. The plane through the pupil and its middle line has a normal n of length 1 and cuts the picture
/// in a line of normal (n_x, n_y); a point moved by r n is r / depth from it along n, which is r / (depth |(n_x, n_y)|) in the picture. End on, as wide as a sphere there at most.
fn widening(a: [f64; 2], b: [f64; 2]) -> f64 {
    let n = Vector::new(a[0], a[1], 1.0).cross(Vector::new(b[0], b[1], 1.0));
    let across = (n.x * n.x + n.y * n.y).sqrt();
    let whole = n.length();
    if across > 1e-9 * whole { whole / across } else { (1.0 + a[0] * a[0] + a[1] * a[1]).sqrt() }
}

/// The width at a place of the undistorted plane, from that on the plane: the larger scale of the pixels, and the larger stretch of the distortion.
fn width(lens: &Lens, place: [f64; 2], on_plane: f64) -> Width {
    let undistorted = on_plane * lens.focal_pixels().into_iter().fold(0.0, f64::max);
    Width { plate: undistorted * lens.distortion().stretch(place), undistorted }
}

/// Where the line from a point ahead to a point behind passes the near plane.
fn at_near(ahead: Vector, behind: Vector, near: f64) -> Vector {
    let part = (ahead.z + near) / (ahead.z - behind.z);
    let at = ahead + (behind - ahead).times(part);
    Vector { z: -near, ..at }
}

/// The shares of the way from `a` to `b` between which it is within a circle; `None` where it never is.
fn within(a: [f64; 2], b: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let inside = |p: [f64; 2]| p[0] * p[0] + p[1] * p[1] <= reach * reach;
    if inside(a) && inside(b) {
        return Some([0.0, 1.0]);
    }
    let d = [b[0] - a[0], b[1] - a[1]];
    let (dd, ad, aa) = (d[0] * d[0] + d[1] * d[1], a[0] * d[0] + a[1] * d[1], a[0] * a[0] + a[1] * a[1]);
    let root = ad * ad - dd * (aa - reach * reach);
    if !(root >= 0.0 && dd > 0.0) {
        return None;
    }
    let root = root.sqrt();
    let first = if inside(a) { 0.0 } else { (-ad - root) / dd };
    let last = if inside(b) { 1.0 } else { (-ad + root) / dd };
    (0.0 <= first && first < last && last <= 1.0).then_some([first, last])
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::mechanism::{Brown, LensSpec, Optics};

    fn lens(k1: f64) -> Lens {
        let ideal = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        ideal.with(Optics { distortion: Brown { k1, ..Brown::default() }, ..Optics::default() }).unwrap()
    }

    /// Derived by hand: at x = 0.4, y = 0 and 0.3, r^2 is 0.16 and 0.25, so that k1 = -0.2 draws the line in by 3.2 and 5 per cent.
    #[test]
    fn a_rod_bows_with_the_lens() {
        let ends = [Vector::new(400.0, 300.0, -1000.0), Vector::new(400.0, -300.0, -1000.0)];
        let seen = line(&lens(-0.2), ends, None);
        let [a, b] = seen.ends().unwrap();
        assert!((a.plate.right - (640.0 + 600.0 * 0.95)).abs() < 1e-9 && (a.plate.down - (512.0 - 450.0 * 0.95)).abs() < 1e-9, "{a:?}");
        assert!((a.undistorted.right - 1240.0).abs() < 1e-9 && (b.undistorted.down - 962.0).abs() < 1e-9, "{b:?}");
        assert!((seen.bow() - 600.0 * 0.018).abs() < 1e-9, "{}", seen.bow());
        assert!(seen.path.len() == 9 && seen.cut.is_none() && seen.state == State::In);
        let ideal = line(&lens(0.0), ends, None);
        assert!(ideal.path.len() == 2 && ideal.bow() == 0.0 && ideal.sag() == 0.0);
    }

    /// Derived by hand. 1500 px of focal length; 2 mm at 1 m are 3 px. A wire across the view at y / z = 0.75 is seen from 1.25 times as far, so its picture is 1.25 times as wide; one
    /// that runs towards the axis is not widened. At the end (0.4, 0.3) of the distorted one, 5 per cent nearer the axis, what runs outwards is stretched by 1 - 3 x 0.2 x 0.25 = 0.85 and
    /// what runs round by 0.95. Widths grow as 1 / depth.
    #[test]
    fn a_wire_is_as_wide_as_its_silhouette() {
        let widths = |k1: f64, ends| line(&lens(k1), ends, Some(2.0)).widths.unwrap().map(|w| (w.undistorted, w.plate));
        let near =
            |found: (f64, f64), undistorted: f64, plate: f64| (found.0 - undistorted).abs() < 1e-12 && (found.1 - plate).abs() < 1e-12;
        let across = widths(0.0, [Vector::new(-400.0, 750.0, -1000.0), Vector::new(400.0, 750.0, -1000.0)]);
        assert!(near(across[0], 3.75, 3.75) && near(across[1], 3.75, 3.75), "{across:?}");
        let radial = widths(-0.2, [Vector::new(0.0, 0.0, -1000.0), Vector::new(800.0, 600.0, -2000.0)]);
        assert!(near(radial[0], 3.0, 3.0) && near(radial[1], 1.5, 1.5 * 0.95), "{radial:?}");
        // One end is behind the camera: the other keeps its width.
        let cut = widths(0.0, [Vector::new(0.0, 0.0, -1000.0), Vector::new(0.0, 600.0, 500.0)]);
        assert!((cut[0].0 - 3.0).abs() < 1e-12 && cut[1].0 > 3000.0, "{cut:?}");
        assert_eq!(line(&lens(0.0), [Vector::new(0.0, 0.0, -1000.0), Vector::new(9.0, 0.0, -1000.0)], None).widths, None);
    }

    /// With k1 = -0.2 the model folds at 1.291 times the distance ahead.
    #[test]
    fn what_the_model_does_not_describe_is_cut_and_said() {
        let lens = lens(-0.2);
        let at = |x: f64, y: f64| Vector::new(x * 1000.0, y * 1000.0, -1000.0);
        let seen = line(&lens, [at(0.0, 0.0), at(0.0, 5.0)], None);
        assert_eq!((seen.cut, seen.state), (Some(Cut::To), State::Part));
        assert!((seen.ends().unwrap()[1].undistorted.down - (512.0 - 1500.0 * lens.distortion().reach())).abs() < 1e-6);
        assert_eq!(line(&lens, [at(-5.0, 0.1), at(5.0, 0.1)], None).cut, Some(Cut::Both));
        assert_eq!(line(&lens, [at(2.0, -5.0), at(2.0, 5.0)], None), Line::unseen(State::Beyond));
        assert_eq!(line(&lens, [Vector::new(0.0, 0.0, 5.0), Vector::new(0.0, 1.0, 5.0)], None), Line::unseen(State::Behind));
    }
}
