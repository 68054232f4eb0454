//! A plate on three vertical actuators: heave, pitch and roll to actuator heights, and back.
//!
//! Seen from above, azimuths run clockwise from the front. Positive pitch raises the front, positive roll raises the left (the
//! side at azimuth -90 deg): the signs of the published mixing of three servos. With x to the front, y to azimuth 90 deg and
//! z down the plate is turned by R = Ry(pitch) Rx(roll), its middle moves only up and down.
//!
//! Two models. Plane: each actuator stays vertical below its azimuth and carries the plane of the plate, on which its contact
//! slides; the height is that of the plane there, exactly: heave + (nx x + ny y) / nz with the plate's normal n. Rods: a rod of
//! fixed length joins the head of each actuator to a point fixed on the plate; the rod leans where that point swings in, and
//! the head is at z - sqrt(L^2 - d^2) + L, where d is how far the point has left the actuator's vertical. All heights are 0 in
//! the level plate. The two models differ in the second order of the angles. Sources of the signs: the open autopilots'
//! mixers, ArduPilot AP_MotorsHeli_Swash.cpp (servo = collective + roll cos(azimuth + 90) + pitch cos(azimuth)) and PX4
//! ActuatorEffectivenessHelicopter.cpp (the same with - roll sin(azimuth)); the geometry is plain vector algebra.
//!
//! Limits: rigid plate and rods, ball joints without play; a plate on edge (90 deg) cannot be reached.

use super::OutOfReach;
use super::real::Real;
use super::space::Vector;
use crate::bounds::{ACTUATORS_APART, ANGLE, Code, Flaw, LENGTH, with_unit};
use crate::number::{Jet, elementary};

/// What a swashplate is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwashplateSpec {
    /// From the plate's middle to the actuators, mm.
    pub radius: f64,
    /// Where the actuators stand, deg, clockwise from the front as seen from above.
    pub azimuths: [f64; 3],
    /// Length of the rods between actuators and plate, mm; without it the actuators carry the plane itself. The rods push from below: for
    /// wires that hang the plate from above, the small lean L - sqrt(L^2 - d^2) has the other sign.
    pub rod_length: Option<f64>,
}

/// A checked swashplate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swashplate {
    /// Towards the front and towards azimuth 90 deg, mm, of each actuator.
    feet: [[f64; 2]; 3],
    rod_length: Option<f64>,
    /// Rows of the inverse of the matrix with the rows (1, x, y): heights to middle, slope to the front, slope to the right.
    inverse: [Vector; 3],
}

impl Swashplate {
    /// Checks a swashplate.
    ///
    /// # Errors
    /// Every number out of its range, and actuators that stand too close to each other to hold the plate.
    pub fn new(spec: SwashplateSpec) -> Result<Swashplate, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(LENGTH.check("radius", spec.radius).err());
        flaws.extend(spec.rod_length.and_then(|l| LENGTH.check("rod_length", l).err()));
        for (i, azimuth) in spec.azimuths.into_iter().enumerate() {
            flaws.extend(ANGLE.check("azimuths", azimuth).err().map(|f| f.at_index(i)));
        }
        let [a, b, c] = spec.azimuths;
        for (one, other, index) in [(a, b, 1), (b, c, 2), (c, a, 2)] {
            let between = apart(one, other);
            if !(ACTUATORS_APART.least <= between) && flaws.iter().all(|f| f.field != "azimuths") {
                flaws.push(
                    Flaw::new(Code::ImpossibleMechanism, "azimuths", "two actuators stand too close to each other to hold the plate")
                        .found(
                            format!("{between} deg between {one} and {other} deg"),
                            format!("at least {}", with_unit(ACTUATORS_APART.least, ACTUATORS_APART.unit)),
                        )
                        .help("three actuators are usually 120 deg apart: [0, 120, 240]")
                        .at_index(index),
                );
            }
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let feet = spec.azimuths.map(|azimuth| {
            let at = elementary::radians(azimuth);
            [spec.radius * elementary::cos(at), spec.radius * elementary::sin(at)]
        });
        let [[x1, y1], [x2, y2], [x3, y3]] = feet;
        let (ones, x, y) = (Vector::new(1.0, 1.0, 1.0), Vector::new(x1, x2, x3), Vector::new(y1, y2, y3));
        let whole = 1.0 / ones.dot(x.cross(y));
        let inverse = [x.cross(y).times(whole), y.cross(ones).times(whole), ones.cross(x).times(whole)];
        Ok(Swashplate { feet, rod_length: spec.rod_length, inverse })
    }

    /// True where rods join the actuators to the plate, so that the way back has no closed form.
    #[must_use]
    pub fn has_rods(&self) -> bool {
        self.rod_length.is_some()
    }

    /// Heights of the three actuators (mm, 0 where the plate is level) for heave (mm), pitch and roll (deg).
    ///
    /// # Errors
    /// [`OutOfReach::Range`] for `pitch` or `roll`, with the range that it has at the other's value: a plate on edge, or a rod
    /// too short for how far its end swings in.
    pub fn actuators<T: Real>(&self, heave: T, pitch: T, roll: T) -> Result<[T; 3], OutOfReach> {
        if !self.reaches(pitch.value(), roll.value()) || !heave.value().is_finite() {
            return Err(self.out_of_reach(heave.value(), pitch.value(), roll.value()));
        }
        Ok(self.heights(heave, pitch, roll))
    }

    /// Heave (mm), pitch and roll (deg) of the plate whose actuators are at `heights` (mm): the inverse of
    /// [`Swashplate::actuators`]. In closed form for the plane, by Newton's method for rods.
    ///
    /// # Errors
    /// [`OutOfReach::NoPose`] where no plate can have its actuators there.
    pub fn pose<T: Real>(&self, heights: [T; 3]) -> Result<[T; 3], OutOfReach> {
        let [first, second, third] = heights.map(Real::value);
        let none = OutOfReach::NoPose { first, second, third };
        if ![first, second, third].into_iter().all(f64::is_finite) {
            return Err(none);
        }
        if self.rod_length.is_none() {
            return Ok(self.plane_pose(heights));
        }
        let (found, inverse) = self.rod_pose([first, second, third]).ok_or(none)?;
        // At the solution three more corrections with the same slopes: each makes one more derivative exact, because the error
        // of the slopes is of the first order of time and multiplies the error that is left.
        let mut pose = found.map(T::constant);
        for _ in 0..3 {
            pose = corrected(pose, &inverse, heights, self.heights(pose[0], pose[1], pose[2]));
        }
        Ok(pose)
    }

    /// Heights without the question whether they can be reached.
    fn heights<T: Real>(&self, heave: T, pitch: T, roll: T) -> [T; 3] {
        let (pitch, roll) = (pitch.to_radians_of_degrees(), roll.to_radians_of_degrees());
        let (sp, cp, sr, cr) = (pitch.sine(), pitch.cosine(), roll.sine(), roll.cosine());
        self.feet.map(|[x, y]| match self.rod_length {
            // n = R (0, 0, 1) = (sin pitch cos roll, -sin roll, cos pitch cos roll); z is down, so height is heave + (n . foot) / nz.
            None => heave + (sp * cr).times(x) / (cp * cr) - sr.times(y) / (cp * cr),
            // R (x, y, 0) = (x cos p + y sin p sin r, y cos r, -x sin p + y cos p sin r), the last one down.
            Some(length) => {
                let (ahead, aside) = ((cp.times(x) + (sp * sr).times(y)) - T::constant(x), cr.times(y) - T::constant(y));
                let up = sp.times(x) - (cp * sr).times(y);
                // L - sqrt(L^2 - d^2) = d^2 / (L + sqrt(L^2 - d^2)), which keeps its digits for a small d.
                let left = ahead * ahead + aside * aside;
                heave + up + left / ((T::constant(length * length) - left).root() + T::constant(length))
            }
        })
    }

    /// True where the plate can stand so.
    fn reaches(&self, pitch: f64, roll: f64) -> bool {
        let (sp, cp) = (elementary::sin(elementary::radians(pitch)), elementary::cos(elementary::radians(pitch)));
        let (sr, cr) = (elementary::sin(elementary::radians(roll)), elementary::cos(elementary::radians(roll)));
        let upright = -90.0 < pitch && pitch < 90.0 && -90.0 < roll && roll < 90.0;
        let joined = self.rod_length.is_none_or(|length| {
            self.feet.iter().all(|&[x, y]| {
                let (ahead, aside) = (cp * x + sp * sr * y - x, cr * y - y);
                ahead * ahead + aside * aside < length * length
            })
        });
        upright && joined
    }

    /// Says which of the two angles is to blame and how far it can go.
    fn out_of_reach(&self, heave: f64, pitch: f64, roll: f64) -> OutOfReach {
        if !heave.is_finite() {
            return OutOfReach::Range { quantity: "heave", found: heave, least: f64::MIN, most: f64::MAX, unit: "mm" };
        }
        let pitch_is_to_blame = self.reaches(0.0, roll) && (pitch.abs() >= roll.abs() || !self.reaches(pitch, 0.0));
        if pitch_is_to_blame {
            let [least, most] = [-1.0, 1.0].map(|sign| sign * farthest(|angle| self.reaches(sign * angle, roll)));
            OutOfReach::Range { quantity: "pitch", found: pitch, least, most, unit: "deg" }
        } else {
            let held = if self.reaches(pitch, 0.0) { pitch } else { 0.0 };
            let [least, most] = [-1.0, 1.0].map(|sign| sign * farthest(|angle| self.reaches(held, sign * angle)));
            OutOfReach::Range { quantity: "roll", found: roll, least, most, unit: "deg" }
        }
    }

    /// The plane through three heights: z = middle + front x + right y, so tan(pitch) = front, tan(roll) = -right cos(pitch).
    fn plane_pose<T: Real>(&self, [a, b, c]: [T; 3]) -> [T; 3] {
        let [middle, front, right] = self.inverse.map(|row| Vector::new(a, b, c).along(row));
        let one = T::constant(1.0);
        let pitch = front.angle_over(one);
        let roll = (-right).angle_over((one + front * front).root());
        [middle, pitch.to_degrees_of_radians(), roll.to_degrees_of_radians()]
    }

    /// Pose of a plate on rods, and the slopes of the pose by the heights there.
    fn rod_pose(&self, heights: [f64; 3]) -> Option<([f64; 3], [Vector; 3])> {
        let mut pose = self.plane_pose(heights);
        let mut before = f64::INFINITY;
        for _ in 0..60 {
            let [heave, pitch, roll] = pose;
            if !self.reaches(pitch, roll) {
                return None;
            }
            let inverse = self.slopes(pose)?;
            let next = corrected(pose, &inverse, heights, self.heights(heave, pitch, roll));
            // Newton's corrections shrink by squares until rounding makes them as large as the one before: then it is done.
            let [a, b, c] = [next[0] - pose[0], next[1] - pose[1], next[2] - pose[2]];
            let size = a.abs().max(b.abs()).max(c.abs());
            let least = 1e-6 * (1.0 + pitch.abs().max(roll.abs()).max(heave.abs()));
            if size < least && !(size < 0.5 * before) {
                return Some((pose, inverse));
            }
            (before, pose) = (size, next);
        }
        None
    }

    /// Inverse of the matrix of the heights' slopes by heave, pitch and roll.
    fn slopes(&self, [heave, pitch, roll]: [f64; 3]) -> Option<[Vector; 3]> {
        let still = Jet::constant;
        let [by_heave, by_pitch, by_roll] = [
            self.heights(Jet::time(heave), still(pitch), still(roll)),
            self.heights(still(heave), Jet::time(pitch), still(roll)),
            self.heights(still(heave), still(pitch), Jet::time(roll)),
        ]
        .map(|[a, b, c]| Vector::new(a.v, b.v, c.v));
        let whole = 1.0 / by_heave.dot(by_pitch.cross(by_roll));
        let rows = [by_pitch.cross(by_roll), by_roll.cross(by_heave), by_heave.cross(by_pitch)].map(|row| row.times(whole));
        whole.is_finite().then_some(rows)
    }
}

/// One step of Newton's method with the given inverse slopes.
fn corrected<T: Real>([heave, pitch, roll]: [T; 3], inverse: &[Vector; 3], wanted: [T; 3], have: [T; 3]) -> [T; 3] {
    let missing = Vector::new(wanted[0] - have[0], wanted[1] - have[1], wanted[2] - have[2]);
    let [by_heave, by_pitch, by_roll] = *inverse;
    [heave + missing.along(by_heave), pitch + missing.along(by_pitch), roll + missing.along(by_roll)]
}

/// Degrees between two azimuths, 0 to 180.
fn apart(one: f64, other: f64) -> f64 {
    let turn = (one - other).abs();
    let within = turn - 360.0 * (turn / 360.0).floor();
    within.min(360.0 - within)
}

/// Greatest angle from 0 to 90 deg up to which `reaches` holds, marched in quarter degrees and halved to rounding.
fn farthest(reaches: impl Fn(f64) -> bool) -> f64 {
    let quarter = (1..=360_i32).find(|&i| !reaches(f64::from(i) * 0.25)).unwrap_or(360);
    let (mut inside, mut outside) = (f64::from(quarter - 1) * 0.25, f64::from(quarter) * 0.25);
    for _ in 0..40 {
        let middle = 0.5 * (inside + outside);
        if reaches(middle) { inside = middle } else { outside = middle }
    }
    inside
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use nalgebra::{Rotation3, Vector3};
    use proptest::prelude::*;

    use super::super::real::oracle::{both, close, same};
    use super::*;

    fn plate(azimuths: [f64; 3], rod_length: Option<f64>) -> Swashplate {
        Swashplate::new(SwashplateSpec { radius: 100.0, azimuths, rod_length }).unwrap()
    }

    /// Source: ArduPilot AP_MotorsHeli_Swash.cpp, H3-120: roll 0.866025, -0.866025, 0; pitch 0.5, 0.5, -1; collective 1 at azimuths
    /// -60, 60 and 180 deg. Printed to six digits; slopes of the exact plate in the level position, radius 1 radian.
    #[test]
    fn small_angles_mix_like_the_published_three_servo_table() {
        let published = [[1.0, 0.5, 0.866_025], [1.0, 0.5, -0.866_025], [1.0, -1.0, 0.0]];
        for rod_length in [None, Some(60.0)] {
            let plate = plate([-60.0, 60.0, 180.0], rod_length);
            let per_degree = 100.0 * elementary::radians(1.0);
            let still = Jet::constant(0.0);
            let heave = plate.actuators(Jet::time(0.0), still, still).unwrap();
            let pitch = plate.actuators(still, Jet::time(0.0), still).unwrap();
            let roll = plate.actuators(still, still, Jet::time(0.0)).unwrap();
            for (i, [h, p, r]) in published.into_iter().enumerate() {
                assert!((heave[i].v - h).abs() <= 1e-15);
                assert!((pitch[i].v / per_degree - p).abs() <= 5e-7, "{:?}", pitch[i]);
                assert!((roll[i].v / per_degree - r).abs() <= 5e-7, "{:?}", roll[i]);
            }
        }
    }

    /// Source of the ratios: Sensors 2016, 16, 1577, Table 1: the three strokes for roll (1, 0, -1), pitch (-0.5, 1, -0.5) and
    /// heave (1, 1, 1) with azimuths 120, 0 and -120 deg; its first column is scaled by cos 30 deg and has the other sign of roll.
    #[test]
    fn small_angles_stroke_like_the_published_table() {
        let plate = plate([120.0, 0.0, -120.0], None);
        let still = Jet::constant(0.0);
        let unit = 100.0 * elementary::radians(1.0);
        let roll = plate.actuators(still, still, Jet::time(0.0)).unwrap().map(|z| -z.v / unit / 0.75_f64.sqrt());
        let pitch = plate.actuators(still, Jet::time(0.0), still).unwrap().map(|z| z.v / unit);
        for (mine, table) in [(roll, [1.0, 0.0, -1.0]), (pitch, [-0.5, 1.0, -0.5])] {
            for (m, t) in mine.into_iter().zip(table) {
                assert!((m - t).abs() <= 1e-14, "{m} {t}");
            }
        }
    }

    /// Derived: radius 100 mm, azimuths 0, 120, 240 deg, height 20 mm, R = Ry(3 deg) Rx(5 deg) with z up, which are pitch -3 and
    /// roll -5 deg here: 14.759222, 30.207527, 15.033251 mm. Half a unit of the last digit.
    #[test]
    fn the_worked_plate_has_its_heights() {
        let z = plate([0.0, 120.0, 240.0], None).actuators(20.0, -3.0, -5.0).unwrap();
        for (mine, worked) in z.into_iter().zip([14.759_222, 30.207_527, 15.033_251]) {
            assert!((mine - worked).abs() <= 5e-7, "{mine} {worked}");
        }
    }

    proptest! {
        /// The plane is the one a nalgebra rotation turns: every head lies on it, to the rounding of 100 mm over a cosine above 0.5.
        #[test]
        fn heads_lie_on_the_turned_plane(heave in -50.0..50.0_f64, pitch in -40.0..40.0_f64, roll in -40.0..40.0_f64) {
            let plate = plate([0.0, 120.0, 240.0], None);
            let down = Rotation3::from_axis_angle(&Vector3::y_axis(), pitch.to_radians())
                * Rotation3::from_axis_angle(&Vector3::x_axis(), roll.to_radians());
            let normal = down * Vector3::z();
            for ([x, y], z) in plate.feet.into_iter().zip(plate.actuators(heave, pitch, roll).unwrap()) {
                let off = normal.dot(&Vector3::new(x, y, -(z - heave)));
                prop_assert!(off.abs() <= 1e-12, "{}", off);
            }
        }

        /// Each rod has its length, between its head and the point that a nalgebra rotation gives.
        #[test]
        fn rods_keep_their_length(heave in -50.0..50.0_f64, pitch in -40.0..40.0_f64, roll in -40.0..40.0_f64) {
            let plate = plate([-60.0, 60.0, 180.0], Some(80.0));
            let down = Rotation3::from_axis_angle(&Vector3::y_axis(), pitch.to_radians())
                * Rotation3::from_axis_angle(&Vector3::x_axis(), roll.to_radians());
            for ([x, y], z) in plate.feet.into_iter().zip(plate.actuators(heave, pitch, roll).unwrap()) {
                let held = down * Vector3::new(x, y, 0.0) - Vector3::new(0.0, 0.0, heave);
                // The head is one rod below the actuator's zero, in heights: z - L; downwards L - z.
                let rod = held - Vector3::new(x, y, 80.0 - z);
                prop_assert!((rod.norm() - 80.0).abs() <= 1e-11, "{}", rod.norm());
            }
        }

        /// There and back is the same pose with all three derivatives, for both models. 1e-10 of the numbers' size: heights of 100 mm
        /// have a rounding of 1e-14, divided by slopes above 0.1 and raised by three derivatives.
        #[test]
        fn there_and_back(heave in -30.0..30.0_f64, pitch in -25.0..25.0_f64, roll in -25.0..25.0_f64,
            turn in -180.0..180.0_f64, rod in prop::option::of(40.0..300.0_f64), v in prop::array::uniform9(-3.0..3.0_f64)) {
            let plate = plate([turn, turn + 110.0, turn - 130.0], rod);
            let [h, p, r] = [Jet { p: heave, v: v[0], a: v[1], j: v[2] }, Jet { p: pitch, v: v[3], a: v[4], j: v[5] },
                Jet { p: roll, v: v[6], a: v[7], j: v[8] }];
            let back = plate.pose(plate.actuators(h, p, r).unwrap()).unwrap();
            for (mine, was) in back.into_iter().zip([h, p, r]) {
                close(mine, was, 1e-10);
            }
            let plain = plate.pose(plate.actuators(heave, pitch, roll).unwrap()).unwrap();
            prop_assert!((plain[1] - pitch).abs() <= 1e-10 && (plain[2] - roll).abs() <= 1e-10);
        }
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        for rod in [None, Some(70.0)] {
            let plate = plate([-60.0, 60.0, 180.0], rod);
            let ((h, dh), (p, dp), (r, dr)) = (both(5.0, 1.0, -0.3, 0.2), both(12.0, -2.0, 0.7, 0.1), both(-7.0, 1.5, 0.4, -0.6));
            let (mine, theirs) = (plate.actuators(h, p, r).unwrap(), plate.actuators(dh, dp, dr).unwrap());
            for (m, t) in mine.into_iter().zip(theirs) {
                same(m, t, 1e-12);
            }
        }
    }

    /// At pitch b alone the point at the front swings in by r (1 - cos b): a rod of 20 mm on a radius of 100 mm goes to acos 0.8.
    #[test]
    fn a_short_rod_says_how_far_it_reaches() {
        let plate = plate([0.0, 120.0, 240.0], Some(20.0));
        let edge = elementary::degrees(elementary::acos(0.8));
        assert!(plate.actuators(0.0, edge - 1e-9, 0.0).is_ok());
        let OutOfReach::Range { quantity, found, least, most, .. } = plate.actuators(0.0, 40.0, 0.0).unwrap_err() else {
            panic!("a range was expected")
        };
        assert_eq!((quantity, found), ("pitch", 40.0));
        assert!((most - edge).abs() <= 1e-9 && (least + edge).abs() <= 1e-9, "{least} {most} {edge}");
        let text = plate.actuators(0.0, 2.0, -60.0).unwrap_err().to_string();
        assert!(text.starts_with("roll is out of reach at -60 deg, reachable are -"), "{text}");
        assert!(matches!(plate.pose([90.0, -90.0, -90.0]), Err(OutOfReach::NoPose { .. })));
    }

    #[test]
    fn no_number_gives_no_number_away() {
        let plate = plate([0.0, 120.0, 240.0], None);
        assert!(plate.actuators(0.0, 90.0, 0.0).is_err());
        assert!(plate.actuators(0.0, f64::NAN, 0.0).is_err());
        assert!(plate.actuators(f64::NAN, 0.0, 0.0).is_err());
        assert!(plate.pose([0.0, f64::NAN, 0.0]).is_err());
    }

    #[test]
    fn actuators_that_cannot_hold_a_plate_are_refused() {
        let spec = SwashplateSpec { radius: 100.0, azimuths: [0.0, 120.0, 365.0], rod_length: Some(0.0) };
        let fields: Vec<String> = Swashplate::new(spec).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(fields, ["rod_length", "azimuths"]);
        let near = Swashplate::new(SwashplateSpec { radius: 100.0, azimuths: [0.0, 120.0, 355.0], rod_length: None }).unwrap_err();
        assert_eq!((near[0].code.slug(), near[0].index), ("impossible-mechanism", Some(2)));
        assert!(Swashplate::new(SwashplateSpec { radius: 100.0, azimuths: [0.0, 120.0, 350.0], rod_length: None }).is_ok());
        assert!(Swashplate::new(SwashplateSpec { radius: f64::NAN, azimuths: [0.0, 120.0, 240.0], rod_length: None }).is_err());
    }
}
