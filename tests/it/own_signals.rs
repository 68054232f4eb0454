//! Signals of a caller's own: fitted, checked and refused like those of a shot file.

use movewright::report::Limit;
use movewright::signal::{Curve, CurveBuilder, Jet, Knot, Node, Quintic, Signal, SignalError};
use movewright::{Axis, Compiled, Error, Shot, Stage};

/// Positions at frames, straight lines or quintics between: pieces as a caller would make them, joins and all.
#[derive(Debug)]
struct Pieces {
    curve: Curve,
    taken_over: bool,
}

impl Signal for Pieces {
    fn jet(&self, t: f64, branch: f64) -> Jet {
        self.curve.piece_at(branch).unwrap().jet(t)
    }
    fn knots(&self, _: f64, _: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        out.extend(self.curve.knots().iter().map(|at| Knot { at: *at, key: true, is_break: false }));
        Ok(())
    }
    fn taken_over(&self, from: f64, to: f64, _: f64, _: f64) -> Option<Result<Curve, SignalError>> {
        if !self.taken_over {
            return None;
        }
        let mut b = CurveBuilder::starting_at(from, 3);
        for piece in self.curve.pieces() {
            b.push_within(to, piece.start, piece.end, *piece.quintic);
        }
        Some(b.finish().map_err(SignalError::from))
    }
}

fn stage() -> Stage {
    let axis = Axis::mm("bridge").travel(-1000.0..=4000.0).velocity(400.0).acceleration(200.0).jerk(400.0).travel_per_rev(60.0);
    Stage::builder("Marsh").group("heron", [axis.build().unwrap()]).build().unwrap()
}

fn compiled(signal: impl Signal + 'static) -> Result<Compiled, Error> {
    let stage = stage();
    let mut shot = Shot::builder(&stage, "own", 1..=40, "24")?;
    shot.signal("heron.bridge", signal)?;
    shot.pass("picture").moving(10.0)?;
    let shot = shot.build()?;
    Compiled::new(stage, shot)
}

fn pieces(nodes: [(Node, Node); 2], taken_over: bool) -> Pieces {
    let mut b = CurveBuilder::starting_at(-10.0, 2);
    let [(a, c), (d, e)] = nodes;
    b.push(20.0, Quintic::between(a, c, 30.0));
    b.push(60.0, Quintic::between(d, e, 40.0));
    Pieces { curve: b.finish().unwrap(), taken_over }
}

#[test]
fn a_step_between_two_pieces_is_no_motion() {
    let node = |p: f64, v: f64, a: f64| Node { p, v, a };
    for taken_over in [true, false] {
        let meets = [(node(0.0, 0.0, 0.0), node(100.0, 2.0, 0.1)), (node(100.0, 2.0, 0.1), node(150.0, 0.0, 0.0))];
        assert!(compiled(pieces(meets, taken_over)).is_ok(), "{taken_over}");
        let jumps = [(node(0.0, 0.0, 0.0), node(100.0, 2.0, 0.1)), (node(150.0, 2.0, 0.1), node(200.0, 0.0, 0.0))];
        let error = compiled(pieces(jumps, taken_over)).unwrap_err();
        assert_eq!(error.flaws()[0].code(), "jump");
        assert!(error.to_string().contains("at frame 20 the position jumps by 50"), "{error}");
        let kinks = [(node(0.0, 0.0, 0.0), node(100.0, 2.0, 0.1)), (node(100.0, 3.0, 0.1), node(150.0, 0.0, 0.0))];
        let error = compiled(pieces(kinks, taken_over)).unwrap_err();
        assert!(error.to_string().contains("at frame 20 the velocity jumps by 1"), "{error}");
    }
}

#[test]
fn a_step_in_acceleration_exceeds_any_limit_of_jerk() {
    let node = |p: f64, v: f64, a: f64| Node { p, v, a };
    let nodes = [(node(0.0, 0.0, 0.0), node(100.0, 2.0, 0.1)), (node(100.0, 2.0, -0.3), node(150.0, 0.0, 0.0))];
    let report = compiled(pieces(nodes, true)).unwrap().check().unwrap();
    let (pass, stage) = (&report.passes[0], report.compiled().stage());
    let v = &pass.violations[0];
    assert_eq!((v.limit, v.value, v.frame()), (Limit::Jerk, f64::INFINITY, Some(20.0)));
    assert_eq!(stage.axis_names()[v.axis().index()], "heron.bridge");
    assert!(pass.messages()[0].starts_with("heron.bridge: "), "{:?}", pass.messages());
    assert!(report.approve().is_err());
}

/// A sine, which no polynomial is.
#[derive(Debug)]
struct Wave;

impl Signal for Wave {
    fn jet(&self, t: f64, _: f64) -> Jet {
        let w = 0.2;
        let (s, c) = (100.0 * (w * t).sin(), 100.0 * (w * t).cos());
        Jet { p: s, v: w * c, a: -w * w * s, j: -w * w * w * c }
    }
    fn knots(&self, _: f64, _: f64, _: &mut Vec<Knot>) -> Result<(), SignalError> {
        Ok(())
    }
}

#[test]
fn an_own_signal_is_fitted_to_a_sixteenth_of_a_step_and_adds_to_layers() {
    let alone = compiled(Wave).unwrap();
    let step = 60.0 / 200.0;
    for k in 0..400 {
        let t = 0.5 + f64::from(k) * 0.1;
        let off = alone.axis("heron.bridge").unwrap().at(t).unwrap() - Wave.jet(t, t).p;
        assert!(off.abs() <= step / 16.0, "{t}: {off}");
    }
    let stage = stage();
    let compiled = |with_wave: bool| {
        let mut shot = Shot::builder(&stage, "both", 1..=40, "24").unwrap();
        shot.track("heron.bridge").unwrap().minimum_jerk([(1, 0.0), (40, 500.0)]).unwrap();
        if with_wave {
            shot.signal("heron.bridge", Wave).unwrap();
        }
        shot.pass("picture").moving(10.0).unwrap();
        Compiled::new(stage.clone(), shot.build().unwrap()).unwrap()
    };
    let (track, both) = (compiled(false), compiled(true));
    let at = |c: &Compiled| c.axis("heron.bridge").unwrap().at(17.25).unwrap();
    assert!((at(&both) - at(&track) - Wave.jet(17.25, 17.25).p).abs() <= step / 8.0);
}

#[test]
fn a_shot_of_another_stage_is_refused() {
    let lift = Axis::mm("lift").travel(0.0..=1.0).velocity(1.0).acceleration(1.0).jerk(1.0).build().unwrap();
    let other = Stage::builder("Other").group("crane", [lift]).build().unwrap();
    let stage = stage();
    let mut shot = Shot::builder(&stage, "own", 1..=40, "24").unwrap();
    shot.pass("picture").moving(10.0).unwrap();
    let error = Compiled::new(other, shot.build().unwrap()).unwrap_err();
    assert_eq!(error.flaws()[0].code(), "other-stage");
}

#[test]
fn a_motor_of_other_steps_than_its_drive_is_refused() {
    let motor = movewright::stage::Motor::new(400, None, None, vec![]).unwrap();
    let axis = || Axis::mm("bridge").travel(0.0..=1.0).velocity(1.0).acceleration(1.0).jerk(1.0).motor(motor.clone());
    // 400 full steps for 360 mm.
    assert_eq!(axis().travel_per_rev(1.0).build().unwrap().count(0.5), Some(200));
    let error = axis().full_steps_per_rev(200).build().unwrap_err();
    assert!(error.to_string().contains("motor 400, drive 200"), "{error}");
}
