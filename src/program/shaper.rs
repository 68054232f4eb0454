//! Input shaping: a move is split into copies that start one after the other, so that what one makes swing the next takes away again.
//!
//! What: zero vibration. For each mode two impulses, half a damped period apart, of shares 1 / (1 + K) and K / (1 + K) with K = exp(-z pi / sqrt(1 - z^2)); for several modes each impulse of one is split
//! by the next. Source: N. Singer, W. Seering, Preshaping Command Inputs to Reduce System Vibration, 1990 (from memory); US patent 5960969: the mean of an input and of the input half a period later.
//! Invariant: shares are above 0 and sum to 1, delays rise from 0. Limits: the residual is zero at the modes' own periods and damping; 5 % of the unshaped swing is left where a period is off by about
//! 3 %. Units: s, mm, shares of critical.

use std::sync::Arc;

use crate::motion::pendulum::period;
use crate::number::elementary::exp;

/// Shares of a move and their delays, s.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Shaper(Option<Arc<[(f64, f64)]>>);

impl Shaper {
    /// Of modes, each by its length and damping.
    #[must_use]
    pub(crate) fn zero_vibration(modes: impl Iterator<Item = (f64, f64)>) -> Shaper {
        let mut impulses = vec![(1.0, 0.0)];
        for (length, damping) in modes {
            let root = (1.0 - damping * damping).sqrt();
            let (k, later) = (exp(-damping * core::f64::consts::PI / root), 0.5 * period(length) / root);
            impulses =
                impulses.iter().flat_map(|(share, delay)| [(share / (1.0 + k), *delay), (share * k / (1.0 + k), delay + later)]).collect();
        }
        impulses.sort_by(|a, b| a.1.total_cmp(&b.1));
        Shaper((impulses.len() > 1).then(|| impulses.into()))
    }

    /// Shares and delays; `None` where the move is one.
    #[must_use]
    pub(crate) fn impulses(&self) -> Option<&[(f64, f64)]> {
        self.0.as_deref()
    }

    /// How much longer a move takes, s.
    #[must_use]
    pub(crate) fn delay(&self) -> f64 {
        self.impulses().and_then(<[_]>::last).map_or(0.0, |(_, delay)| *delay)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::number::elementary::{TURN, cos, sin};

    /// Amplitudes by the published formula, worked out for four dampings.
    #[test]
    fn shares_are_those_of_the_formula() {
        for (z, first, second) in
            [(0.0, 0.5, 0.5), (0.01, 0.507_853_7, 0.492_146_3), (0.05, 0.539_238_2, 0.460_761_8), (0.2, 0.655_041_6, 0.344_958_4)]
        {
            let shaper = Shaper::zero_vibration(core::iter::once((1000.0, z)));
            let impulses = shaper.impulses().unwrap();
            assert_eq!(impulses.len(), 2);
            let ((a, at), (b, later)) = (impulses.first().unwrap(), impulses.last().unwrap());
            assert!((a - first).abs() < 5e-8 && (b - second).abs() < 5e-8 && *at == 0.0, "{z} {a} {b}");
            // Half of 2.006409 s at 9.80665 m/s2, longer where it is damped.
            assert!((later * (1.0 - z * z).sqrt() - 0.5 * 2.006_409).abs() < 5e-7);
        }
        assert_eq!((Shaper::default().delay(), Shaper::zero_vibration(core::iter::empty()).impulses()), (0.0, None));
    }

    /// The residual of the impulses at a frequency, as a share of one alone: V = exp(-z w t) sqrt(C^2 + S^2). It is 5 % where the period is off by 3.2 % either way: 0.0637 together.
    #[test]
    fn five_per_cent_are_left_where_the_period_is_three_per_cent_off() {
        let shaper = Shaper::zero_vibration(core::iter::once((1000.0, 0.0)));
        let left = |ratio: f64| {
            let w = ratio * TURN / period(1000.0);
            let sum = |f: fn(f64) -> f64| shaper.impulses().unwrap().iter().map(|(share, t)| share * f(w * t)).sum::<f64>();
            let (c, s) = (sum(cos), sum(sin));
            (c * c + s * s).sqrt()
        };
        assert!(left(1.0) < 1e-15);
        assert!(left(1.0 + 0.5 * 0.0637) < 0.0501 && left(1.0 + 0.5 * 0.0637) > 0.0499 && left(1.0 - 0.5 * 0.0637) < 0.0501);
    }

    #[test]
    fn two_modes_take_four_impulses_and_both_half_periods() {
        let shaper = Shaper::zero_vibration([(1000.0, 0.01), (500.0, 0.02)].into_iter());
        let impulses = shaper.impulses().unwrap();
        assert_eq!(impulses.len(), 4);
        assert!((impulses.iter().map(|(share, _)| share).sum::<f64>() - 1.0).abs() < 1e-15);
        assert!(impulses.windows(2).all(|w| matches!(w, [a, b] if a.1 <= b.1)));
        assert!(
            (shaper.delay() - 0.5 * (period(1000.0) / (1.0_f64 - 1e-4).sqrt() + period(500.0) / (1.0_f64 - 4e-4).sqrt())).abs() < 1e-12
        );
    }
}
