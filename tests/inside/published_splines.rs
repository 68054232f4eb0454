//! Splines and polynomial pieces against published coefficients, and against golden values of a numerical library.
//!
//! Published: each beside its source; tolerances are half a unit of the last printed digit. "From memory": no text of the source was at
//! hand, the value was computed from its formula. "Derived": printed nowhere, closes by an independent computation.
//!
//! Golden: `fixtures/splines/*.csv`, written by `make_goldens.py` beside them with scipy, which says in the file how far scipy was from the
//! same spline in exact fractions.
//!
//! Limits: we have no clamped cubic spline (end speeds given). Published clamped splines are held against [`Quintic::between`] alone: from
//! their values, slopes and curvatures at two neighbouring keys it must find the printed third coefficient and nothing of higher
//! degree. The clamped spline of e^x (R. L. Burden, J. D. Faires, sec. 3.5) is left out: five printed decimals as input would say less.

use crate::inside::common::{CycleSpec, Program, axis, keys, moving, shot, stage};
use movewright::motion::curve::{Curve, CurveBuilder};
use movewright::motion::quintic::Node;
use movewright::motion::{Peaks, Quintic};
use movewright::number::Jet;
use movewright::signal::keyed::KeyedCurve;
use movewright::signal::{Layers, minimum_jerk, natural_cubic};

/// Relative rounding of a value that is exact but for a few dozen additions of numbers no larger than it: 2^-46.
const A_FEW_ROUNDINGS: f64 = 1.0 / 70_368_744_177_664.0;

#[track_caller]
fn check(what: &str, found: f64, printed: f64, tolerance: f64) {
    assert!((found - printed).abs() <= tolerance, "{what}: found {found}, printed {printed}");
}

/// Coefficients a, b, c, d of a + b u + c u^2 + d u^3, u = x - x_i, of every span, read back from the spline's jets; at the right end
/// of every span the same polynomial must come out.
fn coefficients(curve: &KeyedCurve, x: &[f64], y: &[f64]) -> Vec<[f64; 4]> {
    let spans = x.windows(2).zip(y.windows(2));
    spans
        .map(|(x, y)| {
            let (h, inside) = (x[1] - x[0], 0.5 * (x[0] + x[1]));
            let (l, r) = (curve.jet(x[0], inside), curve.jet(x[1], inside));
            let found = [l.p, l.v, 0.5 * l.a, l.j / 6.0];
            let size: f64 = found[0].abs() + found[1].abs() * h + found[2].abs() * h * h + found[3].abs() * h * h * h;
            check("value at the next key", r.p, y[1], A_FEW_ROUNDINGS * size);
            check("slope at the next key", r.v, found[1] + h * (2.0 * found[2] + h * 3.0 * found[3]), A_FEW_ROUNDINGS * 3.0 * size / h);
            check("curvature at the next key", r.a, 2.0 * found[2] + h * 6.0 * found[3], A_FEW_ROUNDINGS * 6.0 * size / (h * h));
            assert_eq!(r.j, l.j, "a cubic has one third derivative");
            found
        })
        .collect()
}

fn natural(x: &[f64], y: &[f64]) -> (KeyedCurve, Vec<[f64; 4]>) {
    let pairs: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
    let curve = natural_cubic::through(&keys(&pairs)).unwrap();
    let found = coefficients(&curve, x, y);
    (curve, found)
}

#[track_caller]
fn check_all(found: &[[f64; 4]], printed: &[[f64; 4]], tolerance: f64) {
    assert_eq!(found.len(), printed.len());
    for (i, (f, p)) in found.iter().zip(printed).enumerate() {
        for k in 0..4 {
            check(&format!("segment {i}, coefficient {k}"), f[k], p[k], tolerance);
        }
    }
}

/// Source: "Natural cubic spline interpolation", listing with output, matlabcoding.com 2019 (the example of e^x with rounded data): twelve
/// coefficients to eight decimals. Beyond the ends it goes straight on at b + 2c + 3d of the last printed segment.
#[test]
fn natural_spline_with_eight_printed_decimals() {
    let (curve, found) = natural(&[0.0, 1.0, 2.0, 3.0], &[1.0, 2.7, 7.29, 19.68]);
    let printed =
        [[1.0, 1.449_333_33, 0.0, 0.250_666_67], [2.7, 2.201_333_33, 0.752, 1.636_666_67], [7.29, 8.615_333_33, 5.662, -1.887_333_33]];
    check_all(&found, &printed, 5e-9);
    let beyond = curve.jet(5.0, 5.0);
    let slope = 8.615_333_33 + 2.0 * 5.662 - 3.0 * 1.887_333_33;
    // Half a unit of each printed coefficient, times its factor.
    check("slope beyond", beyond.v, slope, 5e-9 * 6.0);
    check("value beyond", beyond.p, 19.68 + 2.0 * slope, 2.0 * 5e-9 * 6.0);
    assert_eq!((beyond.a, beyond.j), (0.0, 0.0));
    check("slope before", curve.jet(-2.0, -2.0).v, 1.449_333_33, 5e-9);
}

/// Source: msaw97/metody5-spline-interpolation, README: second derivatives -6 and 18, and S0 = -x^3 + 2x + (1 - x), S1 = -(2 - x)^3 +
/// 3(x - 1)^3 - 3(x - 1) + 2(2 - x), S2 = 3(3 - x)^3 + 10(x - 2) - 3(3 - x).
#[test]
fn natural_spline_with_whole_numbers() {
    let (curve, found) = natural(&[0.0, 1.0, 2.0, 3.0], &[1.0, 1.0, 0.0, 10.0]);
    // Everything is a small integer; what is added is below 32.
    let tolerance = 32.0 * A_FEW_ROUNDINGS;
    check("M1", 2.0 * found[1][2], -6.0, tolerance);
    check("M2", 2.0 * found[2][2], 18.0, tolerance);
    for (x, printed) in [(0.5, 1.375), (1.5, -0.25), (2.5, 3.875)] {
        check("S", curve.jet(x, x).p, printed, tolerance);
    }
    for i in 0..=16 {
        let (u, w) = (f64::from(i) / 16.0, 1.0 - f64::from(i) / 16.0);
        check("S0", curve.jet(u, 0.5).p, -u * u * u + 2.0 * u + w, tolerance);
        check("S1", curve.jet(1.0 + u, 1.5).p, -w * w * w + 3.0 * u * u * u - 3.0 * u + 2.0 * w, tolerance);
        check("S2", curve.jet(2.0 + u, 2.5).p, 3.0 * w * w * w + 10.0 * u - 3.0 * w, tolerance);
    }
}

/// Source: City University of Hong Kong, curve-fitting slides, slide 37 (0.1 and 0.4 of the first segment); the full example: J. H.
/// Mathews, K. Fink, Numerical Methods Using MATLAB, sec. 5.3, from memory, exactly consistent.
#[test]
fn natural_spline_with_one_decimal() {
    let (_, found) = natural(&[0.0, 1.0, 2.0, 3.0], &[0.0, 0.5, 2.0, 1.5]);
    let printed = [[0.0, 0.1, 0.0, 0.4], [0.5, 1.3, 1.2, -1.0], [2.0, 0.7, -1.8, 0.6]];
    // Exact decimals; what is added is below 16.
    check_all(&found, &printed, 16.0 * A_FEW_ROUNDINGS);
}

/// Source: R. L. Burden, J. D. Faires, Numerical Analysis, sec. 3.5, natural spline of e^x at 0, 1, 2, 3, five decimals; from memory.
#[test]
fn natural_spline_of_the_exponential() {
    let e = core::f64::consts::E;
    let (_, found) = natural(&[0.0, 1.0, 2.0, 3.0], &[1.0, e, e * e, e * e * e]);
    let printed = [[1.0, 1.466, 0.0, 0.252_28], [2.718_28, 2.222_85, 0.756_85, 1.691_07], [7.389_06, 8.809_77, 5.830_07, -1.943_36]];
    check_all(&found, &printed, 5e-6);
}

/// A cubic or quartic is the only quintic with its end conditions: coefficients by powers of time must be `printed` and no more.
#[track_caller]
fn between_is(from: Node, to: Node, h: f64, printed: [f64; 6], tolerance: f64) -> Quintic {
    let q = Quintic::between(from, to, h);
    let size = 15.0 * (from.p.abs() + to.p.abs()) + 8.0 * h * (from.v.abs() + to.v.abs()) + 1.5 * h * h * (from.a.abs() + to.a.abs());
    let mut power = 1.0;
    for (k, (found, printed)) in q.0.iter().zip(printed).enumerate() {
        check(&format!("coefficient {k}"), found / power, printed, tolerance + A_FEW_ROUNDINGS * size / power);
        power *= h;
    }
    q
}

fn node(p: f64, v: f64, a: f64) -> Node {
    Node { p, v, a }
}

/// Source: J. H. Mathews, K. Fink, sec. 5.3, clamped spline of the same points, slopes 0.2 and -1 at the ends; from memory. At the last
/// key the curvature follows from the end equation of a clamped spline, M3 = 3(slope - chord)/h - M2/2 = 0.36, not from the printed d.
#[test]
fn clamped_spline_pieces_with_two_decimals() {
    let nodes = [node(0.0, 0.2, -0.36), node(0.5, 1.28, 2.52), node(2.0, 0.68, -3.72), node(1.5, -1.0, 3.0 * (-1.0 + 0.5) + 1.86)];
    let printed = [[0.0, 0.2, -0.18, 0.48], [0.5, 1.28, 1.26, -1.04], [2.0, 0.68, -1.86, 0.68]];
    for (i, [a, b, c, d]) in printed.into_iter().enumerate() {
        between_is(nodes[i], nodes[i + 1], 1.0, [a, b, c, d, 0.0, 0.0], 0.0);
    }
}

/// Clamped spline over uneven keys of a robot joint: 70, -45, 10, 100 at 0, 0.25, 0.5, 1, end slopes as the chords. The question is from a
/// robotics examination (numerade.com); the answer is derived, in elevenths.
#[test]
fn clamped_spline_pieces_over_uneven_keys() {
    let e = 11.0;
    let nodes = [
        node(70.0, -460.0, -27_520.0 / e),
        node(-45.0, -1620.0 / e, 55_040.0 / e),
        node(10.0, 3620.0 / e, -13_120.0 / e),
        // 3(slope - chord)/h is 0 here: M3 = -M2/2.
        node(100.0, 180.0, 6560.0 / e),
    ];
    let printed = [
        ([70.0, -460.0, -13_760.0 / e, 55_040.0 / e], 0.25),
        ([-45.0, -1620.0 / e, 27_520.0 / e, -45_440.0 / e], 0.25),
        ([10.0, 3620.0 / e, -6560.0 / e, 6560.0 / e], 0.5),
    ];
    for (i, ([a, b, c, d], h)) in printed.into_iter().enumerate() {
        between_is(nodes[i], nodes[i + 1], h, [a, b, c, d, 0.0, 0.0], 0.0);
    }
}

fn one_piece(h: f64, q: Quintic) -> Curve {
    let mut builder = CurveBuilder::starting_at(0.0, 1);
    builder.push(h, q);
    builder.finish().unwrap()
}

fn peaks(curve: &Curve) -> Peaks {
    Peaks::of(curve, 0..curve.len()).unwrap()
}

/// Source: J. J. Craig, Introduction to Robotics, ch. 7, cubic from 15 to 75 degrees in 3 s: a2 = 20, a3 = -4.44; from memory. The peaks,
/// 1.5 h/T and 6 h/T^2, are derived.
#[test]
fn cubic_of_a_joint_from_15_to_75_degrees() {
    // At rest at both ends, and the curvature 2 a2 = 40 with both signs: a3 must come out.
    let q = between_is(node(15.0, 0.0, 40.0), node(75.0, 0.0, -40.0), 3.0, [15.0, 0.0, 20.0, -4.44, 0.0, 0.0], 0.005);
    let p = peaks(&one_piece(3.0, q));
    check("v", p.velocity.value, 30.0, 30.0 * 16.0 * A_FEW_ROUNDINGS);
    check("a", p.acceleration.value, 40.0, 40.0 * 16.0 * A_FEW_ROUNDINGS);
}

/// Source: R. Nagarajan, Introduction to Industrial Robotics, Pearson, Example 10.9.2, p. 185: q = 30 + t^2 - 6t^3 at t = 3 is -123, its
/// derivatives -156 and -106.
#[test]
fn end_values_of_a_cubic() {
    let h = 3.0;
    let curve = one_piece(h, Quintic([30.0, 0.0, h * h, -6.0 * h * h * h, 0.0, 0.0]));
    let end = curve.jet(3.0).unwrap();
    assert_eq!(curve.at(3.0), Some(-123.0));
    // Thirds are rounded: what is added is below 512.
    for (found, printed) in [(end.p, -123.0), (end.v, -156.0), (end.a, -106.0), (end.j, -36.0)] {
        check("end", found, printed, 512.0 * A_FEW_ROUNDINGS);
    }
}

/// Source: the same, Example 10.9.3, p. 185: a quartic from 10 over 5 (at 1 s) to 50 (at 2 s), at rest at both ends. The system and a0, a1
/// are printed; a2, a3, a4 = -70, 90, -25 are derived.
#[test]
fn quartic_through_a_via_point() {
    // Curvature at the ends: 2 a2 and 2 a2 + 12 a3 + 48 a4.
    let (from, to) = (node(10.0, 0.0, -140.0), node(50.0, 0.0, -140.0 + 1080.0 - 1200.0));
    let q = between_is(from, to, 2.0, [10.0, 0.0, -70.0, 90.0, -25.0, 0.0], 0.0);
    let curve = one_piece(2.0, q);
    for (t, printed) in [(0.0, 10.0), (1.0, 5.0), (2.0, 50.0)] {
        check("theta", curve.at(t).unwrap(), printed, 1024.0 * A_FEW_ROUNDINGS);
    }
    check("theta'(2)", curve.jet(2.0).unwrap().v, 0.0, 1024.0 * A_FEW_ROUNDINGS);
}

/// Source of the question: the same, Example 10.9.1, p. 183: 30 to 150 degrees in 5 s by a cubic; 36 deg/s and 28.8 deg/s^2 are derived.
#[test]
fn peaks_of_a_cubic() {
    let p = peaks(&one_piece(5.0, Quintic([30.0, 0.0, 360.0, -240.0, 0.0, 0.0])));
    check("v", p.velocity.value, 36.0, 36.0 * 16.0 * A_FEW_ROUNDINGS);
    check("v at", p.velocity.at, 2.5, 2.5 * 16.0 * A_FEW_ROUNDINGS);
    check("a", p.acceleration.value, 28.8, 28.8 * 16.0 * A_FEW_ROUNDINGS);
    assert_eq!((p.least.value, p.greatest.value), (30.0, 150.0));
}

/// A row of golden values.
struct Golden {
    span: usize,
    x: f64,
    jet: Jet,
}

/// Keys of one set with its golden values.
struct GoldenSet {
    x: Vec<f64>,
    y: Vec<f64>,
    rows: Vec<Golden>,
}

impl GoldenSet {
    fn pairs(&self) -> Vec<(f64, f64)> {
        self.x.iter().copied().zip(self.y.iter().copied()).collect()
    }

    fn inside(&self, span: usize) -> f64 {
        0.5 * (self.x[span] + self.x[span + 1])
    }

    fn gap(&self, span: usize) -> f64 {
        self.x[span + 1] - self.x[span]
    }

    fn greatest(&self) -> f64 {
        self.y.iter().fold(0.0, |m, y| m.max(y.abs()))
    }
}

/// The five sets of one spline.
fn golden(spline: &str, file: &str) -> Vec<GoldenSet> {
    let mut sets: Vec<GoldenSet> = (0..5).map(|_| GoldenSet { x: vec![], y: vec![], rows: vec![] }).collect();
    for line in include_str!("../../fixtures/splines/keys.csv").lines().filter(|l| l.starts_with(spline)) {
        let f: Vec<&str> = line.split(',').collect();
        let set = &mut sets[f[1].parse::<usize>().unwrap()];
        set.x.push(f[2].parse().unwrap());
        set.y.push(f[3].parse().unwrap());
    }
    for line in file.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())) {
        let f: Vec<f64> = line.split(',').skip(2).map(|n| n.parse().unwrap()).collect();
        let index = |n: usize| line.split(',').nth(n).unwrap().parse::<usize>().unwrap();
        sets[index(0)].rows.push(Golden { span: index(1), x: f[0], jet: Jet { p: f[1], v: f[2], a: f[3], j: f[4] } });
    }
    // Nine places a span, or the comparison would pass by having nothing to compare.
    assert!(sets.iter().all(|s| s.x.len() >= 3 && s.rows.len() == 9 * (s.x.len() - 1)));
    sets
}

#[track_caller]
fn close(found: Jet, golden: Jet, tolerance: f64, factors: [f64; 4], h: f64, place: &str) {
    let pairs = [(found.p, golden.p), (found.v, golden.v), (found.a, golden.a), (found.j, golden.j)];
    let mut power = 1.0;
    for (order, ((found, golden), factor)) in pairs.into_iter().zip(factors).enumerate() {
        check(&format!("{place}, derivative {order}"), found, golden, tolerance * factor / power);
        power *= h;
    }
}

/// Size of what is added in a cubic spline over a span of length `h`. The rows of its system, divided by their diagonals, have the right sides
/// 3(s1 - s0)/(h0 + h1) for chords s0, s1; with R the greatest of these, both terms taken absolute, no second derivative is over 2R, since off
/// the diagonal a row adds up to a half. With values up to g, the four terms of a piece, at its end, add up to less than 4g + 4 h^2 R.
fn cubic_size(set: &GoldenSet, h: f64, round: bool) -> f64 {
    let chords: Vec<(f64, f64)> =
        set.x.windows(2).zip(set.y.windows(2)).map(|(x, y)| (x[1] - x[0], (y[1] - y[0]) / (x[1] - x[0]))).collect();
    let mut pairs: Vec<_> = chords.windows(2).map(|w| (w[0], w[1])).collect();
    if round {
        pairs.push((chords[chords.len() - 1], chords[0]));
    }
    let r = pairs.iter().map(|((h0, s0), (h1, s1))| 3.0 * (s0.abs() + s1.abs()) / (h0 + h1)).fold(0.0, f64::max);
    4.0 * set.greatest() + 4.0 * h * h * r
}

/// 2^-43: the system's inverse, rows scaled by their diagonals, is at most 2; about ten roundings a row in forming and solving it make 80 x
/// 2^-52 of R, the closing of a periodic one as much again; a piece adds a dozen; scipy itself is within 2^-46 of exact.
const CUBIC: f64 = 1.0 / 8_796_093_022_208.0;

/// The factors that differentiation brings down from u^3.
const CUBIC_FACTORS: [f64; 4] = [1.0, 3.0, 6.0, 6.0];

#[test]
fn natural_splines_agree_with_scipy() {
    for (i, set) in golden("natural", include_str!("../../fixtures/splines/natural.csv")).iter().enumerate() {
        let curve = natural_cubic::through(&keys(&set.pairs())).unwrap();
        for row in &set.rows {
            let h = set.gap(row.span);
            let found = curve.jet(row.x, set.inside(row.span));
            close(found, row.jet, CUBIC * cubic_size(set, h, false), CUBIC_FACTORS, h, &format!("set {i}, x {}", row.x));
        }
    }
}

/// A beat of 64 frames from frame 0: keys lie on 1024ths, so that the way from frames to beats is exact. The same values must come in the beat
/// before the shot, in its first, and in later ones.
#[test]
fn beats_agree_with_scipy() {
    let period = 64.0;
    for (i, set) in golden("periodic", include_str!("../../fixtures/splines/periodic.csv")).iter().enumerate() {
        let mut beat = set.pairs();
        let (last, first) = (beat.pop().unwrap(), beat[0]);
        assert_eq!(last, (first.0 + 1.0, first.1));
        let stage = stage(vec![axis("wing")]);
        let cycle = CycleSpec { period, phase: 0.0, keys: beat, amount: vec![], rate: vec![] };
        let program = Program { cycles: vec![cycle], ..Program::default() };
        let shot = shot(&stage, (0, 200), &[program], vec![moving(&stage, "picture", 8.0)]);
        let signal = Layers::of(&shot, movewright::bounds::Budget::Usual, None)
            .unwrap()
            .signal(&stage, &shot, stage.channel(&stage.channel_names()[0]).unwrap())
            .unwrap();
        for row in &set.rows {
            let h = set.gap(row.span);
            for beat in [-1.0, 0.0, 1.0, 2.0] {
                let found = signal.jet(period * (row.x + beat), period * (set.inside(row.span) + beat));
                // Into derivatives by beats: powers of two, exact.
                let by_beat = Jet { p: found.p, v: found.v * period, a: found.a * period * period, j: found.j * period * period * period };
                let place = format!("set {i}, beat {beat}, x {}", row.x);
                close(by_beat, row.jet, CUBIC * cubic_size(set, h, true), CUBIC_FACTORS, h, &place);
            }
        }
    }
}

/// 2^-41: componentwise (Skeel) condition numbers of the systems of these five sets, worked out with numpy, are at most 121, for speeds and
/// for accelerations; with some 16 roundings in forming and eliminating a row that is below 2^-41 of the greatest speed or
/// acceleration at a key. Scipy itself is within 2^-44 of exact.
const QUINTIC: f64 = 1.0 / 2_199_023_255_552.0;

/// The factors that differentiation brings down from u^5.
const QUINTIC_FACTORS: [f64; 4] = [1.0, 5.0, 20.0, 60.0];

/// Source of the law: the spline that makes the integral of squared jerk least is the quintic spline (T. Flash, N. Hogan, J. Neurosci. 5(7)
/// 1985); values by scipy's `make_interp_spline`, k = 5, first and second derivatives 0 at both ends.
#[test]
fn minimum_jerk_splines_agree_with_scipy() {
    for (i, set) in golden("quintic", include_str!("../../fixtures/splines/quintic.csv")).iter().enumerate() {
        let curve = minimum_jerk::through(&keys(&set.pairs())).unwrap();
        let most = |pick: fn(&Jet) -> f64| set.rows.iter().filter(|r| set.x.contains(&r.x)).map(|r| pick(&r.jet).abs()).fold(0.0, f64::max);
        let (speed, acceleration) = (most(|j| j.v), most(|j| j.a));
        for row in &set.rows {
            let h = set.gap(row.span);
            // The greatest coefficient is 15 d - 8 h v - 7 h v - 1.5 h^2 a - h^2 a at most, and there are six.
            let size = 6.0 * (30.0 * set.greatest() + 15.0 * h * speed + 2.5 * h * h * acceleration);
            let found = curve.jet(row.x, set.inside(row.span));
            close(found, row.jet, QUINTIC * size, QUINTIC_FACTORS, h, &format!("set {i}, x {}", row.x));
        }
        // Before and after the keys it stands.
        assert_eq!(curve.jet(set.x[0] - 5.0, set.x[0] - 5.0), Jet::constant(set.y[0]));
    }
}
