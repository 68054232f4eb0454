//! Room to stop: stops by another planner and in small steps, sampled moves, faults planted and the same at the limit, what happens without power.

use movewright::check::stopping::against::Against;
use movewright::check::{Limit, Report, Violation};
use movewright::compile::Compiled;
use movewright::motion::stop::Braking;
use movewright::stage::AxisId;
use movewright::time::Seconds;
use proptest::prelude::*;

use crate::inside::common::inputs::Inputs;

fn braking(reaction: f64, [velocity, acceleration, jerk]: [f64; 3]) -> Braking {
    Braking { reaction, velocity, acceleration, jerk }
}

/// Time-optimal stops by another program, R. Verschueren's port of L. Berscheid's planner: its velocity interface, from (v, a) to rest.
#[test]
fn a_planner_of_another_origin_stops_at_the_same_place() {
    use rsruckig::prelude::*;
    let limits = [60.0, 20.0, 40.0];
    let b = braking(0.0, limits);
    for (v, a) in
        [(60.0, 0.0), (35.0, 12.0), (35.0, -12.0), (2.0, -20.0), (-50.0, 20.0), (-1.0, 15.0), (0.5, 3.0), (59.0, 20.0), (10.0, -20.0)]
    {
        let mut otg = Ruckig::<1, ThrowErrorHandler>::new(None, 0.01);
        let mut input = InputParameter::<1>::new(None);
        input.control_interface = ControlInterface::Velocity;
        (input.current_velocity[0], input.current_acceleration[0]) = (v, a);
        (input.max_acceleration[0], input.max_jerk[0], input.max_velocity[0]) = (limits[1], limits[2], limits[0]);
        let mut trajectory = Trajectory::new(None);
        otg.calculate(&input, &mut trajectory).unwrap();
        let extremes = {
            let all = trajectory.get_position_extrema();
            (all[0].min, all[0].max)
        };
        let seconds = trajectory.get_duration();
        assert!((b.seconds(v, a) - seconds).abs() < 1e-7, "{v} {a}: {} {seconds}", b.seconds(v, a));
        assert!((b.up(v, a) - extremes.1.max(0.0)).abs() < 1e-6, "{v} {a}: {} {extremes:?}", b.up(v, a));
        assert!((b.down(v, a) + extremes.0.min(0.0)).abs() < 1e-6, "{v} {a}: {} {extremes:?}", b.down(v, a));
    }
}

/// The stop in small steps: jerk by the rule that brings acceleration and speed to zero together.
fn by_small_steps(b: &Braking, mut v: f64, mut a: f64, h: f64) -> [f64; 3] {
    let (mut p, mut up, mut down, mut t) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0);
    let (least, most) = ((-b.velocity).min(v), b.velocity.max(v));
    while t < b.reaction {
        let next = (v + a * h).clamp(least, most);
        p += 0.5 * (v + next) * h;
        v = next;
        (up, down, t) = (up.max(p), down.min(p), t + h);
    }
    // The rule shivers on its last steps: they are counted, not walked.
    while v.abs() > b.jerk * h * h * 2000.0 || a.abs() > b.jerk * h * 50.0 {
        // The speed that is left once the acceleration has come to zero.
        let left = v + 0.5 * a * a.abs() / b.jerk;
        let wanted = if left > 0.0 { -1.0 } else { 1.0 };
        // No step leads beyond the greatest deceleration.
        let most = b.acceleration.max(a.abs());
        let then = (a + wanted * b.jerk * h).clamp(-most, most);
        let next = (v + 0.5 * h * (a + then), then);
        p += h * (v + h * (a / 3.0 + then / 6.0));
        (v, a) = next;
        (up, down, t) = (up.max(p), down.min(p), t + h);
        if t > 1e3 {
            break;
        }
    }
    [up, -down, t + a.abs() / b.jerk]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]
    #[test]
    fn small_steps_stop_at_the_same_place(
        v in -1.0..1.0_f64, a in -1.0..1.0_f64, reaction in 0.0..0.5_f64,
        limits in (10.0..200.0_f64, 5.0..100.0_f64, 10.0..400.0_f64),
    ) {
        let b = braking(reaction, [limits.0, limits.1, limits.2]);
        let (v, a) = (v * limits.0, a * limits.1);
        let [up, down, t] = by_small_steps(&b, v, a, 1e-4);
        let near = |x: f64, y: f64| (x - y).abs() < 2e-3 * (1.0 + limits.0);
        prop_assert!(near(up, b.up(v, a)) && near(down, b.down(v, a)), "{up} {} {down} {}", b.up(v, a), b.down(v, a));
        // A switch that comes a step late leaves a speed of up to 2 a h, and taking that away as long as a stop from it.
            let late = 2.0 * (4.0 * limits.1 * 1e-4 / limits.2).sqrt();
            prop_assert!((t - b.seconds(v, a)).abs() < 1e-2 + late, "{t} {}", b.seconds(v, a));
    }

    /// What bounds over a stretch of time rest on.
    #[test]
    fn more_speed_or_acceleration_never_stops_sooner(
        v in -1.5..1.5_f64, a in -1.5..1.5_f64, more in (0.0..1.0_f64, 0.0..1.0_f64), reaction in 0.0..2.0_f64,
        limits in (1.0..200.0_f64, 1.0..100.0_f64, 1.0..400.0_f64),
    ) {
        let b = braking(reaction, [limits.0, limits.1, limits.2]);
        let (v, a) = (v * limits.0, a * limits.1);
        let further = b.up(v + more.0 * limits.0, a + more.1 * limits.1);
        prop_assert!(b.up(v, a) <= further * (1.0 + 1e-12) + 1e-9, "{} {further}", b.up(v, a));
    }
}

/// One group a carriage, each with an axis `x`, on a rail where `rail` says so; 60 mm/s, 20 mm/s2, 40 mm/s3.
fn inputs(top: &str, carriages: &[(&str, [f64; 2], &str)], tracks: &str, pass: &str) -> Inputs {
    let group = |(name, travel, more): &(&str, [f64; 2], &str)| {
        format!(
            "[[group]]\nname = \"{name}\"\n[[group.axis]]\nname = \"x\"\nunit = \"mm\"\ntravel = [{}, {}]\nmax_velocity = 60\nmax_acceleration = 20\nmax_jerk = 40\n\
             motor = \"m\"\nmicrosteps = 10\ntravel_per_rev = 20\n{more}",
            travel[0], travel[1]
        )
    };
    let stage = format!(
        "format = 1\nname = \"Marsh\"\n{top}[motor.m]\nfull_steps_per_rev = 200\nrotor_inertia = 1e-5\n{}",
        carriages.iter().map(group).collect::<String>()
    );
    let shot = format!(
        "format = 1\nname = \"Past the reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 40]\n{tracks}[[pass]]\nname = \"beauty\"\n{pass}"
    );
    Inputs::new(stage, shot)
}

const QUICK: &str = "exposure = \"moving\"\nseconds_per_frame = 1.25\nshutter = 180\n";

/// A straight line of this many mm from frame 1 to 40.
fn line(axis: &str, from: f64, by: f64) -> String {
    format!("[[track]]\nchannel = \"{axis}\"\nshape = \"natural_cubic\"\nkeys = [[1, {from}], [40, {}]]\n", from + by)
}

fn checked(inputs: &Inputs) -> Report {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}")).checked().unwrap()
}

fn stopping(report: &Report) -> Vec<&Violation> {
    report.passes[0].violations.iter().filter(|v| v.limit == Limit::Stopping).collect()
}

/// 12.5 mm per frame at 1.25 s per frame are 10 mm/s. By hand: 2 mm until the stop begins, then one second, symmetric, half of the speed on average: 7 mm, and the run-down needs 6.25 of them.
#[test]
fn a_move_that_ends_short_of_its_stop_is_found_and_the_same_at_the_limit_is_not() {
    let end = 12.5 * 39.5;
    let with = |room: f64| checked(&inputs("", &[("heron", [-100.0, end + room], "")], &line("heron.x", 0.0, 487.5), QUICK));
    let at = with(7.0);
    assert!(at.within_limits(), "{:?}", at.passes[0].violations);
    let (_, Some(s)) = at.passes[0].stops[0] else { panic!() };
    assert!(
        (s.distance - 7.0).abs() < 1e-6 && (s.room - 7.0).abs() < 1e-6 && (s.seconds - 1.2).abs() < 1e-9 && s.against == Against::Travel,
        "{s:?}"
    );
    assert!((s.at.frame().unwrap().0 - 40.5).abs() < 1e-4, "{s:?}");
    let over = with(6.999);
    let found = stopping(&over);
    assert_eq!((found.len(), over.within_limits()), (1, false));
    assert!((found[0].value - 7.0).abs() < 1e-6 && (found[0].allowed - 6.999).abs() < 1e-6, "{found:?}");
    // Slower there is room, and that pace is offered.
    let pace = over.passes[0].runnable.seconds_per_frame.unwrap();
    assert!(pace > 1.25 && pace < 1.3, "{pace}");
    let text = movewright::check::words::violation(&over.compiled, found[0]);
    assert!(text.contains("to stop, and") && text.contains("left to the end of its travel"), "{text}");
    // Who notices later needs more room: 10 mm/s for 0.1 s.
    let late = checked(&inputs("reaction = 0.3\n", &[("heron", [-100.0, end + 7.5], "")], &line("heron.x", 0.0, 487.5), QUICK));
    assert!((stopping(&late)[0].value - 8.0).abs() < 1e-6);
}

/// Two carriages towards each other at 10 and 5 mm/s: 7 mm and, from 5 mm/s, 1 mm and 0.5 x 5 x 2 sqrt(5 / 40) mm.
#[test]
fn carriages_on_one_rail_need_room_for_both() {
    let both = 7.0 + 1.0 + 5.0 * (5.0_f64 / 40.0).sqrt();
    let rail = "[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\n[group.rail]\nname = \"truss\"\nchannel = \"x\"\nreach = [30, 40]\ngap = 15\n";
    let with = |room: f64| {
        let (a, b) = (12.5 * 39.5, 12.5 * 39.5 + 40.0 + 30.0 + 15.0 + room);
        let tracks = line("a.x", 0.0, 487.5) + &line("b.x", b + 6.25 * 39.5, -243.75);
        assert!(a > 0.0);
        checked(&inputs("", &[("a", [-100.0, 3000.0], rail), ("b", [-100.0, 3000.0], rail)], &tracks, QUICK))
    };
    let at = with(both + 1e-9);
    assert!(stopping(&at).is_empty(), "{:?}", at.passes[0].violations);
    let found: Vec<_> = at.passes[0].stops.iter().map(|(_, s)| s.unwrap()).collect();
    let [a, b] = [0, 1].map(|i| found[i]);
    assert!((a.distance - both).abs() < 1e-5 && (a.room - both).abs() < 1e-5, "{a:?} {both}");
    assert_eq!((a.against, b.against), (Against::Carriage(b.axis), Against::Carriage(a.axis)));
    let over = with(both - 1e-3);
    assert_eq!(stopping(&over).len(), 2);
    // A neighbour that is parked stands: its home lies far away, and the travel is nearest.
    let parked = QUICK.to_owned() + "park = [\"b\"]\n";
    let alone = inputs("", &[("a", [-100.0, 3000.0], rail), ("b", [-100.0, 3000.0], rail)], &line("a.x", 0.0, 487.5), &parked);
    let alone = alone.with(
        "stage.toml",
        "name = \"b\"\n[[group.axis]]\nname = \"x\"\nunit = \"mm\"\n",
        "name = \"b\"\n[[group.axis]]\nname = \"x\"\nunit = \"mm\"\nhome = 1500\n",
    );
    let report = checked(&alone);
    let (_, Some(a)) = report.passes[0].stops[0] else { panic!() };
    assert!(a.against == Against::Travel && report.passes[0].stops.len() == 1, "{a:?}");
}

/// No sampled instant has less room left over than was found, in a moving and in a held pass; and it is taken on.
#[test]
fn no_sample_leaves_less_room() {
    let tracks = "[[track]]\nchannel = \"heron.x\"\nkeys = [[1, 300], [9, 620], [14, 420], [30, 460], [40, -80]]\n[[drift]]\nchannel = \"heron.x\"\nseed = 4\namplitude = 9\nperiod = 7\n";
    for (pass, held) in [
        ("exposure = \"moving\"\nseconds_per_frame = 3\nshutter = 180\n", false),
        ("exposure = \"held\"\nseconds_per_frame = 40\nshutter = 90\n", true),
    ] {
        let report = checked(&inputs("", &[("heron", [-300.0, 900.0], "")], tracks, pass));
        let program = &report.passes[0].program;
        let (id, Some(found)): (AxisId, _) = report.passes[0].stops[0] else { panic!() };
        let axis = program.compiled().stage().axis(id);
        let b = braking(0.2, [60.0, 20.0, 40.0]);
        let (begin, end) = (program.clock().begin().0, program.end().0);
        let mut least = f64::INFINITY;
        for i in 0..=400_000_u32 {
            let m = program.motion(id, Seconds(begin + (end - begin) * f64::from(i) / 400_000.0)).unwrap();
            let margin = (axis.travel().upper - m.position - b.up(m.velocity, m.acceleration))
                .min(m.position - axis.travel().lower - b.down(m.velocity, m.acceleration));
            least = least.min(margin);
        }
        let margin = found.room - found.distance;
        assert!(margin <= least + 1.2e-3 && least <= margin + 0.05, "{held} {found:?} {least}");
    }
}

/// 20 N on 40 kg slow it down by 0.5 m/s2, rotor left out: 10 mm/s coast 0.1 mm. The rotor counts for more than the load here: 1e-5 kg m2 x (2 pi x 50)^2 = 0.987 kg.
#[test]
fn without_power_loads_drop_and_coast() {
    let of =
        |load: &str, travel_end: f64| checked(&inputs("", &[("heron", [-100.0, travel_end], load)], &line("heron.x", 0.0, 487.5), QUICK));
    let lying = of("load = { mass = 40, friction = 20 }\n", 2000.0);
    let (_, Some(s)) = lying.passes[0].coasts[0] else { panic!() };
    let slows = 1000.0 * 20.0 / (40.0 + 1e-5 * (std::f64::consts::TAU * 50.0).powi(2));
    assert!(s.distance <= 0.5 * 100.0 / slows + 1e-9, "{s:?}");
    let kinds = |r: &Report| {
        r.notes.iter().map(|n| n.kind.name()).filter(|k| ["brake_not_stated", "drops", "coasts_too_far"].contains(k)).collect::<Vec<_>>()
    };
    assert!(kinds(&lying).is_empty());
    // 0.5 N: 40 times as far, 4.2 mm and more; a travel that ends after 6.5 mm allows it, and the stop needs more.
    let slick = of("load = { mass = 400, friction = 0.5 }\n", 12.5 * 39.5 + 8.0);
    assert_eq!(kinds(&slick), ["coasts_too_far"]);
    assert!(slick.within_limits(), "{:?}", slick.passes[0].violations);
    assert!(kinds(&of("brake = true\nload = { mass = 400, friction = 0.5 }\n", 12.5 * 39.5 + 8.0)).is_empty());
    let hung = "load = { mass = 1.9, friction = 1, vertical = true }\n";
    assert_eq!(kinds(&of(hung, 2000.0)), ["brake_not_stated"]);
    assert_eq!(kinds(&of(&format!("brake = false\n{hung}"), 2000.0)), ["drops"]);
    assert!(kinds(&of(&format!("brake = true\n{hung}"), 2000.0)).is_empty());
}
