//! A straight thing in the picture at one instant: its course on the plate, as far as the lens shows it.
//!
//! What: seen from the camera, the part behind the near plane is cut off, then the part beyond the reach of the distortion; what is left is straight in the undistorted picture and a curve
//! on the plate, looked at in nine points. An undistorted lens needs the ends alone. Source: clipping of a line by a plane and by a circle, any textbook of computer graphics.
//! Limits: between the points the curve may leave the line from one to the next by [`Line::sag`], an estimate.

use super::outline::{State, hull, state};
use crate::mechanism::{Lens, Pixel, Vector};
use crate::number::whole;

/// Spaces between the points of a curve.
const PARTS: usize = 8;
/// The near plane, in focal lengths.
const NEAR: f64 = 0.01;

/// A point in both pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    /// On the plate.
    pub plate: Pixel,
    /// In the undistorted picture.
    pub undistorted: Pixel,
}

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

/// A rod as a camera sees it at one instant.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// From end to end, as far as it is to be seen; empty where nothing of it is.
    pub path: Vec<Spot>,
    /// The ends that are behind the camera or beyond the distortion.
    pub cut: Option<Cut>,
    /// Where it is.
    pub state: State,
}

impl Line {
    /// A rod of which nothing is to be seen.
    #[must_use]
    pub(crate) fn unseen(state: State) -> Line {
        Line { path: Vec::new(), cut: None, state }
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

/// A straight line between two ends, mm in the camera's own axes, in its picture.
#[must_use]
pub(crate) fn line(lens: &Lens, [from, to]: [Vector; 2]) -> Line {
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
    let at = |k: usize| {
        // The ends bit for bit.
        let share = match k {
            0 => first,
            k if k == parts => last,
            k => first + (last - first) * whole::count(k) / whole::count(parts),
        };
        let between = |a: f64, b: f64| {
            if share == 0.0 {
                a
            } else if share == 1.0 {
                b
            } else {
                a + share * (b - a)
            }
        };
        let place = [between(a[0], b[0]), between(a[1], b[1])];
        Spot { plate: lens.pixel(distortion.apply(place)), undistorted: lens.pixel(place) }
    };
    let mut line = Line { path: (0..=parts).map(at).collect(), cut, state: State::In };
    let corners = hull(&line.path.iter().map(|s| s.plate).collect::<Vec<_>>());
    line.state = match state(lens, &corners, line.sag()) {
        State::In if cut.is_some() => State::Part,
        other => other,
    };
    line
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
        let seen = line(&lens(-0.2), ends);
        let [a, b] = seen.ends().unwrap();
        assert!((a.plate.right - (640.0 + 600.0 * 0.95)).abs() < 1e-9 && (a.plate.down - (512.0 - 450.0 * 0.95)).abs() < 1e-9, "{a:?}");
        assert!((a.undistorted.right - 1240.0).abs() < 1e-9 && (b.undistorted.down - 962.0).abs() < 1e-9, "{b:?}");
        assert!((seen.bow() - 600.0 * 0.018).abs() < 1e-9, "{}", seen.bow());
        assert!(seen.path.len() == 9 && seen.cut.is_none() && seen.state == State::In);
        let ideal = line(&lens(0.0), ends);
        assert!(ideal.path.len() == 2 && ideal.bow() == 0.0 && ideal.sag() == 0.0);
    }

    /// With k1 = -0.2 the model folds at 1.291 times the distance ahead.
    #[test]
    fn what_the_model_does_not_describe_is_cut_and_said() {
        let lens = lens(-0.2);
        let at = |x: f64, y: f64| Vector::new(x * 1000.0, y * 1000.0, -1000.0);
        let seen = line(&lens, [at(0.0, 0.0), at(0.0, 5.0)]);
        assert_eq!((seen.cut, seen.state), (Some(Cut::To), State::Part));
        assert!((seen.ends().unwrap()[1].undistorted.down - (512.0 - 1500.0 * lens.distortion().reach())).abs() < 1e-6);
        assert_eq!(line(&lens, [at(-5.0, 0.1), at(5.0, 0.1)]).cut, Some(Cut::Both));
        assert_eq!(line(&lens, [at(2.0, -5.0), at(2.0, 5.0)]), Line::unseen(State::Beyond));
        assert_eq!(line(&lens, [Vector::new(0.0, 0.0, 5.0), Vector::new(0.0, 1.0, 5.0)]), Line::unseen(State::Behind));
    }
}
