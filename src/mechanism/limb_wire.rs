//! A limb on a joint, held by a wire through a guide: joint angle to wire paid out, and back; and whether the wire stays taut.
//!
//! Seen from the side with the joint at the origin, at 0 deg the limb's arm points along `across`, and positive angles raise it
//! towards `up`. The wire runs straight from the guide to the arm's end, so its length is the third side of a triangle: by the
//! law of cosines w^2 = a^2 + g^2 - 2 a g cos(c - angle), with arm a, guide at distance g in direction c. Invariant: the limb
//! stays on the side of the guide that the neutral angle is on, between the two dead centres (arm towards the guide and arm
//! away from it), where the length is strictly monotone and has one inverse.
//!
//! A wire only pulls. With inertia I about the joint and a centre of mass at c along the arm, I angle'' = T lever - m g c
//! cos(angle), where T is the wire's tension and lever = -dw/dangle (virtual work: the wire shortens by lever times the turn).
//! So the wire is taut as long as T = (I angle'' + m g c cos(angle)) / lever > 0: gravity alone turns the limb at
//! m g c cos(angle) / I, and the wire must not be paid out faster than that. Source: any textbook of mechanics (moments about a
//! fixed axis). Limits: no friction in the joint, no weight of the wire, centre of mass on the line of the arm, joint at rest.

use super::hanging::{Hanging, Pull};
use super::interval::IntervalJet;
use super::kinematics::{Mechanism, Quantity, one_to_one};
use super::real::Real;
use super::unit::Unit;
use super::{GRAVITY, OutOfReach};
use crate::bounds::{self, ANGLE, COORDINATE, Code, Flaw, LENGTH, OFF_DEAD_CENTRE};
use crate::number::{Jet, elementary};

/// What a limb's wire is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimbWireSpec {
    /// From the joint to where the wire is tied to the limb, mm.
    pub arm: f64,
    /// Where the guide is, seen from the joint: across and up, mm.
    pub guide: [f64; 2],
    /// Joint angle at which the length of wire paid out is 0, deg.
    pub neutral: f64,
}

/// A checked limb wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimbWire {
    arm: f64,
    guide: [f64; 2],
    /// Distance of the guide from the joint, mm.
    reach: f64,
    /// Direction of the guide, deg, within half a turn of the neutral angle.
    towards: f64,
    /// 1 where the guide lies above the arm (pulling raises the angle), -1 where below.
    side: f64,
    /// Wire between guide and arm at the neutral angle, mm.
    at_neutral: f64,
    /// The limb's weight, where it is given.
    limb: Option<Limb>,
}

impl LimbWire {
    /// Checks a limb's wire.
    ///
    /// # Errors
    /// Every number out of its range; a guide at the joint; a neutral angle at a dead centre, where pulling turns nothing.
    pub fn new(spec: LimbWireSpec) -> Result<LimbWire, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(LENGTH.check("arm", spec.arm).err());
        for (i, at) in spec.guide.into_iter().enumerate() {
            flaws.extend(COORDINATE.check("guide", at).err().map(|f| f.at_index(i)));
        }
        flaws.extend(ANGLE.check("neutral", spec.neutral).err());
        let [across, up] = spec.guide;
        let reach = (across * across + up * up).sqrt();
        if !(LENGTH.least <= reach) && flaws.iter().all(|f| f.field != "guide") {
            flaws.push(
                Flaw::new(Code::ImpossibleMechanism, "guide", "the guide is at the joint, so the wire cannot turn the limb")
                    .found(format!("[{across}, {up}] mm"), format!("at least {} mm from the joint", LENGTH.least)),
            );
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let direction = elementary::degrees(elementary::atan2(up, across));
        let off = direction - spec.neutral;
        let off = off - 360.0 * (off / 360.0 + 0.5).floor();
        if !(OFF_DEAD_CENTRE.least <= elementary::sin(elementary::radians(off)).abs()) {
            return Err(vec![
                Flaw::new(
                    Code::ImpossibleMechanism,
                    "neutral",
                    "the limb is at a dead centre at its neutral angle, so the wire cannot turn it",
                )
                .found(
                    format!("{} deg with the guide at {direction} deg", spec.neutral),
                    "an angle away from the line through joint and guide",
                ),
            ]);
        }
        let side = if off > 0.0 { 1.0 } else { -1.0 };
        let wire = LimbWire { arm: spec.arm, guide: spec.guide, reach, towards: spec.neutral + off, side, at_neutral: 0.0, limb: None };
        Ok(LimbWire { at_neutral: wire.length(spec.neutral), ..wire })
    }

    /// The same wire with the weight of its limb: the wire must then stay taut.
    #[must_use]
    pub fn with_limb(self, limb: Limb) -> LimbWire {
        LimbWire { limb: Some(limb), ..self }
    }

    /// The open range of joint angles that the wire can hold, deg: between the two dead centres.
    #[must_use]
    pub(crate) fn range(&self) -> [f64; 2] {
        let far = self.towards - self.side * 180.0;
        [self.towards.min(far), self.towards.max(far)]
    }

    /// The open range of wire paid out that the limb can take up, mm: between the two dead centres.
    #[must_use]
    pub(crate) fn wire_range(&self) -> [f64; 2] {
        [(self.reach - self.arm).abs() - self.at_neutral, self.reach + self.arm - self.at_neutral]
    }

    /// Wire paid out, mm, at a joint angle, deg; 0 at the neutral angle, more where the arm's end is farther from the guide.
    ///
    /// # Errors
    /// [`OutOfReach::Range`] at or beyond a dead centre.
    pub(crate) fn paid_out<T: Real>(&self, angle: T) -> Result<T, OutOfReach> {
        let [least, most] = self.range();
        let found = angle.value();
        if !(least < found && found < most) {
            return Err(OutOfReach::Range { quantity: "angle", found, least, most, unit: "deg" });
        }
        Ok(self.length(angle) - T::constant(self.at_neutral))
    }

    /// Joint angle, deg, at which this much wire is paid out, mm: the inverse of [`LimbWire::paid_out`].
    ///
    /// # Errors
    /// [`OutOfReach::Range`] for more wire than the limb can take up, or less than it needs.
    pub(crate) fn angle<T: Real>(&self, paid_out: T) -> Result<T, OutOfReach> {
        let (near, far) = ((self.reach - self.arm).abs(), self.reach + self.arm);
        let found = paid_out.value();
        let length = paid_out + T::constant(self.at_neutral);
        let w = length.value();
        if !(near < w && w < far) {
            let [least, most] = self.wire_range();
            return Err(OutOfReach::Range { quantity: "paid out", found, least, most, unit: "mm" });
        }
        // tan(d/2)^2 = (w^2 - (g - a)^2) / ((g + a)^2 - w^2): the law of cosines in half angles, which keeps its digits near both
        // dead centres.
        let (near, far) = (T::constant(near), T::constant(far));
        let above = ((length - near) * (length + near)).sqrt();
        let below = ((far - length) * (far + length)).sqrt();
        let off = above.atan2(below).times(2.0).to_degrees_of_radians();
        Ok(T::constant(self.towards) - off.times(self.side))
    }

    /// How far the joint turns the limb's end along the wire: mm of wire pulled in per radian of angle; negative where pulling
    /// lowers the angle.
    #[must_use]
    pub(crate) fn lever(&self, angle: f64) -> f64 {
        let off = elementary::radians(self.towards - angle);
        self.arm * self.reach * elementary::sin(off) / self.length(angle)
    }

    /// Whether gravity turns `limb` as fast as the wire is paid out, at an angle (deg and per frame) run at `seconds_per_frame`.
    #[must_use]
    pub(crate) fn follows(&self, limb: &Limb, angle: Jet, seconds_per_frame: f64) -> Pull {
        let gravity = self.side * limb.falling(angle.p);
        // From 0, so that a limb at rest has no negative zero.
        let wanted = 0.0 - self.side * angle.a / (seconds_per_frame * seconds_per_frame);
        let per_torque = limb.inertia * elementary::radians(gravity - wanted) * 1e3;
        Pull { gravity, wanted, tension: per_torque / self.lever(angle.p).abs() }
    }

    /// The least margin (deg/s2, as [`Pull::margin`]) that any motion can have whose angle stays within `angle` (deg) and whose
    /// angular acceleration stays within `acceleration` (deg/s2); both as lower and upper end.
    ///
    /// A bound that holds, up to rounding, and that is reached where both ranges are points: what a proof over an interval of
    /// time needs.
    #[must_use]
    pub(crate) fn least_margin(&self, limb: &Limb, angle: [f64; 2], acceleration: [f64; 2]) -> f64 {
        let [from, to] = angle;
        let (a, b) = (self.side * limb.falling(from), self.side * limb.falling(to));
        // Between its ends the moment of the weight is least where its cosine times the sign is -1, if that angle is inside.
        let sign = self.side * limb.falling(0.0);
        let lowest = if sign > 0.0 { 180.0 } else { 0.0 };
        let first = lowest + 360.0 * ((from - lowest) / 360.0).ceil();
        let gravity = if first <= to { -sign.abs() } else { a.min(b) };
        let [slowest, fastest] = acceleration;
        let wanted = if self.side > 0.0 { -slowest } else { fastest };
        gravity - wanted
    }

    /// Distance of the arm's end from the guide.
    fn length<T: Real>(&self, angle: T) -> T {
        let angle = angle.to_radians_of_degrees();
        let [across, up] = self.guide;
        let (sine, cosine) = angle.sine_and_cosine();
        let (x, y) = (cosine.times(self.arm) - T::constant(across), sine.times(self.arm) - T::constant(up));
        (x * x + y * y).sqrt()
    }
}

/// A weighted limb: what gravity has to turn. Invariant: no lighter in turning than a point mass at its centre of mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limb {
    mass: f64,
    centre_of_mass: f64,
    inertia: f64,
}

impl Limb {
    /// A limb of `mass` (kg) whose centre of mass lies `centre_of_mass` (mm) along the arm from the joint (negative: on the other
    /// side, a counterweight), with the moment of `inertia` (kg m2) about the joint.
    ///
    /// # Errors
    /// Every number out of its range, and an inertia about the joint below mass times distance squared, which no body has
    /// (parallel axis theorem).
    pub fn new(mass: f64, centre_of_mass: f64, inertia: f64) -> Result<Limb, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(bounds::MASS.check("mass", mass).err());
        flaws.extend(COORDINATE.check("centre_of_mass", centre_of_mass).err());
        flaws.extend(bounds::INERTIA.check("inertia", inertia).err());
        let metres = centre_of_mass * 1e-3;
        let least = mass * metres * metres;
        // A point mass typed to three digits may be half a unit of the third digit short, at most one half per cent.
        if flaws.is_empty() && !(0.0 < inertia && 0.995 * least <= inertia) {
            flaws.push(
                Flaw::new(
                    Code::ImpossibleMechanism,
                    "inertia",
                    "the moment of inertia about the joint is less than any body's of this mass and centre of mass",
                )
                .found(format!("{inertia} kg m2"), format!("more than 0 and at least mass x distance^2 = {least} kg m2"))
                .help("about the joint, not about the centre of mass; kg m2, not kg mm2"),
            );
        }
        if flaws.is_empty() { Ok(Limb { mass, centre_of_mass, inertia }) } else { Err(flaws) }
    }

    /// Angular acceleration with which gravity lowers the angle, deg/s2, without a wire.
    #[must_use]
    pub fn falling(&self, angle: f64) -> f64 {
        let moment = self.mass * GRAVITY * self.centre_of_mass * 1e-3 * elementary::cos(elementary::radians(angle));
        elementary::degrees(moment / self.inertia)
    }
}

impl Mechanism for LimbWire {
    fn kind(&self) -> &str {
        "limb_wire"
    }

    fn channels(&self) -> &[Quantity] {
        &[Quantity { name: "angle", unit: Unit::Degree }]
    }

    fn axes(&self) -> &[Unit] {
        &[Unit::Millimetre]
    }

    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(channels, axes, |angle| self.paid_out(angle))
    }

    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |paid_out| self.angle(paid_out))
    }

    fn to_channels_at_rest(&self, axes: &[f64], channels: &mut [f64]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |paid_out| self.angle(paid_out))
    }

    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        one_to_one(axes, channels, |paid_out| self.angle(paid_out)).ok()
    }

    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        Some(self.wire_range())
    }

    fn hanging(&self) -> Option<&dyn Hanging> {
        self.limb.is_some().then_some(self as &dyn Hanging)
    }
}

impl Hanging for LimbWire {
    fn pull(&self, axis: Jet, seconds_per_frame: f64) -> Option<Pull> {
        Some(self.follows(&self.limb?, self.angle(axis).ok()?, seconds_per_frame))
    }

    fn certified_margin(&self, axis: IntervalJet, seconds_per_frame: f64) -> Option<f64> {
        let (limb, IntervalJet { p, a, .. }) = (self.limb?, self.angle(axis).ok()?);
        let squared = seconds_per_frame * seconds_per_frame;
        Some(self.least_margin(&limb, [p.lo, p.hi], [a.lo / squared, a.hi / squared]))
    }

    fn parts(&self) -> Option<[f64; 3]> {
        self.limb.map(|limb| [limb.mass, limb.centre_of_mass * 1e-3, limb.inertia])
    }

    fn with_parts(&self, [mass, centre, inertia]: [f64; 3]) -> Option<Box<dyn Hanging>> {
        Some(Box::new(self.with_limb(Limb::new(mass, centre * 1e3, inertia).ok()?)))
    }

    fn arm(&self) -> Option<f64> {
        Some(self.arm * 1e-3)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::real::oracle::{both, close, same};
    use super::*;

    fn wire(arm: f64, guide: [f64; 2], neutral: f64) -> LimbWire {
        LimbWire::new(LimbWireSpec { arm, guide, neutral }).unwrap()
    }

    /// Derived: right triangles. Arm 30 mm, guide 40 mm above the joint: level arm 50 mm (3-4-5); at 90 deg the wire is 10 mm and at
    /// -90 deg 70 mm, both dead centres; at 30 deg the included angle is 60 deg, w^2 = 900 + 1600 - 1200 = 1300; at -30 deg
    /// 120 deg, w^2 = 3700.
    #[test]
    fn worked_triangles() {
        let wire = wire(30.0, [0.0, 40.0], 0.0);
        assert_eq!(wire.range(), [-90.0, 90.0]);
        assert_eq!(wire.paid_out(0.0).unwrap(), 0.0);
        for (angle, length) in [(30.0, 1300.0_f64.sqrt()), (-30.0, 3700.0_f64.sqrt())] {
            assert!((wire.paid_out(angle).unwrap() - (length - 50.0)).abs() <= 1e-13);
            assert!((wire.angle(length - 50.0).unwrap() - angle).abs() <= 1e-12);
        }
        // At the level arm the wire's lever is a g / w = 24 mm: the altitude of the 3-4-5 triangle.
        assert!((wire.lever(0.0) - 24.0).abs() <= 1e-13);
        let (end, ends) = (wire.paid_out(90.0).unwrap_err(), wire.angle(20.0).unwrap_err());
        assert_eq!(end, OutOfReach::Range { quantity: "angle", found: 90.0, least: -90.0, most: 90.0, unit: "deg" });
        assert_eq!(ends, OutOfReach::Range { quantity: "paid out", found: 20.0, least: -40.0, most: 20.0, unit: "mm" });
        assert!(wire.paid_out(f64::NAN).is_err() && wire.angle(f64::NAN).is_err());
    }

    proptest! {
        /// Law of cosines, and back again with three derivatives. Near a dead centre the wire hardly moves with the angle: rounding of
        /// the length is divided by the lever, once more for every derivative, so angles stay 10 deg off it.
        #[test]
        fn cosines_there_and_back(arm in 10.0..200.0_f64, across in -150.0..150.0_f64, up in 20.0..150.0_f64, above in any::<bool>(),
            share in 0.06..0.94_f64, v in -4.0..4.0_f64, a in -2.0..2.0_f64, j in -2.0..2.0_f64) {
            let towards = elementary::degrees(elementary::atan2(up, across));
            let sign = if above { -1.0 } else { 1.0 };
            let wire = wire(arm, [across, up], towards + sign * 70.0);
            let angle = towards + sign * 180.0 * share;
            let out = wire.paid_out(angle).unwrap();
            let reach = (across * across + up * up).sqrt();
            let third = |off: f64| (arm * arm + reach * reach - 2.0 * arm * reach * elementary::cos(elementary::radians(off))).sqrt();
            // The law of cosines loses digits where the sides cancel: 1e-12 of sides of 400 mm over a third side above 3 mm.
            prop_assert!((out - (third(180.0 * share) - third(70.0))).abs() <= 1e-10);
            let moving = Jet { p: angle, v, a, j };
            close(wire.angle(wire.paid_out(moving).unwrap()).unwrap(), moving, 1e-10);
        }

        /// The bound over a range is below every margin in it, and is reached.
        #[test]
        fn the_least_margin_is_least(guide_up in any::<bool>(), com in -80.0..80.0_f64, from in -85.0..85.0_f64, wide in 0.0..60.0_f64,
            slow in -500.0..500.0_f64, more in 0.0..300.0_f64) {
            let wire = wire(60.0, [0.0, if guide_up { 90.0 } else { -90.0 }], 0.0);
            let limb = Limb::new(0.2, com, 0.002).unwrap();
            let (to, fast) = ((from + wide).min(89.0), slow + more);
            let least = wire.least_margin(&limb, [from, to], [slow, fast]);
            let mut seen = f64::INFINITY;
            for i in 0..=200 {
                let p = from + (to - from) * f64::from(i) / 200.0;
                for a in [slow, fast] {
                    seen = seen.min(wire.follows(&limb, Jet { p, v: 0.0, a, j: 0.0 }, 1.0).margin());
                }
            }
            // Between samples 60 / 200 deg apart a cosine hides at most (half of that in radians)^2 / 2 of its size.
            let size = limb.falling(0.0).abs() + fast.abs() + slow.abs();
            prop_assert!(least <= seen + 1e-12 * size && seen - least <= 1e-5 * size, "{} {}", least, seen);
        }
    }

    /// An inverted range: the lowest point of the cosine inside, planted.
    #[test]
    fn the_least_margin_sees_a_limb_that_hangs_over() {
        // A guide to the left of the joint holds angles 0 to 180 deg from above: neutral 90, side 1, cosine least at 180 deg.
        let wire = wire(50.0, [-80.0, 1.0], 90.0);
        let limb = Limb::new(1.0, 50.0, 0.01).unwrap();
        assert!(wire.least_margin(&limb, [170.0, 179.0], [0.0, 0.0]) < 0.0);
        let whole = wire.least_margin(&limb, [0.0, 360.0], [0.0, 0.0]);
        assert!((whole + limb.falling(0.0)).abs() <= 1e-12 * whole.abs());
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        let wire = wire(55.0, [20.0, 90.0], -10.0);
        let (mine, theirs) = both(15.0, 2.0, -0.8, 0.3);
        same(wire.paid_out(mine).unwrap(), wire.paid_out(theirs).unwrap(), 1e-12);
        let (mine, theirs) = both(6.0, 2.0, -0.8, 0.3);
        same(wire.angle(mine).unwrap(), wire.angle(theirs).unwrap(), 1e-12);
    }

    /// Derived: a uniform rod of mass m and length l about its end, I = m l^2 / 3, centre at l / 2: let go when level it falls at
    /// 3 g / (2 l), any textbook of mechanics; l = 0.3 m: 49.03325 rad/s2.
    #[test]
    fn a_level_rod_falls_at_three_halves_of_g_over_its_length() {
        let limb = Limb::new(0.4, 150.0, 0.4 * 0.09 / 3.0).unwrap();
        let falls = elementary::degrees(49.033_25);
        assert!((limb.falling(0.0) - falls).abs() <= 1e-12 * falls);
        let wire = wire(100.0, [0.0, 400.0], 0.0);
        let at_rest = wire.follows(&limb, Jet::constant(0.0), 1.0);
        // Held still the wire carries m g l / 2 at its lever of 100 x 400 / sqrt(100^2 + 400^2) mm.
        let lever = 100.0 * 400.0 / 170_000.0_f64.sqrt();
        assert!((at_rest.tension - 0.4 * GRAVITY * 150.0 / lever).abs() <= 1e-12);
        // Paid out at just that acceleration at half a second a frame, the wire is just slack; a little less and it is taut.
        let paid = |a: f64| wire.follows(&limb, Jet { p: 0.0, v: 0.0, a: -a * 0.25, j: 0.0 }, 0.5);
        assert!(paid(falls * (1.0 + 1e-9)).margin() < 0.0);
        assert!(paid(falls * (1.0 - 1e-9)).margin() > 0.0 && paid(falls * (1.0 - 1e-9)).tension > 0.0);
        // Twice as slow on the clock is four times less acceleration.
        assert!((wire.follows(&limb, Jet { p: 0.0, v: 0.0, a: -10.0, j: 0.0 }, 2.0).wanted - 2.5).abs() <= 1e-15);
    }

    /// A guide below pulls down; then only a counterweight keeps the wire taut.
    #[test]
    fn a_guide_below_needs_a_counterweight() {
        let wire = wire(60.0, [0.0, -90.0], 0.0);
        let still = Jet::constant(10.0);
        assert!(wire.lever(10.0) < 0.0);
        assert!(wire.follows(&Limb::new(0.2, 40.0, 0.001).unwrap(), still, 1.0).tension < 0.0);
        assert!(wire.follows(&Limb::new(0.2, -40.0, 0.001).unwrap(), still, 1.0).tension > 0.0);
    }

    #[test]
    fn geometry_that_turns_nothing_is_refused() {
        let flaw = |arm, guide, neutral| LimbWire::new(LimbWireSpec { arm, guide, neutral }).unwrap_err();
        assert_eq!(flaw(30.0, [0.0, 0.0], 0.0)[0].code, "impossible-mechanism");
        assert_eq!(flaw(30.0, [0.0, 40.0], 90.0)[0].code, "impossible-mechanism");
        assert_eq!(flaw(30.0, [0.0, 40.0], -90.0)[0].code, "impossible-mechanism");
        assert_eq!(flaw(-1.0, [f64::NAN, 40.0], 1e9).len(), 3);
        let least = 0.4 * 0.15 * 0.15;
        assert_eq!(Limb::new(0.4, 150.0, 0.9949 * least).unwrap_err()[0].code, "impossible-mechanism");
        assert!(Limb::new(0.4, 150.0, 0.9951 * least).is_ok());
        assert_eq!(Limb::new(0.4, 0.0, 0.0).unwrap_err()[0].code, "impossible-mechanism");
        assert_eq!(Limb::new(f64::NAN, 0.0, -1.0).unwrap_err().len(), 2);
    }
}
