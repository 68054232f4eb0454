//! The point-to-point law at its edges: tiny, huge and no distance, arriving together, and every refusal.

use movewright::motion::point_to_point::{Binding, Limits, ProfileError, SevenSegment, State};

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
}

#[test]
fn axes_arrive_together_on_the_bit() {
    let limits = Limits::new(300.0, 150.0, 600.0).unwrap();
    let axes = [1800.0, -0.3, 0.0, 77.7].map(|distance| (distance, SevenSegment::rest_to_rest(distance, &limits).unwrap()));
    let common = axes[0].1.duration();
    for (distance, axis) in axes {
        let together = axis.stretched(common).unwrap();
        assert_eq!(together.duration().to_bits(), common.to_bits());
        assert_eq!(together.at(common).unwrap().position, distance);
    }
}

#[test]
fn what_cannot_be_done_as_asked_is_refused() {
    let limits = Limits::new(1.0, 2.0, 3.0).unwrap();
    for bad in [f64::NAN, f64::INFINITY] {
        assert!(matches!(SevenSegment::rest_to_rest(bad, &limits), Err(ProfileError::OutOfRange { what: "distance", .. })));
    }
    let whole = SevenSegment::rest_to_rest(9.0, &limits).unwrap();
    assert_eq!(whole.stretched(whole.duration()), Ok(whole));
    let hurried = whole.duration().next_down();
    assert_eq!(whole.stretched(hurried), Err(ProfileError::TooFast { found: hurried, least: whole.duration() }));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(whole.stretched(bad).is_err());
    }
    let extreme = Limits::new(1e-300, 1e300, 1e300).unwrap();
    assert!(matches!(SevenSegment::rest_to_rest(1e300, &extreme), Err(ProfileError::NotRepresentable { .. })));
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
        assert_eq!((half.blend, half.ramp, half.cruise), (2.0 * one.blend, 2.0 * one.ramp, 2.0 * one.cruise));
        assert_eq!((half.speed, half.acceleration), (one.speed / 2.0, one.acceleration / 4.0));
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
        let mut distance = v * ramp;
        for _ in 0..6 {
            distance = distance.next_down();
        }
        for _ in 0..12 {
            distance = distance.next_up();
            let profile = SevenSegment::rest_to_rest(distance, &limits).unwrap();
            assert!(profile.peak_velocity() <= v && profile.peak_acceleration() <= a, "{distance} {limits:?}");
        }
    }
}
