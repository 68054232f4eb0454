//! A pendulum whose support moves: small swings, damped, of constant or changing length, in two horizontal directions at once.
//!
//! What: in each direction L q" + 2 L' q' + 2 z w L q' + g q = -a, w = sqrt(g / L) at the instant; q the angle, a the support's acceleration, z the share of critical
//! damping. How far it swings is L |q|, |q| over both directions. Over a stretch where L is constant and a is cubic the motion is known in closed form ([`free`]); over any other it is
//! integrated by collocation ([`collocation`]). Extremes are found by bounds, not by samples ([`greatest`]).
//! Source: equation and signs as in the textbooks (a support that moves, linearised for small angles; varying length from d(L^2 q')/dt). Limits: angles are small, the support's
//! vertical acceleration is left out. Units: mm, s.

pub(crate) mod collocation;
pub(crate) mod free;
pub(crate) mod greatest;
pub(crate) mod settling;

use crate::number::elementary::TURN;

/// Standard gravity, mm/s2. Source: 9.80665 m/s2, 3rd General Conference on Weights and Measures, 1901.
pub(crate) const GRAVITY: f64 = 9806.65;

/// Angles and their rates in two directions: rad and rad/s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct State {
    pub(crate) angle: [f64; 2],
    pub(crate) rate: [f64; 2],
}

/// Period of small swings of a length, s.
#[must_use]
pub(crate) fn period(length: f64) -> f64 {
    TURN * (length / GRAVITY).sqrt()
}

/// The length that has this period, mm.
#[must_use]
pub(crate) fn length(period: f64) -> f64 {
    GRAVITY * (period / TURN) * (period / TURN)
}

/// How far a point swings that is displaced so in two directions.
#[must_use]
pub(crate) fn size([x, z]: [f64; 2]) -> f64 {
    (x * x + z * z).sqrt()
}
