//! Mechanisms of a caller's own: compiled, fitted, checked and refused like those of a stage file.

use movewright::check::{Cause, Limit, Part, words};
use movewright::mechanism::{
    GRAVITY, Hanging, IntervalJet, JointKind, JointSpec, Limb, LimbWire, LimbWireSpec, Mechanism, OutOfReach, Pull, Quantity, Real, Unit,
    Vector, one_to_one,
};
use movewright::number::{Jet, elementary};
use movewright::output::check_json;
use movewright::output::columns::Column;
use movewright::shot::Shape;
use movewright::stage::{BodySpec, Capsule, Obstacle, Surroundings};
use movewright::{Axis, Compiled, Error, Shot, Stage};

use crate::inside::common::{table, violations};

/// A limb on a wire written anew from the law of cosines, as a caller would who needs one of their own.
#[derive(Debug, Clone, Copy)]
struct Rein {
    arm: f64,
    guide: [f64; 2],
    reach: f64,
    towards: f64,
    side: f64,
    at_neutral: f64,
    /// kg, mm along the arm, kg m2.
    limb: Option<[f64; 3]>,
    is_bounded: bool,
}

impl Rein {
    fn new(spec: LimbWireSpec, limb: Option<[f64; 3]>) -> Rein {
        let [across, up] = spec.guide;
        let direction = elementary::degrees(elementary::atan2(up, across));
        let off = direction - spec.neutral;
        let off = off - 360.0 * (off / 360.0 + 0.5).floor();
        let side = if off > 0.0 { 1.0 } else { -1.0 };
        let reach = (across * across + up * up).sqrt();
        let rein =
            Rein { arm: spec.arm, guide: spec.guide, reach, towards: spec.neutral + off, side, at_neutral: 0.0, limb, is_bounded: true };
        Rein { at_neutral: rein.length(spec.neutral), ..rein }
    }

    fn length<T: Real>(&self, angle: T) -> T {
        let angle = angle.to_radians_of_degrees();
        let [across, up] = self.guide;
        let (x, y) = (angle.cosine().times(self.arm) - T::constant(across), angle.sine().times(self.arm) - T::constant(up));
        (x * x + y * y).sqrt()
    }

    fn range(&self) -> [f64; 2] {
        [(self.reach - self.arm).abs() - self.at_neutral, self.reach + self.arm - self.at_neutral]
    }

    fn angle<T: Real>(&self, paid_out: T) -> Result<T, OutOfReach> {
        let (near, far) = ((self.reach - self.arm).abs(), self.reach + self.arm);
        let length = paid_out + T::constant(self.at_neutral);
        if !(near < length.value() && length.value() < far) {
            let [least, most] = self.range();
            return Err(OutOfReach::Range { quantity: "paid out", found: paid_out.value(), least, most, unit: "mm" });
        }
        let (near, far) = (T::constant(near), T::constant(far));
        let (above, below) = (((length - near) * (length + near)).sqrt(), ((far - length) * (far + length)).sqrt());
        let off = above.atan2(below).times(2.0).to_degrees_of_radians();
        Ok(T::constant(self.towards) - off.times(self.side))
    }

    fn falling(&self, [mass, centre, inertia]: [f64; 3], angle: f64) -> f64 {
        elementary::degrees(mass * GRAVITY * centre * 1e-3 * elementary::cos(elementary::radians(angle)) / inertia)
    }
}

impl Mechanism for Rein {
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
        one_to_one(channels, axes, |angle| {
            let far = self.towards - self.side * 180.0;
            let [least, most] = [self.towards.min(far), self.towards.max(far)];
            if !(least < angle.p && angle.p < most) {
                return Err(OutOfReach::Range { quantity: "angle", found: angle.p, least, most, unit: "deg" });
            }
            Ok(self.length(angle) - Jet::constant(self.at_neutral))
        })
    }
    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |paid_out| self.angle(paid_out))
    }
    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        if self.is_bounded { one_to_one(axes, channels, |paid_out| self.angle(paid_out)).ok() } else { None }
    }
    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        Some(self.range())
    }
    fn hanging(&self) -> Option<&dyn Hanging> {
        self.limb.is_some().then_some(self as &dyn Hanging)
    }
}

impl Hanging for Rein {
    fn pull(&self, axis: Jet, seconds_per_frame: f64) -> Option<Pull> {
        let (limb, angle) = (self.limb?, self.angle(axis).ok()?);
        let gravity = self.side * self.falling(limb, angle.p);
        let wanted = -self.side * angle.a / (seconds_per_frame * seconds_per_frame);
        let off = elementary::radians(self.towards - angle.p);
        let lever = self.arm * self.reach * elementary::sin(off) / self.length(angle.p);
        Some(Pull { gravity, wanted, tension: limb[2] * elementary::radians(gravity - wanted) * 1e3 / lever.abs() })
    }
    fn certified_margin(&self, axis: IntervalJet, seconds_per_frame: f64) -> Option<f64> {
        let (limb, angle) = (self.limb?, self.angle(axis).ok()?);
        let sign = self.side * self.falling(limb, 0.0);
        let lowest = if sign > 0.0 { 180.0 } else { 0.0 };
        let first = lowest + 360.0 * ((angle.p.lo - lowest) / 360.0).ceil();
        let [a, b] = [angle.p.lo, angle.p.hi].map(|end| self.side * self.falling(limb, end));
        let gravity = if first <= angle.p.hi { -sign.abs() } else { a.min(b) };
        let squared = seconds_per_frame * seconds_per_frame;
        let wanted = if self.side > 0.0 { -(angle.a.lo / squared) } else { angle.a.hi / squared };
        Some(gravity - wanted)
    }
    fn parts(&self) -> Option<[f64; 3]> {
        self.limb.map(|[mass, centre, inertia]| [mass, centre * 1e-3, inertia])
    }
    fn with_parts(&self, [mass, centre, inertia]: [f64; 3]) -> Option<Box<dyn Hanging>> {
        Some(Box::new(Rein { limb: Some([mass, centre * 1e3, inertia]), ..*self }))
    }
    fn arm(&self) -> Option<f64> {
        Some(self.arm * 1e-3)
    }
}

fn mm(name: &str, limits: [f64; 3]) -> Axis {
    let [velocity, acceleration, jerk] = limits;
    let axis = Axis::mm(name).travel(-400.0..=400.0).velocity(velocity).acceleration(acceleration).jerk(jerk);
    axis.travel_per_rev(2.0).build().unwrap()
}

/// A leg of 200 mm on its knee, over a stone.
fn leg(mechanism: impl Mechanism + 'static, limits: [f64; 3]) -> Stage {
    let knee = JointSpec { kind: JointKind::Turn([0.0, 0.0, 1.0]), channel: Some(0), rest: 0.0, offset: [0.0; 3] };
    let point = |x: f64, y: f64| Vector::new(x, y, 0.0);
    let body = BodySpec {
        joints: vec![knee],
        channels: vec!["heron.knee".into()],
        envelope: vec![Capsule { from: point(0.0, 0.0), to: point(200.0, 0.0), radius: 6.0 }.into()],
        ..BodySpec::new("heron")
    };
    let stone = Obstacle { name: "stone".into(), shape: Capsule { from: point(120.0, 40.0), to: point(150.0, 40.0), radius: 5.0 } };
    Stage::builder("Marsh")
        .group("heron", [mm("leg", limits)])
        .mechanism(mechanism, ["heron.knee"], ["heron.leg"])
        .body(body)
        .surroundings(Surroundings { obstacles: vec![stone], clearance: 1.0, ..Surroundings::default() })
        .build()
        .unwrap()
}

fn lowered(stage: &Stage, shape: Shape, keys: &[(f64, f64)], pace: f64) -> Result<Compiled, Error> {
    let mut shot = Shot::builder(stage, "Down", 1..=24, "24")?;
    shot.track("heron.knee")?.shaped(shape, None, keys.iter().copied())?;
    shot.pass("picture").moving(pace)?;
    shot.pass("steady").held(40.0 * pace, 0.5)?;
    let shot = shot.build()?;
    Compiled::new(stage.clone(), shot)
}

/// Counts, findings, notes and figures of everything that a check says.
fn everything(compiled: &Compiled) -> [String; 3] {
    let report = compiled.check().unwrap();
    let findings: Vec<String> = report.passes.iter().flat_map(violations).collect();
    let counts: String = (0..report.passes.len()).map(|pass| table(compiled, pass, Column::Steps)).collect();
    [counts, findings.join("\n"), check_json::text(&report).unwrap()]
}

#[test]
fn an_own_limb_wire_is_ours_to_the_last_bit() {
    let slow = [1e3, 1e3, 1e4];
    // Beyond upright the wire goes slack, the leg meets the stone, and short of a dead centre no run-up fits.
    let cases: [(LimbWireSpec, [f64; 3], Shape, &[(f64, f64)], f64, &[&str]); 3] = [
        (
            LimbWireSpec { arm: 120.0, guide: [-100.0, 170.0], neutral: 20.0 },
            slow,
            Shape::MinimumJerk,
            &[(1.0, 20.0), (12.0, 110.0), (24.0, 20.0)],
            30.0,
            &["gravity cannot keep the wire taut", "stone"],
        ),
        (
            LimbWireSpec { arm: 120.0, guide: [0.0, -200.0], neutral: 0.0 },
            slow,
            Shape::NaturalCubic,
            &[(1.0, -20.0), (12.0, 8.0), (24.0, -20.0)],
            0.02,
            &["exceeds", "gravity cannot keep the wire taut"],
        ),
        (
            LimbWireSpec { arm: 110.0, guide: [0.0, 160.0], neutral: 38.119_4 },
            [40.0, 30.0, 60.0],
            Shape::NaturalCubic,
            &[(1.0, 74.0), (12.0, -45.0), (24.0, 0.0)],
            12.0,
            &["the mechanism cannot reach", "stone"],
        ),
    ];
    for (spec, limits, shape, keys, pace, said) in cases {
        let weight = [0.4, 80.0, 0.004];
        let limb = Limb::new(weight[0], weight[1], weight[2]).unwrap();
        let ours = leg(LimbWire::new(spec).unwrap().with_limb(limb), limits);
        let own = leg(Rein::new(spec, Some(weight)), limits);
        let [ours, own] = [ours, own].map(|stage| everything(&lowered(&stage, shape, keys, pace).unwrap()));
        for text in said {
            assert!(ours[1].contains(text), "`{text}` is not in: {}", ours[1]);
        }
        assert_eq!(own, ours);
    }
}

#[test]
fn out_of_reach_is_an_error_with_its_frame() {
    let spec = LimbWireSpec { arm: 120.0, guide: [0.0, 200.0], neutral: 0.0 };
    let stage = leg(Rein::new(spec, None), [1e3, 1e3, 1e4]);
    // The dead centre is at 90 deg.
    let error = lowered(&stage, Shape::MinimumJerk, &[(1.0, 0.0), (12.0, 100.0), (24.0, 0.0)], 30.0).unwrap_err();
    let flaws = error.flaws();
    assert_eq!(flaws[0].code, "out-of-reach");
    let text = error.to_string();
    assert!(text.contains("the limb_wire that `heron.knee` drives: at frame 12: angle is out of reach at 100 deg"), "{text}");
    assert!(lowered(&stage, Shape::MinimumJerk, &[(1.0, 0.0), (12.0, 80.0), (24.0, 0.0)], 30.0).is_ok());
}

/// Two motors on one shaft: their mean turns it, half their difference tilts it.
#[derive(Debug)]
struct Differential {
    has_ranges: bool,
}

impl Mechanism for Differential {
    fn kind(&self) -> &str {
        "differential"
    }
    fn channels(&self) -> &[Quantity] {
        &[Quantity { name: "pan", unit: Unit::Degree }, Quantity { name: "tilt", unit: Unit::Degree }]
    }
    fn axes(&self) -> &[Unit] {
        &[Unit::Degree, Unit::Degree]
    }
    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        (axes[0], axes[1]) = (channels[0] + channels[1], channels[0] - channels[1]);
        if !(channels[1].p < 80.0) {
            return Err(OutOfReach::NoPlace { why: "the shaft meets its cage" });
        }
        Ok(())
    }
    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        (channels[0], channels[1]) = ((axes[0] + axes[1]) * 0.5, (axes[0] - axes[1]) * 0.5);
        Ok(())
    }
    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        self.has_ranges.then_some([f64::NEG_INFINITY, f64::INFINITY])
    }
}

fn head(mechanism: impl Mechanism + 'static, shape: Shape, tilt: f64, pace: f64) -> Result<Compiled, Error> {
    let axis = |name: &str| Axis::deg(name).travel(-400.0..=400.0).velocity(40.0).acceleration(40.0).jerk(80.0).build().unwrap();
    let stage = Stage::builder("Marsh").group("camera", [axis("left"), axis("right")]);
    let stage = stage.mechanism(mechanism, ["camera.pan", "camera.tilt"], ["camera.left", "camera.right"]).build()?;
    let mut shot = Shot::builder(&stage, "Look", 1..=24, "24")?;
    shot.track("camera.pan")?.shaped(shape, None, [(1, 0.0), (24, 90.0)])?;
    shot.track("camera.tilt")?.shaped(shape, None, [(1, 10.0), (24, tilt)])?;
    shot.pass("picture").moving(pace)?;
    let shot = shot.build()?;
    Compiled::new(stage, shot)
}

#[test]
fn two_axes_move_together_and_what_is_not_certified_is_said() {
    let compiled = head(Differential { has_ranges: true }, Shape::NaturalCubic, 40.0, 10.0).unwrap();
    // The mean and half the difference of the motors at frame 24 are the keys, to a sixteenth of a step of 1.8 deg.
    for (axis, wanted) in [("camera.left", 130.0), ("camera.right", 50.0)] {
        assert!((compiled.axis(axis).unwrap().at(24).unwrap() - wanted).abs() <= 1.8 / 16.0, "{axis}");
    }
    assert!(compiled.check().unwrap().approve().is_ok());
    // Nothing says where the axes fit together, so that run-up, run-down and the moves to and fro are not certified.
    let report = head(Differential { has_ranges: false }, Shape::NaturalCubic, 40.0, 10.0).unwrap().check().unwrap();
    let pass = &report.passes[0];
    assert!(pass.violations.iter().all(|v| (v.limit, &v.cause) == (Limit::Position, &Cause::OutOfReach(None))), "{:?}", pass.violations);
    let parts: Vec<Part> = pass.violations.iter().map(|v| v.part).collect();
    assert_eq!(parts, [Part::MoveToStart, Part::RunUp, Part::RunDown, Part::ReturnHome]);
    let text = words::violation(&report.compiled, &pass.violations[0]);
    assert!(text.contains("not proven that the mechanism can reach its position"), "{text}");
    // A reason in its own words comes with the frame.
    let error = head(Differential { has_ranges: true }, Shape::NaturalCubic, 85.0, 10.0).unwrap_err().to_string();
    assert!(error.contains("at frame 24") && error.contains("the shaft meets its cage"), "{error}");
}

/// From rest to rest: only the exposures decide the pace.
#[test]
fn a_limit_holds_at_the_fastest_pace_and_is_exceeded_a_hair_below() {
    let at = |pace: f64| head(Differential { has_ranges: true }, Shape::MinimumJerk, 40.0, pace).unwrap().check().unwrap();
    let fastest = at(10.0).passes[0].fastest.seconds_per_frame.unwrap();
    assert!(at(fastest).approve().is_ok());
    let report = at(0.999 * fastest);
    assert!(report.approve().is_err());
    // The left motor carries pan and tilt together, the right one their difference.
    let id = report.compiled.axis("camera.left").unwrap().id();
    assert!(report.passes[0].violations.iter().any(|v| v.subject.axis() == id && v.part == Part::Photographed));
}

#[test]
fn clearance_without_bounds_is_not_certified() {
    let spec = LimbWireSpec { arm: 120.0, guide: [0.0, -200.0], neutral: 0.0 };
    let report = |is_bounded: bool| {
        let stage = leg(Rein { is_bounded, ..Rein::new(spec, None) }, [1e3, 1e3, 1e4]);
        lowered(&stage, Shape::MinimumJerk, &[(1.0, 0.0), (24.0, -30.0)], 30.0).unwrap().check().unwrap()
    };
    assert!(report(true).approve().is_ok());
    let report = report(false);
    let found = violations(&report.passes[0]);
    assert!(!found.is_empty() && found.iter().all(|text| text.contains("stone")), "{found:?}");
    assert!(report.passes[0].violations.iter().all(|v| v.limit == Limit::Clearance));
}

/// One channel to one axis, as it is; back, this much further (mm).
#[derive(Debug)]
struct Carried {
    off: f64,
    channels: usize,
}

const ALIKE: [Quantity; 9] = [Quantity { name: "height", unit: Unit::Millimetre }; 9];

impl Mechanism for Carried {
    fn kind(&self) -> &str {
        "carried"
    }
    fn channels(&self) -> &[Quantity] {
        &ALIKE[..self.channels]
    }
    fn axes(&self) -> &[Unit] {
        &[Unit::Millimetre]
    }
    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        axes[0] = channels[0];
        Ok(())
    }
    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        channels.fill(axes[0] + self.off);
        Ok(())
    }
}

fn placed(mechanism: Carried, channels: &[&str], axes: &[&str]) -> Result<Stage, Error> {
    let turning = Axis::deg("turn").travel(-9.0..=9.0).velocity(1.0).acceleration(1.0).jerk(1.0).build()?;
    let stage = Stage::builder("Marsh").group("heron", [mm("lift", [1.0; 3]), turning]);
    stage.mechanism(mechanism, channels.iter().copied(), axes.iter().copied()).build()
}

#[test]
fn names_counts_and_units_are_checked() {
    let good = Carried { off: 0.0, channels: 1 };
    assert!(placed(good, &["heron.height"], &["heron.lift"]).is_ok());
    let cases: &[(usize, &[&str], &[&str], &[&str])] = &[
        (1, &["heron.height"], &["heron.lif"], &["unknown-axis"]),
        (1, &["heron.height"], &["heron.turn"], &["wrong-unit"]),
        (1, &["heron.height"], &[], &["wrong-count"]),
        (1, &["heron.height", "heron.more"], &["heron.lift"], &["wrong-count"]),
        (1, &["heron.lift"], &["heron.lift"], &["duplicate-name"]),
        (1, &["heron.Height"], &["heron.lift"], &["invalid-name"]),
        (1, &["height"], &["heron.lift"], &["invalid-name"]),
        (1, &["crane.height"], &["heron.lift"], &["unknown-group"]),
        (0, &[], &["heron.lift"], &["wrong-count"]),
        (9, &["heron.height"; 9], &["heron.lift"], &["wrong-count"]),
    ];
    for (n, channels, axes, wanted) in cases {
        let error = placed(Carried { off: 0.0, channels: *n }, channels, axes).unwrap_err();
        let mut codes: Vec<&str> = error.flaws().iter().map(|f| f.code.slug()).collect();
        codes.retain(|code| *n < 9 || *code != "duplicate-name");
        assert_eq!(&codes, wanted, "{error}");
    }
    let names: Vec<String> = (0..8).map(|i| format!("heron.height_{i}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    assert!(placed(Carried { off: 0.0, channels: 8 }, &names, &["heron.lift"]).is_ok());
}

/// 200 steps for 2 mm: half a step is 0.005 mm.
#[test]
fn two_directions_that_disagree_by_more_than_half_a_step_are_refused() {
    let of = |off: f64| placed(Carried { off, channels: 1 }, &["heron.height"], &["heron.lift"]);
    assert!(of(0.004_99).is_ok() && of(-0.004_99).is_ok());
    for off in [0.005_01, -0.005_01] {
        let error = of(off).unwrap_err();
        assert_eq!(error.flaws()[0].code, "impossible-mechanism");
        assert!(error.to_string().contains(&format!("found `heron.lift` at {off} mm")), "{error}");
    }
    assert_eq!(of(f64::NAN).unwrap_err().flaws()[0].code, "impossible-home");
}
