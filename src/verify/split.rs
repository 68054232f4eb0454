//! Into what a shaped move is split, worked out anew: for each mode of a hanging group two shares, half a damped period apart.
//!
//! What: the first share is 1 / (1 + K), the second the rest, K = exp(-pi z / sqrt(1 - z^2)); a second mode splits each share again. Units: mm, s.

use std::rc::Rc;

use crate::number::elementary::{TURN, exp};
use crate::shot::{Pass, Shaping};
use crate::stage::{AxisId, Stage, Swing};

/// Shares with their delays; nothing where a move is one.
pub(super) type Split = Option<Rc<[(f64, f64)]>>;

/// Standard gravity, mm/s2: 9.80665 m/s2 by definition (3rd General Conference on Weights and Measures, 1901).
const GRAVITY: f64 = 9806.65;

/// The pendulum of an axis's group, where the pass is shaped.
pub(super) fn swing<'a>(stage: &'a Stage, pass: &Pass, axis: AxisId) -> Option<&'a Swing> {
    if pass.shaping() != Shaping::ZeroVibration {
        return None;
    }
    let own = stage.bodies().iter().find(|b| b.swing().is_some() && stage.group(b.group()).has(axis));
    own.and_then(|b| b.swing())
}

/// The split of a move whose pendulum is so long on average.
pub(super) fn split(swing: &Swing, length: f64) -> Split {
    let own = TURN * (length / GRAVITY).sqrt();
    let mut all = vec![(1.0, 0.0)];
    for [period, z] in core::iter::once([own, swing.damping]).chain(swing.modes.iter().copied()) {
        let damped = (1.0 - z * z).sqrt();
        let k = exp(-0.5 * TURN * z / damped);
        let second: Vec<(f64, f64)> = all.iter().map(|(share, at)| (share * k / (1.0 + k), at + 0.5 * period / damped)).collect();
        all.iter_mut().for_each(|(share, _)| *share /= 1.0 + k);
        all.extend(second);
    }
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    Some(all.into())
}

/// The delay of the last share.
pub(super) fn delay(split: &Split) -> f64 {
    split.as_ref().and_then(|all| all.last()).map_or(0.0, |(_, at)| *at)
}

/// The length of a pendulum at a value of the channel that changes it.
pub(super) fn length(swing: &Swing, value: impl FnOnce(crate::stage::ChannelId) -> f64) -> f64 {
    swing.change.map_or(swing.length, |c| swing.length + c.per_unit * (value(c.channel) - c.home))
}
