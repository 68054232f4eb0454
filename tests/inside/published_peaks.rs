//! Peak coefficients of the classical cam laws, distance 1 in time 1, against published values and closed forms, each beside its source.
//!
//! Laws that are no quintics are represented by short quintic pieces that meet the law's exact position, velocity and acceleration at
//! their ends; the peaks found must be those of the law, to within what such a piece can differ from it.
//!
//! How much that is (derived): the difference e of a law and its piece of length h has threefold zeros at both ends. By Rolle's theorem e'
//! has double zeros there and one between, e'' single zeros and two between, e''' three between; so by the remainder of interpolation,
//! with M the greatest sixth derivative of the law on the piece,
//! |e'| <= M/5! h (h^2/4)^2 = M h^5/1920, |e''| <= M/4! h^2 (h^2/4) = M h^4/96, |e'''| <= M/3! h^3 = M h^3/6.
//! A greatest value moves by no more than the function does. Rounding adds to that: positions of about 1, each good to a few 2^-52, enter the
//! third to fifth coefficients with factors 10, 15 and 6 and are differentiated: 120, 360 and 780 over h, h^2 and h^3, times 16 x 2^-52.
//!
//! Limits: the resting quintic and the cubic of one piece are tested beside the peak finder itself; here they are cut up.

use core::f64::consts::PI;

use movewright::motion::curve::{Curve, CurveBuilder};
use movewright::motion::quintic::Node;
use movewright::motion::{Peaks, Quintic};

/// One formula of a law, from one place to another, on eighths of the time.
struct Section {
    from: f64,
    to: f64,
    law: Box<dyn Fn(f64) -> Node>,
    /// Greatest absolute sixth derivative.
    sixth: f64,
}

fn section(from: f64, to: f64, sixth: f64, law: impl Fn(f64) -> Node + 'static) -> Section {
    Section { from, to, law: Box::new(law), sixth }
}

fn node(p: f64, v: f64, a: f64) -> Node {
    Node { p, v, a }
}

/// A law between two dwells of a quarter, each piece 1/n long.
struct Cut {
    curve: Curve,
    /// Pieces of every section.
    sections: Vec<core::ops::Range<usize>>,
    h: f64,
    sixth: f64,
}

impl Cut {
    fn new(sections: &[Section], n: u32) -> Cut {
        assert_eq!(n % 8, 0, "joints lie on eighths");
        let n = f64::from(n);
        let mut builder = CurveBuilder::starting_at(-0.25, 1);
        builder.push(0.0, Quintic::hold(0.0));
        let (mut ranges, mut pieces) = (vec![], 1);
        for s in sections {
            let first = pieces;
            let mut i = s.from * n;
            while i < s.to * n {
                let (t0, t1) = (i / n, (i + 1.0) / n);
                builder.push(t1, Quintic::between((s.law)(t0), (s.law)(t1), t1 - t0));
                i += 1.0;
                pieces += 1;
            }
            ranges.push(first..pieces);
        }
        builder.push(1.25, Quintic::hold(1.0));
        let sixth = sections.iter().map(|s| s.sixth).fold(0.0, f64::max);
        Cut { curve: builder.finish().unwrap(), sections: ranges, h: 1.0 / n, sixth }
    }

    /// Peaks of the law with both dwells.
    fn peaks(&self) -> Peaks {
        Peaks::of(&self.curve, 0..self.curve.len()).unwrap()
    }

    fn of_section(&self, index: usize) -> Peaks {
        Peaks::of(&self.curve, self.sections[index].clone()).unwrap()
    }

    /// How far a peak of the first, second or third derivative may be from the law's: see the head of this file.
    fn bound(&self, order: usize) -> f64 {
        let Cut { h, sixth, .. } = *self;
        let rounding = 16.0 * f64::EPSILON;
        match order {
            1 => sixth * h * h * h * h * h / 1920.0 + rounding * 120.0 / h,
            2 => sixth * h * h * h * h / 96.0 + rounding * 360.0 / (h * h),
            _ => sixth * h * h * h / 6.0 + rounding * 780.0 / (h * h * h),
        }
    }
}

#[track_caller]
fn near(what: &str, found: f64, want: f64, tolerance: f64) {
    assert!((found - want).abs() <= tolerance, "{what}: found {found}, wanted {want} within {tolerance:e}");
}

/// A published coefficient.
struct Printed {
    value: f64,
    /// Half a unit of its last digit.
    half: f64,
}

const fn printed(value: f64, half: f64) -> Option<Printed> {
    Some(Printed { value, half })
}

/// Finds the peaks of a law cut ever finer: always within the bound of the closed form, and at the finest within half a digit of the print.
#[track_caller]
fn check_law(sections: &[Section], closed_form: [f64; 3], prints: [Option<Printed>; 3]) -> Cut {
    for n in [8, 16, 32, 64, 128, 256] {
        let cut = Cut::new(sections, n);
        let p = cut.peaks();
        let found = [p.velocity.value, p.acceleration.value, p.jerk.value];
        for order in 1..=3 {
            let (found, exact) = (found[order - 1], closed_form[order - 1]);
            near(&format!("derivative {order} with {n} pieces"), found, exact, cut.bound(order));
            if let (256, Some(print)) = (n, &prints[order - 1]) {
                near(&format!("print of derivative {order}"), found, print.value, print.half);
            }
        }
        // The law runs from 0 to 1 and never out of it; positions err by less than velocities integrated over a piece.
        near("least", p.least.value, 0.0, cut.bound(1) * cut.h);
        near("greatest", p.greatest.value, 1.0, cut.bound(1) * cut.h);
    }
    Cut::new(sections, 256)
}

/// Cuts a polynomial law of one piece, over `duration` and `distance`, into pieces of uneven length.
fn cut_up(whole: Quintic, duration: f64, distance: f64) -> Curve {
    let places = [0.0, 0.03125, 0.25, 0.3, 0.5, 0.8125, 0.9, 1.0];
    let mut builder = CurveBuilder::starting_at(0.0, places.len());
    for w in places.windows(2) {
        builder.push(w[1] * duration, whole.part(w[0], w[1]).scaled(distance));
    }
    builder.finish().unwrap()
}

/// Source: "Smooth steps and minimal jerk", Radboud University, 2020: 1.875, 10/sqrt 3 (5.77), +60, -30, +60 for 10t^3 - 15t^4 + 6t^5, the law of
/// T. Flash, N. Hogan, J. Neurosci. 5(7) 1985. K. M. Lynch, F. C. Park, Modern Robotics, 9.2.2.1: 6 for 3t^2 - 2t^3; its 1.5 from memory.
#[test]
fn polynomials_keep_their_peaks_in_pieces() {
    for (duration, distance) in [(1.0, 1.0), (2.0, 40.0), (120.0, -3.0)] {
        let size = f64::abs(distance);
        // A part is found by Taylor's formula: some 60 roundings of numbers up to 120, over the shortest piece cubed (2^-15): below 2^-24.
        let tolerance = 1.0 / 16_777_216.0;
        let law = cut_up(Quintic([0.0, 0.0, 0.0, 10.0, -15.0, 6.0]), duration, distance);
        let p = Peaks::of(&law, 0..law.len()).unwrap();
        let unit = [duration / size, duration * duration / size, duration * duration * duration / size];
        near("3-4-5 Cv", p.velocity.value * unit[0], 1.875, tolerance);
        near("3-4-5 Ca", p.acceleration.value * unit[1], 10.0 / 3.0_f64.sqrt(), tolerance);
        near("3-4-5 Ca print", p.acceleration.value * unit[1], 5.77, 0.005);
        near("3-4-5 Cj", p.jerk.value * unit[2], 60.0, tolerance);
        near("3-4-5 Cj in the middle", law.jet(0.5 * duration).unwrap().j * unit[2] * distance.signum(), -30.0, tolerance);
        near("3-4-5 Cv at", p.velocity.at / duration, 0.5, tolerance);
        near("3-4-5 Ca at", (p.acceleration.at / duration - 0.5).abs(), 3.0_f64.sqrt() / 6.0, tolerance);

        // Derived: over its first 32nd the law's speed and acceleration still rise, so that their peaks stand at the end; its jerk falls.
        let (x, first) = (0.03125, Peaks::of(&law, 0..1).unwrap());
        let (w, m) = (1.0 - x, 1.0 - 2.0 * x);
        near("v at the end of a piece", first.velocity.value * unit[0], 30.0 * x * x * w * w, tolerance);
        near("a at the end of a piece", first.acceleration.value * unit[1], 60.0 * x * w * m, tolerance);
        near("j at the start of a piece", first.jerk.value * unit[2], 60.0, tolerance);
        assert_eq!([first.velocity.at, first.acceleration.at, first.jerk.at], [x * duration, x * duration, 0.0]);

        let law = cut_up(Quintic([0.0, 0.0, 3.0, -2.0, 0.0, 0.0]), duration, distance);
        let p = Peaks::of(&law, 0..law.len()).unwrap();
        near("cubic Cv", p.velocity.value * unit[0], 1.5, tolerance);
        near("cubic Ca", p.acceleration.value * unit[1], 6.0, tolerance);
        near("cubic Cj", p.jerk.value * unit[2], 12.0, tolerance);
        // The acceleration of 6 is that of either end, and of nowhere else.
        for (range, end) in [(0..1, 0.0), (law.len() - 1..law.len(), duration)] {
            let p = Peaks::of(&law, range).unwrap();
            near("cubic Ca at an end", p.acceleration.value * unit[1], 6.0, tolerance);
            assert_eq!(p.acceleration.at, end);
        }
    }
}

/// Source: R. L. Norton, Cam Design and Manufacturing Handbook, table of factors: 2.188 and 52.5 for 35t^4 - 84t^5 + 70t^6 - 20t^7; from memory.
/// Acceleration: 84 sqrt 5/25 = 7.5132 at (5 - sqrt 5)/10, derived. Degree seven: no quintic is this law.
#[test]
fn polynomial_4567() {
    let law = |t: f64| {
        let (t2, w) = (t * t, 1.0 - t);
        let p = t2 * t2 * (35.0 - t * (84.0 - t * (70.0 - 20.0 * t)));
        // 140 t^3 (1 - t)^3 and its derivative.
        node(p, 140.0 * t2 * t * w * w * w, 420.0 * t2 * w * w * (1.0 - 2.0 * t))
    };
    // 50400 - 100800 t.
    let sections = [section(0.0, 1.0, 50_400.0, law)];
    let exact = 84.0 * 5.0_f64.sqrt() / 25.0;
    // 2.1875 is a tie of the print: half a digit and the peak's own rounding.
    let finest = check_law(&sections, [2.1875, exact, 52.5], [printed(2.188, 0.000_500_001), None, printed(52.5, 0.05)]);
    near("Ca", finest.peaks().acceleration.value, 7.513_188_404, 1e-6);
    // The cut is no mere copy of the law: at eight pieces its peak is further off than the bound of 256 allows.
    let coarse = Cut::new(&sections, 8).peaks().acceleration.value;
    assert!((coarse - exact).abs() > 100.0 * finest.bound(2), "{coarse}");
    // A value is lost from the peak at x off it by at least half its curvature there, 376/2, times x^2/2; twice the bound can hide that.
    let off = (2.0 * finest.bound(2) / 94.0).sqrt();
    near("Ca at", (finest.peaks().acceleration.at - 0.5).abs(), 5.0_f64.sqrt() / 10.0, off);
    near("Cj at", finest.peaks().jerk.at, 0.5, finest.h);
}

/// Source: the same handbook and VDI 2143, t - sin(2 pi t)/(2 pi): 2, 6.283, 39.478; from memory. Exact: 2, 2 pi, 4 pi^2.
#[test]
fn cycloidal() {
    let turn = 2.0 * PI;
    let law = move |t: f64| node(t - (turn * t).sin() / turn, 1.0 - (turn * t).cos(), turn * (turn * t).sin());
    let sections = [section(0.0, 1.0, turn.powi(5), law)];
    let prints = [printed(2.0, 1e-6), printed(6.283, 0.0005), printed(39.478, 0.0005)];
    let finest = check_law(&sections, [2.0, turn, turn * turn], prints);
    near("Cv at", finest.peaks().velocity.at, 0.5, finest.h);
    near("Ca at", (finest.peaks().acceleration.at - 0.5).abs(), 0.25, finest.h);
}

/// Source: the same handbook, (1 - cos(pi t))/2: 1.571, 4.935; from memory. Exact: pi/2, pi^2/2, pi^3/2. Acceleration steps at both ends, where
/// the dwells begin: its peak is on one side of the break, 0 on the other.
#[test]
fn simple_harmonic() {
    let law = |t: f64| node(0.5 * (1.0 - (PI * t).cos()), 0.5 * PI * (PI * t).sin(), 0.5 * PI * PI * (PI * t).cos());
    let sections = [section(0.0, 1.0, PI.powi(6) / 2.0, law)];
    let exact = PI * PI / 2.0;
    let finest = check_law(&sections, [PI / 2.0, exact, PI * exact], [printed(1.571, 0.0005), printed(4.935, 0.0005), None]);
    let n = finest.curve.len();
    for (side, range) in [("right", 0..2), ("left", n - 2..n)] {
        let p = Peaks::of(&finest.curve, range).unwrap();
        near(side, p.acceleration.value, exact, finest.bound(2));
        // Flat there: rounding may find it a little way inside.
        near(side, p.acceleration.at, if side == "right" { 0.0 } else { 1.0 }, finest.h);
    }
    for dwell in [0..1, n - 1..n] {
        assert_eq!(Peaks::of(&finest.curve, dwell).unwrap().acceleration.value, 0.0);
    }
}

fn modified_sine() -> [Section; 3] {
    let k = 1.0 / (4.0 + PI);
    let outer = move |t: f64| {
        let x = 4.0 * PI * t;
        node(k * (PI * t - x.sin() / 4.0), k * PI * (1.0 - x.cos()), k * 4.0 * PI * PI * x.sin())
    };
    let middle = move |t: f64| {
        let (x, w) = (4.0 * PI / 3.0 * t + PI / 3.0, 4.0 * PI / 3.0);
        let c = 2.25 * k;
        node(k * (2.0 + PI * t) - c * x.sin(), k * PI - c * w * x.cos(), c * w * w * x.sin())
    };
    // The last eighth is the first one turned round.
    let last = move |t: f64| {
        let n = outer(1.0 - t);
        node(1.0 - n.p, n.v, -n.a)
    };
    let steep = k * (4.0 * PI).powi(6) / 4.0;
    [
        section(0.0, 0.125, steep, outer),
        section(0.125, 0.875, 2.25 * k * (4.0 * PI / 3.0).powi(6), middle),
        section(0.875, 1.0, steep, last),
    ]
}

/// Source of the coefficients: MechDesigner reference help, "Modified-Sinusoid": 1.76, 5.53, 69.47, crossover -23.15 (truncated; exact -23.1555).
/// Five digits, 5.528 and 69.466, from memory. Formula: H. A. Rothbart, Cam Design Handbook, p. 75, as quoted on physicsforums.com.
#[test]
fn modified_sine_on_both_sides_of_its_joints() {
    let k = 1.0 / (4.0 + PI);
    let (cv, ca, cj) = (4.0 * PI * k, 4.0 * PI * PI * k, 16.0 * PI * PI * PI * k);
    let prints = [printed(1.76, 0.005), printed(5.53, 0.005), printed(69.47, 0.005)];
    let cut = check_law(&modified_sine(), [cv, ca, cj], prints);
    near("Ca", cut.peaks().acceleration.value, 5.528, 0.0005);
    near("Cj", cut.peaks().jerk.value, 69.466, 0.0005);

    // Acceleration peaks on the joint itself: the sections to its left and right have the same peak, each at its own end.
    for (index, joint) in [(0, 0.125), (1, 0.125), (1, 0.875), (2, 0.875)] {
        let p = cut.of_section(index);
        near("Ca of a section", p.acceleration.value, ca, cut.bound(2));
        // The middle section has both joints; equal peaks may be found at either.
        let off = (p.acceleration.at - joint).abs().min(if index == 1 { (p.acceleration.at - (1.0 - joint)).abs() } else { 1.0 });
        assert!(off <= cut.h, "{index}: {}", p.acceleration.at);
    }
    // Jerk steps where the law meets the dwells: from 0 to 69.47, and from 69.47 back to 0.
    let n = cut.curve.len();
    for (range, joint) in [(0..2, 0.0), (n - 2..n, 1.0)] {
        let p = Peaks::of(&cut.curve, range).unwrap();
        near("Cj beside a dwell", p.jerk.value, cj, cut.bound(3));
        near("Cj beside a dwell, at", p.jerk.at, joint, cut.h);
    }
    // Between the joints alone the greatest jerk is that of the crossover, and it is negative.
    let crossover = -2.25 * k * (4.0 * PI / 3.0_f64).powi(3);
    near("crossover, sign", cut.curve.jet(0.5).unwrap().j, crossover, cut.bound(3));
    near("crossover", -cut.of_section(1).jerk.value, crossover, cut.bound(3));
    near("crossover print", -cut.of_section(1).jerk.value, -23.15, 0.01);
    near("crossover print, exact", crossover, -23.1555, 5e-5);
    near("crossover at", cut.of_section(1).jerk.at, 0.5, cut.h);
}

fn modified_trapezoid() -> [Section; 5] {
    let (a, w) = (8.0 * PI / (2.0 + PI), 4.0 * PI);
    // Each formula starts from the values at which the one before it ends.
    let rise = move |t: f64| node(a / w * (t - (w * t).sin() / w), a / w * (1.0 - (w * t).cos()), a * (w * t).sin());
    let n1 = node(a / w * (0.125 - 1.0 / w), a / w, a);
    let steady = move |t: f64| {
        let x = t - 0.125;
        node(n1.p + x * (n1.v + 0.5 * a * x), n1.v + a * x, a)
    };
    let n2 = steady(0.375);
    let fall = move |t: f64| {
        let x = t - 0.375;
        node(n2.p + n2.v * x + a / (w * w) * (1.0 - (w * x).cos()), n2.v + a / w * (w * x).sin(), a * (w * x).cos())
    };
    let steep = a * w.powi(4);
    // The second half is the first one turned round.
    let steady_back = move |t: f64| {
        let n = steady(1.0 - t);
        node(1.0 - n.p, n.v, -n.a)
    };
    let last = move |t: f64| {
        let n = rise(1.0 - t);
        node(1.0 - n.p, n.v, -n.a)
    };
    [
        section(0.0, 0.125, steep, rise),
        section(0.125, 0.375, 0.0, steady),
        section(0.375, 0.625, steep, fall),
        section(0.625, 0.875, 0.0, steady_back),
        section(0.875, 1.0, steep, last),
    ]
}

/// Source: the same handbook: Ca 4.888, Cj 61.43; from memory. Exact: 8 pi/(2 + pi), and 4 pi times that at the start; Cv 2 is derived.
#[test]
fn modified_trapezoid_on_both_sides_of_its_joints() {
    let ca = 8.0 * PI / (2.0 + PI);
    let cut = check_law(&modified_trapezoid(), [2.0, ca, 4.0 * PI * ca], [None, printed(4.888, 0.0005), printed(61.43, 0.005)]);
    // Steady stretches are parabolas: one piece each, acceleration right to rounding, jerk nothing but rounding.
    for index in [1, 3] {
        let p = cut.of_section(index);
        let rounding = 16.0 * f64::EPSILON / (cut.h * cut.h);
        near("Ca of a steady stretch", p.acceleration.value, ca, 360.0 * rounding);
        near("jerk of a steady stretch", p.jerk.value, 0.0, 780.0 * rounding / cut.h);
    }
    for index in [0, 2, 4] {
        let p = cut.of_section(index);
        near("Ca beside a steady stretch", p.acceleration.value, ca, cut.bound(2));
        near("Cj", p.jerk.value, 4.0 * PI * ca, cut.bound(3));
    }
    near("Cj in the middle", cut.curve.jet(0.5).unwrap().j, -4.0 * PI * ca, cut.bound(3));
    near("Cv at", cut.peaks().velocity.at, 0.5, cut.h);
}
