//! A plate on three vertical actuators: heave, pitch and roll to actuator heights, and back.
//!
//! Seen from above, azimuths run clockwise from the front. Positive pitch raises the front, positive roll raises the left (the
//! side at azimuth -90 deg): the signs of the published mixing of three servos. With x to the front, y to azimuth 90 deg and
//! z down the plate is turned by R = Ry(pitch) Rx(roll), its middle moves only up and down.
//!
//! Two models. Plane: each actuator stays vertical below its azimuth and carries the plane of the plate, on which its contact
//! slides; the height is that of the plane there, exactly: heave + (nx x + ny y) / nz with the plate's normal n. Rods: a rod or wire
//! of fixed length joins each actuator to a point fixed on the plate, which swings in as the plate tilts, so that the rod leans; from
//! below or from above, see `rods.rs`. All heights are 0 in the level plate. The two models differ in the second order of the
//! angles. Sources of the signs: the open autopilots' mixers, ArduPilot AP_MotorsHeli_Swash.cpp (servo = collective +
//! roll cos(azimuth + 90) + pitch cos(azimuth)) and PX4 ActuatorEffectivenessHelicopter.cpp (the same with - roll sin(azimuth));
//! the geometry is plain vector algebra.
//!
//! Limits: rigid plate and rods, ball joints without play; a plate on edge (90 deg) cannot be reached.

use super::OutOfReach;
use super::enclosed_inverse::enclosed_inverse;
use super::interval::IntervalJet;
use super::kinematics::{Mechanism, Quantity};
use super::real::Real;
use super::rods::{CarriedFrom, Rods, farthest};
use super::space::Vector;
use super::unit::Unit;
use crate::bounds::{ACTUATORS_APART, ANGLE, Code, Flaw, LENGTH, with_unit};
use crate::number::{Jet, elementary};

/// What a swashplate is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwashplateSpec {
    /// From the plate's middle to the actuators, mm.
    pub radius: f64,
    /// Where the actuators stand, deg, clockwise from the front as seen from above.
    pub azimuths: [f64; 3],
    /// Length of the rods or wires between actuators and plate, mm; without it the actuators carry the plane itself.
    pub rod_length: Option<f64>,
    /// Whether they push from below or hang the plate from above; says nothing where there are none.
    pub carried_from: CarriedFrom,
}

/// A checked swashplate.
#[derive(Debug, Clone, PartialEq)]
pub struct Swashplate {
    /// Towards the front and towards azimuth 90 deg, mm, of each actuator.
    feet: [[f64; 2]; 3],
    rods: Option<Rods>,
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
            let between = angle_between(one, other);
            if !(ACTUATORS_APART.least <= between) && flaws.iter().all(|f| f.field != "azimuths") {
                flaws.push(
                    Flaw::new(Code::ImpossibleMechanism, "azimuths", "two actuators are too close together to hold the plate")
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
        let rods = spec.rod_length.map(|length| Rods::new(feet, length, spec.carried_from));
        Ok(Swashplate { feet, rods, inverse })
    }

    /// Heights of the three actuators (mm, 0 where the plate is level) for heave (mm), pitch and roll (deg).
    ///
    /// # Errors
    /// [`OutOfReach::Range`] for `pitch` or `roll`, with the range that it has at the other's value: a plate on edge, a rod too short
    /// for how far its end swings in, or a plate at or behind a dead centre, where the actuators do not hold it.
    pub(crate) fn actuators<T: Real>(&self, heave: T, pitch: T, roll: T) -> Result<[T; 3], OutOfReach> {
        if !self.reaches(pitch.value(), roll.value()) || !heave.value().is_finite() {
            return Err(self.out_of_reach(heave.value(), pitch.value(), roll.value()));
        }
        Ok(self.heights(heave, pitch, roll))
    }

    /// Heave (mm), pitch and roll (deg) of the plate whose actuators are at `heights` (mm): the inverse of
    /// [`Swashplate::actuators`]. In closed form for the plane; with rods the pose is followed from the level plate.
    ///
    /// # Errors
    /// [`OutOfReach::NoPose`] where no plate can have its actuators there.
    pub(crate) fn pose<T: Real>(&self, heights: [T; 3]) -> Result<[T; 3], OutOfReach> {
        let values = heights.map(Real::value);
        if self.rods.is_none() && values.into_iter().all(f64::is_finite) {
            return Ok(self.plane_pose(heights));
        }
        let (found, inverse) = self.pose_and_slopes(values)?;
        // At the solution three more corrections with the same slopes: each makes one more derivative exact, because the error
        // of the slopes is of the first order of time and multiplies the error that is left.
        let mut pose = found.map(T::constant);
        for _ in 0..3 {
            pose = corrected(pose, &inverse, heights, self.heights(pose[0], pose[1], pose[2]));
        }
        Ok(pose)
    }

    /// The pose of a plate with rods at `heights` (mm), and how heave, pitch and roll answer to the three heights there: mm and deg for a mm.
    ///
    /// # Errors
    /// [`OutOfReach::NoPose`] where no plate can have its actuators there, and for a plate without rods.
    pub(crate) fn pose_and_slopes(&self, heights: [f64; 3]) -> Result<([f64; 3], [Vector; 3]), OutOfReach> {
        let [first, second, third] = heights;
        let found = self.rods.as_ref().filter(|_| heights.into_iter().all(f64::is_finite)).and_then(|rods| rods.pose(heights));
        found.ok_or(OutOfReach::NoPose { first, second, third })
    }

    /// Heights without the question whether they can be reached.
    fn heights<T: Real>(&self, heave: T, pitch: T, roll: T) -> [T; 3] {
        if let Some(rods) = &self.rods {
            return rods.heights(heave, pitch, roll);
        }
        let (pitch, roll) = (pitch.to_radians_of_degrees(), roll.to_radians_of_degrees());
        let ((sp, cp), (sr, cr)) = (pitch.sine_and_cosine(), roll.sine_and_cosine());
        // n = R (0, 0, 1) = (sin pitch cos roll, -sin roll, cos pitch cos roll); z is down, so height is heave + (n . foot) / nz.
        self.feet.map(|[x, y]| heave + (sp * cr).times(x) / (cp * cr) - sr.times(y) / (cp * cr))
    }

    /// True where the plate can stand so.
    fn reaches(&self, pitch: f64, roll: f64) -> bool {
        let upright = -90.0 < pitch && pitch < 90.0 && -90.0 < roll && roll < 90.0;
        upright && self.rods.as_ref().is_none_or(|rods| rods.holds(pitch, roll))
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
        let pitch = front.atan2(one);
        let roll = (-right).atan2((one + front * front).sqrt());
        [middle, pitch.to_degrees_of_radians(), roll.to_degrees_of_radians()]
    }
}

impl Mechanism for Swashplate {
    fn kind(&self) -> &str {
        "swashplate"
    }

    fn channels(&self) -> &[Quantity] {
        &[
            Quantity { name: "heave", unit: Unit::Millimetre },
            Quantity { name: "pitch", unit: Unit::Degree },
            Quantity { name: "roll", unit: Unit::Degree },
        ]
    }

    fn axes(&self) -> &[Unit] {
        &[Unit::Millimetre; 3]
    }

    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        let ([heave, pitch, roll], [_, _, _]) = (channels, &axes) else { return Err(OutOfReach::WrongCount) };
        axes.copy_from_slice(&self.actuators(*heave, *pitch, *roll)?);
        Ok(())
    }

    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        let ([a, b, c], [_, _, _]) = (axes, &channels) else { return Err(OutOfReach::WrongCount) };
        channels.copy_from_slice(&self.pose([*a, *b, *c])?);
        Ok(())
    }

    fn to_channels_at_rest(&self, axes: &[f64], channels: &mut [f64]) -> Result<(), OutOfReach> {
        let ([a, b, c], [_, _, _]) = (axes, &channels) else { return Err(OutOfReach::WrongCount) };
        channels.copy_from_slice(&self.pose([*a, *b, *c])?);
        Ok(())
    }

    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        let ([a, b, c], [_, _, _]) = (axes, &channels) else { return None };
        let heights = [*a, *b, *c];
        let pose = if self.rods.is_some() {
            let (x, slopes) = self.pose_and_slopes(heights.map(|h| h.p.middle())).ok()?;
            enclosed_inverse(heights, x, slopes, &|[heave, pitch, roll]| self.actuators(heave, pitch, roll).ok())?
        } else {
            self.pose(heights).ok()?
        };
        channels.copy_from_slice(&pose);
        Some(())
    }
}

/// One step of Newton's method with the given inverse slopes.
fn corrected<T: Real>([heave, pitch, roll]: [T; 3], inverse: &[Vector; 3], wanted: [T; 3], have: [T; 3]) -> [T; 3] {
    let missing = Vector::new(wanted[0] - have[0], wanted[1] - have[1], wanted[2] - have[2]);
    let [by_heave, by_pitch, by_roll] = *inverse;
    [heave + missing.along(by_heave), pitch + missing.along(by_pitch), roll + missing.along(by_roll)]
}

/// Degrees between two azimuths, 0 to 180.
fn angle_between(one: f64, other: f64) -> f64 {
    let turn = (one - other).abs();
    let within = turn - 360.0 * (turn / 360.0).floor();
    within.min(360.0 - within)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use nalgebra::{Rotation3, Vector3};
    use proptest::prelude::*;

    use super::super::real::oracle::{both, close, same};
    use super::*;
    use crate::number::Jet;

    fn plate(azimuths: [f64; 3], rod_length: Option<f64>) -> Swashplate {
        carried(azimuths, rod_length, CarriedFrom::Below)
    }

    fn carried(azimuths: [f64; 3], rod_length: Option<f64>, carried_from: CarriedFrom) -> Swashplate {
        Swashplate::new(SwashplateSpec { radius: 100.0, azimuths, rod_length, carried_from }).unwrap()
    }

    const SIDES: [CarriedFrom; 2] = [CarriedFrom::Below, CarriedFrom::Above];

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

        /// Each rod or wire has its length, between its actuator's end and the point that a nalgebra rotation gives.
        #[test]
        fn rods_and_wires_keep_their_length(heave in -50.0..50.0_f64, pitch in -40.0..40.0_f64, roll in -40.0..40.0_f64) {
            let down = Rotation3::from_axis_angle(&Vector3::y_axis(), pitch.to_radians())
                * Rotation3::from_axis_angle(&Vector3::x_axis(), roll.to_radians());
            // In the level plate an actuator's end is one length below or above the plate; z points down.
            for (side, level) in [(CarriedFrom::Below, 120.0), (CarriedFrom::Above, -120.0)] {
                let plate = carried([-60.0, 60.0, 180.0], Some(120.0), side);
                for ([x, y], z) in plate.feet.into_iter().zip(plate.actuators(heave, pitch, roll).unwrap()) {
                    let held = down * Vector3::new(x, y, 0.0) - Vector3::new(0.0, 0.0, heave);
                    let rod = held - Vector3::new(x, y, level - z);
                    prop_assert!((rod.norm() - 120.0).abs() <= 1e-11, "{}", rod.norm());
                }
            }
        }

        /// There and back is the same pose with all three derivatives, for both models. 1e-10 of the numbers' size: heights of 100 mm
        /// have a rounding of 1e-14, divided by slopes above 0.1 and raised by three derivatives.
        #[test]
        fn there_and_back(heave in -30.0..30.0_f64, pitch in -25.0..25.0_f64, roll in -25.0..25.0_f64,
            turn in -180.0..180.0_f64, rod in prop::option::of(40.0..300.0_f64), hangs in any::<bool>(),
            v in prop::array::uniform9(-3.0..3.0_f64)) {
            let plate = carried([turn, turn + 110.0, turn - 130.0], rod, SIDES[usize::from(hangs)]);
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
        for (rod, side) in [(None, SIDES[0]), (Some(70.0), SIDES[0]), (Some(70.0), SIDES[1])] {
            let plate = carried([-60.0, 60.0, 180.0], rod, side);
            let ((h, dh), (p, dp), (r, dr)) = (both(5.0, 1.0, -0.3, 0.2), both(12.0, -2.0, 0.7, 0.1), both(-7.0, 1.5, 0.4, -0.6));
            let (mine, theirs) = (plate.actuators(h, p, r).unwrap(), plate.actuators(dh, dp, dr).unwrap());
            for (m, t) in mine.into_iter().zip(theirs) {
                same(m, t, 1e-12);
            }
        }
    }

    /// Worked: at pitch b the point at the front rises by r sin b and swings in by r (1 - cos b). With r = 90 mm and b = 10.5 deg that is
    /// 16.401 20 mm and 1.507 06 mm; a rod or wire of 600 mm leans by 0.001 892 7 mm, once up and once down. Half a unit of the last digit.
    #[test]
    fn wires_from_above_lean_with_the_other_sign() {
        let spec =
            SwashplateSpec { radius: 90.0, azimuths: [0.0, 240.0, 120.0], rod_length: Some(600.0), carried_from: CarriedFrom::Below };
        let below = Swashplate::new(spec).unwrap().actuators(0.0, 10.5, 0.0).unwrap();
        let above =
            Swashplate::new(SwashplateSpec { carried_from: CarriedFrom::Above, ..spec }).unwrap().actuators(0.0, 10.5, 0.0).unwrap();
        assert!((below[0] - 16.401_20 - 0.001_892_7).abs() <= 5e-6 + 5e-8, "{below:?}");
        assert!((0.5 * (below[0] - above[0]) - 0.001_892_7).abs() <= 5e-8, "{below:?} {above:?}");
        // A plate hung from above is one pushed from below that is seen upside down.
        let plates = SIDES.map(|side| carried([10.0, 140.0, 250.0], Some(70.0), side));
        let [pushed, hung] = [plates[0].actuators(7.0, -12.0, 25.0).unwrap(), plates[1].actuators(-7.0, 12.0, -25.0).unwrap()];
        assert!(pushed.into_iter().zip(hung).all(|(p, h)| (p + h).abs() <= 1e-13), "{pushed:?} {hung:?}");
    }

    /// At pitch b alone the point at the front swings in by r (1 - cos b): a rod of 20 mm on a radius of 100 mm goes to acos 0.8.
    #[test]
    fn a_short_rod_says_how_far_it_reaches() {
        let plate = plate([0.0, 120.0, 240.0], Some(20.0));
        let edge = elementary::degrees(elementary::acos(0.8));
        assert!(plate.actuators(0.0, edge - 1e-9, 0.0).is_ok());
        let OutOfReach::Range { quantity, found, most, .. } = plate.actuators(0.0, 40.0, 0.0).unwrap_err() else {
            panic!("a range was expected")
        };
        assert_eq!((quantity, found), ("pitch", 40.0));
        assert!((most - edge).abs() <= 1e-9, "{most} {edge}");
        let text = plate.actuators(0.0, 2.0, -60.0).unwrap_err().to_string();
        assert!(text.starts_with("roll is out of reach at -60 deg; the mechanism reaches -"), "{text}");
        assert!(matches!(plate.pose([90.0, -90.0, -90.0]), Err(OutOfReach::NoPose { .. })));
    }

    /// Nose down, the rod at the front leans so much in the end that the plate sinks on while its actuator has to rise again: a dead
    /// centre, before the rod is too short. It is where the difference of the front's and the back's heights is least; searched here in
    /// plain numbers, to 1e-6 deg, the root of the rounding.
    #[test]
    fn a_plate_stops_at_its_dead_centre() {
        let swung = |x: f64, pitch: f64| x * (1.0 - elementary::cos(elementary::radians(pitch)));
        let lean = |x: f64, pitch: f64| 20.0 - (400.0 - swung(x, pitch) * swung(x, pitch)).sqrt();
        let apart = |pitch: f64| 150.0 * elementary::sin(elementary::radians(pitch)) + lean(100.0, pitch) - lean(50.0, pitch);
        let (mut low, mut high) = (-36.0, -20.0);
        while high - low > 1e-9 {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if apart(a) < apart(b) { high = b } else { low = a }
        }
        for side in SIDES {
            // Hung from above the same happens nose up.
            let sign = if side == CarriedFrom::Below { 1.0 } else { -1.0 };
            let plate = carried([0.0, 120.0, 240.0], Some(20.0), side);
            let OutOfReach::Range { least, most, .. } = plate.actuators(0.0, sign * -36.0, 0.0).unwrap_err() else {
                panic!("a range was expected")
            };
            let stop = if sign > 0.0 { least } else { -most };
            assert!((stop - low).abs() <= 1e-6, "{least} {most} {low}");
            let back = plate.pose(plate.actuators(0.0, sign * (low + 0.01), 0.0).unwrap()).unwrap();
            assert!((back[1] - sign * (low + 0.01)).abs() <= 1e-9, "{back:?}");
        }
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
        let spec = SwashplateSpec { radius: 100.0, azimuths: [0.0, 120.0, 365.0], rod_length: Some(0.0), carried_from: CarriedFrom::Below };
        let fields: Vec<String> = Swashplate::new(spec).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(fields, ["rod_length", "azimuths"]);
        let near = Swashplate::new(SwashplateSpec {
            radius: 100.0,
            azimuths: [0.0, 120.0, 355.0],
            rod_length: None,
            carried_from: CarriedFrom::Below,
        })
        .unwrap_err();
        assert_eq!((near[0].code.slug(), near[0].index), ("impossible-mechanism", Some(2)));
        assert!(
            Swashplate::new(SwashplateSpec {
                radius: 100.0,
                azimuths: [0.0, 120.0, 350.0],
                rod_length: None,
                carried_from: CarriedFrom::Below
            })
            .is_ok()
        );
        assert!(
            Swashplate::new(SwashplateSpec {
                radius: f64::NAN,
                azimuths: [0.0, 120.0, 240.0],
                rod_length: None,
                carried_from: CarriedFrom::Below
            })
            .is_err()
        );
    }
}
