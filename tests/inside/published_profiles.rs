//! Point-to-point moves against published numbers, each beside its source.
//!
//! Trapezoids are the law of the library under a jerk limit so high that its roundings at the corners take less than 1e-12 s. Moves between other speeds than
//! rest are those of `kinematics`, to which the library's law is compared in `profile_properties`.
//!
//! Tolerances are half a unit of the last printed digit. "Derived" marks values that are printed nowhere and close by an independent
//! computation; they are compared to 1e-9. Prints known to be errata are not asserted; where one is met, it is named.

use crate::inside::kinematics::{DoubleS, double_s};
use movewright::motion::Peaks;
use movewright::motion::curve::CurveBuilder;
use movewright::motion::point_to_point::{Binding, Limits, SevenSegment};
use movewright::motion::quintic::{Node, Quintic};

const DERIVED: f64 = 1e-9;
/// Half a unit of the fourth decimal.
const FOUR_DECIMALS: f64 = 5e-5;

#[track_caller]
fn check(what: &str, found: f64, printed: f64, tolerance: f64) {
    assert!((found - printed).abs() <= tolerance, "{what}: found {found}, printed {printed}");
}

/// From rest to rest under limits of velocity and acceleration alone.
fn trapezoid(distance: f64, velocity: f64, acceleration: f64) -> SevenSegment {
    // With equal rates of the ramps a corner takes acceleration / jerk.
    let limits = Limits::new(velocity, acceleration, acceleration * 1e13).unwrap();
    SevenSegment::rest_to_rest(distance, &limits).unwrap()
}

fn rest_to_rest(distance: f64, limits: (f64, f64, f64)) -> SevenSegment {
    SevenSegment::rest_to_rest(distance, &Limits::new(limits.0, limits.1, limits.2).unwrap()).unwrap()
}

/// The end is where it was asked for, bit for bit.
#[track_caller]
fn ends_exactly(profile: &SevenSegment, distance: f64) {
    let last = profile.at(profile.duration()).unwrap();
    assert_eq!((last.position, last.velocity, last.acceleration), (distance, 0.0, 0.0));
}

/// Source: Yaskawa Electric, E-V-MD series AC servo user manual, sec. 2.2.2, p. 2-5: feed at 15 m/min over 0.275 m in 1.2 s.
#[test]
fn feed_axis_with_cruise_speed_and_time_given() {
    // Derived: 2.5 m/s^2 is what the printed 0.1 s to 0.25 m/s take.
    let feed = trapezoid(0.275, 0.25, 2.5);
    check("ta", feed.phases().ramp, 0.1, 0.005);
    check("tc", feed.phases().cruise, 1.0, 0.05);
    check("T", feed.duration(), 1.2, DERIVED);
    assert_eq!(feed.binding(), Some(Binding::Velocity));
}

/// Source: exercises of P. Corke, Robotics, Vision and Control, Springer, ch. 3: from 0 to 1 in 50 samples, that is, in 49 steps. The slowest cruise has no ramps,
/// the fastest no cruise.
#[test]
fn range_of_cruise_speeds_in_a_given_time() {
    let at_once = 1e9;
    check("tf at V_min", trapezoid(1.0, 0.020_408, at_once).duration(), 49.0, 49.0 * 5e-7 / 0.020_408);
    let triangle = trapezoid(1.0, 1e9, 4.0 / (49.0 * 49.0));
    check("tf", triangle.duration(), 49.0, DERIVED);
    check("V_max", triangle.peak_velocity(), 0.040_816, 5e-7);
    check("tf_min", trapezoid(1.0, 0.025, at_once).duration(), 40.0, DERIVED);
    let slowest = trapezoid(1.0, 1e9, 0.025 * 0.025);
    check("tf_max", slowest.duration(), 80.0, DERIVED);
    check("V", slowest.peak_velocity(), 0.025, DERIVED);
    // From memory: the default cruise speed is 1.5 h/T, printed 0.0306; thirds of the time, a = 4.5 h/T^2.
    let default = trapezoid(1.0, 0.0306, 4.5 / (49.0 * 49.0));
    check("tf at the default V", default.duration(), 49.0, 49.0 * 5e-5 / 0.0306);
}

/// Source of the triangle rule: D. Collins, "How to calculate velocity from triangular and trapezoidal move profiles", Linear Motion
/// Tips: v = 2 d/t, blend t/2. The constants of the thirds rule are derived.
#[test]
fn thirds_and_triangle_rules() {
    let thirds = trapezoid(1.0, 1.5, 4.5);
    check("thirds: T", thirds.duration(), 1.0, 1e-12);
    check("thirds: blend", thirds.phases().ramp, 1.0 / 3.0, 1e-12);
    check("thirds: cruise", thirds.phases().cruise, 1.0 / 3.0, 1e-12);
    let triangle = trapezoid(1.0, 1e9, 4.0);
    check("triangle: T", triangle.duration(), 1.0, 1e-12);
    check("triangle: blend", triangle.phases().ramp, 0.5, 1e-12);
    check("triangle: v", triangle.peak_velocity(), 2.0, 1e-12);
    assert_eq!(triangle.phases().cruise, 0.0);
}

/// Source of the formulas: R. Nagarajan, Introduction to Industrial Robotics, Pearson, sec. 10.7, eqs (10.26) to (10.28); the inputs, 120
/// degrees at 30 degrees/s^2, are ours (derived).
#[test]
fn triangle_in_closed_form() {
    let profile = trapezoid(120.0, 1e9, 30.0);
    check("tb", profile.phases().ramp, 2.0, 1e-12);
    check("V", profile.peak_velocity(), 60.0, DERIVED);
    check("T", profile.duration(), 4.0, 1e-12);
    assert_eq!(profile.binding(), Some(Binding::Acceleration));
}

#[track_caller]
fn check_phases(phases: &DoubleS, printed: [f64; 5]) {
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
    let phases = double_s(10.0, (1.0, 0.0), (5.0, 10.0, 30.0));
    check_phases(&phases, [0.7333, 1.1433, 0.8333, 0.3333, 0.3333]);
    assert_eq!(phases.turning, 5.0);
}

/// Source: the same, Example 3.10 (Fig. 3.15), eqs (3.26) and (3.27): no cruise, acceleration limit reached.
#[test]
fn double_s_without_cruise() {
    let phases = double_s(10.0, (1.0, 0.0), (10.0, 10.0, 30.0));
    check_phases(&phases, [1.0747, 0.0, 1.1747, 0.3333, 0.3333]);
    check("vlim", phases.turning, 8.4136, FOUR_DECIMALS);
}

/// Source: the same, Example 3.11 (Fig. 3.16). DIFFERENCE: the printed answer (Ta 0.4666, Td 1.4718, vlim 8.6329) comes from lowering the
/// acceleration limit of both ramps by 1% at a time and is not the fastest: 1.9384 s in the book, 1.7804 s here. The optimum is derived.
#[test]
fn double_s_is_faster_than_the_book_where_only_one_ramp_is_full() {
    let phases = double_s(10.0, (7.0, 0.0), (10.0, 10.0, 30.0));
    let ours = phases.first + phases.second;
    check("ours", ours, 1.780_446, 5e-7);
    assert!(ours < 0.4666 + 1.4718 && phases.cruise == 0.0);
    check("vp", phases.turning, 9.135_315, 5e-7);
    check("Ta", phases.first, 0.533_581, 5e-7);
    check("Td", phases.second, 1.246_865, 5e-7);
    // The first ramp does not reach the acceleration limit; the second does.
    assert!(phases.first_jerk * 30.0 < 10.0);
    check("a of the second", phases.second_jerk * 30.0, 10.0, DERIVED);
}

/// Source: the same, Example 3.12 (Fig. 3.17), eq. (3.28). DIFFERENCE: the book decelerates all the way in 2.6667 s; speeding up first takes
/// 1.7542 s (derived).
#[test]
fn double_s_is_faster_than_the_book_where_it_only_decelerates() {
    let phases = double_s(10.0, (7.5, 0.0), (10.0, 10.0, 30.0));
    let ours = phases.first + phases.second;
    check("ours", ours, 1.754_215, 5e-7);
    assert!(ours < 2.6667 && phases.cruise == 0.0);
    check("vp", phases.turning, 9.304_169, 5e-7);
    check("Ta", phases.first, 0.490_465, 5e-7);
    check("Td", phases.second, 1.263_750, 5e-7);
}

/// Source: the same, sec. 3.4.3, Example 3.13 (Fig. 3.19): rest to rest, only the jerk limit is active. The book's vlim there is an
/// erratum (it repeats Example 3.11); its own formula j Tj^2 gives 9.0856. alim and T = (32 h/j)^(1/3) are derived.
#[test]
fn double_s_under_the_jerk_limit_alone() {
    let profile = rest_to_rest(10.0, (10.0, 20.0, 30.0));
    let phases = profile.phases();
    check("Tj", phases.blend, 0.5503, FOUR_DECIMALS);
    check("Ta", phases.ramp, 1.1006, FOUR_DECIMALS);
    assert_eq!(phases.cruise, 0.0);
    check("vlim", phases.speed, 9.085_602_964, DERIVED);
    check("alim", phases.acceleration, 16.5096, FOUR_DECIMALS);
    check("T", profile.duration(), 2.201_284_833, DERIVED);
    check("T^3 = 32 h/j", profile.duration().powi(3), 32.0 * 10.0 / 30.0, DERIVED);
    ends_exactly(&profile, 10.0);
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
        let profile = rest_to_rest(-distance, limits);
        check("T", profile.duration(), time, DERIVED * 5.0); // ten printed digits of up to 11.4
        let phases = profile.phases();
        check("tj", phases.blend, parts[0], 5e-7);
        check("Ta", phases.ramp, parts[1], 5e-7);
        check("Tv", phases.cruise, parts[2], 5e-7);
        check("v", profile.peak_velocity(), parts[3], 5e-7);
        check("a", profile.peak_acceleration(), parts[4], 5e-7);
        assert_eq!(profile.binding(), Some(binding));
        let (v, a) = (profile.peak_velocity(), profile.peak_acceleration());
        let sum = distance / v + v / a + a / jerk;
        check("sum", profile.duration(), sum, sum * 16.0 * f64::EPSILON); // some 16 roundings on either side
        ends_exactly(&profile, -distance);
    }
}

/// Source: T. Flash, N. Hogan, J. Neurosci. 5(7), 1985, 1688-1703; peaks printed as 1.875, 10/sqrt(3) (5.77) and 60, -30, 60 in "Smooth steps
/// and minimal jerk", Radboud University, 2020.
#[test]
fn minimum_jerk_peaks() {
    let unit = Quintic::between(Node::rest(0.0), Node::rest(1.0), 1.0);
    let peaks = peaks_of(unit, 1.0);
    check("Cv", peaks.velocity.value, 1.875, 1e-15);
    check("Ca", peaks.acceleration.value, 5.77, 0.005);
    check("Ca exact", peaks.acceleration.value, 5.773_502_692, DERIVED);
    check("Cj", peaks.jerk.value, 60.0, 1e-13);
    let jerk = |t: f64| unit.jet(t, 1.0).j;
    assert_eq!((jerk(0.0), jerk(0.5), jerk(1.0)), (60.0, -30.0, 60.0));
    assert_eq!(unit.jet(0.5, 1.0).v, 1.875);
    let fastest = (3.0 - 3.0_f64.sqrt()) / 6.0;
    check("a at (3 - sqrt 3)/6", unit.jet(fastest, 1.0).a, peaks.acceleration.value, 1e-14);
    // Scaling by h/T^n, with numbers that are exact in binary.
    let twelve = peaks_of(Quintic::between(Node::rest(0.0), Node::rest(-12.0), 2.0), 2.0);
    check("v of twelve", twelve.velocity.value, 11.25, 1e-14);
    check("j of twelve", twelve.jerk.value, 90.0, 1e-13);
}

/// Source: exercise of P. Corke, Robotics, Vision and Control, ch. 3: a quintic from 0 to 1 with speed at most 0.025 takes 76 samples.
#[test]
fn minimum_jerk_under_a_velocity_limit() {
    let steps = 76.0 - 1.0;
    let peaks = peaks_of(Quintic::between(Node::rest(0.0), Node::rest(1.0), steps), steps);
    check("speed in 76 samples", peaks.velocity.value, 0.025, 1e-15);
    assert_eq!(peaks.greatest.value, 1.0);
}

/// Peaks of one piece of this length, by the roots that the check uses.
fn peaks_of(quintic: Quintic, length: f64) -> Peaks {
    let mut curve = CurveBuilder::starting_at(0.0, 1);
    curve.push(length, quintic);
    Peaks::of(&curve.finish().unwrap(), 0..1).unwrap()
}
