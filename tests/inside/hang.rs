//! Figures on three wires: what each carries by hand, faults planted and the same at the limit, the weight that is offered, wires and motors that could break.

use movewright::check::{Limit, Report};
use movewright::compile::Compiled;

use crate::inside::common::inputs::Inputs;

/// A figure that pitches about z under a hoist; three wires 90 mm before and 45 mm behind the middle, the centre of mass 60 mm below.
fn inputs(hang: &str, pass: &str) -> Inputs {
    let axis = |name: &str, unit: &str, more: &str| {
        format!(
            "[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = [-400, 400]\nmax_velocity = 60\nmax_acceleration = 20\nmax_jerk = 40\nmotor = \"m\"\nmicrosteps = 10\ntravel_per_rev = 20\n{more}"
        )
    };
    let hoist = "gear_ratio = 2\nbrake = true\nload = { mass = 3, vertical = true, efficiency = 0.5 }\n";
    let stage = format!(
        "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\nrotor_inertia = 1e-5\ntorque = [[0, 1.2], [600, 1]]\n[[group]]\nname = \"heron\"\n{}{}\
         [[group.joint]]\nslide = [0, 1, 0]\nchannel = \"hoist\"\n[[group.joint]]\nturn = [0, 0, 1]\nchannel = \"pitch\"\n\
         [group.hang]\nmass = 1.9\ncentre = [0, -60, 0]\nwires = [[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]\n{hang}",
        axis("pitch", "deg", ""),
        axis("hoist", "mm", hoist)
    );
    let shot = format!(
        "format = 1\nname = \"Nose down\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 40]\n\
         [[track]]\nchannel = \"heron.pitch\"\nshape = \"monotone\"\nkeys = [[1, 0], [20, -30], [40, 10]]\n[[pass]]\nname = \"beauty\"\n{pass}"
    );
    Inputs::new(stage, shot)
}

const MOVING: &str = "exposure = \"moving\"\nseconds_per_frame = 3\nshutter = 180\n";
const HELD: &str = "exposure = \"held\"\nseconds_per_frame = 20\nshutter = 90\n";

fn checked(inputs: &Inputs) -> Report {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}")).checked().unwrap()
}

/// Pitched down by p the centre of mass goes forward by 60 sin p and the wires draw together by cos p: the fore wire has (45 + 60 tan p) / 135 of the weight.
fn fore(degrees: f64) -> f64 {
    (45.0 + 60.0 * degrees.to_radians().tan()) / 135.0
}

#[test]
fn a_wire_that_carries_too_little_is_found_and_the_same_at_the_limit_is_not() {
    let least = fore(-30.0);
    for pass in [MOVING, HELD] {
        let with = |share: f64| checked(&inputs(&format!("least_tension = {share}\n"), pass));
        let at = with(least - 2e-6);
        assert!(at.within_limits(), "{:?}", at.passes[0].violations);
        let [low, high] = at.passes[0].wires[0].carried.unwrap();
        assert!((low.share - least).abs() <= 1e-6 && (high.share - fore(10.0)).abs() <= 1e-6, "{low:?} {high:?}");
        assert!((low.at.frame().unwrap().0 - 20.0).abs() < 0.2, "{low:?}");
        let over = with(least + 2e-6);
        let found = &over.passes[0].violations;
        assert_eq!((found.len(), found[0].limit), (1, Limit::Slack));
        assert!((found[0].value - least * 1.9 * 9.80665).abs() < 1e-4, "{found:?}");
    }
    let parked = checked(&inputs("", &format!("{MOVING}park = [\"heron\"]\n")));
    assert!(parked.passes[0].wires.iter().all(|w| (w.carried.unwrap()[0].share - 1.0 / 3.0).abs() < 1e-12));
}

/// The weight that is offered was tried; put into the stage by hand it mends the pass, and half of it does not.
#[test]
fn the_weight_that_is_offered_is_enough() {
    let report = checked(&inputs("least_tension = 0.15\n", MOVING));
    let v = &report.passes[0].violations[0];
    let text = movewright::check::words::fix(&report.compiled, v, &v.fixes[0]);
    assert!(text.contains(" g at (90, 0, 0): wire 1 then carries 15"), "{text}");
    let grams: f64 = text.split("add ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    let with = |kg: f64| {
        let mass = 1.9 + kg;
        let centre = format!("centre = [{}, {}, 0]", 90.0 * kg / mass, -60.0 * 1.9 / mass);
        let more = inputs("least_tension = 0.15\n", MOVING).with("stage.toml", "centre = [0, -60, 0]", &centre);
        checked(&more.with("stage.toml", "mass = 1.9", &format!("mass = {mass}")))
    };
    assert!(with(grams / 1000.0).within_limits() && !with(grams / 2000.0).within_limits(), "{text}");
    // Where the fore wire must carry a third at every lean, no weight at it leaves enough to the others.
    let none = checked(&inputs("least_tension = 0.33\n", MOVING));
    assert!(none.passes[0].violations.iter().all(|v| v.fixes.is_empty()));
}

/// At 30 degrees down both hind wires carry half of what the fore one leaves, 0.4617 of 18.63 N: 8.6 N. The hoist pulls 1.2 N m x 2 pi x 100 per m x 0.5 = 377 N before it stalls.
#[test]
fn wires_and_motors_that_could_break_are_notes() {
    let kinds = |breaking: f64, factor: f64| {
        let report = checked(&inputs(&format!("breaking_load = {breaking}\ndesign_factor = {factor}\n"), MOVING));
        assert!(report.within_limits());
        report
            .notes
            .iter()
            .map(|n| (n.kind.name(), n.value))
            .filter(|(k, _)| ["wire_overloaded", "stall_breaks_wire"].contains(k))
            .collect::<Vec<_>>()
    };
    assert!(kinds(400.0, 8.0).is_empty());
    let stall = kinds(370.0, 8.0);
    assert!(
        matches!(stall[..], [("stall_breaks_wire", Some(force))] if (force - 0.6 * std::f64::consts::TAU * 100.0).abs() < 1e-9),
        "{stall:?}"
    );
    let tension = 0.5 * (1.0 - fore(-30.0)) * 1.9 * 9.80665;
    assert!(kinds(400.0, 400.0 / tension - 0.01).is_empty());
    let over = kinds(400.0, 400.0 / tension + 0.01);
    assert_eq!(over.len(), 2);
    assert!(over.iter().all(|(kind, found)| *kind == "wire_overloaded" && (found.unwrap() - tension).abs() < 1e-4), "{over:?}");
}
