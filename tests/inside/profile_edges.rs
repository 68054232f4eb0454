//! Point-to-point laws at their edges: tiny, huge and no distance, arriving together, and every refusal.

use movewright::motion::point_to_point::{
    Binding, End, Limits, ProfileError, SevenSegment, State, Trapezoid, TrapezoidLimits, synchronise,
};

/// Ordinary limits, distances of every size; the durations are those of the active limit alone.
#[test]
fn tiny_and_huge_distances_work() {
    let limits = Limits::new(300.0, 150.0, 600.0).unwrap();
    for (distance, duration, binding) in [
        (1e-300, (32.0 * 1e-300_f64 / 600.0).cbrt(), Binding::Jerk),
        (1e-30, (32.0 * 1e-30_f64 / 600.0).cbrt(), Binding::Jerk),
        (1e12, 1e12 / 300.0 + 300.0 / 150.0 + 150.0 / 600.0, Binding::Velocity),
        (1e300, 1e300 / 300.0, Binding::Velocity),
    ] {
        for distance in [distance, -distance] {
            let profile = SevenSegment::rest_to_rest(distance, &limits).unwrap();
            assert!((profile.duration() / duration - 1.0).abs() <= 16.0 * f64::EPSILON, "{distance}");
            assert_eq!(profile.binding(), Some(binding));
            let last = profile.at(profile.duration()).unwrap();
            assert_eq!((last.position, last.velocity, last.acceleration), (distance, 0.0, 0.0));
            let middle = profile.at(profile.duration() / 2.0).unwrap();
            assert!((middle.position / distance - 0.5).abs() <= 16.0 * f64::EPSILON);
            assert!(middle.velocity.abs() <= 300.0 && middle.velocity * distance.signum() > 0.0);
        }
        // Already moving: the distance is passed at nearly the speed there is.
        let moving = SevenSegment::fastest(distance, 200.0, 200.0, &limits).unwrap();
        assert_eq!(moving.at(moving.duration()).unwrap().velocity, 200.0);
        assert!(moving.duration() <= distance / 200.0 * (1.0 + 4.0 * f64::EPSILON));
    }
}

#[test]
fn no_distance_takes_no_time() {
    let limits = Limits::new(1.0, 2.0, 3.0).unwrap();
    let none = SevenSegment::rest_to_rest(0.0, &limits).unwrap();
    assert_eq!((none.duration(), none.binding(), none.peak_velocity()), (0.0, None, 0.0));
    assert_eq!((none.peak_acceleration(), none.peak_jerk()), (0.0, 0.0));
    let still = State { position: 0.0, velocity: 0.0, acceleration: 0.0, jerk: 0.0 };
    assert_eq!(none.at(0.0), Some(still));
    assert_eq!(none.at(1e-9), None);
    // Held while other axes move.
    let held = none.stretched(5.0).unwrap();
    assert_eq!((held.duration(), held.at(2.5), held.at(5.1)), (5.0, Some(still), None));
    let passing = SevenSegment::fastest(0.0, 0.5, 0.5, &limits).unwrap();
    assert_eq!((passing.duration(), passing.at(0.0).unwrap().velocity), (0.0, 0.5));
    assert!(matches!(SevenSegment::fastest(0.0, 0.5, 0.0, &limits), Err(ProfileError::TooShort { least, .. }) if least > 0.0));
    assert!(matches!(SevenSegment::fastest(0.0, -0.5, 0.0, &limits), Err(ProfileError::TooShort { least, .. }) if least < 0.0));
    let trapezoid = TrapezoidLimits::new(1.0, 2.0, 3.0).unwrap();
    let none = Trapezoid::fastest(0.0, 0.0, 0.0, &trapezoid).unwrap();
    assert_eq!((none.duration(), none.binding(), none.at(0.0).unwrap().velocity), (0.0, None, 0.0));
    assert!(matches!(Trapezoid::fastest(0.0, 0.5, 0.0, &trapezoid), Err(ProfileError::TooShort { .. })));
}

#[test]
fn axes_arrive_together_on_the_bit() {
    let limits = Limits::new(300.0, 150.0, 600.0).unwrap();
    let axes = [1800.0, -0.3, 0.0, 77.7].map(|distance| SevenSegment::rest_to_rest(distance, &limits).unwrap());
    let common = synchronise(&axes);
    assert_eq!(common, axes[0].duration());
    for axis in axes {
        let together = axis.stretched(common).unwrap();
        assert_eq!(together.duration().to_bits(), common.to_bits());
        assert_eq!(together.at(common).unwrap().position, axis.distance());
    }
    assert_eq!(synchronise(&[]), 0.0);
}

#[test]
fn what_cannot_be_done_as_asked_is_refused() {
    let limits = Limits::new(1.0, 2.0, 3.0).unwrap();
    let ask = |distance, start, finish| SevenSegment::fastest(distance, start, finish, &limits);
    for bad in [f64::NAN, f64::INFINITY] {
        assert!(matches!(ask(bad, 0.0, 0.0), Err(ProfileError::OutOfRange { what: "distance", .. })));
        assert!(matches!(ask(1.0, bad, 0.0), Err(ProfileError::OutOfRange { what: "start speed", .. })));
        assert!(matches!(ask(1.0, 0.0, bad), Err(ProfileError::OutOfRange { what: "end speed", .. })));
    }
    let over = ProfileError::EndSpeedOverLimit { end: End::Finish, found: 1.5, allowed: 1.0 };
    assert_eq!(ask(9.0, 0.0, 1.5), Err(over));
    assert!(matches!(ask(-9.0, -1.5, 0.0), Err(ProfileError::EndSpeedOverLimit { end: End::Start, found: -1.5, allowed: 1.0 })));
    assert!(matches!(ask(9.0, 0.0, -1e-9), Err(ProfileError::AgainstMove { end: End::Finish, .. })));
    let against = ProfileError::AgainstMove { end: End::Start, found: 0.5, distance: -9.0 };
    assert_eq!(ask(-9.0, 0.5, 0.0), Err(against));
    // Stopping from 0.6 takes 2 sqrt(0.6/3) s at a mean of 0.3 (derived): 0.268328.
    let Err(ProfileError::TooShort { least, .. }) = ask(0.2, 0.6, 0.0) else { panic!("0.2 is too short") };
    assert!((least - 0.6 * 0.2_f64.sqrt()).abs() <= 1e-15, "{least}");
    let moving = ask(9.0, 0.5, 0.0).unwrap();
    assert_eq!(moving.stretched(moving.duration()), Ok(moving));
    assert_eq!(moving.stretched(1e3), Err(ProfileError::MovingEnds { start: 0.5, finish: 0.0 }));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(ask(9.0, 0.0, 0.0).unwrap().stretched(bad).is_err());
    }
    let extreme = Limits::new(1e-300, 1e300, 1e300).unwrap();
    assert!(matches!(SevenSegment::rest_to_rest(1e300, &extreme), Err(ProfileError::NotRepresentable { .. })));
}

/// Speeding up from nearly nothing takes more way than stopping first and speeding up from rest: sqrt(j) x distance is
/// (u + w) sqrt(w - u) against u^1.5 + w^1.5. Between the two, the fastest move slows down first.
#[test]
fn a_short_move_slows_down_before_it_speeds_up() {
    let limits = Limits::new(4.0, 100.0, 1.0).unwrap();
    let (start, finish) = (0.01_f64, 1.0_f64);
    let direct = (start + finish) * (finish - start).sqrt();
    let by_stopping = start.powf(1.5) + finish.powf(1.5);
    assert!(by_stopping < direct);
    let profile = SevenSegment::fastest((by_stopping + direct) / 2.0, start, finish, &limits).unwrap();
    let phases = profile.phases();
    assert!(0.0 < phases.turning_speed && phases.turning_speed < start);
    assert!(phases.first_acceleration < 0.0 && phases.second_acceleration > 0.0);
    assert!(SevenSegment::fastest(by_stopping * 0.999_999, start, finish, &limits).is_err());
    assert_eq!(profile.at(profile.duration()).unwrap().velocity, finish);
}

/// Every number here is exact in binary (derived): speed 4, rates 2, jerk 2 over 16 take 7 s, one second for each of the seven segments.
#[test]
fn the_jerk_at_an_instant_is_the_one_that_follows() {
    let limits = Limits::new(4.0, 2.0, 2.0).unwrap();
    for way in [1.0, -1.0] {
        let profile = SevenSegment::rest_to_rest(way * 16.0, &limits).unwrap();
        assert_eq!(profile.duration(), 7.0);
        let seen = |t: f64| profile.at(t).unwrap();
        let jerks = [2.0, 0.0, -2.0, 0.0, -2.0, 0.0, 2.0, 2.0];
        let accelerations = [0.0, 2.0, 2.0, 0.0, 0.0, -2.0, -2.0, 0.0];
        let speeds = [0.0, 1.0, 3.0, 4.0, 4.0, 3.0, 1.0, 0.0];
        let mut t = 0.0;
        for ((jerk, acceleration), speed) in jerks.into_iter().zip(accelerations).zip(speeds) {
            let state = seen(t);
            assert_eq!((state.jerk, state.acceleration, state.velocity), (way * jerk, way * acceleration, way * speed), "at {t}");
            t += 1.0;
        }
        // Slowed down by two: halves, quarters and eighths, exactly.
        let slow = profile.stretched(14.0).unwrap();
        for t in [0.5, 1.25, 2.0, 3.5, 4.75, 6.0, 7.0] {
            let (fast, state) = (seen(t), slow.at(2.0 * t).unwrap());
            assert_eq!(state.position, fast.position);
            assert_eq!(state.velocity, fast.velocity / 2.0);
            assert_eq!(state.acceleration, fast.acceleration / 4.0);
            assert_eq!(state.jerk, fast.jerk / 8.0);
        }
        let (one, half) = (profile.phases(), slow.phases());
        assert_eq!((half.first_jerk, half.first, half.cruise), (2.0 * one.first_jerk, 2.0 * one.first, 2.0 * one.cruise));
        assert_eq!((half.second_jerk, half.second), (2.0 * one.second_jerk, 2.0 * one.second));
        assert_eq!(half.turning_speed, one.turning_speed / 2.0);
        assert_eq!((half.first_acceleration, half.second_acceleration), (one.first_acceleration / 4.0, one.second_acceleration / 4.0));
    }
}

/// Where a limit is only just reached, rounding must not take the move over it: distances a few last bits around the one at which the
/// cruise vanishes.
#[test]
fn a_limit_that_is_just_reached_is_not_passed() {
    for i in 1..400_u32 {
        let (v, a, j) = (0.1 + f64::from(i) * 0.37, 3.3 / f64::from(i) + 0.2, 0.7 + f64::from(i % 17));
        let limits = Limits::new(v, a, j).unwrap();
        let ramp = if v >= a * (a / j) { v / a + a / j } else { 2.0 * (v / j).sqrt() };
        let (mut smooth, mut corner) = (v * ramp, v * (v / a));
        for _ in 0..6 {
            (smooth, corner) = (smooth.next_down(), corner.next_down());
        }
        for _ in 0..12 {
            (smooth, corner) = (smooth.next_up(), corner.next_up());
            let profile = SevenSegment::rest_to_rest(smooth, &limits).unwrap();
            assert!(profile.peak_velocity() <= v && profile.peak_acceleration() <= a, "{smooth} {limits:?}");
            let trapezoid = Trapezoid::fastest(corner, 0.0, 0.0, &TrapezoidLimits::new(v, a, a).unwrap()).unwrap();
            assert!(trapezoid.peak_velocity() <= v, "{corner} {limits:?}");
            let mut t = trapezoid.phases().acceleration;
            for _ in 0..4 {
                t = t.next_down();
                assert!(trapezoid.at(t).unwrap().velocity <= trapezoid.peak_velocity(), "{corner} {limits:?}");
            }
        }
    }
}
