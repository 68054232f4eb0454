//! Small inputs that once cost minutes, gigabytes or an abort: what they cost now, in counted work, and what is refused.
//!
//! Each states its count, never a time. `growth.rs` and `mutants.rs` measure seconds and memory.

use movewright::bounds::{Budget, Code, Effort};
use movewright::check::Report;
use movewright::compile::{CompileError, Compiled};
use movewright::number::Generator;
use movewright::program::Leg;

use crate::inside::common::inputs::{Inputs, Sized, chain, cycles, drifts, track};

fn compiled(inputs: &Inputs) -> Result<Compiled, Vec<CompileError>> {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    Compiled::compile(loaded.stage, loaded.shot)
}

fn checked(inputs: &Inputs) -> Report {
    compiled(inputs).unwrap().check().unwrap()
}

fn hoist(velocity: &str) -> Inputs {
    Inputs::of("herons").with("stage.toml", "home = 1900\nmax_velocity = 2.5", &format!("home = 1900\nmax_velocity = {velocity}"))
}

/// The move to start lasts 50 or 5,000 years instead of a quarter of an hour. It is a handful of pieces, and its clearance is found with no more work.
#[test]
fn a_slow_axis_costs_no_more_than_a_fast_one() {
    let usual = checked(&hoist("2.5"));
    let spent = |r: &Report| r.compiled.work().used(Effort::Boxes);
    for velocity in ["5e-7", "5e-9"] {
        let slow = checked(&hoist(velocity));
        assert!(!slow.within_limits());
        let way = slow.passes[0].program.way();
        assert!(way.length(Leg::MoveToStart).0 > 1e9);
        let pieces: usize = way.curves(Leg::MoveToStart).iter().flatten().map(|c| c.len()).max().unwrap();
        assert!(pieces <= 16, "{pieces}");
        assert!(spent(&slow) < 2 * spent(&usual), "{velocity}: {} beside {}", spent(&slow), spent(&usual));
        assert!(slow.passes[0].way_clearance.iter().all(|(_, c)| c.is_some()));
    }
}

#[test]
fn a_key_far_beyond_the_travel_is_an_exceeded_limit() {
    // Nothing follows focus here: so far off the ring has no place, which is an error of its own.
    let focus = "camera = \"camera\"\nchannel = \"focus_distance\"\npulls = [[1, \"reeds\"], [30, \"reeds\"], [96, \"heron_a\"]]";
    let still = "channel = \"camera.focus_distance\"\nkeys = [[1, 1300]]";
    let inputs = Inputs::of("herons").with("shot.toml", "[330, 5930.0]", "[330, 4e8]").with("shot.toml", focus, still).with(
        "shot.toml",
        "[[focus]]",
        "[[track]]",
    );
    let report = checked(&inputs);
    assert!(!report.within_limits());
    let trials = report.compiled.work().used(Effort::Trials);
    // The budget of trials, and the rest of the one that used it up.
    assert!(trials < 2_100_000, "{trials}");
}

#[test]
fn ten_thousand_frames_of_a_drift_at_the_fastest_pace() {
    let of = |pace: f64| checked(&Sized { frames: 10_000, pace, layers: drifts("g0.x", 1), ..Sized::default() }.inputs());
    let (slow, fast) = (of(12.0), of(0.001));
    assert!(slow.within_limits() && !fast.within_limits());
    // What is fast is fitted like what is slow: no pieces are spent on an exceeded limit.
    let pieces = |r: &Report| r.compiled.axes().first().unwrap().curve().len();
    assert!(pieces(&slow) == pieces(&fast) && pieces(&fast) < 11_000, "{} {}", pieces(&slow), pieces(&fast));
}

/// With a body the search for the fastest pace plans a program for every length of run-up: one of them is kept at a time, and boxes have a budget.
#[test]
fn a_body_that_drifts_for_ten_thousand_frames_at_the_fastest_pace() {
    let body = "[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 0, 50]\nradius = 10\n[[obstacle]]\nname = \"post\"\n\
                from = [500, 0, 0]\nto = [500, 900, 0]\nradius = 30\n";
    let report = checked(&Sized { frames: 10_000, pace: 0.001, group: body, layers: drifts("g0.x", 1), ..Sized::default() }.inputs());
    assert!(!report.within_limits());
    let work = report.compiled.work();
    assert!(work.left(Effort::TrialBoxes) > 0 && work.left(Effort::Boxes) > 0);
}

/// 660 turns under an aim: the fit of the camera's angles would go on for minutes. It ends, with the aim, the frame and the count.
#[test]
fn an_aim_at_what_turns_by_a_slip_is_refused_with_its_frame() {
    let inputs = Inputs::of("herons").with("take_off.csv", "264,,,,10", "264,,,,240000");
    let errors = compiled(&inputs).unwrap_err();
    let [error @ CompileError::Axes { axes, .. }] = errors.as_slice() else { panic!("{errors:?}") };
    let flaw = error.flaw();
    assert!(axes.iter().any(|a| a == "camera.pan"), "{axes:?}");
    assert_eq!((flaw.code, flaw.title.as_str()), (Code::BudgetExceeded, "the aim of `camera` would take too much work"));
    assert!(flaw.found.starts_with("more than 6192960 evaluations of layers by frame "), "{}", flaw.found);
    assert!(error.place().is_some() && flaw.help.contains("--large"), "{flaw:?}");
    // The same whatever the threads: the axes are then compiled one after the other.
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    assert_eq!(pool.install(|| compiled(&inputs)).unwrap_err(), errors);
}

/// At frame 30 million time is known to 4e-9 frame, in which the cycle moves by more than a sixteenth of a step of 1.2e-9 mm: pieces of any length miss it. The fit ends with the
/// axis, the frame, the bound and what to change; the same cycle near frame 1 is no work.
#[test]
fn fine_steps_thirty_million_frames_from_the_first_are_refused_with_the_cause() {
    let from = |first: u32| {
        let mut inputs =
            Sized { layers: cycles("g0.x", 1) + &format!("rate = [[{}, 1.15], [{}, 0.9]]\n", first - 10, first + 50), ..Sized::default() }
                .inputs()
                .with("stage.toml", "microsteps = 10\ntravel_per_rev = 20", "microsteps = 4096\ntravel_per_rev = 0.001");
        let (old, new) = ("frames = [1, 200]", format!("frames = [{first}, {}]", first + 199));
        inputs = inputs.with("shot.toml", old, &new);
        compiled(&inputs)
    };
    assert!(from(101).unwrap().work().used(Effort::Pieces) < 20_000);
    let errors = from(30_000_000).err().unwrap();
    let flaw = errors[0].flaw();
    assert_eq!((flaw.code, flaw.title.as_str()), (Code::BudgetExceeded, "axis `g0.x` would take too much work"));
    assert!(flaw.found.starts_with("more than 100200 pieces of curves by frame 300000"), "{}", flaw.found);
    assert!(flaw.help.starts_with("number the frames from near 1") && flaw.help.contains("--large"), "{}", flaw.help);
}

/// Pieces of the axis and evaluations for it.
fn fitted(layers: String, frames: usize) -> (usize, u64) {
    let compiled = compiled(&Sized { frames, layers, ..Sized::default() }.inputs()).unwrap();
    (compiled.axes().first().unwrap().curve().len(), compiled.work().used(Effort::Places))
}

#[test]
fn drifts_on_one_channel_are_summed_once_for_each_place() {
    let (few, many) = (fitted(drifts("g0.x", 50), 1000), fitted(drifts("g0.x", 100), 1000));
    // One grid for all of them: as many places, each asking twice as many layers.
    assert!(many.0 < few.0 + few.0 / 4, "{few:?} {many:?}");
    assert!(many.1 as f64 <= 2.5 * few.1 as f64, "{few:?} {many:?}");
}

#[test]
fn cycles_on_one_channel_are_summed_once_for_each_stretch() {
    let (few, many) = (fitted(cycles("g0.x", 50), 1000), fitted(cycles("g0.x", 100), 1000));
    // Every knot of every cycle is a step in jerk, so the pieces double; a place asks no more than before.
    assert!(many.0 > 3 * few.0 / 2 && many.1 as f64 <= 2.2 * few.1 as f64, "{few:?} {many:?}");
}

/// A layer through a thousand copies costs each group one layer, and the same curve a little later.
#[test]
fn a_chain_of_a_thousand_copies() {
    let of = |n: usize| {
        let layers = track("g0.x", 5) + &drifts("g0.x", 1) + &chain(n);
        compiled(&Sized { groups: n + 1, layers, ..Sized::default() }.inputs()).unwrap()
    };
    let (few, many) = (of(250), of(1000));
    let each = |c: &Compiled| c.work().used(Effort::Places) as f64 / c.axes().len() as f64;
    assert!(each(&many) < 1.2 * each(&few), "{} {}", each(&few), each(&many));
    let at = |axis: &str, frame: f64| many.axis(axis).unwrap().at(frame).unwrap();
    assert!((at("g0.x", 90.0) - at("g1000.x", 100.0)).abs() < 1e-3, "{} {}", at("g0.x", 90.0), at("g1000.x", 100.0));
}

#[test]
fn more_than_a_hundred_million_counts_are_refused_unless_asked_for() {
    let inputs = Sized { groups: 101, frames: 1_000_000, layers: track("g0.x", 2), ..Sized::default() }.inputs();
    let errors = compiled(&inputs).unwrap_err();
    let flaw = errors[0].flaw();
    assert_eq!(flaw.code, Code::BudgetExceeded);
    assert_eq!(flaw.found, "101 axes x 1000000 frames x 1 passes, 101000000 counts");
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    assert!(Compiled::within(Budget::Large, loaded.stage, loaded.shot).is_ok());
}

#[test]
fn pairs_that_nobody_can_mean_are_refused() {
    let body = "[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\noffset = [0, {i}, 0]\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 0, 5]\nradius = 0.1\n";
    let errors = compiled(&Sized { groups: 900, group: body, layers: track("g0.x", 2), ..Sized::default() }.inputs()).unwrap_err();
    assert!(matches!(errors.as_slice(), [CompileError::TooManyPairs { pairs: 404_550, .. }]), "{errors:?}");
}

/// A thousand envelopes on one figure are compared with a thousand of another, and one more is refused.
#[test]
fn envelopes_that_no_figure_has_are_refused() {
    let inputs = |n: usize| {
        let one = "[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 0, 5]\nradius = 0.1\n";
        let body = format!("[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\n{}", one.repeat(n));
        Sized { groups: 1, group: Box::leak(body.into_boxed_str()), layers: track("g0.x", 2), ..Sized::default() }.inputs()
    };
    assert!(inputs(1000).load().is_ok());
    let Err(rejection) = inputs(1001).load() else { panic!("they were taken") };
    let found: Vec<_> = rejection.diagnostics().iter().map(|d| (d.code(), d.found.as_str())).collect();
    assert_eq!(found, [("too-many", "1001 envelopes")]);
}

/// A curve that cannot be followed closely enough to tell where it is: the search ends with its budget, and the gap is reported as not proven.
#[test]
fn a_search_for_clearance_that_does_not_end_is_a_finding() {
    let inputs = Inputs::of("costs").with("shot.toml", "[0.4, 2.0]", "[0.000004, 2.0]");
    let report = checked(&inputs);
    assert!(!report.within_limits());
    let work = report.compiled.work();
    assert!(work.used(Effort::Boxes) < work.most(Effort::Boxes) + work.most(Effort::Boxes) / 4, "{}", work.used(Effort::Boxes));
}

/// Trials have a budget of their own; where it is used up a note says so.
#[test]
fn trials_that_are_not_made_are_noted() {
    let inputs = Inputs::of("costs");
    let report = checked(&inputs);
    assert!(report.notes.iter().all(|n| n.kind.name() != "fixes_not_tried"));
    let work = report.compiled.work();
    assert!(Effort::ALL.iter().all(|effort| work.left(*effort) > 0), "{work:?}");
}

/// Noise followed a thousand times more closely than it is large: every third sample is a knot, and each is asked for among its neighbours. Refused with the channel, the samples and the bound.
#[test]
fn a_recording_followed_far_below_its_noise_is_refused() {
    let of = |n: usize| {
        let mut g = Generator::new(7);
        let layers = "[[track]]\nchannel = \"g0.x\"\nsamples = \"hand.csv\"\nwithin = 1e-3\n".to_owned();
        let mut inputs = Sized { layers, ..Sized::default() }.inputs();
        let rows: String = (1..=n).map(|frame| format!("{frame},{}\n", g.between(-1.7, 1.7))).collect();
        inputs.0.insert("hand.csv".to_owned(), format!("frame,g0.x\n{rows}"));
        compiled(&inputs)
    };
    assert!(of(300).is_ok());
    let errors = of(6000).unwrap_err();
    let flaw = errors[0].flaw();
    assert_eq!((flaw.code, flaw.title.as_str()), (Code::BudgetExceeded, "channel `g0.x` would take too much work"));
    assert_eq!(flaw.found, "following 6000 samples so closely would take more than 572000000 multiplications");
    assert!(errors[0].place().is_some() && flaw.help.starts_with("write a larger `within`") && flaw.help.contains("--large"), "{flaw:?}");
}
