//! Points, turns and poses in space, over any number of [`Real`].
//!
//! What: plain vector algebra with no trigonometry but the one sine and cosine of a turn, so that it works over jets; for
//! output a pose becomes an isometry of the `nalgebra` crate. Invariant of [`Turn`]: its three columns are of length one and
//! square to each other, up to rounding. Source of the matrix of a turn about an axis: O. Rodrigues, 1840, as in any textbook
//! of kinematics. Checked in the tests against `nalgebra` rotations.

use core::ops::{Add, Neg, Sub};

use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion};

use super::real::Real;

/// A point or a direction. Unit: mm, or none for a direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector<T = f64> {
    /// Along X.
    pub x: T,
    /// Along Y: up.
    pub y: T,
    /// Along Z: towards a camera that stands as built.
    pub z: T,
}

impl<T: Real> Vector<T> {
    /// The vector of three components.
    #[must_use]
    pub fn new(x: T, y: T, z: T) -> Self {
        Vector { x, y, z }
    }

    /// A vector that does not move.
    #[must_use]
    pub(crate) fn constant(v: Vector<f64>) -> Self {
        Vector { x: T::constant(v.x), y: T::constant(v.y), z: T::constant(v.z) }
    }

    /// Its values without derivatives.
    #[must_use]
    pub(crate) fn value(self) -> Vector<f64> {
        Vector { x: self.x.value(), y: self.y.value(), z: self.z.value() }
    }

    /// Scalar product.
    #[must_use]
    pub(crate) fn dot(self, o: Self) -> T {
        self.x * o.x + self.y * o.y + self.z * o.z
    }

    /// Vector product.
    #[must_use]
    pub(crate) fn cross(self, o: Self) -> Self {
        Vector { x: self.y * o.z - self.z * o.y, y: self.z * o.x - self.x * o.z, z: self.x * o.y - self.y * o.x }
    }

    /// Length; its derivatives are infinite where it is zero.
    #[must_use]
    pub(crate) fn length(self) -> T {
        self.dot(self).sqrt()
    }

    /// The vector times a number.
    #[must_use]
    pub(crate) fn scaled(self, by: T) -> Self {
        Vector { x: self.x * by, y: self.y * by, z: self.z * by }
    }

    /// The vector times a plain number.
    #[must_use]
    pub(crate) fn times(self, by: f64) -> Self {
        Vector { x: self.x.times(by), y: self.y.times(by), z: self.z.times(by) }
    }

    /// Scalar product with a direction that does not move.
    #[must_use]
    pub(crate) fn along(self, direction: Vector<f64>) -> T {
        self.x.times(direction.x) + self.y.times(direction.y) + self.z.times(direction.z)
    }
}

impl From<[f64; 3]> for Vector<f64> {
    fn from([x, y, z]: [f64; 3]) -> Self {
        Vector { x, y, z }
    }
}

impl<T: Real> Add for Vector<T> {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Vector { x: self.x + o.x, y: self.y + o.y, z: self.z + o.z }
    }
}

impl<T: Real> Sub for Vector<T> {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Vector { x: self.x - o.x, y: self.y - o.y, z: self.z - o.z }
    }
}

impl<T: Real> Neg for Vector<T> {
    type Output = Self;
    fn neg(self) -> Self {
        Vector { x: -self.x, y: -self.y, z: -self.z }
    }
}

/// A rotation, as the directions its own X, Y and Z have outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Turn<T = f64> {
    /// Where its X points.
    pub x: Vector<T>,
    /// Where its Y points.
    pub y: Vector<T>,
    /// Where its Z points.
    pub z: Vector<T>,
}

impl<T: Real> Turn<T> {
    /// No turn.
    #[must_use]
    pub(crate) fn none() -> Self {
        let v = |x, y, z| Vector::constant(Vector { x, y, z });
        Turn { x: v(1.0, 0.0, 0.0), y: v(0.0, 1.0, 0.0), z: v(0.0, 0.0, 1.0) }
    }

    /// The turn by `degrees` about `axis`, which has length one; right-handed.
    #[must_use]
    pub(crate) fn about(axis: Vector<f64>, degrees: T) -> Self {
        let (s, c) = without_turns(degrees).to_radians_of_degrees().sine_and_cosine();
        let rest = T::constant(1.0) - c;
        let Vector { x, y, z } = axis;
        let across = |a: f64, b: f64| rest.times(a * b);
        Turn {
            x: Vector { x: across(x, x) + c, y: across(x, y) + s.times(z), z: across(x, z) - s.times(y) },
            y: Vector { x: across(y, x) - s.times(z), y: across(y, y) + c, z: across(y, z) + s.times(x) },
            z: Vector { x: across(z, x) + s.times(y), y: across(z, y) - s.times(x), z: across(z, z) + c },
        }
    }

    /// A direction of the inside of [`Turn::about`] as seen from outside, without the turn's columns.
    #[must_use]
    pub(crate) fn about_out(axis: Vector<f64>, degrees: T, v: Vector<T>) -> Vector<T> {
        let (s, c) = without_turns(degrees).to_radians_of_degrees().sine_and_cosine();
        let along = v.along(axis) * (T::constant(1.0) - c);
        let Vector { x, y, z } = axis;
        let across = Vector { x: v.z.times(y) - v.y.times(z), y: v.x.times(z) - v.z.times(x), z: v.y.times(x) - v.x.times(y) };
        v.scaled(c) + across.scaled(s) + Vector { x: along.times(x), y: along.times(y), z: along.times(z) }
    }

    /// A direction of the inside as seen from outside.
    #[must_use]
    pub(crate) fn out(&self, v: Vector<T>) -> Vector<T> {
        self.x.scaled(v.x) + self.y.scaled(v.y) + self.z.scaled(v.z)
    }

    /// A fixed direction of the inside as seen from outside.
    #[must_use]
    pub(crate) fn out_fixed(&self, v: Vector<f64>) -> Vector<T> {
        self.x.times(v.x) + self.y.times(v.y) + self.z.times(v.z)
    }

    /// A direction of the outside as seen from inside: the inverse of [`Turn::out`].
    #[must_use]
    pub(crate) fn inward(&self, v: Vector<T>) -> Vector<T> {
        Vector { x: self.x.dot(v), y: self.y.dot(v), z: self.z.dot(v) }
    }

    /// The turn of something that is turned by `inner` inside this.
    #[must_use]
    pub(crate) fn carrying(&self, inner: &Turn<T>) -> Self {
        Turn { x: self.out(inner.x), y: self.out(inner.y), z: self.out(inner.z) }
    }
}

/// Degrees from which on the whole turns are taken off first, which is exact: sines of so many radians take four times as long.
const MANY: f64 = 9e7;

/// An angle, or the same without its whole turns where these are many.
fn without_turns<T: Real>(degrees: T) -> T {
    let value = degrees.value();
    if value.abs() >= MANY { degrees - T::constant(360.0 * (value / 360.0).round_ties_even()) } else { degrees }
}

/// Where something is and how it stands: a turn about its own origin, then a position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pose<T = f64> {
    /// How it stands.
    pub turn: Turn<T>,
    /// Where its origin is, mm.
    pub position: Vector<T>,
}

impl<T: Real> Pose<T> {
    /// At the origin, as built.
    #[must_use]
    pub(crate) fn home() -> Self {
        Pose { turn: Turn::none(), position: Vector::constant(Vector { x: 0.0, y: 0.0, z: 0.0 }) }
    }

    /// A fixed point of the thing as seen from outside.
    #[must_use]
    pub(crate) fn out_fixed(&self, point: Vector<f64>) -> Vector<T> {
        self.position + self.turn.out_fixed(point)
    }

    /// A point of the outside as seen from the thing: the inverse of [`Pose::out_fixed`].
    #[must_use]
    pub(crate) fn inward(&self, point: Vector<T>) -> Vector<T> {
        self.turn.inward(point - self.position)
    }

    /// The pose without its derivatives.
    #[must_use]
    pub(crate) fn value(&self) -> Pose<f64> {
        let Turn { x, y, z } = self.turn;
        Pose { turn: Turn { x: x.value(), y: y.value(), z: z.value() }, position: self.position.value() }
    }
}

impl Pose<f64> {
    /// The same pose as an isometry of the `nalgebra` crate, in mm.
    ///
    /// The quaternion comes from the matrix by square roots alone, so that it is the same on every machine. Its sign is the one
    /// with the greatest component of (w, x, y, z) positive; whoever writes a sequence of them turns a sign where neighbours
    /// differ.
    #[must_use]
    pub(crate) fn isometry(&self) -> Isometry3<f64> {
        let Turn { x, y, z } = self.turn;
        let matrix = Matrix3::new(x.x, y.x, z.x, x.y, y.y, z.y, x.z, y.z, z.z);
        let near = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(matrix)).into_inner();
        let p = self.position;
        // The columns are square to each other up to rounding; one division by the length makes the quaternion's length one.
        let (w, i, j, k) = (near.w, near.i, near.j, near.k);
        let length = (w * w + i * i + j * j + k * k).sqrt();
        let whole = nalgebra::Quaternion::new(w / length, i / length, j / length, k / length);
        Isometry3::from_parts(Translation3::new(p.x, p.y, p.z), UnitQuaternion::new_unchecked(whole))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use nalgebra::{Point3, Unit, Vector3};
    use proptest::prelude::*;

    use super::super::real::oracle::{both, same};
    use super::*;

    fn unit(a: [f64; 3]) -> Vector {
        let v = Vector::from(a);
        v.times(1.0 / v.length())
    }

    proptest! {
        /// Rounding: a dozen products of numbers of size one each, so 1e-15 a component; 1e-14 leaves room.
        #[test]
        fn turns_are_those_of_an_independent_library(a in prop::array::uniform3(0.1..1.0_f64), angle in -720.0..720.0_f64,
            b in prop::array::uniform3(-1.0..-0.1_f64), other in -180.0..180.0_f64, p in prop::array::uniform3(-1.0..1.0_f64)) {
            let (a, b) = (unit(a), unit(b));
            let mine = Turn::about(a, angle).carrying(&Turn::about(b, other));
            let axis = |v: Vector| Unit::new_normalize(Vector3::new(v.x, v.y, v.z));
            let theirs = Rotation3::from_axis_angle(&axis(a), angle.to_radians())
                * Rotation3::from_axis_angle(&axis(b), other.to_radians());
            let (m, t) = (mine.out(Vector::from(p)), theirs * Vector3::from(p));
            prop_assert!((m.x - t.x).abs() <= 1e-14 && (m.y - t.y).abs() <= 1e-14 && (m.z - t.z).abs() <= 1e-14);
            let outer = Turn::about_out(a, angle, Turn::about_out(b, other, Vector::from(p)));
            prop_assert!((outer - m).length() <= 1e-14);
            let back = mine.inward(m) - Vector::from(p);
            prop_assert!(back.length() <= 1e-14);

            let pose = Pose { turn: mine, position: Vector::new(3.0, -2.0, 0.5) };
            let (m, t) = (pose.out_fixed(Vector::from(p)), pose.isometry() * Point3::from(p));
            prop_assert!((m.x - t.x).abs() <= 1e-14 && (m.y - t.y).abs() <= 1e-14 && (m.z - t.z).abs() <= 1e-14);
            prop_assert!((pose.isometry().rotation.norm() - 1.0).abs() <= 4.0 * f64::EPSILON);
        }
    }

    #[test]
    fn a_quarter_turn_follows_the_right_hand() {
        let turn = Turn::about(Vector::new(0.0, 1.0, 0.0), 90.0);
        let v = turn.out(Vector::new(0.0, 0.0, -1.0));
        assert!((v.x + 1.0).abs() <= 1e-15 && v.z.abs() <= 1e-15, "{v:?}");
    }

    /// Half a turn about each axis is where the trace of the matrix gives no quaternion; the other branches do.
    #[test]
    fn half_turns_become_quaternions() {
        for axis in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] {
            let pose = Pose { turn: Turn::about(Vector::from(axis), 180.0), position: Vector::from([0.0; 3]) };
            let q = pose.isometry().rotation;
            assert!((q.i - axis[0]).abs() <= 1e-15 && (q.j - axis[1]).abs() <= 1e-15 && (q.k - axis[2]).abs() <= 1e-15, "{q:?}");
        }
    }

    #[test]
    fn derivatives_of_a_turn_are_those_of_an_independent_library() {
        let (mine, theirs) = both(24.0, 3.0, -1.1, 0.4);
        let axis = unit([0.3, -0.5, 0.8]);
        let point = Vector::new(120.0, -40.0, 66.0);
        let (m, t) = (Turn::about(axis, mine).out_fixed(point), Turn::about(axis, theirs).out_fixed(point));
        // Coordinates of some hundred mm: a few ulps of a hundred.
        same(m.x, t.x, 1e-12);
        same(m.y, t.y, 1e-12);
        same(m.z, t.z, 1e-12);
    }

    /// 1e9 deg are 2,777,778 turns less 80 deg; one turn less than the border is not taken off.
    #[test]
    fn many_whole_turns_are_taken_off_exactly() {
        let axis = unit([1.0, -2.0, 3.0]);
        assert_eq!(Turn::about(axis, 1e9), Turn::about(axis, -80.0));
        let v = Vector::new(0.3, -0.4, 5.0);
        assert_eq!(Turn::about_out(axis, -1e9, v), Turn::about_out(axis, 80.0, v));
        let moving = Turn::about(axis, crate::number::Jet::time(1e9));
        assert_eq!(moving, Turn::about(axis, crate::number::Jet::time(-80.0)));
        assert_eq!((without_turns(MANY - 360.0), without_turns(f64::NAN).is_nan()), (MANY - 360.0, true));
    }
}
