//! A capsule in the picture: points on its outline.
//!
//! What: a ball of radius r at distance d from the entrance pupil is seen as the cone that touches it along a circle, of radius r sqrt(1 - r^2/d^2) round the point (1 - r^2/d^2) of the way to its
//! centre; a capsule is the convex hull of its end balls, and central projection keeps convex hulls, so the hull of the points of both circles is its outline in the undistorted picture. Source:
//! tangent cone of a sphere, any textbook of projective geometry; derived here.
//! Every point lies on the outline; between two of them the outline leaves their chord by no more than the sag that was asked for, up to a greatest number of points.
//! A distorted plate bends the straight sides: there balls between the ends are looked at too.
//! Limits: what is nearer than the near plane (a hundredth of the focal length) or farther off the axis than the distortion describes is cut away, and that is said.

use super::lens::{Lens, Pixel};
use super::space::Vector;
use crate::number::elementary;

/// The near plane, in focal lengths.
pub(crate) const NEAR: f64 = 0.01;

/// Points round a ball, of which the least that keep the sag are taken.
const ROUND: [u32; 7] = [8, 12, 16, 24, 32, 48, 64];

/// Balls along a capsule on a distorted plate.
const BALLS: u32 = 9;

/// A point in both pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    /// On the plate.
    pub plate: Pixel,
    /// In the undistorted picture.
    pub undistorted: Pixel,
}

/// What is seen of a capsule.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Silhouette {
    /// Points on the outline and within it, in no order; empty where nothing of it is seen.
    pub spots: Vec<Spot>,
    /// True where a part of it is behind the near plane or beyond the distortion.
    pub is_cut: bool,
}

/// Points round each end of a capsule with which the outline leaves the lines between neighbouring points by no more than `sag` pixels, 64 at most.
#[must_use]
pub(crate) fn points_round(lens: &Lens, ends: [Vector; 2], radius: f64, sag: f64) -> u32 {
    ROUND.into_iter().find(|n| leaves(lens, ends, radius, *n) <= sag).unwrap_or(64)
}

/// By how much the outline may leave the lines between so many points round each end, pixels.
#[must_use]
pub(crate) fn leaves(lens: &Lens, ends: [Vector; 2], radius: f64, points: u32) -> f64 {
    let [across, down] = lens.focal_pixels();
    let nearest = NEAR * lens.focal_length();
    let ahead = f64::max((-ends[0].z).min(-ends[1].z), nearest + radius);
    let [x, y] = [ends[0], ends[1]].map(|e| e.x * e.x + e.y * e.y).map(f64::sqrt);
    // Off the axis a ball is seen as an ellipse, longer by its distance from the pupil over that ahead, twice: across and in depth.
    let slant = 1.0 + (x.max(y) / ahead) * (x.max(y) / ahead);
    let size = across.max(down) * slant * radius / (ahead - radius).max(nearest);
    size * (1.0 - elementary::cos(core::f64::consts::PI / f64::from(points)))
}

/// The outline of a capsule with its ends and radius in the camera's own axes, mm, by so many points round each end: see [`points_round`].
#[must_use]
pub(crate) fn silhouette(lens: &Lens, ends: [Vector; 2], radius: f64, points: u32) -> Silhouette {
    let nearest = NEAR * lens.focal_length() + radius;
    let ahead = |v: &Vector| nearest <= -v.z;
    let at_nearest = |a: Vector, b: Vector| a + (b - a).times((-a.z - nearest) / (b.z - a.z));
    let (ends, mut is_cut) = match ends.map(|e| ahead(&e)) {
        [true, true] => (ends, false),
        [true, false] => ([ends[0], at_nearest(ends[0], ends[1])], true),
        [false, true] => ([at_nearest(ends[1], ends[0]), ends[1]], true),
        [false, false] => return Silhouette { spots: Vec::new(), is_cut: true },
    };
    let distortion = lens.distortion();
    let is_ball = ends[0] == ends[1];
    let balls = if is_ball { 1 } else { 2 + if distortion.is_none() { 0 } else { BALLS - 2 } };
    let mut spots = Vec::new();
    for k in 0..balls {
        let share = if balls == 1 { 0.0 } else { f64::from(k) / f64::from(balls - 1) };
        let centre = if share == 1.0 { ends[1] } else { ends[0] + (ends[1] - ends[0]).times(share) };
        let square = centre.x * centre.x + centre.y * centre.y + centre.z * centre.z;
        let keep = 1.0 - radius * radius / square;
        // A ball ahead of the near plane does not hold the pupil, so that the part kept is above zero.
        let (middle, round) = (centre.times(keep), radius * keep.max(0.0).sqrt());
        let [e, f] = across_from(centre);
        for i in 0..points {
            let turn = 2.0 * core::f64::consts::PI * f64::from(i) / f64::from(points);
            let point = middle + e.times(round * elementary::cos(turn)) + f.times(round * elementary::sin(turn));
            let Ok(place) = Lens::on_plane(point) else {
                is_cut = true;
                continue;
            };
            let off = place[0] * place[0] + place[1] * place[1];
            if !distortion.is_none() && !(off <= distortion.reach() * distortion.reach()) {
                is_cut = true;
                continue;
            }
            let plate = if distortion.is_none() { place } else { distortion.apply(place) };
            spots.push(Spot { plate: lens.pixel(plate), undistorted: lens.pixel(place) });
        }
    }
    Silhouette { spots, is_cut }
}

/// Two directions of length 1 at right angles to a vector that is not at right angles to the optical axis, and to each other. They turn with the vector without a jump, so that the
/// points round a ball go on from instant to instant.
fn across_from(v: Vector) -> [Vector; 2] {
    let e = unit(cross(v, Vector::new(1.0, 0.0, 0.0)));
    [e, unit(cross(v, e))]
}

fn cross(a: Vector, b: Vector) -> Vector {
    Vector::new(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x)
}

fn unit(v: Vector) -> Vector {
    v.times(1.0 / (v.x * v.x + v.y * v.y + v.z * v.z).sqrt())
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

    fn extent(s: &Silhouette) -> [f64; 4] {
        let fold =
            |f: &dyn Fn(&Spot) -> f64| s.spots.iter().map(f).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
        let ((l, r), (t, b)) = (fold(&|s| s.plate.right), fold(&|s| s.plate.down));
        [l, r, t, b]
    }

    /// Derived: on the axis the half angle of the tangent cone is asin(r/d); with r = 600 mm and d = 1000 mm its tangent is 0.75, times 1500 px 1125 px. A plain disc would show 900 px.
    #[test]
    fn a_ball_shows_the_cone_that_touches_it() {
        let seen = silhouette(&lens(0.0), [Vector::new(0.0, 0.0, -1000.0); 2], 600.0, 64);
        let [l, r, t, b] = extent(&seen);
        assert!(!seen.is_cut && seen.spots.len() == 64);
        assert!(
            (r - 640.0 - 1125.0).abs() < 1e-9
                && (640.0 - l - 1125.0).abs() < 1e-9
                && (b - 512.0 - 1125.0).abs() < 1e-9
                && (512.0 - t - 1125.0).abs() < 1e-9
        );
    }

    /// Off the axis, by the angles: a ball of 100 mm 1000 mm away at 30 deg is seen between 30 - 5.739 and 30 + 5.739 deg.
    #[test]
    fn a_ball_off_the_axis_is_an_ellipse_by_its_angles() {
        let (s, c) = (0.5, 0.75_f64.sqrt());
        let seen = silhouette(&lens(0.0), [Vector::new(1000.0 * s, 0.0, -1000.0 * c); 2], 100.0, 64);
        let half = elementary::asin(0.1);
        let at = |sign: f64| 640.0 + 1500.0 * elementary::tan(core::f64::consts::FRAC_PI_6 + sign * half);
        let [l, r, ..] = extent(&seen);
        // The points next to the two ends are 1/32 of a turn from them at most.
        assert!((l - at(-1.0)).abs() < 1.0 && (r - at(1.0)).abs() < 1.5 && r <= at(1.0) + 1e-9 && at(-1.0) - 1e-9 <= l, "{l} {r}");
    }

    /// The polygon of the points leaves the true outline by what was asked for at most: a ball of 100 mm, by its angles in 360 directions.
    #[test]
    fn between_the_points_the_outline_stays_within_the_sag() {
        let lens = lens(0.0);
        for (centre, sag) in
            [(Vector::new(0.0, 0.0, -1000.0), 1.0), (Vector::new(300.0, -200.0, -900.0), 1.0), (Vector::new(300.0, 400.0, -1000.0), 3.0)]
        {
            let n = points_round(&lens, [centre; 2], 100.0, sag);
            let corners: Vec<Pixel> = silhouette(&lens, [centre; 2], 100.0, n).spots.iter().map(|s| s.plate).collect();
            let fine: Vec<Pixel> = silhouette(&lens, [centre; 2], 100.0, 4096).spots.iter().map(|s| s.plate).collect();
            for i in 0..360 {
                let turn = core::f64::consts::PI * f64::from(i) / 180.0;
                let far = |all: &[Pixel]| {
                    all.iter().map(|p| p.right * elementary::cos(turn) + p.down * elementary::sin(turn)).fold(f64::NEG_INFINITY, f64::max)
                };
                assert!(far(&fine) - far(&corners) <= sag, "{n} points, {i} deg: {}", far(&fine) - far(&corners));
            }
        }
    }

    #[test]
    fn what_is_behind_is_cut_and_said_and_a_plate_bends_the_sides() {
        let at = |z: f64| Vector::new(0.0, 0.0, z);
        let behind = silhouette(&lens(0.0), [at(10.0), at(20.0)], 5.0, 8);
        assert!(behind.is_cut && behind.spots.is_empty());
        let half = silhouette(&lens(0.0), [at(-1000.0), at(20.0)], 5.0, 8);
        assert!(half.is_cut && !half.spots.is_empty());
        // A side at y = 0.4 of its distance: at x = 0 r^2 is 0.16, at x = 0.3 0.25; k1 = -0.2 draws in by 3.2 and by 5 per cent.
        let side = silhouette(&lens(-0.2), [Vector::new(-300.0, 400.0, -1000.0), Vector::new(300.0, 400.0, -1000.0)], 1e-9, 8);
        let [.., t, b] = extent(&side);
        assert!((b - (512.0 - 600.0 * 0.95)).abs() < 1e-6 && (t - (512.0 - 600.0 * 0.968)).abs() < 1e-6, "{t} {b}");
    }

    /// Where right and down change places as the greater, points that jumped would look like a bend of the whole ball.
    #[test]
    fn points_round_a_ball_go_on_without_a_jump() {
        let at = |right: f64| silhouette(&lens(0.0), [Vector::new(right, 100.0, -1000.0); 2], 50.0, 16).spots;
        for (a, b) in at(99.0).iter().zip(at(101.0)) {
            // 2 mm aside at 1000 mm and 1500 px are 3 px, a little more or less round the ball.
            assert!((b.plate.right - a.plate.right - 3.0).abs() < 0.1 && (b.plate.down - a.plate.down).abs() < 0.1, "{a:?} {b:?}");
        }
    }
}
