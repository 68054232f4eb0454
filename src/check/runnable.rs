//! The smallest pace at which a whole pass runs: with its move to start, run-up, run-down and return home.
//!
//! What: of a moving pass paces are tried, its curves kept and the other passes as they are. At each the lengths of run-up and run-down are chosen as the compiler
//! chooses them, and travel, velocity, acceleration, jerk, step rate, torque, slack wires, reach and clearance are judged as the check judges them. Whether a pace holds
//! is not monotone: a faster one may have a longer run-up that leaves the travel. So paces are climbed until one holds, all of a fine grid from there to the larger of
//! four times it and the pass's own are tried, together with the paces just slower than those at which a run changes its length, and only if each holds the border
//! below is halved. Of a held pass it is the pace at which the slowest move and settling fit.
//! Invariant: the pace given was itself tried and holds; every pace tried from there to the larger of four times it and the pass's own holds; 0.999 of it fails.
//! Limits: between the paces tried nothing is proven. Where only its own motion keeps a limb's wire taut, slow paces fail: none is offered then.

use super::camera;
use super::clearance::ClearanceReport;
use super::fastest::Fastest;
use super::held::fits;
use super::trials::{Hindrance, Trials, photographed};
use super::violation::{Cause, Limit, Part, Subject, Violation};
use crate::bounds::PACE;
use crate::motion::point_to_point::Binding;
use crate::number::directed::{Places, up};
use crate::program::{Program, Stations};
use crate::time::Seconds;

/// The smallest pace at which a whole pass runs.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Runnable {
    /// Seconds per frame; `None` where none holds.
    pub seconds_per_frame: Option<f64>,
    /// What limits it; `None` where no pace is too fast.
    pub(crate) limited_by: Option<Hindrance>,
    /// `seconds_per_frame` with four digits, rounded up and tried as it is printed.
    pub(crate) shown: Option<f64>,
    /// The pace from which on everything holds that a pace can mend, up to a few digits; itself tried. What no pace mends is left out.
    pub(super) offer: Option<f64>,
    /// True where a wire is slack with its limb at rest, so that slow paces fail whatever faster ones do.
    pub(super) slow_fails: bool,
}

/// The smallest pace of a pass with these violations at its own; `still` are its gaps as if nothing swung.
pub(super) fn runnable(program: &Program, still: Option<&ClearanceReport>, fastest: &Fastest, violations: &[Violation]) -> Runnable {
    let of = |v: &Violation| Hindrance::Limit { subject: v.subject, limit: v.limit, part: v.part };
    let (mut slow_fails, mut shown) = (false, None);
    let four_digits = |pace: f64| up(pace, Places::Mantissa(3)).parse::<f64>().ok();
    let (found, hindrance) = match (program.stations(), fastest.seconds_per_frame, fastest.limited_by) {
        (Some(stations), ..) => {
            let found = held(program, stations);
            // Every slower pace leaves more time.
            shown = found.0.and_then(four_digits);
            found
        }
        (None, Some(_), _) => {
            let Some((floor, limited_by)) = floor(program, fastest) else { return Runnable::none(by_camera(program)) };
            let trials = Trials::new(program, still, floor, limited_by);
            let found = trials.search();
            slow_fails = trials.stands_taut() == Some(false);
            match found {
                Ok((pace, hindrance)) => {
                    shown = four_digits(pace).filter(|rounded| trials.fails(*rounded).is_none());
                    (Some(pace), hindrance)
                }
                Err(hindrance) => (None, Some(hindrance)),
            }
        }
        (None, None, limited_by) => (None, limited_by.map(|(axis, limit)| photographed(axis, limit))),
    };
    let is_made = |pace: f64| {
        // As far as the promise goes: the paces that were tried.
        let to = if program.stations().is_some() { pace } else { (4.0 * pace).max(program.pass().pace().get()) };
        camera::makes(program.compiled().stage().camera_timing(), program.pass().shutter().fraction() * to)
    };
    let (found, hindrance) = if found.is_none_or(is_made) { (found, hindrance) } else { (None, by_camera(program)) };
    // "Or slower" would be wrong where slow paces fail.
    let offer = found.filter(|_| !violations.is_empty() && !slow_fails).map(|pace| offer(program, still, fastest, pace));
    match violations.iter().find(|v| !mends(program, v)) {
        Some(v) => Runnable { seconds_per_frame: None, limited_by: Some(of(v)), shown: None, offer, slow_fails },
        None => Runnable { seconds_per_frame: found, limited_by: hindrance, shown, offer, slow_fails },
    }
}

impl Runnable {
    /// False where no pace was found because the budget of work for trying paces is used up.
    #[must_use]
    pub(crate) fn is_known(&self) -> bool {
        self.seconds_per_frame.is_some() || self.limited_by != Some(Hindrance::Budget)
    }

    /// No pace, for this.
    fn none(limited_by: Option<Hindrance>) -> Runnable {
        Runnable { seconds_per_frame: None, limited_by, shown: None, offer: None, slow_fails: false }
    }
}

/// The smallest pace for the photographed span and for the camera, and what limits it; `None` where the camera has its time at no pace.
fn floor(program: &Program, fastest: &Fastest) -> Option<(f64, Option<Hindrance>)> {
    let floor = fastest.seconds_per_frame?;
    let camera = camera::fastest(program)?;
    Some(if camera > floor {
        (camera, by_camera(program))
    } else {
        (floor, fastest.limited_by.map(|(axis, limit)| photographed(axis, limit)))
    })
}

/// The camera as what keeps a pass from running.
fn by_camera(program: &Program) -> Option<Hindrance> {
    let axis = program.compiled().stage().axis_ids().next()?;
    Some(Hindrance::Limit { subject: Subject::Shutter(axis), limit: Limit::Camera, part: Part::Photographed })
}

/// True for what a slower pace can mend.
fn mends(program: &Program, v: &Violation) -> bool {
    if v.limit == Limit::Register {
        return true;
    }
    match (program.stations(), v.cause) {
        (_, Cause::OpenTooLong) => false,
        (Some(_), cause) => matches!(cause, Cause::TooLong { .. } | Cause::ClosedTooShort(_)),
        (None, Cause::Step) => false,
        (None, _) => v.part != Part::Photographed || !matches!(v.limit, Limit::Position | Limit::Clearance),
    }
}

/// Up to three digits, four for a held pass, where that holds too.
fn offer(program: &Program, still: Option<&ClearanceReport>, fastest: &Fastest, pace: f64) -> f64 {
    let places = if program.stations().is_some() { Places::Mantissa(3) } else { Places::Mantissa(2) };
    let rounded: f64 = up(pace, places).parse().unwrap_or(pace);
    let holds = match (program.stations(), fastest.seconds_per_frame) {
        (Some(_), _) => true,
        (None, Some(_)) => {
            floor(program, fastest).is_some_and(|(floor, _)| Trials::new(program, still, floor, None).fails(rounded).is_none())
        }
        (None, None) => false,
    };
    if holds { rounded } else { pace }
}

/// The pace of a held pass at which every move and settling fits, and the axis of the slowest move.
fn held(program: &Program, stations: &Stations) -> (Option<f64>, Option<Hindrance>) {
    let pass = program.pass();
    let closed = 1.0 - pass.shutter().fraction();
    let slowest = stations.slowest().map_or(0.0, |m| m.seconds.0);
    if stations.available().is_none() {
        return (None, Some(Hindrance::OwnTimes));
    }
    let camera = camera::fastest(program);
    let Some(camera) = camera else { return (None, by_camera(program)) };
    if slowest == 0.0 {
        return (Some(camera.max(PACE.least)), by_camera(program).filter(|_| camera > PACE.least));
    }
    if !(closed > 0.0) {
        return (None, Some(Hindrance::NeverCloses));
    }
    let by = stations.slowest().and_then(|m| Some((m.from, m.slowest?))).map(|(from, axis)| {
        let positions = stations.positions(program.compiled().motion(axis).curve());
        let law = stations.laws(axis, &positions).find(|(m, _)| m.from == from).and_then(|(_, law)| law.law.binding());
        let limit = match law {
            Some(Binding::Velocity) | None => Limit::Velocity,
            Some(Binding::Acceleration) => Limit::Acceleration,
            Some(Binding::Jerk) => Limit::Jerk,
        };
        photographed(axis, limit)
    });
    let moves = (slowest + pass.settle()) / closed;
    let by = if camera > moves { by_camera(program) } else { by };
    let needed = moves.max(camera).max(PACE.least);
    let rounded: f64 = up(needed, Places::Mantissa(5)).parse().unwrap_or(needed);
    let holds = fits(slowest, Seconds(rounded * closed - pass.settle())) && PACE.contains(rounded);
    (holds.then_some(rounded), by)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::compile::Compiled;
    use crate::shot::{Exposure, Pass, Shape};
    use crate::stage::{AxisSpec, LoadSpec, Motor, Unit};
    use crate::time::Pace;

    fn at(compiled: &Compiled, pace: f64) -> Compiled {
        let passes = compiled.shot().passes().iter().map(|p| p.at_pace(Pace::new(pace).unwrap())).collect();
        compiled.with_shot(compiled.shot().with_passes(compiled.stage(), passes).unwrap()).unwrap()
    }

    fn holds(compiled: &Compiled, pace: f64) -> bool {
        at(compiled, pace).check().unwrap().within_limits()
    }

    /// The pace, compared with its property by whole checks of shots compiled anew.
    fn proven(compiled: &Compiled) -> Runnable {
        let report = compiled.check().unwrap();
        let found = report.passes.first().unwrap().runnable.clone();
        let Some(pace) = found.seconds_per_frame else {
            for pace in [0.01, 0.1, 1.0, 10.0, 100.0, 1000.0, 10_000.0] {
                assert!(!holds(compiled, pace), "{pace} holds");
            }
            return found;
        };
        assert!(holds(compiled, pace), "{found:?}");
        assert!(0.999 * pace < PACE.least || !holds(compiled, 0.999 * pace), "{found:?}");
        let own = compiled.shot().passes().first().unwrap().pace().get();
        let to = (4.0 * pace).max(own);
        for i in 0..60 {
            let between = pace + (to - pace) * f64::from(i) / 59.0;
            assert!(holds(compiled, between), "{between} of {found:?}");
        }
        found
    }

    fn moving(axis: AxisSpec, keys: &[(f64, f64)], pace: f64) -> Compiled {
        let stage = fixture::stage("heron", vec![axis]);
        // Keys within the span rest at their ends; those at its edge go on beyond it.
        let shape = if keys.first().is_some_and(|k| k.0 > 1.0) { Shape::MinimumJerk } else { Shape::NaturalCubic };
        let track = fixture::track(&stage, "heron.x", shape, keys);
        let passes = vec![fixture::pass(&stage, "picture", Exposure::Moving, pace)];
        fixture::compiled(stage, (1, 24), vec![track], passes)
    }

    fn axis(travel: [f64; 2], limits: [f64; 3]) -> AxisSpec {
        AxisSpec::new("x", Unit::Millimetre, travel, limits)
    }

    #[test]
    fn at_rest_at_both_ends_it_is_that_of_the_photographed_span() {
        let c = moving(axis([-10.0, 400.0], [50.0, 20.0, 60.0]), &[(3.0, 0.0), (22.0, 300.0)], 12.0);
        let report = c.check().unwrap();
        let (fastest, found) = (report.passes.first().unwrap().fastest.seconds_per_frame.unwrap(), proven(&c));
        let pace = found.seconds_per_frame.unwrap();
        assert!(fastest <= pace && pace <= fastest * 1.0001, "{fastest} {pace}");
    }

    /// Moving at the first exposure, 24 mm from the end of the travel: at fast paces no run-up has room, though the photographed span alone is within its limits.
    #[test]
    fn a_run_up_without_room_makes_it_slower_than_the_photographed_span() {
        let c = moving(axis([-24.0, 400.0], [50.0, 20.0, 60.0]), &[(1.0, 0.0), (12.0, 150.0), (24.0, 300.0)], 60.0);
        let report = c.check().unwrap();
        let fastest = report.passes.first().unwrap().fastest.seconds_per_frame.unwrap();
        let found = proven(&c);
        assert!(found.seconds_per_frame.unwrap() > 1.2 * fastest, "{fastest} {found:?}");
        assert!(matches!(found.limited_by, Some(Hindrance::Limit { part: Part::RunUp, .. })), "{found:?}");
        // Without any room at all: the first exposure stands at the end of the travel, and the axis is moving there.
        let c = moving(axis([-1.0, 400.0], [50.0, 20.0, 60.0]), &[(1.0, 8.0), (12.0, 150.0), (24.0, 300.0)], 60.0);
        assert_eq!(proven(&c).seconds_per_frame, None);
    }

    #[test]
    fn torque_in_the_run_up_counts() {
        let mut spec = axis([-4000.0, 4000.0], [500.0, 400.0, 4000.0]);
        spec.drive.travel_per_rev = 60.0;
        spec.motor = Some(Motor::new(200, Some(4e-5), None, vec![(0.0, 0.5), (300.0, 0.4), (900.0, 0.05)]).unwrap());
        spec.load = Some(LoadSpec { inertia: 90.0, friction: 6.0, vertical: false, efficiency: 0.9 });
        let c = moving(spec, &[(1.0, 0.0), (12.0, 900.0), (24.0, 1900.0)], 20.0);
        assert!(proven(&c).seconds_per_frame.is_some());
    }

    #[test]
    fn what_no_pace_mends_leaves_none_with_its_reason() {
        let c = moving(axis([-10.0, 200.0], [50.0, 20.0, 60.0]), &[(3.0, 0.0), (22.0, 300.0)], 12.0);
        let found = proven(&c);
        assert!(matches!(found.limited_by, Some(Hindrance::Limit { limit: Limit::Position, part: Part::Photographed, .. })), "{found:?}");
        assert!(crate::check::words::runnable(c.stage(), &found).starts_with("no pace is possible: limited by position of heron.x"));
    }

    #[test]
    fn held_moves_and_settling_fit_at_it_and_not_below() {
        let stage = fixture::stage("heron", vec![axis([-10.0, 400.0], [50.0, 20.0, 60.0])]);
        let track = fixture::track(&stage, "heron.x", Shape::NaturalCubic, &[(1.0, 0.0), (24.0, 300.0)]);
        let pass = Pass::new(&stage, "still", Exposure::Held, 9.0, 90.0, 1.5, vec![]).unwrap();
        let c = fixture::compiled(stage, (1, 24), vec![track], vec![pass]);
        let found = proven(&c);
        let slowest = c.check().unwrap().passes.first().unwrap().program.stations().unwrap().slowest().unwrap().seconds.0;
        let pace = found.seconds_per_frame.unwrap();
        assert!((pace - (slowest + 1.5) / 0.75).abs() < 1e-4 * pace, "{pace} {slowest}");
    }

    /// Another pass keeps its own pace, and with it, maybe, the length of the run-up.
    #[test]
    fn other_passes_stay_as_they_are() {
        let stage = fixture::stage("heron", vec![axis([-60.0, 400.0], [50.0, 20.0, 60.0])]);
        let track = fixture::track(&stage, "heron.x", Shape::NaturalCubic, &[(1.0, 0.0), (12.0, 150.0), (24.0, 300.0)]);
        let passes =
            ["picture", "rods"].map(|n| fixture::pass(&stage, n, Exposure::Moving, if n == "rods" { 30.0 } else { 12.0 })).to_vec();
        let c = fixture::compiled(stage, (1, 24), vec![track], passes);
        let report = c.check().unwrap();
        for (i, p) in report.passes.iter().enumerate() {
            let pace = p.runnable.seconds_per_frame.unwrap();
            let with = |pace: f64| {
                let all = c.shot().passes().iter().enumerate();
                let passes = all.map(|(k, p)| if k == i { p.at_pace(Pace::new(pace).unwrap()) } else { p.clone() }).collect();
                c.with_passes(passes).unwrap().check().unwrap().passes.get(i).unwrap().within_limits()
            };
            assert!(with(pace) && !with(0.999 * pace), "{i}: {pace}");
        }
    }

    #[test]
    fn the_same_curves_in_other_passes_are_those_of_a_shot_compiled_anew() {
        let c = moving(axis([-60.0, 400.0], [50.0, 20.0, 60.0]), &[(1.0, 0.0), (12.0, 150.0), (24.0, 300.0)], 12.0);
        for pace in [0.9, 3.0, 50.0] {
            let anew = at(&c, pace);
            let kept = c.with_passes(anew.shot().passes().to_vec()).unwrap();
            assert_eq!((kept.run_up(), kept.run_down()), (anew.run_up(), anew.run_down()));
            for (a, b) in kept.axes().iter().zip(anew.axes().iter()) {
                assert_eq!(a.curve(), b.curve());
            }
        }
    }
}
