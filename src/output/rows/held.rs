//! A held pass between its exposures: an axis stands, goes to the next position as the shutter closes, and stands again.
//!
//! Invariant: the law of a move is the one the check judged: seven segments in the shortest time under the axis's limits, stretched to the
//! time of the slowest axis. The station arrived at is the curve's own position at mid-exposure, bit for bit.
//! Source of the law: `motion::point_to_point::seven_segment`. Limits: `check` has proven that every move fits.

use super::program::{Clock, Motion};
use crate::check::held::effective;
use crate::motion::curve::Curve;
use crate::motion::point_to_point::SevenSegment;
use crate::number::whole;
use crate::stage::Axis;

/// How long each move takes.
#[derive(Debug)]
pub(super) struct Held {
    /// Seconds of the move that leaves each frame but the last.
    seconds: Vec<f64>,
    /// Frames from the opening of a frame's slot to the closing of its shutter.
    closes: f64,
}

/// One move of one axis, with the standing before and after it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leg {
    /// Which move, counted from 0; -1 before the first.
    pub(super) index: i64,
    /// When the move starts, and from when on the axis stands. Seconds since the end of the take-up, as are the times asked for.
    starts: f64,
    over: f64,
    stations: (f64, f64),
    law: Option<SevenSegment>,
}

impl Held {
    pub(super) fn new(clock: &Clock, seconds: Vec<f64>) -> Held {
        Held { seconds, closes: 0.5 + 0.5 * clock.open }
    }

    /// The move that has begun last at `t` seconds of the whole program, counted from 0; -1 before the first.
    pub(super) fn index(&self, clock: &Clock, t: f64) -> i64 {
        let most = i64::try_from(self.seconds.len()).unwrap_or(i64::MAX);
        whole::floor(clock.since(t) / clock.pace - self.closes).unwrap_or(-1).clamp(-1, most)
    }

    /// The leg of this index; `None` where the curve has no station there.
    pub(super) fn leg(&self, clock: &Clock, axis: &Axis, curve: &Curve, index: i64) -> Option<Leg> {
        let station = |n: i64| curve.at((clock.first + whole::real(n)).min(clock.last));
        let starts = (whole::real(index) + self.closes) * clock.pace;
        let seconds = usize::try_from(index).ok().and_then(|i| self.seconds.get(i).copied());
        let Some(seconds) = seconds else {
            // Before the first move and after the last one.
            let at = station(index.max(0))?;
            return Some(Leg { index, starts, over: f64::NEG_INFINITY, stations: (at, at), law: None });
        };
        let (a, b) = (station(index)?, station(index + 1)?);
        let law = SevenSegment::rest_to_rest(b - a, &effective(axis)?).ok()?.stretched(seconds).ok()?;
        Some(Leg { index, starts, over: starts + seconds, stations: (a, b), law: Some(law) })
    }
}

impl Leg {
    /// Where the axis is at `t` seconds.
    pub(super) fn motion(&self, t: f64) -> Option<Motion> {
        let (a, b) = self.stations;
        match &self.law {
            Some(law) if t < self.over => {
                // The index was found by a division, the start by a multiplication: they may differ in the last bit.
                let state = law.at((t - self.starts).max(0.0).min(law.duration()))?;
                Some(Motion { position: a + state.position, velocity: state.velocity })
            }
            _ => Some(Motion { position: b, velocity: 0.0 }),
        }
    }

    /// True where the axis stands at `t` seconds and on to the end of the leg.
    pub(super) fn stands(&self, t: f64) -> bool {
        self.over <= t
    }
}
