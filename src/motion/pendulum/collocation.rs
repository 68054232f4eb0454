//! A short step of any pendulum: length and acceleration as they come, integrated by collocation at the four Gauss points.
//!
//! What: the angle's second derivative is the cubic that keeps the equation at the four Gauss points of the step; both directions share one system of four. Order eight: over a step
//! of half a radian an undamped swing turns too far by less than 1e-10 of it. Where the acceleration and the rate of the length, continued from the four points to the end of the step,
//! miss their values there by more than 1e-3 of their size, the caller halves the step. Between the ends the swing is the quintic with its position, velocity and acceleration there.
//! Source: E. Hairer, S. P. Norsett, G. Wanner, Solving Ordinary Differential Equations I, II.7 (Gauss methods); the coefficients are integrals of Lagrange's polynomials.

use super::greatest::Swinging;
use super::{GRAVITY, State, size};
use crate::motion::bernstein::Bernstein;
use crate::motion::quintic::{Node, Quintic};

/// What moves a pendulum at an instant. Units: mm, mm/s, mm/s2.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Driven {
    /// Length with two derivatives.
    pub(crate) length: [f64; 3],
    /// Acceleration of the support in both directions.
    pub(crate) acceleration: [f64; 2],
}

/// Where a step looks, as shares of it.
pub(crate) const POINTS: [f64; 4] = [0.069_431_844_202_973_71, 0.330_009_478_207_571_87, 0.669_990_521_792_428_1, 0.930_568_155_797_026_3];

const RATES: [[f64; 4]; 4] = [
    [0.086_963_711_284_363_46, -0.026_604_180_084_998_794, 0.012_627_462_689_404_725, -0.003_555_149_685_795_683_3],
    [0.188_118_117_499_868_06, 0.163_036_288_715_636_55, -0.027_880_428_602_470_895, 0.006_735_500_594_538_156],
    [0.167_191_921_974_188_78, 0.353_953_006_033_743_97, 0.163_036_288_715_636_55, -0.014_190_694_931_141_144],
    [0.177_482_572_254_522_6, 0.313_445_114_741_868_37, 0.352_676_757_516_271_87, 0.086_963_711_284_363_46],
];

const WEIGHTS: [f64; 4] = [0.173_927_422_568_726_92, 0.326_072_577_431_273_05, 0.326_072_577_431_273_05, 0.173_927_422_568_726_92];

/// Lagrange's polynomials of the four points, at the end of the step.
const TO_END: [f64; 4] = [-0.113_917_196_281_989_93, 0.400_761_520_311_650_4, -0.813_632_449_486_927_3, 1.526_788_125_457_266_8];

/// How closely what drives a step must be known from the four points.
const RESOLVED: f64 = 1e-3;

/// True where acceleration and length, continued from the four points to the end, are those of the end.
#[must_use]
pub(crate) fn is_resolved(points: &[Driven; 4], end: &Driven) -> bool {
    let near = |of: &dyn Fn(&Driven) -> f64, least: f64| {
        let continued: f64 = points.iter().zip(TO_END).map(|(p, e)| of(p) * e).sum();
        let most = points.iter().map(|p| of(p).abs()).fold(of(end).abs(), f64::max);
        (continued - of(end)).abs() <= RESOLVED * most + least
    };
    let [l, ..] = end.length;
    near(&|d| d.acceleration[0], 1e-9 * GRAVITY)
        && near(&|d| d.acceleration[1], 1e-9 * GRAVITY)
        && near(&|d| d.length[0] - l, 1e-6 * l)
        && near(&|d| d.length[1], 1e-9 * l)
}

/// The state after a step of `h` seconds; `None` where a length is not above 0.
#[must_use]
#[allow(clippy::indexing_slicing, clippy::needless_range_loop, reason = "loops over arrays of four, as the formulas have them")]
pub(crate) fn step(state: &State, damping: f64, h: f64, points: &[Driven; 4]) -> Option<State> {
    if !points.iter().all(|p| p.length[0] > 0.0) {
        return None;
    }
    // Unknown: the second derivatives k at the points, in both directions. k_i + alpha_i q'_i + beta_i q_i = -a_i / L_i.
    let mut matrix = [[0.0; 4]; 4];
    let mut right = [[0.0; 2]; 4];
    for i in 0..4 {
        let ([l, l1, _], a) = (points[i].length, points[i].acceleration);
        let (alpha, beta) = ((2.0 * l1 + 2.0 * damping * (GRAVITY * l).sqrt()) / l, GRAVITY / l);
        for j in 0..4 {
            let twice: f64 = (0..4).map(|k| RATES[i][k] * RATES[k][j]).sum();
            matrix[i][j] = h * alpha * RATES[i][j] + h * h * beta * twice;
        }
        matrix[i][i] += 1.0;
        for d in 0..2 {
            right[i][d] = -alpha * state.rate[d] - beta * (state.angle[d] + h * POINTS[i] * state.rate[d]) - a[d] / l;
        }
    }
    // Elimination without exchange of rows: over half a radian the matrix is near that of no change.
    for i in 0..4 {
        for row in i + 1..4 {
            let factor = matrix[row][i] / matrix[i][i];
            for column in i..4 {
                matrix[row][column] -= factor * matrix[i][column];
            }
            for d in 0..2 {
                right[row][d] -= factor * right[i][d];
            }
        }
    }
    for i in (0..4).rev() {
        for d in 0..2 {
            let known: f64 = (i + 1..4).map(|j| matrix[i][j] * right[j][d]).sum();
            right[i][d] = (right[i][d] - known) / matrix[i][i];
        }
    }
    let mut next = State::default();
    for d in 0..2 {
        let (mut once, mut twice) = (0.0, 0.0);
        for i in 0..4 {
            once += WEIGHTS[i] * right[i][d];
            twice += WEIGHTS[i] * (1.0 - POINTS[i]) * right[i][d];
        }
        next.angle[d] = state.angle[d] + h * state.rate[d] + h * h * twice;
        next.rate[d] = state.rate[d] + h * once;
    }
    Some(next)
}

/// The swing over a step, mm: quintics with its position, velocity and acceleration at both ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stepped {
    pieces: [Quintic; 2],
    lasts: f64,
}

impl Stepped {
    /// Between two states, with what drives the pendulum there.
    #[must_use]
    pub(crate) fn new(from: (&State, &Driven), to: (&State, &Driven), damping: f64, h: f64) -> Stepped {
        let node = |driven: &Driven, q: f64, rate: f64, a: f64| {
            let [l, l1, l2] = driven.length;
            // (L q)" = L" q + 2 L' q' + L q", and the equation gives L q".
            let acceleration = l2 * q - a - 2.0 * damping * (GRAVITY * l).sqrt() * rate - GRAVITY * q;
            Node { p: l * q, v: l1 * q + l * rate, a: acceleration }
        };
        let ends = |end: (&State, &Driven)| {
            let ([qx, qz], [vx, vz], [ax, az]) = (end.0.angle, end.0.rate, end.1.acceleration);
            [node(end.1, qx, vx, ax), node(end.1, qz, vz, az)]
        };
        let ([x0, z0], [x1, z1]) = (ends(from), ends(to));
        Stepped { pieces: [Quintic::between(x0, x1, h), Quintic::between(z0, z1, h)], lasts: h }
    }
}

impl Swinging for Stepped {
    fn at(&self, t: f64) -> [f64; 2] {
        self.pieces.map(|q| q.at(t / self.lasts))
    }

    fn most(&self, _from: f64, _to: f64) -> f64 {
        size(self.pieces.map(|q| q.0.iter().map(|c| c.abs()).sum()))
    }

    fn curvature(&self, _from: f64, _to: f64) -> f64 {
        let hull = |q: Quintic| {
            let [a0, a1, a2, a3] = q.acceleration();
            let (lo, hi) = Bernstein::from_power([a0, a1, a2, a3, 0.0]).hull();
            lo.abs().max(hi.abs())
        };
        size(self.pieces.map(hull)) / (self.lasts * self.lasts)
    }
}
