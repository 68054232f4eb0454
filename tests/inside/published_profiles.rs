//! Point-to-point laws against published numbers, each beside its source.
//!
//! Tolerances are half a unit of the last printed digit. "Derived" marks values that are printed nowhere and close by an independent
//! computation; they are held to 1e-9. Prints known to be errata are not asserted; where one is met, it is named.

use movewright::motion::point_to_point::{
    Binding, Limits, MinimumJerk, ProfileError, SevenSegment, SevenSegmentPhases, Trapezoid, TrapezoidLimits,
};

const DERIVED: f64 = 1e-9;
/// Half a unit of the fourth decimal.
const FOUR_DECIMALS: f64 = 5e-5;

#[track_caller]
fn check(what: &str, found: f64, printed: f64, tolerance: f64) {
    assert!((found - printed).abs() <= tolerance, "{what}: found {found}, printed {printed}");
}

fn trapezoid(distance: f64, ends: (f64, f64), limits: (f64, f64, f64)) -> Trapezoid {
    let limits = TrapezoidLimits::new(limits.0, limits.1, limits.2).unwrap();
    Trapezoid::fastest(distance, ends.0, ends.1, &limits).unwrap()
}

fn double_s(ends: (f64, f64), limits: (f64, f64, f64)) -> SevenSegment {
    let limits = Limits::new(limits.0, limits.1, limits.2).unwrap();
    SevenSegment::fastest(10.0, ends.0, ends.1, &limits).unwrap()
}

/// The end is where it was asked for, bit for bit.
#[track_caller]
fn ends_exactly(profile: &SevenSegment, distance: f64, finish: f64) {
    let last = profile.at(profile.duration()).unwrap();
    assert_eq!((last.position, last.velocity, last.acceleration), (distance, finish, 0.0));
}

/// Source: Yaskawa Electric, E-V-MD series AC servo user manual, sec. 2.2.2, p. 2-5: feed at 15 m/min over 0.275 m in 1.2 s.
#[test]
fn feed_axis_with_cruise_speed_and_time_given() {
    let phases = Trapezoid::in_time(0.275, 1.2, 0.25).unwrap().phases();
    check("ta", phases.acceleration, 0.1, 0.005);
    check("tc", phases.cruise, 1.0, 0.05);
    // Derived: a planner given 2.5 m/s^2 returns the same time.
    let fastest = trapezoid(0.275, (0.0, 0.0), (0.25, 2.5, 2.5));
    check("T", fastest.duration(), 1.2, DERIVED);
    assert_eq!(fastest.binding(), Some(Binding::Velocity));
}

/// Source: exercises of P. Corke, Robotics, Vision and Control, Springer, ch. 3: from 0 to 1 in 50 samples, that is, in 49 steps.
#[test]
fn range_of_cruise_speeds_in_a_given_time() {
    let (above, at_most) = Trapezoid::cruise_range(1.0, 49.0).unwrap();
    check("V_min", above, 0.020_408, 5e-7);
    check("V_max", at_most, 0.040_816, 5e-7);
    let (least, most) = Trapezoid::duration_range(1.0, 0.025).unwrap();
    check("tf_min", least, 40.0, DERIVED);
    check("tf_max", most, 80.0, DERIVED);
    for cruise in [0.0204, 0.0409, above, at_most * 1.000_001] {
        let refused = Trapezoid::in_time(1.0, 49.0, cruise).unwrap_err();
        assert_eq!(refused, ProfileError::CruiseOutOfReach { found: cruise, above, at_most });
        let text = refused.to_string();
        assert!(text.contains("0.0204081632") && text.contains("0.0408163265"), "{text}");
    }
    for cruise in [0.020_409, 0.025, 0.0408, at_most] {
        let profile = Trapezoid::in_time(1.0, 49.0, cruise).unwrap();
        assert_eq!((profile.duration(), profile.peak_velocity()), (49.0, cruise));
        assert_eq!(profile.at(49.0).unwrap().position, 1.0);
    }
    assert!(Trapezoid::in_time(1.0, 39.9, 0.025).is_err() && Trapezoid::in_time(1.0, 80.1, 0.025).is_err());
    // From memory: the default cruise speed is 1.5 h/T, printed 0.0306.
    check("default V", Trapezoid::thirds(1.0, 49.0).unwrap().peak_velocity(), 0.0306, 5e-5);
}

/// Source of the triangle rule: D. Collins, "How to calculate velocity from triangular and trapezoidal move profiles", Linear Motion
/// Tips: v = 2 d/t, blend t/2. The constants of the thirds rule are derived.
#[test]
fn thirds_and_triangle_rules() {
    let thirds = Trapezoid::thirds(1.0, 1.0).unwrap();
    check("thirds: blend", thirds.phases().acceleration, 1.0 / 3.0, 1e-12);
    check("thirds: cruise", thirds.phases().cruise, 1.0 / 3.0, 1e-12);
    check("thirds: a", thirds.rates().0, 4.5, 1e-12);
    let triangle = Trapezoid::in_time(1.0, 1.0, 2.0).unwrap();
    check("triangle: blend", triangle.phases().acceleration, 0.5, 1e-12);
    check("triangle: a", triangle.rates().1, 4.0, 1e-12);
    assert_eq!(triangle.phases().cruise, 0.0);
}

/// Source of the formulas: R. Nagarajan, Introduction to Industrial Robotics, Pearson, sec. 10.7, eqs (10.26) to (10.28); the inputs, 120
/// degrees at 30 degrees/s^2, are ours (derived).
#[test]
fn triangle_in_closed_form() {
    let profile = trapezoid(120.0, (0.0, 0.0), (1e9, 30.0, 30.0));
    check("tb", profile.phases().acceleration, 2.0, 1e-12);
    check("V", profile.peak_velocity(), 60.0, DERIVED);
    check("T", profile.duration(), 4.0, 1e-12);
    assert_eq!(profile.binding(), Some(Binding::Acceleration));
}

/// Derived: phases to six decimals, and the distance closes.
#[test]
fn trapezoids_with_moving_ends_and_unequal_rates() {
    let cases = [
        (30.0, (5.0, 2.0), (10.0, 10.0, 10.0), (0.5, 2.145, 0.8), 10.0),
        (10.0, (5.0, 2.0), (10.0, 10.0, 5.0), (0.381_287, 0.0, 1.362_574), 8.812_869),
        (5.0, (0.0, 0.0), (10.0, 2.0, 8.0), (2.0, 0.0, 0.5), 4.0),
    ];
    for (distance, ends, limits, times, peak) in cases {
        for way in [1.0, -1.0] {
            let profile = trapezoid(way * distance, (way * ends.0, way * ends.1), limits);
            let phases = profile.phases();
            check("Ta", phases.acceleration, times.0, 5e-7);
            check("Tv", phases.cruise, times.1, 5e-7);
            check("Td", phases.deceleration, times.2, 5e-7);
            check("vp", profile.peak_velocity(), peak, 5e-7);
            let vp = profile.peak_velocity();
            let covered = (ends.0 + vp) / 2.0 * phases.acceleration + vp * phases.cruise + (vp + ends.1) / 2.0 * phases.deceleration;
            check("distance", covered, distance, DERIVED);
            let last = profile.at(profile.duration()).unwrap();
            assert_eq!((last.position, last.velocity), (way * distance, way * ends.1));
            assert_eq!(last.acceleration, -way * limits.2);
            assert_eq!(profile.at(0.0).unwrap().acceleration, way * limits.1);
            if phases.cruise > 0.0 {
                let cruising = profile.at(phases.acceleration + phases.cruise / 2.0).unwrap();
                assert_eq!((cruising.velocity, cruising.acceleration), (way * peak, 0.0));
            }
            assert_eq!(profile.at(0.0).unwrap().velocity, way * ends.0);
        }
    }
}

#[track_caller]
fn check_phases(phases: &SevenSegmentPhases, printed: [f64; 5]) {
    check("Ta", phases.first, printed[0], FOUR_DECIMALS);
    check("Tv", phases.cruise, printed[1], FOUR_DECIMALS);
    check("Td", phases.second, printed[2], FOUR_DECIMALS);
    check("Tj1", phases.first_jerk, printed[3], FOUR_DECIMALS);
    check("Tj2", phases.second_jerk, printed[4], FOUR_DECIMALS);
}

/// Source: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4, Example 3.9
/// (Fig. 3.14): all seven segments. h 10, v0 1.
#[test]
fn double_s_with_all_seven_segments() {
    let profile = double_s((1.0, 0.0), (5.0, 10.0, 30.0));
    check_phases(&profile.phases(), [0.7333, 1.1433, 0.8333, 0.3333, 0.3333]);
    ends_exactly(&profile, 10.0, 0.0);
    assert_eq!(profile.binding(), Some(Binding::Velocity));
    assert_eq!(profile.peak_velocity(), 5.0);
    assert_eq!((profile.peak_acceleration(), profile.peak_jerk()), (10.0, 30.0));
}

/// Source: the same, Example 3.10 (Fig. 3.15), eqs (3.26) and (3.27): no cruise, acceleration limit reached.
#[test]
fn double_s_without_cruise() {
    let profile = double_s((1.0, 0.0), (10.0, 10.0, 30.0));
    let phases = profile.phases();
    check_phases(&phases, [1.0747, 0.0, 1.1747, 0.3333, 0.3333]);
    check("vlim", phases.turning_speed, 8.4136, FOUR_DECIMALS);
    ends_exactly(&profile, 10.0, 0.0);
    assert_eq!(profile.binding(), Some(Binding::Acceleration));
}

/// Source: the same, Example 3.11 (Fig. 3.16). DIFFERENCE: the printed answer (Ta 0.4666, Td 1.4718, vlim 8.6329) comes from lowering the
/// acceleration limit of both ramps by 1% at a time and is not the fastest: 1.9384 s in the book, 1.7804 s here. The optimum is derived.
#[test]
fn double_s_is_faster_than_the_book_where_only_one_ramp_is_full() {
    let profile = double_s((7.0, 0.0), (10.0, 10.0, 30.0));
    let book = 0.4666 + 1.4718;
    check("ours", profile.duration(), 1.780_446, 5e-7);
    assert!(profile.duration() < book);
    let phases = profile.phases();
    check("vp", phases.turning_speed, 9.135_315, 5e-7);
    check("Ta", phases.first, 0.533_581, 5e-7);
    check("Td", phases.second, 1.246_865, 5e-7);
    // The first ramp does not reach the acceleration limit; the second does.
    assert!(phases.first_acceleration < 10.0);
    assert_eq!(phases.second_acceleration, -10.0);
    assert_eq!(profile.binding(), Some(Binding::Acceleration));
    ends_exactly(&profile, 10.0, 0.0);
}

/// Source: the same, Example 3.12 (Fig. 3.17), eq. (3.28). DIFFERENCE: the book decelerates all the way in 2.6667 s; speeding up first takes
/// 1.7542 s (derived).
#[test]
fn double_s_is_faster_than_the_book_where_it_only_decelerates() {
    let profile = double_s((7.5, 0.0), (10.0, 10.0, 30.0));
    check("ours", profile.duration(), 1.754_215, 5e-7);
    assert!(profile.duration() < 2.6667);
    let phases = profile.phases();
    check("vp", phases.turning_speed, 9.304_169, 5e-7);
    check("Ta", phases.first, 0.490_465, 5e-7);
    check("Td", phases.second, 1.263_750, 5e-7);
    ends_exactly(&profile, 10.0, 0.0);
}

/// Source: the same, sec. 3.4.3, Example 3.13 (Fig. 3.19): rest to rest, only the jerk limit is active. The book's vlim there is an
/// erratum (it repeats Example 3.11); its own formula j Tj^2 gives 9.0856. alim and T = (32 h/j)^(1/3) are derived.
#[test]
fn double_s_under_the_jerk_limit_alone() {
    let profile = double_s((0.0, 0.0), (10.0, 20.0, 30.0));
    let phases = profile.phases();
    check("Tj", phases.first_jerk, 0.5503, FOUR_DECIMALS);
    check("Ta", phases.first, 1.1006, FOUR_DECIMALS);
    assert_eq!(phases.cruise, 0.0);
    check("vlim", phases.turning_speed, 9.085_602_964, DERIVED);
    check("alim", phases.first_acceleration, 16.5096, FOUR_DECIMALS);
    check("T", profile.duration(), 2.201_284_833, DERIVED);
    check("T^3 = 32 h/j", profile.duration().powi(3), 32.0 * 10.0 / 30.0, DERIVED);
    ends_exactly(&profile, 10.0, 0.0);
    assert_eq!(profile.binding(), Some(Binding::Jerk));
}

/// Source of the cases: the same, sec. 3.4.3, 1.a, 1.b, 2.a, 2.b; of the sum T = h/v + v/a + a/j of what is reached: R. Zoellner, arXiv
/// 2511.12615. Values derived.
#[test]
fn rest_to_rest_takes_the_sum_of_three_ratios() {
    // h, limits, T, [tj, Ta, Tv, v, a], which limit
    type Case = (f64, (f64, f64, f64), f64, [f64; 5], Binding);
    let cases: [Case; 4] = [
        (10.0, (1.0, 2.0, 10.0), 10.7, [0.2, 0.7, 9.3, 1.0, 2.0], Binding::Velocity),
        (10.0, (1.0, 10.0, 2.0), 11.414_213_56, [0.707_107, 1.414_214, 8.585_786, 1.0, 1.414_214], Binding::Velocity),
        (1.0, (10.0, 2.0, 10.0), 1.628_285_686, [0.2, 0.814_143, 0.0, 1.228_286, 2.0], Binding::Acceleration),
        (0.05, (10.0, 20.0, 30.0), 0.376_414_411_6, [0.094_104, 0.188_207, 0.0, 0.265_665, 2.823_108], Binding::Jerk),
    ];
    for (distance, limits, time, parts, binding) in cases {
        let jerk = limits.2;
        let limits = Limits::new(limits.0, limits.1, limits.2).unwrap();
        let profile = SevenSegment::rest_to_rest(-distance, &limits).unwrap();
        check("T", profile.duration(), time, DERIVED * 5.0); // ten printed digits of up to 11.4
        let phases = profile.phases();
        check("tj", phases.first_jerk, parts[0], 5e-7);
        check("Ta", phases.first, parts[1], 5e-7);
        check("Tv", phases.cruise, parts[2], 5e-7);
        check("v", profile.peak_velocity(), parts[3], 5e-7);
        check("a", profile.peak_acceleration(), parts[4], 5e-7);
        assert_eq!(profile.binding(), Some(binding));
        let (v, a) = (profile.peak_velocity(), profile.peak_acceleration());
        let sum = distance / v + v / a + a / jerk;
        check("sum", profile.duration(), sum, sum * 16.0 * f64::EPSILON); // some 16 roundings on either side
        ends_exactly(&profile, -distance, 0.0);
    }
}

/// Source: T. Flash, N. Hogan, J. Neurosci. 5(7), 1985, 1688-1703; peaks printed as 1.875, 10/sqrt(3) (5.77) and 60, -30, 60 in "Smooth steps
/// and minimal jerk", Radboud University, 2020.
#[test]
fn minimum_jerk_peaks() {
    let unit = MinimumJerk::new(1.0, 1.0).unwrap();
    assert_eq!(unit.peak_velocity(), 1.875);
    check("Ca", unit.peak_acceleration(), 5.77, 0.005);
    check("Ca exact", unit.peak_acceleration(), 5.773_502_692, DERIVED);
    assert_eq!(unit.peak_jerk(), 60.0);
    let jerk = |t: f64| unit.at(t).unwrap().jerk;
    assert_eq!((jerk(0.0), jerk(0.5), jerk(1.0)), (60.0, -30.0, 60.0));
    assert_eq!(unit.at(0.5).unwrap().velocity, 1.875);
    let fastest = (3.0 - 3.0_f64.sqrt()) / 6.0;
    check("a at (3 - sqrt 3)/6", unit.at(fastest).unwrap().acceleration, unit.peak_acceleration(), 1e-14);
    // Scaling by h/T^n, with numbers that are exact in binary.
    let move_of_twelve = MinimumJerk::new(-12.0, 2.0).unwrap();
    assert_eq!((move_of_twelve.peak_velocity(), move_of_twelve.peak_jerk()), (11.25, 90.0));
}

/// Source: exercise of P. Corke, Robotics, Vision and Control, ch. 3: a quintic from 0 to 1 with speed at most 0.025 takes 76 samples.
#[test]
fn minimum_jerk_under_a_velocity_limit() {
    let limits = Limits::new(0.025, 1.0, 1.0).unwrap();
    let profile = MinimumJerk::fastest(1.0, &limits).unwrap();
    check("samples", profile.duration() + 1.0, 76.0, DERIVED);
    assert_eq!(profile.binding(), Some(Binding::Velocity));
    assert_eq!(profile.at(profile.duration()).unwrap().position, 1.0);
}
