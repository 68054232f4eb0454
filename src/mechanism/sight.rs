//! What a camera sees of its target at two angles, how that moves with them, and Newton's method down to the optical axis.
//!
//! Seen from the camera, a target turns by -R^T (a x (target - o)) a radian of a joint with the axis a through the point o, where R is
//! how the camera stands: the slopes are exact, without differences. Source: velocity of a turning body, any textbook of mechanics.
//! Limits: near a singular place the search is damped, and slow; whether it arrived is for the caller to ask.

use super::joint::{Axle, Chain};
use super::real::Real;
use super::space::Vector;
use crate::number::{Jet, elementary};

/// Newton's steps from one start; from anywhere within 90 deg a dozen do.
const MOST_STEPS: usize = 60;
/// Longest step, rad: about a quarter of a right angle, so that a search does not leap over its solution.
const LONGEST_STEP: f64 = 0.4;

/// One state of the search.
pub(super) struct Sight {
    /// Target seen from the camera, divided by its distance: length one.
    pub(super) seen: Vector,
    /// Distance of the target, mm.
    pub(super) distance: f64,
    /// Change of `seen` by a radian of each channel.
    slopes: [Vector; 2],
}

impl Sight {
    /// What `camera` sees of `target` with its two `channels` at `angles` (deg); `None` where the target has no direction or a channel
    /// turns nothing.
    pub(super) fn at(
        camera: &Chain,
        channels: [usize; 2],
        angles: [f64; 2],
        value: impl Fn(usize) -> f64,
        target: Vector,
    ) -> Option<Sight> {
        let (pose, axles) = camera.pose_and_axles(steered(channels, angles, value), channels);
        let seen = pose.inward(target);
        let distance = seen.length();
        if !(0.0 < distance && distance.is_finite()) {
            return None;
        }
        let unit = seen.times(1.0 / distance);
        let slope = |axle: Option<Axle>| {
            let axle = axle?;
            let moved = -pose.turn.inward(axle.direction.cross(target - axle.point)).times(1.0 / distance);
            // A direction moves only across itself.
            Some(moved - unit.times(unit.dot(moved)))
        };
        let [one, other] = axles.map(slope);
        Some(Sight { seen: unit, distance, slopes: [one?, other?] })
    }

    /// Sine of the angle between the optical axis and the target, ahead or behind.
    pub(super) fn off(&self) -> f64 {
        (self.seen.x * self.seen.x + self.seen.y * self.seen.y).sqrt()
    }

    /// Degrees between the line of sight and the target, 0 to 180.
    pub(super) fn miss(&self) -> f64 {
        elementary::degrees(elementary::atan2(self.off(), -self.seen.z))
    }

    /// Radians of axles for a radian of the line of sight in its worst direction.
    pub(super) fn gain(&self) -> f64 {
        gain(&self.slopes)
    }

    /// Degrees of the two channels for a change of what is seen: the inverse of the slopes on the optical axis.
    pub(super) fn inverse(&self) -> Option<[[f64; 2]; 2]> {
        let [s, t] = self.slopes;
        let whole = elementary::degrees(1.0 / (s.x * t.y - s.y * t.x));
        whole.is_finite().then_some([[t.y * whole, -t.x * whole], [-s.y * whole, s.x * whole]])
    }

    /// One damped step of Newton's method, radians of the two channels; `None` on the axis, and where nothing moves the target.
    fn step(&self) -> Option<[f64; 2]> {
        let [s, t] = self.slopes;
        let (x, y) = (self.seen.x, self.seen.y);
        let miss = x * x + y * y;
        // Damped by a little of the slopes' own size, so that a start on a singular place leaves it; the damping vanishes with the
        // square of the miss, and the convergence stays quadratic.
        let damping = 1e-3 * miss * (s.x * s.x + s.y * s.y + t.x * t.x + t.y * t.y);
        let (ss, st, tt) = (s.x * s.x + s.y * s.y + damping, s.x * t.x + s.y * t.y, t.x * t.x + t.y * t.y + damping);
        let (sr, tr) = (s.x * x + s.y * y, t.x * x + t.y * y);
        let whole = ss * tt - st * st;
        let (a, b) = (-(tt * sr - st * tr) / whole, -(ss * tr - st * sr) / whole);
        (0.0 < miss && a.is_finite() && b.is_finite()).then_some([a, b])
    }
}

/// The channels' values with `angles` in place of two of them.
pub(super) fn steered<T: Real>([first, second]: [usize; 2], [a, b]: [T; 2], value: impl Fn(usize) -> T) -> impl Fn(usize) -> T {
    move |channel| match channel {
        c if c == first => a,
        c if c == second => b,
        c => value(c),
    }
}

/// Newton's method from one start, to the rounding of the direction; `None` where the target has no direction.
pub(super) fn descend(sight: &impl Fn([f64; 2]) -> Option<Sight>, start: [f64; 2]) -> Option<([f64; 2], Sight)> {
    let mut angles = start;
    let mut here = sight(angles)?;
    for _ in 0..MOST_STEPS {
        let Some([a, b]) = here.step() else { break };
        let size = a.abs().max(b.abs());
        let part = elementary::degrees((LONGEST_STEP / size).min(1.0));
        let next = [angles[0] + a * part, angles[1] + b * part];
        let there = sight(next)?;
        // Newton's misses shrink by squares until rounding stops them: then it is done.
        if size <= 1e-6 && !(there.off() < 0.5 * here.off()) {
            break;
        }
        (angles, here) = (next, there);
    }
    Some((angles, here))
}

/// One step of Newton's method over jets, with the slopes of one moment.
pub(super) fn stepped([a, b]: [Jet; 2], inverse: &[[f64; 2]; 2], seen: Vector<Jet>) -> [Jet; 2] {
    let [[aa, ab], [ba, bb]] = *inverse;
    [a - (seen.x * aa + seen.y * ab), b - (seen.x * ba + seen.y * bb)]
}

/// One over the least singular value of the slopes in the picture.
fn gain([s, t]: &[Vector; 2]) -> f64 {
    let (all, whole) = (s.x * s.x + s.y * s.y + t.x * t.x + t.y * t.y, (s.x * t.y - s.y * t.x).abs());
    // Singular values l >= k: l^2 + k^2 = all, l k = whole.
    let root = ((all - 2.0 * whole).max(0.0) * (all + 2.0 * whole)).sqrt();
    let largest = (0.5 * (all + root)).sqrt();
    largest / whole
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::super::joint::{JointKind, JointSpec, moving_alone};
    use super::*;

    /// Source of the two numbers: singular values of a diagonal and of a sheared matrix [[1, 1], [0, 1]], whose least is
    /// (root 5 - 1) / 2, any textbook of linear algebra.
    #[test]
    fn gain_is_one_over_the_least_singular_value() {
        let flat = |x, y| Vector::new(x, y, 0.0);
        assert_eq!(gain(&[flat(3.0, 0.0), flat(0.0, 4.0)]), 1.0 / 3.0);
        let golden = 2.0 / (5.0_f64.sqrt() - 1.0);
        assert!((gain(&[flat(1.0, 0.0), flat(1.0, 1.0)]) - golden).abs() <= 1e-15);
        assert_eq!(gain(&[flat(0.0, 0.0), flat(1.0, 1.0)]), f64::INFINITY);
    }

    /// The slopes are the velocities that jets give, joint by joint: numbers of size one.
    #[test]
    fn slopes_are_those_of_jets() {
        let joint = |kind, channel, offset| JointSpec { kind, channel: Some(channel), rest: 7.0, offset };
        let camera = Chain::new(&[
            joint(JointKind::Turn([0.1, 1.0, -0.2]), 0, [10.0, 20.0, 30.0]),
            joint(JointKind::Turn([1.0, 0.0, 0.3]), 1, [-15.0, 40.0, 5.0]),
            joint(JointKind::Slide([0.0, 1.0, -1.0]), 2, [8.0, 0.0, -50.0]),
        ])
        .unwrap();
        let target = Vector::new(200.0, 150.0, -700.0);
        let values = [25.0, -12.0, 30.0];
        let sight = Sight::at(&camera, [0, 1], [25.0, -12.0], |c| values[c], target).unwrap();
        for channel in [0, 1] {
            let seen = camera.pose(moving_alone(channel, |c| values[c])).inward(Vector::constant(target));
            let unit = seen.scaled(seen.length().recip());
            let slope = sight.slopes[channel];
            for (mine, jet) in [(slope.x, unit.x), (slope.y, unit.y), (slope.z, unit.z)] {
                assert!((mine - elementary::degrees(jet.v)).abs() <= 1e-14, "{mine} {jet:?}");
            }
        }
    }
}
