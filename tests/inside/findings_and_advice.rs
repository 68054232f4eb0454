//! Each analysis with a planted fault, and the same at the limit; each piece of advice followed to the letter.

use crate::inside::common::{Program, axis, axis_at, checked, fixes, moving, shot, stage};
use movewright::check::{Limit, Note, Report};
use movewright::shot::{Shape, Shot, Track};
use movewright::stage::{AxisSpec, LoadSpec, Motor, Stage, Unit};

fn one(spec: AxisSpec, track: (Shape, Option<f64>, Vec<(f64, f64)>), pace: f64) -> (Stage, Shot) {
    let s = stage(vec![spec]);
    let h = shot(&s, (1, 100), &[Program { tracks: vec![track], ..Program::default() }], vec![moving(&s, "picture", pace)]);
    (s, h)
}

fn notes<'a>(report: &'a Report, kind: &str) -> Vec<&'a Note> {
    report.notes.iter().filter(|n| n.kind.name() == kind).collect()
}

/// The number after `word` in a sentence.
fn number_after(text: &str, word: &str) -> f64 {
    text.split(word).nth(1).unwrap().split_whitespace().next().unwrap().trim_end_matches(':').parse().unwrap()
}

#[test]
fn the_pace_that_is_advised_holds_and_one_a_hundredth_faster_does_not() {
    let mut spec = axis("bridge");
    spec.limits.velocity = 3.0;
    let (s, h) = one(spec.clone(), (Shape::MinimumJerk, None, vec![(10.0, 0.0), (60.0, 500.0)]), 2.0);
    let report = checked(&s, &h);
    assert_eq!(report.passes[0].violations[0].limit, Limit::Velocity);
    let advice = fixes(&report.passes[0]);
    let pace = number_after(advice.iter().find(|a| a.starts_with("run the pass at")).unwrap(), "run the pass at ");
    let at = |pace: f64| {
        let (s, h) = one(spec.clone(), (Shape::MinimumJerk, None, vec![(10.0, 0.0), (60.0, 500.0)]), pace);
        checked(&s, &h).within_limits()
    };
    assert!(at(pace) && !at(pace * 0.99), "{pace}");
}

#[test]
fn the_frame_that_is_advised_for_a_key_holds_and_the_one_before_does_not() {
    let mut spec = axis("bridge");
    spec.limits.velocity = 10.0;
    let keys = vec![(10.0, 0.0), (20.0, 300.0), (80.0, 320.0)];
    let (s, h) = one(spec, (Shape::Monotone, None, keys), 2.0);
    let advice = fixes(&checked(&s, &h).passes[0]);
    let advice = advice.iter().find(|a| a.starts_with("put key 2")).expect("advice about the key").clone();
    let frame = number_after(&advice, "at frame ");
    let moved = |frame: f64| {
        let track: Track = h.tracks()[0].with_key_at(1, frame).unwrap();
        let again = h.with_track(0, track);
        checked(&s, &again).within_limits()
    };
    assert!(moved(frame), "{advice}");
    assert!(!moved(frame - 1.0), "{advice}");
}

#[test]
fn an_overshoot_is_noted_and_leaves_the_travel_only_where_it_does() {
    let keys = vec![(10.0, 0.0), (30.0, 100.0), (34.0, 100.0), (60.0, 0.0)];
    let mut spec = axis("bridge");
    let (s, h) = one(spec.clone(), (Shape::MinimumJerk, None, keys.clone()), 2.0);
    let report = checked(&s, &h);
    assert!(report.within_limits());
    let f = notes(&report, "overshoot")[0];
    let by = f.value.unwrap();
    assert!(by > 0.1 && (30.0..34.0).contains(&f.frame.unwrap().0), "{f:?}");
    // The travel ends just where the curve turns: within; a thousandth of the overshoot less: out, with a shape that stays in.
    spec.travel = [-50.0, 100.0 + by];
    let (s, h) = one(spec.clone(), (Shape::MinimumJerk, None, keys.clone()), 2.0);
    assert!(checked(&s, &h).within_limits());
    spec.travel = [-50.0, 100.0 + by * 0.999];
    let (s, h) = one(spec.clone(), (Shape::MinimumJerk, None, keys.clone()), 2.0);
    let report = checked(&s, &h);
    let v = &report.passes[0].violations;
    assert_eq!((v.len(), v[0].limit), (1, Limit::Position));
    let advice = fixes(&report.passes[0]);
    assert!(advice[0].contains("`monotone`"), "{advice:?}");
    let (s, h) = one(spec, (Shape::Monotone, None, keys), 2.0);
    let report = checked(&s, &h);
    assert!(report.within_limits() && notes(&report, "overshoot").is_empty());
}

#[test]
fn a_step_in_acceleration_is_noted_and_exceeds_any_limit_until_it_is_blended() {
    // Only cosine rests at every key: the other blended shapes would change speed at once, and are refused without a blend.
    let shape = Shape::Cosine;
    let keys = vec![(10.0, 0.0), (40.0, 30.0), (70.0, 10.0)];
    let (s, h) = one(axis("bridge"), (shape, Some(0.0), keys.clone()), 2.0);
    let report = checked(&s, &h);
    let steps: Vec<f64> = notes(&report, "acceleration_step").iter().filter_map(|n| n.frame).map(|f| f.0).collect();
    assert_eq!(steps, [10.0, 40.0, 70.0], "{shape:?}");
    assert!(report.passes[0].violations.iter().all(|v| v.limit == Limit::Jerk && v.value.is_infinite() && v.fixes.is_empty()));
    let (s, h) = one(axis("bridge"), (shape, Some(4.0), keys), 2.0);
    let report = checked(&s, &h);
    assert!(report.within_limits() && notes(&report, "acceleration_step").is_empty(), "{shape:?}");
}

#[test]
fn an_axis_that_never_moves_is_noted_and_one_that_moves_a_step_is_not() {
    let (s, h) = one(axis("bridge"), (Shape::Monotone, None, vec![(10.0, 5.0), (40.0, 5.0)]), 2.0);
    assert!(!notes(&checked(&s, &h), "never_moves").is_empty());
    let (s, h) = one(axis("bridge"), (Shape::Monotone, None, vec![(10.0, 5.0), (40.0, 5.01)]), 2.0);
    assert!(notes(&checked(&s, &h), "never_moves").is_empty());
}

#[test]
fn a_step_rate_over_its_limit_is_found_and_at_the_limit_passes() {
    // 100 steps/mm, 1.875 x 10 mm over 10 frames of 2 s: 0.9375 mm/s, 93.75 steps/s at the peak.
    for (rate, fine) in [(93.75, true), (93.74, false)] {
        let mut spec = axis("bridge");
        spec.limits.step_rate = Some(rate);
        let (s, h) = one(spec, (Shape::StopAtKeys, None, vec![(10.0, 0.0), (20.0, 10.0)]), 2.0);
        let report = checked(&s, &h);
        assert_eq!(report.within_limits(), fine);
        assert!(report.passes[0].violations.iter().all(|v| v.limit == Limit::StepRate));
        let peak = report.passes[0].axes[axis_at(&s, 0)].photographed.step_rate;
        assert!((peak.value - 93.75).abs() < 1e-10 && peak.limit == Some(rate));
    }
}

#[test]
fn torque_over_what_the_motor_has_is_found_and_sets_the_fastest_pace() {
    // A hoist of 20 kg on a drum of 100 mm a turn, geared 10:1: 20 x 9.80665 N x 0.1 m / (2 pi x 10) = 0.3122 N m at rest.
    let hoist = |at_rest: f64| {
        let mut spec = AxisSpec::new("hoist", Unit::Millimetre, [-1e6, 1e6], [1e5, 1e5, 1e5]);
        spec.drive.travel_per_rev = 100.0;
        spec.drive.gear_ratio = 10.0;
        spec.motor = Some(Motor::new(200, Some(0.0), None, vec![(0.0, at_rest), (600.0, at_rest * 0.5)]).unwrap());
        spec.load = Some(LoadSpec { inertia: 20.0, friction: 0.0, vertical: true, efficiency: 1.0 });
        one(spec, (Shape::StopAtKeys, None, vec![(10.0, 0.0), (20.0, 50.0)]), 12.0)
    };
    let (s, h) = hoist(0.30);
    let report = checked(&s, &h);
    assert!(report.passes[0].violations.iter().any(|v| v.limit == Limit::Torque));
    let (s, h) = hoist(0.32);
    let report = checked(&s, &h);
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
    let fastest = report.passes[0].fastest;
    assert_eq!(fastest.limited_by, Some((axis_at(&s, 0), Limit::Torque)));
    // The border is a border.
    let at = |pace: f64| {
        let again = shot(
            &s,
            (1, 100),
            &[Program { tracks: vec![(Shape::StopAtKeys, None, vec![(10.0, 0.0), (20.0, 50.0)])], ..Program::default() }],
            vec![moving(&s, "picture", pace)],
        );
        checked(&s, &again).within_limits()
    };
    let pace = fastest.seconds_per_frame.unwrap();
    assert!(at(pace) && !at(pace * 0.999));
}

#[test]
fn torque_between_held_exposures_is_found_and_below_the_supply_passes() {
    use movewright::shot::{Exposure, Pass};
    // The hoist of the test above, 0.3122 N m at rest; at 10 mm/s its motor turns at 60 rev/min, where 0.95 of the standstill torque is left.
    let run = |at_rest: f64| {
        let mut spec = AxisSpec::new("hoist", Unit::Millimetre, [-1e6, 1e6], [10.0, 1.0, 10.0]);
        spec.drive.travel_per_rev = 100.0;
        spec.drive.gear_ratio = 10.0;
        spec.motor = Some(Motor::new(200, Some(0.0), None, vec![(0.0, at_rest), (600.0, at_rest * 0.5)]).unwrap());
        spec.load = Some(LoadSpec { inertia: 20.0, friction: 0.0, vertical: true, efficiency: 1.0 });
        let s = stage(vec![spec]);
        let program = Program { tracks: vec![(Shape::StopAtKeys, None, vec![(10.0, 0.0), (20.0, 50.0)])], ..Program::default() };
        let pass = Pass::new(&s, "empty", Exposure::Held, 24.0, 180.0, 0.0, vec![]).unwrap();
        let h = shot(&s, (1, 40), &[program], vec![pass]);
        checked(&s, &h)
    };
    let report = run(0.30);
    assert!(
        !report.within_limits() && report.passes[0].violations.iter().all(|v| v.limit == Limit::Torque && v.subject.axis().index() == 0)
    );
    let report = run(0.34);
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
    let t = report.passes[0].axes[axis_at(report.compiled.stage(), 0)].torque.unwrap();
    let at_rest = 20.0 * 9.80665 * 0.1 / (2.0 * std::f64::consts::PI * 10.0);
    assert!(t.demand > at_rest && t.demand < at_rest * 1.001 && t.demand <= t.available && t.available < 0.34, "{t:?}");
}
